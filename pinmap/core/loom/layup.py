"""Concentric lay-up: wires in rings around a core, as a large bundle is laid by hand.

Equal wires fill rings of 6 more each: 1-6-12-18 around one wire, 3-9-15 around three (common practice). Of mixed wires
the thickest lie inside; what a ring has left over is filled with rods of its wires' diameter, so that the next ring
lies round.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

_TURN = 2 * math.pi
_CORES = (1, 2, 3, 4, 5)  # so many thickest wires may lie in the middle


@dataclass(frozen=True, slots=True)
class Ring:
    """One ring: the wires by their place in what was asked, the diameter over it [mm], and how many filler rods of
    ``filler_mm`` close its gaps."""

    wires: tuple[int, ...]
    over_mm: float
    fillers: int = 0
    filler_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class LayUp:
    """Rings from the core outward, the whole diameter [mm], and the middle of each wire [mm] in the order asked."""

    rings: tuple[Ring, ...]
    diameter_mm: float
    at_mm: tuple[tuple[float, float], ...]

    @property
    def fillers(self) -> int:
        return sum(r.fillers for r in self.rings)

    @property
    def words(self) -> str:
        """Such as 1-6-12."""
        return "-".join(str(len(r.wires)) for r in self.rings)


def rings(diameters_mm: Sequence[float]) -> LayUp:
    """The thinnest lay-up around a core of one to five wires; of two as thin, the one with fewer fillers. All
    diameters above 0 mm."""
    if not diameters_mm:
        return LayUp((), 0.0, ())
    order = sorted(range(len(diameters_mm)), key=lambda i: -diameters_mm[i])
    tried = [_around(diameters_mm, order, core) for core in _CORES if core <= len(order)]
    return min(tried, key=lambda t: (round(t.diameter_mm, 4), t.fillers))


def _around(diameters_mm: Sequence[float], order: Sequence[int], core: int) -> LayUp:
    at = [(0.0, 0.0)] * len(order)
    thickest = diameters_mm[order[0]]
    # As many circles of the thickest on a ring, each touching the next: room for all of the core.
    middle = 0.0 if core == 1 else thickest / 2 / math.sin(math.pi / core)
    for n, i in enumerate(order[:core]):
        at[i] = (middle * math.cos(_TURN * n / core), middle * math.sin(_TURN * n / core))
    inside = 2 * (middle + thickest / 2)
    found = [Ring(tuple(order[:core]), inside), *surround(diameters_mm, order[core:], inside, at)]
    return LayUp(tuple(found), found[-1].over_mm, tuple(at))


def surround(
    diameters_mm: Sequence[float], order: Sequence[int], inside_mm: float, at: list[tuple[float, float]]
) -> list[Ring]:
    """Lays wires, the thickest first in ``order``, in rings around a round core; their places go into ``at``."""
    found = []
    reach = inside_mm / 2
    start = 0
    known: dict[tuple[float, float, float], float] = {}

    def angle(one_mm: float, other_mm: float) -> float:
        """Remembered, since most neighbours are alike."""
        if (key := (reach, one_mm, other_mm)) not in known:
            known[key] = _angle(*key)
        return known[key]

    while start < len(order):
        thick = diameters_mm[order[start]]
        angles = [0.0]
        slack = _TURN
        end = start + 1
        while end < len(order):
            here = diameters_mm[order[end]]
            turn = angles[-1] + angle(diameters_mm[order[end - 1]], here)
            left = _TURN - turn - angle(here, thick)
            if left < -1e-12:
                break
            angles.append(turn)
            slack = min(slack, max(left, 0.0))
            end += 1
        last = diameters_mm[order[end - 1]]
        spare = _TURN - angles[-1] - angle(last, thick if end - start > 1 else last)
        fillers = int(spare / angle(last, last) + 1e-9)
        for n, i in enumerate(order[start:end]):  # spread evenly, as far as none comes too near to the first
            turn = angles[n] + slack * n / (end - start)
            radius = reach + diameters_mm[i] / 2
            at[i] = (radius * math.cos(turn), radius * math.sin(turn))
        reach += thick
        found.append(Ring(tuple(order[start:end]), 2 * reach, fillers, last if fillers else 0.0))
        start = end
    return found


def _angle(reach: float, one_mm: float, other_mm: float) -> float:
    """Angle between two wires that touch each other and both lie on a circle of radius ``reach`` [radians]."""
    a, b, c = reach + one_mm / 2, reach + other_mm / 2, (one_mm + other_mm) / 2
    return math.acos(max(-1.0, min(1.0, (a * a + b * b - c * c) / (2 * a * b))))
