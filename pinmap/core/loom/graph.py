"""The loom as a graph of places and runs: which exist in a variant, the shortest admissible run between two, and where
a splice may sit.

Most nodes of a loom are connectors at the end of one run. They are not part of the graph that is searched (``core``):
such a node is a node of that graph and the length of run beyond it.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pinmap.core.errors import StructureError
from pinmap.core.loom.core_graph import CoreGraph, Edge, counts_m
from pinmap.core.loom.stations import Floats, SplicePlace, Spots, Station, Way
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Node, Segment
from pinmap.core.model.words import NodeKind

if TYPE_CHECKING:
    from pinmap.core.loom.joints import JointPlan


class LoomGraph:
    """Nodes and segments of one variant over all looms of a job.

    ``factor`` says how many metres one metre of a segment counts, 1 where it is not named; infinite closes it.
    ``station`` is where each node lies in ``core``, the graph that is searched.
    """

    def __init__(self, snapshot: Snapshot, variant: Variant, factor: Mapping[str, float] | None = None) -> None:
        factor = factor or {}
        there = snapshot.active_connectors(variant)
        self.snapshot = snapshot
        self.nodes: tuple[Node, ...] = tuple(
            n for n in snapshot.job.nodes if n.kind is not NodeKind.CONNECTOR or n.mates is None or n.mates in there
        )
        self.index: Mapping[str, int] = {n.key: i for i, n in enumerate(self.nodes)}
        self.segments_at: list[list[Segment]] = [[] for _ in self.nodes]
        self.closed: list[Segment] = []
        for segment in snapshot.job.segments:
            if not (math.isfinite(segment.length_m) and segment.length_m >= 0):
                raise StructureError(
                    f"segment {segment.key} has the length {segment.length_m} m; measure it and enter 0 m or more",
                    (f"segment:{segment.key}",),
                )
            a, b = self.index.get(segment.a), self.index.get(segment.b)
            if a is None or b is None or a == b:
                continue
            if math.isinf(factor.get(segment.key, 1.0)):
                self.closed.append(segment)
                continue
            self.segments_at[a].append(segment)
            self.segments_at[b].append(segment)
        self.clear_m = snapshot.job.practice.splice_clear_m
        self._bad = self._bad_nodes()
        self._build(factor)
        self._ways: dict[tuple[Station, Station], Way] = {}
        self.plans: dict[Hashable, JointPlan] = {}  # kept by ``joints``

    # Building

    def is_bad(self, segment: Segment) -> bool:
        """No splice may sit in this run: it is wet, it moves, or its zone says so."""
        zone = self.snapshot.zone.get(segment.zone)
        return zone is not None and (zone.wet or zone.moving or zone.no_splice)

    def _bad_nodes(self) -> list[bool]:
        """Nodes where no splice may sit: connectors and what is too near to one, and where a bad run begins."""
        bad = []
        for i, node in enumerate(self.nodes):
            near = any(
                s.length_m < self.clear_m - 1e-9 and self.nodes[self._other(i, s)].kind is NodeKind.CONNECTOR
                for s in self.segments_at[i]
            )
            bad.append(node.kind is NodeKind.CONNECTOR or near or any(map(self.is_bad, self.segments_at[i])))
        return bad

    def _other(self, node: int, segment: Segment) -> int:
        a = self.index[segment.a]
        return self.index[segment.b] if a == node else a

    def _end_runs(self) -> dict[int, Segment]:
        """The one run of each node that is left out of the searched graph, since nothing branches there. A node that is
        no connector stays where it may be the only place for a splice."""
        found = {}
        for i, runs in enumerate(self.segments_at):
            if len(runs) != 1:
                continue
            anchor = self._other(i, runs[0])
            if len(self.segments_at[anchor]) < 2:
                continue
            if self._bad[anchor] and self.nodes[i].kind is not NodeKind.CONNECTOR:
                continue
            found[i] = runs[0]
        return found

    def _build(self, factor: Mapping[str, float]) -> None:
        end_run = self._end_runs()
        core_of: dict[int, int] = {}
        for i in range(len(self.nodes)):
            if i not in end_run:
                core_of[i] = len(core_of)
        size = len(core_of)
        self._place_at = {c: SplicePlace(Station(c), i) for i, c in core_of.items() if not self._bad[i]}
        self.station: list[Station] = [Station(core_of.get(i, -1)) for i in range(len(self.nodes))]
        self._run_of_leaf = {i: s.key for i, s in end_run.items()}
        self._leaf_places: dict[int, SplicePlace] = {}
        edges: list[Edge] = []
        for segment in self._segments():
            a, b = self.index[segment.a], self.index[segment.b]
            leaf = a if a in end_run else b if b in end_run else -1
            start, stop = (b, a) if leaf == a else (a, b)
            weight = factor.get(segment.key, 1.0)
            here, at_m = core_of[start], 0.0
            for cut_m, node, from_node_m in self._cuts(segment, start, stop):
                if leaf >= 0 and node == leaf:
                    continue  # its own place, below
                edges.append(Edge(here, size, cut_m - at_m, segment.key, weight))
                self._place_at[size] = SplicePlace(Station(size), node, segment.key, from_node_m)
                here, at_m, size = size, cut_m, size + 1
            left_m = segment.length_m - at_m
            if leaf < 0:
                edges.append(Edge(here, core_of[stop], left_m, segment.key, weight))
                continue
            self.station[leaf] = Station(here, leaf, left_m, counts_m(left_m, weight))
            if not self._bad[leaf]:
                self._leaf_places[leaf] = SplicePlace(self.station[leaf], leaf)
            elif not self.is_bad(segment) and left_m > self.clear_m + 1e-9:
                out_m = left_m - self.clear_m
                there = Station(here, leaf, out_m, counts_m(out_m, weight))
                self._leaf_places[leaf] = SplicePlace(there, leaf, segment.key, self.clear_m)
        self.core = CoreGraph(size, edges)
        self.has_loops = self.core.has_loops
        self.pieces = [self.core.piece[s.core] for s in self.station]

    def _segments(self) -> list[Segment]:
        return [s for i, runs in enumerate(self.segments_at) for s in runs if self.index[s.a] == i]

    def _cuts(self, segment: Segment, a: int, b: int) -> list[tuple[float, int, float]]:
        """Places along a run, as near as may be to an end that is none: metres from a, the node, metres from it."""
        if self.is_bad(segment) or not (self._bad[a] or self._bad[b]):
            return []
        at_a, at_b = self.clear_m, segment.length_m - self.clear_m
        if self._bad[a] and self._bad[b]:
            if at_b - at_a > 1e-6:
                return [(at_a, a, at_a), (at_b, b, self.clear_m)]
            return [(segment.length_m / 2, a, segment.length_m / 2)] if at_b >= at_a - 1e-9 else []
        if at_b <= 1e-9:
            return []
        return [(at_a, a, at_a)] if self._bad[a] else [(at_b, b, self.clear_m)]

    def splice_room(self, segment: Segment, half_m: float) -> tuple[float, float]:
        """Where along a segment splices may sit, from its node ``a`` [m]: clear of a node that is no place for one, and
        by half a splice of one that is."""
        low, high = (self.clear_m if self._bad[self.index[n]] else half_m for n in (segment.a, segment.b))
        return low, segment.length_m - high

    # Places for splices, as arrays: by node of the searched graph, and by node of the loom.

    @cached_property
    def is_place(self) -> NDArray[np.bool_]:
        found = np.zeros(self.core.size, dtype=np.bool_)
        found[list(self._place_at)] = True
        return found

    @cached_property
    def is_worthy(self) -> NDArray[np.bool_]:
        """Where a splice may be better than at both neighbours, for ends that lie elsewhere. Along a run the length of
        a wire is concave, so that the least is at a node where three runs meet, or beside one that is no place."""
        near, place = self.core.near, self.is_place
        return np.array([place[c] and not (len(n) <= 2 and place[n].all()) for c, n in enumerate(near)], dtype=np.bool_)

    @cached_property
    def is_junction(self) -> NDArray[np.bool_]:
        """Nodes of the loom that are no connectors, places or not."""
        found = np.zeros(self.core.size, dtype=np.bool_)
        found[[s.core for s, n in zip(self.station, self.nodes, strict=True)
               if s.leaf < 0 and n.kind is not NodeKind.CONNECTOR]] = True  # fmt: skip
        return found

    @cached_property
    def leaf_place_m(self) -> Floats:
        """By node of the loom: where along its own run its place lies, as far as that counts; infinite for none."""
        found = np.full(len(self.nodes), math.inf)
        for leaf, place in self._leaf_places.items():
            found[leaf] = place.station.out_w
        return found

    @cached_property
    def spots(self) -> Spots:
        """The stations of all nodes of the loom."""
        return Spots.of(self.station)

    def place_at(self, core: int) -> SplicePlace:
        """The place at a node of the searched graph, one that is none by the rules where there is no other."""
        found = self._place_at.get(core)
        if found is None:
            node = next(i for i, s in enumerate(self.station) if s == Station(core))
            found = SplicePlace(self.station[node], node)
        return found

    def leaf_place(self, leaf: int) -> SplicePlace:
        """The place in the run of an end node, one that is none by the rules where there is no other."""
        return self._leaf_places.get(leaf) or SplicePlace(self.station[leaf], leaf)

    # Ways

    def between(self, a: Station, b: Station) -> float:
        """The way between two stations, in metres as they count."""
        if a.leaf >= 0 and a.leaf == b.leaf:
            return abs(a.out_w - b.out_w)
        return float(self.core.distance[a.core, b.core]) + a.out_w + b.out_w

    def matrix(self, one: Spots, two: Spots) -> Floats:
        """``between`` of all of these with all of those, shape (one, two)."""
        out: Floats = self.core.distance[one.core[:, None], two.core]
        out += one.out_w[:, None]
        out += two.out_w
        same = (one.leaf[:, None] == two.leaf) & (two.leaf >= 0)
        if same.any():
            out[same] = np.abs(one.out_w[:, None] - two.out_w)[same]
        return out

    def way(self, a: Station, b: Station) -> Way:
        """The shortest way from a to b, which must be joined; the same way backwards from b to a."""
        found = self._ways.get((a, b))
        if found is None:
            found = self._ways[a, b] = self._way(a, b)
        return found

    def _way(self, a: Station, b: Station) -> Way:
        if a.leaf >= 0 and a.leaf == b.leaf:
            length_m = abs(a.out_m - b.out_m)
            return Way().then(self._run_of_leaf[a.leaf], length_m) if length_m > 0 else Way()
        way = self.core.way(a.core, b.core)
        if a.leaf >= 0:
            way = Way((self._run_of_leaf[a.leaf],), (a.out_m,), a.out_m).meeting(way)
        return way.meeting(Way((self._run_of_leaf[b.leaf],), (b.out_m,), b.out_m)) if b.leaf >= 0 else way

    def via(self, a: Station, b: Station, keys: Sequence[str]) -> Way | None:
        """The shortest way from a to b through these segments in this order; None where one of them is not there."""
        stops: list[tuple[Station, Station, Segment]] = []
        by_key = {s.key: s for s in self._segments()}
        for key in keys:
            segment = by_key.get(key)
            if segment is None:
                return None
            stops.append((self.station[self.index[segment.a]], self.station[self.index[segment.b]], segment))
        # Each segment is run through one way or the other: the best so far for each.
        so_far: list[tuple[float, list[tuple[Station, Station]], Station]] = [(0.0, [], a)]
        for one, two, _ in stops:
            tried = []
            for enter, leave in ((one, two), (two, one)):
                tried.append(
                    min(
                        ((cost + self.between(at, enter), [*hops, (at, enter)], leave) for cost, hops, at in so_far),
                        key=lambda item: item[0],
                    )
                )
            so_far = tried
        cost, hops, at = min(so_far, key=lambda item: item[0] + self.between(item[2], b))
        if not math.isfinite(cost + self.between(at, b)):
            return None
        way = Way()
        for (start, stop), (_, _, segment) in zip(hops, stops, strict=True):
            way = way.joined(self.way(start, stop)).then(segment.key, segment.length_m)
        return way.joined(self.way(at, b))

    # Words

    def name(self, index: int) -> str:
        node = self.nodes[index]
        return node.name or node.key

    def describe_pieces(self, wanted: Sequence[int]) -> str:
        """Names the pieces that these nodes lie in, such as "2 pieces, {X1, J1} and {X2}"."""
        pieces = list(dict.fromkeys(self.pieces[i] for i in wanted))
        texts = []
        for piece in pieces:
            names = [self.name(i) for i in range(len(self.nodes)) if self.pieces[i] == piece]
            shown = names if len(names) <= 8 else [*names[:6], f"and {len(names) - 6} more"]
            texts.append("{" + ", ".join(shown) + "}")
        return f"{len(pieces)} pieces, " + (" and ".join([", ".join(texts[:-1]), texts[-1]]) if texts[1:] else texts[0])
