"""The part of a loom that is searched: nodes joined by runs, without the many end nodes that hang on one run each.

Distances between all nodes are found once, and the ways on demand.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pinmap.core.loom.bridges import Bridges, bridges
from pinmap.core.loom.stations import Floats, Way

if TYPE_CHECKING:  # networkx loads for long and the app can start without: imported where it is used
    import networkx as nx

_HOP_M = 1e-9  # added to every run: of two equally long ways the one with fewer runs wins


class Edge(NamedTuple):
    """A run, or a piece of one between places where a splice may sit. One metre counts as ``factor`` metres."""

    a: int
    b: int
    length_m: float
    segment: str
    factor: float = 1.0

    @property
    def counts_m(self) -> float:
        return counts_m(self.length_m, self.factor)


def counts_m(length_m: float, factor: float) -> float:
    """What a run counts for where ways are compared [m]."""
    return length_m * factor + _HOP_M


class Arc(NamedTuple):
    """From a node to one that ``CoreGraph.arcs`` takes out later, and the metres between them as they count."""

    early: int
    late: int
    metres: float


class CoreGraph:
    """Nodes are numbered from 0. ``distance`` in metres as they count, infinite where there is no way; ``near`` the
    neighbours of each node; ``piece`` the number of the piece each lies in."""

    def __init__(self, size: int, edges: Sequence[Edge]) -> None:
        self.size = size
        self._edge: dict[tuple[int, int], Edge] = {}  # the least of those that join the same two
        for edge in edges:
            pair = (min(edge.a, edge.b), max(edge.a, edge.b))
            known = self._edge.get(pair)
            if known is None or edge.counts_m < known.counts_m:
                self._edge[pair] = edge
        self.near: list[list[int]] = [[] for _ in range(size)]
        for one, two in self._edge:
            self.near[one].append(two)
            self.near[two].append(one)
        from scipy.sparse import csr_array  # scipy loads for long and the app can start without
        from scipy.sparse.csgraph import connected_components, dijkstra

        rows = np.array([p[0] for p in self._edge], dtype=np.int64)
        columns = np.array([p[1] for p in self._edge], dtype=np.int64)
        metres = np.array([e.counts_m for e in self._edge.values()], dtype=float)
        matrix = csr_array((metres, (rows, columns)), shape=(size, size))
        self.distance: Floats
        if size:
            self.distance, self._before = dijkstra(matrix, directed=False, return_predecessors=True)
            self.piece: list[int] = connected_components(matrix, directed=False)[1].tolist()
        else:
            self.distance, self._before = np.zeros((0, 0)), np.zeros((0, 0), dtype=np.int32)
            self.piece = []
        self.has_loops = size > 0 and len(edges) > size - (max(self.piece) + 1)
        self._ways: dict[tuple[int, int], Way] = {}
        self._before_rows: dict[int, list[int]] = {}

    @cached_property
    def bridges(self) -> Bridges:
        """Runs that are the only way between two parts."""
        return bridges(self.near)

    @cached_property
    def arcs(self) -> tuple[Arc, ...]:
        """Along these, in this order and then back, whatever spreads from every node reaches every other by a shortest
        way: nodes are taken out one by one, those with the fewest neighbours first, whose neighbours are then joined
        (D. J. Rose, "Triangulated graphs and the elimination process", J. Math. Anal. Appl. 32, 1970). A loom is nearly
        a tree, so that there are hardly more arcs than runs."""
        left = {node: set(near) for node, near in enumerate(self.near)}
        queue = [(len(near), node) for node, near in left.items()]
        heapq.heapify(queue)
        found: list[Arc] = []
        while queue:
            count, node = heapq.heappop(queue)
            if node not in left or len(left[node]) != count:
                continue  # taken out, or queued again with another count
            mine = left.pop(node)
            for other in sorted(mine):
                found.append(Arc(node, other, float(self.distance[node, other])))
                left[other] |= mine
                left[other] -= {node, other}
                heapq.heappush(queue, (len(left[other]), other))
        return tuple(found)

    @cached_property
    def as_networkx(self) -> nx.Graph[int]:
        """The same graph with the metres as they count as ``weight``."""
        import networkx as nx

        graph: nx.Graph[int] = nx.Graph()
        graph.add_nodes_from(range(self.size))
        for (a, b), edge in self._edge.items():
            graph.add_edge(a, b, weight=edge.counts_m)
        return graph

    def way(self, a: int, b: int) -> Way:
        """The shortest way from a to b, which must be joined; the same way backwards from b to a."""
        found = self._ways.get((a, b))
        if found is not None:
            return found
        if a > b:
            found = self.way(b, a).back()
        else:
            row = self._before_rows.get(a)
            if row is None:
                row = self._before_rows[a] = self._before[a].tolist()
            keys, pieces_m, here = list[str](), list[float](), b
            while here != a:
                before = row[here]
                edge = self._edge[(before, here) if before < here else (here, before)]
                if keys and keys[-1] == edge.segment:  # a run that places for splices divide is named once
                    pieces_m[-1] += edge.length_m
                else:
                    keys.append(edge.segment)
                    pieces_m.append(edge.length_m)
                here = before
            found = Way(tuple(keys), tuple(pieces_m), sum(pieces_m)).back()
        self._ways[a, b] = found
        return found
