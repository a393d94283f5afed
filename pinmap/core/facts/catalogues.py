"""Conductor sizes as the standards list them, each list with its greatest resistances and its source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from pinmap.core.errors import TableGap
from pinmap.core.facts.conductors import awg_area_mm2, awg_names, sae_areas_mm2
from pinmap.core.facts.constants import STRANDING_FACTOR
from pinmap.core.facts.metals import metal
from pinmap.core.facts.sources import rows, source


@dataclass(frozen=True, slots=True)
class Conductor:
    """One size: its name in the standard, nominal or true area [mm2], greatest resistance at 20 °C [ohm/m]."""

    name: str
    mm2: float
    r20_ohm_per_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalogue:
    """A list of sizes, rising."""

    key: str
    title: str
    metal: str
    conductors: tuple[Conductor, ...]
    source: str


def _by_area(named: list[tuple[str, float]], metal_key: str) -> tuple[Conductor, ...]:
    rho = metal(metal_key).ohm_mm2_per_m * STRANDING_FACTOR.value
    return tuple(Conductor(name, mm2, rho / mm2) for name, mm2 in sorted(named, key=lambda pair: pair[1]))


@cache
def catalogues() -> Mapping[str, Catalogue]:
    """All lists by key: ISO 6722-1 in copper and aluminium, IEC 60228 classes 2 and 5 plain and tinned, class 2 in
    aluminium, AWG in copper and aluminium, SAE J1128."""
    found: list[Catalogue] = []
    for key in ("copper", "aluminium"):
        ratio = metal(key).limit_ratio
        head = str(source("conductors_iso6722"))
        note = "" if ratio == 1 else f"; times {ratio:g}, ISO 6722-2 by ISO 6722-1 (from memory)"
        found.append(
            Catalogue(
                key=f"iso6722-{key}", title=f"ISO 6722-1 metric sizes, {key}", metal=key, source=head + note,
                conductors=tuple(
                    Conductor(f"{float(r['mm2']):g} mm²", float(r["mm2"]), ratio * float(r["r20_mohm_per_m"]) / 1000)
                    for r in rows("conductors_iso6722")
                ),
            )
        )  # fmt: skip
    for column, words, key in (
        ("class2_plain", "class 2, plain copper", "copper"),
        ("class2_tinned", "class 2, tinned copper", "copper"),
        ("class5_plain", "class 5, plain copper", "copper"),
        ("class5_tinned", "class 5, tinned copper", "copper"),
        ("class2_aluminium", "class 2, aluminium", "aluminium"),
    ):
        found.append(
            Catalogue(
                key=f"iec60228-{column.removeprefix('class').replace('_', '-')}", title=f"IEC 60228 {words}",
                metal=key, source=str(source("conductors_iec60228")),
                conductors=tuple(
                    Conductor(f"{float(r['mm2']):g} mm²", float(r["mm2"]), float(r[column]) / 1000)
                    for r in rows("conductors_iec60228")
                    if r[column]
                ),
            )
        )  # fmt: skip
    gauges = [(f"{name} AWG", awg_area_mm2(name)) for name in awg_names() if awg_area_mm2(name) > 0.12]
    found += [
        Catalogue(
            key=f"awg-{key}", title=f"AWG, ASTM B258, {key}", metal=key, conductors=_by_area(gauges, key),
            source=f"ASTM B258 areas; {metal(key).source}; {STRANDING_FACTOR.source}",
        )
        for key in ("copper", "aluminium")
    ]  # fmt: skip
    sae = [(f"SAE {name}", area) for name, area in sae_areas_mm2().items()]
    found.append(
        Catalogue(
            key="sae", title="SAE J1128 least areas, copper", metal="copper", conductors=_by_area(sae, "copper"),
            source=f"{source('conductors_sae')}; {STRANDING_FACTOR.source}",
        )
    )  # fmt: skip
    return MappingProxyType({c.key: c for c in found})


def catalogue(key: str) -> Catalogue:
    """The list of this key. Raises TableGap."""
    found = catalogues().get(key)
    if found is None:
        raise TableGap("the conductor catalogues", key, ", ".join(catalogues()))
    return found
