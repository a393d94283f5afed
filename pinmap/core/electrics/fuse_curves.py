"""Time-current bands of fuses: the earliest and the latest time at which a fuse may open.

Between the gates of the standard the band runs straight in logarithms of current and time; beyond the last gate it
keeps that gate's I²t, since nothing but the melting of the element counts there.
"""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import dataclass

from pinmap.core.facts.parts import FuseGate, FuseType, fuses
from pinmap.core.model.looms import Device

_NEVER = math.inf
_NAMED = re.compile(r"\btype\s*([CFE])\b|\b(SF30|SF51)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class FuseCurve:
    """A fuse of one type and rating [A]. ``type_from`` says whether somebody named the type or it was inferred."""

    type: FuseType
    rating_a: float
    type_from: str = ""

    @property
    def held_a(self) -> float:
        """The largest current that need not ever open it [A]."""
        return self.type.gates[0].multiple * self.rating_a

    @property
    def opening_a(self) -> float:
        """The least current at which the standard promises that it opens [A]."""
        return next(g.multiple for g in self.type.gates if g.max_s is not None) * self.rating_a

    @property
    def gate_currents_a(self) -> tuple[float, ...]:
        """Currents at which the standard sets a longest time, rising [A]."""
        return tuple(g.multiple * self.rating_a for g in self.type.gates if g.max_s is not None)

    def latest_s(self, current_a: float) -> float:
        """The latest time to open at a current [s]; infinite where the standard promises nothing."""
        return _on_line([(g.multiple, g.max_s) for g in self.type.gates if g.max_s], current_a / self.rating_a)

    def earliest_s(self, current_a: float) -> float:
        """The earliest time to open at a current [s]; infinite below 110 %."""
        return _on_line([(g.multiple, g.min_s) for g in self.type.gates], current_a / self.rating_a)

    def opens_within_a(self, seconds: float) -> float:
        """The least current at which it opens within this time for certain [A]."""
        gates = [g for g in self.type.gates if g.max_s is not None]
        if seconds >= _max(gates[0]):
            return gates[0].multiple * self.rating_a
        for low, high in itertools.pairwise(gates):
            if _max(low) >= seconds >= _max(high):
                share = math.log(_max(low) / seconds) / math.log(_max(low) / _max(high))
                return low.multiple * math.pow(high.multiple / low.multiple, share) * self.rating_a
        last = gates[-1]
        return last.multiple * math.sqrt(_max(last) / seconds) * self.rating_a

    def __str__(self) -> str:
        return f"{self.rating_a:g} A, {self.type.name}"


def _max(gate: FuseGate) -> float:
    assert gate.max_s is not None
    return gate.max_s


def _on_line(points: list[tuple[float, float]], x: float) -> float:
    """Straight in logarithms between points; never before the first; by I²t past the last."""
    if x < points[0][0] * (1 - 1e-9):
        return _NEVER
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        if x <= x1:
            share = math.log(max(x / x0, 1.0)) / math.log(x1 / x0)
            return y0 * math.pow(y1 / y0, share)
    x_last, y_last = points[-1]
    return y_last * (x_last / x) ** 2


def curve_of(device: Device) -> FuseCurve | None:
    """The curve of a fuse of the loom; None while it has no rating. The type is read from the part's words ("type F",
    "SF30", "bolt-in", "small blade"), else taken by rating."""
    if not device.rating_a:
        return None
    found = _NAMED.search(f"{device.part} {device.note}")
    if found is not None:
        return FuseCurve(fuses()[(found[1] or found[2]).upper()], device.rating_a, f"the part says {found[0]}")
    words = f"{device.part} {device.name}".casefold()
    if "bolt" in words:
        key = "SF30" if device.rating_a <= 200 else "SF51"
        return FuseCurve(fuses()[key], device.rating_a, "the part says bolt-in")
    if "small blade" in words:
        return FuseCurve(fuses()["F"], device.rating_a, "the part says a small blade")
    return by_rating(device.rating_a)


def by_rating(rating_a: float) -> FuseCurve:
    """The usual type for a rating: blade 19 mm up to 40 A, large blade up to 80 A, bolt-in beyond."""
    key = "C" if rating_a <= 40 else "E" if rating_a <= 80 else "SF30" if rating_a <= 200 else "SF51"
    return FuseCurve(fuses()[key], rating_a, "type not said; the usual one for this rating")
