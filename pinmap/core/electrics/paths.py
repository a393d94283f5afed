"""The way of a load's current from the supply and back to battery minus, and what it asks of the wires on it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from pinmap.core.electrics.heat import Floats
from pinmap.core.electrics.network import Ints, Network, Solution
from pinmap.core.electrics.results import LoadState
from pinmap.core.electrics.sizing import Demand


class Ways:
    """Ways of least resistance in one solved case, to the supplies and to battery minus."""

    def __init__(self, network: Network, solution: Solution, wire_ohm: Floats) -> None:
        self.node = solution.node
        count = int(self.node.max()) + 1 if self.node.size else 0
        a, b = self.node[network.a], self.node[network.b]
        ohm = network.ohm.copy()
        ohm[: network.n_wires] = wire_ohm + network.joint_ohm
        use = solution.active.copy()
        use[network.coils] = False
        use &= a != b
        ids = np.flatnonzero(use)
        low, high = np.minimum(a, b)[ids], np.maximum(a, b)[ids]
        order = np.lexsort((ohm[ids], high, low))  # of parallel elements the least resistance stands first
        pair, first = np.unique(low[order] * count + high[order], return_index=True)
        best = ids[order][first]
        self._element = dict(zip(pair.tolist(), best.tolist(), strict=True))
        self._count = count
        self._a, self._b, self._ohm = np.minimum(a, b)[best], np.maximum(a, b)[best], ohm[best]
        fixed_plus = np.unique(self.node[solution.plus_points])
        fixed_minus = np.unique(self.node[solution.minus_points])
        self._to_plus = self._tree(fixed_plus, fixed_minus)
        self._to_minus = self._tree(fixed_minus, fixed_plus)

    def _tree(self, roots: Ints, walls: Ints) -> list[int]:
        if not roots.size:
            return [-1] * self._count
        # imported where it is used: it loads for long, and the app can start without
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import dijkstra

        blocked = np.zeros(self._count, dtype=bool)
        blocked[walls] = True
        keep = ~(blocked[self._a] | blocked[self._b])
        graph = coo_array((self._ohm[keep], (self._a[keep], self._b[keep])), shape=(self._count, self._count)).tocsr()
        _, before, _ = dijkstra(graph, directed=False, indices=roots, return_predecessors=True, min_only=True)
        return [int(x) for x in before]

    def elements(self, point: int, *, to_plus: bool) -> list[int]:
        """Elements on the way from a point, nearest first; empty where there is no way."""
        before = self._to_plus if to_plus else self._to_minus
        here = int(self.node[point])
        out = []
        while before[here] >= 0:
            after = before[here]
            out.append(self._element[min(here, after) * self._count + max(here, after)])
            here = after
        return out


def trace_demand(
    network: Network,
    solution: Solution,
    supply_v: float,
    wire_ohm: Floats,
    length_m: Floats,
    states: Iterable[LoadState],
    demand: Demand,
) -> None:
    """Adds to ``demand`` what the loads of one case ask of the wires on their ways: how far resistance may grow, and
    the fuse before each wire (the least of those in a row, the greatest over the loads). length_m is the cut
    length of each wire [m]."""
    ways = Ways(network, solution, wire_ohm)
    n = network.n_wires
    contacts = range(n, n + network.n_contacts)
    drop = np.abs(solution.amps[:n]) * wire_ohm
    for state in states:
        feed = ways.elements(network.index[state.feed], to_plus=True)
        back = ways.elements(network.index[state.back], to_plus=False)
        rating, before = 0.0, -1
        for element in reversed(feed):  # from the supply on
            if before in contacts and element in contacts:
                rating = (
                    0.0  # in by one contact and out by another: the unit's driver guards what follows, not the fuse
                )
            before = element
            fuse = network.fuse_rating_a.get(element)
            if fuse is not None:
                rating = min(rating, fuse) if rating else fuse
            elif element < n and rating > demand.fuse_a[element]:
                demand.fuse_a[element] = rating
        allowed = supply_v - state.need_v
        on_way = [e for e in (*feed, *back) if e < n]
        in_wires = float(drop[on_way].sum())
        if allowed <= 0 or in_wires < 1e-9:
            continue
        elsewhere = state.feed_drop_v + state.return_drop_v - in_wires
        budget = max(allowed - elsewhere, 0.0)
        # Least copper for a given loss along a way: area by the root of the current (Lagrange), whence each share.
        root = np.sqrt(np.maximum(np.abs(solution.amps[on_way]), 1e-9))
        length = length_m[on_way]
        ohm_allowed = budget * length / (root * float((length * root).sum()))
        met = state.voltage_v >= state.need_v - 1e-9  # then no wire on the way is too thin, however it is shared out
        for element, share in zip(on_way, (ohm_allowed / wire_ohm[on_way]).tolist(), strict=True):
            growth = max(share, 1.0) if met else share
            if growth < demand.growth[element]:
                demand.growth[element] = growth
                demand.growth_load[element] = state.load
