"""The metals that conductors are made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from pinmap.core.errors import TableGap
from pinmap.core.facts.sources import rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Metal:
    """Resistivity and its coefficient at 20 °C; ``limit_ratio`` is the greatest resistance of a size by copper's;
    beta_k and heat_j_per_k_mm3 are the constants of IEC 60949."""

    key: str
    name: str
    ohm_mm2_per_m: float
    alpha_per_k: float
    limit_ratio: float
    beta_k: float
    heat_j_per_k_mm3: float
    melts_c: float
    density_kg_per_m3: float
    source: str


@cache
def metals() -> Mapping[str, Metal]:
    """Metals by key: copper, aluminium."""
    return MappingProxyType(
        {
            r["key"]: Metal(
                key=r["key"],
                name=r["name"],
                source=r["source"],
                **{k: float(v) for k, v in r.items() if k not in {"key", "name", "source"}},
            )
            for r in rows("metals")
        }
    )


def metal(key: str) -> Metal:
    """The metal of this key. Raises TableGap."""
    found = metals().get(key)
    if found is None:
        raise TableGap("the table of metals", key, ", ".join(metals()))
    return found
