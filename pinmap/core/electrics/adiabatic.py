"""Short circuits: what a conductor stands for a few seconds, when no heat has time to leave it."""

from __future__ import annotations

import math

from pinmap.core.errors import InputError
from pinmap.core.facts.constants import CMIL_MM2
from pinmap.core.facts.metals import metal

ADIABATIC_UP_TO_S = 5.0  # IEC 60364-5-54


def k_factor(start_c: float, end_c: float, metal_key: str = "copper") -> float:
    """k [A·√s/mm²] between two conductor temperatures: √(Q·(β+20)/ρ20 · ln((β+end)/(β+start))), IEC 60364-5-54 annex A.

    Raises InputError when the end is not hotter than the start, TableGap for an unknown metal.
    """
    m = metal(metal_key)
    if not -m.beta_k < start_c < end_c:
        raise InputError("end_c", end_c, f"give a temperature above the {start_c:g} °C of the start")
    rho_ohm_mm = m.ohm_mm2_per_m / 1000
    scale = m.heat_j_per_k_mm3 * (m.beta_k + 20) / rho_ohm_mm
    return math.sqrt(scale * math.log((m.beta_k + end_c) / (m.beta_k + start_c)))


def withstands_a(area_mm2: float, seconds: float, start_c: float, end_c: float, metal_key: str = "copper") -> float:
    """Current [A] that brings a conductor from start to end in this time, no heat leaving: k·S/√t."""
    return k_factor(start_c, end_c, metal_key) * area_mm2 / math.sqrt(seconds)


def withstands_s(area_mm2: float, current_a: float, start_c: float, end_c: float, metal_key: str = "copper") -> float:
    """Time [s] in which a current brings a conductor from start to end, no heat leaving: (k·S/I)²."""
    return (k_factor(start_c, end_c, metal_key) * area_mm2 / current_a) ** 2


def adiabatic_rise_k(
    area_mm2: float, current_a: float, seconds: float, start_c: float, metal_key: str = "copper"
) -> float:
    """Rise [K] of a conductor after a time, no heat leaving: (β+start)·(exp(I²t·ρ20/(Q·(β+20)·S²)) - 1)."""
    m = metal(metal_key)
    scale = m.heat_j_per_k_mm3 * (m.beta_k + 20) / (m.ohm_mm2_per_m / 1000)
    power = (current_a / area_mm2) ** 2 * seconds / scale
    return (m.beta_k + start_c) * math.expm1(min(power, 700.0))


def iec60949_a(area_mm2: float, seconds: float, start_c: float, end_c: float, metal_key: str = "copper") -> float:
    """Adiabatic current [A] of IEC 60949: K·S·√(ln((β+end)/(β+start))/t), K 226 for copper, 148 for aluminium."""
    m = metal(metal_key)
    big_k = {"copper": 226.0, "aluminium": 148.0}[m.key]
    return big_k * area_mm2 * math.sqrt(math.log((m.beta_k + end_c) / (m.beta_k + start_c)) / seconds)


def iec60949_heat_loss_factor(
    area_mm2: float, seconds: float, wall_heat_j_per_k_mm3: float, wall_k_w_per_m_k: float, metal_key: str = "copper"
) -> float:
    """Non-adiabatic factor of IEC 60949 on the adiabatic current: √(1 + X·√(t/S) + Y·t/S), with
    X = C1·F·√(σi/ρi)/σc and Y = C2·F²·(σi/ρi)/σc, C1 2464 mm/m, C2 1.22 K·m·mm²/J, contact factor F 0.7."""
    conductor = metal(metal_key).heat_j_per_k_mm3 * 1e9
    share = wall_heat_j_per_k_mm3 * 1e9 * wall_k_w_per_m_k
    x = 2464 * 0.7 * math.sqrt(share) / conductor
    y = 1.22 * 0.7**2 * share / conductor
    return math.sqrt(1 + x * math.sqrt(seconds / area_mm2) + y * seconds / area_mm2)


def onderdonk_a(area_cmil: float, seconds: float, ambient_c: float = 25.0, melts_c: float = 1083.0) -> float:
    """Current [A] that melts a copper wire in this time: A·√(log10((Tm-Ta)/(234+Ta) + 1)/(33·t)), A in circular mils.

    A copied form with (234 - Ta) gives 5 % too much.
    """
    return area_cmil * math.sqrt(math.log10((melts_c - ambient_c) / (234 + ambient_c) + 1) / (33 * seconds))


def preece_a(diameter_mm: float) -> float:
    """Current [A] that melts a bare copper wire in free air in the end: 10244·d^1.5, d in inches (Preece)."""
    return 10244 * math.pow(diameter_mm / 25.4, 1.5)


def area_cmil(area_mm2: float) -> float:
    """Area in circular mils."""
    return area_mm2 / CMIL_MM2.value
