"""Searches for sizes that go on while their page waits. What is known of one stands in the database: how far it is,
whether somebody wants it to end, and what it found. So any process shows it, and one whose process ended is begun anew
by whoever asks next; what it finds depends on the job alone."""

from __future__ import annotations

import hashlib
import logging
import secrets
import threading
from collections.abc import Collection
from dataclasses import dataclass
from datetime import timedelta

from pydantic import TypeAdapter

from pinmap.core.electrics.size_watch import Progress
from pinmap.core.errors import PinmapError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.people import Right
from pinmap.services import sizing
from pinmap.services.analysis import own_entries
from pinmap.services.shop import Shop
from pinmap.services.sizing import Proposal
from pinmap.store import jobs as rows
from pinmap.store import searches
from pinmap.store.base import now
from pinmap.store.searches import SearchRow

PATIENCE_S = 3.0  # so long a page waits for a search to end before it shows how far that is
SILENT = timedelta(seconds=60)  # a runner of which nothing was heard for so long has ended with its process
_KEPT = timedelta(days=7)
_LOG = logging.getLogger(__name__)
_PROPOSAL, _PROGRESS = TypeAdapter(Proposal), TypeAdapter(Progress)


@dataclass(frozen=True, slots=True)
class Search:
    """A search: what it found, or how far it is and whether it was asked to end. One that has ``ended`` without
    having found anything failed, or its process ended."""

    proposal: Proposal | None
    progress: Progress
    stopping: bool = False
    ended: bool = False


def question(snapshot: Snapshot, words: Dictionary, scope: Collection[str] | None) -> str:
    """Names what is asked: a state of a job, what of the dictionary is its own, and the wires."""
    chosen = None if scope is None else sorted(scope)
    return hashlib.sha256(repr((snapshot.content_hash, own_entries(words), chosen)).encode()).hexdigest()


def search(
    shop: Shop, key: str, snapshot: Snapshot, words: Dictionary, scope: Collection[str] | None, patience_s: float = 0.0
) -> Search:
    """Where the search for these sizes stands; begun where nobody has begun it, and waited for so long. Raises what a
    search fails with, and NotFound."""
    asked = question(snapshot, words, scope)
    stands = standing(shop, key, asked)
    if stands.proposal is not None or not stands.ended:
        return stands
    with shop.write(Right.READ) as session:
        job_id = rows.versions(session, key).job_id
        row, runner = searches.get(session, job_id, asked), ""
        if row is None or _ended_without(row):  # nobody else has begun it meanwhile
            runner = secrets.token_hex(16)
            searches.forget_older(session, job_id, now() - _KEPT)
            searches.begin(session, job_id, asked, runner, now())
    if runner:
        work = _Work(shop, job_id, asked, runner)
        thread = threading.Thread(target=work.run, args=(snapshot, words, scope), name="sizes", daemon=True)
        thread.start()
        thread.join(patience_s)
        if work.failed is not None:
            raise work.failed
    return standing(shop, key, asked)


def standing(shop: Shop, key: str, asked: str) -> Search:
    """Where a search stands, by its question."""
    with shop.read() as session:
        row = searches.get(session, rows.versions(session, key).job_id, asked)
    if row is None:
        return Search(None, Progress(), ended=True)
    found = _PROPOSAL.validate_json(row.result) if row.result else None
    progress = _PROGRESS.validate_json(row.progress) if row.progress else Progress()
    return Search(found, progress, row.stop, found is not None or _ended_without(row))


def _ended_without(row: SearchRow) -> bool:
    return bool(row.failure) or (not row.result and row.heard < now() - SILENT)


def stop(shop: Shop, key: str, asked: str) -> None:
    """Ends a search with the best that it has found so far."""
    with shop.write(Right.READ) as session:
        searches.stop(session, rows.versions(session, key).job_id, asked)


class _Work:
    """One search in a thread of its own."""

    def __init__(self, shop: Shop, job_id: int, asked: str, runner: str) -> None:
        self.shop, self.mine = shop, (job_id, asked, runner)
        self.failed: PinmapError | None = None

    def run(self, snapshot: Snapshot, words: Dictionary, scope: Collection[str] | None) -> None:
        try:
            found = sizing.propose(snapshot, words, scope, self._tell)
            self._note(result=_PROPOSAL.dump_json(found).decode())
        except PinmapError as error:  # as routing and checking refuse a job; asked again, it is tried again
            self.failed = error
            self._note(failure=str(error))
        except Exception:
            self._note(failure="the search failed; the program's log says how")
            _LOG.exception("a search for sizes failed")

    def _tell(self, progress: Progress) -> bool:
        if not self._note(progress=_PROGRESS.dump_json(progress).decode(), heard=now()):
            return False
        with self.shop.read() as session:
            row = searches.get(session, *self.mine[:2])
        return row is not None and not row.stop

    def _note(self, **what: object) -> bool:
        with self.shop.write(Right.READ) as session:
            return searches.tell(session, *self.mine, what)
