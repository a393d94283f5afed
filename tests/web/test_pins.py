"""One pin at a time, and pin lists: staged, corrected, taken."""

from __future__ import annotations

import pytest

from pinmap.core.model.pinouts import Pin
from pinmap.services import pinout_import, platforms
from tests.factories_web import Visitor

PAGE = "/platforms/rig/connectors/C1"
PIN = "/platforms/rig/pin?pin=p%2Frig%2FC1%2F4%2F"


def _pins(visitor: Visitor) -> dict[str, Pin]:
    return {f"{p.connector}-{p.cavity}": p for p in platforms.get(visitor.shop, "rig").platform.pins}


def test_a_pin_is_added_and_its_function_recognised(bench: Visitor) -> None:
    typed = {
        "cavity": "6",
        "function": "Coolant temperature sensor",
        "kind": "ntc",
        "direction": "out",
        "wire_colour": "ye/bk",
    }
    bench.open(PAGE).sent("/platforms/rig/pins", typed | {"current_a": "0,125", "evidence": "measured"})
    pin = _pins(bench)["C1-6"]
    assert (pin.function_code, pin.current_a, pin.wire_colour) == ("ECT", 0.125, "YE/BK")
    assert "C1-6 added" in bench.notice()


def test_a_pin_is_changed_and_deleted(bench: Visitor) -> None:
    bench.open(PAGE).follow("C1-4").sent(PIN, {"note": "checked", "current_a": "0.015", "evidence": "manual"})
    assert (_pins(bench)["C1-4"].note, _pins(bench)["C1-4"].current_a) == ("checked", 0.015)
    bench.open(PAGE).sent("/platforms/rig/pins", {"cavity": "7"})
    gone = PIN.replace("4", "7")
    bench.open(gone).sent(gone, press="deed=delete")
    assert "C1-7" not in _pins(bench)
    bench.open(gone, status=404)


def test_a_pin_of_a_connector_with_signs_in_its_name(bench: Visitor) -> None:
    bench.open("/platforms/rig").sent("/platforms/rig/connectors", {"name": "X#1/a ?b"})
    bench.follow("X#1/a ?b").sent("/platforms/rig/pins", {"cavity": "a/b&c"})
    bench.follow("X#1/a ?b-a/b&c")
    action = str(bench.page.select("form[method=post]")[-1]["action"])
    bench.sent(action, {"note": "found"})
    assert _pins(bench)["X#1/a ?b-a/b&c"].note == "found"


@pytest.mark.parametrize(
    ("action", "typed", "remedy"),
    [
        ("/platforms/rig/pins", {"cavity": "1"}, "this one has an entry for the same editions"),
        ("/platforms/rig/pins", {"cavity": " "}, "name the cavity"),
        ("/platforms/rig/pins", {"cavity": "9", "current_a": "lots"}, "type a plain number"),
        ("/platforms/rig/pins", {"cavity": "9", "connector": "C9"}, "C9"),
        (PIN, {"peak_a": "-1"}, "at least 0"),
        (PIN, {"wire_mm2": "1e9"}, "from 0 to 10000"),
        (PIN, {"editions": "nineties"}, "nineties"),
        (PIN, {"cavity": "1"}, "choose another cavity"),
    ],
)
def test_a_bad_pin_is_refused_and_stays_typed(bench: Visitor, action: str, typed: dict[str, str], remedy: str) -> None:
    before = _pins(bench)
    bench.open(PIN if action == PIN else PAGE).send(action, typed | {"note": "typed too"}).refused(remedy)
    again = bench.form(action).values()
    assert {k: again[k] for k in typed} == {k: [v] for k, v in typed.items()}
    assert again["note"] == ["typed too"]
    assert _pins(bench) == before


def test_a_used_pin_is_not_deleted(bench: Visitor) -> None:
    address = PIN.replace("4", "1")
    bench.open(address).send(address, press="deed=delete").refused("Lamp feed", "take it out there first")


def test_a_file_and_a_pasted_table_become_drafts(bench: Visitor) -> None:
    page = "/platforms/lone/import"
    bench.open(page).sent(page, file=("pins.csv", b"connector;cavity;function\nX1;1;Horn\nX1;2;Ground\n"))
    assert bench.at == "/imports/2"
    bench.sent("/imports/2/take", press="how=all")
    assert "2 pins stored" in bench.notice()
    bench.open(page).sent("/platforms/lone/paste", {"text": "connector\tcavity\nX2\t1\n"})
    bench.sent("/imports/3/discard")
    assert bench.notice() == "The draft was thrown away"
    assert len(platforms.get(bench.shop, "lone").platform.pins) == 2
    bench.open(page).send(page, file=("pins.xlsx", b"PK no workbook")).refused("pins.xlsx")
    bench.open(page).send("/platforms/lone/paste", {"text": " "}).refused()


def test_a_draft_is_corrected_and_taken_row_by_row(bench: Visitor) -> None:
    bench.open("/imports/1")
    assert "1 meet a pin on file" in bench.text
    bench.sent("/imports/1/cell", {"text": "2.5"}, hidden={"row": "3", "column": "3"})
    bench.sent("/imports/1/choose", press="choice=replace", hidden={"row": "2"})
    bench.sent("/imports/1/take", press="how=all")
    assert "2 pins stored, 1 replaced" in bench.notice()
    assert (_pins(bench)["C1-9"].current_a, _pins(bench)["C1-1"].current_a) == (2.5, 5.0)


def test_good_rows_are_taken_and_bad_ones_wait(bench: Visitor) -> None:
    bench.open("/imports/1").sent("/imports/1/take", press="how=good")
    assert bench.at.startswith("/imports/1")
    assert "C1-8" in _pins(bench)
    assert len(pinout_import.get(bench.shop, 1).draft.rows) == 2
    version = bench.form("/imports/1/take").values()["version"][0]
    bench.post("/imports/1/take", {"version": version, "how": "all"}).refused("must be settled", "much")


def test_headings_are_read_otherwise(bench: Visitor) -> None:
    bench.open("/imports/1").sent("/imports/1/headings", {"column-3": "", "default_connector": "C7"})
    view = pinout_import.get(bench.shop, 1)
    assert 3 not in view.read_as
    assert view.default_connector == "C7"
    bench.send("/imports/1/headings", {"column-3": "cavity"}).refused("two columns are read as this one")
    bench.open("/imports/1").send("/imports/1/headings", {"heading_row": "first"}).refused("the number of the row")
    assert bench.form("/imports/1/headings").values()["heading_row"] == ["first"]
