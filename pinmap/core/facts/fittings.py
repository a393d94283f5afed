"""What holds a bundle: sizes of sleeves, tubes and heat-shrink, clips, grommets, backshell clamps; densities."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from pinmap.core.errors import TableGap
from pinmap.core.facts.sources import rows

SHRINK_MARGIN = 0.10  # common practice: supplied a tenth wider than the bundle, recovered a tenth narrower


@dataclass(frozen=True, slots=True, kw_only=True)
class SleeveSize:
    """One size of a covering and the bundles [mm] it holds. ``wall_mm`` None: that of the covering."""

    size: str
    min_mm: float
    max_mm: float
    source: str
    wall_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitting:
    """A clip, grommet or backshell clamp and the bundles [mm], covering included, that it takes."""

    kind: str
    size: str
    min_mm: float
    max_mm: float
    source: str


@cache
def sleeve_sizes() -> Mapping[str, tuple[SleeveSize, ...]]:
    """Sizes by covering, rising; a covering that is not here comes in one size or by the metre."""
    found: dict[str, list[SleeveSize]] = {}
    for r in rows("sleeve_sizes"):
        found.setdefault(r["covering"], []).append(
            SleeveSize(size=r["size"], min_mm=float(r["min_mm"]), max_mm=float(r["max_mm"]), source=r["source"])
        )
    for r in rows("shrink_sizes"):
        found.setdefault(r["covering"], []).append(
            SleeveSize(
                size=r["size"],
                min_mm=float(r["recovered_mm"]) / (1 - SHRINK_MARGIN),
                max_mm=float(r["supplied_mm"]) / (1 + SHRINK_MARGIN),
                source=r["source"],
                wall_mm=float(r["wall_mm"]),
            )
        )
    return MappingProxyType({key: tuple(sorted(sizes, key=lambda s: s.max_mm)) for key, sizes in found.items()})


@cache
def fittings(kind: str) -> tuple[Fitting, ...]:
    """Fittings of a kind, the smallest first. Raises TableGap."""
    found = tuple(
        Fitting(kind=kind, size=r["size"], min_mm=float(r["min_mm"]), max_mm=float(r["max_mm"]), source=r["source"])
        for r in rows("bundle_fittings")
        if r["kind"] == kind
    )
    if not found:
        raise TableGap("the table of fittings", kind, "clip, grommet, backshell")
    return tuple(sorted(found, key=lambda f: f.max_mm))


@cache
def _densities() -> Mapping[tuple[str, str], float]:
    return {(r["kind"], r["key"]): float(r["kg_per_m3"]) * float(r["share"]) for r in rows("loom_densities")}


def density_kg_per_m3(kind: str, key: str) -> float:
    """Mass of an insulation's or covering's wall by the room it takes [kg/m³]; good to a tenth. Raises TableGap."""
    found = _densities().get((kind, key))
    if found is None:
        raise TableGap(f"the table of densities, {kind}", key, ", ".join(k for what, k in _densities() if what == kind))
    return found
