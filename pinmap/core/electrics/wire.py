"""One circuit at the bench: the wire it needs, by the heat model or by a standard's own table and formula."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from pinmap.core.electrics.heat import ampacity_a, bundle_factors, temperature_c, wire_heat
from pinmap.core.errors import InputError
from pinmap.core.facts.conductors import awg_area_mm2, insulation, resistance_factor, sae_areas_mm2, wire_size
from pinmap.core.facts.constants import (
    CMIL_MM2,
    COPPER_OHM_MM2_PER_M,
    E11_K,
    FOOT_M,
    HEAT_MARGIN_K,
    ISO10133_OHM_MM2_PER_M,
    STRANDING_FACTOR,
)
from pinmap.core.facts.sources import rows, source
from pinmap.core.model.jobs import Practice

STANDARDS = ("model", "iso10133", "abyc-e11", "33cfr183", "ac43-13")
_TABLE_AIR_C, _ENGINE_SPACE_C = 30.0, 50.0
# AC 43.13-1B table 11-6, continuous loads: nominal volts -> allowed drop [V].
_AC4313_DROP = ((14.0, 0.5), (28.0, 1.0), (115.0, 4.0), (200.0, 7.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """The question. ``loop_m`` is all wire there and back; drop_pct None takes the standard's own limit; ``bundle``
    counts the loaded wires that lie together, this one included; temp_c is the insulation's class [°C]."""

    current_a: float
    loop_m: float
    supply_v: float
    drop_pct: float | None
    ambient_c: float
    insulation: str
    temp_c: float
    bundle: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """One size of a standard: what it may carry and what it loses in this circuit."""

    size: str
    area_mm2: float
    ampacity_a: float
    drop_v: float
    temp_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WireSheet:
    """The answer. ``limit`` says what decides: "heat", "drop" or "least size"; ``steps`` are formula and numbers, in
    order; temp_c is known to the model only."""

    standard: str
    size: str
    area_mm2: float
    drop_v: float
    drop_allowed_v: float | None
    ampacity_a: float
    limit: str
    source: str
    steps: tuple[tuple[str, str], ...]
    temp_c: float | None = None


@dataclass(frozen=True, slots=True)
class _Method:
    candidates: list[Candidate]
    allowed_v: float | None
    source: str
    steps: list[tuple[str, str]]


def size_wire(
    current_a: float,
    loop_m: float,
    *,
    supply_v: float = 12.0,
    drop_pct: float | None = None,
    ambient_c: float = 30.0,
    insulation_key: str = "",
    bundle: int = 1,
    standard: str = "model",
) -> WireSheet:
    """The smallest size that carries the current and keeps the drop.

    Without drop_pct: 3 % (ISO 10133 and E-11, critical circuits; also the model), table 11-6 of AC 43.13-1B, no limit
    in 33 CFR 183. Without insulation: 105 °C for the tables, ``thin-wall-C`` for the model. Raises InputError, which
    also says when no size of the table is large enough; TableGap for an unknown insulation.
    """
    for name, value, low, high in (
        ("current_a", current_a, 0.0, 2000.0),
        ("loop_m", loop_m, 0.0, 1000.0),
        ("supply_v", supply_v, 0.0, 1000.0),
    ):
        if not (low < value <= high):
            raise InputError(name, value, f"give a number above {low:g}, up to {high:g}")
    if drop_pct is not None and not 0 < drop_pct < 100:
        raise InputError("drop_pct", drop_pct, "give a per cent above 0 and below 100")
    if not -60 <= ambient_c <= 250:
        raise InputError("ambient_c", ambient_c, "give a temperature from -60 to 250 °C")
    if bundle < 1:
        raise InputError("bundle", bundle, "count this wire too: 1 or more")
    method = _METHODS.get(standard)
    if method is None:
        raise InputError("standard", standard, f"choose one of {', '.join(STANDARDS)}")
    temp_c = insulation(insulation_key).max_temp_c if insulation_key else 105.0
    found = method(
        Circuit(
            current_a=current_a,
            loop_m=loop_m,
            supply_v=supply_v,
            drop_pct=drop_pct,
            ambient_c=ambient_c,
            insulation=insulation_key,
            temp_c=temp_c,
            bundle=bundle,
        )
    )
    sizes = found.candidates
    by_heat = next((i for i, c in enumerate(sizes) if c.ampacity_a >= current_a - 1e-9), len(sizes))
    allowed_v = found.allowed_v
    by_drop = next((i for i, c in enumerate(sizes) if allowed_v is None or c.drop_v <= allowed_v + 1e-9), len(sizes))
    place = max(by_heat, by_drop)
    if place == len(sizes):
        which = "current" if by_heat == place else "drop"
        raise InputError(
            "current_a", current_a, f"no size of {standard} is large enough for the {which}; split the load"
        )
    # A later, thicker row never carries less in these tables; the search relies on it no further than this size.
    chosen = sizes[place]
    limit = "least size" if place == 0 else ("heat" if by_heat >= by_drop else "drop")
    return WireSheet(
        standard=standard,
        size=chosen.size,
        area_mm2=chosen.area_mm2,
        drop_v=chosen.drop_v,
        drop_allowed_v=allowed_v,
        ampacity_a=chosen.ampacity_a,
        limit=limit,
        source=found.source,
        steps=(
            *found.steps,
            ("smallest size for the current", sizes[by_heat].size),
            ("smallest size for the drop", "no limit" if allowed_v is None else sizes[by_drop].size),
        ),
        temp_c=chosen.temp_c,
    )


def _allowed(circuit: Circuit, usual_pct: float) -> tuple[float, tuple[str, str]]:
    pct = usual_pct if circuit.drop_pct is None else circuit.drop_pct
    volts = circuit.supply_v * pct / 100
    return volts, ("allowed drop", f"{pct:g} % of {circuit.supply_v:g} V = {volts:.3g} V")


def _column(table: str, prefix: str, temp_c: float) -> tuple[str, int]:
    """The column of the highest insulation temperature not above this one."""
    classes = [int(c.removeprefix(prefix)) for c in rows(table)[0] if c.removeprefix(prefix).isdecimal()]
    fitting = [t for t in classes if t <= temp_c]
    if not fitting:
        raise InputError("insulation", f"{temp_c:g} °C", f"this table starts at {min(classes)} °C")
    return f"{prefix}{max(fitting)}", max(fitting)


def _in_engine_space(circuit: Circuit) -> bool:
    """Tables hold for 30 °C, with a factor for engine spaces at 50 °C. Raises InputError beyond."""
    if circuit.ambient_c > _ENGINE_SPACE_C:
        raise InputError(
            "ambient_c", circuit.ambient_c, f"this standard's table ends at {_ENGINE_SPACE_C:g} °C; use the model"
        )
    return circuit.ambient_c > _TABLE_AIR_C


def _model(circuit: Circuit) -> _Method:
    key = circuit.insulation or Practice().insulation
    stock = Practice().stock_mm2
    allowed_v, step = _allowed(circuit, 3.0)
    heat = wire_heat([(mm2, key) for mm2 in stock])
    one = np.ones(len(stock))
    factor = bundle_factors(np.full(len(stock), circuit.bundle))
    air = circuit.ambient_c * one
    amps = ampacity_a(heat, air, factor, HEAT_MARGIN_K.value)
    temp = temperature_c(heat, circuit.current_a * one, air, factor)
    ohm = heat.r20_ohm_per_m * resistance_factor(temp)
    found = [
        Candidate(
            size=f"{mm2:g} mm²", area_mm2=mm2, ampacity_a=float(amps[i]), temp_c=float(temp[i]),
            drop_v=float(circuit.current_a * circuit.loop_m * ohm[i]),
        )
        for i, mm2 in enumerate(stock)
    ]  # fmt: skip
    steps = [
        step,
        ("insulation", f"{insulation(key).name}, {insulation(key).max_temp_c:g} °C less {HEAT_MARGIN_K.value:g} K"),
        ("bundle factor", f"{factor[0]:g} for {circuit.bundle} loaded wires, ABYC E-11"),
        ("heat", "I²·R(T) = wall conduction = natural convection (Churchill and Chu 1975) + radiation"),
        ("drop", "I · loop · R at the conductor's temperature"),
    ]
    return _Method(found, allowed_v, f"heat balance; {wire_size(1.0, key).source}", steps)


def _iso10133(circuit: Circuit) -> _Method:
    table = "ampacity_iso10133"
    column, temp = _column(table, "a", circuit.temp_c)
    allowed_v, step = _allowed(circuit, 3.0)
    space = 1.0
    data = [r for r in rows(table) if r["mm2"] != "engine-space"]
    if _in_engine_space(circuit):
        text = next(r for r in rows(table) if r["mm2"] == "engine-space")[column]
        if not text:
            raise InputError("insulation", f"{temp} °C", "ISO 10133 keeps 60 °C insulation out of engine spaces")
        space = float(text)
    bundle = float(bundle_factors(np.array([circuit.bundle]), "iso10133")[0])
    least = 1.0 if circuit.loop_m > 0.4 else 0.75  # clause 7.3: separate conductors longer than 200 mm
    k = ISO10133_OHM_MM2_PER_M.value
    found = [
        Candidate(
            size=f"{float(r['mm2']):g} mm²", area_mm2=float(r["mm2"]), ampacity_a=float(r[column]) * space * bundle,
            drop_v=k * circuit.current_a * circuit.loop_m / float(r["mm2"]),
        )
        for r in data
        if float(r["mm2"]) >= least
    ]  # fmt: skip
    steps = [
        step,
        ("table", f"A.1, {temp} °C insulation at 30 °C"),
        ("engine space", f"factor {space:g}"),
        ("bundle", f"factor {bundle:g} for {circuit.bundle} conductors"),
        ("drop", "E = 0.0164 · I · L / S, L there and back"),
    ]
    return _Method(found, allowed_v, str(source(table)), steps)


def _high_voltage_bundle(circuit: Circuit) -> tuple[float, tuple[str, str]]:
    if circuit.supply_v < 50:
        return 1.0, ("bundle", "no factor under 50 V in this standard")
    factor = float(bundle_factors(np.array([circuit.bundle]), "abyc-e11")[0])
    return factor, ("bundle", f"factor {factor:g} for {circuit.bundle} conductors")


def _abyc_e11(circuit: Circuit) -> _Method:
    if circuit.temp_c < 105:
        raise InputError("insulation", f"{circuit.temp_c:g} °C", "the E-11 table here is that of 105 °C; use 33cfr183")
    allowed_v, step = _allowed(circuit, 3.0)
    inside = _in_engine_space(circuit)
    bundle, bundle_step = _high_voltage_bundle(circuit)
    areas = sae_areas_mm2()
    loss_cmil_v = E11_K.value * circuit.current_a * circuit.loop_m / FOOT_M.value
    found = [
        Candidate(
            size=f"{r['awg']} AWG", area_mm2=areas[r["awg"]],
            ampacity_a=float(r["inside_a" if inside else "outside_a"]) * bundle,
            drop_v=loss_cmil_v / (areas[r["awg"]] / CMIL_MM2.value),
        )
        for r in rows("ampacity_abyc_e11")
    ]  # fmt: skip
    steps = [
        step,
        ("area for the drop", f"CM = 10.75 · I · L / E = {loss_cmil_v / allowed_v:.0f} circular mils, L in feet"),
        ("table", f"105 °C conductors, {'inside' if inside else 'outside'} engine spaces"),
        bundle_step,
    ]
    return _Method(found, allowed_v, f"{source('ampacity_abyc_e11')}; areas: {source('conductors_sae')}", steps)


def _cfr183(circuit: Circuit) -> _Method:
    table = "ampacity_33cfr183"
    column, temp = _column(table, "a", circuit.temp_c)
    factor = 1.0
    if _in_engine_space(circuit):
        factor = float(next(r for r in rows(table) if r["awg"] == "engine-space")[column])
    bundle, bundle_step = _high_voltage_bundle(circuit)
    allowed_v, step = None, ("allowed drop", "none in 33 CFR 183")
    if circuit.drop_pct is not None:
        allowed_v, step = _allowed(circuit, 3.0)
    found = []
    for r in rows(table):
        if r["awg"] in {"engine-space", "18"}:  # 183.425(a): separate conductors from 16 AWG
            continue
        area = awg_area_mm2(r["awg"])
        ohm = COPPER_OHM_MM2_PER_M.value * STRANDING_FACTOR.value / area
        found.append(
            Candidate(
                size=f"{r['awg']} AWG",
                area_mm2=area,
                ampacity_a=float(r[column]) * factor * bundle,
                drop_v=circuit.current_a * circuit.loop_m * ohm,
            )
        )
    steps = [
        step,
        ("table", f"5, {temp} °C insulation at 30 °C"),
        ("engine space", f"factor {factor:g}"),
        bundle_step,
        ("least size", "16 AWG for a separate conductor"),
        ("drop", "copper of the gauge's area at 20 °C with lay factor 1.02"),
    ]
    return _Method(found, allowed_v, str(source(table)), steps)


def _ac4313(circuit: Circuit) -> _Method:
    table = "ampacity_ac4313"
    column, temp = _column(table, "a", circuit.temp_c)
    if circuit.drop_pct is None:
        nominal, allowed_v = min(_AC4313_DROP, key=lambda row: abs(math.log(row[0] / circuit.supply_v)))
        step = ("allowed drop", f"{allowed_v:g} V, continuous, {nominal:g} V bus, table 11-6")
    else:
        allowed_v, step = _allowed(circuit, 3.0)
    data = rows(table)
    feet = circuit.loop_m / FOOT_M.value
    if circuit.bundle > 1:
        if circuit.ambient_c > 70:
            raise InputError("ambient_c", circuit.ambient_c, "table 11-9 holds for 70 °C; use the model")
        amps = [float(r[column]) for r in data]
        how = f"table 11-9, {temp} °C wire in bundles, 70 °C"
    else:
        areas = [float(r["area_cmil"]) * CMIL_MM2.value for r in data]
        heat = wire_heat([(a, "thin-wall-F") for a in areas])
        heat = type(heat)(
            heat.conductor_m,
            heat.outside_m,
            np.array([float(r["r20_ohm_per_kft"]) / 1000 / FOOT_M.value for r in data]),
            heat.wall_w_per_m_k,
            np.full(len(data), float(temp)),
        )
        one = np.ones(len(data))
        amps = [float(a) for a in ampacity_a(heat, circuit.ambient_c * one, one)]
        how = f"single wire in free air, {temp} °C, by the heat balance (figure 11-4a is a chart)"
    found = [
        Candidate(
            size=f"{r['awg']} AWG", area_mm2=float(r["area_cmil"]) * CMIL_MM2.value, ampacity_a=a,
            drop_v=float(r["r20_ohm_per_kft"]) / 1000 * feet * circuit.current_a,
        )
        for r, a in zip(data, amps, strict=True)
    ]  # fmt: skip
    return _Method(
        found, allowed_v, str(source(table)), [step, ("current", how), ("drop", "ohm/1000 ft of table 11-9")]
    )


_METHODS: Mapping[str, Callable[[Circuit], _Method]] = {
    "model": _model,
    "iso10133": _iso10133,
    "abyc-e11": _abyc_e11,
    "33cfr183": _cfr183,
    "ac43-13": _ac4313,
}
