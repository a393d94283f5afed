"""What a wire stands against the fuse before it: for ever, in an overload, in a short circuit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pinmap.core.electrics.adiabatic import k_factor
from pinmap.core.electrics.fuse_curves import FuseCurve
from pinmap.core.electrics.heat import Floats, WireHeat, bundle_factors, temperature_c, wire_heat
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.electrics.transient import time_to_reach_s
from pinmap.core.facts.conductors import insulations, wire_size
from pinmap.core.facts.constants import COPPER_OHM_MM2_PER_M
from pinmap.core.facts.fault import OPENS_WITHIN_S, OVERLOAD_K, short_circuit_end_c
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
    loaded: int
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
            (
                "loaded wires in its bundle",
                f"{self.loaded}, factor {_factor(self.loaded):g} on the current (ABYC E-11)",
            ),
        )


def _factor(loaded: int) -> float:
    return float(bundle_factors(np.array([max(loaded, 1)], dtype=np.intp))[0])


def _known(wire: Wire) -> bool:
    return wire.insulation in insulations() and 0.05 <= wire.mm2 <= 150


def wire_limits(asked: Sequence[tuple[Wire, FuseCurve, float]], report: ElectricalReport) -> dict[str, WireLimit]:
    """Limits by wire id. Each wire with its fuse and the greatest current that can flow [A]; wires of unknown
    insulation or impossible size are left out. In a bundle the wire heats as a free one does at current / factor."""
    found = [(w, c, a) for w, c, a in asked if _known(w)]
    if not found:
        return {}
    states = [report.worst(w.id) for w, _, _ in found]
    heat = wire_heat([(w.mm2, w.insulation) for w, _, _ in found])
    air_c = np.array([s.ambient_c if s is not None else 85.0 for s in states])
    loaded = np.array([max(s.loaded_in_bundle, 1) if s is not None else 1 for s in states], dtype=np.intp)
    start_c = np.minimum(
        np.array([s.temp_c if s is not None else 85.0 for s in states]), heat.max_temp_c + OVERLOAD_K.value
    )
    factor = bundle_factors(loaded)
    held_a = np.array([c.held_a for _, c, _ in found])
    held = temperature_c(heat, held_a, air_c, factor)
    at_rating = temperature_c(heat, np.array([c.rating_a for _, c, _ in found]), air_c, factor)
    opening = temperature_c(heat, np.array([c.opening_a for _, c, _ in found]), air_c, factor)
    slow = _overload(found, heat, air_c, factor, start_c)
    out: dict[str, WireLimit] = {}
    for i, (wire, curve, most_a) in enumerate(found):
        end_c = short_circuit_end_c(wire.insulation)
        area = carrying_mm2(wire.mm2, wire.insulation)
        k = k_factor(min(float(start_c[i]), end_c - 1), end_c)
        worst = [*slow[i], *_short(curve, most_a, k * area)]
        stands_s, opens_s, worst_a = min(worst, key=lambda x: x[0] / x[1], default=(math.inf, 1.0, 0.0))
        out[wire.id] = WireLimit(
            wire=wire, rating_a=curve.rating_a, rating_c=float(at_rating[i]),
            held_a=curve.held_a, held_c=float(held[i]), opening_c=float(opening[i]),
            class_c=float(heat.max_temp_c[i]), ambient_c=float(air_c[i]), loaded=int(loaded[i]),
            start_c=float(start_c[i]), end_c=end_c, k_factor=k, area_mm2=area, margin=stands_s / opens_s,
            worst_a=worst_a, opens_s=opens_s, stands_s=stands_s,
        )  # fmt: skip
    return out


def carrying_mm2(mm2: float, insulation: str) -> float:
    """Area of copper that has the size's greatest resistance [mm²]: on the safe side of the nominal area."""
    return COPPER_OHM_MM2_PER_M.value / wire_size(mm2, insulation).r20_ohm_per_m


def _short(curve: FuseCurve, most_a: float, stands: float) -> list[tuple[float, float, float]]:
    """(time the wire stands, latest opening time, current) where both are short-circuit matters. The band is made of
    straight lines in logarithms and so is the wire's limit, so the worst place is at a corner."""
    first_a = curve.opens_within_a(OPENS_WITHIN_S.value)
    if most_a < first_a:
        return []
    corners = [first_a, *(i for i in curve.gate_currents_a if first_a < i < most_a), most_a]
    return [((stands / i) ** 2, curve.latest_s(i), i) for i in corners]


def _overload(
    found: Sequence[tuple[Wire, FuseCurve, float]], heat: WireHeat, air_c: Floats, factor: Floats, start_c: Floats
) -> list[list[tuple[float, float, float]]]:
    """The same above 5 s, where heat leaves the wire: time to class + 50 K against the latest opening time."""
    out: list[list[tuple[float, float, float]]] = [[] for _ in found]
    which: list[int] = []
    amps: list[float] = []
    for i, (_, curve, most_a) in enumerate(found):
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
        latest = found[i][1].latest_s(amps[j])
        out[i].append((max(float(times[j]), OPENS_WITHIN_S.value if times[j] > 0 else 0.0), latest, amps[j]))
    return out


def damage_curve(k: WireLimit, from_a: float, to_a: float) -> tuple[tuple[float, float], ...]:
    """Points (current [A], time [s]) at which the wire is hurt, by rising current: up to 5 s the adiabatic limit,
    beyond it the time to class + 50 K. Currents that it stands for ever are left out."""
    currents = np.geomspace(from_a, to_a, _CURVE_POINTS)
    n = currents.size
    heat = wire_heat([(k.wire.mm2, k.wire.insulation)] * n)
    air_c, limit_c = np.full(n, k.ambient_c), np.full(n, k.class_c + OVERLOAD_K.value)
    factor = _factor(k.loaded)
    slow = time_to_reach_s(heat, currents / factor, air_c, limit_c, np.full(n, min(k.start_c, k.class_c)))
    out = []
    for current, slow_s in zip(currents.tolist(), slow.tolist(), strict=True):
        fast_s = (k.k_factor * k.area_mm2 / current) ** 2
        seconds = fast_s if fast_s <= OPENS_WITHIN_S.value else max(slow_s, OPENS_WITHIN_S.value)
        if math.isfinite(seconds):
            out.append((current, seconds))
    return tuple(out)
