"""Wire sizes, insulations and wire gauges, from standards' tables."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, TypeVar

from pinmap.core.errors import InputError, TableGap
from pinmap.core.facts.constants import (
    CMIL_MM2,
    COPPER_ALPHA_PER_K,
    COPPER_OHM_MM2_PER_M,
    STRAND_FILL,
    STRANDING_FACTOR,
)
from pinmap.core.facts.metals import metal
from pinmap.core.facts.sources import rows, source

if TYPE_CHECKING:  # the start of the app needs sizes, not arrays
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class WireSize:
    """A wire of one nominal size: greatest resistance at 20 °C and greatest outside diameter."""

    mm2: float
    r20_ohm_per_m: float
    od_mm: float
    source: str

    @property
    def conductor_mm(self) -> float:
        """Diameter of the stranded conductor under the wall [mm]."""
        return min(math.sqrt(4 * self.mm2 / (math.pi * STRAND_FILL.value)), 0.95 * self.od_mm)


@dataclass(frozen=True, slots=True)
class Insulation:
    """An insulation: highest conductor temperature by ISO 6722 class and conductivity of the wall."""

    key: str
    name: str
    max_temp_c: float
    k_w_per_m_k: float
    source: str
    temp_class: str = ""
    wall: str = "thin"


@cache
def insulations() -> Mapping[str, Insulation]:
    """All insulations by key."""
    title = str(source("insulations"))
    return MappingProxyType(
        {
            r["key"]: Insulation(
                r["key"],
                r["name"],
                float(r["max_temp_c"]),
                float(r["k_w_per_m_k"]),
                f"{title}; wall: {r['source']}",
                r["class"],
                r["wall"],
            )
            for r in rows("insulations")
        }
    )


def insulation(key: str) -> Insulation:
    """The insulation of this key. Raises TableGap."""
    found = insulations().get(key)
    if found is None:
        raise TableGap("the table of insulations", key, ", ".join(insulations()))
    return found


@cache
def wire_sizes(insulation_key: str) -> Mapping[float, WireSize]:
    """Sizes of ISO 6722-1 with this insulation's wall, by nominal mm2, rising. Raises TableGap."""
    column = "od_thin_mm" if insulation(insulation_key).wall == "thin" else "od_thick_mm"
    title = source("conductors_iso6722")
    head = f"{title.edition}, {title.clause}"
    found = {
        float(r["mm2"]): WireSize(
            float(r["mm2"]),
            float(r["r20_mohm_per_m"]) / 1000,
            float(r[column]),
            f"{head} ({r['source']}; diameter from memory)",
        )
        for r in rows("conductors_iso6722")
        if r[column]
    }
    return MappingProxyType(dict(sorted(found.items())))


@cache
def wire_size(mm2: float, insulation_key: str, metal_key: str = "copper") -> WireSize:
    """The wire of this size. A size that ISO 6722-1 does not list (a gauge's area, another trade's size) is computed:
    resistance from its area as copper with a lay factor, diameter on the line through the listed neighbours.
    Aluminium has the copper wire's diameter and its resistance times the metal's limit ratio.

    Raises InputError for a size outside 0.05 to 150 mm2, TableGap for an unknown insulation or metal.
    """
    if metal_key != "copper":
        copper, other = wire_size(mm2, insulation_key), metal(metal_key)
        what = f"{copper.source}; times {other.limit_ratio:g} for {other.name}"
        return WireSize(mm2, copper.r20_ohm_per_m * other.limit_ratio, copper.od_mm, what)
    listed = wire_sizes(insulation_key)
    if mm2 in listed:
        return listed[mm2]
    if not 0.05 <= mm2 <= 150:  # also refuses NaN
        raise InputError("wire size", mm2, "give a cross-section between 0.05 and 150 mm2")
    sizes = list(listed)
    low = max((s for s in sizes if s < mm2), default=sizes[0])
    high = min((s for s in sizes if s > low), default=sizes[-1])
    if mm2 > sizes[-1]:
        low, high = sizes[-2], sizes[-1]
    share = (math.sqrt(mm2) - math.sqrt(low)) / (math.sqrt(high) - math.sqrt(low))
    od_mm = listed[low].od_mm + share * (listed[high].od_mm - listed[low].od_mm)
    name = nearest_awg(mm2)
    is_gauge = abs(awg_area_mm2(name) / mm2 - 1) < 0.01
    # A listed mm2 is a name, not an area: the limits of IEC 60228 class 5 lie up to 15.7 % above area by copper.
    factor = STRANDING_FACTOR.value if is_gauge else 1.157
    what = f"AWG {name}, ASTM B258 area, lay factor 1.02" if is_gauge else "computed: copper by area, factor 1.157"
    return WireSize(mm2, COPPER_OHM_MM2_PER_M.value * factor / mm2, od_mm, what)


def next_size(mm2: float, stock_mm2: tuple[float, ...]) -> float:
    """The smallest stock size not below ``mm2``; ``mm2`` itself where stock ends below it."""
    return min((s for s in stock_mm2 if s >= mm2 - 1e-9), default=mm2)


_Number = TypeVar("_Number", float, "NDArray[np.float64]")


def resistance_factor(temp_c: _Number, alpha_per_k: float = COPPER_ALPHA_PER_K.value) -> _Number:
    """R(T) / R(20 °C), of copper by IEC 60028 unless another coefficient is given; a number or an array of them."""
    return 1 + alpha_per_k * (temp_c - 20)


def iec60228_ohm_per_km(mm2: float, conductor_class: int, *, tinned: bool = False, aluminium: bool = False) -> float:
    """Greatest resistance at 20 °C [ohm/km] of IEC 60228 class 2 or 5. Raises TableGap."""
    column = f"class{conductor_class}_{'aluminium' if aluminium else 'tinned' if tinned else 'plain'}"
    for r in rows("conductors_iec60228"):
        if float(r["mm2"]) == mm2 and r.get(column):
            return float(r[column])
    raise TableGap("IEC 60228", (mm2, conductor_class))


# Gauges


def _gauge_number(awg: str | int) -> int:
    text = str(awg).strip().upper().removeprefix("AWG").strip()
    if text.endswith("/0") and text[:-2].isdecimal() and 1 <= int(text[:-2]) <= 4:
        return 1 - int(text[:-2])
    if text in {"0", "00", "000", "0000"}:
        return 1 - len(text)
    if text.isdecimal() and 1 <= int(text) <= 40:
        return int(text)
    raise InputError("wire gauge", awg, "give 4/0 to 1/0 or 1 to 40")


def awg_diameter_mm(awg: str | int) -> float:
    """Diameter of a solid wire [mm]: 0.127 · 92^((36-n)/39), ASTM B258. Raises InputError."""
    return 0.127 * float(92 ** ((36 - _gauge_number(awg)) / 39))


def awg_area_mm2(awg: str | int) -> float:
    """Area [mm2] of a gauge, ASTM B258. Raises InputError."""
    return math.pi / 4 * awg_diameter_mm(awg) ** 2


def awg_names() -> tuple[str, ...]:
    """Gauges from 4/0 to 40."""
    return ("4/0", "3/0", "2/0", "1/0", *(str(n) for n in range(1, 41)))


@cache
def nearest_awg(mm2: float) -> str:
    """The gauge whose area is nearest in ratio. Raises InputError unless mm2 is above 0."""
    if not (mm2 > 0 and math.isfinite(mm2)):
        raise InputError("area", mm2, "give an area above 0 mm2")
    return min(awg_names(), key=lambda name: abs(math.log(awg_area_mm2(name) / mm2)))


def sae_areas_mm2() -> Mapping[str, float]:
    """Least conductor areas of SAE J1128 and J1127 [mm2] by size number, small to large."""
    return {r["awg"]: float(r["area_cmil"]) * CMIL_MM2.value for r in rows("conductors_sae")}
