"""What single loads send through the wires of a solved load case, for each ampere that they draw more.

Supplies and battery minus are held, as they are for any small change of current. Where a branch alone joins a piece to
the rest, what a load in that piece draws flows through it whole; so the circuit is peeled, leaf by leaf, and each
load's ends move with its current, until only rings are left. Loads whose current enters the rings at the same nodes are
one there. Held nodes part the rings into islands; what acts in different islands shares one right-hand side. So the
cost does not grow with loads times wires.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pinmap.core.electrics.components import LEAST_OHM, Bools, Floats, Ints, Network
from pinmap.core.electrics.matrix import Entries, Factors
from pinmap.core.electrics.skeleton import labels
from pinmap.core.electrics.solution import Solution

_LEAK_S = 1e-9  # keeps what hangs on nothing solvable
_AT_ONCE = 32  # right-hand sides solved together, which bounds the memory


class Flows:
    """The currents that these fed loads, by place in ``layout.fed``, send through the wires."""

    def __init__(self, network: Network, solution: Solution, wire_ohm: Floats, which: Ints) -> None:
        frame, skeleton = solution.layout.frame, solution.layout.frame.skeleton
        self._circuit = circuit = _Circuit.of(network, solution, wire_ohm)
        peel = _Peel.of(circuit)
        fed = solution.layout.fed[which]
        self._walk = walk = _Walk.of(circuit, peel, frame.node[skeleton.feed[fed]], frame.node[skeleton.back[fed]])
        self._rings = _Rings(circuit, peel, walk)
        self._branch, self._along = skeleton.branch[: network.n_wires], skeleton.along[: network.n_wires]

    @property
    def pairs(self) -> int:
        """In how many different ways the loads act in the rings."""
        return int(self._rings.feed.size)

    def sums(self, amps: Floats) -> Floats:
        """By wire, from its end a to its end b [A]: all that flows while the loads draw ``amps``, one each."""
        walk, count = self._walk, self._circuit.g.size
        found = np.bincount(walk.edge, walk.sign * amps[walk.load], count).astype(float, copy=False)
        return self._by_wire(found + self._rings.sums(amps)) * self._along

    def squares(self, weights: Floats) -> Floats:
        """By wire: the squares of what flows for an ampere of each load, times the load's weight, summed."""
        walk, count = self._walk, self._circuit.g.size
        found = np.bincount(walk.edge, weights[walk.load], count).astype(float, copy=False)
        return self._by_wire(found + self._rings.squares(weights))

    def _by_wire(self, by_edge: Floats) -> Floats:
        by_branch = np.zeros(self._circuit.use.size)
        by_branch[self._circuit.use] = by_edge[: np.count_nonzero(self._circuit.use)]
        return np.where(self._branch >= 0, by_branch[self._branch], 0.0)


@dataclass(frozen=True)
class _Circuit:
    """The case as conductances ``g`` [S] from node ``p`` to node ``q``: first the branches in ``use``, then sources and
    references. ``free`` nodes are not held; the last node is held, and no branch leads to it."""

    p: Ints
    q: Ints
    g: Floats
    use: Bools
    free: Bools

    @staticmethod
    def of(network: Network, solution: Solution, wire_ohm: Floats) -> _Circuit:
        frame, skeleton = solution.layout.frame, solution.layout.frame.skeleton
        node = frame.node[skeleton.place]  # by point of the network
        use = solution.layout.reach.active & (frame.a != frame.b)
        blocking = skeleton.branch[solution.blocking_diodes]
        use[blocking[blocking >= 0]] = False
        ground = int(np.argmax(frame.minus))
        ties = [
            (int(node[s.plus]), int(node[s.minus]) if s.minus >= 0 else ground, 1 / max(s.ohm, LEAST_OHM))
            for s, flows_a in solution.sources if flows_a
        ]  # fmt: skip
        ties += [(int(node[r.out]), int(node[r.ground]), 1 / r.ohm) for r, _ in solution.references]
        branch_ohm = skeleton.branch_ohm(network.total_ohm(wire_ohm))
        return _Circuit(
            p=np.concatenate([frame.a[use], np.array([t[0] for t in ties], dtype=np.int64)]),
            q=np.concatenate([frame.b[use], np.array([t[1] for t in ties], dtype=np.int64)]),
            g=np.concatenate([1 / branch_ohm[use], np.array([t[2] for t in ties], dtype=float)]),
            use=use,
            free=np.append(~frame.held, False),
        )


@dataclass(frozen=True)
class _Peel:
    """A circuit peeled leaf by leaf: ``up`` by node is the edge that it hung on and ``turn`` the round in which it
    went, both -1 for those that stay; ``left`` are the edges that stay."""

    up: Ints
    turn: Ints
    rounds: int
    left: Ints

    @staticmethod
    def of(circuit: _Circuit) -> _Peel:
        p, q, count = circuit.p, circuit.q, circuit.free.size
        up, turn, rounds = np.full(count, -1), np.full(count, -1), 0
        left = np.flatnonzero((p != q) & (circuit.free[p] | circuit.free[q]))
        degree = np.bincount(p[left], minlength=count) + np.bincount(q[left], minlength=count)
        while True:
            leaf = circuit.free & (degree == 1)
            by_p = leaf[p[left]]
            goes = by_p | leaf[q[left]]  # of two that hang on each other alone one stays
            if not goes.any():
                return _Peel(up, turn, rounds, left)
            edge = left[goes]
            child = np.where(by_p[goes], p[edge], q[edge])
            up[child], turn[child] = edge, rounds
            degree -= np.bincount(p[edge], minlength=count) + np.bincount(q[edge], minlength=count)
            left, rounds = left[~goes], rounds + 1


@dataclass(frozen=True)
class _Walk:
    """The ways of loads' currents through what was peeled: pairs of an ``edge`` and a ``load``, ``sign`` 1 where the
    current runs from the edge's p to its q. ``feed`` and ``back`` by load are where it leaves and enters the rings; the
    last node where it does not."""

    edge: Ints
    load: Ints
    sign: Floats
    feed: Ints
    back: Ints

    @staticmethod
    def of(circuit: _Circuit, peel: _Peel, feed: Ints, back: Ints) -> _Walk:
        p, q, nowhere = circuit.p, circuit.q, circuit.free.size - 1
        feed, back = feed.copy(), back.copy()
        none = np.zeros(0, dtype=np.int64)
        steps: list[tuple[Ints, Ints, Floats]] = [(none, none, np.zeros(0))]
        for turn in range(peel.rounds):
            met = feed == back  # from here on its current goes round no more
            feed[met] = back[met] = nowhere
            for at, outward in ((feed, 1.0), (back, -1.0)):
                load = np.flatnonzero(peel.turn[at] == turn)
                edge = peel.up[at[load]]
                steps.append((edge, load, np.where(q[edge] == at[load], outward, -outward)))
                at[load] = p[edge] + q[edge] - at[load]
        in_rings = np.zeros(nowhere + 1, dtype=bool)
        in_rings[p[peel.left]] = in_rings[q[peel.left]] = True
        in_rings &= circuit.free
        stranded = np.zeros(feed.size, dtype=bool)  # where no way leads to a held node: nothing can flow
        for at in (feed, back):
            stranded |= circuit.free[at] & ~in_rings[at]
            at[~in_rings[at]] = nowhere
        met = feed == back
        feed[met] = back[met] = nowhere
        edge, load, sign = (np.concatenate(column) for column in zip(*steps, strict=True))
        there = ~stranded[load]
        return _Walk(edge[there], load[there], sign[there], feed, back)


class _Rings:
    """What is left of a circuit, and the loads that act in it: those between the same two nodes are one ``pair``."""

    def __init__(self, circuit: _Circuit, peel: _Peel, walk: _Walk) -> None:
        self.circuit, self.left = circuit, peel.left
        self.p, self.q, self.g = circuit.p[peel.left], circuit.q[peel.left], circuit.g[peel.left]
        count = circuit.free.size
        self.load = np.flatnonzero(walk.feed != walk.back)
        pairs, self.pair = np.unique(walk.feed[self.load] * count + walk.back[self.load], return_inverse=True)
        self.feed, self.back = pairs // count, pairs % count

    def sums(self, amps: Floats) -> Floats:
        """By edge, from its p to its q, what flows with these currents of the loads [A]."""
        each = np.bincount(self.pair, amps[self.load], self.feed.size).astype(float, copy=False)
        return self._spread(self._flows(each, np.zeros(self.feed.size, dtype=np.int64))[:, 0])

    def squares(self, weights: Floats) -> Floats:
        """By edge, the sum of the squares of what flows for an ampere of each load, times its weight."""
        root = np.sqrt(np.bincount(self.pair, weights[self.load], self.feed.size))
        found = np.zeros(self.left.size)
        for first in range(0, int(self._side.max(initial=-1)) + 1, _AT_ONCE):
            chosen = (self._side >= first) & (self._side < first + _AT_ONCE)
            amps = self._flows(np.where(chosen, root, 0.0), (self._side - first) * chosen)
            found += np.einsum("ij,ij->i", amps, amps)
        return self._spread(found)

    def _flows(self, amps: Floats, side: Ints) -> Floats:
        """By remaining edge and right-hand side, with each pair's current in the side given for it [A]."""
        push = np.zeros((self.circuit.free.size, int(side.max(initial=0)) + 1))
        if not amps.any():
            return np.zeros((self.left.size, push.shape[1]))
        np.add.at(push, (self.feed, side), -amps)
        np.add.at(push, (self.back, side), amps)
        volts = self._factors.solve(push)
        return np.asarray(self.g[:, None] * (volts[self.p] - volts[self.q]))

    def _spread(self, found: Floats) -> Floats:
        out = np.zeros(self.circuit.g.size)
        out[self.left] = found
        return out

    @cached_property
    def _factors(self) -> Factors:
        """Of the matrix of the free nodes, each tied by a leak to the last node, which is held."""
        free = self.circuit.free.copy()
        free[:-1] &= np.bincount(np.concatenate([self.p, self.q]), minlength=free.size)[:-1] > 0
        rows, nowhere = np.flatnonzero(free), free.size - 1
        p, q = np.concatenate([self.p, rows]), np.concatenate([self.q, np.full(rows.size, nowhere)])
        return Entries.of(p, q, rows, free.size).factorise(np.concatenate([self.g, np.full(rows.size, _LEAK_S)]))

    @cached_property
    def _side(self) -> Ints:
        """A right-hand side for each pair, so that no two of one side have an island in common."""
        free = self.circuit.free
        inner = free[self.p] & free[self.q]
        island = np.where(free, labels(free.size, self.p[inner], self.q[inner]), -1)
        taken = [0] * free.size
        out = []
        for ends in zip(island[self.feed].tolist(), island[self.back].tolist(), strict=True):
            own = {i for i in ends if i >= 0}
            side = max((taken[i] for i in own), default=0)
            for i in own:
                taken[i] = side + 1
            out.append(side)
        return np.array(out, dtype=np.int64)
