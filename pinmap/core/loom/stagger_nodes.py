"""Splices that crowd at one node led apart into the runs that meet there (AC 43.13-1B, 11-167, from memory: splices in
a bundle are staggered).

A crowd are the splices at a node that is a place for one, or those in the first places beyond a node that is none. Of
the former one stays. The others go back into the runs around, as far from the node and from each other as the shop's
practice says, clear of connectors and of runs where none may sit. Which splice goes where is the assignment that needs
the least copper (H. W. Kuhn, "The Hungarian method for the assignment problem", 1955, by scipy). A splice only goes
into runs that one of its wires takes, or where it was, so that no wire comes where it may not run.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.lengths import parts_of
from pinmap.core.loom.results import Routing, Splice, Wire
from pinmap.core.loom.stretches import Stretches, splice_at_m, splice_length_m
from pinmap.core.model.looms import Segment
from pinmap.core.model.words import NodeKind, natural_key

_NEAR_M = 1e-6
_LEAST_STEP_M = 0.0025  # nearer than that they lie beside each other all the same
_NO_ROOM = 1e6  # mm²·m: dearer than any way
_NO_WAY = 1e7


class Place(NamedTuple):
    """So far from the node into a segment [m]."""

    segment: str
    at_m: float


class _Crowd(NamedTuple):
    node: str
    splices: tuple[Splice, ...]
    runs: tuple[Segment, ...]  # that splices may be led into
    at_node: bool  # it is a place for one


def led_apart(routing: Routing, graph: LoomGraph) -> Routing:
    """The same routing with at most one splice at each node, and those beyond it in runs with room for them, as far as
    there is any; wires follow."""
    crowds = _crowds(routing, graph)
    if not crowds:
        return routing
    work = _Work(routing, graph)
    for crowd in crowds:
        work.lead(crowd)
    wires = tuple(work.wires[w.id] for w in routing.wires)
    return replace(routing, wires=wires, splices=tuple(work.splices[s.id] for s in routing.splices))


def _crowds(routing: Routing, graph: LoomGraph) -> list[_Crowd]:
    """Largest first, so that those with the least choice come before a neighbour takes their room."""
    near: dict[str, list[Splice]] = {}
    for splice in routing.splices:
        near.setdefault(splice.node, []).append(splice)
    found = []
    for index, node in enumerate(graph.nodes):
        around = near.get(node.key, ())
        if len(around) < 2:
            continue
        runs = tuple(s for s in sorted(graph.segments_at[index], key=lambda s: natural_key(s.key)) if s.a != s.b)
        at_node = node.kind is not NodeKind.CONNECTOR and all(_start_m(graph, s, node.key) <= 0 for s in runs)
        own = [
            s
            for s in around
            if (not s.segment if at_node else s.segment and abs(s.at_m - graph.clear_m) < _NEAR_M < graph.clear_m)
        ]
        if len(own) > 1:
            own.sort(key=lambda s: natural_key(s.id))
            found.append(_Crowd(node.key, tuple(own), tuple(s for s in runs if not graph.is_bad(s)), at_node))
    return sorted(found, key=lambda c: -len(c.splices))


def _start_m(graph: LoomGraph, segment: Segment, node: str) -> float:
    """How far from a node of a run splices may sit, 0 where they may sit at the node."""
    low, high = graph.splice_room(segment, 0.0)
    return low if segment.a == node else segment.length_m - high


class _Work:
    """The wires and splices as they are led apart, crowd after crowd."""

    def __init__(self, routing: Routing, graph: LoomGraph) -> None:
        self.graph, self.practice = graph, graph.snapshot.job.practice
        self.wires = dict(routing.wire)
        self.splices = {s.id: s for s in routing.splices}
        self.found = Stretches(routing, graph.snapshot.job.segments, self.practice)
        self.inside: dict[str, set[str]] = {}  # splices by segment, and those at a node by node
        self.at_node: dict[str, set[str]] = {}
        for splice in routing.splices:
            self._note(splice)

    def _note(self, splice: Splice) -> None:
        kept, key = (self.inside, splice.segment) if splice.segment else (self.at_node, splice.node)
        kept.setdefault(key, set()).add(splice.id)

    def _put(self, name: str, place: Place) -> None:
        old = self.splices[name]
        (self.inside[old.segment] if old.segment else self.at_node[old.node]).discard(name)
        self.splices[name] = replace(old, segment=place.segment, at_m=place.at_m)
        self._note(self.splices[name])

    def lead(self, crowd: _Crowd) -> None:
        """Leads a crowd apart; leaves all as they are where there is no room."""
        own = {s.id for s in crowd.splices}
        wires = list(dict.fromkeys(w for s in crowd.splices for w in s.wires))
        before = {w: self.wires[w] for w in wires}
        for splice in crowd.splices:
            if splice.segment:
                self._back_to_node(splice)
        apart_m, step_m = self.practice.splice_apart_m, splice_length_m(self.practice)
        steps_m = [apart_m, *([step_m] if step_m < apart_m else [])]
        while not crowd.at_node and steps_m[-1] > _LEAST_STEP_M:  # they are in a run already, however tight
            steps_m.append(steps_m[-1] / 2)
        places: dict[str, Place | None] = {}
        for step_m in steps_m:
            places = self._places(crowd, own, step_m)
            left = [s for s, p in places.items() if p is None and (not crowd.at_node or not self._stays_inside(s))]
            if len(left) <= crowd.at_node:
                break
        else:
            if not crowd.at_node:
                self.wires |= before
                return
        led = {s: p for s, p in places.items() if p is not None}
        for wire in wires:
            self.wires[wire] = self._led(self.wires[wire], led)
        for name, place in led.items():
            self._put(name, place)

    def _stays_inside(self, splice: str) -> bool:
        """Whether all its wires end at its own node, in a box: there is no bundle that it would thicken."""
        return not any(self.wires[w].segments for w in self.splices[splice].wires)

    def _back_to_node(self, splice: Splice) -> None:
        """Wires of a splice within a run as they would be if it sat at its node."""
        on_a, on_b = self.found.sides(splice.id)
        home = set(on_a if self.found.segment[splice.segment].a == splice.node else on_b)
        for name in splice.wires:
            wire = self.wires[name]
            if not wire.segments:  # between two splices at one place
                continue
            way = _way(wire, splice.id)
            way = way[1:] if name in home else [(splice.segment, way[0][1] + splice.at_m), *way[1:]]
            self.wires[name] = _with_way(wire, way if wire.a.splice == splice.id else way[::-1])

    def _places(self, crowd: _Crowd, own: set[str], step_m: float) -> dict[str, Place | None]:
        """Where each of a crowd goes, None for one that stays at the node or finds no room."""
        import numpy as np  # imported where they are used: they load for long
        from scipy.optimize import linear_sum_assignment

        count = len(crowd.splices)
        places = [p for s in crowd.runs for p in self._free(s, crowd, own, step_m)]
        cost = np.full((count, count + len(places)), _NO_WAY)
        cost[:, :count] = _NO_ROOM
        cost[:, 0] = 0.0 if crowd.at_node else _NO_ROOM
        places_in: dict[str, list[tuple[int, float]]] = {}
        for k, place in enumerate(places, count):
            places_in.setdefault(place.segment, []).append((k, place.at_m))
        for i, splice in enumerate(crowd.splices):
            for run, (pull_mm2, most_m) in self._pulls(splice).items():
                for k, at_m in places_in.get(run, ()):
                    if at_m < most_m - _NEAR_M:
                        # Of equal ones the nearer place, and the last splice goes farthest.
                        cost[i, k] = (pull_mm2 + 1e-6 * (2 * count - i)) * at_m
        chosen = linear_sum_assignment(cost)[1].tolist()
        return {
            s.id: places[k - count] if k >= count and cost[i, k] < _NO_WAY else None
            for i, (s, k) in enumerate(zip(crowd.splices, chosen, strict=True))
        }

    def _free(self, segment: Segment, crowd: _Crowd, own: set[str], step_m: float) -> Iterator[Place]:
        """Places in a run so far apart, from the node on, from others in it and from one at the far node."""
        forward = segment.a == crowd.node
        half_m = min(splice_length_m(self.practice) / 2, step_m)
        low, high = self.graph.splice_room(segment, half_m)
        behind_m = segment.length_m - high if forward else low
        far = segment.b if forward else segment.a
        if self.at_node.get(far, set()) - own:
            behind_m = max(behind_m, step_m)
        others = self.inside.get(segment.key, set()) - own
        inside = [splice_at_m(self.splices[s], segment) for s in others]
        taken = sorted(at_m if forward else segment.length_m - at_m for at_m in inside)
        at_m, count = step_m if crowd.at_node else self.graph.clear_m, 0
        while at_m <= segment.length_m - behind_m + _NEAR_M and count < len(crowd.splices):
            near = [t for t in taken if abs(t - at_m) < step_m - _NEAR_M]
            if near:
                at_m = near[-1] + step_m
                continue
            yield Place(segment.key, round(at_m, 6))
            at_m, count = at_m + step_m, count + 1

    def _pulls(self, splice: Splice) -> dict[str, tuple[float, float]]:
        """Runs that a splice may go into: copper that a metre costs [mm²], and before which place it must stay [m]."""
        total, along = 0.0, dict[str, tuple[float, float]]()
        for wire in map(self.wires.__getitem__, splice.wires):
            total += wire.mm2
            if wire.segments:
                end = 0 if wire.a.splice == splice.id else -1
                mm2, most_m = along.get(wire.segments[end], (0.0, math.inf))
                along[wire.segments[end]] = (mm2 + wire.mm2, min(most_m, wire.pieces_m[end]))
        found = {run: (total - 2 * mm2, most_m) for run, (mm2, most_m) in along.items()}
        return {splice.segment: (total, math.inf)} | found if splice.segment else found

    def _led(self, wire: Wire, places: Mapping[str, Place]) -> Wire:
        way = list(zip(wire.segments, wire.pieces_m, strict=True))
        one, two = places.get(wire.a.splice), places.get(wire.b.splice)
        if not way and one is not None and two is not None and one.segment == two.segment:
            way = [(one.segment, abs(one.at_m - two.at_m))]  # between two that were at one place
        else:
            way = _drawn(way, one)
            way = _drawn(way[::-1], two)[::-1]
        led = _with_way(wire, way)
        return replace(led, cut_length_m=parts_of(self.practice, led).cut_m)


def _way(wire: Wire, splice: str) -> list[tuple[str, float]]:
    """The segments of a wire and how far it runs in each, from a splice on."""
    way = list(zip(wire.segments, wire.pieces_m, strict=True))
    return way if wire.a.splice == splice else way[::-1]


def _with_way(wire: Wire, way: Sequence[tuple[str, float]]) -> Wire:
    pieces_m = tuple(round(piece_m, 6) for _, piece_m in way)
    return replace(wire, segments=tuple(s for s, _ in way), pieces_m=pieces_m, length_m=round(sum(pieces_m), 6))


def _drawn(way: list[tuple[str, float]], place: Place | None) -> list[tuple[str, float]]:
    """A way from a node, begun at a place within one of its runs instead."""
    if place is None:
        return way
    if way and way[0][0] == place.segment:
        return [(place.segment, way[0][1] - place.at_m), *way[1:]]
    return [(place.segment, place.at_m), *way]
