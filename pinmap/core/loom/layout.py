"""The flat layout of a loom: every run straight and at its true length, laid out so that none crosses another.

The longest way through a piece of the loom lies straight as its trunk; branches take the heading with the most room.
Where that leaves two runs in each other's way, the piece is laid out by equal angles instead, which cannot cross
(J. Felsenstein, "Inferring Phylogenies", 2004, chapter 34, from memory). Loops are cut at their lightest run, which
then hangs from one end with its full length.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from pinmap.core.errors import InputError, StructureError
from pinmap.core.model.looms import Node, Segment

_HEADINGS = [math.radians(7.5 * i) for i in range(48)]
_LEAST_TURNS = (math.radians(29), math.radians(14), math.radians(7))  # between two runs at a node, best first
_Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Run:
    """A segment laid flat, from (x1, y1) at node ``a`` to (x2, y2) [m]; y points down. ``cut``: the far end is not at
    node ``b``, since the run closes a loop and hangs loose there."""

    segment: str
    a: str
    b: str
    x1: float
    y1: float
    x2: float
    y2: float
    cut: bool = False

    @property
    def length_m(self) -> float:
        return math.hypot(self.x2 - self.x1, self.y2 - self.y1)


@dataclass(frozen=True, slots=True)
class FlatPiece:
    """One connected piece of the loom: where its nodes are [m], and its runs in the order of the segments."""

    at: Mapping[str, tuple[float, float]]
    runs: tuple[Run, ...]


def flat_layout(
    nodes: Sequence[Node], segments: Sequence[Segment], weight: Mapping[str, float] | None = None
) -> tuple[FlatPiece, ...]:
    """Lays nodes and segments out flat, one piece after another, the longest first. ``weight`` of a segment (number of
    wires, say; 1 where not given) decides which run of a loop is cut.

    Raises InputError for a length that is not a number of metres, StructureError for a segment to a node not given.
    """
    weight = weight or {}
    names = {n.key for n in nodes}
    for s in segments:
        if not math.isfinite(s.length_m) or s.length_m < 0:
            raise InputError(f"length of segment {s.key}", s.length_m, "give a length in metres, 0 or more")
        for end in (s.a, s.b):
            if end not in names:
                raise StructureError(f"segment {s.key} leads to {end}, which is no node of the loom", (s.key, end))
    tree, cut = _spanning_tree(nodes, segments, weight)
    pieces = [sorted(piece, key=[n.key for n in nodes].index) for piece in nx.connected_components(tree)]
    laid = [_lay_out(tree.subgraph(piece).copy(), piece, cut) for piece in pieces]
    order = {s.key: i for i, s in enumerate(segments)}
    done = [FlatPiece(p.at, tuple(sorted(p.runs, key=lambda r: order[r.segment]))) for p in laid]
    return tuple(sorted(done, key=lambda p: -sum(r.length_m for r in p.runs)))


def _spanning_tree(
    nodes: Sequence[Node], segments: Sequence[Segment], weight: Mapping[str, float]
) -> tuple[nx.Graph[str], list[Segment]]:
    """The heaviest spanning tree, ties by the segments' order, and the segments left over."""
    tree: nx.Graph[str] = nx.Graph()
    tree.add_nodes_from(n.key for n in nodes)
    joined = nx.utils.UnionFind(n.key for n in nodes)
    cut = []
    for s in sorted(segments, key=lambda s: -weight.get(s.key, 1.0)):
        if joined[s.a] == joined[s.b]:
            cut.append(s)
            continue
        joined.union(s.a, s.b)
        tree.add_edge(s.a, s.b, segment=s, length=s.length_m)
    return tree, cut


def _lay_out(tree: nx.Graph[str], piece: list[str], cut: list[Segment]) -> FlatPiece:
    inside = set(piece)
    loose = {f"\0{s.key}": s for s in cut if s.a in inside}
    for tip, s in loose.items():
        tree.add_edge(s.a, tip, segment=s, length=s.length_m)
    order = {name: i for i, name in enumerate([*piece, *loose])}
    at = _Greedy(tree, order).run() or _equal_angles(tree, order)
    runs = []
    for edge in tree.edges:
        segment: Segment = tree.edges[edge]["segment"]
        tip = next((n for n in edge if n in loose), "")
        runs.append(Run(segment.key, segment.a, segment.b, *at[segment.a], *at[tip or segment.b], cut=bool(tip)))
    return FlatPiece({name: at[name] for name in piece}, tuple(runs))


def _trunk(tree: nx.Graph[str], order: Mapping[str, int]) -> list[str]:
    """The longest way through the tree."""

    def farthest(start: str) -> list[str]:
        length: dict[str, float] = dict(nx.single_source_dijkstra_path_length(tree, start, weight="length"))
        end = max(length, key=lambda n: (length[n], -order[n]))
        way: list[str] = nx.shortest_path(tree, start, end)
        return way

    one = farthest(min(tree, key=order.__getitem__))[-1]
    way = farthest(one)
    return way if order[way[0]] <= order[way[-1]] else list(reversed(way))


class _Greedy:
    """Trunk straight, then branch by branch, the longest first, each with the heading that has the most room."""

    def __init__(self, tree: nx.Graph[str], order: Mapping[str, int]) -> None:
        self.tree, self.order = tree, order
        self.at: dict[str, tuple[float, float]] = {}
        self.lines: list[tuple[float, float, float, float]] = []
        self.ends: list[tuple[str, str]] = []
        self.headings: dict[str, list[float]] = {n: [] for n in tree}
        self.reach: dict[str, float] = {}

    def run(self) -> dict[str, tuple[float, float]] | None:
        trunk = _trunk(self.tree, self.order)
        lengths: list[float] = [self.tree.edges[e]["length"] for e in self.tree.edges]
        total = sum(lengths) or 1.0
        span = sum(self.tree.edges[e]["length"] for e in pairwise(trunk)) or 1.0
        self.clear = min(0.02 * span, 0.1 * total / max(self.tree.number_of_edges(), 1))
        self.at[trunk[0]] = (0.0, 0.0)
        for u, v in pairwise(trunk):
            self._add(u, v, 0.0)
        waiting = [(u, v) for u in trunk for v in self.tree[u] if v not in self.at]
        for u, v in waiting:
            self._measure(v, u)
        side = 1
        while waiting:
            waiting.sort(key=lambda e: (-self.reach[e[1]], self.order[e[1]]))
            u, v = waiting.pop(0)
            heading = self._best(u, v, side)
            if heading is None:
                return None
            self._add(u, v, heading)
            side = -side
            waiting += [(v, w) for w in self.tree[v] if w not in self.at]
        return self.at

    def _measure(self, name: str, parent: str) -> float:
        """Reach of a subtree: its run and the longest way beyond it, without recursion."""
        stack, seen = [(name, parent)], []
        while stack:
            n, p = stack.pop()
            seen.append((n, p))
            stack += [(c, n) for c in self.tree[n] if c != p]
        for n, p in reversed(seen):
            beyond = max((self.reach[c] for c in self.tree[n] if c != p), default=0.0)
            self.reach[n] = self.tree.edges[n, p]["length"] + beyond
        return self.reach[name]

    def _add(self, u: str, v: str, heading: float) -> None:
        x, y = self.at[u]
        length = self.tree.edges[u, v]["length"]
        self.at[v] = (x + length * math.cos(heading), y + length * math.sin(heading))
        self.lines.append((x, y, *self.at[v]))
        self.ends.append((u, v))
        self.headings[u].append(heading)
        self.headings[v].append(heading + math.pi)

    def _best(self, u: str, v: str, side: int) -> float | None:
        x, y = self.at[u]
        length = self.tree.edges[u, v]["length"]
        others = np.array([line for line, ends in zip(self.lines, self.ends, strict=True) if u not in ends])
        start = np.array([x, y])
        for least in _LEAST_TURNS:
            best: tuple[float, float] | None = None
            for heading in _HEADINGS:
                turn = min((_angle(heading - h) for h in self.headings[u]), default=math.pi)
                if turn < least:
                    continue
                tip = start + length * np.array([math.cos(heading), math.sin(heading)])
                room = _distance(start, tip, others)
                if room < min(self.clear, length / 4) or (room == 0.0 and len(others)):
                    continue
                far = start + (tip - start) * (self.reach[v] / length if length else 1.0)
                space = min(_distance(tip, far, others), 0.6 * self.reach[v] + 6 * self.clear)
                back = min((_angle(heading - h - math.pi) for h in self.headings[u]), default=0.0)
                sideways = 1.2 * abs(math.cos(heading)) + 0.4 * back + (0.5 if math.sin(heading) * side < 0 else 0.0)
                cost = -space + self.clear * (sideways - 2.0 * min(turn, 1.0))
                if best is None or cost < best[0] - 1e-9:
                    best = (cost, heading)
            if best is not None:
                return best[1]
        return None


def _equal_angles(tree: nx.Graph[str], order: Mapping[str, int]) -> dict[str, tuple[float, float]]:
    """Each subtree gets a wedge as wide as its share of the tips; with the root at the tips' centre no wedge is wider
    than half a turn, so that no two can meet."""
    names = sorted(tree, key=order.__getitem__)
    tips = {n for n in names if tree.degree[n] <= 1}
    count, _ = _count_tips(tree, names[0], tips)
    up = {v: u for u, v in nx.dfs_edges(tree, names[0])}
    heaviest = {n: max([count[c] for c in tree[n] if up.get(c) == n] + [len(tips) - count[n]]) for n in names}
    root = min(names, key=lambda n: (heaviest[n], order[n]))
    count, walked = _count_tips(tree, root, tips)
    parent = {v: u for u, v in nx.dfs_edges(tree, root)}
    at = {root: (0.0, 0.0)}
    wedge = {root: (0.0, 2 * math.pi)}
    for n in walked:
        low, wide = wedge[n]
        children = sorted((c for c in tree[n] if parent.get(c) == n), key=order.__getitem__)
        share = sum(count[c] for c in children) or 1
        for c in children:
            part = wide * count[c] / share
            wedge[c] = (low, part)
            heading, length = low + part / 2, tree.edges[n, c]["length"]
            at[c] = (at[n][0] + length * math.cos(heading), at[n][1] + length * math.sin(heading))
            low += part
    return at


def _count_tips(tree: nx.Graph[str], root: str, tips: set[str]) -> tuple[dict[str, int], list[str]]:
    """Tips beyond each node, seen from ``root``, and the nodes in the order of a walk."""
    walked: list[str] = list(nx.dfs_preorder_nodes(tree, root))
    parent = {v: u for u, v in nx.dfs_edges(tree, root)}
    count = {n: int(n in tips) for n in walked}
    for n in reversed(walked):
        if n in parent:
            count[parent[n]] += count[n]
    return count, walked


def _angle(turn: float) -> float:
    """A turn as an angle between 0 and half a turn."""
    return abs((turn + math.pi) % (2 * math.pi) - math.pi)


def _distance(a: _Array, b: _Array, others: _Array) -> float:
    """Least distance of the straight line a-b from any of ``others`` (x1, y1, x2, y2); 0 where they cross."""
    if not len(others):
        return math.inf
    p, q = others[:, :2], others[:, 2:]
    if bool(np.any(crosses(a, b, p, q))):
        return 0.0
    ends = (_to_line(p, a, b), _to_line(q, a, b), _to_lines(a, p, q), _to_lines(b, p, q))
    return float(min(e.min() for e in ends))


def crosses(a: _Array, b: _Array, p: _Array, q: _Array) -> NDArray[np.bool_]:
    """Whether the line a-b properly crosses each of the lines p-q, given as arrays of points."""
    (ax, ay), (bx, by), (px, py), (qx, qy) = a, b, p.T, q.T
    from_a = ((bx - ax) * (py - ay) - (by - ay) * (px - ax)) * ((bx - ax) * (qy - ay) - (by - ay) * (qx - ax))
    from_p = ((qx - px) * (ay - py) - (qy - py) * (ax - px)) * ((qx - px) * (by - py) - (qy - py) * (bx - px))
    both: NDArray[np.bool_] = (from_a < 0) & (from_p < 0)
    return both


def _to_line(points: _Array, a: _Array, b: _Array) -> _Array:
    d = b - a
    square = float(d @ d)
    t = np.clip((points - a) @ d / square, 0, 1) if square else np.zeros(len(points))
    found: _Array = np.hypot(*(points - a - t[:, None] * d).T)
    return found


def _to_lines(point: _Array, p: _Array, q: _Array) -> _Array:
    d = q - p
    square = np.einsum("ij,ij->i", d, d)
    t = np.clip(np.einsum("ij,ij->i", point - p, d) / np.where(square == 0, 1, square), 0, 1)
    found: _Array = np.hypot(*(point - p - t[:, None] * d).T)
    return found


def extent(pieces: Iterable[FlatPiece]) -> tuple[float, float]:
    """Width and height of the largest piece [m]."""
    wide = high = 0.0
    for piece in pieces:
        xs = [x for r in piece.runs for x in (r.x1, r.x2)] or [0.0]
        ys = [y for r in piece.runs for y in (r.y1, r.y2)] or [0.0]
        wide, high = max(wide, max(xs) - min(xs)), max(high, max(ys) - min(ys))
    return wide, high
