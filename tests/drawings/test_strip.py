from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.looms import DeviceEnd, End
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Kind
from pinmap.core.tracing.flow import PlaceKind
from pinmap.core.tracing.path import Station, Trace, trace, usual_readings
from pinmap.demo import finished_snapshot
from pinmap.drawings.strip import PHONE_WIDTH, StripLayout, readings, strip_svg
from pinmap.drawings.svg import clean
from tests.factories_drawings import even_report, hostile, routed, small_job
from tests.factories_svg import NS, all_text, overlapping, parse, view_box, words

HOSTILE = "<script>\"&'</script>\u202e\U0001f600 مرحبا " + "W" * 300
ENDS: list[End] = [
    PinKey("q24", "E3", "2"),
    PinKey("q24", "E2", "1"),
    PinKey("q24", "E1", "2"),
    PinKey("brindle", "C101", "4"),
    PinKey("brindle", "C101", "1"),
    DeviceEnd("R1", "85"),
]


def _trace(end: End, text: str = "") -> Trace:
    snapshot = hostile(small_job(), text) if text else small_job()
    routing = routed(snapshot)
    return trace(snapshot, snapshot.variants[0], routing, even_report(snapshot, routing), end, Dictionary())


def _tidy(root: ET.Element) -> None:
    assert overlapping(words(root)) == []
    sheet = view_box(root)
    assert all(b.x0 >= 0 and b.x1 <= sheet.x1 + 0.1 and b.y0 >= 0 and b.y1 <= sheet.y1 for _, b in words(root))


@pytest.mark.parametrize("layout", list(StripLayout))
@pytest.mark.parametrize("end", ENDS, ids=str)
@pytest.mark.parametrize("text", ["", HOSTILE], ids=["plain", "hostile"])
def test_strips_are_tidy_and_whole(end: End, layout: StripLayout, text: str) -> None:
    found = _trace(end, text)
    root = parse(strip_svg(found, layout))
    _tidy(root)
    stations = [g.attrib["data-station"] for g in root.iter(f"{NS}g") if g.get("class") == "station"]
    assert stations == [clean(s.ref) for s in found.stations]
    drawn = [g.attrib["data-wire"] for g in root.iter(f"{NS}g") if g.get("class") == "line"]
    assert drawn == [leg.wire.id for leg in found.legs if leg.wire is not None]
    assert strip_svg(found, layout) == strip_svg(found, layout)


def test_the_phone_strip_is_as_wide_as_a_phone_and_runs_downwards() -> None:
    root = parse(strip_svg(_trace(ENDS[0])))
    assert view_box(root).x1 == PHONE_WIDTH
    at = [float(g.attrib["data-y"]) for g in root.iter(f"{NS}g") if g.get("class") == "station"]
    assert at == sorted(at)
    assert len(at) == 12
    said = all_text(root)
    assert "X-E3-2 · you are here" in said
    assert "Caution: Fuel" in said
    assert "wire 11A · BUYE · 1 mm² · 1.50 m" in said
    assert "unproven: manual, sheet 7" in said
    assert "1B to X-K1-1, Unit supply" in said


def test_an_unjoined_pin_says_so() -> None:
    said = all_text(parse(strip_svg(_trace(ENDS[3]))))
    assert "not joined to any signal" in said
    assert "unproven: assumed" in said


def test_links_lead_where_the_caller_says() -> None:
    root = parse(strip_svg(_trace(ENDS[0]), link=lambda key: f"/t/{key}"))
    links = {e.attrib["href"] for e in root.iter(f"{NS}a")}
    assert {"/t/pin:q24:E3:2", "/t/wire:11A", "/t/device:F1", "/t/pin:qf2:K1:1"} <= links


def test_readings_of_one_value_share_a_line_and_a_drop_is_shown() -> None:
    cases = small_job().job.load_cases
    station = Station(
        label="F1",
        point="p",
        kind=PlaceKind.DEVICE,
        ref="device:F1",
        voltage_v={"key-on": 12.0, "idle": 13.5, "full-load": 13.5},
        leaving_v={"key-on": 11.9, "idle": 13.5, "full-load": 13.5},
    )
    assert readings(station, cases) == [("Key on", "12.00 → 11.90 V"), ("Idle, Full load", "13.50 V")]


def test_no_voltage_is_offered_where_nobody_should_probe() -> None:
    cases = small_job().job.load_cases
    for kind in (Kind.RESTRAINT, Kind.HIGH_VOLTAGE, Kind.INJECTOR_BOOSTED):
        station = Station(
            label="x",
            point="p",
            kind=PlaceKind.PIN,
            ref="pin:x",
            pin_kind=kind,
            voltage_v={case.key: 12.0 for case in cases},
            usual=usual_readings(kind, cases),
        )
        said = " ".join(words for _, words in readings(station, cases))
        assert "12.00" not in said
        assert "do not" in said


def test_any_pin_of_the_demo_gives_a_tidy_strip() -> None:
    snapshot = finished_snapshot()
    routing = routed(snapshot)
    report = even_report(snapshot, routing)
    variant = snapshot.variants[0]
    for key in list(snapshot.active_pins(variant))[::25]:
        _tidy(parse(strip_svg(trace(snapshot, variant, routing, report, key, Dictionary()))))
