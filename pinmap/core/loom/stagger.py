"""Splices kept apart along the loom, so that the bundle stays slim (AC 43.13-1B, 11-167; the distance is the shop's
practice).

Those that crowd at one node are led into the runs around it first (``stagger_nodes``). Where several are then still
within less than that distance in one segment, they are shifted along it by the least sum of ways that brings all apart
(isotonic regression with medians: R. E. Barlow et al., "Statistical Inference under Order Restrictions", 1972), clear
of connectors, of splices at its nodes and of runs where none may sit. Of splices at one place those stay nearest to it
whose shift costs the most copper. Without room for all they are spread evenly over what there is.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from pinmap.core.facts.constants import COPPER_G_PER_CM3
from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.lengths import parts_of
from pinmap.core.loom.results import Routing, Splice, Wire
from pinmap.core.loom.stagger_nodes import led_apart
from pinmap.core.loom.stretches import Stretches, splice_at_m, splice_length_m
from pinmap.core.model.jobs import Practice
from pinmap.core.model.looms import Segment
from pinmap.core.model.words import natural_key

NEAR_M = 1e-6


def staggered(routing: Routing, graph: LoomGraph) -> Routing:
    """The same routing with its splices apart; wires follow."""
    if graph.snapshot.job.practice.splice_apart_m <= 0 or len(routing.splices) < 2:
        return routing
    apart = _along_runs(led_apart(routing, graph), graph)
    if apart is routing:
        return routing
    segments = {s.key: s for s in graph.snapshot.job.segments}
    splices = tuple(_told(old, new, segments) for old, new in zip(routing.splices, apart.splices, strict=True))
    cm3 = sum(new.mm2 * (new.length_m - old.length_m) for old, new in zip(routing.wires, apart.wires, strict=True))
    return replace(apart, splices=splices, stagger_g=round(COPPER_G_PER_CM3.value * cm3, 6))


def _told(old: Splice, new: Splice, segments: Mapping[str, Segment]) -> Splice:
    """A splice with how far it was shifted."""
    if new is old:
        return new
    if old.segment == new.segment:
        shift_m = abs(splice_at_m(new, segments[new.segment]) - splice_at_m(old, segments[old.segment]))
    else:  # by way of the node that both are measured from
        shift_m = old.at_m + new.at_m
    return replace(new, shift_m=round(shift_m, 6))


def _along_runs(routing: Routing, graph: LoomGraph) -> Routing:
    practice, segments = graph.snapshot.job.practice, graph.snapshot.job.segments
    inside = Counter(s.segment for s in routing.splices if s.segment)
    at_node = {s.node for s in routing.splices if not s.segment}
    found = Stretches(routing, segments, practice)
    moved: dict[str, float] = {}  # splice -> its place from node a
    for segment in (s for s in segments if inside[s.key]):
        moved |= _moved(routing, graph, found, segment, (segment.a in at_node, segment.b in at_node))
    if not moved:
        return routing
    ends = _shifts(routing, found, moved)
    wires = tuple(_led(w, ends[w.id], practice) if w.id in ends else w for w in routing.wires)
    wires = tuple(w if w.segments else _opened(w, found, moved, practice) for w in wires)
    splices = tuple(_put(s, moved[s.id], found.segment) if s.id in moved else s for s in routing.splices)
    return replace(routing, wires=wires, splices=splices)


def _moved(
    routing: Routing, graph: LoomGraph, found: Stretches, segment: Segment, at_node: tuple[bool, bool]
) -> dict[str, float]:
    """New places from node a, of those that move; ``at_node``: whether a splice sits at its node a, at its node b."""
    inside, apart_m = found.at_m(segment.key), graph.snapshot.job.practice.splice_apart_m
    there = [0.0] * at_node[0] + [at_m for at_m, _ in inside] + [segment.length_m] * at_node[1]
    if all(two - one >= apart_m - NEAR_M for one, two in pairwise(there)):
        return {}

    def pull_mm2(splice: str) -> float:
        """Copper that a metre towards node b costs [mm²]."""
        back, on = found.sides(splice)
        return sum(routing.wire[w].mm2 for w in back) - sum(routing.wire[w].mm2 for w in on)

    order = sorted(inside, key=lambda s: (round(s[0], 6), -round(pull_mm2(s[1]), 6), natural_key(s[1])))
    at_m = [there_m for there_m, _ in order]
    low, high = graph.splice_room(segment, splice_length_m(graph.snapshot.job.practice) / 2)
    low, high = min(low, at_m[0]), max(high, at_m[-1])
    # Splices at the nodes stay; where there is no room for all, every gap is as wide as the others.
    first, last = 0.0 if at_node[0] else low, segment.length_m if at_node[1] else high
    step_m = min(apart_m, (last - first) / max(len(there) - 1, 1))
    low = max(low, step_m) if at_node[0] else low
    high = max(min(high, segment.length_m - step_m) if at_node[1] else high, low)
    placed = spread(at_m, apart_m, low, high)
    return {s: round(new, 6) for (old, s), new in zip(order, placed, strict=True) if abs(new - old) > NEAR_M}


def spread(at_m: Sequence[float], apart_m: float, low_m: float, high_m: float) -> list[float]:
    """Places in the same order, from ``low_m`` to ``high_m``, that lie so far apart and together as near as can be to
    the rising ones given; evenly from end to end where there is no room."""
    count = len(at_m)
    if (count - 1) * apart_m >= high_m - low_m:
        step_m = (high_m - low_m) / max(count - 1, 1)
        return [low_m + i * step_m for i in range(count)]
    blocks: list[list[float]] = []
    for i, there_m in enumerate(at_m):
        blocks.append([there_m - i * apart_m])
        while len(blocks) > 1 and _median(blocks[-2]) > _median(blocks[-1]):
            blocks[-2:] = [blocks[-2] + blocks[-1]]
    level = [_median(block) for block in blocks for _ in block]
    top_m = high_m - (count - 1) * apart_m
    return [min(max(y, low_m), top_m) + i * apart_m for i, y in enumerate(level)]


def _median(values: Sequence[float]) -> float:
    return sorted(values)[(len(values) - 1) // 2]


def _shifts(routing: Routing, found: Stretches, moved: Mapping[str, float]) -> dict[str, list[tuple[int, float]]]:
    """By wire: how much longer it gets in the first (0) or last (-1) segment of its way [m]."""
    out: dict[str, list[tuple[int, float]]] = {}
    for splice in routing.splices:
        if splice.id not in moved:
            continue
        on_m = moved[splice.id] - splice_at_m(splice, found.segment[splice.segment])
        back, on = found.sides(splice.id)
        for wires, longer_m in ((back, on_m), (on, -on_m)):
            for wire in wires:
                place = 0 if routing.wire[wire].a.splice == splice.id else -1
                out.setdefault(wire, []).append((place, longer_m))
    return out


def _led(wire: Wire, longer: Sequence[tuple[int, float]], practice: Practice) -> Wire:
    pieces = list(wire.pieces_m)
    for place, by_m in longer:
        pieces[place] += by_m
    longer_wire = replace(wire, pieces_m=tuple(pieces), length_m=round(sum(pieces), 6))
    return replace(longer_wire, cut_length_m=parts_of(practice, longer_wire).cut_m)


def _opened(wire: Wire, found: Stretches, moved: Mapping[str, float], practice: Practice) -> Wire:
    """A wire between two splices that lay at the same place of one segment."""
    inside = {end.splice: found.splice[end.splice] for end in (wire.a, wire.b) if end.splice in found.splice}
    runs = {s.segment for s in inside.values()}
    if moved.keys().isdisjoint(inside) or len(inside) != 2 or len(runs) != 1:
        return wire
    segment = found.segment[runs.pop()]
    one, two = (moved.get(s.id, splice_at_m(s, segment)) for s in inside.values())
    length_m = round(abs(two - one), 6)
    opened = replace(wire, segments=(segment.key,), pieces_m=(length_m,), length_m=length_m)
    return replace(opened, cut_length_m=parts_of(practice, opened).cut_m)


def _put(splice: Splice, at_m: float, segments: Mapping[str, Segment]) -> Splice:
    segment = segments[splice.segment]
    from_node_m = at_m if splice.node == segment.a else segment.length_m - at_m
    return replace(splice, at_m=round(from_node_m, 6))
