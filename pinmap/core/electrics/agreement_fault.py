"""Agreement of short-circuit limits, and of what a meter reads across bus terminations."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pinmap.core.electrics.adiabatic import (
    area_cmil,
    iec60949_a,
    iec60949_heat_loss_factor,
    k_factor,
    onderdonk_a,
    preece_a,
    withstands_a,
)
from pinmap.core.electrics.agreement_points import Agreement, Point
from pinmap.core.electrics.heat import wire_heat
from pinmap.core.electrics.transient import time_to_reach_s
from pinmap.core.facts.conductors import awg_area_mm2, awg_diameter_mm, insulation, wire_size
from pinmap.core.facts.constants import WALL_HEAT_J_PER_K_MM3
from pinmap.core.facts.metals import metal
from pinmap.core.facts.sources import rows, source


def k_factors() -> Agreement:
    """k of IEC 60364-5-54 from the metals' constants."""
    return Agreement(
        key="k", title="Short-circuit factor k, IEC 60364-5-54", source=str(source("k_factors")), unit="A·√s/mm²",
        method="√(Q·(β+20)/ρ20 · ln((β+end)/(β+start))) from the constants of the metal.", columns=("k",),
        rows=tuple(
            (f"{r['metal']}, {r['insulation']}, {r['start_c']} to {r['end_c']} °C",
             (Point(float(r["k"]), k_factor(float(r["start_c"]), float(r["end_c"]), r["metal"])),))
            for r in rows("k_factors")
        ),
    )  # fmt: skip


def short_circuits() -> Agreement:
    """IEC 60949, Onderdonk and Preece."""
    out: list[tuple[str, tuple[Point | None, ...]]] = []
    for key in ("copper", "aluminium"):
        ours = withstands_a(1, 1, 90, 250, key)
        out.append((f"IEC 60949, 1 mm² {key}, 1 s, 90 to 250 °C, A", (Point(iec60949_a(1, 1, 90, 250, key), ours),)))
    for name, printed in (("20", 67), ("18", 106), ("16", 168.9), ("14", 269), ("12", 427), ("10", 679)):
        area = awg_area_mm2(name)
        out.append(
            (f"Onderdonk, {name} AWG melts in 5 s, 25 °C, A", (Point(printed, onderdonk_a(area_cmil(area), 5)),))
        )
    area = awg_area_mm2("16")
    out.append(("the same by k, 16 AWG, 25 to 1083 °C in 5 s, A", (Point(168.9, withstands_a(area, 5, 25, 1083)),)))
    out.append(("Preece, 16 AWG melts in the end, A", (Point(117.4, preece_a(awg_diameter_mm("16"))),)))
    return Agreement(
        key="short-circuit", title="Short-circuit currents: IEC 60949, Onderdonk, Preece", unit="A",
        source="IEC 60949 (K 226 and 148); Onderdonk and Preece in common handbooks (corroborated by k)",
        method="k·S/√t; Onderdonk with (234 + Ta): a copied form with (234 - Ta) prints 178 A for 16 AWG.",
        columns=("value",), rows=tuple(out),
    )  # fmt: skip


def slow_short_circuits() -> Agreement:
    """Heat that gets into the wall during a short circuit: the time model against IEC 60949's factor."""
    cases = [(mm2, seconds) for mm2 in (1.5, 4.0, 16.0) for seconds in (0.5, 1.0, 5.0)]
    key = "pvc-A"
    wires = wire_heat([(mm2, key) for mm2, _ in cases])
    areas = metal("copper").ohm_mm2_per_m / wires.r20_ohm_per_m
    start, end = np.full(len(cases), 70.0), np.full(len(cases), 160.0)
    seconds = np.array([s for _, s in cases])
    adiabatic = np.array([iec60949_a(a, s, 70, 160) for a, s in zip(areas, seconds, strict=True)])
    low, high = adiabatic.copy(), 2 * adiabatic
    for _ in range(18):
        middle = (low + high) / 2
        too_much = time_to_reach_s(wires, middle, start, end, longest_s=20.0) < seconds
        low, high = np.where(too_much, low, middle), np.where(too_much, middle, high)
    wall, k = WALL_HEAT_J_PER_K_MM3.value, insulation(key).k_w_per_m_k
    return Agreement(
        key="slow-short-circuit", title="Short circuits that heat the wall too, IEC 60949", unit="1",
        source="IEC 60949, non-adiabatic factor (constants C1, C2, F corroborated by its printed X and Y)",
        method="Current that brings the conductor from 70 to 160 °C in the time, by the model over time, over the"
        " adiabatic current.",
        columns=("factor",),
        rows=tuple(
            (f"{mm2:g} mm² PVC, {s:g} s", (Point(iec60949_heat_loss_factor(float(a), s, wall, k), float(i / j)),))
            for (mm2, s), a, i, j in zip(cases, areas, low, adiabatic, strict=True)
        ),
    )  # fmt: skip


def seen_ohm(edges: Sequence[tuple[str, str, float]], a: str, b: str) -> float:
    """Resistance [ohm] between two points of a network of resistances (a, b, ohm), by its nodal equations."""
    names = sorted({n for e in edges for n in e[:2]})
    place = {n: i for i, n in enumerate(names)}
    matrix = np.zeros((len(names), len(names)))
    for x, y, ohm in edges:
        i, j = place[x], place[y]
        matrix[[i, j], [i, j]] += 1 / ohm
        matrix[[i, j], [j, i]] -= 1 / ohm
    keep = [i for i in range(len(names)) if i != place[b]]
    current = np.zeros(len(names))
    current[place[a]] = 1.0
    volts = np.linalg.solve(matrix[np.ix_(keep, keep)], current[keep])
    return float(volts[keep.index(place[a])])


def terminations() -> Agreement:
    """What a meter reads across a quiet bus."""
    half = 20 * wire_size(0.35, "thin-wall-C").r20_ohm_per_m
    long_pair = [
        ("h1", "h", half),
        ("h", "h2", half),
        ("l1", "l", half),
        ("l", "l2", half),
        ("h1", "l1", 120.0),
        ("h2", "l2", 120.0),
    ]
    responders = [("bus", "supply", 1000.0), *([("bus", "supply", 30000.0)] * 15)]
    cases = (
        ("CAN, 120 ohm at both ends", 60.0, [("h", "l", 120.0), ("h", "l", 120.0)], "h", "l"),
        ("CAN, one terminator missing", 120.0, [("h", "l", 120.0)], "h", "l"),
        ("CAN, three terminators", 40.0, [("h", "l", 120.0)] * 3, "h", "l"),
        ("CAN, both ends, read in the middle of 40 m of 0.35 mm²", 60.0, long_pair, "h", "l"),
        ("LIN, commander 1 kohm and 15 responders of 30 kohm", 666.7, responders, "bus", "supply"),
        ("K line, 12 V tester", 510.0, [("k", "supply", 510.0)], "k", "supply"),
    )  # fmt: skip
    return Agreement(
        key="terminations", title="Bus terminations", unit="ohm",
        source="ISO 11898-2, SAE J1939 (120 ohm at each end); LIN 2.x (from memory); ISO 14230-1",
        method="Nodal equations of the resistors, and of the wire where it says so.", columns=("across the bus",),
        rows=tuple((label, (Point(printed, seen_ohm(edges, a, b)),)) for label, printed, edges, a, b in cases),
    )  # fmt: skip
