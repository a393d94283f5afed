from __future__ import annotations

import math
from xml.etree import ElementTree as ET

import pytest

from pinmap.core.model.pinouts import Cavity, ConnectorKey, Housing
from pinmap.core.model.words import Evidence, View
from pinmap.drawings.faces import CELL, CavityLabel, face_labels, face_svg
from tests.factories_drawings import grid, routed, small_job
from tests.factories_svg import NS, all_text, overlapping, parse, view_box, words

HOSTILE = '<b>"x"&\'</b>\u202e\U0001f600 مرحبا ' + "W" * 300


def _labels(housing: Housing) -> dict[str, CavityLabel]:
    proof = list(Evidence)
    return {
        c.name: CavityLabel(wire=f"{117 + i}A", colour="RDBK", evidence=proof[i % 3])
        if i % 4
        else CavityLabel(plugged=i % 8 == 0)
        for i, c in enumerate(housing.cavities)
    }


def _round(count: int) -> Housing:
    spots = [Cavity(name="A", column=0, row=0)]
    for i in range(count - 1):
        turn = i * 2 * math.pi / (count - 1)
        spots.append(Cavity(name=chr(66 + i), column=1.4 * math.cos(turn), row=1.4 * math.sin(turn)))
    return Housing(key="r", name="R", cavities=tuple(spots), shape="circle")


def _cavities(root: ET.Element, view: View) -> dict[str, tuple[float, float]]:
    (face,) = [g for g in root.iter(f"{NS}g") if g.get("data-view") == view.value]
    return {
        g.attrib["data-cavity"]: (float(g.attrib["data-x"]), float(g.attrib["data-y"]))
        for g in face.iter(f"{NS}g")
        if g.get("class") == "cavity"
    }


@pytest.mark.parametrize("housing", [grid("h", 2), grid("h", 12, 2), grid("h", 121, 4), _round(9), _round(31)])
def test_the_wire_side_mirrors_the_mating_side(housing: Housing) -> None:
    root = parse(face_svg(housing, None, _labels(housing)))
    mating, wire = _cavities(root, View.MATING), _cavities(root, View.WIRE)
    assert set(mating) == set(wire) == set(housing.cavity_names)
    sums = {round(mating[n][0] + wire[n][0], 1) for n in mating}
    assert max(sums) - min(sums) < 0.2, "every cavity is mirrored about one axis"
    drops = {round(wire[n][1] - mating[n][1], 1) for n in mating}
    assert max(drops) - min(drops) < 0.2, "rows stay where they are"


def test_the_mating_side_keeps_the_housings_own_order() -> None:
    housing = grid("h", 6, 2)
    at = _cavities(parse(face_svg(housing, View.MATING)), View.MATING)
    assert at["1"][0] < at["2"][0] < at["3"][0]
    assert at["4"][1] > at["1"][1]
    assert at["4"][0] == at["1"][0]


@pytest.mark.parametrize("housing", [grid("h", 2), grid("h", 12, 2), grid("h", 121, 4), _round(9), _round(31)])
def test_no_words_cover_each_other_and_all_are_on_the_sheet(housing: Housing) -> None:
    root = parse(face_svg(housing, None, _labels(housing), title=HOSTILE))
    assert overlapping(words(root)) == []
    sheet = view_box(root)
    assert all(b.x0 >= 0 and b.y0 >= 0 and b.x1 <= sheet.x1 + 0.1 and b.y1 <= sheet.y1 for _, b in words(root))


def test_cavities_do_not_overlap() -> None:
    staggered = Housing(
        key="s",
        name="S",
        cavities=tuple(Cavity(name=str(i), column=i * 0.5, row=i % 2) for i in range(10)),
    )
    at = list(_cavities(parse(face_svg(staggered, View.MATING)), View.MATING).values())
    assert all(max(abs(a[0] - b[0]), abs(a[1] - b[1])) >= CELL for i, a in enumerate(at) for b in at[i + 1 :])


def test_plugs_and_unproven_pins_are_said_in_words_and_drawn() -> None:
    housing = grid("h", 4)
    labels = {
        "1": CavityLabel(wire="1A", evidence=Evidence.MEASURED),
        "2": CavityLabel(wire="2A", evidence=Evidence.ASSUMED),
        "3": CavityLabel(plugged=True),
    }
    root = parse(face_svg(housing, View.WIRE, labels))
    said = all_text(root)
    assert "WIRE SIDE" in said
    assert "MATING SIDE" not in said
    assert {"measured", "assumed", "plug", "empty"} <= set(said.split("\n"))
    rings = {
        g.attrib["data-cavity"]: [c.get("fill") for c in g.iter(f"{NS}circle") if c.get("class") == "evidence"]
        for g in root.iter(f"{NS}g")
        if g.get("class") == "cavity"
    }
    assert rings["1"] != ["none"]
    assert rings["2"] == ["none"]
    dashed = [
        g for g in root.iter(f"{NS}g") if g.get("class") == "cavity" and g.find(f"{NS}rect").get("stroke-dasharray")
    ]  # type: ignore[union-attr]  # every cavity has a shape
    assert [g.attrib["data-cavity"] for g in dashed] == ["2"]


def test_the_lock_changes_sides_with_the_view() -> None:
    housing = grid("h", 4, lock="left")
    root = parse(face_svg(housing, None))
    assert [r.get("data-side") for r in root.iter(f"{NS}rect") if r.get("class") == "lock"] == ["left", "right"]


def test_a_housing_without_usable_places_is_a_list_and_says_so() -> None:
    housing = Housing(key="u", name="U", cavities=tuple(Cavity(name=f"A{i}", column=0, row=0) for i in range(13)))
    root = parse(face_svg(housing, None))
    assert "CAVITY LIST" in all_text(root)
    assert "not known" in all_text(root)
    assert "MATING SIDE" not in all_text(root)
    parse(face_svg(Housing(key="e", name="empty"), None))


def test_labels_come_from_the_routed_job() -> None:
    snapshot = small_job()
    labels = face_labels(snapshot, snapshot.variants[0], routed(snapshot), ConnectorKey("brindle", "C101"))
    assert (labels["1"].wire, labels["1"].colour, labels["1"].evidence) == ("1A", "RD", Evidence.MEASURED)
    assert labels["4"].wire == ""
    assert labels["4"].evidence is Evidence.ASSUMED
    assert labels["12"].evidence is None
    assert labels["1"].key == "pin:brindle:C101:1"


def test_hostile_names_do_no_harm_and_drawings_repeat() -> None:
    cavities = (Cavity(name=HOSTILE, column=0, row=0), Cavity(name="2", column=1, row=0))
    housing = Housing(key="h", name=HOSTILE, keying=HOSTILE, cavities=cavities)
    labels = {HOSTILE: CavityLabel(wire=HOSTILE, colour=HOSTILE, function=HOSTILE, evidence=Evidence.MANUAL, key="k")}
    one = face_svg(housing, None, labels, link=lambda key: "/x")
    root = parse(one)
    assert overlapping(words(root)) == []
    assert one == face_svg(housing, None, labels, link=lambda key: "/x")
