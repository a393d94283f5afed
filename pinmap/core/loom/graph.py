"""The loom as a graph of places and runs: which exist in a variant, the shortest admissible run between two, and where
a splice may sit.

Most nodes of a loom are connectors at the end of one run. They are not part of the graph that is searched: such a node
is its branch point (its anchor) and the length of its run. Distances between all other nodes are found once.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pinmap.core.errors import StructureError
from pinmap.core.loom.bridges import Bridges, bridges
from pinmap.core.loom.stations import Floats, SplicePlace, Spots, Station, Way
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Node, Segment
from pinmap.core.model.words import NodeKind

if TYPE_CHECKING:  # networkx and scipy load for long and the app can start without: imported where they are used
    import networkx as nx

    from pinmap.core.loom.joints import JointPlan

_HOP_M = 1e-9  # added to every segment: of two equally long runs the one with fewer segments wins
_FEW_PLACES = 16  # not worth a look at which of them lie out of the way


class LoomGraph:
    """Nodes and segments of one variant over all looms of a job.

    ``factor`` says how many metres one metre of a segment counts, 1 where it is not named; infinite closes it.
    ``distance`` between two nodes of the searched graph is in such metres, infinite where there is no way.
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
        self._paths: dict[tuple[int, int], Way] = {}
        self._before_rows: dict[int, list[int]] = {}
        self._ways: dict[tuple[Station, Station], Way] = {}
        self.plans: dict[Hashable, JointPlan] = {}  # kept by ``joints.plan_joint``

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

    def _build(self, factor: Mapping[str, float]) -> None:
        leaf_run: dict[int, Segment] = {}
        for i, runs in enumerate(self.segments_at):
            if len(runs) == 1:
                other = self._other(i, runs[0])
                if len(self.segments_at[other]) > 1:
                    leaf_run[i] = runs[0]
        core_of: dict[int, int] = {}
        for i in range(len(self.nodes)):
            if i not in leaf_run:
                core_of[i] = len(core_of)
        size = len(core_of)
        places = [SplicePlace(Station(core_of[i]), i) for i in core_of if not self._bad[i]]
        edges: list[tuple[int, int, float, str, float]] = []  # from, to, metres, segment, metres as they count
        for segment in self._segments():
            a, b = self.index[segment.a], self.index[segment.b]
            if a in leaf_run or b in leaf_run:
                continue
            weight = factor.get(segment.key, 1.0)
            here, at_m = core_of[a], 0.0
            for cut_m, node, from_node_m in self._cuts(segment, a, b):
                edges.append((here, size, cut_m - at_m, segment.key, weight))
                places.append(SplicePlace(Station(size), node, segment.key, from_node_m))
                here, at_m, size = size, cut_m, size + 1
            edges.append((here, core_of[b], segment.length_m - at_m, segment.key, weight))
        self._edge: dict[tuple[int, int], tuple[str, float, float]] = {}
        self._networkx: nx.Graph[int] | None = None
        best: dict[tuple[int, int], float] = {}
        for one, two, length_m, key, weight in edges:
            pair = (min(one, two), max(one, two))
            cost = length_m * weight + _HOP_M
            if cost < best.get(pair, math.inf):
                best[pair] = cost
                self._edge[pair] = (key, length_m, cost)
        self._near: list[list[int]] = [[] for _ in range(size)]
        for one, two in best:
            self._near[one].append(two)
            self._near[two].append(one)
        rows = np.array([p[0] for p in best], dtype=np.int64)
        columns = np.array([p[1] for p in best], dtype=np.int64)
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import connected_components, dijkstra

        matrix = csr_array((np.array(list(best.values()), dtype=float), (rows, columns)), shape=(size, size))
        self.distance: Floats
        if size:
            self.distance, self._before = dijkstra(matrix, directed=False, return_predecessors=True)
            core_piece = connected_components(matrix, directed=False)[1]
        else:
            self.distance, self._before = np.zeros((0, 0)), np.zeros((0, 0), dtype=np.int32)
            core_piece = np.zeros(0, dtype=np.int32)
        self.has_loops = size > 0 and len(edges) > size - (int(core_piece.max()) + 1)
        self.station: list[Station] = []
        self._run_of_leaf = {i: s.key for i, s in leaf_run.items()}
        self._leaf_places: dict[int, SplicePlace] = {}
        for i in range(len(self.nodes)):
            run = leaf_run.get(i)
            if run is None:
                self.station.append(Station(core_of[i]))
                continue
            anchor, weight = core_of[self._other(i, run)], factor.get(run.key, 1.0)
            self.station.append(Station(anchor, i, run.length_m, run.length_m * weight + _HOP_M))
            if not self._bad[i]:
                self._leaf_places[i] = SplicePlace(self.station[i], i)
            elif not self.is_bad(run) and run.length_m > self.clear_m + 1e-9:
                out_m = run.length_m - self.clear_m
                self._leaf_places[i] = SplicePlace(
                    Station(anchor, i, out_m, out_m * weight + _HOP_M), i, run.key, self.clear_m
                )
            anchor_node = self._other(i, run)
            if self._bad[anchor_node] and not self.is_bad(run):  # the first place beyond a node that is none
                room_m = run.length_m - (self.clear_m if self._bad[i] else 0.0)
                if room_m > self.clear_m + 1e-9:
                    out_m = self.clear_m
                    near = Station(anchor, i, out_m, out_m * weight + _HOP_M)
                    places.append(SplicePlace(near, anchor_node, run.key, out_m))
                elif not self._bad[i]:
                    places.append(self._leaf_places[i])
        self.pieces = [int(core_piece[s.core]) for s in self.station]
        self._core_piece: list[int] = core_piece.tolist()
        self._place_at = {p.station.core: p for p in places if p.station.leaf < 0}
        self._worthy: dict[int, list[SplicePlace]] = {}
        for place in places:
            if place.station.leaf >= 0 or self._is_worthy(place.station.core):
                self._worthy.setdefault(self._core_piece[place.station.core], []).append(place)

    def _is_worthy(self, core: int) -> bool:
        """Whether a splice here may be better than at both neighbours, for ends that lie elsewhere. Along a run the
        length of a wire is concave, so that the least is at a node where three runs meet, or beside one that is no
        place."""
        return len(self._near[core]) != 2 or not all(n in self._place_at for n in self._near[core])

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

    # Ways

    def places_for(self, ends: Sequence[Station]) -> tuple[list[SplicePlace], str]:
        """Where the best splices between these ends may sit, in a lasting order; and what was waived where no place
        obeys."""
        piece = self._core_piece[ends[0].core]
        own = sorted({s.core for s in ends})
        found = self._between_ends(self._worthy.get(piece, []), own)
        found += [self._place_at[c] for c in own if c in self._place_at and not self._is_worthy(c)]
        leaves = sorted({s.leaf for s in ends if s.leaf in self._leaf_places})
        found += [self._leaf_places[i] for i in leaves]
        if found:
            return found, ""
        found = [
            SplicePlace(self.station[i], i)
            for i, n in enumerate(self.nodes)
            if self.pieces[i] == piece and n.kind is not NodeKind.CONNECTOR
        ]
        if found:
            return found, "no dry, still place clear of connectors can be reached"
        here = ends[0].leaf if ends[0].leaf >= 0 else self._node_of_core(ends[0].core)
        return [SplicePlace(ends[0], here)], "there is no place outside a connector"

    def _between_ends(self, places: list[SplicePlace], ends: list[int]) -> list[SplicePlace]:
        """Without places beyond a bridge from all ends: at the bridge's near node every wire is shorter. Left out where
        that node is no place."""
        if len(places) <= _FEW_PLACES:
            return list(places)
        near, far, beyond = self.bridges
        there = beyond[:, ends]
        is_place = self._is_place
        lost: NDArray[np.bool_] = np.any(beyond[~there.any(axis=1) & is_place[near]], axis=0)
        lost |= np.any(~beyond[there.all(axis=1) & is_place[far]], axis=0)
        return [p for p in places if not lost[p.station.core]]

    @cached_property
    def _is_place(self) -> NDArray[np.bool_]:
        found = np.zeros(len(self.distance), dtype=np.bool_)
        found[list(self._place_at)] = True
        return found

    def _node_of_core(self, core: int) -> int:
        return next(i for i, s in enumerate(self.station) if s.leaf < 0 and s.core == core)

    def core_piece(self, core: int) -> int:
        """The piece of the loom that a node of the searched graph lies in, numbered as in ``pieces``."""
        return self._core_piece[core]

    def between(self, a: Station, b: Station) -> float:
        """The way between two stations, in metres as they count."""
        if a.leaf >= 0 and a.leaf == b.leaf:
            return abs(a.out_w - b.out_w)
        return float(self.distance[a.core, b.core]) + a.out_w + b.out_w

    def matrix(self, one: Spots, two: Spots) -> Floats:
        """``between`` of all of these with all of those, shape (one, two)."""
        out: Floats = self.distance[one.core[:, None], two.core]
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
        way = self._core_way(a.core, b.core)
        if a.leaf >= 0:
            way = Way((self._run_of_leaf[a.leaf],), (a.out_m,), a.out_m).joined(way)
        return way.then(self._run_of_leaf[b.leaf], b.out_m) if b.leaf >= 0 else way

    def _core_way(self, a: int, b: int) -> Way:
        found = self._paths.get((a, b))
        if found is not None:
            return found
        if a > b:
            found = self._core_way(b, a).back()
        else:
            row = self._before_rows.get(a)
            if row is None:
                row = self._before_rows[a] = self._before[a].tolist()
            keys, pieces_m, here = list[str](), list[float](), b
            while here != a:
                before = row[here]
                key, piece_m, _ = self._edge[(before, here) if before < here else (here, before)]
                if keys and keys[-1] == key:  # a run that places for splices divide is named once
                    pieces_m[-1] += piece_m
                else:
                    keys.append(key)
                    pieces_m.append(piece_m)
                here = before
            found = Way(tuple(keys), tuple(pieces_m), sum(pieces_m)).back()
        self._paths[a, b] = found
        return found

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

    @cached_property
    def bridges(self) -> Bridges:
        """Runs of the searched graph that are the only way between two parts of it."""
        return bridges(self._near)

    def as_networkx(self) -> nx.Graph[int]:
        """The searched graph with the metres as they count as ``weight``."""
        if self._networkx is None:
            import networkx as nx

            self._networkx = nx.Graph()
            self._networkx.add_nodes_from(range(len(self.distance)))
            for (a, b), (_, _, counts_m) in self._edge.items():
                self._networkx.add_edge(a, b, weight=counts_m)
        return self._networkx

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
