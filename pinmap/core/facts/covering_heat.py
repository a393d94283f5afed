"""How coverings of bundles hold heat back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from pinmap.core.errors import TableGap
from pinmap.core.facts.parts import coverings
from pinmap.core.facts.sources import rows


@dataclass(frozen=True, slots=True, kw_only=True)
class CoveringHeat:
    """A covering as heat meets it. gap_mm None: a conduit, whose gap is half of what its inner diameter leaves."""

    key: str
    name: str
    wall_mm: float
    k_w_per_m_k: float
    gap_mm: float | None
    inner_mm: float
    emissivity: float
    source: str


@cache
def covering_heats() -> Mapping[str, CoveringHeat]:
    """Thermal data of every covering by key."""
    known = coverings()
    return MappingProxyType(
        {
            r["key"]: CoveringHeat(
                key=r["key"],
                name=known[r["key"]].name,
                wall_mm=known[r["key"]].wall_mm,
                k_w_per_m_k=float(r["k_w_per_m_k"]),
                gap_mm=float(r["gap_mm"]) if r["gap_mm"] else None,
                inner_mm=known[r["key"]].max_bundle_mm,
                emissivity=float(r["emissivity"]),
                source=r["source"],
            )
            for r in rows("covering_heat")
            if r["key"] in known
        }
    )


def covering_heat(key: str) -> CoveringHeat:
    """Thermal data of a covering; "" is none. Raises TableGap."""
    found = covering_heats().get(key or "none")
    if found is None:
        raise TableGap("the table of coverings", key, ", ".join(covering_heats()))
    return found
