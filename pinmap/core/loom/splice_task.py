"""The splices of one net as a task and as a plan: ends, places, limits; wires, sizes, cost. See ``splices``."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from pinmap.core.facts.conductors import next_size
from pinmap.core.facts.constants import COPPER_G_PER_CM3

COPPER_G = COPPER_G_PER_CM3.value  # mass of 1 mm2 over 1 m
HAIR = 1e-6  # two costs nearer than this are equal, and the first place wins
Floats = NDArray[np.float64]
Joints = tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class SpliceTask:
    """One net. ``mm2`` of each end's wire; ``to_place`` metres from each end to each place, shape (ends, places);
    ``between`` gives metres between places (p, q) by their indices; ``apart`` metres between ends, shape (ends, ends).
    Limits of 0 do not limit. ``least_copper_g`` is a mass that no net of wires between these ends can undercut."""

    mm2: tuple[float, ...]
    to_place: Floats
    between: Callable[[NDArray[np.intp], NDArray[np.intp]], Floats]
    apart: Floats
    cap_mm2: float = math.inf
    stock_mm2: tuple[float, ...] = ()
    splice_cost_g: float = 0.0
    max_splices: int = 0
    max_wires: int = 0
    least_copper_g: Callable[[], float] = field(default=lambda: 0.0)
    guesses: Callable[[], tuple[tuple[tuple[int, ...], Joints], ...]] = field(default=lambda: ())  # plans to start from

    def trunk_mm2(self, gathered_mm2: float) -> float:
        """Size of a trunk that parts ends whose wires add up to this from the others."""
        need = min(gathered_mm2, sum(self.mm2) - gathered_mm2, self.cap_mm2)
        return next_size(need, self.stock_mm2)


@dataclass(frozen=True, slots=True)
class SplicePlan:
    """``places`` of the splices by index. A wire of ``joints`` leads from end or splice to splice: ends are numbered
    from 0, splices on from there. ``proven``: nothing costs less."""

    places: tuple[int, ...]
    joints: Joints
    mm2: tuple[float, ...]  # of each joint's wire
    metres: tuple[float, ...]  # of each joint's wire
    splice_cost_g: float
    proven: bool

    @property
    def copper_g(self) -> float:
        return COPPER_G * sum(a * b for a, b in zip(self.mm2, self.metres, strict=True))

    @property
    def cost_g(self) -> float:
        return self.copper_g + self.splice_cost_g * len(self.places)


def measured(task: SpliceTask, places: tuple[int, ...], joints: Joints, *, proven: bool = False) -> SplicePlan:
    """A plan of these splices and wires, with the size and length of each wire. Joints name an end or a splice first
    and a splice second."""
    ends = len(task.mm2)
    around: dict[int, list[int]] = {}
    for a, b in joints:
        around.setdefault(a, []).append(b)
        around.setdefault(b, []).append(a)
    mm2, metres = [], []
    at = np.array(places, dtype=np.intp)
    apart = task.between(at, at) if len(places) > 1 else np.zeros((1, 1))
    for a, b in joints:
        if a < ends:
            mm2.append(task.mm2[a])
            metres.append(float(task.to_place[a, places[b - ends]]))
            continue
        gathered, todo = 0.0, [(a, b)]
        while todo:
            here, back = todo.pop()
            if here < ends:
                gathered += task.mm2[here]
            todo += [(n, here) for n in around[here] if n != back]
        mm2.append(task.trunk_mm2(gathered))
        metres.append(float(apart[a - ends, b - ends]))
    return SplicePlan(places, joints, tuple(mm2), tuple(metres), task.splice_cost_g, proven)


def obeys(task: SpliceTask, plan: SplicePlan) -> bool:
    """Whether a plan keeps to the limits."""
    if task.max_splices and len(plan.places) > task.max_splices:
        return False
    if not task.max_wires:
        return True
    ends, count = len(task.mm2), [0] * len(plan.places)
    for joint in plan.joints:
        for point in joint:
            if point >= ends:
                count[point - ends] += 1
    return max(count) <= task.max_wires


def star(task: SpliceTask) -> SplicePlan:
    """All ends in one splice at the best place."""
    ends = len(task.mm2)
    copper = np.array(task.mm2) @ task.to_place
    place = int(np.flatnonzero(copper <= copper.min() + HAIR)[0])
    joints = tuple((i, ends) for i in range(ends))
    metres = tuple(task.to_place[:, place].tolist())
    return SplicePlan((place,), joints, task.mm2, metres, task.splice_cost_g, False)


@cache
def _bits(n: int) -> Floats:
    return ((np.arange(1 << n)[:, None] >> np.arange(n)) & 1).astype(float)


def trunk_sizes(task: SpliceTask) -> Floats:
    """Size of the wire that gathers each set of the ends but the first, shape (sets,)."""
    n = len(task.mm2) - 1
    own = np.array(task.mm2[1:])
    gathered = _bits(n) @ own
    need = np.minimum(np.minimum(gathered, sum(task.mm2) - gathered), task.cap_mm2)
    sizes = need
    if task.stock_mm2:
        stock = np.array(sorted(task.stock_mm2))
        at = np.searchsorted(stock, need - 1e-9)
        sizes = np.where(at < len(stock), stock[np.minimum(at, len(stock) - 1)], need)
    sizes[1 << np.arange(n)] = own
    out: Floats = sizes
    return out
