"""The cross-section: every wire once, inside the bundle, none over another, told by id and colour letters."""

from __future__ import annotations

import math
from itertools import combinations
from xml.etree import ElementTree as ET

import pytest

from pinmap.core.loom.layup import rings
from pinmap.core.loom.packing import pack
from pinmap.drawings.section import SectionWire, section_svg
from tests.factories_svg import NS, all_text, overlapping, parse, words

COLOURS = ("RD", "BKYE", "WH/GN", "", "VT")


def _wires(diameters: list[float], at: tuple[tuple[float, float], ...]) -> list[SectionWire]:
    return [SectionWire(f"{i + 1}A", COLOURS[i % 5], d, p) for i, (d, p) in enumerate(zip(diameters, at, strict=True))]


def _circles(root: ET.Element) -> list[tuple[str, float, float, float]]:
    found = []
    for group in root.iter(f"{NS}g"):
        circle = group.find(f"{NS}circle")
        if group.get("class") == "wire" and circle is not None:
            found.append((group.attrib["data-wire"], *(float(circle.attrib[k]) for k in ("cx", "cy", "r"))))
    return found


@pytest.mark.parametrize("count", [1, 2, 7, 30, 120])
def test_wires_lie_in_the_bundle_and_are_told_apart(count: int) -> None:
    diameters = [(1.4, 1.9, 2.4, 4.3)[i * i % 4] for i in range(count)]
    packing = pack(diameters)
    wires = _wires(diameters, packing.at_mm)
    root = parse(
        section_svg(
            wires, packing.diameter_mm, title="Section", covering="PVC tape",
            covering_mm=(packing.diameter_mm, packing.diameter_mm + 0.6),
        )
    )  # fmt: skip
    circles = _circles(root)
    assert sorted(c[0] for c in circles) == sorted(w.id for w in wires)
    for (_, x, y, r), (_, u, v, q) in combinations(circles, 2):
        assert math.hypot(x - u, y - v) >= r + q - 0.05
    said = all_text(root)
    for wire in wires:
        assert wire.id in said
        if wire.colour:
            assert wire.colour in said
    assert f"{count} wire" in said
    assert "PVC tape" in said
    assert overlapping(words(root)) == []


def test_rings_of_a_lay_up_are_dotted() -> None:
    diameters = [2.0] * 19
    laid = rings(diameters)
    root = parse(
        section_svg(
            _wires(diameters, laid.at_mm), laid.diameter_mm, title="x", rings_mm=[r.over_mm for r in laid.rings]
        )
    )
    assert sum(e.get("class") == "ring" for e in root.iter()) == 2


def test_no_wire_no_harm() -> None:
    assert "0 wires" in all_text(parse(section_svg([], 0.0, title="empty")))


def test_splices_are_counted_apart_from_wires() -> None:
    circles = [SectionWire("1A", "BU", 2.0, (-1.0, 0.0)), SectionWire("S1", "", 2.0, (1.0, 0.0))]
    root = parse(section_svg(circles, 4.0, title="t", splices=1))
    assert "1 wire beside 1 splice, ø 4.0 mm" in all_text(root)
