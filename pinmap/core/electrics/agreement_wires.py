"""Agreement of gauges and resistances with the standards, and of E-11's sizes for a drop."""

from __future__ import annotations

from dataclasses import replace

from pinmap.core.electrics.agreement_points import Agreement, Point
from pinmap.core.electrics.wire import size_wire
from pinmap.core.facts.conductors import (
    awg_area_mm2,
    awg_diameter_mm,
    resistance_factor,
    sae_areas_mm2,
    wire_size,
)
from pinmap.core.facts.constants import CMIL_MM2, FOOT_M, STRANDING_FACTOR
from pinmap.core.facts.metals import metal
from pinmap.core.facts.sources import rows, source


def gauges() -> Agreement:
    """Diameters and areas of ASTM B258 as printed."""
    printed = (
        ("4/0", 11.684, 211600), ("1/0", 8.252, 105600), ("2", 6.543, 66360), ("6", 4.115, 26240), ("10", 2.588, 10380),
        ("14", 1.628, 4110), ("16", 1.290, 2580), ("18", 1.024, 1620), ("20", 0.813, 1020), ("24", 0.511, 404),
        ("30", 0.254, 100), ("36", 0.127, 25.0),
    )  # fmt: skip
    return Agreement(
        key="awg", title="Wire gauges, ASTM B258", unit="mm or circular mils",
        source="ASTM B258, as printed to 3 or 4 figures (corroborated)",
        method="d = 0.127 mm · 92^((36-n)/39).", columns=("diameter, mm", "area, circular mils"),
        rows=tuple(
            (f"{n} AWG", (Point(d, awg_diameter_mm(n)), Point(a, awg_area_mm2(n) / CMIL_MM2.value)))
            for n, d, a in printed
        ),
    )  # fmt: skip


def iec60228() -> Agreement:
    """Greatest resistances of IEC 60228 against metal of the nominal area."""
    columns = ("class2_plain", "class2_tinned", "class5_plain", "class5_tinned", "class2_aluminium")
    out = []
    for r in rows("conductors_iec60228"):
        points: list[Point | None] = []
        for column in columns:
            rho = metal("aluminium" if column.endswith("aluminium") else "copper").ohm_mm2_per_m
            by_area = 1000 * rho * STRANDING_FACTOR.value / float(r["mm2"])
            points.append(Point(float(r[column]), by_area) if r[column] else None)
        out.append((f"{float(r['mm2']):g} mm²", tuple(points)))
    return Agreement(
        key="iec60228", title="Greatest resistance at 20 °C, IEC 60228", source=str(source("conductors_iec60228")),
        unit="ohm/km",
        method="Resistivity (IEC 60028 copper, IEC 60889 aluminium) times lay factor 1.02 over the nominal area. The"
        " computation itself uses the printed limits; they lie above the area's value because a size is a name, with"
        " room"
        " for thinner strands, drawing and lay. So is the sign of every deviation.",
        columns=tuple(c.replace("class", "class ").replace("_", ", ") for c in columns), rows=tuple(out),
    )  # fmt: skip


def iso6722() -> Agreement:
    """ISO 6722-1 against IEC 60228 class 5, size by size."""
    limits = {float(r["mm2"]): float(r["r20_mohm_per_m"]) for r in rows("conductors_iso6722")}
    return Agreement(
        key="iso6722", title="ISO 6722-1 beside IEC 60228 class 5", source=str(source("conductors_iso6722")),
        unit="ohm/km", method="The automotive limits as they are computed with, beside the published class 5 limits.",
        columns=("class 5, plain",),
        rows=tuple(
            (
                f"{float(r['mm2']):g} mm²",
                (Point(float(r["class5_plain"]), 1000 * wire_size(float(r["mm2"]), "thin-wall-C").r20_ohm_per_m),),
            )
            for r in rows("conductors_iec60228")
            if float(r["mm2"]) in limits
        ),
    )  # fmt: skip


def warm_resistance() -> Agreement:
    """NEC chapter 9 table 8 at 75 °C, and IEC 60228's temperature factors."""
    out: list[tuple[str, tuple[Point | None, ...]]] = []
    for r in rows("conductors_nec"):
        name = r["awg"]
        ohm = metal("copper").ohm_mm2_per_m * STRANDING_FACTOR.value / awg_area_mm2(name) * resistance_factor(75.0)
        out.append(
            (
                f"NEC chapter 9 table 8, {name} AWG, 75 °C, ohm/1000 ft",
                (Point(float(r["ohm_per_kft"]), ohm * FOOT_M.value * 1000),),
            )
        )
    for temp, factor in ((5, 1.064), (30, 0.962), (40, 0.926), (50, 0.893), (70, 0.833), (100, 0.758)):
        out.append((f"IEC 60228 factor k_t at {temp} °C", (Point(factor, 1 / resistance_factor(float(temp))),)))
    return Agreement(
        key="warm", title="Resistance at temperature", unit="ohm/1000 ft or 1",
        source=f"{source('conductors_nec')}; IEC 60228 annex B (public copy)",
        method="R(T) = R20·(1 + 0.00393·(T - 20 °C)), IEC 60028; IEC 60228 itself uses 250/(230 + T).",
        columns=("value",), rows=tuple(out),
    )  # fmt: skip


def e11_drop() -> Agreement:
    """E-11 table IX: least copper of the printed size and of the worksheet's."""
    areas = sae_areas_mm2()
    out = []
    for r in rows("drop_sizes_e11"):
        points = []
        for amps in (5, 10):
            sheet = size_wire(amps, float(r["feet"]) * FOOT_M.value, supply_v=12, drop_pct=3, standard="abyc-e11")
            point = Point(areas[r[f"a{amps}"]], sheet.area_mm2)
            points.append(replace(point, note="a") if point.large else point)
        out.append((f"{r['feet']} ft", tuple(points)))
    return Agreement(
        key="e11-drop", title="Sizes for 3 % drop at 12 V, ABYC E-11 table IX", source=str(source("drop_sizes_e11")),
        unit="mm²", method="The worksheet by ABYC E-11: CM = 10.75·I·L/E and the least areas of SAE J1128.",
        columns=("5 A", "10 A"), rows=tuple(out),
        notes=(
            (
                "a",
                "The printed 6 for 5 A over 170 ft loses 3.1 %: the standard's own formula asks for 4.",
            ),
        ),
    )  # fmt: skip
