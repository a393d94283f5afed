"""Agreement with AC 43.13-1B and AS50881: free air, altitude, bundles, voltage drop, worked examples."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pinmap.core.electrics.agreement_boats import table_wires
from pinmap.core.electrics.agreement_points import Agreement, Point
from pinmap.core.electrics.aircraft import estimated_temperature_c, pressure_pa, shortened_run
from pinmap.core.electrics.bundle_heat import like_bundle
from pinmap.core.electrics.heat import Floats, WireHeat, ampacity_a
from pinmap.core.electrics.wire import size_wire
from pinmap.core.facts.constants import AIR_PRESSURE_PA, CMIL_MM2, FOOT_M
from pinmap.core.facts.sources import rows, source

_WALL = "thin-wall-F"
_ALTITUDE_60_000_FT = 0.79  # AS50881 altitude curve


def _wires(temp_c: float) -> WireHeat:
    data = rows("ampacity_ac4313")
    return table_wires(
        [float(r["area_cmil"]) * CMIL_MM2.value for r in data],
        [float(r["r20_ohm_per_kft"]) / 1000 / FOOT_M.value for r in data], temp_c, _WALL,
    )  # fmt: skip


def _amps(
    wires: WireHeat, ambient_c: float, feet: float = 0.0, loaded: Floats | float = 1.0, total: Floats | float = 1.0
) -> Floats:
    one = np.ones(wires.outside_m.size)
    around = like_bundle(wires, loaded * one, total * one, ambient_c * one)
    pressure = pressure_pa(feet) if feet else AIR_PRESSURE_PA.value
    return ampacity_a(wires, ambient_c * one, one, around=around, pressure_pa=pressure)


def table_11_9() -> Agreement:
    """All 51 values: bundles of 33 and 9 wires, 20 % used."""
    data = rows("ampacity_ac4313")
    total = np.array([33.0 if r["awg"] in {"24", "22", "20", "18", "16", "14", "12", "10"} else 9.0 for r in data])
    temps = (105, 150, 200)
    found = [_ALTITUDE_60_000_FT * _amps(_wires(t), 70, loaded=0.2 * total, total=total) for t in temps]
    out = []
    for i, r in enumerate(data):
        points = [Point(float(r[f"a{t}"]), float(found[j][i])) for j, t in enumerate(temps)]
        notes = ["b" if t == 105 and total[i] == 33 else "a" for t in temps]
        out.append((
            f"No. {r['awg']}", tuple(replace(p, note=n) if p.large else p for p, n in zip(points, notes, strict=True)),
        ))  # fmt: skip
    return Agreement(
        key="ac43-11-9", title="Ampacity in bundles, AC 43.13-1B table 11-9", source=str(source("ampacity_ac4313")),
        unit="A",
        method="Bundle by the heat model: 33 wires (9 from No. 8 up), one in five fully loaded, the hottest in the"
        " middle, 70 °C; times the curve's 0.79 for 60 000 ft.",
        columns=tuple(f"{t} °C" for t in temps), rows=tuple(out),
        notes=(
            (
                "a",
                "How 20 % of a harness's capacity is spread over its wires is left open: the curve takes a worse "
                "spread than one wire in five at full load. The table also rounds down to whole amperes.",
            ),
            (
                "b",
                "As a; besides, this column lies below what the table's own 200 °C column gives by √(35 K/130 K): "
                "No. 20: 4.7 A, printed 4; No. 22: 3.1, printed 3; No. 16: 7.3, printed 7.",
            ),
        ),
    )  # fmt: skip


def curves() -> Agreement:
    """Free-air, altitude and bundle curve points that are printed as numbers."""
    data = rows("ampacity_ac4313")
    no14 = next(i for i, r in enumerate(data) if r["awg"] == "14")
    free = _amps(_wires(200), 50)
    eight = _amps(_wires(200), 50, loaded=0.6 * 8, total=8) / free
    low, high = (_amps(_wires(200), 50, feet) / free for feet in (20000, 60000))
    out = [
        ("No. 14, 150 K above 50 °C air, free air, A", Point(47.0, float(free[no14]))),
        ("altitude factor, 20 000 ft", Point(0.91, float(low[no14]))),
        ("altitude factor, 60 000 ft", Point(_ALTITUDE_60_000_FT, float(high[no14]))),
        ("bundle factor, 8 wires, 60 % used", Point(0.60, float(eight[no14]))),
    ]
    return Agreement(
        key="as50881", title="Curve points of AS50881 and AC 43.13-1B figures 11-4 to 11-6", unit="A or 1",
        source="AC 43.13-1B paragraph 11-67 and its worked examples (public copy); 60 000 ft corroborated",
        method="No. 14 of table 11-9, 200 °C. Pressure of the US Standard Atmosphere 1976 in the convection term only.",
        columns=("value",), rows=tuple((label, (p,)) for label, p in out),
    )  # fmt: skip


def drops() -> Agreement:
    """Tables 11-7 and 11-8 by the worksheet itself."""
    out = []
    for r in rows("drops_ac4313"):
        volts, feet = float(r["drop_v"]), float(r["run_ft"])
        sheet = size_wire(20, feet * FOOT_M.value, supply_v=28, drop_pct=volts * 1.01 / 28 * 100, standard="ac43-13")
        point = Point(float(r["printed_v"]), sheet.drop_v)
        label = f"table {r['table']}: {feet:g} ft, {volts:g} V allowed, No. {r['awg']} (worksheet: {sheet.size})"
        out.append((label, (replace(point, note="a") if point.large else point,)))
    first = size_wire(20, 50 * FOOT_M.value, supply_v=28, standard="ac43-13")
    out.append((f"example 1: 50 ft, 20 A, 28 V: No. 8 (worksheet: {first.size})", (Point(0.70, first.drop_v),)))
    return Agreement(
        key="ac43-drop", title="Voltage drop, AC 43.13-1B tables 11-7 and 11-8 and example 1", unit="V",
        source=str(source("drops_ac4313")),
        method="The worksheet by AC 43.13-1B, 20 A; limit widened by 1 % because one printed row passes"
        " its own limit by 0.8 %.",
        columns=("drop",), rows=tuple(out),
        notes=(
            (
                "a",
                "A misprint: the table's own resistance gives 0.491 V for this run.",
            ),
        ),
    )  # fmt: skip


def example_2() -> Agreement:
    """The whole chain of example 2, by the printed factors and by the model."""
    data = rows("ampacity_ac4313")
    no14 = next(i for i, r in enumerate(data) if r["awg"] == "14")
    free = float(_amps(_wires(200), 50)[no14])
    high = float(_amps(_wires(200), 50, 20000)[no14])
    bundle = float(_amps(_wires(200), 50, 20000, 0.6 * 8, 8)[no14])
    printed = 47.0 * 0.91 * 0.60

    def chain(steps: tuple[float, float, float]) -> list[float]:
        warm = estimated_temperature_c(50, 200, 20, steps[2])
        return [*steps, warm, shortened_run(15.5, warm)]

    by_rule, by_model = chain((47.0, 47.0 * 0.91, printed)), chain((free, high, bundle))
    labels = ("free air, A", "at 20 000 ft, A", "and in a bundle of 8, 60 % used, A", "conductor at 20 A, °C",
              "longest run for 15.5 ft at 20 °C, ft")  # fmt: skip
    published = (47.0, 42.77, 26.0, 182.0, 9.5)
    out = []
    for label, value, rule, ours in zip(labels, published, by_rule, by_model, strict=True):
        out.append((label, (Point(value, rule), Point(value, ours))))
    return Agreement(
        key="ac43-example-2", title="AC 43.13-1B example 2: 15.5 ft, 20 A, 28 V, No. 14, 200 °C, 50 °C air, 20 000 ft",
        source="AC 43.13-1B page 11-27 (public copy; 182 °C and 9.5 ft corroborated)", unit="",
        method="Left: the advisory circular's own factors and formulas. Right: the heat model in place of its curves.",
        columns=("by its rules", "by the model"), rows=tuple(out),
    )  # fmt: skip
