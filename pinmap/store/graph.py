"""The electrical graph of a job: derived from its snapshot, kept in two tables, followed by one recursive query.

It holds every variant at once: a point stands for one pin entry, so that entries of different editions in one cavity
never meet. A net of two ends is one edge; one of more ends meets in its splice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.model.jobs import Signal, Snapshot
from pinmap.core.model.looms import DeviceEnd, End
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import IN_LINE_TERMINALS, DeviceKind
from pinmap.store.base import table
from pinmap.store.graph_tables import EdgeKind
from pinmap.store.rows import Plan, apply, plan

# A signal goes through these; a load ends it.
CONDUCTING = (EdgeKind.WIRE, EdgeKind.FACE, EdgeKind.CONTACT)


@dataclass(frozen=True, slots=True)
class Electrical:
    """points: name -> pin id or None; edges: (a, b, kind) -> signal key, with a < b."""

    points: dict[str, int | None]
    edges: dict[tuple[str, str, EdgeKind], str]


@dataclass(frozen=True, slots=True)
class Reached:
    """A point that was reached, and the library's pin it stands for."""

    name: str
    pin_id: int | None


def pin_point(pin_id: int) -> str:
    """The platform's half of a cavity."""
    return f"pin:{pin_id}"


def derive(snapshot: Snapshot, pin_ids: Mapping[PinKey, int]) -> Electrical:
    """The graph of a whole job, for all its variants."""
    made = Electrical({}, {})

    def join(a: str, b: str, kind: EdgeKind, signal: str) -> None:
        for name in (a, b):
            made.points.setdefault(name, None)
        made.edges[(*sorted((a, b)), kind)] = signal  # type: ignore[index]  # two sorted names are a pair

    def point_of(end: End, signal: str) -> str:
        if isinstance(end, DeviceEnd):
            return f"device:{end.device}:{end.terminal}"
        pin_id = pin_ids[end]
        made.points[pin_point(pin_id)] = made.points[f"loom:{pin_id}"] = pin_id
        join(pin_point(pin_id), f"loom:{pin_id}", EdgeKind.FACE, signal)
        return f"loom:{pin_id}"

    for signal in snapshot.job.signals:
        for section in range(len(signal.inline) + 1):
            ends = _section_ends(snapshot, signal, section)
            if len(ends) == 2:
                join(point_of(ends[0], signal.key), point_of(ends[1], signal.key), EdgeKind.WIRE, signal.key)
            elif ends:
                splice = f"splice:S{signal.number}" + (f".{section}" if section else "")
                for end in ends:
                    join(point_of(end, signal.key), splice, EdgeKind.WIRE, signal.key)
        for key in signal.inline:
            upstream, downstream = IN_LINE_TERMINALS[snapshot.device[key].kind]
            join(f"device:{key}:{upstream}", f"device:{key}:{downstream}", EdgeKind.CONTACT, signal.key)
    for device in snapshot.job.devices:
        if device.kind is DeviceKind.RELAY:
            join(f"device:{device.key}:85", f"device:{device.key}:86", EdgeKind.LOAD, "")
    _join_components(snapshot, pin_ids, made)
    return made


def _section_ends(snapshot: Snapshot, signal: Signal, section: int) -> list[End]:
    ends = [m.end for m in signal.members if m.section == section]
    if section > 0:
        key = signal.inline[section - 1]
        ends.append(DeviceEnd(key, IN_LINE_TERMINALS[snapshot.device[key].kind][1]))
    if section < len(signal.inline):
        key = signal.inline[section]
        ends.append(DeviceEnd(key, IN_LINE_TERMINALS[snapshot.device[key].kind][0]))
    return ends


def _join_components(snapshot: Snapshot, pin_ids: Mapping[PinKey, int], made: Electrical) -> None:
    """The insides of components that a signal touches, end to end in the platform's order."""
    by_component: dict[tuple[str, str], list[int]] = {}
    for platform in snapshot.platforms:
        for pin in platform.pins:
            if pin.component:
                by_component.setdefault((platform.key, pin.component), []).append(pin_ids[pin.key(platform.key)])
    for ids in by_component.values():
        if any(pin_point(i) in made.points for i in ids):
            for a, b in pairwise(ids):
                made.points[pin_point(a)], made.points[pin_point(b)] = a, b
                first, second = sorted((pin_point(a), pin_point(b)))
                made.edges[first, second, EdgeKind.LOAD] = ""


def write(session: Session, job_id: int, wanted: Electrical, before: Electrical | None = None) -> int:
    """Brings the stored graph of a job to the wanted one; gives the number of rows written. ``before`` is what the
    rows hold, where that is known."""
    if before is not None and before == wanted:
        return 0
    return apply(session, plans(session, job_id, wanted))


def plans(session: Session, job_id: int, wanted: Electrical) -> list[Plan]:
    """What would have to be written so that the stored graph of a job is the wanted one."""
    fixed = {"job_id": job_id}
    points = ({"name": name, "pin_id": pin_id} for name, pin_id in wanted.points.items())
    edges = ({"a": a, "b": b, "kind": kind, "signal": signal} for (a, b, kind), signal in wanted.edges.items())
    return [
        plan(session, table("point"), fixed, ("name",), points),
        plan(session, table("edge"), fixed, ("a", "b", "kind"), edges),
    ]


def follow(session: Session, job_id: int, point: str, kinds: Iterable[EdgeKind] = CONDUCTING) -> tuple[Reached, ...]:
    """Every point that current reaches from ``point`` through edges of these kinds, itself included, by name; empty
    when the job has no such point. One recursive query."""
    p, e = table("point"), table("edge")
    reach = sa.select(p.c.name).where(p.c.job_id == job_id, p.c.name == point).cte("reach", recursive=True)
    allowed = tuple(kinds)
    # UNION, not UNION ALL: a point met again is not followed again, so rings end
    reach = reach.union(
        sa.select(sa.case((e.c.a == reach.c.name, e.c.b), else_=e.c.a))
        .join_from(reach, e, sa.or_(e.c.a == reach.c.name, e.c.b == reach.c.name))
        .where(e.c.job_id == job_id, e.c.kind.in_(allowed))
    )
    found = session.execute(
        sa.select(p.c.name, p.c.pin_id).join_from(reach, p, p.c.name == reach.c.name).where(p.c.job_id == job_id)
    )
    return tuple(sorted((Reached(*row) for row in found), key=lambda r: r.name))
