"""The least current that any good choice of sizes sends through each wire in a load case.

A wire whose removal parts the network in two, one side holding every supply and every way to battery minus, carries
just what the loads with one end on the other side draw, whatever the sizes: Kirchhoff's law over the cut. Loads of
constant resistance or power draw at least a known share of what they draw here. A wire in a loop shares with others as
sizes have it, and counts as nothing by itself; a set of such wires that parts the network carries together what the
loads behind it draw.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any, NamedTuple

import networkx as nx
import numpy as np

from pinmap.core.electrics.heat import Floats
from pinmap.core.electrics.network import Network, Solution
from pinmap.core.electrics.results import LoadState
from pinmap.core.electrics.skeleton import labels

_WEAK_OHM = 1.0  # an element of more than this, other than a wire, counts as a load of which only the most is known
_EQUAL_A = 1e-9
_LEAST_SHARE = 0.1


class _Pull(NamedTuple):
    """What a load draws between two points: least and most [A], the share of its current here that it keeps; paused:
    it is not on for long enough to heat a wire fully."""

    feed: int
    back: int
    least_a: float
    most_a: float
    kept: float
    paused: bool


class Cuts:
    """One network in one solved load case, contracted to its wires."""

    def __init__(
        self, network: Network, solution: Solution, states: Sequence[LoadState], share: Mapping[str, float]
    ) -> None:
        """``states`` are the loads' in this case, ``share`` the least share of its current that each keeps."""
        self.network, self.solution = network, solution
        other = np.arange(network.a.size) >= network.n_wires
        firm = other & solution.active & (network.ohm < _WEAK_OHM)
        firm[network.diodes] = True
        firm[network.coils] = False
        self.weak = np.flatnonzero(other & solution.active & ~firm).tolist()
        held = [p for p, _ in (*network.plus, *network.minus)]
        held += [p for s in network.sources for p in (s.plus, s.minus) if p >= 0]
        carried = [(r.supply, r.out) for r in network.references if r.supply >= 0 and r.out >= 0]
        one_a, one_b = network.joined(solution.case.code)
        pairs = np.array([*((held[0], p) for p in held[1:]), *carried], dtype=np.int64).reshape(-1, 2)
        starts = np.concatenate([network.a[firm], one_a, pairs[:, 0]])
        ends = np.concatenate([network.b[firm], one_b, pairs[:, 1]])
        self.node: list[int] = labels(len(network.points), starts, ends).tolist()
        self.root = self.node[held[0]] if held else -1
        self.above = self._above()
        self.pulls = self._pulls(states, share)
        self._together: dict[frozenset[int], list[tuple[frozenset[int], float]]] = {}

    def _above(self) -> dict[int, tuple[int, int]]:
        """By node: the next node towards the root and the wire to it, -1 for one in a loop."""
        graph: nx.MultiGraph[Any] = nx.MultiGraph()
        self.graph = graph
        graph.add_nodes_from(self.node)
        for i, (a, b) in enumerate(zip(self.network.a.tolist(), self.network.b.tolist(), strict=True)):
            if i < self.network.n_wires and self.node[a] != self.node[b]:
                graph.add_edge(self.node[a], self.node[b], i)
        single = {frozenset(pair) for pair in nx.bridges(graph)}
        if self.root < 0:
            return {}
        return {
            far: (near, int(next(iter(graph[near][far]))) if frozenset((near, far)) in single else -1)
            for near, far in nx.bfs_edges(graph, self.root)
        }

    def _wires(self, point: int) -> frozenset[int]:
        """Bridges from a point up to the supplies."""
        at, out = self.node[point], []
        while at in self.above:
            at, wire = self.above[at]
            out.append(wire)
        return frozenset(out) - {-1}

    def _pulls(self, states: Sequence[LoadState], share: Mapping[str, float]) -> list[_Pull]:
        index, paused = self.network.index, set()
        for load in self.network.loads:
            draw = load.draw(self.solution.case.code)
            if draw is not None and draw.on_s > 0:
                paused.add(load.key)
        found = [
            _Pull(
                index[s.feed], index[s.back], abs(s.current_a) * share[s.load],
                abs(s.current_a) / max(share[s.load], _LEAST_SHARE), share[s.load], s.load in paused,
            )
            for s in states
        ]  # fmt: skip
        known = {frozenset((p.feed, p.back)) for p in found}
        for e in self.weak:
            a, b = int(self.network.a[e]), int(self.network.b[e])
            if frozenset((a, b)) not in known:
                most_a = self.solution.case.supply_v / float(self.network.ohm[e])
                found += [_Pull(a, b, 0.0, most_a, 1.0, False), _Pull(b, a, 0.0, most_a, 1.0, False)]
        return found

    def least(self, heating_a: Floats) -> tuple[Floats, Floats]:
        """By wire: least mean and least heating current [A], from what heats each wire here."""
        n = self.network.n_wires
        least, most, kept = np.zeros((2, n)), np.zeros((2, n)), np.ones(n)
        for pull in self.pulls:
            down, up = self._wires(pull.feed), self._wires(pull.back)
            for way, direction in ((down - up, 0), (up - down, 1)):
                at = list(way)
                least[direction, at] += pull.least_a
                most[direction, at] += pull.most_a
                kept[at] = np.minimum(kept[at], pull.kept)
        amps = np.maximum(least - most[::-1], 0.0).max(axis=0)
        # A wire on which nothing pulses is heated by its mean current whatever the sizes; where loads pull both ways,
        # ripple and pauses of one may be those of another.
        steady = np.abs(heating_a - np.abs(self.solution.amps[:n])) <= _EQUAL_A
        one_way = (most.min(axis=0) <= _EQUAL_A) & (most.max(axis=0) > 0)
        return amps, np.asarray(np.where(steady, amps, np.where(one_way, kept * heating_a, 0.0)))

    @cached_property
    def looped(self) -> frozenset[int]:
        """Wires in loops."""
        bridges = {wire for _, wire in self.above.values()}
        return frozenset(i for *_, i in self.graph.edges(keys=True)) - bridges

    def together(self, wires: frozenset[int]) -> list[tuple[frozenset[int], float]]:
        """Sets of some of these looped wires that part the network, none in two sets, and what each set carries at the
        least [A]: the sum of its wires' currents, and of what heats them, with pauses left out."""
        if self.root < 0:
            return []
        if wires not in self._together:
            self._together[wires] = self._sets(wires)
        return self._together[wires]

    def _sets(self, wires: frozenset[int]) -> list[tuple[frozenset[int], float]]:
        n = self.network.n_wires
        node = np.array(self.node, dtype=np.int64)
        a, b = node[self.network.a[:n]], node[self.network.b[:n]]
        cut = np.zeros(n, dtype=bool)
        cut[list(wires)] = True
        count = int(node.max(initial=0)) + 1
        island = labels(count, a[~cut], b[~cut])
        away = island != island[max(self.root, 0)]
        tied = cut & away[a] & away[b]
        group = labels(count, np.concatenate([a[~cut], a[tied]]), np.concatenate([b[~cut], b[tied]]))
        out = []
        for behind in sorted({int(group[x]) for i in np.flatnonzero(cut) for x in (a[i], b[i]) if away[x]}):
            edge = frozenset(np.flatnonzero((group[a] == behind) != (group[b] == behind)).tolist())
            one_way, other_way = 0.0, 0.0
            most_one, most_other = 0.0, 0.0
            for pull in self.pulls:
                feed, back = group[self.node[pull.feed]] == behind, group[self.node[pull.back]] == behind
                least = 0.0 if pull.paused else pull.least_a
                if feed and not back:
                    one_way, most_one = one_way + least, most_one + pull.most_a
                elif back and not feed:
                    other_way, most_other = other_way + least, most_other + pull.most_a
            amps = max(one_way - most_other, other_way - most_one, 0.0)
            if amps > 0 and edge <= wires:
                out.append((edge, amps))
        return out
