"""The splices of one net as a task and as a plan: ends, places, limits; wires, sizes, cost. See ``splices``."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pinmap.core.facts.conductors import next_size
from pinmap.core.facts.constants import COPPER_G_PER_CM3
from pinmap.core.loom.stations import Floats

COPPER_G = COPPER_G_PER_CM3.value  # mass of 1 mm2 over 1 m
HAIR = 1e-6  # two costs nearer than this are equal, and the first place wins
Joints = tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class SpliceLimits:
    """The shop's way of splicing, the same for all nets. Limits of 0 do not limit."""

    stock_mm2: tuple[float, ...] = ()
    splice_cost_g: float = 0.0
    max_splices: int = 0
    max_wires: int = 0

    def fitting(self, ends: int) -> SpliceLimits:
        """Limits made to fit each other: a splice takes three wires at least, and so many splices are allowed as that
        limit asks for."""
        most = self.max_wires and max(self.max_wires, 3)
        splices = self.max_splices
        if most and splices:
            splices = max(splices, math.ceil((ends - 2) / (most - 2)))
        return replace(self, max_splices=splices, max_wires=most)


@dataclass(frozen=True)
class SpliceTask:
    """One net. ``mm2`` of each end's wire; ``to_place`` metres from each end to each place, shape (ends, places);
    ``between`` metres between places; no trunk need be larger than ``cap_mm2``.
    ``least_copper_g`` is a mass that no net of wires between these ends can undercut."""

    mm2: tuple[float, ...]
    to_place: Floats
    between: Floats
    limits: SpliceLimits
    cap_mm2: float = math.inf
    least_copper_g: Callable[[], float] = field(default=lambda: 0.0)
    guesses: Callable[[], tuple[tuple[tuple[int, ...], Joints], ...]] = field(default=lambda: ())  # plans to start from

    def trunk_mm2(self, gathered_mm2: float) -> float:
        """Size of a trunk that parts ends whose wires add up to this from the others."""
        need = min(gathered_mm2, sum(self.mm2) - gathered_mm2, self.cap_mm2)
        return next_size(need, self.limits.stock_mm2)


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
    # From the first end outward: the point each came from; then back, what the wires beyond each point add up to.
    came_from, order = {0: -1}, [0]
    for here in order:
        for there in around[here]:
            if there != came_from[here]:
                came_from[there] = here
                order.append(there)
    beyond = {point: task.mm2[point] if point < ends else 0.0 for point in order}
    for point in reversed(order[1:]):
        beyond[came_from[point]] += beyond[point]
    mm2, metres = [], []
    for a, b in joints:
        if a < ends:
            mm2.append(task.mm2[a])
            metres.append(float(task.to_place[a, places[b - ends]]))
        else:
            mm2.append(task.trunk_mm2(beyond[a if came_from[a] == b else b]))
            metres.append(float(task.between[places[a - ends], places[b - ends]]))
    return SplicePlan(places, joints, tuple(mm2), tuple(metres), task.limits.splice_cost_g, proven)


def obeys(limits: SpliceLimits, ends: int, plan: SplicePlan) -> bool:
    """Whether a plan of so many ends keeps to the limits."""
    if limits.max_splices and len(plan.places) > limits.max_splices:
        return False
    if not limits.max_wires:
        return True
    count = [0] * len(plan.places)
    for joint in plan.joints:
        for point in joint:
            if point >= ends:
                count[point - ends] += 1
    return max(count) <= limits.max_wires


def star(task: SpliceTask) -> SplicePlan:
    """All ends in one splice at the best place."""
    ends = len(task.mm2)
    copper = np.array(task.mm2) @ task.to_place
    place = int(np.flatnonzero(copper <= copper.min() + HAIR)[0])
    joints = tuple((i, ends) for i in range(ends))
    metres = tuple(task.to_place[:, place].tolist())
    return SplicePlan((place,), joints, task.mm2, metres, task.limits.splice_cost_g, False)


def trunk_sizes(mm2: Floats, cap_mm2: Floats | float, stock_mm2: tuple[float, ...], sets: Sequence[int]) -> Floats:
    """Size of the wire that gathers each of these sets of the ends but the first, as bits. ``mm2`` of shape
    (ends, nets) gives (sets, nets)."""
    ends = len(mm2) - 1
    bits = (np.array(sets)[:, None] >> np.arange(ends)) & 1
    gathered = bits.astype(float) @ mm2[1:]
    need = np.minimum(np.minimum(gathered, mm2.sum(axis=0) - gathered), cap_mm2)
    sizes: Floats = need
    if stock_mm2:
        stock = np.array(sorted(stock_mm2))
        at = np.searchsorted(stock, need - 1e-9)
        sizes = np.where(at < len(stock), stock[np.minimum(at, len(stock) - 1)], need)
    single = bits.sum(axis=1) == 1
    sizes[single] = mm2[1:][bits[single].argmax(axis=1)]
    return sizes
