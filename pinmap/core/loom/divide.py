"""Nets that run through several looms: which matings they cross, and their part in each loom.

Between looms that one chain of matings joins there is nothing to choose, and the division is exact: every conductor
of the whole stands in one part, and each mating on the way is crossed once. Where several matings lead from one loom to
another, those are taken that keep a cavity for the net, else those with which its ends lie nearest together: for two
ends the shortest admissible way, for more the least tree of direct ways in each loom, which is at most twice as long
as the least tree with branches (L. Kou, G. Markowsky and L. Berman, "A fast algorithm for Steiner trees", 1981).
No net enters a loom twice: a contact more costs more than the copper that a short cut saves.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations, islice, product

from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.results import MatedEnd, Net
from pinmap.core.loom.stations import Station
from pinmap.core.loom.ways import Ways
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import End, Mating

_MOST_CHOICES = 1024  # ways over matings that are compared; a job has a few


@dataclass(frozen=True, slots=True)
class Crossing:
    """How a net runs through several looms: the matings it crosses, and for each of its parts the ends there."""

    net: Net
    matings: tuple[Mating, ...]
    parts: tuple[Part, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """A net's own ends in one loom; its halves of matings, each with the ends behind it; and the half that leads
    towards the net's first end, "" where that is here."""

    own: tuple[End, ...]
    halves: tuple[tuple[str, tuple[End, ...]], ...]
    entry: str


@dataclass
class Crossings:
    """Finds the crossings of one variant's nets. Remembers which matings can join which pieces of the looms."""

    snapshot: Snapshot
    ways: Ways
    _choices: dict[tuple[int, frozenset[int]], list[tuple[Mating, ...]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        there = self.ways.open.index
        self.matings = [m for m in self.snapshot.job.matings if m.a in there and m.b in there]
        self.kept = {(m.key, c.signal, c.section) for m in self.matings for c in m.cavities}

    def of(self, net: Net) -> Crossing | None:
        """None for a net that stays in one piece of the looms. Ends without a place, and ends that no mating leads to,
        stay with the first part."""
        signal = self.snapshot.signal[net.signal]
        graph = self.ways.graph_for(signal, signal.insulation or self.snapshot.job.practice.insulation)
        spots = [(end, spot) for end in net.whole if isinstance(spot := self.ways.spot(end), int)]
        if len({graph.pieces[spot] for _, spot in spots}) < 2:
            return None
        there = self._joined(graph, spots)
        if len({graph.pieces[spot] for _, spot in there}) < 2:
            return None
        choices = self._between(graph, frozenset(graph.pieces[spot] for _, spot in there))
        stations = [graph.station[spot] for _, spot in there]
        best = choices[0]
        if len(choices) > 1:
            best = min(choices, key=lambda chosen: self._cost(net, graph, stations, chosen))
        return self._divided(net, graph, there, best)

    def _joined(self, graph: LoomGraph, spots: list[tuple[End, int]]) -> list[tuple[End, int]]:
        """The largest set of ends that runs and matings join."""
        label = {piece: piece for piece in set(graph.pieces)}
        for m in self.matings:
            one, two = (label[graph.pieces[graph.index[node]]] for node in (m.a, m.b))
            label = {piece: one if at == two else at for piece, at in label.items()}
        groups: dict[int, list[tuple[End, int]]] = {}
        for end, spot in spots:
            groups.setdefault(label[graph.pieces[spot]], []).append((end, spot))
        return max(groups.values(), key=len)  # the first of equals

    def _between(self, graph: LoomGraph, pieces: frozenset[int]) -> list[tuple[Mating, ...]]:
        key = (id(graph), pieces)  # graphs live as long as the ways that made them
        found = self._choices.get(key)
        if found is None:
            found = self._choices[key] = list(islice(self._trees(graph, pieces), _MOST_CHOICES))
        return found

    def _trees(self, graph: LoomGraph, pieces: frozenset[int]) -> Iterator[tuple[Mating, ...]]:
        """Every set of matings that joins these pieces and others on the way as a tree, the smallest sets first."""
        joins: dict[tuple[int, int], list[Mating]] = {}
        for m in self.matings:
            a, b = sorted(graph.pieces[graph.index[node]] for node in (m.a, m.b))
            if a != b:
                joins.setdefault((a, b), []).append(m)
        for size in range(len(pieces) - 1, len(joins) + 1):
            for edges in combinations(joins, size):
                if _is_tree(edges, pieces):
                    yield from product(*(joins[edge] for edge in edges))

    def _cost(
        self, net: Net, graph: LoomGraph, stations: Sequence[Station], chosen: tuple[Mating, ...]
    ) -> tuple[int, float, int]:
        """Cavities kept elsewhere, metres as they count, matings."""
        kept = sum((m.key, net.signal, net.section) in self.kept for m in chosen)
        points: dict[int, list[Station]] = {}
        halves = [graph.index[node] for m in chosen for node in (m.a, m.b)]
        for piece, station in [
            *((graph.pieces[i], graph.station[i]) for i in halves),
            *((graph.core.piece[s.core], s) for s in stations),
        ]:
            points.setdefault(piece, []).append(station)
        return -kept, round(sum(_least_tree(graph, at) for at in points.values()), 6), len(chosen)

    def _divided(
        self, net: Net, graph: LoomGraph, there: list[tuple[End, int]], chosen: tuple[Mating, ...]
    ) -> Crossing:
        own: dict[int, list[End]] = {graph.pieces[there[0][1]]: []}
        at = dict(there)
        first = next(iter(own))
        for end in net.whole:
            own.setdefault(graph.pieces[at[end]] if end in at else first, []).append(end)
        beside: dict[int, list[tuple[str, int, str]]] = {}  # piece -> (half here, piece behind, half there)
        for m in chosen:
            a, b = (graph.pieces[graph.index[node]] for node in (m.a, m.b))
            beside.setdefault(a, []).append((m.a, b, m.b))
            beside.setdefault(b, []).append((m.b, a, m.a))

        def behind(piece: int, back: int) -> tuple[End, ...]:
            found = list(own.get(piece, ()))
            for _, far, _ in beside[piece]:
                found += behind(far, piece) if far != back else ()
            return tuple(found)

        parts, todo = [], [(first, "")]
        while todo:
            piece, entry = todo.pop(0)
            halves = tuple((half, behind(far, piece)) for half, far, _ in beside[piece])
            parts.append(Part(tuple(own.get(piece, ())), halves, entry))
            todo += [(far, half) for here, far, half in beside[piece] if here != entry]
        return Crossing(net, chosen, tuple(parts))


def _is_tree(edges: Sequence[tuple[int, int]], pieces: frozenset[int]) -> bool:
    """Whether these edges form one tree that has all of these pieces, and no leaf that is none of them."""
    degree: dict[int, int] = {}
    root: dict[int, int] = {}

    def find(piece: int) -> int:
        while root.setdefault(piece, piece) != piece:
            piece = root[piece]
        return piece

    for a, b in edges:
        degree[a], degree[b] = degree.get(a, 0) + 1, degree.get(b, 0) + 1
        one, two = find(a), find(b)
        if one == two:
            return False
        root[one] = two
    return (
        pieces <= degree.keys()
        and len(degree) == len(edges) + 1
        and all(count > 1 or piece in pieces for piece, count in degree.items())
    )


def _least_tree(graph: LoomGraph, stations: Sequence[Station]) -> float:
    """Length of the least tree of direct ways between these stations, in metres as they count (R. C. Prim, 1957)."""
    away = dict.fromkeys(range(1, len(stations)), math.inf)
    total, here = 0.0, 0
    while away:
        for i in away:
            away[i] = min(away[i], graph.between(stations[here], stations[i]))
        here = min(away, key=lambda i: away[i])
        total += away.pop(here)
    return total


def part_net(crossing: Crossing, part: Part, cavity: dict[str, str]) -> Net:
    """The net of one part; ``cavity`` by node, without those halves that got none."""
    halves = [(node, far) for node, far in part.halves if node in cavity]
    return Net(
        crossing.net.signal,
        crossing.net.section,
        (*part.own, *(MatedEnd(node, cavity[node]) for node, _ in halves)),
        part.entry,
        tuple(far for _, far in halves),
    )
