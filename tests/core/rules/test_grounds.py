"""Returns and studs: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

from pinmap.core.model.looms import Device
from pinmap.core.model.words import DeviceKind, Direction, Kind, Severity
from tests import factories_rules as f
from tests.factories_rules import IN, only


def test_r18_load_on_the_sensor_ground() -> None:
    job = f.add_pin(f.clean(), "H1-8", "HORN", Kind.GROUND, IN, current_a=5.0)
    found = only(f.join(job, 7, "H1-8"), "R18", "H1-8")
    assert found.severity is Severity.STOP
    assert found.numbers[0][1] == 5.0


def test_r19_sensor_ground_on_the_engine_block() -> None:
    job = f.join(f.no_fate(f.clean(), "H1-4"), 7, "H1-4")
    assert only(job, "R19", "U1-4", "H1-4").severity is Severity.STOP


def test_r19_a_load_beside_them_is_the_same_cause() -> None:
    job = f.add_pin(f.clean(), "H1-8", "HORN", Kind.GROUND, IN, current_a=0.1)
    job = f.join(f.join(f.no_fate(job, "H1-4"), 7, "H1-4"), 7, "H1-8")
    only(job, "R19")


def test_r20_unit_lifted_by_a_long_ground_wire() -> None:
    """6 A over 6 m of 2.5 mm2, 60 mohm warm: above the engine's metal."""
    spoken = f.spoken(f.change_segment(f.clean(), "j2-xd4", length_m=3.6))
    assert set(spoken) == {"R15", "R20"}
    (unit,) = (x for x in spoken["R20"] if x.severity is Severity.FIX)
    assert unit.where[0].startswith("U1-3")
    assert unit.numbers[0][0] == "above the engine's metal"
    assert 0.2 < unit.numbers[0][1] < 0.5


def test_r20_a_load_on_a_sensors_return_lifts_the_sensor() -> None:
    job = f.join(f.leave(f.change_pin(f.clean(), "D3-1", current_a=9.0), 12, "D3-2"), 7, "D3-2")
    sensor = next(x for x in f.spoken(job)["R20"] if x.where[0].startswith("D1-3"))
    assert {n[0] for n in sensor.numbers} == {"above the engine's metal", "above the control unit's ground"}
    assert sensor.severity is Severity.FIX


def test_r28_screen_with_two_ends() -> None:
    job = f.add_pin(f.clean(), "D4-2", "SCREEN", Kind.SCREEN, Direction.PASSIVE)
    two = f.grid("two", 2, 1, f.HOUSINGS[0].gender).cavities
    job = f.change_housing(f.change_housing(job, "g1-pin", cavities=two), "g1-socket", cavities=two)
    assert f.findings(f.set_fate(job, "D4-2", f.Fate.CAPPED)) == ()
    only(
        f.add_signal(f.no_fate(job, "H1-4"), f.signal(20, "Drain", "D4-2", "H1-4", colour="PK")), "R28", "D4-2", "H1-4"
    )


def test_r80_crowded_stud() -> None:
    job = f.add_device(f.clean(), Device(key="G1", kind=DeviceKind.STUD, place="box"))
    job = f.leave(f.no_fate(job, "H1-4"), 4, "D4-1")
    job = f.set_fate(job, "D4-1", f.Fate.RETAINED)
    job = f.join(f.join(job, 4, "H1-4"), 4, "G1.1")
    for cavity in (8, 9):
        job = f.join(f.add_pin(job, f"H1-{cavity}", "HORN", Kind.GROUND, IN, current_a=0.1), 4, f"H1-{cavity}")
    assert f.findings(job) == ()
    job = f.join(f.add_pin(job, "H1-10", "HORN", Kind.GROUND, IN, current_a=0.1), 4, "H1-10")
    assert only(job, "R80", "G1").numbers == (("rings", 5.0, 4.0, ""),)


def test_r81_strap_thinner_than_the_starters_cable_or_none() -> None:
    job = f.add_pin(f.clean(), "H1-8", "PERM", Kind.SUPPLY_30, Direction.OUT)
    job = f.add_pin(job, "D2-3", "STARTER_B+", Kind.SUPPLY_30, IN, current_a=170.0)
    job = f.add_signal(job, f.signal(20, "Starter", "H1-8", "D2-3", colour="BK", mm2=25.0))
    (missing,) = f.spoken(job)["R81"]
    assert missing.numbers[0][1:3] == (0.0, 25.0)
    strap = f.add_pin(f.no_fate(job, "H1-4"), "D4-2", "GND_ENG", Kind.GROUND, Direction.OUT)
    thin = f.add_signal(strap, f.signal(21, "Strap", "H1-4", "D4-2", colour="BK", mm2=16.0))
    (found,) = f.spoken(thin)["R81"]
    assert found.numbers[0][1:3] == (16.0, 25.0)
    assert found.severity is Severity.STOP
    thick = f.add_signal(strap, f.signal(21, "Strap", "H1-4", "D4-2", colour="BK", mm2=25.0))
    assert "R81" not in f.spoken(thick)
    assert "R81" not in f.spoken(f.set_fate(f.leave(job, 4, "D4-1"), "D4-1", f.Fate.RETAINED))
