"""Edits of matings between looms and of the cavities in which signals cross; see ``edits`` for the rules they keep."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from itertools import count

from pinmap.core.crossing.edit_checks import drop, find, free_key, half_of, new_key, swap, text
from pinmap.core.crossing.edits_parts import LEAST_RUN_M, add_loom
from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Job
from pinmap.core.model.looms import Loom, MatedCavity, Mating, Node, Segment
from pinmap.core.model.words import Gender, NodeKind


def mate_connectors(job: Job, a: str, b: str, *, key: str = "", note: str = "") -> Job:
    """Plugs two in-line connectors of different looms into each other; ``key`` is made where none is given. Raises
    InputError for what cannot be plugged together; what their housings say is for the rules."""
    one, two = _half(job, a, "a"), _half(job, b, "b")
    if one.loom == two.loom:
        raise InputError("b", b, f"both are in loom {one.loom}; choose a connector of another loom")
    if one.gender is two.gender is not Gender.UNKNOWN:
        raise InputError("b", b, f"both have {one.gender.value} contacts; one half needs pins, the other sockets")
    key = key or free_key((m.key for m in job.matings), "m")
    new_key(job.matings, key, "key")
    return replace(job, matings=(*job.matings, Mating(key=key, a=a, b=b, note=note)))


def part_loom(job: Job, segment: str, *, at_m: float, loom: Loom, name: str) -> Job:
    """Cuts a run at ``at_m`` from its end a and puts two mated in-line connectors there; what lies beyond the run's end
    b is ``loom`` from then on. The half that stays has sockets, which may be live while the looms are apart (common
    practice). Every length stays. Raises InputError where another way leads round the run.
    """
    run = find(job.segments, segment, "segment")
    if not (math.isfinite(at_m) and LEAST_RUN_M <= at_m <= run.length_m - LEAST_RUN_M):
        raise InputError("at_m", at_m, f"run {segment} is {run.length_m * 1000:g} mm long; cut it in between")
    name = text(name, "name", "name the pair of connectors, such as X40")
    beyond = _beyond(job, run)
    job = add_loom(job, loom)
    keys = {n.key for n in job.nodes}
    stem = "".join(c for c in name if c.isalnum()) or "X"
    near, far = (next(k for n in count() if (k := f"{stem}{side}{n or ''}") not in keys) for side in "SP")
    rest = free_key((s.key for s in job.segments), f"{segment}-")
    halves = (
        Node(key=near, loom=run.loom, kind=NodeKind.CONNECTOR, name=f"{name}S", gender=Gender.SOCKET),
        Node(key=far, loom=loom.key, kind=NodeKind.CONNECTOR, name=f"{name}P", gender=Gender.PIN),
    )
    nodes = tuple(replace(n, loom=loom.key) if n.key in beyond else n for n in job.nodes)
    segments: list[Segment] = []
    for s in job.segments:
        if s is run or s.key == run.key:
            segments.append(replace(run, b=near, length_m=round(at_m, 4)))
            left_m = round(run.length_m - at_m, 4)
            segments.append(replace(run, key=rest, loom=loom.key, a=far, length_m=left_m))
        else:
            segments.append(replace(s, loom=loom.key) if s.a in beyond else s)
    job = replace(job, nodes=(*nodes, *halves), segments=tuple(segments))
    return mate_connectors(job, near, far)


def _beyond(job: Job, run: Segment) -> set[str]:
    """Nodes that hang on a run's end b. Raises InputError where its end a is among them."""
    found, todo = {run.b}, [run.b]
    while todo:
        here = todo.pop()
        for s in job.segments:
            if s.key != run.key and here in (s.a, s.b):
                there = s.b if here == s.a else s.a
                if there not in found:
                    found.add(there)
                    todo.append(there)
    if run.a in found:
        raise InputError("segment", run.key, "another way leads round this run; cut that first, or choose another run")
    return found


def update_mating(job: Job, key: str, *, note: str) -> Job:
    """Changes its note."""
    return replace(job, matings=swap(job.matings, replace(find(job.matings, key, "mating"), note=note)))


def unplug(job: Job, key: str) -> Job:
    """Takes two looms apart; both connectors stay, and the cavities that were kept are free."""
    find(job.matings, key, "mating")
    return replace(job, matings=drop(job.matings, key))


def keep_cavity(job: Job, mating: str, cavity: str, signal: str, section: int = 0) -> Job:
    """Keeps a cavity for a section of a signal, in the place of the one that was kept for it there. Another signal may
    have the same in other variants; whether they meet in one is for the rules. Raises InputError."""
    found = find(job.matings, mating, "mating")
    inline = find(job.signals, signal, "signal").inline
    if not 0 <= section <= len(inline):
        raise InputError("section", section, f"this signal has sections 0 to {len(inline)}")
    new = MatedCavity(cavity=text(cavity, "cavity", "name a cavity"), signal=signal, section=section)
    if any((c.signal, c.section) == (signal, section) for c in found.cavities):
        kept = tuple(new if (c.signal, c.section) == (signal, section) else c for c in found.cavities)
    else:
        kept = (*found.cavities, new)
    return replace(job, matings=swap(job.matings, replace(found, cavities=kept)))


def free_cavity(job: Job, mating: str, signal: str, section: int = 0) -> Job:
    """Keeps no cavity for it any longer, so that one is proposed. Raises InputError."""
    found = find(job.matings, mating, "mating")
    kept = tuple(c for c in found.cavities if (c.signal, c.section) != (signal, section))
    if len(kept) == len(found.cavities):
        raise InputError("signal", signal, "no cavity is kept for it here")
    return replace(job, matings=swap(job.matings, replace(found, cavities=kept)))


def move_kept(job: Job, signal: str, section: Callable[[int], int | None], *, to: str = "") -> Job:
    """Cavities kept for a signal whose sections are numbered anew, or that goes up in signal ``to``; None frees them.
    Where one section comes to two, the first stays."""

    def moved(mating: Mating) -> Mating:
        out: dict[tuple[str, int], MatedCavity] = {}
        for kept in sorted(mating.cavities, key=lambda c: c.signal == signal and bool(to)):
            if kept.signal != signal:
                out[kept.signal, kept.section] = kept
            elif (number := section(kept.section)) is not None:
                new = replace(kept, signal=to or signal, section=number)
                out.setdefault((new.signal, new.section), new)
        return replace(mating, cavities=tuple(out.values()))

    if not any(c.signal == signal for m in job.matings for c in m.cavities):
        return job
    return replace(job, matings=tuple(moved(m) for m in job.matings))


def _half(job: Job, key: str, field: str) -> Node:
    node = find(job.nodes, key, field)
    if node.kind is not NodeKind.CONNECTOR:
        raise InputError(field, key, f"this is a {node.kind.value}; only connectors plug into each other")
    if node.mates is not None:
        raise InputError(field, key, f"it plugs into {node.mates.connector} of {node.mates.platform}; choose another")
    mating = half_of(job, key)
    if mating is not None:
        raise InputError(field, key, f"it is plugged into {mating.other(key)} already; unplug it first")
    return node
