"""Agreement of the heat model with the ampacity tables of boats and buildings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from pinmap.core.electrics.agreement_points import Agreement, Point
from pinmap.core.electrics.bundle_heat import like_bundle
from pinmap.core.electrics.heat import Floats, WireHeat, ampacity_a, wire_heat
from pinmap.core.facts.conductors import awg_area_mm2, wire_size
from pinmap.core.facts.constants import COPPER_OHM_MM2_PER_M, STRANDING_FACTOR
from pinmap.core.facts.sources import rows, source

_WALL = "pvc-A"  # thick wall: the boat and building cable
_AIR = "One wire alone in still air at 30 °C, thick wall, "
_AWG = _AIR + "copper of the gauge's area with lay factor 1.02."


def table_wires(areas_mm2: list[float], r20_ohm_per_m: list[float], temp_c: float, wall: str = _WALL) -> WireHeat:
    """Wires of a table: the wall's diameter by area, but the table's own resistance and temperature."""
    heat = wire_heat([(area, wall) for area in areas_mm2])
    return replace(heat, r20_ohm_per_m=np.array(r20_ohm_per_m), max_temp_c=np.full(len(areas_mm2), float(temp_c)))


def gauge_ohm_per_m(name: str) -> float:
    return COPPER_OHM_MM2_PER_M.value * STRANDING_FACTOR.value / awg_area_mm2(name)


def _free(wires: WireHeat, ambient_c: float = 30.0, loaded: int = 1) -> Floats:
    one = np.ones(wires.outside_m.size)
    around = like_bundle(wires, loaded * one, loaded * one, ambient_c * one) if loaded > 1 else None
    return ampacity_a(wires, ambient_c * one, one, around=around)


Reason = Callable[[dict[str, str], str, Point], str]


def _table(
    table: str, size_column: str, columns: list[tuple[str, str, float]], sizes: Callable[[str], tuple[float, float]],
    reason: Reason, skip: str = "engine-space",
) -> tuple[tuple[str, tuple[Point | None, ...]], ...]:  # fmt: skip
    """columns: (heading, column, temperature); sizes: name -> (area, ohm/m)."""
    data = [r for r in rows(table) if r[size_column] != skip]
    pairs = [sizes(r[size_column]) for r in data]
    areas, ohms = [a for a, _ in pairs], [o for _, o in pairs]
    found = {column: _free(table_wires(areas, ohms, temp)) for _, column, temp in columns}
    out = []
    for i, r in enumerate(data):
        points: list[Point | None] = []
        for _, column, _ in columns:
            if not r[column]:
                points.append(None)
                continue
            point = Point(float(r[column]), float(found[column][i]))
            points.append(replace(point, note=reason(r, column, point)) if point.large else point)
        out.append((r[size_column], tuple(points)))
    return tuple(out)


def cfr183() -> Agreement:
    """33 CFR 183.425 table 5: all 105 values."""
    temps = (60, 75, 80, 90, 105, 125, 200)

    def reason(r: dict[str, str], column: str, _: Point) -> str:
        if column == "a200":
            return "c"
        if column == "a75" and r["a75"] == r["a60"]:
            return "a"
        if column in {"a60", "a80", "a90"} and r["awg"] in {"18", "16", "14", "12"}:
            return "b"
        if column == "a90" and float(r["a90"]) < 1.04 * float(r["a80"]):
            return "d"
        return "e"

    return Agreement(
        key="33cfr183", title="Ampacity, 33 CFR 183.425 table 5", source=str(source("ampacity_33cfr183")), unit="A",
        method=_AWG, columns=tuple(f"{t} °C" for t in temps),
        rows=tuple(
            (f"{name} AWG", points)
            for name, points in _table(
                "ampacity_33cfr183", "awg", [(f"{t} °C", f"a{t}", t) for t in temps],
                lambda name: (awg_area_mm2(name), gauge_ohm_per_m(name)), reason,
            )
        ),
        notes=(
            (
                "a",
                "Up to 10 AWG the table repeats its 60 °C value at 75 °C: a rule about overcurrent devices, not "
                "heat.",
            ),
            (
                "b",
                "Small sizes are printed in steps of 5 A, rounded down, and held to usual overcurrent devices: NEC "
                "table 310.17 gives 25 and 30 A where this table has 20 and 25 A for 14 and 12 AWG at 60 °C.",
            ),
            (
                "c",
                "The table lets 200 °C insulation carry 0 to 17 % more than 125 °C, heat would let it carry about 30 "
                "% more: the standard does not want terminals and neighbours that hot.",
            ),
            (
                "d",
                "The table repeats its 80 °C value at 90 °C, or nearly.",
            ),
            (
                "e",
                "The table rounds down; the model's wire is alone, while ABYC E-11 prints the same numbers for up to "
                "two together. Two wires that touch come out 16 to 33 % below it, so the table lies between.",
            ),
        ),
    )  # fmt: skip


def abyc() -> Agreement:
    """ABYC E-11 table VI: alone and as a pair, outside and inside engine spaces."""
    data = rows("ampacity_abyc_e11")
    wires = table_wires([awg_area_mm2(r["awg"]) for r in data], [gauge_ohm_per_m(r["awg"]) for r in data], 105)
    columns = (("outside_a", 30.0, 1), ("outside_a", 30.0, 2), ("inside_a", 50.0, 1), ("inside_a", 50.0, 2))
    found = [_free(wires, air, n) for _, air, n in columns]
    out = []
    for i, r in enumerate(data):
        points = [Point(float(r[c]), float(found[j][i])) for j, (c, _, _) in enumerate(columns)]
        out.append((
            f"{r['awg']} AWG",
            tuple(replace(p, note="b" if columns[j][2] == 2 else "a") if p.large else p for j, p in enumerate(points)),
        ))  # fmt: skip
    return Agreement(
        key="abyc-e11", title="Ampacity, ABYC E-11 table VI, 105 °C, not more than two together",
        source=str(source("ampacity_abyc_e11")), unit="A",
        method="Each printed value beside one wire alone and beside two that touch and both carry it; 30 °C outside and"
        " 50 °C inside engine spaces; thick wall, copper of the gauge's area with lay factor 1.02.",
        columns=("outside, alone", "outside, pair", "inside, alone", "inside, pair"), rows=tuple(out),
        notes=(
            (
                "a",
                "A wire alone may carry more than one of two, for which the table also holds; it rounds down.",
            ),
            (
                "b",
                "Two thick cables that touch shed by convection little more than one does; the table does not reduce "
                "for a pair.",
            ),
        ),
    )  # fmt: skip


def iso10133() -> Agreement:
    """ISO 10133 table A.1: all 84 values."""
    temps = (60, 70, 85, 105, 125, 200)

    def reason(r: dict[str, str], column: str, _: Point) -> str:
        if column == "a60":
            return "a"
        if float(r["mm2"]) <= 1:
            return "d"
        if column == "a200":
            return "c"
        return "b" if float(r["mm2"]) <= 6 else "e"

    def sizes(name: str) -> tuple[float, float]:
        return float(name), wire_size(float(name), _WALL).r20_ohm_per_m

    return Agreement(
        key="iso10133", title="Ampacity, ISO 10133 table A.1", source=str(source("ampacity_iso10133")), unit="A",
        method=_AIR + "greatest resistance of ISO 6722-1.", columns=tuple(f"{t} °C" for t in temps),
        rows=tuple(
            (f"{float(name):g} mm²", points)
            for name, points in _table(
                "ampacity_iso10133", "mm2", [(f"{t} °C", f"a{t}", t) for t in temps], sizes, reason
            )
        ),
        notes=(
            (
                "a",
                "The 60 °C column is 50 to 68 % of the 70 °C column; heat gives √((60-30)/(70-30)) = 87 %. The "
                "standard mistrusts that insulation and keeps it out of engine spaces.",
            ),
            (
                "b",
                "At 105 °C the sizes from 1 to 6 mm² carry what ABYC E-11 prints for 18, 16, 14, 12 and 10 AWG, "
                "which have 0.82 to 5.26 mm²: each size takes the value of the next smaller gauge, the other columns "
                "follow.",
            ),
            (
                "c",
                "200 °C insulation is allowed little more than 125 °C, as in 33 CFR 183: terminals and neighbours "
                "decide.",
            ),
            (
                "d",
                "The smallest sizes are held down for strength: 0.75 mm² is allowed in a sheath only.",
            ),
            (
                "e",
                "The table rounds down, is for up to three conductors together, and rises more slowly than heat "
                "allows in large sizes (150 mm² over 120 mm²: 6 % printed, 11 % by heat).",
            ),
        ),
    )  # fmt: skip


def nec() -> Agreement:
    """NEC table 310.17."""
    temps = (60, 75, 90)
    return Agreement(
        key="nec310", title="Ampacity, NEC table 310.17", source=str(source("ampacity_nec310")), unit="A", method=_AWG,
        columns=tuple(f"{t} °C" for t in temps),
        rows=tuple(
            (f"{name} AWG", points)
            for name, points in _table(
                "ampacity_nec310", "awg", [(f"{t} °C", f"a{t}", t) for t in temps],
                lambda name: (awg_area_mm2(name), gauge_ohm_per_m(name)), lambda *_: "",
            )
        ),
    )  # fmt: skip


def ambient_factors() -> Agreement:
    """Factors for warmer air: NEC, ISO 10133, 33 CFR 183."""
    one = np.ones(1)

    def ratio(temp: float, base: float, air: float) -> float:
        wire = table_wires([awg_area_mm2("10")], [gauge_ohm_per_m("10")], temp)
        return float(ampacity_a(wire, air * one, one)[0] / ampacity_a(wire, base * one, one)[0])

    out: list[tuple[str, tuple[Point | None, ...]]] = []
    for air, printed in ((30, 1.10), (50, 0.89), (60, 0.77), (70, 0.63), (80, 0.45)):
        point = Point(printed, ratio(90, 40, air))
        out.append((f"NEC, 90 °C wire, 40 to {air} °C air", (point,)))
    for table, column, name in (("ampacity_33cfr183", "awg", "33 CFR 183"), ("ampacity_iso10133", "mm2", "ISO 10133")):
        factors = next(r for r in rows(table) if r[column] == "engine-space")
        for heading, text in factors.items():
            if heading != column and text:
                temp = float(heading.removeprefix("a"))
                point = Point(float(text), ratio(temp, 30, 50))
                label = f"{name}, {temp:g} °C wire, 30 to 50 °C air"
                out.append((label, (point,)))
    return Agreement(
        key="ambient", title="Factors for warmer air", unit="1",
        source=f"NEC table 310.15, {source('ampacity_33cfr183')}, {source('ampacity_iso10133')}",
        method="Model ampacity in the warmer air over that in the table's air, 10 AWG thick wall. The standards use"
        " √((T-T2)/(T-T1)), which leaves out that convection and radiation grow with the rise.",
        columns=("factor",), rows=tuple(out),
    )  # fmt: skip


def bundle_steps() -> Agreement:
    """Printed bundle factors at both ends of the range for which they hold."""
    one = np.ones(1)
    wire = table_wires([2.5], [wire_size(2.5, _WALL).r20_ohm_per_m], 105)
    alone = _free(wire)[0]

    def model(n: int) -> float:
        return float(ampacity_a(wire, 30 * one, one, around=like_bundle(wire, n * one, n * one, 30 * one))[0] / alone)

    out: list[tuple[str, tuple[Point | None, ...]]] = []
    for standard, name in (("abyc-e11", "ABYC E-11"), ("iso10133", "ISO 10133")):
        steps = [
            (int(r["from_wires"]), float(r["factor"])) for r in rows("bundle_factors") if r["standard"] == standard
        ]
        for (first, factor), following in zip(steps, [*steps[1:], (41, 0.0)], strict=True):
            last = following[0] - 1
            points = [Point(factor, model(n)) for n in (first, last)]
            out.append((
                f"{name}, {first} to {last} wires", tuple(replace(p, note="a") if p.large else p for p in points),
            ))  # fmt: skip
    return Agreement(
        key="bundles", title="Bundle factors", source=str(source("bundle_factors")), unit="1",
        method="2.5 mm² thick wall, 105 °C, 30 °C air; every wire carries the same current. Nothing is fitted.",
        columns=("least number", "greatest number"), rows=tuple(out),
        notes=(
            (
                "a",
                "A printed factor holds for a whole range of numbers and takes for granted that not all wires of a "
                "big bundle are fully loaded at once. The model counts the wires that are, so that with all of them "
                "loaded it allows less: a bundle's surface grows with √n, its heat with n.",
            ),
        ),
    )  # fmt: skip
