"""The standards' own tables and formulas for one circuit, as printed."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from pinmap.core.electrics.circuit import Candidate, Circuit, Method, Step
from pinmap.core.electrics.heat import ampacity_a, bundle_factors, wire_heat
from pinmap.core.errors import InputError
from pinmap.core.facts.conductors import awg_area_mm2, sae_areas_mm2
from pinmap.core.facts.constants import (
    CMIL_MM2,
    COPPER_OHM_MM2_PER_M,
    E11_K,
    FOOT_M,
    ISO10133_OHM_MM2_PER_M,
    STRANDING_FACTOR,
)
from pinmap.core.facts.sources import rows, source

_TABLE_AIR_C, _ENGINE_SPACE_C = 30.0, 50.0
_E11_C, _BUNDLES_AIR_C = 105.0, 70.0
# AC 43.13-1B table 11-6, continuous loads: nominal volts -> allowed drop [V].
_AC4313_DROP = ((14.0, 0.5), (28.0, 1.0), (115.0, 4.0), (200.0, 7.0))
_UNDER_50_V_FUSE = 1.5  # 33 CFR 183.455 and ABYC E-11: overcurrent device by allowable amperage


def allowed_drop(circuit: Circuit, usual_pct: float) -> tuple[float, Step]:
    """What may be lost, and how that was found."""
    pct = usual_pct if circuit.drop_pct is None else circuit.drop_pct
    volts = circuit.supply_v * pct / 100
    return volts, Step("allowed drop", f"{pct:g} % of {circuit.supply_v:g} V = {volts:.3g} V")


def _column(table: str, prefix: str, temp_c: float) -> tuple[str, int]:
    """The column of the highest insulation temperature not above this one."""
    classes = [int(c.removeprefix(prefix)) for c in rows(table)[0] if c.removeprefix(prefix).isdecimal()]
    fitting = [t for t in classes if t <= temp_c]
    if not fitting:
        raise InputError("insulation", f"{temp_c:g} °C", f"this table starts at {min(classes)} °C")
    return f"{prefix}{max(fitting)}", max(fitting)


def column_class_c(standard: str, class_c: float) -> float:
    """Temperature of the column that stands for an insulation of this class [°C]. Raises InputError below the first."""
    if standard == "abyc-e11":
        return _E11_C
    return float(_column(f"ampacity_{standard.replace('-', '')}", "a", class_c)[1])


def top_air_c(standard: str, bundle: int) -> float:
    """The hottest air that a table knows [°C]; without end where a single wire is answered by the heat balance."""
    if standard != "ac43-13":
        return _ENGINE_SPACE_C
    return _BUNDLES_AIR_C if bundle > 1 else math.inf


def _in_engine_space(circuit: Circuit) -> bool:
    """Tables hold for 30 °C, with a factor for engine spaces at 50 °C. Raises InputError beyond."""
    if circuit.ambient_c > _ENGINE_SPACE_C:
        raise InputError(
            "ambient_c", circuit.ambient_c, f"this standard's table ends at {_ENGINE_SPACE_C:g} °C; use the model"
        )
    return circuit.ambient_c > _TABLE_AIR_C


def _fuse_share(circuit: Circuit) -> float:
    return _UNDER_50_V_FUSE if circuit.supply_v < 50 else 1.0


def _iso10133(circuit: Circuit) -> Method:
    table = "ampacity_iso10133"
    column, temp = _column(table, "a", circuit.temp_c)
    allowed_v, step = allowed_drop(circuit, 3.0)
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
            fuse_max_a=float(r[column]) * space * bundle,
        )
        for r in data
        if float(r["mm2"]) >= least
    ]  # fmt: skip
    steps = [
        step,
        Step("table", f"A.1, {temp} °C insulation at 30 °C"),
        Step("engine space", f"factor {space:g}"),
        Step("bundle", f"factor {bundle:g} for {circuit.bundle} conductors"),
        Step("drop", "E = 0.0164 · I · L / S, L there and back", ISO10133_OHM_MM2_PER_M.source),
    ]
    return Method(found, allowed_v, str(source(table)), steps)


def _high_voltage_bundle(circuit: Circuit) -> tuple[float, Step]:
    if circuit.supply_v < 50:
        return 1.0, Step("bundle", "no factor under 50 V in this standard")
    factor = float(bundle_factors(np.array([circuit.bundle]), "abyc-e11")[0])
    return factor, Step("bundle", f"factor {factor:g} for {circuit.bundle} conductors")


def _abyc_e11(circuit: Circuit) -> Method:
    if circuit.temp_c < _E11_C:
        raise InputError("insulation", f"{circuit.temp_c:g} °C", "the E-11 table here is that of 105 °C; use 33cfr183")
    allowed_v, step = allowed_drop(circuit, 3.0)
    inside = _in_engine_space(circuit)
    bundle, bundle_step = _high_voltage_bundle(circuit)
    areas = sae_areas_mm2()
    loss_cmil_v = E11_K.value * circuit.current_a * circuit.loop_m / FOOT_M.value
    found = [
        Candidate(
            size=f"{r['awg']} AWG", area_mm2=areas[r["awg"]],
            ampacity_a=float(r["inside_a" if inside else "outside_a"]) * bundle,
            drop_v=loss_cmil_v / (areas[r["awg"]] / CMIL_MM2.value),
            fuse_max_a=float(r["inside_a" if inside else "outside_a"]) * bundle * _fuse_share(circuit),
        )
        for r in rows("ampacity_abyc_e11")
    ]  # fmt: skip
    steps = [
        step,
        Step(
            "area for the drop",
            f"CM = 10.75 · I · L / E = {loss_cmil_v / allowed_v:.0f} circular mils, L in feet",
            E11_K.source,
        ),
        Step("table", f"105 °C conductors, {'inside' if inside else 'outside'} engine spaces"),
        bundle_step,
    ]
    return Method(found, allowed_v, f"{source('ampacity_abyc_e11')}; areas: {source('conductors_sae')}", steps)


def _cfr183(circuit: Circuit) -> Method:
    table = "ampacity_33cfr183"
    column, temp = _column(table, "a", circuit.temp_c)
    factor = 1.0
    if _in_engine_space(circuit):
        factor = float(next(r for r in rows(table) if r["awg"] == "engine-space")[column])
    bundle, bundle_step = _high_voltage_bundle(circuit)
    allowed_v, step = None, Step("allowed drop", "none in 33 CFR 183")
    if circuit.drop_pct is not None:
        allowed_v, step = allowed_drop(circuit, 3.0)
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
                fuse_max_a=float(r[column]) * factor * bundle * _fuse_share(circuit),
            )
        )
    steps = [
        step,
        Step("table", f"5, {temp} °C insulation at 30 °C"),
        Step("engine space", f"factor {factor:g}"),
        bundle_step,
        Step("least size", "16 AWG for a separate conductor"),
        Step("drop", "copper of the gauge's area at 20 °C with lay factor 1.02", STRANDING_FACTOR.source),
    ]
    return Method(found, allowed_v, str(source(table)), steps)


def _ac4313(circuit: Circuit) -> Method:
    table = "ampacity_ac4313"
    column, temp = _column(table, "a", circuit.temp_c)
    if circuit.drop_pct is None:
        nominal, allowed_v = min(_AC4313_DROP, key=lambda row: abs(math.log(row[0] / circuit.supply_v)))
        step = Step("allowed drop", f"{allowed_v:g} V, continuous, {nominal:g} V bus, table 11-6")
    else:
        allowed_v, step = allowed_drop(circuit, 3.0)
    data = rows(table)
    feet = circuit.loop_m / FOOT_M.value
    fuses = {r["awg"]: float(r["max_fuse_a"]) for r in rows("fuse_limits_ac4313")}
    if circuit.bundle > 1:
        if circuit.ambient_c > _BUNDLES_AIR_C:
            raise InputError("ambient_c", circuit.ambient_c, "table 11-9 holds for 70 °C; use the model")
        amps = [float(r[column]) for r in data]
        how = f"table 11-9, {temp} °C wire in bundles, 70 °C"
    else:
        areas = [float(r["area_cmil"]) * CMIL_MM2.value for r in data]
        heat = wire_heat([(a, "thin-wall-F") for a in areas])
        heat = replace(
            heat,
            r20_ohm_per_m=np.array([float(r["r20_ohm_per_kft"]) / 1000 / FOOT_M.value for r in data]),
            max_temp_c=np.full(len(data), float(temp)),
        )
        one = np.ones(len(data))
        amps = [float(a) for a in ampacity_a(heat, circuit.ambient_c * one, one)]
        how = f"single wire in free air, {temp} °C, by the heat balance (figure 11-4a is a chart)"
    found = [
        Candidate(
            size=f"{r['awg']} AWG", area_mm2=float(r["area_cmil"]) * CMIL_MM2.value, ampacity_a=a,
            drop_v=float(r["r20_ohm_per_kft"]) / 1000 * feet * circuit.current_a, fuse_max_a=fuses.get(r["awg"]),
        )
        for r, a in zip(data, amps, strict=True)
    ]  # fmt: skip
    return Method(
        found, allowed_v, str(source(table)), [step, Step("current", how), Step("drop", "ohm/1000 ft of table 11-9")]
    )


TABLE_METHODS: Mapping[str, Callable[[Circuit], Method]] = {
    "iso10133": _iso10133,
    "abyc-e11": _abyc_e11,
    "33cfr183": _cfr183,
    "ac43-13": _ac4313,
}


def by_table(standard: str, circuit: Circuit) -> Method:
    """Every size by one standard's table. Raises InputError where the table does not cover the question."""
    if circuit.metal != "copper":
        raise InputError("metal", circuit.metal, "this table is for copper; use the model")
    found = TABLE_METHODS[standard](circuit)
    fuse = {
        "iso10133": "at most what the conductor may carry, ISO 10133 clause 8 (from memory)",
        "abyc-e11": "at most 150 % of what the conductor may carry, ABYC E-11 (as 33 CFR 183.455)",
        "33cfr183": "at most 150 % of what the conductor may carry under 50 V, else 100 %, 33 CFR 183.455",
        "ac43-13": "by size, table 11-3",
    }[standard]
    notes = [Step("largest fuse", fuse)]
    if circuit.covering:
        notes.append(Step("covering", "this standard has no rule for it"))
    if circuit.on_s:
        notes.append(Step("intermittent load", "taken as steady: this standard has no rule for it"))
    return replace(found, steps=[*found.steps, *notes])
