"""Heating over time: pulses, intermittent loads, and how long a wire stands an overload.

The conductor is one body at one temperature, the wall is cut into rings, the surface sheds heat as in the steady
balance. Implicit Euler steps grow with time, all wires at once. So short a pulse that no heat leaves the metal is the
adiabatic limit; for ever is the steady temperature. This is a single wire in free air; for one in a bundle give the
temperature around it as its ambient, which is on the safe side for the bundle lags behind. The wall's heat capacity
counts with the square of the contact factor by which IEC 60949 allows for imperfect contact between metal and wall.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pinmap.core.electrics.heat import Around, Floats, WireHeat, alone, given_off_w_per_m, shed_w_per_m, temperature_c
from pinmap.core.facts.constants import STRAND_FILL, WALL_CONTACT, WALL_HEAT_J_PER_K_MM3

_RINGS = 6
_FIRST_S = 1e-4
_STEPS = 400


@dataclass(frozen=True)
class Heating:
    """Conductor temperature [°C] of shape (times, wires) at the times [s]."""

    seconds: Floats
    core_c: Floats


def _wall_heat_j_per_m3_k() -> float:
    return WALL_HEAT_J_PER_K_MM3.value * 1e9 * WALL_CONTACT.value**2


def wall_j_per_m_k(wires: WireHeat) -> Floats:
    """Heat capacity of the wall [J/(m·K)], as far as it counts (imperfect contact)."""
    return np.asarray(_wall_heat_j_per_m3_k() * np.pi / 4 * (wires.outside_m**2 - wires.conductor_m**2))


def heating(
    wires: WireHeat, current_a: Floats, ambient_c: Floats, seconds: float, start_c: Floats | None = None
) -> Heating:
    """Conductor temperatures from a start (the ambient if none is given) under a steady current, up to ``seconds``.

    Melting metal stays at its melting point.
    """
    times = np.concatenate([[0.0], np.geomspace(min(_FIRST_S, seconds / 10), seconds, _STEPS)])
    edges = np.linspace(0.0, 1.0, _RINGS + 1)
    radii = wires.conductor_m[:, None] / 2 + edges * (wires.outside_m - wires.conductor_m)[:, None] / 2  # (n, rings+1)
    middle = np.sqrt(radii[:, 1:] * radii[:, :-1])
    volume_heat = _wall_heat_j_per_m3_k()
    stores = np.concatenate(
        [wires.metal_j_per_m_k[:, None], volume_heat * np.pi * (radii[:, 1:] ** 2 - radii[:, :-1] ** 2)], axis=1
    )
    along = np.concatenate([radii[:, :1], middle, radii[:, -1:]], axis=1)
    links = 2 * np.pi * wires.wall_w_per_m_k[:, None] / np.log(along[:, 1:] / along[:, :-1])  # core..rings..surface
    temp = np.repeat((ambient_c if start_c is None else start_c)[:, None].astype(float), _RINGS + 1, axis=1)
    surface = temp[:, -1].copy()
    power = current_a**2 * wires.r20_ohm_per_m
    out = [temp[:, 0]]
    for dt in np.diff(times):
        # Surface: what the last half ring brings is shed; linearised about the last surface temperature.
        off = given_off_w_per_m(wires.outside_m, surface, ambient_c)
        slope = (given_off_w_per_m(wires.outside_m, surface + 0.05, ambient_c) - off) / 0.05
        out_link = links[:, -1]
        through = out_link * slope / (out_link + slope)
        shift = through * (surface - off / np.maximum(slope, 1e-12))
        main = stores / dt
        rhs = main * temp
        main = main.copy()
        main[:, :-1] += links[:, :-1]
        main[:, 1:] += links[:, :-1]
        # Resistance at the step's end, but at its start where it runs away within one step: such a wire melts.
        grows = np.where(power * wires.alpha_per_k < 0.3 * stores[:, 0] / dt, power * wires.alpha_per_k, 0.0)
        main[:, 0] -= grows
        rhs[:, 0] += power * (1 + wires.alpha_per_k * (temp[:, 0] - 20)) - grows * temp[:, 0]
        main[:, -1] += through
        rhs[:, -1] += shift
        temp = _tridiagonal(-links[:, :-1], main, rhs)
        temp[:, 0] = np.clip(temp[:, 0], None, wires.melts_c)
        temp = np.minimum(temp, wires.melts_c[:, None])
        surface = (out_link * temp[:, -1] + slope * surface - off) / (out_link + slope)
        surface = np.clip(surface, np.minimum(ambient_c, temp.min(axis=1)), np.maximum(temp.max(axis=1), ambient_c))
        out.append(temp[:, 0])
    return Heating(times, np.array(out))


def _tridiagonal(off: Floats, main: Floats, rhs: Floats) -> Floats:
    """Solves symmetric tridiagonal systems, one a row (Thomas)."""
    size = main.shape[1]
    c, d = np.empty_like(off), rhs.copy()
    pivot = main[:, 0]
    d[:, 0] = rhs[:, 0] / pivot
    for i in range(1, size):
        c[:, i - 1] = off[:, i - 1] / pivot
        pivot = main[:, i] - off[:, i - 1] * c[:, i - 1]
        d[:, i] = (rhs[:, i] - off[:, i - 1] * d[:, i - 1]) / pivot
    for i in range(size - 2, -1, -1):
        d[:, i] -= c[:, i] * d[:, i + 1]
    return d


def time_to_reach_s(
    wires: WireHeat, current_a: Floats, ambient_c: Floats, limit_c: Floats, start_c: Floats | None = None,
    longest_s: float = 36000.0,
) -> Floats:  # fmt: skip
    """Time [s] in which each conductor gets to a limit; 0 where it is there at the start, inf where it never does.

    A wire whose steady temperature lies below the limit never does; one that would within ``longest_s`` not reach it
    although it will in the end counts as longest_s.
    """
    begin = ambient_c if start_c is None else start_c
    settled = temperature_c(wires, current_a, ambient_c, np.ones_like(ambient_c))
    found = heating(wires, current_a, ambient_c, longest_s, begin)
    above = found.core_c >= limit_c
    first = np.argmax(above, axis=0)
    reached = above.any(axis=0)
    at = np.arange(limit_c.size)
    before = np.maximum(first - 1, 0)
    t0, t1 = found.seconds[before], found.seconds[first]
    c0, c1 = found.core_c[before, at], found.core_c[first, at]
    share = np.divide(limit_c - c0, c1 - c0, out=np.zeros_like(c0), where=c1 > c0)
    never = settled < limit_c
    late = np.where(never, np.inf, longest_s)
    return np.asarray(np.where(begin >= limit_c, 0.0, np.where(reached, t0 + share * (t1 - t0), late)))


def time_constant_s(
    wires: WireHeat, ambient_c: Floats, core_c: Floats, around: Around | None = None, on_s: float = np.inf
) -> Floats:
    """Time constant [s] near a conductor temperature: heat capacity of metal and wall times the rise per W/m there.

    For a pulse of on_s the wall counts only as far as heat gets into it, by IEC 60949:
    1e-6·(C1·F·√(σk·t·S) + C2·F²·σk·t) with C1 2464, C2 1.22, S in mm². What else lies around
    the wire never counts: on the safe side.
    """
    way = around or alone(wires)
    core = np.maximum(core_c, ambient_c + 1.0)
    wall = wall_j_per_m_k(wires)
    if np.isfinite(on_s):
        area = STRAND_FILL.value * np.pi / 4 * wires.conductor_m**2 * 1e6
        taken = WALL_CONTACT.value**2 * WALL_HEAT_J_PER_K_MM3.value * 1e9 * wires.wall_w_per_m_k
        wall = np.minimum(wall, 1e-6 * (2464 * np.sqrt(taken * on_s * area) + 1.22 * taken * on_s))
    return np.asarray((wires.metal_j_per_m_k + wall) * (core - ambient_c) / shed_w_per_m(core, ambient_c, way))


def pulse_share(on_s: Floats, period_s: Floats, time_constant: Floats) -> Floats:
    """Share of the steady rise that a load on for on_s in every period_s reaches at its hottest:
    (1 - e^(-on/τ)) / (1 - e^(-period/τ)). A period of inf is one pulse; one as long as on_s is a steady load."""
    return np.asarray(-np.expm1(-on_s / time_constant) / -np.expm1(-np.maximum(period_s, on_s) / time_constant))


def lasting_current_a(current_a: Floats, on_s: Floats, period_s: Floats, time_constant: Floats) -> Floats:
    """Steady current [A] that heats as much as an intermittent one does at its hottest: from the current itself (long
    pulses) down to its root mean square (fast ones)."""
    return np.asarray(current_a * np.sqrt(pulse_share(on_s, period_s, time_constant)))
