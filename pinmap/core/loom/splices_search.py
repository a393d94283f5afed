"""The least costly splices of many nets at once, without a limit on splices or wires.

The dynamic programme of Dreyfus and Wagner ("The Steiner problem in graphs", Networks 1, 1971) over sets of ends, each
of its steps done for all nets together. A set's one wire spreads from where its wires met to every node; that follows
the arcs of the graph there and back, instead of trying each pair of places.

Sets hold bits, one for each end but the first. They are numbered by their size, so that those of one size lie side by
side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pinmap.core.loom.splice_nets import SpliceNets
from pinmap.core.loom.splice_task import COPPER_G, HAIR, SplicePlan, trunk_sizes
from pinmap.core.loom.stations import Floats, Ints

_MOST_NUMBERS = 4_000_000  # in one array


@dataclass(frozen=True)
class _Sets:
    """All sets of n bits. ``start[k]``: the number of the first of k bits. Of those of k bits, ``first[k]`` and
    ``second[k]`` are every way to part each in two, the part with its lowest bit first, shape (sets, ways)."""

    bits: tuple[int, ...]
    start: tuple[int, ...]
    first: tuple[Ints, ...]
    second: tuple[Ints, ...]


@cache
def _sets(n: int) -> _Sets:
    bits = sorted(range(1, 1 << n), key=lambda s: (s.bit_count(), s))
    number = {s: i for i, s in enumerate(bits)}
    start = [0, 0]
    for k in range(1, n + 1):
        start.append(start[-1] + math.comb(n, k))
    first: list[Ints] = []
    second: list[Ints] = []
    for k in range(n + 1):
        ones: list[list[int]] = []
        for s in bits[start[k] : start[k + 1]] if k else ():
            low = s & -s
            part = rest = s ^ low
            parts = []
            while part:  # every subset of the rest but the whole, together with the lowest bit
                part = (part - 1) & rest
                parts.append(part | low)
            ones.append(parts)
        sets = bits[start[k] : start[k + 1]] if k else []
        shape = (len(sets), -1) if sets and k > 1 else (len(sets), 0)
        first.append(np.array([number[p] for parts in ones for p in parts], dtype=np.intp).reshape(shape))
        second.append(
            np.array(
                [number[s ^ p] for s, parts in zip(sets, ones, strict=True) for p in parts], dtype=np.intp
            ).reshape(shape)
        )
    return _Sets(tuple(bits), tuple(start), tuple(first), tuple(second))


def search(nets: SpliceNets) -> list[SplicePlan]:
    """The best plan of each net, of three ends or more; ``places`` are columns of the nets."""
    sets = len(_sets(nets.ends - 1).bits)
    step = max(1, _MOST_NUMBERS // (sets * (nets.graph.size + len(nets.slot_w))))
    if step >= nets.count:
        return _Search(nets).plans()
    parts = [nets.take(np.arange(i, min(i + step, nets.count))) for i in range(0, nets.count, step)]
    return [plan for part in parts for plan in _Search(part).plans()]


class _Search:
    """Costs [g] by set of ends, column and net: ``gathered``, the set's one wire ends here; ``meeting``, its wires, two
    or more, end here; ``reached``, one or more do."""

    def __init__(self, nets: SpliceNets) -> None:
        self.nets = nets
        self.n = n = nets.ends - 1
        self.sets = sets = _sets(n)
        self.mm2 = trunk_sizes(nets.mm2, nets.cap_mm2, nets.limits.stock_mm2, sets.bits)
        self.gram = COPPER_G * self.mm2  # a metre of each set's wire, shape (sets, nets)
        shape = (len(sets.bits), nets.graph.size + len(nets.slot_w), nets.count)
        self.gathered, self.meeting, self.reached = np.empty(shape), np.empty(shape), np.empty(shape)
        self.barred = np.where(nets.may, 0.0, math.inf)
        for end in range(n):
            np.multiply(nets.to_place(end + 1), self.gram[end], out=self.gathered[end])
            self.reached[end] = self.gathered[end]
        for k in range(2, n + 1):
            self._meet(k)
            if k < n:
                self._spread(k)

    def _meet(self, k: int) -> None:
        """Wires of every set of k ends meet in a splice: one of a part, and one or more of the rest."""
        gathered, reached, sets = self.gathered, self.reached, self.sets
        spare = np.empty(gathered.shape[1:])
        for s, firsts, seconds in zip(
            range(sets.start[k], sets.start[k + 1]), sets.first[k].tolist(), sets.second[k].tolist(), strict=True
        ):
            met = self.meeting[s]
            np.add(gathered[firsts[0]], reached[seconds[0]], out=met)
            for one, two in zip(firsts[1:], seconds[1:], strict=True):
                np.add(gathered[one], reached[two], out=spare)
                np.minimum(met, spare, out=met)
            met[: self.nets.graph.size] += self.barred

    def _spread(self, k: int) -> None:
        """The wire that leaves the splice where a set of k ends met leads to every place."""
        nets, these = self.nets, slice(self.sets.start[k], self.sets.start[k + 1])
        met, gram = self.meeting[these], self.gram[these]
        spread = np.empty((met.shape[1], *gram.shape))  # columns first, in metres of this wire
        np.add(met.swapaxes(0, 1), nets.limits.splice_cost_g, out=spread)
        spread /= gram
        nodes, every = nets.graph.size, np.arange(nets.count)
        for slot, at, out_w in zip(spread[nodes:], nets.slot_at, nets.slot_w, strict=True):
            spread[at, :, every] = np.minimum(spread[at, :, every], (slot + out_w).T)
        spare = np.empty(gram.shape)
        here = list(spread)  # views, taken once
        for early, late, metres in nets.graph.arcs:
            np.add(here[early], metres, out=spare)
            np.minimum(here[late], spare, out=here[late])
        for early, late, metres in reversed(nets.graph.arcs):
            np.add(here[late], metres, out=spare)
            np.minimum(here[early], spare, out=here[early])
        for slot, at, out_w in zip(spread[nodes:], nets.slot_at, nets.slot_w, strict=True):
            np.minimum(slot, spread[at, :, every].T + out_w, out=slot)
        np.multiply(spread.swapaxes(0, 1), gram[:, None], out=self.gathered[these])
        np.minimum(met, self.gathered[these], out=self.reached[these])

    def plans(self) -> list[SplicePlan]:
        return _Choices(self).plans()


class _Wires(NamedTuple):
    """Each from an end, or where that is -1 from the splice ``start``, to the splice ``stop``; of shape (wires,)."""

    net: Ints
    end: Ints
    start: Ints
    stop: Ints
    mm2: Floats
    metres: Floats


class _Meetings(NamedTuple):
    """Where the wires of a set meet: in which column, in which splice; of shape (meetings,)."""

    net: Ints
    s: Ints
    at: Ints
    splice: Ints

    def of(self, which: NDArray[np.bool_]) -> _Meetings:
        return _Meetings(*(part[which] for part in self))


class _Choices:
    """The way back through a search: which splices and wires the least cost is made of."""

    def __init__(self, search: _Search) -> None:
        self.search, self.nets, self.sets = search, search.nets, search.sets
        nets, n = self.nets, search.n
        whole = len(self.sets.bits) - 1
        total = search.meeting[whole] + COPPER_G * nets.mm2[0] * nets.to_place(0)
        last = (total <= total.min(axis=0) + HAIR).argmax(axis=0)
        every = np.arange(nets.count)
        zero = np.zeros(nets.count, dtype=np.intp)
        self.splice_net, self.splice_column = [every], [last]
        self.splices = nets.count
        self.wires = [_Wires(every, zero, zero, every, nets.mm2[0], nets.from_end(every, zero, last))]
        self.todo: list[list[_Meetings]] = [[] for _ in range(n + 1)]  # by number of ends
        self.todo[n].append(_Meetings(every, np.full(nets.count, whole), last, every))
        for k in range(n, 1, -1):
            if self.todo[k]:
                self._part(k, _Meetings(*map(np.concatenate, zip(*self.todo[k], strict=True))))

    def _part(self, k: int, met: _Meetings) -> None:
        """Wires of sets of k ends meet: which one comes first, and whether one or more are the rest."""
        search, (net, s, at, _) = self.search, met
        row, every = s - self.sets.start[k], np.arange(len(s))
        one, two = self.sets.first[k][row], self.sets.second[k][row]
        costs = search.gathered[one, at[:, None], net[:, None]] + search.reached[two, at[:, None], net[:, None]]
        best = costs.argmin(axis=1)
        rest = met._replace(s=two[every, best])
        self._wire(met._replace(s=one[every, best]))
        single = rest.s < search.n  # of which ``meeting`` says nothing
        wired = single | (search.gathered[rest.s, at, net] < search.meeting[rest.s, at, net])
        self._wire(rest.of(wired))
        self._meet(rest.of(~wired))

    def _meet(self, met: _Meetings) -> None:
        size = np.searchsorted(self.sets.start, met.s, side="right") - 1
        for k in np.unique(size):
            self.todo[k].append(met.of(size == k))

    def _wire(self, met: _Meetings) -> None:
        """The one wire of each set that ends in this splice: from an end, or from where the set's own wires met."""
        nets, search = self.nets, self.search
        single = met.s < search.n
        net, s, at, splice = met.of(single)
        here = nets.from_end(net, s + 1, at)
        self.wires.append(_Wires(net, s + 1, np.zeros_like(s), splice, search.mm2[s, net], here))
        met = met.of(~single)
        metres = nets.from_place(met.net, met.at)
        costs = search.meeting[met.s, :, met.net] + search.gram[met.s, met.net][:, None] * metres
        begin = costs.argmin(axis=1)
        away = begin != met.at  # where a splice costs nothing: no second one at the same place
        self._meet(met.of(~away))
        net, s, _, splice = met.of(away)
        begin, none = begin[away], np.full(len(net), -1)
        new = self.splices + np.arange(len(net))
        self.splices += len(net)
        self.splice_net.append(net)
        self.splice_column.append(begin)
        self.wires.append(_Wires(net, none, new, splice, search.mm2[s, net], metres[away, begin]))
        self._meet(_Meetings(net, s, begin, new))

    def plans(self) -> list[SplicePlan]:
        """Splices of each net are numbered on from its ends."""
        nets = self.nets
        net, column = np.concatenate(self.splice_net), np.concatenate(self.splice_column)
        order = np.argsort(net, kind="stable")
        first_of_net = np.searchsorted(net[order], np.arange(nets.count + 1))
        name = np.empty(len(net), dtype=np.intp)
        name[order] = nets.ends + np.arange(len(net)) - first_of_net[net[order]]
        columns, splices = column[order].tolist(), first_of_net.tolist()

        found = _Wires(*map(np.concatenate, zip(*self.wires, strict=True)))
        order = np.argsort(found.net, kind="stable")
        wires = np.searchsorted(found.net[order], np.arange(nets.count + 1)).tolist()
        one = np.where(found.end >= 0, found.end, name[found.start])[order].tolist()
        joints = list(zip(one, name[found.stop][order].tolist(), strict=True))
        mm2, metres = found.mm2[order].tolist(), found.metres[order].tolist()
        return [
            SplicePlan(
                places=tuple(columns[splices[i] : splices[i + 1]]),
                joints=tuple(joints[wires[i] : wires[i + 1]]),
                mm2=tuple(mm2[wires[i] : wires[i + 1]]),
                metres=tuple(metres[wires[i] : wires[i + 1]]),
                splice_cost_g=nets.limits.splice_cost_g,
                proven=True,
            )
            for i in range(nets.count)
        ]
