"""A list of runs taken into the loom: new runs with what they lead to, and changes of runs that are there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import NamedTuple

from pinmap.core.crossing.edit_checks import free_key
from pinmap.core.crossing.edits_fixings import fixings_on, with_fixings
from pinmap.core.crossing.edits_parts import add_loom, add_node, add_segment, update_segment
from pinmap.core.errors import InputError
from pinmap.core.facts.parts import coverings
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Fixing, Loom, Node, Segment
from pinmap.core.model.pinouts import ConnectorKey
from pinmap.core.model.words import FixingKind, NodeKind


class FixingLine(NamedTuple):
    """A fixing as a line names it, from the run's end that the line names first."""

    kind: FixingKind
    at_m: float
    inner_mm: float
    part: str = ""


@dataclass(frozen=True, slots=True)
class RunLine:
    """One line of the list; ``row`` is what the user's spreadsheet shows. Blank texts and None are not given. ``a``
    and ``b`` are keys or names of nodes, or connectors such as "Brindle 6 C101" or "C101"."""

    row: int
    run: str
    a: str
    b: str
    length_m: float | None
    zone: str = ""
    covering: str = ""
    problem: str = ""  # found while reading
    loom: str = ""  # key or name; for a blank that of the end that is there, or else the first
    fixings: tuple[FixingLine, ...] | None = None  # all that the run is to have; None leaves what is


@dataclass(frozen=True, slots=True)
class Taken:
    """What a line did, in words, or why it cannot be taken."""

    line: RunLine
    deed: str = ""
    problem: str = ""


def take_runs(snapshot: Snapshot, lines: Iterable[RunLine]) -> tuple[Job, tuple[Taken, ...]]:
    """The job with every line that can be taken, and what became of each line, in order. A line may use what an
    earlier one has made."""
    job, done = snapshot.job, []
    for line in lines:
        if line.problem:
            done.append(Taken(line, problem=line.problem))
            continue
        try:
            job, deed = _take(job, snapshot, line)
            done.append(Taken(line, deed))
        except InputError as error:
            done.append(Taken(line, problem=str(error)))
    return job, tuple(done)


def _take(job: Job, snapshot: Snapshot, line: RunLine) -> tuple[Job, str]:
    zone = _zone(job, line.zone)
    if line.covering and line.covering not in coverings():
        raise InputError("covering", line.covering, f"choose one of: {', '.join(coverings())}")
    there = _run_there(job, snapshot, line)
    job, loom, new_loom = _loom(job, snapshot, line, there)
    if there is not None:
        return _change(job, snapshot, there, line, zone)
    if not line.a or not line.b:
        raise InputError("from" if not line.a else "to", "", "a new run leads from one end to another; name both")
    if line.length_m is None:
        raise InputError("length_mm", "", "measure the run; a new one needs its length")
    job, a, new_a = _node(job, snapshot, line.a, loom)
    job, b, new_b = _node(job, snapshot, line.b, loom)
    key = line.run or free_key((s.key for s in job.segments), "r")
    run = Segment(key=key, loom=loom, a=a, b=b, length_m=line.length_m, zone=zone or "", covering=line.covering)
    made = [f"new {what}" for what in (new_loom, new_a, new_b) if what]
    job, fixed = _fixed(add_segment(job, run), run, line, turned=False)
    return job, ", ".join([f"new run {key}", *made, *fixed])


def _change(job: Job, snapshot: Snapshot, run: Segment, line: RunLine, zone: str | None) -> tuple[Job, str]:
    new = replace(
        run,
        length_m=run.length_m if line.length_m is None else line.length_m,
        zone=run.zone if zone is None else zone,
        covering=line.covering or run.covering,
    )
    changed = []
    if new.length_m != run.length_m:
        changed.append(f"{run.length_m * 1000:g} mm becomes {new.length_m * 1000:g} mm")
    if new.zone != run.zone:
        changed.append("zone changes")
    if new.covering != run.covering:
        changed.append(f"covering becomes {new.covering}")
    first = _found(job, snapshot, line.a)
    held = _lines_of(job, run)
    if line.fixings is not None and new.length_m < run.length_m:  # what is fixed now may lie beyond the new end
        job = with_fixings(job, run.key, ())
    job = update_segment(job, run.key, length_m=new.length_m, zone=new.zone, covering=new.covering)
    job, fixed = _fixed(job, new, line, turned=first is not None and first.key == run.b, held=held)
    return job, f"run {run.key}: {', '.join([*changed, *fixed])}" if changed or fixed else f"run {run.key} as it is"


def _lines_of(job: Job, run: Segment) -> dict[FixingLine, str]:
    return {FixingLine(f.kind, round(f.at_m, 4), f.inner_mm, f.part): f.key for f in fixings_on(job, run.key)}


def _fixed(
    job: Job, run: Segment, line: RunLine, *, turned: bool, held: dict[FixingLine, str] | None = None
) -> tuple[Job, list[str]]:
    """The run with the fixings that the line names; those that are there already keep their keys."""
    if line.fixings is None:
        return job, []
    held = held or {}
    wanted = [f._replace(at_m=round(run.length_m - f.at_m, 4)) if turned else f for f in line.fixings]
    if set(wanted) == set(held):
        return with_fixings(job, run.key, tuple(_record(run, f, held[f]) for f in wanted)), []
    taken = {f.key for f in job.fixings} | set(held.values())
    records = []
    for f in wanted:
        key = held.get(f) or free_key(taken, f.kind.value[0])
        taken.add(key)
        records.append(_record(run, f, key))
    words = f"{len(records)} fixing{'' if len(records) == 1 else 's'}"
    return with_fixings(job, run.key, tuple(records)), [f"{words} instead of {len(held)}" if held else words]


def _record(run: Segment, f: FixingLine, key: str) -> Fixing:
    return Fixing(key=key, segment=run.key, kind=f.kind, at_m=f.at_m, inner_mm=f.inner_mm, part=f.part)


def _run_there(job: Job, snapshot: Snapshot, line: RunLine) -> Segment | None:
    """The run that the line means when it is there: by key, else by its two ends. Raises InputError where the line
    contradicts it."""
    a, b = (_found(job, snapshot, text) for text in (line.a, line.b))
    if line.run:
        run = next((s for s in job.segments if s.key == line.run), None)
        if run is None:
            return None
        for field, text, node in (("from", line.a, a), ("to", line.b, b)):
            if text and (node is None or node.key not in (run.a, run.b)):
                raise InputError(
                    field, text, f"run {run.key} does not lead there; hang it elsewhere on the board first"
                )
        return run
    if a is None or b is None:
        return None
    between = [s for s in job.segments if {s.a, s.b} == {a.key, b.key}]
    if len(between) > 1:
        raise InputError(
            "run", "", f"{len(between)} runs join these two; say which: {', '.join(s.key for s in between)}"
        )
    return between[0] if between else None


def _zone(job: Job, text: str) -> str | None:
    """Key of a zone by key or name; None for a blank."""
    if not text:
        return None
    for zone in job.zones:
        if text == zone.key or text.casefold() == zone.name.casefold():
            return zone.key
    names = ", ".join(z.name for z in job.zones)
    raise InputError("zone", text, f"choose one of: {names}" if names else "there is no zone yet; add it first")


def _found(job: Job, snapshot: Snapshot, text: str) -> Node | None:
    """The node of this key or name, or the one that mates with this connector."""
    if not text:
        return None
    for node in job.nodes:
        if node.key == text:
            return node
    named = [n for n in job.nodes if n.name.casefold() == text.casefold()]
    if len(named) > 1:
        raise InputError(
            "from or to", text, f"{len(named)} nodes have this name; give a key: {', '.join(n.key for n in named)}"
        )
    if named:
        return named[0]
    mates = _connector(snapshot, text)
    return next((n for n in job.nodes if mates is not None and n.mates == mates), None)


def _loom(job: Job, snapshot: Snapshot, line: RunLine, there: Segment | None) -> tuple[Job, str, str]:
    """The loom of a line, made when it is not there: (job, key, what was made). Raises InputError where the line
    contradicts what is there."""
    ends = [n for n in (_found(job, snapshot, text) for text in (line.a, line.b)) if n is not None]
    within = there.loom if there is not None else ends[0].loom if ends else job.looms[0].key if job.looms else ""
    if not line.loom:
        if within:
            return job, within, ""
        return add_loom(job, Loom(key="loom", name="Adapter loom")), "loom", ""
    named = [x for x in job.looms if line.loom == x.key] or [
        x for x in job.looms if line.loom.casefold() == x.name.casefold()
    ]
    if len(named) > 1:
        raise InputError("loom", line.loom, f"{len(named)} looms have this name; give a key")
    if (there is not None or ends) and (not named or named[0].key != within):
        name = next(x.name for x in job.looms if x.key == within)
        raise InputError("loom", line.loom, f"what the line names is part of {name}; a run stays in one loom")
    if named:
        return job, named[0].key, ""
    key = free_key((x.key for x in job.looms), "loom")
    return add_loom(job, Loom(key=key, name=line.loom)), key, f"loom {line.loom}"


def _node(job: Job, snapshot: Snapshot, text: str, loom: str) -> tuple[Job, str, str]:
    """The node that a text names, made in this loom when it is not there: (job, key, what was made)."""
    there = _found(job, snapshot, text)
    if there is not None:
        return job, there.key, ""
    mates = _connector(snapshot, text)
    key = free_key((n.key for n in job.nodes), "j" if mates is None else "x")
    kind = NodeKind.JUNCTION if mates is None else NodeKind.CONNECTOR
    name = text if mates is None else mates.connector
    made = Node(key=key, loom=loom, kind=kind, name=name, mates=mates)
    return add_node(job, made), key, f"{'branch point' if mates is None else 'connector'} {name}"


def _connector(snapshot: Snapshot, text: str) -> ConnectorKey | None:
    """The platform connector that a text names: "platform connector", or its bare name where no other has it."""
    plain = text.casefold()
    bare = []
    for platform in snapshot.platforms:
        for c in platform.connectors:
            key = ConnectorKey(platform.key, c.name)
            if plain in (f"{platform.name} {c.name}".casefold(), f"{platform.key} {c.name}".casefold()):
                return key
            if plain == c.name.casefold():
                bare.append(key)
    if len(bare) > 1:
        names = ", ".join(f"{snapshot.platform[k.platform].name} {k.connector}" for k in bare)
        raise InputError("from or to", text, f"several platforms have such a connector; write one of: {names}")
    return bare[0] if bare else None
