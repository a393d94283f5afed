"""Revisions: a job frozen for ever under a letter."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.crossing.ledger import ledger
from pinmap.core.errors import InputError, StructureError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.words import Severity
from pinmap.exchange import job_json
from pinmap.services import analysis, dictionary, jobs
from pinmap.services.jobs import JobView
from pinmap.services.memory import Memory
from pinmap.services.shop import Shop
from pinmap.store import jobs as rows
from pinmap.store import releases, versions
from pinmap.store.releases import RevisionLine, StoredRevision

_SHOWN = 12


@dataclass(frozen=True, slots=True)
class Revision:
    """A revision with the job as it was and the dictionary of that time."""

    line: RevisionLine
    snapshot: Snapshot
    dictionary: Dictionary


def blocks(view: JobView) -> tuple[str, ...]:
    """What stands against a release, in words; empty when nothing does."""
    snapshot = view.snapshot
    found: list[str] = []
    if not snapshot.job.seats:
        found.append("no platform takes part in the job")
    elif not snapshot.job.signals:
        found.append("the job has no signal")
    open_pins = ledger(snapshot).open_pins
    found += [f"pin {pin} is undecided" for pin in open_pins[:_SHOWN]]
    if len(open_pins) > _SHOWN:
        found.append(f"and {len(open_pins) - _SHOWN} more pins are undecided")
    accepted = {a.finding for a in snapshot.job.acceptances}
    stops = [
        f"{f.rule} {f.title}: {', '.join(f.where)}"
        for f in analysis.findings(snapshot, None, view.dictionary)
        if f.severity is Severity.STOP and f.key not in accepted
    ]
    found += [f"a finding says stop and nobody has accepted it: {text}" for text in stops[:_SHOWN]]
    if len(stops) > _SHOWN:
        found.append(f"and {len(stops) - _SHOWN} more findings say stop")
    return tuple(found)


def release(shop: Shop, key: str, version: int, author: str, note: str = "") -> RevisionLine:
    """Freezes a job as the next revision. Raises StructureError naming what stands against it, InputError without an
    author, Conflict, NotFound."""
    if not author.strip():
        raise InputError("author", author, "say who releases it")
    view = jobs.get(shop, key)
    against = blocks(view)  # outside the transaction, since checking takes time
    if against:
        raise StructureError(f"the job cannot be released yet: {'; '.join(against)}", against)
    with shop.write() as session:
        stands = rows.versions(session, key)
        versions.claim(session, "job", stands.job_id, version, f"the job {key} (release)")
        current = jobs.view_in(shop, session, key)
        if current.snapshot.content_hash != view.snapshot.content_hash or current.dictionary != view.dictionary:
            raise StructureError("the job changed while it was being checked; release it again", (key,))
        letter = next_letter([line.letter for line in releases.list_revisions(session, stands.job_id)])
        revision_id = releases.add_revision(
            session,
            stands.job_id,
            {
                "letter": letter,
                "author": author.strip(),
                "note": note.strip(),
                "content_hash": view.snapshot.content_hash,
                "snapshot": job_json.dump(view.snapshot).decode(),
                "functions": [dictionary.to_plain(e) for e in analysis.own_entries(view.dictionary)],
            },
        )
        return releases.get_revision(session, revision_id=revision_id).line


def list_revisions(shop: Shop, key: str) -> tuple[RevisionLine, ...]:
    """All revisions of a job, the first released first. Raises NotFound."""
    with shop.read() as session:
        return releases.list_revisions(session, rows.versions(session, key).job_id)


def get(shop: Shop, key: str, letter: str) -> Revision:
    """A revision. Raises NotFound."""
    with shop.read() as session:
        return opened(releases.get_revision(session, job=key, letter=letter))


def next_letter(taken: list[str]) -> str:
    """A, B, ... Z, AA, AB ..., without I, O and Q, which drawings avoid (ASME Y14.35)."""
    letters = "ABCDEFGHJKLMNPRSTUVWXYZ"
    number = len(taken)
    text = ""
    while True:
        number, rest = divmod(number, len(letters))
        text = letters[rest] + text
        if not number:
            return text
        number -= 1


_OPENED: Memory[Revision] = Memory(8)


def opened(stored: StoredRevision) -> Revision:
    """A stored revision as records. Raises StructureError when its content is not what its hash says."""

    def make() -> Revision:
        snapshot = job_json.load(stored.snapshot.encode())
        if snapshot.content_hash != stored.line.content_hash:
            raise StructureError(f"revision {stored.line.letter} of job {stored.line.job} is damaged")
        return Revision(stored.line, snapshot, dictionary.merged(stored.functions))

    return _OPENED.get((stored.line, stored.snapshot), make)
