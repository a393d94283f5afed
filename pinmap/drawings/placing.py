"""Places for a map of lines: columns by distance from the source, few crossings, straight runs, a lane for each turn.

Pure geometry: it knows vertices, groups of vertices that stand together in one column, and edges; what they mean is
the drawing's business. After Sugiyama, Tagawa and Toda, "Methods for Visual Understanding of Hierarchical System
Structures", IEEE Trans. SMC 11(2), 1981: columns, order by barycentre, then coordinates by isotonic regression.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from pinmap.drawings.lanes import Run, assign_lanes

ROW = 40.0  # height of a row [px]
GRID = ROW / 2  # every height is a multiple of it, so that runs come out exactly level
_SWEEPS = 10
_SETTLE = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Vertex:
    """A station. Vertices of one group and column stand together under one header of ``header`` pixels. A capsule
    gives each of its lines a row of its own; any other vertex has one row. ``last`` puts it into the last column."""

    id: str
    group: str
    header: float = GRID
    capsule: bool = False
    last: bool = False


@dataclass(frozen=True, slots=True)
class Piece:
    """The part of an edge between two neighbouring columns: from (column, y_a) to (column + 1, y_b). ``lane`` counts
    the vertical lanes of the gap from the left, -1 for a level run, -2 for one that must go slantwise."""

    edge: int
    column: int
    a: str
    b: str
    y_a: float
    y_b: float
    lane: int


@dataclass(frozen=True, slots=True)
class Stand:
    """A group in its column: top and bottom [px], header included, and the rows of its vertices."""

    group: str
    column: int
    top: float
    bottom: float
    header: float
    rows: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Placement:
    """Where everything is. ``turned`` are edges that had to run against the columns."""

    columns: int
    stands: tuple[Stand, ...]
    pieces: tuple[Piece, ...]
    lanes: tuple[int, ...]  # in the gap after each column
    height: float
    turned: frozenset[int]


@dataclass
class _Group:
    name: str
    header: float
    members: list[str]
    pad: float = GRID
    top: float = 0.0
    heights: dict[str, float] = field(default_factory=dict)

    @property
    def height(self) -> float:
        return self.header + sum(self.heights[m] for m in self.members) + self.pad

    def y(self, member: str) -> float:
        """Middle of a member."""
        at = self.top + self.header
        for m in self.members:
            if m == member:
                return at + self.heights[m] / 2
            at += self.heights[m]
        raise KeyError(member)


def place(vertices: Sequence[Vertex], edges: Sequence[tuple[str, str]]) -> Placement:
    """Places every vertex and edge. Same input, same output; the order of the input settles ties."""
    placer = _Placer(vertices, edges)
    placer.find_columns()
    placer.cut_edges()
    placer.find_order()
    placer.find_heights()
    return placer.finish()


class _Placer:
    def __init__(self, vertices: Sequence[Vertex], edges: Sequence[tuple[str, str]]) -> None:
        self.vertex = {v.id: v for v in vertices}
        self.edges = list(edges)
        self.turned: set[int] = set()
        self.column: dict[str, int] = {}
        self.layers: list[list[_Group]] = []
        self.chains: list[list[str]] = []  # vertices and bends of each edge, left to right
        self.left: dict[str, list[str]] = {}
        self.right: dict[str, list[str]] = {}
        self.home: dict[str, _Group] = {}

    # Columns

    def find_columns(self) -> None:
        ahead: dict[str, list[tuple[str, int]]] = {v: [] for v in self.vertex}
        for i, (a, b) in enumerate(self.edges):
            ahead[a].append((b, i))
        self._turn_back_edges(ahead)
        forward: dict[str, list[str]] = {v: [] for v in self.vertex}
        backward: dict[str, list[str]] = {v: [] for v in self.vertex}
        for i, (a, b) in enumerate(self.edges):
            if a == b:
                continue
            if i in self.turned:
                a, b = b, a
            forward[a].append(b)
            backward[b].append(a)
        order = _topological(list(self.vertex), forward, backward)
        for v in order:
            self.column[v] = max((self.column[u] + 1 for u in backward[v]), default=0)
        final = max(self.column.values(), default=0)
        for v in order:
            if self.vertex[v].last and not forward[v]:
                self.column[v] = final
        self._gather(order, forward, backward)

    def _turn_back_edges(self, ahead: Mapping[str, list[tuple[str, int]]]) -> None:
        """Depth first; an edge into the branch being walked closes a loop and is turned round."""
        state: dict[str, int] = {}
        for root in self.vertex:
            if root in state:
                continue
            state[root] = 1
            stack = [(root, iter(ahead[root]))]
            while stack:
                here, steps = stack[-1]
                for there, edge in steps:
                    if state.get(there) == 1:
                        self.turned.add(edge)
                    elif there not in state:
                        state[there] = 1
                        stack.append((there, iter(ahead[there])))
                        break
                else:
                    state[here] = 2
                    stack.pop()

    def _gather(self, order: list[str], forward: Mapping[str, list[str]], backward: Mapping[str, list[str]]) -> None:
        """Moves vertices that have room to the column where most of their group stands, so that a connector makes
        few bars; others that have room go next to what follows them."""
        for _ in range(3):
            for v in reversed(order):
                if self.vertex[v].last and not forward[v]:
                    continue
                low = max((self.column[u] + 1 for u in backward[v]), default=0)
                if not forward[v] and not backward[v]:
                    continue
                high = min((self.column[u] - 1 for u in forward[v]), default=low)
                mates: dict[int, int] = {}
                for u, w in self.vertex.items():
                    if u != v and w.group == self.vertex[v].group and low <= self.column[u] <= high:
                        mates[self.column[u]] = mates.get(self.column[u], 0) + 1
                if mates:
                    self.column[v] = max(mates, key=lambda c: (mates[c], -abs(c - self.column[v]), -c))
                elif backward[v]:
                    self.column[v] = min(max(self.column[v], low), high) if forward[v] else low
                else:
                    self.column[v] = high

    # Edges cut at every column

    def cut_edges(self) -> None:
        count = max(self.column.values(), default=0) + 1
        by_group: dict[tuple[int, str], _Group] = {}
        self.layers = [[] for _ in range(count)]
        for v in self.vertex.values():
            key = (self.column[v.id], v.group)
            if key not in by_group:
                by_group[key] = _Group(v.group, v.header, [])
                self.layers[key[0]].append(by_group[key])
            by_group[key].members.append(v.id)
            self.home[v.id] = by_group[key]
        for i, (a, b) in enumerate(self.edges):
            if i in self.turned:
                a, b = b, a
            chain = [a]
            for column in range(self.column[a] + 1, self.column[b]):
                bend = f"~{i}~{column}"
                group = _Group(bend, 0.0, [bend], pad=0.0)
                self.layers[column].append(group)
                self.home[bend] = group
                self.column[bend] = column
                chain.append(bend)
            chain.append(b)
            self.chains.append(chain if a != b else [])
        for chain in self.chains:
            for u, w in pairwise(chain):
                self.right.setdefault(u, []).append(w)
                self.left.setdefault(w, []).append(u)
        for name, group in self.home.items():
            rows = 1
            if name in self.vertex and self.vertex[name].capsule:
                rows = max(1, len(self.left.get(name, ())), len(self.right.get(name, ())))
            group.heights[name] = rows * ROW

    # Order in each column

    def find_order(self) -> None:
        best, best_crossings = self._copy_order(), self._crossings()
        for sweep in range(_SWEEPS):
            columns = range(1, len(self.layers)) if sweep % 2 == 0 else range(len(self.layers) - 2, -1, -1)
            neighbours = self.left if sweep % 2 == 0 else self.right
            for column in columns:
                self._sort(column, neighbours, column - 1 if sweep % 2 == 0 else column + 1)
            crossings = self._crossings()
            if crossings < best_crossings:
                best, best_crossings = self._copy_order(), crossings
        self.layers = [list(groups) for groups, _ in best]
        for groups, members in best:
            for group, inside in zip(groups, members, strict=True):
                group.members = list(inside)

    def _copy_order(self) -> list[tuple[list[_Group], list[list[str]]]]:
        return [(list(layer), [list(g.members) for g in layer]) for layer in self.layers]

    def _rank(self, column: int) -> dict[str, int]:
        return {m: i for i, m in enumerate(m for g in self.layers[column] for m in g.members)}

    def _sort(self, column: int, neighbours: Mapping[str, list[str]], beside: int) -> None:
        rank = self._rank(beside)
        own = self._rank(column)

        def centre(member: str) -> float | None:
            ranks = [rank[n] for n in neighbours.get(member, ()) if n in rank]
            return sum(ranks) / len(ranks) if ranks else None

        for group in self.layers[column]:
            known = {m: centre(m) for m in group.members}
            rest = [c for c in known.values() if c is not None]
            middle = sum(rest) / len(rest) if rest else 0.0
            group.members.sort(key=lambda m: (middle if (c := known[m]) is None else c, own[m]))

        def of_group(group: _Group) -> float:
            centres = [c for c in map(centre, group.members) if c is not None]
            return sum(centres) / len(centres) if centres else float(own[group.members[0]])

        self.layers[column].sort(key=lambda g: (of_group(g), own[g.members[0]]))

    def _crossings(self) -> int:
        total = 0
        for column in range(len(self.layers) - 1):
            left, right = self._rank(column), self._rank(column + 1)
            pairs = sorted((left[u], right[w]) for u in left for w in self.right.get(u, ()) if w in right)
            seen: list[int] = []
            for _, target in pairs:
                total += len(seen) - bisect_right(seen, target)
                insort(seen, target)
        return total

    # Coordinates

    def find_heights(self) -> None:
        for layer in self.layers:
            top = 0.0
            for group in layer:
                group.top, top = top, top + group.height
        for turn in range(_SETTLE):
            columns = range(len(self.layers)) if turn % 2 == 0 else range(len(self.layers) - 1, -1, -1)
            for column in columns:
                if turn >= _SETTLE - 4:
                    self._settle(column, (self.left, self.right))
                else:
                    self._settle(column, (self.left if turn % 2 == 0 else self.right,))
        lowest = min((g.top for layer in self.layers for g in layer), default=0.0)
        for layer in self.layers:
            for group in layer:
                group.top = round((group.top - lowest) / GRID) * GRID

    def _settle(self, column: int, sides: tuple[Mapping[str, list[str]], ...]) -> None:
        layer = self.layers[column]
        wanted, weights, offset = [], [], 0.0
        offsets = []
        for group in layer:
            pulls = []
            for member in group.members:
                drop = group.y(member) - group.top
                for side in sides:
                    mates = side.get(member, ())
                    for i, other in enumerate(mates):
                        shift = 0.0
                        if member in self.vertex and self.vertex[member].capsule:
                            shift = (i - (len(mates) - 1) / 2) * ROW
                        pulls.append((self.home[other].y(other) - drop - shift, 4.0 if other.startswith("~") else 1.0))
            weight = sum(w for _, w in pulls)
            goal = sum(p * w for p, w in pulls) / weight if weight else group.top
            wanted.append(goal - offset)
            weights.append(weight or 0.1)
            offsets.append(offset)
            offset += group.height
        for group, top, down in zip(layer, isotonic(wanted, weights), offsets, strict=True):
            group.top = top + down

    # Result

    def finish(self) -> Placement:
        ports = self._ports()
        pieces: list[Piece] = []
        lanes: list[int] = []
        for column in range(len(self.layers) - 1):
            raw = []
            for i, chain in enumerate(self.chains):
                for u, w in pairwise(chain):
                    if self.column[u] == column:
                        raw.append((i, u, w, ports[i, u, "right"], ports[i, w, "left"]))
            numbers = assign_lanes([Run(y_a, y_b, u, w) for _, u, w, y_a, y_b in raw])
            lanes.append(max((n + 1 for n in numbers), default=0))
            pieces += [
                Piece(i, column, u, w, y_a, y_b, lane) for (i, u, w, y_a, y_b), lane in zip(raw, numbers, strict=True)
            ]
        stands = tuple(
            Stand(
                group=g.name,
                column=column,
                top=g.top,
                bottom=g.top + g.height - g.pad,
                header=g.header,
                rows=tuple((m, g.y(m)) for m in g.members),
            )
            for column, layer in enumerate(self.layers)
            for g in layer
            if not g.name.startswith("~")
        )
        height = max((g.top + g.height for layer in self.layers for g in layer), default=ROW)
        return Placement(len(self.layers), stands, tuple(pieces), tuple(lanes), height, frozenset(self.turned))

    def _ports(self) -> dict[tuple[int, str, str], float]:
        """y at which each edge meets each vertex, on its left or right."""
        meets: dict[tuple[str, str], list[tuple[float, int]]] = {}
        for i, chain in enumerate(self.chains):
            for u, w in pairwise(chain):
                meets.setdefault((u, "right"), []).append((self.home[w].y(w), i))
                meets.setdefault((w, "left"), []).append((self.home[u].y(u), i))
        ports: dict[tuple[int, str, str], float] = {}
        for (name, side), found in meets.items():
            middle = self.home[name].y(name)
            capsule = name in self.vertex and self.vertex[name].capsule
            for j, (_, i) in enumerate(sorted(found)):
                ports[i, name, side] = middle + ((j - (len(found) - 1) / 2) * ROW if capsule else 0.0)
        return ports


def _topological(
    names: Sequence[str], forward: Mapping[str, list[str]], backward: Mapping[str, list[str]]
) -> list[str]:
    """Every vertex after all that come before it; ties in the order given. The graph has no loop."""
    waits = {name: len(backward[name]) for name in names}
    order = [name for name in names if not waits[name]]
    for name in order:
        for there in forward[name]:
            waits[there] -= 1
            if not waits[there]:
                order.append(there)
    return order


def isotonic(wanted: Sequence[float], weights: Sequence[float]) -> list[float]:
    """The non-decreasing sequence nearest to ``wanted`` by weighted squares (pool adjacent violators)."""
    blocks: list[tuple[float, float, int]] = []
    for value, weight in zip(wanted, weights, strict=True):
        blocks.append((value, weight, 1))
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            (v1, w1, n1), (v2, w2, n2) = blocks[-2:]
            blocks[-2:] = [((v1 * w1 + v2 * w2) / (w1 + w2), w1 + w2, n1 + n2)]
    return [value for value, _, count in blocks for _ in range(count)]
