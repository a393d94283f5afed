"""Jobs as core records, in and out without loss; only what changed is written."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import InputError, NotFound
from pinmap.core.model.jobs import (
    Acceptance,
    Job,
    LoadCase,
    Member,
    Pick,
    PinFate,
    Practice,
    Seat,
    Signal,
    Snapshot,
    as_plain,
)
from pinmap.core.model.looms import Device, DeviceEnd, End, Fixing, Loom, MatedCavity, Mating, Node, Segment, Zone
from pinmap.core.model.pinouts import ConnectorKey, Housing, PinKey, Platform
from pinmap.core.model.words import FixingKind, natural_key
from pinmap.store.base import checked, now, sought, table
from pinmap.store.consistency import check_snapshot
from pinmap.store.platform_rows import LoadedPlatform
from pinmap.store.rows import Plan, apply, plan


@dataclass(frozen=True)
class Refs:
    """Names and ids of what a job refers to in the library, both ways."""

    platform_ids: Mapping[str, int]
    platform_keys: Mapping[int, str]
    connector_ids: Mapping[ConnectorKey, int]
    connector_keys: Mapping[int, ConnectorKey]
    pin_ids: Mapping[PinKey, int]
    pin_keys: Mapping[int, PinKey]

    @classmethod
    def of(cls, platforms: Iterable[LoadedPlatform]) -> Refs:
        """The references into these platforms."""
        platform_ids: dict[str, int] = {}
        connector_ids: dict[ConnectorKey, int] = {}
        pin_ids: dict[PinKey, int] = {}
        for loaded in platforms:
            platform_ids[loaded.platform.key] = loaded.id
            connector_ids.update(loaded.connector_ids)
            pin_ids.update(loaded.pin_ids)
        return cls(
            platform_ids,
            {v: k for k, v in platform_ids.items()},
            connector_ids,
            {v: k for k, v in connector_ids.items()},
            pin_ids,
            {v: k for k, v in pin_ids.items()},
        )


@dataclass(frozen=True, slots=True)
class Versions:
    """What a job's snapshot stands on; the same versions give the same snapshot."""

    job_id: int
    version: int
    platforms: tuple[tuple[int, int], ...]  # (id, version) in the order of the picks
    housings: int


@dataclass(frozen=True, slots=True)
class JobLine:
    """A line of the list of jobs."""

    id: int
    key: str
    name: str
    customer: str
    version: int
    changed: datetime


def list_jobs(session: Session) -> tuple[JobLine, ...]:
    """All jobs, the last changed first."""
    j = table("job")
    found = session.execute(
        sa.select(j.c.id, j.c.key, j.c.name, j.c.customer, j.c.version, j.c.changed).order_by(
            j.c.changed.desc(), j.c.id.desc()
        )
    )
    return tuple(JobLine(*row) for row in found)


def versions(session: Session, key: str) -> Versions:
    """One small query: what the job stands on now. Raises NotFound."""
    j, k, s, p, st = table("job"), table("pick"), table("seat"), table("platform"), table("stamp")
    housings = sa.select(st.c.count).where(st.c.name == "housings").scalar_subquery()
    joined = (
        j.outerjoin(k, k.c.job_id == j.c.id)
        .outerjoin(s, sa.and_(s.c.job_id == k.c.job_id, s.c.key == k.c.seat))
        .outerjoin(p, p.c.id == k.c.platform_id)
    )
    found = session.execute(
        sa.select(j.c.id, j.c.version, p.c.id, p.c.version, housings)
        .select_from(joined)
        .where(j.c.key == sought(key))
        .order_by(s.c.position, k.c.position)
    ).all()
    if not found:
        raise NotFound(f"there is no job {key!r}")
    platforms = dict.fromkeys((row[2], row[3]) for row in found if row[2] is not None)
    return Versions(found[0][0], found[0][1], tuple(platforms), found[0][4] or 0)


# --- rows to records ---------------------------------------------------------------------------------------------


def _records(session: Session, job_id: int, name: str, make: Callable[..., Any], columns: Sequence[str]) -> Any:
    t = table(name)
    found = session.execute(sa.select(*(t.c[c] for c in columns)).where(t.c.job_id == job_id).order_by(t.c.position))
    return tuple(make(**dict(zip(columns, row, strict=True))) for row in found)


def _columns(record: type[Any], *without: str) -> tuple[str, ...]:
    return tuple(f.name for f in fields(record) if f.name not in without)


_LOOM, _ZONE, _CASE = _columns(Loom), _columns(Zone), _columns(LoadCase)
_NODE, _SEGMENT, _DEVICE = _columns(Node, "mates"), _columns(Segment), _columns(Device)
_SIGNAL, _SEAT = _columns(Signal, "members", "inline"), _columns(Seat, "picks")
_ACCEPTANCE, _MATING, _CAVITY = _columns(Acceptance), _columns(Mating, "cavities"), _columns(MatedCavity)
_FIXING = _columns(Fixing)


def _load_seats(session: Session, job_id: int, refs: Refs) -> tuple[Seat, ...]:
    k = table("pick")
    picks: dict[str, list[Pick]] = {}
    for seat, platform_id, edition in session.execute(
        sa.select(k.c.seat, k.c.platform_id, k.c.edition).where(k.c.job_id == job_id).order_by(k.c.seat, k.c.position)
    ):
        picks.setdefault(seat, []).append(Pick(refs.platform_keys[platform_id], edition))

    def make(**values: Any) -> Seat:
        return Seat(picks=tuple(picks.get(values["key"], ())), **values)

    return _records(session, job_id, "seat", make, _SEAT)  # type: ignore[no-any-return]  # _records serves every record


def _load_signals(session: Session, job_id: int, refs: Refs) -> tuple[Signal, ...]:
    m, i = table("member"), table("in_line")
    members: dict[str, list[Member]] = {}
    for signal, section, pin_id, device, terminal, mm2, colour in session.execute(
        sa.select(m.c.signal, m.c.section, m.c.pin_id, m.c.device, m.c.terminal, m.c.mm2, m.c.colour)
        .where(m.c.job_id == job_id)
        .order_by(m.c.signal, m.c.position)
    ):
        end: End = refs.pin_keys[pin_id] if pin_id is not None else DeviceEnd(device, terminal)
        members.setdefault(signal, []).append(Member(end=end, section=section, mm2=mm2, colour=colour))
    inline: dict[str, list[str]] = {}
    for signal, device in session.execute(
        sa.select(i.c.signal, i.c.device).where(i.c.job_id == job_id).order_by(i.c.signal, i.c.position)
    ):
        inline.setdefault(signal, []).append(device)

    def make(**values: Any) -> Signal:
        key = values["key"]
        return Signal(members=tuple(members.get(key, ())), inline=tuple(inline.get(key, ())), **values)

    return _records(session, job_id, "signal", make, _SIGNAL)  # type: ignore[no-any-return]  # as above


def _load_nodes(session: Session, job_id: int, refs: Refs) -> tuple[Node, ...]:
    def make(*, mates_id: int | None, **values: Any) -> Node:
        return Node(mates=None if mates_id is None else refs.connector_keys[mates_id], **values)

    return _records(session, job_id, "node", make, ("mates_id", *_NODE))  # type: ignore[no-any-return]  # as above


def _load_segments(session: Session, job_id: int, _refs: Refs) -> tuple[Segment, ...]:
    def make(*, zone: str | None, **values: Any) -> Segment:
        return Segment(zone=zone or "", **values)

    return _records(session, job_id, "segment", make, _SEGMENT)  # type: ignore[no-any-return]  # as above


def _load_fixings(session: Session, job_id: int, _refs: Refs) -> tuple[Fixing, ...]:
    def make(*, kind: str, **values: Any) -> Fixing:
        return Fixing(kind=FixingKind(kind), **values)

    return _records(session, job_id, "fixing", make, _FIXING)  # type: ignore[no-any-return]  # as above


def _load_matings(session: Session, job_id: int, _refs: Refs) -> tuple[Mating, ...]:
    c = table("mated_cavity")
    cavities: dict[str, list[MatedCavity]] = {}
    for mating, *row in session.execute(
        sa.select(c.c.mating, *(c.c[name] for name in _CAVITY))
        .where(c.c.job_id == job_id)
        .order_by(c.c.mating, c.c.position)
    ):
        cavities.setdefault(mating, []).append(MatedCavity(**dict(zip(_CAVITY, row, strict=True))))

    def make(**values: Any) -> Mating:
        return Mating(cavities=tuple(cavities.get(values["key"], ())), **values)

    return _records(session, job_id, "mating", make, _MATING)  # type: ignore[no-any-return]  # as above


def _load_devices(session: Session, job_id: int, _refs: Refs) -> tuple[Device, ...]:
    def make(*, place: str | None, **values: Any) -> Device:
        return Device(place=place or "", **values)

    return _records(session, job_id, "device", make, _DEVICE)  # type: ignore[no-any-return]  # as above


def _load_fates(session: Session, job_id: int, refs: Refs) -> tuple[PinFate, ...]:
    def make(*, pin_id: int, **values: Any) -> PinFate:
        return PinFate(pin=refs.pin_keys[pin_id], **values)

    columns = ("pin_id", *_columns(PinFate, "pin"))
    return _records(session, job_id, "pin_fate", make, columns)  # type: ignore[no-any-return]  # as above


_LOADERS: dict[str, Callable[[Session, int, Refs], Any]] = {
    "seats": _load_seats,
    "looms": lambda s, j, _: _records(s, j, "loom", Loom, _LOOM),
    "zones": lambda s, j, _: _records(s, j, "zone", Zone, _ZONE),
    "nodes": _load_nodes,
    "segments": _load_segments,
    "fixings": _load_fixings,
    "matings": _load_matings,
    "devices": _load_devices,
    "signals": _load_signals,
    "fates": _load_fates,
    "load_cases": lambda s, j, _: _records(s, j, "load_case", LoadCase, _CASE),
    "acceptances": lambda s, j, _: _records(s, j, "acceptance", Acceptance, _ACCEPTANCE),
}


def load_job(session: Session, job_id: int, refs: Refs, *, known: Job | None = None, stale: Iterable[str] = ()) -> Job:
    """A job out of its rows. With ``known``, only the parts named in ``stale`` are read again."""
    j = table("job")
    head = session.execute(
        sa.select(j.c.key, j.c.name, j.c.customer, j.c.note, j.c.next_number, j.c.practice).where(j.c.id == job_id)
    ).one()
    parts = {
        part: load(session, job_id, refs) for part, load in _LOADERS.items() if known is None or part in set(stale)
    }
    practice = _practice(head[5])
    own = {"key": head[0], "name": head[1], "customer": head[2], "note": head[3], "next_number": head[4]}
    if known is not None:
        return replace(known, practice=practice, **own, **parts)
    return Job(practice=practice, **own, **parts)


def _practice(stored: Mapping[str, Any]) -> Practice:
    names = {f.name for f in fields(Practice)}
    values = {k: v for k, v in stored.items() if k in names}
    if "stock_mm2" in values:
        values["stock_mm2"] = tuple(float(v) for v in values["stock_mm2"])
    return Practice(**values)


def snapshot_of(job: Job, platforms: Sequence[LoadedPlatform], housings: Mapping[str, Housing]) -> Snapshot:
    """A snapshot with the platforms in the order of the picks and just the housings that are used."""
    by_key = {p.platform.key: p.platform for p in platforms}
    order = dict.fromkeys(pick.platform for seat in job.seats for pick in seat.picks)
    chosen = tuple(by_key[key] for key in order if key in by_key)
    return Snapshot(job=job, platforms=chosen, housings=used_housings(job, chosen, housings))


def used_housings(job: Job, platforms: Sequence[Platform], housings: Mapping[str, Housing]) -> tuple[Housing, ...]:
    """The housings that connectors and nodes name, by key as people sort."""
    used = {c.housing for p in platforms for c in p.connectors} | {n.housing for n in job.nodes}
    return tuple(housings[key] for key in sorted(used & housings.keys(), key=natural_key))


def canonical(snapshot: Snapshot) -> Snapshot:
    """The same snapshot as the store gives it: platforms in the order of the picks, only housings that are used."""
    order = {key: i for i, key in enumerate(dict.fromkeys(p.platform for s in snapshot.job.seats for p in s.picks))}
    platforms = tuple(sorted(snapshot.platforms, key=lambda p: order.get(p.key, len(order))))
    return Snapshot(snapshot.job, platforms, used_housings(snapshot.job, platforms, snapshot.housing))


# --- records to rows ---------------------------------------------------------------------------------------------


def _plain(records: Iterable[Any], columns: Sequence[str], *optional: str) -> Iterable[dict[str, Any]]:
    for record in records:
        row = {c: getattr(record, c) for c in columns}
        for c in optional:
            row[c] = row[c] or None
        yield row


def _plan_part(session: Session, job_id: int, part: str, job: Job, refs: Refs) -> list[Plan]:
    fixed = {"job_id": job_id}

    def plan_of(name: str, key: Sequence[str], rows: Iterable[dict[str, Any]]) -> Plan:
        return plan(session, table(name), fixed, key, rows)

    match part:
        case "seats":
            picks = (
                {"seat": s.key, "position": i, "platform_id": refs.platform_ids[p.platform], "edition": p.edition}
                for s in job.seats
                for i, p in enumerate(s.picks)
            )
            return [plan_of("seat", ("key",), _plain(job.seats, _SEAT)), plan_of("pick", ("seat", "position"), picks)]
        case "looms":
            return [plan_of("loom", ("key",), _plain(job.looms, _LOOM))]
        case "zones":
            return [plan_of("zone", ("key",), _plain(job.zones, _ZONE))]
        case "nodes":
            nodes = (
                row | {"mates_id": None if n.mates is None else refs.connector_ids[n.mates]}
                for n, row in zip(job.nodes, _plain(job.nodes, _NODE), strict=True)
            )
            return [plan_of("node", ("key",), nodes)]
        case "segments":
            return [plan_of("segment", ("key",), _plain(job.segments, _SEGMENT, "zone"))]
        case "fixings":
            return [plan_of("fixing", ("key",), _plain(job.fixings, _FIXING))]
        case "matings":
            kept = (
                {"mating": m.key, "position": i} | {name: getattr(c, name) for name in _CAVITY}
                for m in job.matings
                for i, c in enumerate(m.cavities)
            )
            return [
                plan_of("mating", ("key",), _plain(job.matings, _MATING)),
                plan_of("mated_cavity", ("mating", "position"), kept),
            ]
        case "devices":
            return [plan_of("device", ("key",), _plain(job.devices, _DEVICE, "place"))]
        case "signals":
            members = (_member_row(s, i, m, refs) for s in job.signals for i, m in enumerate(s.members))
            inline = (
                {"signal": s.key, "position": i, "device": d} for s in job.signals for i, d in enumerate(s.inline)
            )
            return [
                plan_of("signal", ("key",), _plain(job.signals, _SIGNAL)),
                plan_of("member", ("signal", "pin_id", "device", "terminal"), members),
                plan_of("in_line", ("signal", "position"), inline),
            ]
        case "fates":
            fates = (
                {"pin_id": refs.pin_ids[f.pin], "fate": f.fate, "reason": f.reason, "owner": f.owner, "due": f.due}
                for f in job.fates
            )
            return [plan_of("pin_fate", ("pin_id",), fates)]
        case "load_cases":
            return [plan_of("load_case", ("key",), _plain(job.load_cases, _CASE))]
        case "acceptances":
            rows = (row | {"position": i} for i, row in enumerate(_plain(job.acceptances, _ACCEPTANCE)))
            return [plan_of("acceptance", ("position",), rows)]
    raise AssertionError(part)


def _member_row(signal: Signal, position: int, member: Member, refs: Refs) -> dict[str, Any]:
    pin = member.end if isinstance(member.end, PinKey) else None
    device = member.end if isinstance(member.end, DeviceEnd) else None
    return {
        "signal": signal.key,
        "position": position,
        "section": member.section,
        "pin_id": refs.pin_ids[pin] if pin is not None else None,
        "device": device.device if device is not None else None,
        "terminal": device.terminal if device is not None else None,
        "mm2": member.mm2,
        "colour": member.colour,
    }


@dataclass(frozen=True, slots=True)
class Saved:
    """What saving did."""

    rows: int
    parts: tuple[str, ...]


def save_job(session: Session, job_id: int, snapshot: Snapshot, refs: Refs, *, before: Job | None = None) -> Saved:
    """Writes what differs from the rows; with ``before`` (what the rows hold), unchanged parts are not even read.
    Raises StructureError or InputError before anything is written."""
    check_snapshot(snapshot)
    job = snapshot.job
    changed = tuple(p for p in _LOADERS if before is None or getattr(before, p) != getattr(job, p))
    written = 0
    head = _head(job)
    if before is None or head != _head(before):
        j = table("job")
        session.execute(sa.update(j).where(j.c.id == job_id).values(**checked(j, head)))
        written = 1
    plans = [p for part in changed for p in _plan_part(session, job_id, part, job, refs)]
    return Saved(written + apply(session, plans), changed)


def _head(job: Job) -> dict[str, Any]:
    practice = {f.name: as_plain(getattr(job.practice, f.name)) for f in fields(Practice)}
    return {
        "key": job.key, "name": job.name, "customer": job.customer, "note": job.note,
        "practice": practice, "next_number": job.next_number,
    }  # fmt: skip


def add_job(session: Session, snapshot: Snapshot, refs: Refs) -> int:
    """Stores a new job and gives its id. Raises InputError when its key is taken, StructureError."""
    job = snapshot.job
    if not job.key.strip():
        raise InputError("key", job.key, "give the job a key")
    check_snapshot(snapshot)
    j = table("job")
    head = checked(j, _head(job))
    if session.execute(sa.select(j.c.id).where(j.c.key == job.key)).first() is not None:
        raise InputError("key", job.key, "choose another key, this one is taken")
    values = head | {"version": 1, "created": now(), "changed": now()}
    job_id: int = session.execute(sa.insert(j).values(**values).returning(j.c.id)).scalar_one()
    save_job(session, job_id, snapshot, refs)
    return job_id


def delete_job(session: Session, job_id: int) -> None:
    """Deletes a job with all its parts. The database refuses while it has revisions."""
    j = table("job")
    session.execute(sa.delete(j).where(j.c.id == job_id))
