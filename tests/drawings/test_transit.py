from __future__ import annotations

from collections import Counter
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.errors import InputError
from pinmap.core.facts.functions import Dictionary, dictionary
from pinmap.core.loom.results import Routing, RoutingGap
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.demo import finished_snapshot
from pinmap.drawings.transit import MAP_SIGNALS, transit_maps, transit_svg
from tests.factories_drawings import even_report, hostile, routed, small_job
from tests.factories_svg import NS, all_text, overlapping, parse, placed, strokes, struck, view_box, words

HOSTILE = "<script>\"&'</script>\u202e\U0001f600 مرحبا " + "W" * 300


def _map(snapshot: Snapshot, signals: list[str] | None = None, **options: object) -> ET.Element:
    routing = routed(snapshot)
    report = even_report(snapshot, routing)
    return parse(transit_svg(snapshot, snapshot.variants[0], routing, report, signals, **options))  # type: ignore[arg-type]  # options as named


def _wires(root: ET.Element) -> Counter[str]:
    return Counter(g.attrib["data-wire"] for g in root.iter(f"{NS}g") if g.get("class") == "line")


def _tidy(root: ET.Element) -> None:
    assert overlapping(words(root)) == []
    assert struck(root, "casing", "inside", "terminus") == []
    sheet = view_box(root)
    assert all(b.x0 >= 0 and b.y0 >= 0 and b.x1 <= sheet.x1 and b.y1 <= sheet.y1 for _, b in words(root))
    for (x1, y1, x2, y2), _ in strokes(root):
        assert min(x1, x2) >= 0
        assert max(x1, x2) <= sheet.x1
        assert max(y1, y2) <= sheet.y1


def test_every_wire_is_drawn_once_and_nothing_on_anything() -> None:
    snapshot = small_job()
    root = _map(snapshot)
    assert _wires(root) == Counter(w.id for w in routed(snapshot).wires)
    _tidy(root)


def test_every_end_of_a_line_is_at_a_station() -> None:
    snapshot = small_job()
    root = _map(snapshot)
    at = {g.attrib["data-place"] for g in root.iter(f"{NS}g") if g.get("data-place")}
    for wire in routed(snapshot).wires:
        for end in (wire.a, wire.b):
            if end.pin is not None:
                assert f"pin:{end.pin.platform}:{end.pin.connector}:{end.pin.cavity}" in at
            elif end.splice:
                assert f"splice:{end.splice}" in at
    assert {"device:F1", "device:R1:contact", "device:R1:coil", "component:q24:Crank sensor"} <= at


def test_one_signal_alone_and_with_its_whole_way() -> None:
    snapshot = small_job()
    alone = _map(snapshot, ["s011"], whole_way=False)
    assert _wires(alone) == {"11A": 1}
    whole = _map(snapshot, ["s011"])
    assert set(_wires(whole)) == {"1A", "1-F1.2", "1-R1.87", "1C", "11A", "4A", "4B"}
    _tidy(alone)
    _tidy(whole)
    xs = {
        g.attrib["data-place"]: float(g.find(f"{NS}rect").attrib["x"])  # type: ignore[union-attr]  # every cavity has a shape
        for g in whole.iter(f"{NS}g")
        if g.get("class") == "cavity"
    }
    order = ["brindle:C101:1", "q24:E3:1", "q24:E3:2", "qf2:K1:12", "qf2:K1:3", "brindle:C102:1"]
    places = [xs[f"pin:{name}"] for name in order]
    assert places == sorted(places), "from the source through the load to battery minus"


def test_words_stand_on_the_line() -> None:
    said = all_text(_map(small_job(), ["s011"], case="cranking"))
    assert "11A" in said
    assert "BUYE · 1" in said
    assert "Cranking, supply 9.6 V" in said
    assert "Fuel metering valve drive" in said
    assert "unproven: manual" in said
    assert " V" in said


def test_cavities_of_one_connector_share_a_bar() -> None:
    root = _map(small_job(), ["s005", "s006"], whole_way=False)
    bars = [e for e in root.iter(f"{NS}rect") if e.get("class") == "bar"]
    assert len(bars) == 2
    assert _wires(root) == {"5A": 1, "6A": 1}


def test_pins_nobody_measured_have_a_broken_ring() -> None:
    root = _map(small_job(), ["s002"], whole_way=False)
    dashed = {
        g.attrib["data-place"]: bool(g.find(f"{NS}rect").get("stroke-dasharray"))  # type: ignore[union-attr]  # every cavity has a shape
        for g in root.iter(f"{NS}g")
        if g.get("class") == "cavity"
    }
    assert dashed == {"pin:brindle:C101:2": False, "pin:qf2:K1:2": True}


def test_without_a_report_the_map_says_so() -> None:
    snapshot = small_job()
    root = parse(transit_svg(snapshot, snapshot.variants[0], routed(snapshot), ElectricalReport(), ["s001"]))
    assert "No readings computed" in all_text(root)


def test_a_gap_is_named_and_its_pins_are_still_there() -> None:
    snapshot = small_job()
    gap = RoutingGap(signal="s009", section=0, a="E2-1", b="K1-10", reason="no run joins them")
    kept = tuple(w for w in routed(snapshot).wires if w.signal != "s009")
    root = parse(
        transit_svg(
            snapshot, snapshot.variants[0], Routing(kept, (), (gap,)), ElectricalReport(), ["s009"], whole_way=False
        )
    )
    assert "Not routed: Crank signal, E2-1 to K1-10: no run joins them" in all_text(root)
    assert {g.get("data-place") for g in root.iter(f"{NS}g")} >= {"pin:q24:E2:1", "pin:qf2:K1:10"}
    _tidy(root)


def test_unknown_signals_are_refused_and_none_make_an_empty_map() -> None:
    snapshot = small_job()
    with pytest.raises(InputError):
        _map(snapshot, ["s001", "nope"])
    assert _wires(_map(snapshot, [])) == Counter()


def test_hostile_names_do_no_harm() -> None:
    snapshot = hostile(small_job(), HOSTILE)
    root = _map(snapshot, title=HOSTILE)
    _tidy(root)
    assert sum(_wires(root).values()) == len(routed(snapshot).wires)
    assert list(root.iter(f"{NS}a")) == []


def test_links_and_repetition() -> None:
    snapshot = small_job()
    routing = routed(snapshot)
    report = even_report(snapshot, routing)
    variant = snapshot.variants[0]
    one = transit_svg(snapshot, variant, routing, report, link=lambda key: f"/t?at={key}")
    assert one == transit_svg(snapshot, variant, routing, report, link=lambda key: f"/t?at={key}")
    links = {e.attrib["href"] for e in parse(one).iter(f"{NS}a")}
    assert {"/t?at=wire:11A", "/t?at=pin:brindle:C101:1", "/t?at=device:F1", "/t?at=splice:S7"} <= links


def test_the_maps_of_the_demo_show_every_wire_once() -> None:
    snapshot = finished_snapshot()
    variant = snapshot.variants[0]
    routing = route(snapshot, variant)
    maps = transit_maps(snapshot, variant, routing, ElectricalReport(), dictionary())
    drawn: Counter[str] = Counter()
    for title, svg in maps:
        root = parse(svg)
        assert title in all_text(root)
        _tidy(root)
        drawn += _wires(root)
    assert drawn == Counter(w.id for w in routing.wires)


def test_a_system_of_the_demo_with_the_whole_way_is_tidy() -> None:
    snapshot = finished_snapshot()
    variant = snapshot.variants[0]
    routing = route(snapshot, variant)
    keys = [s.key for s in snapshot.job.signals][40 : 40 + MAP_SIGNALS]
    _tidy(parse(transit_svg(snapshot, variant, routing, even_report(snapshot, routing), keys)))


def test_groups_come_from_the_functions() -> None:
    snapshot = small_job()
    empty = transit_maps(snapshot, snapshot.variants[0], routed(snapshot), ElectricalReport(), Dictionary())
    assert [t for t, _ in empty] == ["Other signals, sheet 1 of 2", "Other signals, sheet 2 of 2"]
    code = next(e for e in dictionary().entries if e.group == "injection")
    signals = tuple(replace(s, function_code=code.code) if s.number > 12 else s for s in snapshot.job.signals)
    grouped = replace(snapshot, job=replace(snapshot.job, signals=signals))
    maps = transit_maps(grouped, grouped.variants[0], routed(grouped), ElectricalReport(), dictionary())
    assert [t for t, _ in maps] == ["Other signals", "Injection"]


def test_a_line_of_another_signal_passes_over_with_a_light_edge() -> None:
    root = _map(small_job())
    edges = [e for e, _, _ in placed(root) if e.get("class") == "edge"]
    casings = [e for e, _, _ in placed(root) if e.get("class") == "casing"]
    assert len(edges) == len(casings) == len(routed(small_job()).wires)
