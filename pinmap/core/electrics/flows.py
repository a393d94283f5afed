"""What single loads send through the wires of a solved load case, for each ampere that they draw more.

Supplies and battery minus are held, as they are for any small change of current. They part the network into islands,
and a load acts in those of its two ends alone: so loads in different islands share one right-hand side, and the cost
does not grow with loads times wires.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pinmap.core.electrics.components import LEAST_OHM, Bools, Floats, Ints, Network
from pinmap.core.electrics.matrix import Entries, Factors
from pinmap.core.electrics.skeleton import labels
from pinmap.core.electrics.solution import Solution

_LEAK_S = 1e-9  # keeps what hangs on nothing solvable
_AT_ONCE = 32  # right-hand sides solved together, which bounds the memory


@dataclass(frozen=True)
class Flow:
    """Pairs of a wire and a load, by place among those asked for: the current in the wire from its end a to its end b
    for each ampere that the load draws."""

    wires: Ints
    load: Ints
    per_ampere: Floats


def flows(network: Network, solution: Solution, wire_ohm: Floats, which: Ints) -> Iterator[Flow]:
    """The wires that each of these fed loads acts on, by place in ``layout.fed``; several loads at a time."""
    frame, skeleton = solution.layout.frame, solution.layout.frame.skeleton
    linear = _Linear.of(network, solution, wire_ohm)
    if not linear.free.any():
        return
    feed = frame.node[skeleton.feed[solution.layout.fed[which]]]
    back = frame.node[skeleton.back[solution.layout.fed[which]]]
    wires = _WiresByIsland.of(network, solution, linear)
    side = _sides(linear.island[feed], linear.island[back], frame.count)
    factors = linear.factors()
    for first in range(0, int(side.max()) + 1, _AT_ONCE):
        chosen = np.flatnonzero((side >= first) & (side < first + _AT_ONCE))
        push = np.zeros((frame.count, int(side[chosen].max()) - first + 1))
        for ends, sign in ((feed, -1.0), (back, 1.0)):
            np.add.at(push, (ends[chosen], side[chosen] - first), sign)
        volts = factors.solve(push)
        of_feed, of_back = linear.island[feed[chosen]], linear.island[back[chosen]]
        one, other = of_feed >= 0, (of_back >= 0) & (of_back != of_feed)
        at, nth = wires.of_islands(np.concatenate([of_feed[one], of_back[other]]))
        load = np.concatenate([chosen[one], chosen[other]])[nth]
        wire = wires.wire[at]
        branch = skeleton.branch[wire]
        a, b, k = frame.a[branch], frame.b[branch], side[load] - first
        yield Flow(wire, load, skeleton.along[wire] * (volts[a, k] - volts[b, k]) * linear.branch_g[branch])


def _sides(of_feed: Ints, of_back: Ints, islands: int) -> Ints:
    """A right-hand side for each load, so that no two of one side have an island in common; -1 is no island."""
    taken = [0] * islands
    out = []
    for pair in zip(of_feed.tolist(), of_back.tolist(), strict=True):
        own = {island for island in pair if island >= 0}
        side = max((taken[island] for island in own), default=0)
        for island in own:
            taken[island] = side + 1
        out.append(side)
    return np.array(out, dtype=np.int64)


@dataclass(frozen=True)
class _Linear:
    """The case as conductances [S] between nodes: ``g`` from p to q; ``branch_g`` by branch, 0 where none conducts.
    ``free`` nodes are not held; ``island`` by node, -1 for held ones."""

    p: Ints
    q: Ints
    g: Floats
    branch_g: Floats
    free: Bools
    island: Ints

    @staticmethod
    def of(network: Network, solution: Solution, wire_ohm: Floats) -> _Linear:
        frame, skeleton = solution.layout.frame, solution.layout.frame.skeleton
        node = frame.node[skeleton.place]  # by point of the network
        use = solution.layout.reach.active & (frame.a != frame.b)
        blocking = skeleton.branch[solution.blocking_diodes]
        use[blocking[blocking >= 0]] = False
        branch_g = np.where(use, 1 / skeleton.branch_ohm(network.total_ohm(wire_ohm)), 0.0)
        ground = int(np.argmax(frame.minus))
        ties = [
            (int(node[s.plus]), int(node[s.minus]) if s.minus >= 0 else ground, 1 / max(s.ohm, LEAST_OHM))
            for s, flows_a in solution.sources if flows_a
        ]  # fmt: skip
        ties += [(int(node[r.out]), int(node[r.ground]), 1 / r.ohm) for r, _ in solution.references]
        p = np.concatenate([frame.a[use], np.array([t[0] for t in ties], dtype=np.int64)])
        q = np.concatenate([frame.b[use], np.array([t[1] for t in ties], dtype=np.int64)])
        g = np.concatenate([branch_g[use], np.array([t[2] for t in ties], dtype=float)])
        free = ~frame.held
        inner = free[p] & free[q]
        island = np.where(free, labels(frame.count, p[inner], q[inner]), -1)
        return _Linear(p=p, q=q, g=g, branch_g=branch_g, free=free, island=island)

    def factors(self) -> Factors:
        """Factors of the matrix of the free nodes, each tied by a leak to one more node, which is held."""
        free, count = np.flatnonzero(self.free), self.free.size
        p, q = np.concatenate([self.p, free]), np.concatenate([self.q, np.full(free.size, count)])
        return Entries.of(p, q, free, count + 1).factorise(np.concatenate([self.g, np.full(free.size, _LEAK_S)]))


@dataclass(frozen=True)
class _WiresByIsland:
    """Wires in the order of their islands; where each island begins among them, and how many it has."""

    wire: Ints
    begin: Ints
    size: Ints

    @staticmethod
    def of(network: Network, solution: Solution, linear: _Linear) -> _WiresByIsland:
        frame, skeleton = solution.layout.frame, solution.layout.frame.skeleton
        wire = np.flatnonzero(skeleton.branch[: network.n_wires] >= 0)
        branch = skeleton.branch[wire]
        one, other = linear.island[frame.a[branch]], linear.island[frame.b[branch]]
        island = np.where(one >= 0, one, other)
        wire, island = wire[island >= 0], island[island >= 0]
        size = np.bincount(island, minlength=frame.count)
        return _WiresByIsland(wire[np.argsort(island, kind="stable")], np.cumsum(size) - size, size)

    def of_islands(self, islands: Ints) -> tuple[Ints, Ints]:
        """All wires of each of these islands in turn, by place in ``wire``; and which island, by place."""
        size = self.size[islands]
        nth = np.repeat(np.arange(islands.size), size)
        ahead = np.cumsum(size) - size
        return (self.begin[islands] - ahead)[nth] + np.arange(nth.size), nth
