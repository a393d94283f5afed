"""The best splices of a net under a limit on splices, on wires in one splice, or both; exact like ``splices``.

The same programme, with two more counts in its state: splices spent so far, and wires that meet in the splice at hand.
"""

from __future__ import annotations

import math

import numpy as np

from pinmap.core.loom.splice_task import COPPER_G, SplicePlan, SpliceTask, measured, trunk_sizes


def search_limited(task: SpliceTask) -> SplicePlan:
    """The best plan within the limits, which must be feasible for so many ends; see
    ``SpliceLimits.fitting``."""
    return _Limited(task).plan()


class _Limited:
    """Arrays by set of ends (the first left out), splices spent, place; ``meeting`` by wires met too."""

    def __init__(self, task: SpliceTask) -> None:
        self.task = task
        self.n = n = len(task.mm2) - 1
        limits = task.limits
        self.most = min(limits.max_wires - 1 if limits.max_wires else n, n)  # wires that meet before one leaves
        self.spend = min(limits.max_splices or n - 1, n - 1)
        own = np.array(task.mm2)[:, None]
        self.gram = COPPER_G * trunk_sizes(own, task.cap_mm2, limits.stock_mm2, range(1 << n))[:, 0]
        count = task.to_place.shape[1]
        self.gathered = np.full((1 << n, self.spend + 1, count), math.inf)
        self.meeting = np.full((1 << n, self.most + 1, self.spend + 1, count), math.inf)
        for i in range(n):
            self.gathered[1 << i, 0] = self.gram[1 << i] * task.to_place[1 + i]
            self.meeting[1 << i, 1] = self.gathered[1 << i]
        for s in sorted(range(1, 1 << n), key=int.bit_count):
            if s.bit_count() > 1:
                self._fill(s)

    def _parts(self, s: int) -> tuple[list[int], list[int]]:
        low = s & -s
        rest = s ^ low
        parts, part = [], rest
        while part:
            part = (part - 1) & rest
            parts.append(part | low)
        return parts, [s ^ p for p in parts]

    def _fill(self, s: int) -> None:
        parts, rests = self._parts(s)
        for met in range(2, self.most + 1):
            for spent in range(self.spend + 1):
                for left in range(spent + 1):
                    sums = self.gathered[parts, left] + self.meeting[rests, met - 1, spent - left]
                    np.minimum(self.meeting[s, met, spent], sums.min(axis=0), out=self.meeting[s, met, spent])
        wires = self.gram[s] * self.task.between
        for spent in range(1, self.spend + 1):
            ready = self.meeting[s, 2:, spent - 1].min(axis=0) + self.task.limits.splice_cost_g
            self.gathered[s, spent] = (ready[:, None] + wires).min(axis=0)
        self.meeting[s, 1] = self.gathered[s]  # one wire, which another splice gave

    def plan(self) -> SplicePlan:
        task, n = self.task, self.n
        whole = (1 << n) - 1
        # The last splice costs the same in every plan; those before it are counted already.
        total = self.meeting[whole, 2:, : self.spend] + COPPER_G * task.mm2[0] * task.to_place[0]
        met, spent, at = np.unravel_index(int(np.argmin(total)), total.shape)
        self.places: list[int] = []
        self.joints: list[tuple[int, int]] = []
        self.joints.append((0, self._splice(whole, int(met) + 2, int(spent), int(at))))
        return measured(task, tuple(self.places), tuple(self.joints), proven=True)

    def _splice(self, s: int, met: int, spent: int, at: int) -> int:
        me = self.n + 1 + len(self.places)
        self.places.append(at)
        while met > 1:
            parts, rests = self._parts(s)
            best, choice = math.inf, (0, 0)
            for left in range(spent + 1):
                sums = self.gathered[parts, left, at] + self.meeting[rests, met - 1, spent - left, at]
                way = int(np.argmin(sums))
                if sums[way] < best:
                    best, choice = float(sums[way]), (way, left)
            way, left = choice
            self._wire(parts[way], left, at, me)
            s, spent, met = rests[way], spent - left, met - 1
        self._wire(s, spent, at, me)
        return me

    def _wire(self, s: int, spent: int, at: int, to: int) -> None:
        if s.bit_count() == 1:
            self.joints.append((s.bit_length(), to))
            return
        ready = self.meeting[s, 2:, spent - 1] + (self.gram[s] * self.task.between[:, at])
        met, begin = np.unravel_index(int(np.argmin(ready)), ready.shape)
        self.joints.append((self._splice(s, int(met) + 2, spent - 1, int(begin)), to))
