"""Steady temperature of an insulated round wire in still air, many wires at once.

Per metre of wire: I²·R(Tc) = q; q leaves through the wall, Tc - Ts = q·ln(D/d)/(2π·k); and from the surface by natural
convection (Churchill and Chu 1975, horizontal cylinder) and radiation. All functions take and give arrays of one shape.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinmap.core.facts.conductors import insulation, wire_size
from pinmap.core.facts.constants import (
    AIR_GAS_J_PER_KG_K,
    AIR_PRESSURE_PA,
    COPPER_ALPHA_PER_K,
    COPPER_MELTS_C,
    EMISSIVITY,
    GRAVITY_M_PER_S2,
    STEFAN_BOLTZMANN,
    ZERO_C_K,
)
from pinmap.core.facts.sources import rows

Floats = NDArray[np.float64]

_SOLVED_K = 0.001
_ROUNDS = 60
_T0, _PRANDTL = ZERO_C_K.value, 0.707


@dataclass(frozen=True)
class WireHeat:
    """What heat needs of wires: conductor and outside diameter [m], resistance at 20 °C [ohm/m], conductivity of the
    wall [W/(m·K)], highest conductor temperature [°C]."""

    conductor_m: Floats
    outside_m: Floats
    r20_ohm_per_m: Floats
    wall_w_per_m_k: Floats
    max_temp_c: Floats

    @property
    def wall_k_m_per_w(self) -> Floats:
        return np.log(self.outside_m / self.conductor_m) / (2 * np.pi * self.wall_w_per_m_k)

    def take(self, index: NDArray[np.intp]) -> WireHeat:
        return WireHeat(
            self.conductor_m[index],
            self.outside_m[index],
            self.r20_ohm_per_m[index],
            self.wall_w_per_m_k[index],
            self.max_temp_c[index],
        )


def wire_heat(sizes: list[tuple[float, str]]) -> WireHeat:
    """Heat data of (mm2, insulation key) pairs. Raises InputError or TableGap as ``conductors.wire_size`` does."""
    kinds = {pair: i for i, pair in enumerate(dict.fromkeys(sizes))}
    table = np.empty((len(kinds), 5))
    for (mm2, key), i in kinds.items():
        size, wall = wire_size(mm2, key), insulation(key)
        table[i] = (
            size.conductor_mm / 1000,
            size.od_mm / 1000,
            size.r20_ohm_per_m,
            wall.k_w_per_m_k,
            wall.max_temp_c,
        )
    chosen = table[[kinds[pair] for pair in sizes]] if sizes else table
    return WireHeat(*(np.ascontiguousarray(column) for column in chosen.T))


def nusselt(rayleigh: Floats) -> Floats:
    """Churchill and Chu (1975) for a horizontal cylinder in air, Rayleigh 1e-5 to 1e12."""
    shape = (1 + (0.559 / _PRANDTL) ** (9 / 16)) ** (8 / 27)
    return np.asarray((0.60 + 0.387 * rayleigh ** (1 / 6) / shape) ** 2)


def air(film_k: Floats) -> tuple[Floats, Floats]:
    """Conductivity [W/(m·K)] and kinematic viscosity [m²/s] of dry air at sea level.

    Viscosity by Sutherland's law, density of an ideal gas; conductivity by a power law through
    Incropera's table A.4 (300 to 500 K, within 1 %). Prandtl number 0.707 throughout.
    """
    mu = 1.716e-5 * (film_k / 273.15) ** 1.5 * (273.15 + 110.4) / (film_k + 110.4)
    nu = mu * AIR_GAS_J_PER_KG_K.value * film_k / AIR_PRESSURE_PA.value
    return np.asarray(0.0263 * (film_k / 300) ** 0.855), np.asarray(nu)


def given_off_w_per_m(outside_m: Floats, surface_c: Floats, ambient_c: Floats) -> Floats:
    """Heat that a surface gives off per metre of wire [W/m]."""
    rise = np.maximum(surface_c - ambient_c, 0.0)
    film_k = (surface_c + ambient_c) / 2 + _T0
    k, nu = air(film_k)
    rayleigh = GRAVITY_M_PER_S2.value * rise * outside_m**3 * _PRANDTL / (film_k * nu**2)
    convection = nusselt(np.maximum(rayleigh, 1e-12)) * k / outside_m * rise
    radiation = EMISSIVITY.value * STEFAN_BOLTZMANN.value * ((surface_c + _T0) ** 4 - (ambient_c + _T0) ** 4)
    return np.asarray(np.pi * outside_m * (convection + radiation))


def temperature_c(wires: WireHeat, current_a: Floats, ambient_c: Floats, factor: Floats) -> Floats:
    """Conductor temperature [°C] that each wire settles at. ``factor`` is the bundle factor on the allowable current:
    a bundled wire heats as a free one does at current / factor. No balance below the melting point of copper gives
    that melting point.
    """
    effective = np.abs(current_a) / factor
    watts = effective**2 * wires.r20_ohm_per_m  # at 20 °C
    temp = ambient_c.astype(float).copy()
    hot = np.flatnonzero(watts > 1e-7)
    if hot.size == 0:
        return temp
    w, w20, ta = wires.take(hot), watts[hot], ambient_c[hot]
    wall, alpha = w.wall_k_m_per_w, COPPER_ALPHA_PER_K.value
    top = COPPER_MELTS_C.value

    def excess(surface: Floats) -> tuple[Floats, Floats]:
        off = given_off_w_per_m(w.outside_m, surface, ta)
        core = surface + off * wall
        return np.asarray(off - w20 * (1 + alpha * (core - 20))), np.asarray(core)

    # Bracketed false position (Illinois): the balance may have no root below melting, which the bracket shows.
    low, high = ta.astype(float).copy(), np.full_like(ta, top, dtype=float)
    f_low, _ = excess(low)
    f_high, core_high = excess(high)
    melts = f_high <= 0
    surface, side = high.copy(), np.zeros(hot.size)
    core = core_high
    for _ in range(_ROUNDS):
        before = surface
        surface = np.where(melts, top, high - f_high * (high - low) / np.where(f_high == f_low, 1.0, f_high - f_low))
        f, core = excess(surface)
        above = f > 0
        f_low = np.where(above & (side > 0), f_low / 2, np.where(above, f_low, f))
        f_high = np.where(~above & (side < 0), f_high / 2, np.where(above, f, f_high))
        low, high = np.where(above, low, surface), np.where(above, surface, high)
        side = np.where(above, 1.0, -1.0)
        if np.all(np.abs(surface - before) < _SOLVED_K):
            break
    temp[hot] = np.where(melts, top, np.minimum(core, top))
    return temp


def ampacity_a(wires: WireHeat, ambient_c: Floats, factor: Floats, margin_k: float = 0.0) -> Floats:
    """Current [A] that brings each conductor to its insulation's class less a margin; 0 where the air is that hot."""
    core = wires.max_temp_c - margin_k
    wall = wires.wall_k_m_per_w
    low, high = np.minimum(ambient_c, core).astype(float), core.astype(float).copy()
    for _ in range(40):  # surface temperature at which surface and wall carry the same heat
        middle = (low + high) / 2
        too_hot = middle + given_off_w_per_m(wires.outside_m, middle, ambient_c) * wall > core
        low, high = np.where(too_hot, low, middle), np.where(too_hot, middle, high)
    off = given_off_w_per_m(wires.outside_m, low, ambient_c)
    ohm = wires.r20_ohm_per_m * (1 + COPPER_ALPHA_PER_K.value * (core - 20))
    return np.asarray(np.where(core > ambient_c, factor * np.sqrt(np.maximum(off, 0.0) / ohm), 0.0))


def bundle_factors(loaded: NDArray[np.intp], standard: str = "abyc-e11") -> Floats:
    """Factor on the allowable current by number of loaded wires in the bundle; ABYC E-11 by default."""
    found = [(int(r["from_wires"]), float(r["factor"])) for r in rows("bundle_factors") if r["standard"] == standard]
    steps, factors = np.array([s for s, _ in found]), np.array([f for _, f in found])
    return np.asarray(factors[np.maximum(np.searchsorted(steps, loaded, side="right") - 1, 0)])
