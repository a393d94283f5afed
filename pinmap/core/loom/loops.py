"""The shape of loops laid flat: every run true to length, straight where it can be and bent where it cannot.

One loop lies as the polygon that has its runs as sides, its corners on one circle. Where that is too flat, and where
loops share runs, they are laid like a linkage (``linkage``), or the nodes are spread by their distances and drawn
together until no two are farther apart than the run between them is long; each run with length to spare makes a bend.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import networkx as nx
import numpy as np

from pinmap.core.loom.linkage import linkages
from pinmap.core.loom.plane import Floats, Point, crossings, room
from pinmap.core.model.looms import Segment

_FLAT = 1.01  # a loop whose longest run is nearly as long as the others together would lie on itself
_SQUEEZE = 0.85  # of the shortest run between two nodes, so that equally long ones part
_TIPS = (90, 60, 120)  # where a bend has its tip, as a direction of the ellipse around both ends [degrees]
_FOLDS = (1, 2, 3)


@dataclass(frozen=True)
class Shape:
    """Runs that move as one: places of the nodes, and of each segment its nodes a and b and the points between [m]."""

    at: dict[str, Point]
    ends: dict[str, tuple[str, str]]
    runs: dict[str, tuple[Point, ...]]

    @cached_property
    def lines(self) -> Floats:
        """Every straight line as x1, y1, x2, y2."""
        found = [(*p, *q) for points in self.runs.values() for p, q in itertools.pairwise(points)]
        return np.array(found, dtype=np.float64).reshape(-1, 4)

    def middle(self) -> Point:
        """Middle of all corners."""
        points = [p for run in self.runs.values() for p in run]
        return sum(p[0] for p in points) / len(points), sum(p[1] for p in points) / len(points)

    def moved(self, move: Callable[[Point], Point]) -> Shape:
        return Shape(
            {name: move(p) for name, p in self.at.items()},
            self.ends,
            {key: tuple(move(p) for p in points) for key, points in self.runs.items()},
        )


def straight(segment: Segment) -> Shape:
    """A run that belongs to no loop."""
    at = {segment.a: (0.0, 0.0), segment.b: (segment.length_m, 0.0)}
    return Shape(at, _ends([segment]), {segment.key: (at[segment.a], at[segment.b])})


def knots(segments: Sequence[Segment], weight: Mapping[str, float] | None = None) -> Iterator[Shape]:
    """Loops that hang together, one or several with runs in common, in one shape after another, the likeliest first.
    ``weight`` says how much hangs on a node, which should then lie outside."""
    round_trip = _around(segments)
    if round_trip is not None:
        yield round_trip
        return
    for at in _spreads(segments, weight or {}):
        yield _bent(segments, at)


def _bent(segments: Sequence[Segment], at: dict[str, Point]) -> Shape:
    runs: dict[str, tuple[Point, ...]] = {}
    taken = np.zeros((0, 4))
    for s in sorted(segments, key=lambda s: s.length_m - math.dist(at[s.a], at[s.b])):
        runs[s.key] = _least_crossed(at[s.a], at[s.b], s.length_m, taken)
        taken = np.concatenate((taken, _as_lines(runs[s.key])))
    return Shape(at, _ends(segments), runs)


def _ends(segments: Sequence[Segment]) -> dict[str, tuple[str, str]]:
    return {s.key: (s.a, s.b) for s in segments}


def _around(segments: Sequence[Segment]) -> Shape | None:
    """One loop as a polygon with its corners on a circle; None for what is no single loop or too flat."""
    if len(segments) < 3 or any(s.length_m <= 0 for s in segments):
        return None
    beside: dict[str, list[Segment]] = {}
    for s in segments:
        beside.setdefault(s.a, []).append(s)
        beside.setdefault(s.b, []).append(s)
    if any(len(found) != 2 for found in beside.values()) or len(beside) != len(segments):
        return None
    longest = max(segments, key=lambda s: s.length_m)
    if sum(s.length_m for s in segments) - longest.length_m < _FLAT * longest.length_m:
        return None
    others = [s.length_m for s in segments if s is not longest]
    radius = _circle(longest.length_m, others)
    here, last = longest.b, longest
    at = {here: (radius, 0.0)}
    turn = 0.0
    while here != longest.a:
        last = next(s for s in beside[here] if s is not last)
        here = last.b if last.a == here else last.a
        turn += 2 * math.asin(min(last.length_m / (2 * radius), 1.0))
        at[here] = (radius * math.cos(turn), radius * math.sin(turn))
    return Shape(at, _ends(segments), {s.key: (at[s.a], at[s.b]) for s in segments})


def _circle(longest: float, others: Sequence[float]) -> float:
    """Radius of the circle on which sides of these lengths close: with the middle inside, all their half angles make
    half a turn; with the middle outside, the longest side's equals the others'."""

    def rest(radius: float) -> float:
        return sum(math.asin(min(v / (2 * radius), 1.0)) for v in others)

    inside = rest(longest / 2) >= math.pi / 2
    low, high = longest / 2, longest / 2
    sign = 1.0 if inside else -1.0

    def off(radius: float) -> float:
        own = math.asin(min(longest / (2 * radius), 1.0))
        return rest(radius) + own - math.pi if inside else sign * (rest(radius) - own)

    while off(high) > 0:
        high *= 2
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if off(middle) > 0 else (low, middle)
    return high


def _spreads(segments: Sequence[Segment], weight: Mapping[str, float]) -> Iterator[dict[str, Point]]:
    """Places of the nodes, no two farther apart than their run is long; the best first. Nodes with no length between
    them are one."""
    same = nx.utils.UnionFind(n for s in segments for n in (s.a, s.b))
    for s in segments:
        if s.length_m <= 0:
            same.union(s.a, s.b)
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(dict.fromkeys(same[n] for s in segments for n in (s.a, s.b)))
    lengths: dict[frozenset[str], list[float]] = {}
    for s in segments:
        if same[s.a] != same[s.b]:
            lengths.setdefault(frozenset((same[s.a], same[s.b])), []).append(s.length_m)
    for pair, found in lengths.items():
        a, b = sorted(pair)
        shortest, *more = sorted(found)
        graph.add_edge(a, b, length=shortest * (_SQUEEZE if more and more[0] < shortest / _SQUEEZE else 1.0))
    names = {n: same[n] for s in segments for n in (s.a, s.b)}
    if len(graph) == 1:
        yield dict.fromkeys(names, (0.0, 0.0))
        return
    if len(graph) == 2:
        (a, b), *_ = graph.edges
        places = {a: (0.0, 0.0), b: (float(graph.edges[a, b]["length"]), 0.0)}
        yield {n: places[there] for n, there in names.items()}
        return
    heavy: dict[str, float] = {}
    for n, there in names.items():
        heavy[there] = heavy.get(there, 0.0) + weight.get(n, 0.0)
    starts: list[Mapping[str, Floats] | None] = [None]
    for places in linkages(graph, heavy) if nx.is_biconnected(graph) else ():
        starts = [None, {n: np.array(p) for n, p in places.items()}]
        yield {n: places[there] for n, there in names.items()}
    for start in starts:
        yield _sprung(graph, names, start)


def _sprung(graph: nx.Graph[str], names: Mapping[str, str], start: Mapping[str, Floats] | None) -> dict[str, Point]:
    """Places by springs (T. Kamada and S. Kawai, 1989), from a circle or another layout."""
    laid: Mapping[str, Floats] = nx.kamada_kawai_layout(graph, weight="length", pos=start)
    apart = ((graph.edges[a, b]["length"], math.dist(laid[a], laid[b])) for a, b in graph.edges)
    scale = min((length / far for length, far in apart if far > 0), default=1.0)
    return {n: (float(laid[there][0]) * scale, float(laid[there][1]) * scale) for n, there in names.items()}


def _least_crossed(a: Point, b: Point, length_m: float, taken: Floats) -> tuple[Point, ...]:
    """The way from a to b of this length that crosses the fewest others, of equals the one with the most room."""
    best: tuple[tuple[float, float], tuple[Point, ...]] | None = None
    for points in _ways(a, b, length_m):
        lines = _as_lines(points)
        middles = np.array([points[len(points) // 2], points[len(points) // 2]]).reshape(1, 4)
        cost = (float(crossings(lines, taken)), -round(room(middles, taken), 6))
        if best is None or cost < best[0]:
            best = (cost, points)
    assert best is not None, "there is always a way"
    return best[1]


def _ways(a: Point, b: Point, length_m: float) -> Iterator[tuple[Point, ...]]:
    apart = math.dist(a, b)
    if length_m - apart <= 1e-9:
        yield (a, b)
        return
    if apart <= 1e-9:  # back to the same place: a triangle
        for heading in range(0, 360, 30):
            sides = [math.radians(heading + turn) for turn in (-30, 30)]
            corners = [(a[0] + length_m / 3 * math.cos(t), a[1] + length_m / 3 * math.sin(t)) for t in sides]
            yield (a, *corners, b)
        return
    along = ((b[0] - a[0]) / apart, (b[1] - a[1]) / apart)
    wide = math.sqrt(length_m**2 - apart**2) / 2
    for folds in _FOLDS:
        for tip in _TIPS:
            for side in (1, -1):
                # The tip of each fold lies on the ellipse whose points have the same way to both of its ends.
                out = side * wide / folds * math.sin(math.radians(tip))
                forth = length_m / (2 * folds) * math.cos(math.radians(tip))
                points = [a]
                for n in range(folds):
                    middle = apart * (n + 0.5) / folds + forth
                    flip = out if n % 2 == 0 else -out
                    points.append(
                        (a[0] + along[0] * middle - along[1] * flip, a[1] + along[1] * middle + along[0] * flip)
                    )
                    share = (n + 1) / folds
                    points.append((a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share))
                yield (*points[:-1], b)


def _as_lines(points: Sequence[Point]) -> Floats:
    return np.array([(*p, *q) for p, q in itertools.pairwise(points)], dtype=np.float64)
