"""What a wire stands against the fuse before it: for ever, in an overload, in a short circuit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from pinmap.core.electrics.adiabatic import k_factor
from pinmap.core.electrics.fuse_curves import FuseCurve
from pinmap.core.electrics.heat import Floats, WireHeat, temperature_c, wire_heat
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.electrics.surroundings import FACTOR_WORDS, judgeable
from pinmap.core.electrics.transient import time_to_reach_s
from pinmap.core.facts.conductors import wire_size
from pinmap.core.facts.constants import AMBIENT_C, COPPER_OHM_MM2_PER_M
from pinmap.core.facts.fault import LONG_OVERLOAD_K, OPENS_WITHIN_S, OVERLOAD_K, short_circuit_end_c
from pinmap.core.loom.results import Wire

_CURVE_POINTS = 48


@dataclass(frozen=True, slots=True, kw_only=True)
class WireLimit:
    """A wire behind a fuse. Conductor temperatures [°C] in its bundle at the fuse's rating, at the current that need
    not open it for days, and at the one that just opens it. ``margin`` is the least ratio of the time that the wire
    stands a current to the latest time at which the fuse opens, found at worst_a; start_c and end_c bound a short
    circuit."""

    wire: Wire
    rating_a: float
    rating_c: float
    held_a: float
    held_c: float
    opening_c: float
    class_c: float
    ambient_c: float
    factor: float
    start_c: float
    end_c: float
    k_factor: float
    area_mm2: float
    margin: float
    worst_a: float
    opens_s: float
    stands_s: float

    @property
    def inputs(self) -> tuple[tuple[str, str], ...]:
        return (
            ("wire", f"{self.wire.id}, {self.wire.mm2:g} mm², {self.wire.insulation}, class {self.class_c:g} °C"),
            ("air", f"{self.ambient_c:g} °C"),
            ("in its bundle", f"{self.factor:.2g} of the current of a free wire ({FACTOR_WORDS})"),
        )


@dataclass(frozen=True, slots=True)
class Guarded:
    """A wire behind a fuse: the greatest current that can flow [A], its surroundings, its temperature before [°C]."""

    wire: Wire
    curve: FuseCurve
    most_a: float
    ambient_c: float
    factor: float
    start_c: float


def guarded(wire: Wire, curve: FuseCurve, most_a: float, report: ElectricalReport) -> Guarded:
    """The question for a wire as a report shows it at its hottest."""
    state = report.worst(wire.id)
    if state is None:
        return Guarded(wire, curve, most_a, AMBIENT_C.value, 1.0, AMBIENT_C.value)
    return Guarded(wire, curve, most_a, state.ambient_c, report.share.get(wire.id, 1.0), state.temp_c)


def wire_limits(asked: Sequence[tuple[Wire, FuseCurve, float]], report: ElectricalReport) -> dict[str, WireLimit]:
    """Limits by wire id. Each wire with its fuse and the greatest current that can flow [A]; wires of unknown
    insulation or impossible size are left out."""
    found = [guarded(w, c, a, report) for w, c, a in asked if judgeable(w)]
    return {g.wire.id: limit for g, limit in zip(found, limits_of(found), strict=True)}


def limits_of(found: Sequence[Guarded], *, thorough: bool = True) -> list[WireLimit]:
    """Limits of wires of known insulation. In a bundle the wire heats as a free one does at current / factor. Without
    ``thorough`` the heating over time is not followed where the steady temperatures break a limit already."""
    if not found:
        return []
    heat = wire_heat([(g.wire.mm2, g.wire.insulation) for g in found])
    air_c = np.array([g.ambient_c for g in found])
    start_c = np.minimum(np.array([g.start_c for g in found]), heat.max_temp_c + OVERLOAD_K.value)
    factor = np.array([g.factor for g in found])
    at_rating, held, opening = (
        temperature_c(heat, np.array(amps), air_c, factor)
        for amps in (
            [g.curve.rating_a for g in found], [g.curve.held_a for g in found], [g.curve.opening_a for g in found],
        )
    )  # fmt: skip
    over = (at_rating > heat.max_temp_c) | (held > heat.max_temp_c + LONG_OVERLOAD_K.value)
    over |= opening > heat.max_temp_c + OVERLOAD_K.value
    follow = np.ones(len(found), dtype=bool) if thorough else ~over
    slow = _overload(found, heat, air_c, factor, start_c, follow)
    out = []
    for i, g in enumerate(found):
        end_c = short_circuit_end_c(g.wire.insulation)
        area = carrying_mm2(g.wire.mm2, g.wire.insulation)
        k = k_factor(min(float(start_c[i]), end_c - 1), end_c)
        worst = [*slow[i], *_short(g.curve, g.most_a, k * area)]
        stands_s, opens_s, worst_a = min(worst, key=lambda x: x[0] / x[1], default=(math.inf, 1.0, 0.0))
        out.append(
            WireLimit(
                wire=g.wire, rating_a=g.curve.rating_a, rating_c=float(at_rating[i]), held_a=g.curve.held_a,
                held_c=float(held[i]), opening_c=float(opening[i]), class_c=float(heat.max_temp_c[i]),
                ambient_c=g.ambient_c, factor=g.factor, start_c=float(start_c[i]), end_c=end_c, k_factor=k,
                area_mm2=area, margin=stands_s / opens_s, worst_a=worst_a, opens_s=opens_s, stands_s=stands_s,
            )
        )  # fmt: skip
    return out


@cache
def carrying_mm2(mm2: float, insulation: str) -> float:
    """Area of copper that has the size's greatest resistance [mm²]: on the safe side of the nominal area."""
    return COPPER_OHM_MM2_PER_M.value / wire_size(mm2, insulation).r20_ohm_per_m


def _short(curve: FuseCurve, most_a: float, stands: float) -> list[tuple[float, float, float]]:
    """(time the wire stands, latest opening time, current) where both are short-circuit matters. The band is made of
    straight lines in logarithms and so is the wire's limit, so the worst place is at a corner."""
    first_a = curve.opens_within_a(OPENS_WITHIN_S.value)
    if most_a < first_a:
        return []
    corners = [first_a, *(i for i in curve.gate_currents_a if first_a < i < most_a)]
    if math.isfinite(most_a):  # beyond the last gate both lines fall alike, so an infinite current adds no corner
        corners.append(most_a)
    return [((stands / i) ** 2, curve.latest_s(i), i) for i in corners]


def _overload(
    found: Sequence[Guarded], heat: WireHeat, air_c: Floats, factor: Floats, start_c: Floats,
    follow: NDArray[np.bool_],
) -> list[list[tuple[float, float, float]]]:  # fmt: skip
    """The same above 5 s, where heat leaves the wire: time to class + 50 K against the latest opening time."""
    out: list[list[tuple[float, float, float]]] = [[] for _ in found]
    which: list[int] = []
    amps: list[float] = []
    for i, (curve, most_a) in enumerate((g.curve, g.most_a) for g in found):
        if not follow[i]:
            continue
        low, high = curve.opening_a, curve.opens_within_a(OPENS_WITHIN_S.value)
        points = {i_a for i_a in curve.gate_currents_a if i_a < high} | {(low * high) ** 0.5}
        for current in sorted(points):
            if current <= most_a:
                which.append(i)
                amps.append(current)
    if not which:
        return out
    at, current = np.array(which, dtype=np.intp), np.array(amps)
    limit_c = heat.max_temp_c[at] + OVERLOAD_K.value
    settled = temperature_c(heat.take(at), current, air_c[at], factor[at])
    hot = np.flatnonzero(settled > limit_c)
    times = np.full(at.size, np.inf)
    if hot.size:
        times[hot] = time_to_reach_s(
            heat.take(at[hot]), current[hot] / factor[at[hot]], air_c[at[hot]], limit_c[hot],
            np.minimum(start_c[at[hot]], limit_c[hot]),
        )  # fmt: skip
    for j, i in enumerate(which):
        latest = found[i].curve.latest_s(amps[j])
        out[i].append((max(float(times[j]), OPENS_WITHIN_S.value if times[j] > 0 else 0.0), latest, amps[j]))
    return out


def damage_curve(k: WireLimit, from_a: float, to_a: float) -> tuple[tuple[float, float], ...]:
    """Points (current [A], time [s]) at which the wire is hurt, by rising current: up to 5 s the adiabatic limit,
    beyond it the time to class + 50 K. Currents that it stands for ever are left out."""
    currents = np.geomspace(from_a, to_a, _CURVE_POINTS)
    n = currents.size
    heat = wire_heat([(k.wire.mm2, k.wire.insulation)] * n)
    air_c, limit_c = np.full(n, k.ambient_c), np.full(n, k.class_c + OVERLOAD_K.value)
    factor = k.factor
    slow = time_to_reach_s(heat, currents / factor, air_c, limit_c, np.full(n, min(k.start_c, k.class_c)))
    out = []
    for current, slow_s in zip(currents.tolist(), slow.tolist(), strict=True):
        fast_s = (k.k_factor * k.area_mm2 / current) ** 2
        seconds = fast_s if fast_s <= OPENS_WITHIN_S.value else max(slow_s, OPENS_WITHIN_S.value)
        if math.isfinite(seconds):
            out.append((current, seconds))
    return tuple(out)
