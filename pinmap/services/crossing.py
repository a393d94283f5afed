"""Crossing: what Pinmap proposes to join, and taking it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

from pinmap.core.crossing import edits
from pinmap.core.crossing.signals import SignalProposal, propose_signals
from pinmap.core.errors import StructureError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.services import dictionary, jobs
from pinmap.services.analysis import own_entries
from pinmap.services.jobs import JobView
from pinmap.services.memory import Memory
from pinmap.services.shop import Shop

_PROPOSALS: Memory[tuple[SignalProposal, ...]] = Memory(8)


def proposals(view: JobView) -> tuple[SignalProposal, ...]:
    """Signals that could be made of pins that are still undecided, with confidence, reasons and rivals."""
    return _proposals(view.snapshot, view.dictionary)


def _proposals(snapshot: Snapshot, words: Dictionary) -> tuple[SignalProposal, ...]:
    key = (snapshot.content_hash, own_entries(words))
    return _PROPOSALS.get(key, lambda: propose_signals(snapshot, words))


def token(proposal: SignalProposal) -> str:
    """Names a proposal by what it would make, so that another one is never taken in its place."""
    parts = (proposal.name, proposal.function_code, *map(str, proposal.members))
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:24]


def accept(shop: Shop, key: str, version: int, tokens: Sequence[str]) -> JobView:
    """Makes signals of the proposals with these tokens, all or none. Raises Conflict, NotFound, and StructureError
    when one is not proposed any more."""
    words = dictionary.entries(shop)

    def change(job: Job, snapshot: Snapshot) -> Job:
        offered = {token(p): p for p in _proposals(snapshot, words)}
        gone = [t for t in tokens if t not in offered]
        if gone:
            raise StructureError(f"{len(gone)} of the proposals no longer stand; look at the list again", tuple(gone))
        return edits.accept_proposals(job, [offered[t] for t in tokens], known=snapshot.pin.keys())

    return jobs.edit(shop, key, version, change, f"{len(tokens)} proposals taken")
