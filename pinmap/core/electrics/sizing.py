"""The smallest stock size of each wire that every limit allows, and which limit decides."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pinmap.core.electrics.heat import Floats, ampacity_a, wire_heat
from pinmap.core.electrics.results import LEAST_A, Records, SizeAdvice
from pinmap.core.facts.constants import HEAT_MARGIN_K
from pinmap.core.loom.results import Wire
from pinmap.core.model.jobs import MODEL, Practice


@dataclass
class Demand:
    """What is asked of each wire, by index: greatest heating current; share of a free wire's current that it may carry
    in its bundle; greatest ambient; its resistance at 20 °C [ohm/m]; by how much that may grow before one of the
    ``loads`` gets too little (infinite: none depends on it), and which; rating of the fuse that stands before it (0 for
    none); most loaded wires in its bundle. ``table`` gives what the chosen standard allows for (index, mm², loaded),
    None where the heat balance rules."""

    current_a: Floats
    factor: Floats
    ambient_c: Floats
    ohm_per_m: Floats
    growth: Floats
    growth_load: NDArray[np.int64]
    fuse_a: Floats
    loaded: NDArray[np.int64]
    table: Callable[[int, float, int], float | None]
    loads: list[str] = field(default_factory=list)


def advise(wires: tuple[Wire, ...], practice: Practice, demand: Demand) -> Mapping[str, SizeAdvice]:
    """Advice per wire id. Heat keeps a margin to the insulation's class; behind a fuse the wire must stand the fuse's
    rated current; drop shares what a load may lose among the wires on its way so that they need the
    least copper. Raises InputError for an impossible stock size."""
    stock = sorted(s for s in practice.stock_mm2 if s >= practice.min_mm2 - 1e-9) or sorted(practice.stock_mm2)
    if not wires or not stock:
        return {}
    kinds: dict[tuple[str, float], int] = {}
    each = zip((w.insulation for w in wires), demand.ambient_c.tolist(), strict=True)
    row = np.array([kinds.setdefault(kind, len(kinds)) for kind in each])
    known = [_stock_limits(insulation, air_c, tuple(stock)) for insulation, air_c in kinds]
    with_margin, to_class, r20 = (np.array([row[i] for row in known]) for i in range(3))

    allowed = with_margin[row] * demand.factor[:, None]
    if wires and practice.heat_rule != MODEL:
        for i, loaded in enumerate(demand.loaded.tolist()):
            said = [demand.table(i, mm2, loaded) for mm2 in stock]
            allowed[i] = [by_model if by_table is None else by_table for by_model, by_table in zip(
                allowed[i].tolist(), said, strict=True)]  # fmt: skip
    by_heat = _first(allowed >= demand.current_a[:, None] - 1e-9)
    by_fuse = _first(to_class[row] * demand.factor[:, None] >= demand.fuse_a[:, None] - 1e-9)
    by_drop = _first(r20[row] <= (demand.ohm_per_m * demand.growth)[:, None] * (1 + 1e-9))
    needs = np.stack([by_heat, by_fuse, by_drop])
    binding, places = needs.argmax(axis=0).tolist(), needs.max(axis=0).tolist()

    def make(i: int) -> SizeAdvice:
        place = places[i]
        mm2 = stock[min(place, len(stock) - 1)]
        limit = ("heat", "fuse", "drop")[binding[i]]
        if place == 0:
            limit, why = "least size", f"{mm2:g} mm² meets heat, fuse and drop"
            if demand.current_a[i] < LEAST_A:
                why = f"no load case shows a current; {mm2:g} mm² is the least that the shop uses"
        elif place < len(stock):
            why = _why(limit, i, demand)
        else:
            why = f"even {mm2:g} mm², the largest in stock, is too small: {_why(limit, i, demand)}"
        return SizeAdvice(wire=wires[i].id, mm2=mm2, limit=limit, why=why)

    return Records({w.id: i for i, w in enumerate(wires)}, make)


@lru_cache(maxsize=512)
def _stock_limits(insulation: str, air_c: float, stock: tuple[float, ...]) -> tuple[Floats, Floats, Floats]:
    """By stock size: what it may carry in free air with the margin to its class and without [A]; ohm/m at 20 °C."""
    heat = wire_heat([(mm2, insulation) for mm2 in stock])
    ambient, one = np.full(len(stock), air_c), np.ones(len(stock))
    margin = ampacity_a(heat, ambient, one, HEAT_MARGIN_K.value)
    return margin, ampacity_a(heat, ambient, one), heat.r20_ohm_per_m


def _first(fits: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Index of the first size that fits; the number of sizes where none does."""
    return np.asarray(np.where(fits.any(axis=1), fits.argmax(axis=1), fits.shape[1]), dtype=np.int64)


def _why(limit: str, i: int, demand: Demand) -> str:
    bundle = f"in {demand.ambient_c[i]:g} °C air, {demand.factor[i]:.2g} of a free wire's current in its bundle"
    if limit == "heat":
        return f"{abs(demand.current_a[i]):.3g} A {bundle}, {HEAT_MARGIN_K.value:g} K below the insulation's class"
    if limit == "fuse":
        return f"the wire must stand the {demand.fuse_a[i]:g} A of its fuse, {bundle}"
    load = demand.loads[demand.growth_load[i]]
    return f"its share of what {load} may lose allows {demand.growth[i]:.2f} of its resistance now"
