"""Nets of equally many ends in one graph, as arrays, so that their splices can be sought together; see ``splices``.

The last axis of every array is the net. A splice may sit at a node of the graph, or in the run of one of the net's own
end nodes (a slot); both are columns of ``to_place``, nodes first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pinmap.core.loom.core_graph import CoreGraph
from pinmap.core.loom.splice_task import COPPER_G, HAIR, Joints, SpliceLimits, SplicePlan, SpliceTask
from pinmap.core.loom.splices_large import tidy
from pinmap.core.loom.stations import Floats, Ints

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class SpliceNets:
    """``at``, ``leaf``, ``out_w``: where each end lies, as in ``Station``, and ``mm2`` its wire, shape (ends, nets).
    ``cap_mm2``: no trunk need be larger, shape (nets,). ``may``: whether a splice may sit at a node of the graph, shape
    (nodes, nets). ``slot_end``: the end in whose run a slot lies; ``slot_w``: how far out, as it counts, infinite
    for none, shape (slots, nets)."""

    graph: CoreGraph
    limits: SpliceLimits
    at: Ints
    leaf: Ints
    out_w: Floats
    mm2: Floats
    cap_mm2: Floats
    may: Bools
    slot_end: Ints
    slot_w: Floats

    @property
    def count(self) -> int:
        return len(self.cap_mm2)

    @property
    def ends(self) -> int:
        return len(self.at)

    def take(self, which: Ints) -> SpliceNets:
        """Some of the nets."""
        return SpliceNets(
            self.graph, self.limits, self.at[:, which], self.leaf[:, which], self.out_w[:, which], self.mm2[:, which],
            self.cap_mm2[which], self.may[:, which], self.slot_end[:, which], self.slot_w[:, which],
        )  # fmt: skip

    # Metres, as they count

    @cached_property
    def slot_at(self) -> Ints:
        return np.take_along_axis(self.at, self.slot_end, axis=0)

    @cached_property
    def slot_leaf(self) -> Ints:
        return np.take_along_axis(self.leaf, self.slot_end, axis=0)

    def to_place(self, end: int) -> Floats:
        """From one end to each place, infinite to what is none, shape (nodes + slots, nets)."""
        nodes = self.graph.size
        out = np.empty((nodes + len(self.slot_w), self.count))
        np.take(self.graph.distance, self.at[end], axis=1, out=out[:nodes])
        out[nodes:] = self.graph.distance[self.slot_at, self.at[end]] + self.slot_w
        out += self.out_w[end]
        same = self.slot_leaf == self.leaf[end]
        same &= self.leaf[end] >= 0
        out[nodes:][same] = np.abs(self.slot_w - self.out_w[end])[same]
        return out

    @cached_property
    def column_at(self) -> Ints:
        """The node at or behind each column, shape (nodes + slots, nets)."""
        nodes = np.broadcast_to(np.arange(self.graph.size)[:, None], (self.graph.size, self.count))
        return np.concatenate((nodes, self.slot_at))

    @cached_property
    def column_w(self) -> Floats:
        return np.concatenate((np.zeros((self.graph.size, self.count)), self.slot_w))

    def from_place(self, net: Ints, column: Ints) -> Floats:
        """From the place in one column of each of these nets to every place of that net, shape (such, columns)."""
        nodes, at = self.graph.size, self.column_at[column, net]
        out = np.empty((len(net), len(self.column_at)))
        np.take(self.graph.distance, at, axis=0, out=out[:, :nodes])
        out[:, nodes:] = self.graph.distance[self.slot_at[:, net], at].T + self.slot_w[:, net].T
        out += self.column_w[column, net][:, None]
        out[np.arange(len(net)), column] = 0.0
        return out

    def from_end(self, net: Ints, end: Ints, column: Ints) -> Floats:
        """From these ends of these nets to the places in these columns; all of one shape, or made so."""
        net, end, column = np.broadcast_arrays(net, end, column)
        out: Floats = self.graph.distance[self.at[end, net], self.column_at[column, net]]
        out = out + self.out_w[end, net] + self.column_w[column, net]
        slot = column >= self.graph.size
        if slot.any():
            its_leaf = self.slot_leaf[np.maximum(column - self.graph.size, 0), net]
            same = slot & (its_leaf == self.leaf[end, net])
            out[same] = np.abs(self.out_w[end, net] - self.column_w[column, net])[same]
        return out

    @cached_property
    def widest(self) -> Floats:
        """Between the two ends that lie farthest apart, shape (nets,)."""
        found = np.zeros(self.count)
        for i in range(1, self.ends):
            for j in range(i):
                metres = self.graph.distance[self.at[i], self.at[j]] + self.out_w[i] + self.out_w[j]
                same = (self.leaf[i] == self.leaf[j]) & (self.leaf[i] >= 0)
                np.maximum(found, np.where(same, np.abs(self.out_w[i] - self.out_w[j]), metres), out=found)
        return found

    # Plans of one splice, and what any plan must pay

    def one_splice(self) -> tuple[Ints, Floats]:
        """The best place for all ends in one splice, by column, and the copper [g], shape (nets,) each."""
        copper = self.mm2[0] * self.to_place(0)
        for end in range(1, self.ends):
            copper += self.mm2[end] * self.to_place(end)
        copper[: self.graph.size][~self.may] = math.inf
        least = copper.min(axis=0)
        return (copper <= least + HAIR).argmax(axis=0), COPPER_G * least

    def least_copper_g(self) -> Floats:
        """Copper that any net must have: over each run that is the only way, as much as the smaller side or the cap.

        The need of a cut is the least of three that are concave in what a side adds up to, hence symmetric and
        submodular: however the wires over a run are grouped, they add up to no less.
        """
        runs, total = self.graph.bridges, self.mm2.sum(axis=0)
        far = np.zeros((len(runs.near), self.count))
        for end in range(self.ends):
            far += runs.beyond[:, self.at[end]] * self.mm2[end]
        need = np.minimum(np.minimum(far, total - far), self.cap_mm2)
        least: Floats = self.graph.distance[runs.near, runs.far] @ need
        # Over the run of each end node every wire of its ends goes, or all others' do.
        for end in range(self.ends):
            same = (self.leaf == self.leaf[end]) & (self.leaf[end] >= 0)
            inside = (self.mm2 * same).sum(axis=0)
            first = same.argmax(axis=0) == end
            need = np.minimum(np.minimum(inside, total - inside), self.cap_mm2)
            least += np.where(first & (self.leaf[end] >= 0), self.out_w[end] * need, 0.0)
        return COPPER_G * least

    # One net by itself

    def columns(self, net: int) -> Ints:
        """Where a splice of this net may sit. Without places beyond a bridge from all ends: at the bridge's near node
        every wire is shorter. They are kept where that node is no place."""
        may = self.may[:, net] & np.isfinite(self.graph.distance[self.at[0, net]])
        near, far, beyond = self.graph.bridges
        there = beyond[:, self.at[:, net]]
        lost: Bools = np.any(beyond[~there.any(axis=1) & may[near]], axis=0)
        lost |= np.any(~beyond[there.all(axis=1) & may[far]], axis=0)
        slots = self.graph.size + np.flatnonzero(np.isfinite(self.slot_w[:, net]))
        return np.concatenate((np.flatnonzero(may & ~lost), slots))

    def task(self, net: int, columns: Ints) -> SpliceTask:
        """One net with its splices in these columns, which its places then count from 0."""
        one = self.take(np.array([net]))

        return SpliceTask(
            mm2=tuple(one.mm2[:, 0].tolist()),
            to_place=np.stack([one.to_place(end)[columns, 0] for end in range(one.ends)]),
            between=one.from_place(np.zeros_like(columns), columns)[:, columns],
            limits=self.limits,
            cap_mm2=float(one.cap_mm2[0]),
            least_copper_g=lambda: float(one.least_copper_g()[0]),
            guesses=lambda: one._steiner(columns),
        )

    def _steiner(self, columns: Ints) -> tuple[tuple[tuple[int, ...], Joints], ...]:
        """The library's approximate Steiner tree of the first net, each of its branches a splice at the nearest of
        these columns."""
        at = self.at[:, 0].tolist()
        if len(set(at)) == 1:
            return ()
        import networkx as nx  # imported where it is used: it loads for long

        tree: nx.Graph[int] = nx.Graph(nx.algorithms.approximation.steiner_tree(self.graph.as_networkx, set(at)))
        nodes = list(tree.nodes)
        number = {node: self.ends + i for i, node in enumerate(nodes)}
        metres = self.graph.distance[np.ix_(nodes, self.column_at[columns, 0])] + self.column_w[columns, 0]
        joints = [(end, number[node]) for end, node in enumerate(at)]
        joints += [(min(number[a], number[b]), max(number[a], number[b])) for a, b in tree.edges]
        return (tidy(self.ends, tuple(metres.argmin(axis=1).tolist()), tuple(joints)),)

    def stars(self, which: Ints, columns: Ints) -> list[SplicePlan]:
        """The best plan of each of these nets where that is all ends in one splice, in this column."""
        joints = tuple((end, self.ends) for end in range(self.ends))
        ends = np.arange(self.ends)[:, None]
        metres = self.from_end(which, ends, columns)
        found = zip(columns.tolist(), self.mm2[:, which].T.tolist(), metres.T.tolist(), strict=True)
        cost_g = self.limits.splice_cost_g
        return [SplicePlan((column,), joints, tuple(mm2), tuple(m), cost_g, True) for column, mm2, m in found]
