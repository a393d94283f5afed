"""Jobs: list, make, read, change, copy, delete, and the job file in and out."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from itertools import count

from sqlmodel import Session

from pinmap.core.crossing import changes, edits_setup
from pinmap.core.crossing.ledger import ledger
from pinmap.core.errors import Conflict, Difference, InputError, NotFound, StructureError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Job, Seat, Snapshot
from pinmap.core.model.pinouts import Platform
from pinmap.core.model.words import Role
from pinmap.exchange import job_json
from pinmap.services import audit, clashes, dictionary
from pinmap.services.audit import Subject
from pinmap.services.remembered import all_housings, loaded
from pinmap.services.shop import Shop
from pinmap.services.stale import looked_at
from pinmap.store import bench, graph, platform_rows, releases, steps, versions
from pinmap.store import housings as stored_housings
from pinmap.store import jobs as rows
from pinmap.store.consistency import check_snapshot
from pinmap.store.jobs import Refs, Versions

Change = Callable[[Job, Snapshot], Job]
Note = Callable[[Session, int, Job, Job], None]


@dataclass(frozen=True, slots=True)
class JobView:
    """A job as it stood at one version; a change is asked for against that version. ``dictionary`` has the shop's own
    functions in it."""

    snapshot: Snapshot
    version: int
    dictionary: Dictionary

    @property
    def job(self) -> Job:
        return self.snapshot.job


@dataclass(frozen=True, slots=True)
class JobSummary:
    """A line of the list of jobs. ``pins`` and ``undecided`` count pin entries of all sides."""

    key: str
    name: str
    customer: str
    version: int
    changed: datetime
    donor: str
    host: str
    control: str
    pins: int
    undecided: int
    signals: int
    variants: int
    revisions: int


def list_jobs(shop: Shop) -> tuple[JobSummary, ...]:
    """All jobs, the last changed first, with how far they are."""
    found = []
    with shop.read() as session:
        revisions = releases.counts(session)
        for line in rows.list_jobs(session):
            snapshot = view_in(shop, session, line.key).snapshot
            book = ledger(snapshot)
            found.append(
                JobSummary(
                    key=line.key,
                    name=line.name,
                    customer=line.customer,
                    version=line.version,
                    changed=line.changed,
                    donor=_sitting(snapshot, Role.DONOR),
                    host=_sitting(snapshot, Role.HOST),
                    control=_sitting(snapshot, Role.CONTROL),
                    pins=len(book.rows),
                    undecided=book.undecided,
                    signals=len(snapshot.job.signals),
                    variants=len(snapshot.variants),
                    revisions=revisions.get(line.id, 0),
                )
            )
    return tuple(found)


def _sitting(snapshot: Snapshot, role: Role) -> str:
    """Names of the platforms that the seats of a role pick."""
    keys = dict.fromkeys(p.platform for seat in snapshot.job.seats if seat.role == role for p in seat.picks)
    return ", ".join(snapshot.platform[key].name for key in keys)


def get(shop: Shop, key: str) -> JobView:
    """A job. One small query when nothing has changed since it was asked for last. Raises NotFound."""
    with shop.read() as session:
        return view_in(shop, session, key)


def create_job(
    shop: Shop, key: str, name: str, seats: Sequence[Seat] = (), *, customer: str = "", note: str = ""
) -> JobView:
    """A new job; an empty key is made from the name. Raises InputError, NotFound for a platform that is not there."""
    with shop.write() as session:
        key = key.strip() or free_key(name, {line.key for line in rows.list_jobs(session)})
        job = replace(edits_setup.new_job(key, name, customer=customer, note=note), seats=tuple(seats))
        _store_new(shop, session, job, "started")
        return view_in(shop, session, key)


def _keep_step(what: str) -> Note:
    def keep(session: Session, job_id: int, before: Job, after: Job) -> None:
        changed = [f.name for f in fields(Job) if getattr(before, f.name) != getattr(after, f.name)]
        if changed:
            texts = (job_json.dump_parts(before, changed), job_json.dump_parts(after, changed))
            steps.add(session, job_id, what or "change", *texts)

    return keep


def edit(shop: Shop, key: str, version: int, change: Change, what: str = "", note: Note | None = None) -> JobView:
    """Changes a job by a pure function of it. All of the change is stored or nothing; what it does not touch is not
    written. ``what`` says in words what was meant, for the message when somebody else saved first, and for undoing it.
    ``note`` writes down what is remembered of the change, so that it can be undone unless another is given. Raises
    Conflict with what the change would do to the job as it is now, NotFound, and whatever ``change`` raises."""
    with shop.write() as session:
        view, stands, refs = edit_in(shop, session, key, version, change, what, note)
    shop.snapshots.put(stands, (view.snapshot, refs))
    return view


def edit_in(
    shop: Shop, session: Session, key: str, version: int, change: Change, what: str, note: Note | None = None
) -> tuple[JobView, Versions, Refs]:
    """As ``edit``, in a session that is open; with what the job stands on now and refers to."""
    job_id = rows.versions(session, key).job_id
    try:
        versions.claim(session, "job", job_id, version, f"the job ({what})" if what else "the job")
    except Conflict as stale:
        raise looked_at(stale, lambda: _trial(shop, session, key, change)) from None
    stood = replace(rows.versions(session, key), version=version)  # read behind the lock
    before, refs = _loaded_snapshot(shop, session, stood)
    job = change(before.job, before)
    if job.key != key:
        raise InputError("key", job.key, "a job keeps its key")
    refs, after = _changed(shop, session, before, refs, job)
    saved = rows.save_job(session, job_id, after, refs, before=before.job)
    if saved.parts:
        graph.write(session, job_id, graph.derive(after, refs.pin_ids), graph.derive(before, refs.pin_ids))
    audit.record(
        shop, session, Subject.JOB, key, what or "changed", changes.job_changes(before.job, job, after.platforms)
    )
    # what is remembered is what the rows say
    job = rows.load_job(session, job_id, refs, known=before.job, stale=saved.parts)
    (note or _keep_step(what))(session, job_id, before.job, job)
    after = Snapshot(job, after.platforms, after.housings)
    stands = rows.versions(session, key)
    return JobView(after, stands.version, dictionary.entries_in(shop, session)), stands, refs


def copy(shop: Shop, key: str, new_key: str, name: str) -> JobView:
    """A copy of a job under another key, without its revisions. Raises NotFound, InputError."""
    with shop.write() as session:
        source = view_in(shop, session, key).job
        new_key = new_key.strip() or free_key(name, {line.key for line in rows.list_jobs(session)})
        checked = edits_setup.new_job(new_key, name)
        _store_new(shop, session, replace(source, key=checked.key, name=checked.name), f"copied from the job {key}")
        return view_in(shop, session, new_key)


def delete(shop: Shop, key: str, version: int) -> None:
    """Deletes a job. Raises Conflict, NotFound, and StructureError while it has revisions, which stay for ever, or was
    worked on at the bench."""
    with shop.write() as session:
        job_id = rows.versions(session, key).job_id
        try:
            versions.claim(session, "job", job_id, version, "the job (delete)")
        except Conflict as stale:
            raise looked_at(stale, lambda: (Difference("the job", "", "stored", "deleted for good"),)) from None
        if revisions := releases.count(session, job_id):
            raise StructureError(
                f"the job has {revisions} released revisions, which must stay readable; keep it", (key,)
            )
        if checked := bench.count(session, job_id):
            raise StructureError(f"{checked} lines of the job were checked off at the bench; keep it", (key,))
        gone = view_in(shop, session, key).snapshot
        rows.delete_job(session, job_id)
        audit.record(shop, session, Subject.JOB, key, "deleted", (_whole(gone, there=False),))


def export_json(shop: Shop, key: str) -> bytes:
    """The job file: the job with all it stands on. Raises NotFound."""
    return job_json.dump(get(shop, key).snapshot)


def import_json(shop: Shop, data: bytes, *, rename: bool = False) -> JobView:
    """Takes in a job file. Platforms and housings that are here already with the same content are shared; where the
    content differs the file is refused, or with ``rename`` the file's own come in under new keys. Raises
    FileRejected or InputError for a bad file, StructureError for a clash; nothing is stored then."""
    with shop.write() as session:
        return store_snapshot(shop, session, job_json.load(data), "brought in from a job file", rename=rename)


def store_snapshot(
    shop: Shop, session: Session, snapshot: Snapshot, what: str = "brought in", *, rename: bool = False
) -> JobView:
    """Stores a whole snapshot as a new job, with what of its platforms and housings is not here yet. ``what`` says in
    the record of changes where it comes from."""
    taken = {line.key for line in rows.list_jobs(session)}
    if snapshot.job.key in taken:
        if not rename:
            remedy = "there is such a job; import it under a new key"
            raise StructureError(f"job {snapshot.job.key!r}: {remedy}", (snapshot.job.key,))
        key = next_key(snapshot.job.key, taken)
        snapshot = replace(snapshot, job=replace(snapshot.job, key=key))
    snapshot = clashes.settled(
        snapshot, all_housings(shop, session), lambda key: _stored_platform(shop, session, key), rename=rename
    )
    have = all_housings(shop, session)
    for housing in snapshot.housings:
        if housing.key not in have:
            stored_housings.save_housing(session, housing, None)
            audit.record(shop, session, Subject.HOUSING, housing.key, what, changes.housing_changes(None, housing))
    for platform in snapshot.platforms:
        if _stored_platform(shop, session, platform.key) is None:
            platform_rows.add_platform(session, platform)
            audit.record(shop, session, Subject.PLATFORM, platform.key, what, changes.platform_changes(None, platform))
    _store_new(shop, session, snapshot.job, what)
    return view_in(shop, session, snapshot.job.key)


def rederive(shop: Shop, session: Session, key: str) -> None:
    """Brings the electrical graph of a job in line with its platforms, after these have changed."""
    stands = rows.versions(session, key)
    snapshot, refs = _loaded_snapshot(shop, session, stands)
    graph.write(session, stands.job_id, graph.derive(snapshot, refs.pin_ids))


def free_key(name: str, taken: Collection[str]) -> str:
    """A key made from a name, such as brindle-6, that is not taken."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    key = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60] or "x"
    return key if key not in taken else next_key(key, taken)


def next_key(key: str, taken: Collection[str]) -> str:
    """The key with the first number behind it that is not taken."""
    return next(k for n in count(2) if (k := f"{key}-{n}") not in taken)


def view_in(shop: Shop, session: Session, key: str) -> JobView:
    """A job, read in a session that is open. Raises NotFound."""
    stands = rows.versions(session, key)
    snapshot, _ = _loaded_snapshot(shop, session, stands)
    return JobView(snapshot, stands.version, dictionary.entries_in(shop, session))


def snapshot_in(shop: Shop, session: Session, key: str) -> tuple[Snapshot, Refs]:
    """A job's snapshot and the ids of what it refers to, read in a session that is open. Raises NotFound."""
    return _loaded_snapshot(shop, session, rows.versions(session, key))


def _loaded_snapshot(shop: Shop, session: Session, stands: Versions) -> tuple[Snapshot, Refs]:
    def load() -> tuple[Snapshot, Refs]:
        platforms = [loaded(shop, session, platform_id, version) for platform_id, version in stands.platforms]
        refs = Refs.of(platforms)
        job = rows.load_job(session, stands.job_id, refs)
        return rows.snapshot_of(job, platforms, all_housings(shop, session)), refs

    return shop.recall(session, shop.snapshots, stands, load)


def _changed(shop: Shop, session: Session, before: Snapshot, refs: Refs, job: Job) -> tuple[Refs, Snapshot]:
    """The changed job with all it stands on. Raises NotFound for a picked platform that is not there."""
    if job.seats != before.job.seats:
        return _with_platforms(shop, session, job)
    housings = all_housings(shop, session)
    return refs, Snapshot(job, before.platforms, rows.used_housings(job, before.platforms, housings))


def _trial(shop: Shop, session: Session, key: str, change: Change) -> tuple[Difference, ...]:
    """What a change would do to the job as it is now. Raises what the change, or storing it, would raise."""
    now, refs = _loaded_snapshot(shop, session, rows.versions(session, key))
    _, after = _changed(shop, session, now, refs, change(now.job, now))
    check_snapshot(after)
    return changes.differences(changes.job_changes(now.job, after.job, after.platforms))


def _with_platforms(shop: Shop, session: Session, job: Job) -> tuple[Refs, Snapshot]:
    """The job on the platforms that its seats pick. Raises NotFound."""
    keys = dict.fromkeys(pick.platform for seat in job.seats for pick in seat.picks)
    found = [loaded(shop, session, *platform_rows.find_platform(session, key, hold=True)) for key in keys]
    return Refs.of(found), rows.snapshot_of(job, found, all_housings(shop, session))


def _store_new(shop: Shop, session: Session, job: Job, what: str) -> None:
    refs, snapshot = _with_platforms(shop, session, job)
    job_id = rows.add_job(session, snapshot, refs)
    graph.write(session, job_id, graph.derive(snapshot, refs.pin_ids))
    audit.record(shop, session, Subject.JOB, job.key, what, (_whole(snapshot, there=True),))


def _whole(snapshot: Snapshot, *, there: bool) -> changes.Change:
    """A job that comes or goes as one change; its content hash tells which state it was."""
    job = snapshot.job
    text = f"{job.name}; {len(job.signals)} signals; content {snapshot.content_hash}"
    return changes.Change("job", "added", "", text) if there else changes.Change("job", "removed", text, "")


def _stored_platform(shop: Shop, session: Session, key: str) -> Platform | None:
    try:
        found = platform_rows.find_platform(session, key)
    except NotFound:
        return None
    return loaded(shop, session, *found).platform
