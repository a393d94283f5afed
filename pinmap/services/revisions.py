"""Revisions: a job frozen for ever under a letter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from pinmap import __version__
from pinmap.core.crossing.changes import Change
from pinmap.core.crossing.ledger import ledger
from pinmap.core.errors import Conflict, Difference, InputError, NotFound, StructureError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Job, Snapshot, as_plain
from pinmap.core.model.words import Severity
from pinmap.core.rules import registry
from pinmap.core.rules.finding import Finding, Working
from pinmap.exchange import job_json
from pinmap.services import analysis, audit, dictionary, jobs
from pinmap.services.audit import Subject
from pinmap.services.jobs import JobView
from pinmap.services.memory import Memory
from pinmap.services.shop import Shop
from pinmap.services.stale import looked_at
from pinmap.store import jobs as rows
from pinmap.store import releases, versions
from pinmap.store.releases import KeptDraft, Origin, RevisionLine, StoredRevision

_SHOWN = 12


@dataclass(frozen=True, slots=True)
class Checked:
    """What one rule had to say at a release: how many findings, and how many of them somebody had accepted."""

    rule: str
    title: str
    found: int
    accepted: int


@dataclass(frozen=True, slots=True)
class Noted:
    """A finding as it stood at a release; ``by`` and ``reason`` say who accepted it and why."""

    finding: Finding
    by: str
    reason: str


@dataclass(frozen=True, slots=True)
class Checks:
    """What a revision was checked for, by which version of the program, and what was found."""

    program: str
    rules: tuple[Checked, ...]
    findings: tuple[Noted, ...]

    @property
    def passed(self) -> int:
        """Rules that had nothing to say."""
        return sum(not rule.found for rule in self.rules)


@dataclass(frozen=True, slots=True)
class Revision:
    """A revision with the job as it was and the dictionary of that time."""

    line: RevisionLine
    snapshot: Snapshot
    dictionary: Dictionary
    checks: Checks | None  # None: released before checks were recorded


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
    if view.version != version:
        stale = Conflict(f"the job {key} (release)", version, view.version)
        raise looked_at(stale, lambda: (Difference("the job", "", "a draft", "released as it stands now"),))
    against = blocks(view)  # outside the transaction, since checking takes time
    if against:
        raise StructureError(f"the job cannot be released yet: {'; '.join(against)}", against)
    checks = _checks(view)
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
                "checks": checks,
            },
        )
        frozen = Change(f"revision {letter}", "added", "", f"content {view.snapshot.content_hash}")
        audit.record(shop, session, Subject.JOB, key, f"revision {letter} released", (frozen,))
        return releases.get_revision(session, revision_id=revision_id).line


def _checks(view: JobView) -> dict[str, Any]:
    """Every rule with what it found, and every finding with who accepted it, ready for JSON."""
    found = analysis.findings(view.snapshot, None, view.dictionary)
    accepted = {a.finding: a for a in view.job.acceptances}
    rules = [
        {
            "rule": info.id,
            "title": info.title,
            "found": sum(f.rule == info.id for f in found),
            "accepted": sum(f.rule == info.id and f.key in accepted for f in found),
        }
        for info in registry.rule_list()
    ]
    findings = [
        {
            "finding": as_plain(f),
            "by": accepted[f.key].by if f.key in accepted else "",
            "reason": accepted[f.key].reason if f.key in accepted else "",
        }
        for f in found
    ]
    return {"program": __version__, "rules": rules, "findings": findings}


def _checks_of(stored: Mapping[str, Any] | None) -> Checks | None:
    if stored is None:
        return None
    return Checks(
        stored["program"],
        tuple(Checked(**rule) for rule in stored["rules"]),
        tuple(Noted(_finding(n["finding"]), n["by"], n["reason"]) for n in stored["findings"]),
    )


def _finding(stored: Mapping[str, Any]) -> Finding:
    numbers = tuple(tuple(line) for line in stored.get("numbers", ()))
    texts = {name: tuple(stored.get(name, ())) for name in ("where", "refs")}
    workings = tuple(
        Working(**{**w, "inputs": tuple((name, value) for name, value in w["inputs"])})
        for w in stored.get("workings", ())
    )
    return Finding(
        **{**stored, **texts, "numbers": numbers, "workings": workings, "severity": Severity(stored["severity"])}
    )


def list_revisions(shop: Shop, key: str) -> tuple[RevisionLine, ...]:
    """All revisions of a job, the first released first. Raises NotFound."""
    with shop.read() as session:
        return releases.list_revisions(session, rows.versions(session, key).job_id)


def letter_of(shop: Shop, snapshot: Snapshot) -> str:
    """The last revision of a job that holds what it holds now; "" for none. Raises NotFound."""
    with shop.read() as session:
        job_id = rows.versions(session, snapshot.job.key).job_id
        return releases.letter_of(session, job_id, snapshot.content_hash)


def get(shop: Shop, key: str, letter: str) -> Revision:
    """A revision. Raises NotFound."""
    with shop.read() as session:
        return opened(releases.get_revision(session, job=key, letter=letter))


def restore(shop: Shop, key: str, letter: str, version: int, who: str) -> JobView:
    """Makes a revision the draft again; the draft of now is put aside. The job then stands on the pinouts as the
    library has them now. Raises Conflict, NotFound, and StructureError when the library no longer has what the
    revision joins."""
    revision = get(shop, key, letter)
    return _take_over(shop, key, version, revision.snapshot.job, f"revision {letter} restored", who)


def bring_back(shop: Shop, key: str, draft_id: int, version: int, who: str) -> JobView:
    """Makes a draft that was put aside the draft again, and puts aside the one of now. Raises as ``restore``."""
    with shop.read() as session:
        data = releases.kept_draft(session, rows.versions(session, key).job_id, draft_id)
    return _take_over(shop, key, version, job_json.load(data.encode()).job, "draft brought back", who)


def kept_drafts(shop: Shop, key: str) -> tuple[KeptDraft, ...]:
    """The drafts of a job that were put aside, the newest first. Raises NotFound."""
    with shop.read() as session:
        return releases.kept_drafts(session, rows.versions(session, key).job_id)


def _take_over(shop: Shop, key: str, version: int, wanted: Job, why: str, who: str) -> JobView:
    with shop.write() as session:
        aside = jobs.view_in(shop, session, key).snapshot
        values = {
            "who": who,
            "why": why,
            "content_hash": aside.content_hash,
            "snapshot": job_json.dump(aside).decode(),
        }
        releases.keep_draft(session, rows.versions(session, key).job_id, values)

        def change(now: Job, _: Snapshot) -> Job:
            # numbers of signals are never given twice, so the count goes on
            return replace(wanted, key=key, next_number=max(now.next_number, wanted.next_number))

        try:
            return jobs.edit_in(shop, session, key, version, change, why)[0]
        except (NotFound, StructureError) as error:
            raise StructureError(
                f"the library no longer has what that state joins: {error}. A branch into a new job brings the "
                "pinouts of that time along",
                error.parts if isinstance(error, StructureError) else (),
            ) from error


def branch(
    shop: Shop, key: str, letter: str, *, name: str, customer: str = "", note: str = "", who: str = ""
) -> JobView:
    """A new job out of a revision, which names its origin. Pinouts that have changed since come along under keys of
    their own. Raises InputError, NotFound."""
    if not name.strip():
        raise InputError("name", name, "give the new job a name")
    with shop.write() as session:
        stored = releases.get_revision(session, job=key, letter=letter)
        source = opened(stored).snapshot
        new_key = jobs.free_key(name, {line.key for line in rows.list_jobs(session)})
        job = replace(source.job, key=new_key, name=name.strip(), customer=customer.strip())
        view = jobs.store_snapshot(
            shop, session, replace(source, job=job), f"branched from the job {key}, revision {letter}", rename=True
        )
        audit.record(shop, session, Subject.JOB, key, f"revision {letter} branched into the job {new_key}")
        origin = {"revision_id": stored.line.id, "who": who, "note": note.strip()}
        releases.add_origin(session, {"job_id": rows.versions(session, new_key).job_id, **origin})
        return view


@dataclass(frozen=True, slots=True)
class Lineage:
    """Where a job comes from, and (revision, key, name) of the jobs branched from it."""

    origin: Origin | None
    branches: tuple[tuple[str, str, str], ...]


def lineage(shop: Shop, key: str) -> Lineage:
    """Origin and branches of a job. Raises NotFound."""
    with shop.read() as session:
        job_id = rows.versions(session, key).job_id
        return Lineage(releases.origin_of(session, job_id), releases.branches_of(session, job_id))


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
        return Revision(stored.line, snapshot, dictionary.merged(stored.functions), _checks_of(stored.checks))

    return _OPENED.get((stored.line, stored.snapshot), make)
