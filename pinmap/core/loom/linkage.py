"""Loops that share runs, laid flat like a linkage: every run straight and true to length where that can be, none over
another, and what hangs on them outside.

Each face of a planar embedding may be the outer one (J. Hopcroft, R. Tarjan 1974, by networkx); with every other face
a star of its own, the nodes have places without a crossing (W. T. Tutte, "How to draw a graph", 1963). From there they
are moved as springs and repelling points, never so far that two runs would cross, and lastly onto the true lengths
(Gauss and Newton).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import cast

import networkx as nx
import numpy as np

from pinmap.core.loom.plane import Floats, Point

_FACES = 3  # tried as the outer one, those first on which most hangs
_ROUNDS = 150
_PUSH = 0.02  # how strong points repel each other beside the springs
_TAUT = 0.03  # a run with less than this share to spare is drawn straight
_EXACT_M = 1e-10


def linkages(graph: nx.Graph[str], weight: Mapping[str, float]) -> Iterator[dict[str, Point]]:
    """Layouts of a biconnected graph with a ``length`` [m] on each edge: no two nodes farther apart than their edge is
    long, those first that have the most ``weight`` of nodes outside. Nothing for a graph that is not planar."""
    planar, found = nx.check_planarity(graph)
    if not planar:
        return
    embedding = cast("nx.PlanarEmbedding[str]", found)
    done: set[tuple[str, str]] = set()
    faces = [embedding.traverse_face(u, v, mark_half_edges=done) for u, v in embedding.edges if (u, v) not in done]
    faces.sort(key=lambda face: (-sum(weight.get(n, 0.0) for n in face), -len(face), face))
    for outer in faces[:_FACES]:
        links = _Links(graph)
        links.place(_tutte(graph, faces, outer))
        links.relax()
        links.tighten()
        yield links.at()


def _tutte(graph: nx.Graph[str], faces: list[list[str]], outer: list[str]) -> dict[str, Point]:
    round_m = [graph.edges[u, v]["length"] for u, v in pairwise([*outer, outer[0]])]
    total, turn = sum(round_m), 0.0
    at: dict[str, Point] = {}
    for name, step in zip(outer, round_m, strict=True):
        at[name] = (total / (2 * math.pi) * math.cos(turn), total / (2 * math.pi) * math.sin(turn))
        turn += 2 * math.pi * step / total
    inner = [n for n in graph if n not in at]
    stars = [face for face in faces if face is not outer]
    number = {n: i for i, n in enumerate(inner)}
    size = len(inner) + len(stars)
    matrix, right = np.zeros((size, size)), np.zeros((size, 2))

    def pull(i: int, name: str) -> None:
        matrix[i, i] += 1.0
        if name in at:
            right[i] += at[name]
        else:
            matrix[i, number[name]] -= 1.0

    for name in inner:
        for other in graph[name]:
            pull(number[name], other)
    for k, face in enumerate(stars, len(inner)):
        for name in face:
            pull(k, name)
            if name in number:
                matrix[number[name], number[name]] += 1.0
                matrix[number[name], k] -= 1.0
    if size:
        found = np.linalg.solve(matrix, right)
        at |= {n: (float(found[i, 0]), float(found[i, 1])) for n, i in number.items()}
    return at


class _Links:
    """Nodes as points and runs as links of given lengths."""

    def __init__(self, graph: nx.Graph[str]) -> None:
        self.names = list(graph)
        number = {n: i for i, n in enumerate(self.names)}
        self.a = np.array([number[u] for u, _ in graph.edges])
        self.b = np.array([number[v] for _, v in graph.edges])
        self.length_m = np.array([graph.edges[e]["length"] for e in graph.edges], dtype=np.float64)
        self.size_m = float(self.length_m.mean())
        upper = np.triu_indices(len(self.a), 1)
        ends = np.array([self.a, self.b]).T
        apart = ~(ends[upper[0]][:, :, None] == ends[upper[1]][:, None, :]).any(axis=(1, 2))
        self.one, self.two = upper[0][apart], upper[1][apart]  # pairs of runs without a common node
        self.xy: Floats = np.zeros((len(self.names), 2))

    def place(self, at: Mapping[str, Point]) -> None:
        self.xy = np.array([at[n] for n in self.names], dtype=np.float64)

    def at(self) -> dict[str, Point]:
        return {n: (float(x), float(y)) for n, (x, y) in zip(self.names, self.xy, strict=True)}

    def relax(self) -> None:
        """Downhill by steps that make nothing cross."""
        step_m = 0.1 * self.size_m
        energy, slope = self._energy(self.xy)
        for _ in range(_ROUNDS):
            steepest = float(np.hypot(*slope.T).max())
            if steepest < 1e-9 or step_m < 1e-5 * self.size_m:
                return
            tried = self.xy - slope * (step_m / steepest)
            lower, next_slope = self._energy(tried)
            if lower < energy and not self._crosses(tried):
                self.xy, energy, slope = tried, lower, next_slope
                step_m *= 1.25
            else:
                step_m /= 2

    def _energy(self, xy: Floats) -> tuple[float, Floats]:
        slope = np.zeros_like(xy)
        along = xy[self.b] - xy[self.a]
        far = np.maximum(np.hypot(*along.T), 1e-9)
        over = far / self.length_m - 1
        pull = (2 * over / self.length_m / far)[:, None] * along
        np.add.at(slope, self.b, pull)
        np.add.at(slope, self.a, -pull)
        between = xy[:, None, :] - xy[None, :, :]
        square = (between**2).sum(axis=2) / self.size_m**2
        np.fill_diagonal(square, np.inf)
        push = _PUSH / np.maximum(square, 1e-6)
        outward = 2 * push / np.maximum(square, 1e-6) / self.size_m**2
        slope -= (outward[:, :, None] * between).sum(axis=1)
        return float((over**2).sum() + push.sum() / 2), slope

    def _crosses(self, xy: Floats) -> bool:
        a, b, p, q = xy[self.a[self.one]], xy[self.b[self.one]], xy[self.a[self.two]], xy[self.b[self.two]]

        def side(u: Floats, v: Floats, w: Floats) -> Floats:
            found: Floats = (v[:, 0] - u[:, 0]) * (w[:, 1] - u[:, 1]) - (v[:, 1] - u[:, 1]) * (w[:, 0] - u[:, 0])
            return found

        return bool(np.any((side(a, b, p) * side(a, b, q) <= 0) & (side(p, q, a) * side(p, q, b) <= 0)))

    def tighten(self) -> None:
        """Runs that are nearly or more than straight at their true lengths; all drawn together where that fails."""
        xy = self.xy.copy()
        taut = np.zeros(len(self.a), dtype=np.bool_)
        for _ in range(30):
            along = xy[self.b] - xy[self.a]
            far = np.hypot(*along.T)
            taut |= far > self.length_m * (1 - _TAUT)
            missing = (self.length_m - far)[taut]
            if np.abs(missing).max(initial=0.0) < _EXACT_M:
                if not self._crosses(xy):
                    self.xy = xy
                    return
                break
            rows = np.flatnonzero(taut)
            unit = along[rows] / np.maximum(far[rows], 1e-12)[:, None]
            matrix = np.zeros((len(rows), 2 * len(xy)))
            for k, (row, (dx, dy)) in enumerate(zip(rows, unit, strict=True)):
                for node, sign in ((self.b[row], 1.0), (self.a[row], -1.0)):
                    matrix[k, 2 * node], matrix[k, 2 * node + 1] = sign * dx, sign * dy
            move = np.linalg.lstsq(matrix, missing, rcond=None)[0].reshape(-1, 2)
            longest = float(np.hypot(*move.T).max())
            xy += move * min(1.0, 0.3 * self.size_m / longest if longest else 1.0)
        far = np.hypot(*(self.xy[self.b] - self.xy[self.a]).T)
        self.xy = self.xy * float(np.min(self.length_m / np.maximum(far, 1e-12)))
