from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.errors import NotFound
from pinmap.core.facts.functions import Dictionary, FunctionEntry
from pinmap.core.facts.sources import digest, rows, source
from pinmap.core.loom.results import Routing, pin_point
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import DeviceEnd, End
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Evidence, Kind
from pinmap.core.tracing.path import Trace, trace, usual_readings
from pinmap.demo import finished_snapshot
from tests.factories_drawings import even_report, routed, small_job


def _trace(end: End, snapshot: Snapshot | None = None, dictionary: Dictionary | None = None) -> Trace:
    snapshot = snapshot or small_job()
    routing = routed(snapshot)
    return trace(snapshot, snapshot.variants[0], routing, even_report(snapshot, routing), end, dictionary)


def _labels(found: Trace) -> list[str]:
    return [s.label for s in found.stations]


WHOLE = [
    "X-C101-1",
    "F1",
    "R1 contact",
    "S1.2",
    "X-E3-1",
    "Fuel metering valve",
    "X-E3-2",
    "X-K1-12",
    "inside Quern QF-2",
    "X-K1-3",
    "S4",
    "X-C102-1",
]


@pytest.mark.parametrize(
    "end", [PinKey("q24", "E3", "1"), PinKey("q24", "E3", "2"), PinKey("qf2", "K1", "12")], ids=str
)
def test_the_way_is_the_same_from_any_of_its_pins(end: PinKey) -> None:
    found = _trace(end)
    assert _labels(found) == WHOLE
    assert found.from_source
    assert found.to_minus
    assert found.joined
    here = [s for s in found.stations if s.here]
    assert [s.ref for s in here] == [f"pin:{end.platform}:{end.connector}:{end.cavity}"]
    assert found.stations[found.here] is here[0]


def test_legs_are_the_wires_between() -> None:
    found = _trace(PinKey("q24", "E3", "2"))
    assert len(found.legs) == len(found.stations) - 1
    wires = [leg.wire.id if leg.wire else "" for leg in found.legs]
    assert wires == ["1A", "1-F1.2", "1-R1.87", "1C", "", "", "11A", "", "", "4B", "4A"]
    assert found.length_m == pytest.approx(sum(leg.wire.length_m for leg in found.legs if leg.wire))
    assert found.legs[0].words == "wire 1A · RD · 2.5 mm² · 0.70 m"
    assert found.legs[4].words == "through Quern Q24"
    assert all(leg.along for leg in found.legs)


def test_branches_are_named_with_their_first_wire() -> None:
    found = _trace(PinKey("q24", "E3", "2"))
    assert [(b.at, b.label, b.wire) for b in found.branches] == [
        (3, "X-K1-1", "1B"),
        (3, "X-E3-3", "1D"),
        (8, "X-K1-4", ""),
        (10, "X-K1-4", "4C"),
    ]


def test_stations_say_what_to_read_and_how_well_it_is_known() -> None:
    snapshot = small_job()
    found = _trace(PinKey("q24", "E3", "2"), snapshot)
    volts = even_report(snapshot, routed(snapshot)).voltage_v
    first = found.stations[0]
    assert first.voltage_v == {c: volts[c]["pin:brindle:C101:1"] for c in volts}
    assert first.evidence is Evidence.MEASURED
    assert first.where == "Brindle 6, bulkhead, left"
    fuse = found.stations[1]
    assert fuse.detail == "fuse · 20 A · 1 → 2"
    assert fuse.voltage_v["key-on"] == volts["key-on"]["device:F1:1"]
    assert fuse.leaving_v["key-on"] == volts["key-on"]["device:F1:2"]
    assert fuse.where == "Fuse box"
    assert found.stations[2].detail == "relay · 30 → 87"
    drive = found.stations[6]
    assert drive.evidence is Evidence.MANUAL
    assert drive.evidence_ref == "sheet 7"


def test_a_sensors_way_goes_from_its_supply_through_it_to_the_unit() -> None:
    found = _trace(PinKey("q24", "E2", "1"))
    assert _labels(found) == ["X-K1-8", "S7", "X-E2-2", "Crank sensor", "X-E2-1", "X-K1-10"]
    assert ("X-E2-3", 3) in {(b.label, b.at) for b in found.branches}
    assert not found.to_minus


def test_a_load_driven_at_both_ends_is_left_by_its_other_end() -> None:
    found = _trace(PinKey("q24", "E1", "2"))
    assert _labels(found) == ["X-K2-2", "X-E1-2", "Injector 1", "X-E1-3", "X-K2-3"]
    assert [leg.along for leg in found.legs] == [True, True, False, False]
    assert "Injector driver" in {c.about for c in found.cautions}


def test_a_relays_coil_can_be_traced_by_its_terminal() -> None:
    found = _trace(DeviceEnd("R1", "85"))
    assert _labels(found)[:4] == ["X-C101-2", "S2", "R1 coil", "X-K1-5"]
    assert found.stations[2].detail == "relay · 86 → 85"
    assert found.stations[2].here


def test_an_unjoined_pin_is_a_way_of_one_station() -> None:
    found = _trace(PinKey("brindle", "C101", "4"))
    assert _labels(found) == ["X-C101-4"]
    assert not found.joined
    assert found.legs == ()


def test_a_joined_pin_without_a_wire_is_not_called_joined() -> None:
    snapshot = small_job()
    found = trace(snapshot, snapshot.variants[0], Routing(), ElectricalReport(), PinKey("q24", "E2", "1"))
    assert not found.joined
    assert found.stations[found.here].voltage_v == {}


def test_what_is_not_there_is_said() -> None:
    for end in (PinKey("brindle", "C101", "99"), DeviceEnd("F9", "1")):
        with pytest.raises(NotFound):
            _trace(end)
    gone = small_job()
    seats = tuple(s for s in gone.job.seats if s.key != "unit")
    with pytest.raises(NotFound):
        _trace(PinKey("qf2", "K1", "1"), replace(gone, job=replace(gone.job, seats=seats)))


def test_cautions_follow_kinds_and_words() -> None:
    assert [c.about for c in _trace(PinKey("q24", "E3", "2")).cautions] == ["Battery", "Fuel"]
    snapshot = small_job()
    platforms = tuple(
        replace(
            p,
            pins=tuple(
                replace(x, kind=Kind.RESTRAINT) if x.cavity == "4" and x.connector == "C101" else x for x in p.pins
            ),
        )
        for p in snapshot.platforms
    )
    found = _trace(PinKey("brindle", "C101", "4"), replace(snapshot, platforms=platforms))
    assert found.cautions[0].stop
    assert found.cautions[0].about == "Airbag and belt circuits"


def test_the_dictionary_gives_names_and_groups() -> None:
    snapshot = small_job()
    platforms = tuple(
        replace(
            p, pins=tuple(replace(x, function="", function_code="ZZ") if x.connector == "E3" else x for x in p.pins)
        )
        for p in snapshot.platforms
    )
    words = Dictionary((FunctionEntry(code="ZZ", name="Boost valve", group="cooling fan"),))
    found = _trace(PinKey("q24", "E3", "4"), replace(snapshot, platforms=platforms), words)
    assert found.stations[found.here].detail == "Boost valve"
    assert "Fan" in {c.about for c in found.cautions}


def test_usual_readings_are_for_kinds_that_exist_and_the_table_is_as_its_source_says() -> None:
    kinds = {kind.value for kind in Kind}
    table = rows("expected_readings")
    assert {row["kind"] for row in table} <= kinds
    assert all(row["source"] == "common practice" for row in table)
    assert source("expected_readings").sha256 == digest("expected_readings")
    cases = small_job().job.load_cases
    assert usual_readings(Kind.REFERENCE_5V, cases)["cranking"] == "4.9 to 5.1 V"
    assert set(usual_readings(Kind.RESTRAINT, cases).values()) == {"do not probe"}
    assert usual_readings(Kind.UNKNOWN, cases) == {}


def test_pins_of_the_demo_have_a_way_in_every_variant() -> None:
    snapshot = finished_snapshot()
    for variant in snapshot.variants:
        routing = route(snapshot, variant)
        wired = {pin_point(e.pin) for w in routing.wires for e in (w.a, w.b) if e.pin is not None}
        for key in list(snapshot.active_pins(variant))[::7]:
            found = trace(snapshot, variant, routing, ElectricalReport(), key)
            assert found.joined == (pin_point(key) in wired)
            assert len({s.ref + s.part for s in found.stations}) == len(found.stations), "no station twice"
            assert len(found.legs) == len(found.stations) - 1
