"""Edits of the loom's topology as a builder thinks of them at the board; see ``edits`` for the rules they keep.

Each keeps every length true that it does not say it changes, and leaves signals, devices and zones as they are.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from pinmap.core.crossing.edit_checks import drop, find, new_key, refuse_led, swap
from pinmap.core.crossing.edits_fixings import fixings_on, move_fixings, refuse_beyond, refuse_held
from pinmap.core.crossing.edits_parts import LEAST_RUN_M, add_node, remove_node
from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Job
from pinmap.core.model.looms import Node, Segment
from pinmap.core.model.words import NodeKind


def slide(job: Job, node: str, *, out_of: str, into: str, by_m: float) -> Job:
    """Moves a branch point or place along the loom: the run ``out_of`` loses ``by_m``, the run ``into`` gains it.
    All other runs at the node go with it and keep their lengths. Raises InputError."""
    find(job.nodes, node, "node")
    shorter, longer = _at(job, node, out_of, "out_of"), _at(job, node, into, "into")
    if shorter.key == longer.key:
        raise InputError("into", into, "name another run than the one the branch point moves along")
    _above_zero(by_m, "by_m")
    left = shorter.length_m - by_m
    if left < LEAST_RUN_M:
        raise InputError(
            "by_m", by_m, f"run {out_of} is {shorter.length_m * 1000:g} mm long; move by less, or draw the two together"
        )
    job = _with_length(job, shorter, left)
    return _with_length(job, longer, longer.length_m + by_m)


def split(job: Job, segment: str, *, at_m: float, node: Node, rest: str) -> Job:
    """Cuts a run in two at ``at_m`` from its end a, with ``node`` between; the part towards b gets the key ``rest``.
    Zone and covering go to both parts, and so does a way led by hand. Raises InputError."""
    run = find(job.segments, segment, "segment")
    _above_zero(at_m, "at_m")
    if run.length_m - at_m < LEAST_RUN_M:
        raise InputError("at_m", at_m, f"run {segment} is {run.length_m * 1000:g} mm long; cut it nearer to its start")
    new_key(job.segments, rest, "rest")
    job = add_node(job, replace(node, loom=run.loom))
    first = replace(run, b=node.key, length_m=_millimetric(at_m))
    second = replace(run, key=rest, a=node.key, length_m=_millimetric(run.length_m - at_m))
    at = job.segments.index(run)
    job = replace(job, segments=(*job.segments[:at], first, second, *job.segments[at + 1 :]))
    beyond = {f.key: (rest, f.at_m - first.length_m) for f in fixings_on(job, segment) if f.at_m > first.length_m}
    return move_fixings(job, beyond)


def make_one(job: Job, node: str) -> Job:
    """Takes a branch point out and makes one run of the two that meet there; the first one's key stays. Raises
    InputError where there are not just two, where they differ in zone or covering, or where something sits there."""
    point = find(job.nodes, node, "node")
    if point.kind is NodeKind.CONNECTOR:
        raise InputError("node", node, "two runs are made one at a branch point, not at a connector")
    runs = [s for s in job.segments if node in (s.a, s.b)]
    if len(runs) != 2:
        raise InputError("node", node, f"{len(runs)} runs meet there; two runs are made one")
    first, second = runs
    if (first.zone, first.covering) != (second.zone, second.covering):
        raise InputError(
            "node", node, f"runs {first.key} and {second.key} differ in zone or covering; give both the same first"
        )
    one, other = _far(first, node), _far(second, node)
    if one == other:
        raise InputError("node", node, "its two runs form a ring; remove one of them instead")
    a, b = (one, other) if first.b == node else (other, one)
    merged = replace(first, a=a, b=b, length_m=_millimetric(first.length_m + second.length_m))
    halves = ((first, b), (second, a)) if first.b != node else ((first, a), (second, b))
    places = {
        f.key: (first.key, from_a if end == a else merged.length_m - from_a)
        for run, end in halves
        for f in fixings_on(job, run.key)
        for from_a in [f.at_m if run.a == end else run.length_m - f.at_m]
    }
    job = replace(move_fixings(job, places), segments=drop(swap(job.segments, merged), second.key))
    return remove_node(_led_through(job, second.key, first.key), node)


def draw_together(job: Job, segment: str, *, keep: str) -> Job:
    """Shrinks a run to nothing: what met at its other end now meets at ``keep``. Raises InputError where the other
    end is a connector, or where another run between the two would become a ring without length."""
    run = find(job.segments, segment, "segment")
    if keep not in (run.a, run.b):
        raise InputError("keep", keep, f"name one of its ends, {run.a} or {run.b}")
    goes = find(job.nodes, _far(run, keep), "node")
    stays = find(job.nodes, keep, "node")
    if goes.kind is NodeKind.CONNECTOR:
        raise InputError("keep", keep, f"{goes.name or goes.key} is a connector, which cannot go up in a branch point")
    if stays.kind is NodeKind.CONNECTOR and any(d.place == goes.key for d in job.devices):
        raise InputError("keep", keep, f"devices sit on {goes.name or goes.key}; move them first")
    others = [s for s in job.segments if s.key != segment]
    for s in others:
        if {s.a, s.b} == {run.a, run.b}:
            raise InputError("segment", segment, f"run {s.key} joins the same two; remove it first")
    refuse_led(job, segment)
    refuse_held(job, segment)
    moved = tuple(replace(s, a=keep if s.a == goes.key else s.a, b=keep if s.b == goes.key else s.b) for s in others)
    devices = tuple(replace(d, place=keep) if d.place == goes.key else d for d in job.devices)
    return remove_node(replace(job, segments=moved, devices=devices), goes.key)


def rehang(job: Job, segment: str, *, end: str, to: str) -> Job:
    """Takes one end of a run off its node and hangs it on another of the same loom, at the same length. Raises
    InputError."""
    run = find(job.segments, segment, "segment")
    if end not in (run.a, run.b):
        raise InputError("end", end, f"name one of its ends, {run.a} or {run.b}")
    target = find(job.nodes, to, "to")
    if target.loom != run.loom:
        raise InputError("to", to, "this node is in another loom")
    if to == _far(run, end) or to == end:
        raise InputError("to", to, "a run leads from one node to another; choose a third one")
    moved = replace(run, a=to if run.a == end else run.a, b=to if run.b == end else run.b)
    return replace(job, segments=swap(job.segments, moved))


def take_out(job: Job, node: str) -> Job:
    """Removes a node that at most one run leads to, with that run. Raises InputError while more runs meet there, or
    while a device sits there."""
    find(job.nodes, node, "node")
    runs = [s for s in job.segments if node in (s.a, s.b)]
    if len(runs) > 1:
        names = ", ".join(s.key for s in runs)
        raise InputError("node", node, f"runs {names} meet there; hang them elsewhere or make them one first")
    for s in runs:
        refuse_led(job, s.key)
        refuse_held(job, s.key)
        job = replace(job, segments=drop(job.segments, s.key))
    return remove_node(job, node)


def lengths_by_ratio(job: Job, measured: Mapping[str, float], *, reference: str, true_m: float) -> Job:
    """Lengths of runs taken from a photo or sketch on which they are ``measured`` in any one unit, and on which the
    run ``reference`` is in truth ``true_m`` [m] long. Rounded to the millimetre. Raises InputError."""
    if reference not in measured:
        raise InputError("reference", reference, "measure this run on the picture too")
    _above_zero(true_m, "true_m")
    for key, value in measured.items():
        find(job.segments, key, "segment")
        _above_zero(value, f"measured {key}")
    factor = true_m / measured[reference]
    for key, value in measured.items():
        length_m = round(value * factor, 3)
        if length_m < LEAST_RUN_M:
            raise InputError(f"measured {key}", value, "this comes to less than a millimetre; measure again")
        job = _with_length(job, find(job.segments, key, "segment"), length_m)
    return job


def _at(job: Job, node: str, segment: str, field: str) -> Segment:
    run = find(job.segments, segment, field)
    if node not in (run.a, run.b):
        raise InputError(field, segment, f"this run does not lead to {node}")
    return run


def _far(run: Segment, node: str) -> str:
    return run.b if run.a == node else run.a


def _with_length(job: Job, run: Segment, length_m: float) -> Job:
    new = replace(run, length_m=_millimetric(length_m))
    refuse_beyond(job, new)
    return replace(job, segments=swap(job.segments, new))


def _millimetric(length_m: float) -> float:
    """Without the dust of binary fractions; a tenth of a millimetre is finer than anybody measures a loom."""
    return round(length_m, 4)


def _above_zero(value: float, field: str) -> None:
    if not math.isfinite(value) or value <= 0:
        raise InputError(field, value, "give a number above 0")


def _led_through(job: Job, old: str, new: str) -> Job:
    """Ways led by hand through a run that has become part of another."""

    def led(via: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(new if key == old else key for key in via))

    return replace(job, signals=tuple(replace(s, via=led(s.via)) if old in s.via else s for s in job.signals))
