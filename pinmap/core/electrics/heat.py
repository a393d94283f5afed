"""Steady temperature of insulated round wires in still air, many at once.

Per metre of wire: I²·R(Tc) = q; q leaves through the wall, Tc - Ts = q·ln(D/d)/(2π·k); and from the surface by natural
convection (Churchill and Chu 1975, horizontal cylinder) and radiation. All functions take and give arrays of one shape.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from pinmap.core.facts.conductors import insulation, wire_size
from pinmap.core.facts.constants import (
    AIR_GAS_J_PER_KG_K,
    AIR_PRESSURE_PA,
    EMISSIVITY,
    GRAVITY_M_PER_S2,
    STEFAN_BOLTZMANN,
    ZERO_C_K,
)
from pinmap.core.facts.metals import metal
from pinmap.core.facts.sources import rows

Floats = NDArray[np.float64]

_SOLVED_K = 0.001
_ROUNDS = 60
_T0, _PRANDTL = ZERO_C_K.value, 0.707


@dataclass(frozen=True)
class WireHeat:
    """What heat needs of wires: conductor and outside diameter [m], resistance at 20 °C [ohm/m], conductivity of the
    wall [W/(m·K)], highest conductor temperature [°C]; then the metal's coefficient [1/K], melting point [°C] and heat
    capacity by volume over resistivity [J·ohm/(K·m²)], which are copper's where left out."""

    conductor_m: Floats
    outside_m: Floats
    r20_ohm_per_m: Floats
    wall_w_per_m_k: Floats
    max_temp_c: Floats
    alpha_per_k: Floats = field(default_factory=lambda: np.array(metal("copper").alpha_per_k))
    melts_c: Floats = field(default_factory=lambda: np.array(metal("copper").melts_c))
    heat_ohm: Floats = field(default_factory=lambda: np.array(_heat_ohm("copper")))

    def __post_init__(self) -> None:
        for name in ("alpha_per_k", "melts_c", "heat_ohm"):
            object.__setattr__(self, name, np.broadcast_to(getattr(self, name), self.conductor_m.shape))

    @property
    def wall_k_m_per_w(self) -> Floats:
        return np.log(self.outside_m / self.conductor_m) / (2 * np.pi * self.wall_w_per_m_k)

    @property
    def metal_j_per_m_k(self) -> Floats:
        """Heat capacity of the metal that carries the current; what a size has beyond its greatest resistance is not
        counted, on the safe side."""
        return np.asarray(self.heat_ohm / self.r20_ohm_per_m)

    def resistance_ohm_per_m(self, temp_c: Floats) -> Floats:
        return np.asarray(self.r20_ohm_per_m * (1 + self.alpha_per_k * (temp_c - 20)))

    def take(self, index: NDArray[np.intp]) -> WireHeat:
        return WireHeat(*(getattr(self, f.name)[index] for f in fields(self)))


def _heat_ohm(metal_key: str) -> float:
    m = metal(metal_key)
    return m.heat_j_per_k_mm3 * 1e9 * m.ohm_mm2_per_m * 1e-6


def wire_heat(sizes: Sequence[tuple[float, str]], metals: Sequence[str] | None = None) -> WireHeat:
    """Heat data of (mm2, insulation key) pairs, of copper or of the metals given one by one. Raises InputError or
    TableGap as ``conductors.wire_size`` does."""
    named = [(*pair, "copper") for pair in sizes] if metals is None else [
        (*pair, m) for pair, m in zip(sizes, metals, strict=True)
    ]  # fmt: skip
    kinds = {triple: i for i, triple in enumerate(dict.fromkeys(named))}
    table = np.empty((len(kinds), 8))
    for (mm2, key, metal_key), i in kinds.items():
        size, wall, of = wire_size(mm2, key, metal_key), insulation(key), metal(metal_key)
        table[i] = (
            size.conductor_mm / 1000,
            size.od_mm / 1000,
            size.r20_ohm_per_m,
            wall.k_w_per_m_k,
            wall.max_temp_c,
            of.alpha_per_k,
            of.melts_c,
            _heat_ohm(metal_key),
        )
    chosen = table[[kinds[triple] for triple in named]] if named else table
    return WireHeat(*(np.ascontiguousarray(column) for column in chosen.T))


@dataclass(frozen=True)
class Around:
    """What lies between each wire's conductor and the air: diameter of the surface that sheds the heat [m], how many
    times the wire's own heat that surface sheds, temperature between conductor and surface per W/m of the wire's own
    heat [K·m/W], and the surface's emissivity."""

    outer_m: Floats
    share: Floats
    inner_k_m_per_w: Floats
    emissivity: Floats

    def take(self, index: NDArray[np.intp]) -> Around:
        return Around(self.outer_m[index], self.share[index], self.inner_k_m_per_w[index], self.emissivity[index])


def alone(wires: WireHeat) -> Around:
    """A wire by itself in the air."""
    one = np.ones_like(wires.outside_m)
    return Around(wires.outside_m, one, wires.wall_k_m_per_w, EMISSIVITY.value * one)


def nusselt(rayleigh: Floats, prandtl: float = _PRANDTL) -> Floats:
    """Churchill and Chu (1975) for a horizontal cylinder, of air unless another Prandtl number is given; Rayleigh 1e-5
    to 1e12."""
    shape = (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)
    return np.asarray((0.60 + 0.387 * rayleigh ** (1 / 6) / shape) ** 2)


def air(film_k: Floats, pressure_pa: float = AIR_PRESSURE_PA.value) -> tuple[Floats, Floats]:
    """Conductivity [W/(m·K)] and kinematic viscosity [m²/s] of dry air, at sea level unless a pressure is given.

    Viscosity by Sutherland's law, density of an ideal gas; conductivity by a power law through
    Incropera's table A.4 (300 to 500 K, within 1 %). Prandtl number 0.707 throughout.
    """
    warmer = film_k / 273.15
    mu = 1.716e-5 * warmer * np.sqrt(warmer) * (273.15 + 110.4) / (film_k + 110.4)
    nu = mu * AIR_GAS_J_PER_KG_K.value * film_k / pressure_pa
    return np.asarray(0.0263 * (film_k / 300) ** 0.855), np.asarray(nu)


def given_off_w_per_m(
    outside_m: Floats,
    surface_c: Floats,
    ambient_c: Floats,
    emissivity: Floats | float = EMISSIVITY.value,
    pressure_pa: float = AIR_PRESSURE_PA.value,
) -> Floats:
    """Heat that a surface gives off per metre of wire [W/m]."""
    rise = np.maximum(surface_c - ambient_c, 0.0)
    film_k = (surface_c + ambient_c) / 2 + _T0
    k, nu = air(film_k, pressure_pa)
    rayleigh = GRAVITY_M_PER_S2.value * _PRANDTL * rise * outside_m * outside_m**2 / (film_k * nu**2)
    convection = nusselt(np.maximum(rayleigh, 1e-12)) * k / outside_m * rise
    hot, cold = (surface_c + _T0) ** 2, (ambient_c + _T0) ** 2  # squares: other powers cost ten times as much
    radiation = emissivity * STEFAN_BOLTZMANN.value * (hot**2 - cold**2)
    return np.asarray(np.pi * outside_m * (convection + radiation))


def temperature_c(
    wires: WireHeat, current_a: Floats, ambient_c: Floats, factor: Floats, around: Around | None = None
) -> Floats:
    """Conductor temperature [°C] that each wire settles at, alone or with what is ``around`` it. ``factor`` is a
    standard's bundle factor on the allowable current: a bundled wire heats as a free one does at current / factor.
    No balance below the metal's melting point gives that melting point.
    """
    effective = np.abs(current_a) / factor
    watts = effective**2 * wires.r20_ohm_per_m  # at 20 °C
    temp = ambient_c.astype(float).copy()
    hot = np.flatnonzero(watts > 1e-7)
    if hot.size == 0:
        return temp
    w, ta, way = wires.take(hot), ambient_c[hot], (around or alone(wires)).take(hot)
    w20, inner = watts[hot] * way.share, way.inner_k_m_per_w / way.share
    top = w.melts_c

    def excess(surface: Floats) -> tuple[Floats, Floats]:
        off = given_off_w_per_m(way.outer_m, surface, ta, way.emissivity)
        core = surface + off * inner
        return np.asarray(off - w20 * (1 + w.alpha_per_k * (core - 20))), np.asarray(core)

    # Bracketed false position (Illinois): the balance may have no root below melting, which the bracket shows.
    low, high = ta.astype(float).copy(), top.astype(float).copy()
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


def shed_w_per_m(
    core_c: Floats, ambient_c: Floats, around: Around, pressure_pa: float = AIR_PRESSURE_PA.value
) -> Floats:
    """Heat [W/m] that each wire itself sheds with its conductor at a temperature; 0 where the air is as hot."""
    low, high = np.minimum(ambient_c, core_c).astype(float), core_c.astype(float).copy()
    for _ in range(40):  # surface temperature at which surface and inside carry the same heat
        middle = (low + high) / 2
        own = given_off_w_per_m(around.outer_m, middle, ambient_c, around.emissivity, pressure_pa) / around.share
        too_hot = middle + own * around.inner_k_m_per_w > core_c
        low, high = np.where(too_hot, low, middle), np.where(too_hot, middle, high)
    off = given_off_w_per_m(around.outer_m, low, ambient_c, around.emissivity, pressure_pa) / around.share
    return np.asarray(np.where(core_c > ambient_c, np.maximum(off, 0.0), 0.0))


def ampacity_a(
    wires: WireHeat,
    ambient_c: Floats,
    factor: Floats,
    margin_k: float = 0.0,
    around: Around | None = None,
    pressure_pa: float = AIR_PRESSURE_PA.value,
) -> Floats:
    """Current [A] that brings each conductor to its insulation's class less a margin; 0 where the air is that hot."""
    core = wires.max_temp_c - margin_k
    own = shed_w_per_m(core, ambient_c, around or alone(wires), pressure_pa)
    return np.asarray(factor * np.sqrt(own / wires.resistance_ohm_per_m(core)))


def bundle_factors(loaded: NDArray[np.intp], standard: str = "abyc-e11") -> Floats:
    """Factor on the allowable current by number of loaded wires in the bundle; ABYC E-11 by default."""
    found = [(int(r["from_wires"]), float(r["factor"])) for r in rows("bundle_factors") if r["standard"] == standard]
    steps, factors = np.array([s for s, _ in found]), np.array([f for _, f in found])
    return np.asarray(factors[np.maximum(np.searchsorted(steps, loaded, side="right") - 1, 0)])
