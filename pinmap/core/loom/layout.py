"""The flat layout of a loom: every run at its true length, laid out so that none crosses another where that can be.

The longest way through a piece of the loom lies straight as its trunk; branches take the heading with the most room,
loops move as one shape (``loops``). Where a piece without loops leaves two runs in each other's way, it is laid out by
equal angles instead, which cannot cross (J. Felsenstein, "Inferring Phylogenies", 2004, chapter 34, from memory). With
loops, their other shapes are tried, then what found no way goes before the rest, and the layout with the fewest
crossings is taken.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import NamedTuple

import networkx as nx
import numpy as np

from pinmap.core.errors import InputError, StructureError
from pinmap.core.loom.loops import Shape, knots, straight
from pinmap.core.loom.plane import Floats, Point, crosses, crossings, length_of, rooms, turn_between
from pinmap.core.model.looms import Node, Segment

_HEADINGS = [math.radians(7.5 * i) for i in range(48)]
_CLEARS = (1.0, 0.4, 0.1)  # shares of the room wanted between runs, the first that works out
_TALL = 1.0  # room that a branch gives up for each metre that it would stand farther from the trunk than _FLAT
_FLAT = 0.12  # of the trunk's length; a loom that lies flat takes fewer sheets
_AGAIN = 3  # times that what found no way goes first
_MEET_M = 1e-6  # a crossing so near to a run's end is the node where both meet
_LEAST_TURNS = (math.radians(29), math.radians(14), math.radians(7))  # between two runs at a node, best first


@dataclass(frozen=True, slots=True)
class Run:
    """A segment laid flat: the points [m] from its node ``a`` to its node ``b``, two where it lies straight; y points
    down."""

    segment: str
    a: str
    b: str
    points: tuple[Point, ...]

    @property
    def length_m(self) -> float:
        return length_of(self.points)

    def along(self, at_m: float) -> tuple[Point, float]:
        """The place so far from node a, and the heading there [radians]."""
        left = at_m
        here, heading = self.points[0], 0.0
        for p, q in pairwise(self.points):
            step = math.dist(p, q)
            if step <= 0:
                continue
            heading = math.atan2(q[1] - p[1], q[0] - p[0])
            t = min(max(left / step, 0.0), 1.0)
            here = (p[0] + (q[0] - p[0]) * t, p[1] + (q[1] - p[1]) * t)
            if left <= step:
                break
            left -= step
        return here, heading

    def part(self, from_m: float, to_m: float) -> tuple[Point, ...]:
        """The corners from so far to so far from node a."""
        corners, done_m = [self.along(from_m)[0]], 0.0
        for p, q in pairwise(self.points):
            done_m += math.dist(p, q)
            if from_m < done_m < to_m:
                corners.append(q)
        return (*corners, self.along(to_m)[0])


@dataclass(frozen=True, slots=True)
class FlatPiece:
    """One connected piece of the loom: where its nodes are [m], and its runs in the order of the segments."""

    at: Mapping[str, Point]
    runs: tuple[Run, ...]


class Crossing(NamedTuple):
    """Where two runs cross in the layout [m]: ``over`` is drawn as a bridge with this heading [radians]."""

    at: Point
    over: str
    under: str
    heading: float


def crossings_of(piece: FlatPiece) -> tuple[Crossing, ...]:
    """Every place where two runs cross, the later run over the earlier one. Runs that meet at a node do not cross
    there."""
    found = []
    lines = [(r.segment, p, q) for r in piece.runs for p, q in pairwise(r.points)]
    ends = np.array([(*p, *q) for _, p, q in lines], dtype=float).reshape(-1, 4)
    for i, (over, p, q) in enumerate(lines):
        hits = crosses(ends[i, :2], ends[i, 2:], ends[:i, :2], ends[:i, 2:])
        for j in np.flatnonzero(hits).tolist():
            under, r, s = lines[j]
            (dx, dy), (ex, ey) = (q[0] - p[0], q[1] - p[1]), (s[0] - r[0], s[1] - r[1])
            t = ((r[0] - p[0]) * ey - (r[1] - p[1]) * ex) / (dx * ey - dy * ex)
            if over != under and min(t, 1 - t) * math.hypot(dx, dy) > _MEET_M:
                at = (p[0] + t * dx, p[1] + t * dy)
                found.append(Crossing(at, over, under, math.atan2(dy, dx)))
    return tuple(found)


def flat_layout(nodes: Sequence[Node], segments: Sequence[Segment]) -> tuple[FlatPiece, ...]:
    """Lays nodes and segments out flat, one piece after another, the longest first.

    Raises InputError for a length that is not a number of metres, StructureError for a segment to a node not given.
    """
    order = {n.key: i for i, n in enumerate(nodes)}
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    graph.add_nodes_from(order)
    for s in segments:
        if not math.isfinite(s.length_m) or s.length_m < 0:
            raise InputError(f"length of segment {s.key}", s.length_m, "give a length in metres, 0 or more")
        for end in (s.a, s.b):
            if end not in order:
                raise StructureError(f"segment {s.key} leads to {end}, which is no node of the loom", (s.key, end))
        graph.add_edge(s.a, s.b, segment=s)
    pieces = []
    for names in nx.connected_components(graph):
        piece = sorted(names, key=order.__getitem__)
        inside = [s for s in segments if s.a in names]
        pieces.append(_lay_out(piece, inside, order))
    return tuple(sorted(pieces, key=lambda p: -sum(r.length_m for r in p.runs)))


def _lay_out(piece: Sequence[str], segments: Sequence[Segment], order: Mapping[str, int]) -> FlatPiece:
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(piece)
    for s in segments:
        if s.a != s.b and s.length_m < graph.get_edge_data(s.a, s.b, {}).get("length", math.inf):
            graph.add_edge(s.a, s.b, length=s.length_m)
    choices = _shapes(segments)
    shapes = [next(c) for c in choices]
    tried: list[_Tried] = []
    while True:
        greedy = _clear(graph, shapes, order)
        if greedy is None and all(len(s.runs) == 1 and len(s.at) == 2 for s in shapes):
            return _by_equal_angles(graph, piece, segments, order)
        if greedy is None:
            greedy = _Greedy(graph, shapes, order, _CLEARS[-1])
            greedy.run(strict=False)
        tried.append(greedy.tried(piece, segments))
        if not tried[-1].crossings:
            return tried[-1].laid
        others = [next(c, None) for c in choices]
        if all(other is None for other in others):
            break
        shapes = [other or shape for other, shape in zip(others, shapes, strict=True)]
    shapes, urgent = min(tried, key=lambda t: t.crossings).shapes, dict[str, int]()
    for _ in range(_AGAIN):
        greedy = _Greedy(graph, shapes, order, _CLEARS[-1], urgent)
        greedy.run(strict=False)
        tried.append(greedy.tried(piece, segments))
        for name in greedy.failed:  # goes before the others
            urgent[name] = urgent.get(name, 0) + 1
    return min(tried, key=lambda t: t.crossings).laid


class _Tried(NamedTuple):
    crossings: int
    laid: FlatPiece
    shapes: list[Shape]


def _clear(graph: nx.Graph[str], shapes: Sequence[Shape], order: Mapping[str, int]) -> _Greedy | None:
    """A layout without crossings, with the most room between runs that works out."""
    for share in _CLEARS:
        greedy = _Greedy(graph, shapes, order, share)
        if greedy.run(strict=True):
            return greedy
    return None


def _shapes(segments: Sequence[Segment]) -> list[Iterator[Shape]]:
    """Runs on their own, and loops that hang together as one shape each, in one way after another."""
    graph: nx.Graph[str] = nx.Graph()
    between: dict[frozenset[str], list[Segment]] = {}
    for s in segments:
        between.setdefault(frozenset((s.a, s.b)), []).append(s)
        if s.a != s.b:
            graph.add_edge(s.a, s.b)
    found = [knots([s]) for pair, group in between.items() if len(pair) == 1 for s in group]
    for edges in nx.biconnected_component_edges(graph):
        inside = [s for e in edges for s in between[frozenset(e)]]
        inside.sort(key=lambda s: s.key)
        found.append(iter([straight(inside[0])]) if len(inside) == 1 else knots(inside, _hanging(graph, inside)))
    return found


def _hanging(graph: nx.Graph[str], loops: Sequence[Segment]) -> dict[str, float]:
    """How many runs hang on each node of loops that hang together."""
    rest = graph.copy()
    rest.remove_edges_from((s.a, s.b) for s in loops)
    return {
        n: float(rest.subgraph(nx.node_connected_component(rest, n)).number_of_edges())
        for n in {n for s in loops for n in (s.a, s.b)}
    }


def _trunk(tree: nx.Graph[str], order: Mapping[str, int]) -> list[str]:
    """The longest way through the piece, by its shortest runs."""

    def farthest(start: str) -> list[str]:
        length: dict[str, float] = dict(nx.single_source_dijkstra_path_length(tree, start, weight="length"))
        end = max(length, key=lambda n: (length[n], -order[n]))
        way: list[str] = nx.shortest_path(tree, start, end, weight="length")
        return way

    one = farthest(min(tree, key=order.__getitem__))[-1]
    way = farthest(one)
    return way if order[way[0]] <= order[way[-1]] else list(reversed(way))


class _Greedy:
    """Trunk straight, then shape by shape, the farthest reaching first, each with the heading that has most room."""

    def __init__(
        self,
        graph: nx.Graph[str],
        shapes: Sequence[Shape],
        order: Mapping[str, int],
        share: float,
        urgent: Mapping[str, int] | None = None,
    ) -> None:
        self.urgent = urgent or {}
        self.failed: list[str] = []  # shapes that found no way without a crossing, by their first run
        self.urgency: dict[tuple[int, str], int] = {}
        self.share = share
        self.graph, self.shapes, self.order = graph, shapes, order
        self.shapes_at: dict[str, list[Shape]] = {n: [] for n in graph}
        for shape in shapes:
            for name in shape.at:
                self.shapes_at[name].append(shape)
        self.at: dict[str, Point] = {}
        self.runs: dict[str, tuple[Point, ...]] = {}
        self.lines: list[Floats] = []
        self.touching: list[frozenset[str]] = []  # nodes that a line ends at
        self.headings: dict[str, list[float]] = {n: [] for n in graph}
        self.reach: dict[tuple[int, str], float] = {}

    def run(self, *, strict: bool) -> bool:
        """Lays everything; when ``strict``, gives up where two runs would cross."""
        trunk = _trunk(self.graph, self.order)
        total = sum(length_of(points) for s in self.shapes for points in s.runs.values()) or 1.0
        span = sum(self.graph.edges[e]["length"] for e in pairwise(trunk)) or 1.0
        self.clear = self.share * min(0.02 * span, 0.1 * total / max(sum(len(s.runs) for s in self.shapes), 1))
        self.tall = _FLAT * span
        self.at[trunk[0]] = (0.0, 0.0)
        placed: set[int] = set()
        ways = [(next(s for s in self.shapes_at[u] if v in s.at), u, v) for u, v in pairwise(trunk)]
        for _, group in groupby(ways, key=lambda way: id(way[0])):
            steps = list(group)
            shape, entry, exit_ = steps[0][0], steps[0][1], steps[-1][2]
            placed.add(id(shape))
            self._add(_turned(shape, entry, shape.at[exit_], self.at[entry], 0.0, mirrored=False), entry)
        self._measure(placed)
        waiting = [(s, u) for u in list(self.at) for s in self.shapes_at[u] if id(s) not in placed]
        side = 1
        while waiting:
            waiting.sort(key=self._turn_to_come)
            shape, u = waiting.pop(0)
            if id(shape) in placed:
                continue
            placed.add(id(shape))
            best = self._best(shape, u, side)
            if best is None and strict:
                return False
            if best is None:
                self.failed.append(min(shape.runs))
                best = self._least_crossed(shape, u)
            self._add(best, u)
            side = -side
            waiting += [(s, v) for v in shape.at if v != u for s in self.shapes_at[v] if id(s) not in placed]
        return True

    def tried(self, piece: Sequence[str], segments: Sequence[Segment]) -> _Tried:
        """What was laid."""
        runs = tuple(Run(s.key, s.a, s.b, self.runs[s.key]) for s in segments)
        laid = FlatPiece({name: self.at[name] for name in piece}, runs)
        return _Tried(len(crossings_of(laid)), laid, list(self.shapes))

    def _turn_to_come(self, one: tuple[Shape, str]) -> tuple[int, float, int, str]:
        shape, u = one
        return -self.urgency[id(shape), u], -self.reach[id(shape), u], self.order[u], min(shape.runs)

    def _measure(self, placed: set[int]) -> None:
        """How far each shape leads from the node that it hangs on, what hangs on it included; without recursion."""
        stack = [(s, u) for u in self.at for s in self.shapes_at[u] if id(s) not in placed]
        seen = []
        while stack:
            shape, u = stack.pop()
            seen.append((shape, u))
            stack += [(s, v) for v in shape.at if v != u for s in self.shapes_at[v] if s is not shape]
        for shape, u in reversed(seen):
            beyond = [
                math.dist(shape.at[u], shape.at[v]) + self.reach[id(s), v]
                for v in shape.at
                if v != u
                for s in self.shapes_at[v]
                if s is not shape
            ]
            own = max(math.dist(shape.at[u], p) for points in shape.runs.values() for p in points)
            self.reach[id(shape), u] = max([own, *beyond])
            self.urgency[id(shape), u] = max(
                [self.urgent.get(min(shape.runs), 0)]
                + [self.urgency[id(s), v] for v in shape.at if v != u for s in self.shapes_at[v] if s is not shape]
            )

    def _add(self, shape: Shape, entry: str) -> None:
        self.at.update({n: p for n, p in shape.at.items() if n != entry})
        self.runs.update(shape.runs)
        self.lines.append(shape.lines)
        for key, points in shape.runs.items():
            lines = list(pairwise(points))
            for n, (p, q) in enumerate(lines):
                self.touching.append(
                    frozenset(
                        e for e, there in zip(shape.ends[key], (n == 0, n == len(lines) - 1), strict=True) if there
                    )
                )
                heading = math.atan2(q[1] - p[1], q[0] - p[0])
                if n == 0:
                    self.headings[shape.ends[key][0]].append(heading)
                if n == len(lines) - 1:
                    self.headings[shape.ends[key][1]].append(heading + math.pi)

    def _best(self, shape: Shape, u: str, side: int) -> Shape | None:
        """The shape where it has the most room; None where it would cross something at every heading."""
        laid = np.concatenate(self.lines) if self.lines else np.zeros((0, 4))
        others = laid[[u not in ends for ends in self.touching]] if len(laid) else laid
        single = len(shape.at) == 2 and len(shape.runs) == 1
        toward = next(p for n, p in shape.at.items() if n != u) if single else shape.middle()
        length = math.dist(shape.at[u], toward)
        reach = self.reach[id(shape), u]
        (x, y), flips = self.at[u], (False,) if single else (False, True)
        tried = [(heading, mirrored) for heading in _HEADINGS for mirrored in flips]
        lines = np.stack([_turned_lines(shape, u, toward, self.at[u], h, mirrored=m) for h, m in tried])
        spaces = rooms(lines.reshape(-1, 4), others).reshape(len(tried), -1).min(axis=1)
        along = np.array([(math.cos(h), math.sin(h)) for h, _ in tried])
        ahead = np.concatenate((np.array((x, y)) + along * length, np.array((x, y)) + along * reach), axis=1)
        opens = np.minimum(rooms(ahead, others), 0.6 * reach + 6 * self.clear)
        wanted = min(self.clear, length / 4)
        turns: dict[int, float] = {}
        for least in _LEAST_TURNS:
            best: tuple[float, int] | None = None
            for i, (heading, mirrored) in enumerate(tried):
                space = float(spaces[i])
                if space < wanted or (space == 0.0 and len(others)):
                    continue
                if i not in turns:
                    turns[i] = self._turn(_turned(shape, u, toward, self.at[u], heading, mirrored=mirrored), u)
                turn = turns[i]
                if turn < least:
                    continue
                back = min((turn_between(heading - h - math.pi) for h in self.headings[u]), default=0.0)
                sideways = 1.2 * abs(math.cos(heading)) + 0.4 * back + (0.5 if math.sin(heading) * side < 0 else 0.0)
                tall = max(0.0, float(np.abs(lines[i, :, 1]).max()) - self.tall, abs(float(ahead[i, 3])) - self.tall)
                cost = -float(opens[i]) + self.clear * (sideways - 2.0 * min(turn, 1.0)) + _TALL * tall
                if best is None or cost < best[0] - 1e-9:
                    best = (cost, i)
            if best is not None:
                heading, mirrored = tried[best[1]]
                return _turned(shape, u, toward, self.at[u], heading, mirrored=mirrored)
        return None

    def _turn(self, there: Shape, u: str) -> float:
        """The least angle between the shape's own lines at a node and those already there."""
        x, y = self.at[u]
        beside = []
        for key, points in there.runs.items():
            beside += [q for e, q in zip(there.ends[key], (points[1], points[-2]), strict=True) if e == u]
        own = [math.atan2(q[1] - y, q[0] - x) for q in beside]
        return min((turn_between(a - b) for a in own for b in self.headings[u]), default=math.pi)

    def _least_crossed(self, shape: Shape, u: str) -> Shape:
        """Where nothing else is left: the heading that crosses the fewest runs."""
        laid = np.concatenate(self.lines) if self.lines else np.zeros((0, 4))
        others = laid[[u not in ends for ends in self.touching]] if len(laid) else laid
        toward = shape.middle()
        tried = [_turned(shape, u, toward, self.at[u], h, mirrored=m) for h in _HEADINGS for m in (False, True)]
        return min(tried, key=lambda t: (crossings(t.lines, others), -round(self._turn(t, u), 6)))


def _turned_lines(shape: Shape, u: str, toward: Point, place: Point, heading: float, *, mirrored: bool) -> Floats:
    """The lines of ``_turned``."""
    flip = -1.0 if mirrored else 1.0
    turn = heading - math.atan2(flip * (toward[1] - shape.at[u][1]), toward[0] - shape.at[u][0])
    away = (shape.lines.reshape(-1, 2) - shape.at[u]) * (1.0, flip)
    c, s = math.cos(turn), math.sin(turn)
    found: Floats = (away @ np.array([[c, s], [-s, c]]) + place).reshape(-1, 4)
    return found


def _turned(shape: Shape, u: str, toward: Point, place: Point, heading: float, *, mirrored: bool) -> Shape:
    """The shape with its node u at ``place`` and its point ``toward`` at this heading from it."""
    x0, y0 = shape.at[u]
    flip = -1.0 if mirrored else 1.0
    turn = heading - math.atan2(flip * (toward[1] - y0), toward[0] - x0)
    c, s = math.cos(turn), math.sin(turn)

    def move(p: Point) -> Point:
        dx, dy = p[0] - x0, flip * (p[1] - y0)
        return place[0] + c * dx - s * dy, place[1] + s * dx + c * dy

    return shape.moved(move)


def _by_equal_angles(
    graph: nx.Graph[str], piece: Sequence[str], segments: Sequence[Segment], order: Mapping[str, int]
) -> FlatPiece:
    at = _equal_angles(graph, order)
    return FlatPiece({n: at[n] for n in piece}, tuple(Run(s.key, s.a, s.b, (at[s.a], at[s.b])) for s in segments))


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


def extent(pieces: Iterable[FlatPiece]) -> tuple[float, float]:
    """Width and height of the largest piece [m]."""
    wide = high = 0.0
    for piece in pieces:
        xs = [x for r in piece.runs for x, _ in r.points] or [0.0]
        ys = [y for r in piece.runs for _, y in r.points] or [0.0]
        wide, high = max(wide, max(xs) - min(xs)), max(high, max(ys) - min(ys))
    return wide, high
