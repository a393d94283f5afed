"""The loom as a graph of places and runs: which exist in a variant, and the shortest run between two."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from pinmap.core.errors import StructureError
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Node, Segment
from pinmap.core.model.words import NodeKind

_HOP_M = 1e-9  # added to every segment: of two equally long runs the one with fewer segments wins


class LoomGraph:
    """Nodes and segments of one variant over all looms of a job. ``distance_m[i, j]`` is the shortest run between
    two nodes by index, infinite where there is none."""

    def __init__(self, snapshot: Snapshot, variant: Variant) -> None:
        # imported where it is used: it loads for long, and the app can start without
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import connected_components, dijkstra

        there = snapshot.active_connectors(variant)
        self.nodes: tuple[Node, ...] = tuple(
            n for n in snapshot.job.nodes if n.kind is not NodeKind.CONNECTOR or n.mates is None or n.mates in there
        )
        self.index: Mapping[str, int] = {n.key: i for i, n in enumerate(self.nodes)}
        self.segment_between: dict[tuple[int, int], Segment] = {}
        self.segments_at: dict[int, list[Segment]] = {}
        for segment in snapshot.job.segments:
            if not (math.isfinite(segment.length_m) and segment.length_m >= 0):
                raise StructureError(
                    f"segment {segment.key} has the length {segment.length_m} m; measure it and enter 0 m or more",
                    (f"segment:{segment.key}",),
                )
            a, b = self.index.get(segment.a), self.index.get(segment.b)
            if a is None or b is None or a == b:
                continue
            self.segments_at.setdefault(a, []).append(segment)
            self.segments_at.setdefault(b, []).append(segment)
            pair = (min(a, b), max(a, b))
            other = self.segment_between.get(pair)
            if other is None or segment.length_m < other.length_m:
                self.segment_between[pair] = segment
        n = len(self.nodes)
        rows = np.array([p[0] for p in self.segment_between], dtype=np.int64)
        columns = np.array([p[1] for p in self.segment_between], dtype=np.int64)
        lengths = np.array([s.length_m + _HOP_M for s in self.segment_between.values()], dtype=float)
        self._matrix = csr_array((lengths, (rows, columns)), shape=(n, n))
        self.distance_m: NDArray[np.float64]
        if n:
            self.distance_m, self._before = dijkstra(self._matrix, directed=False, return_predecessors=True)
            self.pieces: NDArray[np.int32] = connected_components(self._matrix, directed=False)[1]
        else:
            self.distance_m, self._before = np.zeros((0, 0)), np.zeros((0, 0), dtype=np.int32)
            self.pieces = np.zeros(0, dtype=np.int32)
        self._runs: dict[tuple[int, int], tuple[Segment, ...]] = {}

    def run(self, a: int, b: int) -> tuple[Segment, ...]:
        """Segments of the shortest run from a to b; the same run backwards from b to a. They must be joined."""
        found = self._runs.get((a, b))
        if found is not None:
            return found
        if a > b:
            found = tuple(reversed(self.run(b, a)))
        else:
            back: list[Segment] = []
            here = b
            while here != a:
                before = int(self._before[a, here])
                back.append(self.segment_between[(min(before, here), max(before, here))])
                here = before
            found = tuple(reversed(back))
        self._runs[(a, b)] = found
        return found

    def name(self, index: int) -> str:
        node = self.nodes[index]
        return node.name or node.key

    def describe_pieces(self, wanted: Sequence[int]) -> str:
        """Names the pieces that these nodes lie in, such as "2 pieces, {X1, J1} and {X2}"."""
        pieces = list(dict.fromkeys(int(self.pieces[i]) for i in wanted))
        texts = []
        for piece in pieces:
            names = [self.name(i) for i in range(len(self.nodes)) if self.pieces[i] == piece]
            shown = names if len(names) <= 8 else [*names[:6], f"and {len(names) - 6} more"]
            texts.append("{" + ", ".join(shown) + "}")
        return f"{len(pieces)} pieces, " + (" and ".join([", ".join(texts[:-1]), texts[-1]]) if texts[1:] else texts[0])
