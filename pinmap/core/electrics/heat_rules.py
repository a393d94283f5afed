"""Which rule says how much a wire may carry: the heat balance, or the table of a standard that the engineer chose."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pinmap.core.electrics.bundle_heat import allowed_current_a
from pinmap.core.electrics.circuit import Circuit
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.electrics.surroundings import layout_of
from pinmap.core.electrics.wire_tables import TABLE_METHODS, by_table, column_class_c, top_air_c
from pinmap.core.errors import InputError
from pinmap.core.facts.conductors import insulation
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import MODEL, Snapshot

RULE_NAMES: Mapping[str, str] = {
    MODEL: "heat balance",
    "iso10133": "ISO 10133",
    "abyc-e11": "ABYC E-11",
    "33cfr183": "33 CFR 183",
    "ac43-13": "AC 43.13-1B",
}
_SHORT_LOOP_M = 0.4  # lets ISO 10133 answer for its smallest size too; a wire's own length is no matter of heat


@dataclass(frozen=True, slots=True, kw_only=True)
class TableLimit:
    """What a standard's table lets a wire carry [A], None where it does not cover the wire; ``why`` in words."""

    standard: str
    ampacity_a: float | None
    why: str
    source: str = ""


@lru_cache(maxsize=8192)
def table_limit(standard: str, mm2: float, class_c: float, air_c: float, loaded: int, supply_v: float) -> TableLimit:
    """The largest size of the table not above this one decides. In hotter air than the table knows, its current is
    reduced by the root of the temperature rises left (NEC 310.15(B), equation)."""
    top_c = top_air_c(standard, loaded)
    question = Circuit(
        current_a=1.0, loop_m=_SHORT_LOOP_M, supply_v=supply_v, ambient_c=min(air_c, top_c), temp_c=class_c,
        bundle=max(loaded, 1),
    )  # fmt: skip
    name = RULE_NAMES[standard]
    try:
        found = by_table(standard, question)
        column_c = column_class_c(standard, class_c)
    except InputError as refused:
        return TableLimit(standard=standard, ampacity_a=None, why=f"{name} does not cover it: {refused.remedy}")
    fitting = [c for c in found.candidates if c.area_mm2 <= mm2 * 1.001]
    if not fitting:
        least = min(found.candidates, key=lambda c: c.area_mm2)
        return TableLimit(standard=standard, ampacity_a=None, why=f"{name} starts at {least.size}")
    row = max(fitting, key=lambda c: c.area_mm2)
    amps, why = row.ampacity_a, f"{name}: {row.size}, {loaded} loaded in the bundle, {column_c:g} °C insulation"
    if air_c > top_c:
        left = max(column_c - air_c, 0.0) / (column_c - top_c)
        amps *= math.sqrt(left)
        why += f", times √({column_c:g} - {air_c:g})/({column_c:g} - {top_c:g}) for air above {top_c:g} °C"
    steps = "; ".join(f"{s.name}: {s.text}" for s in found.steps if s.name in {"table", "engine space", "bundle"})
    return TableLimit(standard=standard, ampacity_a=amps, why=f"{why} ({steps})", source=found.source)


@dataclass(frozen=True, slots=True, kw_only=True)
class MayCarry:
    """Both answers for one wire in one case: heating_a is the current that heats it; model_a what it may carry alone
    while the others keep theirs, temp_c its temperature now, class_c the limit; ``table`` the standard beside it.
    ``rules`` is the key of the one that decides, ``good`` its verdict."""

    wire: str
    heating_a: float
    model_a: float
    temp_c: float
    class_c: float
    table: TableLimit
    rules: str

    @property
    def good(self) -> bool:
        if self.rules != MODEL and self.table.ampacity_a is not None:
            return self.heating_a <= self.table.ampacity_a + 1e-9
        return self.temp_c <= self.class_c


def shown_standard(rule: str) -> str:
    """The standard whose number stands beside the heat balance: the chosen one, else ISO 10133, the only one with
    bundle factors below 50 V."""
    return rule if rule in TABLE_METHODS else "iso10133"


def may_carry(snapshot: Snapshot, routing: Routing, report: ElectricalReport, case_key: str) -> dict[str, MayCarry]:
    """By wire id, in one load case. Empty where the report has not the case."""
    states = report.wires.get(case_key, {})
    if not states or not routing.wires:
        return {}
    rule = snapshot.job.practice.heat_rule
    standard = shown_standard(rule)
    amps = np.array([states[w.id].heating_a for w in routing.wires])
    allowed = allowed_current_a(layout_of(snapshot, routing), amps)
    out = {}
    for wire, model_a in zip(routing.wires, allowed.tolist(), strict=True):
        state, class_c = states[wire.id], insulation(wire.insulation).max_temp_c
        table = table_limit(
            standard, wire.mm2, class_c, state.ambient_c, max(state.loaded_in_bundle, 1), report.nominal_v
        )
        out[wire.id] = MayCarry(
            wire=wire.id, heating_a=state.heating_a, model_a=model_a, temp_c=state.temp_c, class_c=class_c,
            table=table, rules=MODEL if table.ampacity_a is None else rule,
        )  # fmt: skip
    return out
