"""The way of a load's current from the supply and back to battery minus, and what it asks of the wires on it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pinmap.core.electrics.components import Bools, Floats, Ints
from pinmap.core.electrics.load_states import Reached
from pinmap.core.electrics.network import Network, Solution
from pinmap.core.electrics.sizing import Demand

_SAME = 1e-7  # what differs by less is the same up to rounding


@dataclass(frozen=True)
class Tree:
    """Ways of least resistance from every node to the nearest root: ``parent`` is the next node, ``up`` the branch to
    it; -1 at roots and where there is no way."""

    parent: Ints
    up: Ints

    @cached_property
    def levels(self) -> list[Ints]:
        """Nodes that have a way, by how many branches it has: 1, 2, and so on."""
        here = np.arange(self.parent.size)
        depth, ahead = (self.parent >= 0).astype(np.int64), np.where(self.parent >= 0, self.parent, here)
        while depth[ahead].any():  # each round doubles how far ``ahead`` looks
            depth, ahead = depth + depth[ahead], ahead[ahead]
        order = np.argsort(depth, kind="stable")
        ends = np.cumsum(np.bincount(depth))
        return np.split(order, ends[:-1])[1:] if depth.size else []

    def sums(self, by_branch: Floats) -> Floats:
        """By node: the sum over its way."""
        out = np.zeros(self.parent.size)
        for nodes in self.levels:
            out[nodes] = out[self.parent[nodes]] + by_branch[self.up[nodes]]
        return out

    def least(self, by_node: Ints, branches: int, none: int) -> Ints:
        """By branch: the least over all nodes whose way it is on, ``none`` where it is on no way."""
        least, out = by_node.copy(), np.full(branches, none)
        for nodes in reversed(self.levels):
            out[self.up[nodes]] = least[nodes]
            np.minimum.at(least, self.parent[nodes], least[nodes])
        return out


class Ways:
    """Ways of least resistance in one solved case, to the supplies and to battery minus. They lead from points at which
    something hangs, as a load's ends do; not from inside a run of elements in series."""

    def __init__(self, network: Network, solution: Solution, wire_ohm: Floats) -> None:
        self.frame = solution.layout.frame
        self.skeleton = skeleton = self.frame.skeleton
        ohm = skeleton.branch_ohm(network.total_ohm(wire_ohm))
        use = solution.layout.reach.active & (self.frame.a != self.frame.b)
        use[skeleton.coils] = False
        blocking = skeleton.branch[solution.blocking_diodes]
        use[blocking[blocking >= 0]] = False
        ids = np.flatnonzero(use)
        low, high = np.minimum(self.frame.a, self.frame.b)[ids], np.maximum(self.frame.a, self.frame.b)[ids]
        order = np.lexsort((ohm[ids], high, low))  # of parallel branches the least resistance stands first
        self._pair, first = np.unique(low[order] * self.frame.count + high[order], return_index=True)
        self._best = ids[order][first]
        self._ohm = ohm[self._best]
        self.to_plus = self._tree(self.frame.plus, self.frame.minus)
        self.to_minus = self._tree(self.frame.minus, self.frame.plus)

    def _tree(self, roots: Bools, walls: Bools) -> Tree:
        count, best = self.frame.count, self._best
        none = np.full(count, -1, dtype=np.int64)
        if not roots.any():
            return Tree(none, none)
        # imported where it is used: it loads for long, and the app can start without
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import dijkstra

        a, b = self.frame.a[best], self.frame.b[best]
        keep = ~(walls[a] | walls[b])
        graph = csr_array((self._ohm[keep], (a[keep], b[keep])), shape=(count, count))
        _, before, _ = dijkstra(
            graph, directed=False, indices=np.flatnonzero(roots), return_predecessors=True, min_only=True
        )
        parent = np.where(before >= 0, before, -1).astype(np.int64)
        here = np.arange(count)
        up = none
        if best.size:
            at = np.searchsorted(self._pair, np.minimum(here, parent) * count + np.maximum(here, parent))
            up = np.where(parent >= 0, best[np.minimum(at, best.size - 1)], -1)
        return Tree(parent, up)

    def node(self, point: int) -> int:
        """The node of a point of the network at which something hangs."""
        return int(self.frame.node[self.skeleton.place[point]])

    def elements(self, point: int, *, to_plus: bool) -> list[int]:
        """Elements on the way from a point, nearest first; empty where there is no way."""
        tree = self.to_plus if to_plus else self.to_minus
        out: list[int] = []
        if self.skeleton.place[point] < 0:
            return out
        here = self.node(point)
        while (branch := int(tree.up[here])) >= 0:
            run = self.skeleton.elements(branch)
            out += run if self.frame.a[branch] == here else reversed(run)
            here = int(tree.parent[here])
        return out


def trace_demand(
    network: Network,
    solution: Solution,
    supply_v: float,
    wire_ohm: Floats,
    length_m: Floats,
    reached: Reached,
    demand: Demand,
) -> None:
    """Adds to ``demand`` what the loads of one case ask of the wires on their ways: how far resistance may grow, and
    the fuse before each wire (the least of those in a row, the greatest over the loads). length_m is the cut
    length of each wire [m]."""
    if not len(reached):
        return
    ways = Ways(network, solution, wire_ohm)
    n, branches = network.n_wires, ways.skeleton.a.size
    node = ways.frame.node[ways.skeleton.place]  # by point; a load's ends are always kept
    feed, back = node[reached.feed], node[reached.back]
    _trace_fuses(network, ways, feed, demand)
    branch = ways.skeleton.branch[:n]
    there = branch >= 0
    amps = np.abs(solution.amps[:n])
    root = np.sqrt(np.maximum(amps, 1e-9))
    voltage, need = reached.plus_v - reached.minus_v, reached.need_v
    dropped = reached.fed_v - reached.plus_v + reached.minus_v

    def on_ways(by_wire: Floats) -> Floats:
        by_branch = np.bincount(branch[there], by_wire[there], branches).astype(float, copy=False)
        return np.asarray(ways.to_plus.sums(by_branch)[feed] + ways.to_minus.sums(by_branch)[back])

    in_wires = on_ways(amps * wire_ohm)
    allowed = supply_v - need
    asks = (allowed > 0) & (in_wires >= 1e-9)
    budget = np.maximum(allowed - (dropped - in_wires), 0.0)
    # Least copper for a given loss along a way: area by the root of the current (Lagrange), whence each wire's share is
    # ``each`` times what its length and current make of it.
    each = np.full(feed.size, np.inf)
    each[asks] = budget[asks] / on_ways(length_m * root)[asks]
    share = length_m / (root * wire_ohm)
    met = voltage >= need - 1e-9  # then no wire on the way is too thin, however it is shared out
    # Whoever asks most of a wire is the one with the least ``each`` below it; of those who ask the same up to rounding
    # the first, however the solution came about.
    order = np.argsort(each.astype(np.float32), kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(order.size)
    each, none = np.append(np.minimum.accumulate(each[order][::-1])[::-1], np.inf), order.size
    for chosen, least_growth in ((asks & met, 1.0), (asks & ~met, 0.0)):
        least = np.full(branches, none)
        for tree, ends in ((ways.to_plus, feed), (ways.to_minus, back)):
            at = np.full(ways.frame.count, none)
            np.minimum.at(at, ends[chosen], rank[chosen])
            least = np.minimum(least, tree.least(at, branches, none))
        which = np.where(there, least[branch], none) if branches else np.full(n, none)
        growth = np.maximum(each[which] * share, least_growth)
        less = growth < demand.growth * (1 - _SAME)
        demand.growth_load[less] = len(demand.loads) + order[which[less]]
        np.minimum(growth, demand.growth, out=demand.growth)
    demand.loads.extend(map(reached.name, range(len(reached))))


def _trace_fuses(network: Network, ways: Ways, feed: Ints, demand: Demand) -> None:
    """The fuse before each wire on the ways to these nodes, walked from the supply on. In by one contact and out by
    another: the unit's driver guards what follows, not the fuse."""
    skeleton, tree, n = ways.skeleton, ways.to_plus, network.n_wires
    fuse_a = np.zeros(network.a.size)
    for fuse, rated_a in network.fuse_rating_a.items():
        fuse_a[fuse] = rated_a
    is_contact = np.zeros(network.a.size, dtype=bool)
    is_contact[n : n + network.n_contacts] = True
    used = np.ones(ways.frame.count, dtype=np.int64)
    used[feed] = 0
    on_way = tree.least(used, skeleton.a.size, 1) == 0
    run, offset = skeleton.runs
    rating, behind_contact = np.zeros(ways.frame.count), np.zeros(ways.frame.count, dtype=bool)
    for level in tree.levels:
        nodes = level[on_way[tree.up[level]]]
        up, parent = tree.up[nodes], tree.parent[nodes]
        length = offset[up + 1] - offset[up]
        forward = ways.frame.a[up] == parent
        amps, contact = rating[parent], behind_contact[parent]
        for step in range(int(length.max(initial=0))):
            on = np.flatnonzero(step < length)
            element = run[np.where(forward[on], offset[up[on]] + step, offset[up[on] + 1] - 1 - step)]
            own, before = fuse_a[element], amps[on]
            before = np.where(contact[on] & is_contact[element], 0.0, before)
            now = np.where(own > 0, np.where(before > 0, np.minimum(before, own), own), before)
            wire = element < n
            demand.fuse_a[element[wire]] = np.maximum(demand.fuse_a[element[wire]], now[wire])
            amps[on], contact[on] = now, is_contact[element]
        rating[nodes], behind_contact[nodes] = amps, contact
