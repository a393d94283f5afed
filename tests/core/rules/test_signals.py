"""What meets what: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

import pytest

from pinmap.core.model.looms import Device
from pinmap.core.model.words import DeviceKind, Direction, Fate, Kind, Severity
from tests import factories_rules as f
from tests.factories_rules import IN, OUT, only


def test_r03_hall_sensor_on_a_variable_reluctance_input() -> None:
    job = f.change_pin(f.clean(), "D2-1", kind=Kind.HALL, component="")
    job = f.change_pin(job, "D2-2", component="")
    found = only(job, "R03", "D2-1", "U1-7")
    assert found.severity is Severity.STOP
    assert "signal conditioner" in found.why


def test_r03_relay_output_load_on_a_permanent_feed_is_wrong_but_burns_nothing() -> None:
    job = f.clean()
    members = tuple(m for m in job.signal["s1"].members if str(m.end) != "K1.86")
    job = f.change_signal(job, 1, inline=("F1",), members=members)
    job = f.change_job(job, devices=tuple(d for d in job.job.devices if d.key != "K1"))
    said = f.spoken(job)
    assert [x.severity for x in said["R03"]] == [Severity.FIX]


def test_r03_unknown_kind_is_no_finding() -> None:
    assert f.findings(f.change_pin(f.clean(), "D1-2", kind=Kind.UNKNOWN)) == ()


def test_r04_battery_voltage_on_an_analogue_input() -> None:
    job = f.change_pin(f.clean(), "D1-2", kind=Kind.LOGIC_12V)
    found = only(job, "R04", "U1-6", "D1-2")
    assert found.severity is Severity.STOP


def test_r04_sees_through_a_fuse_but_not_through_a_resistor() -> None:
    job = f.add_pin(f.clean(), "H1-8", "IGN", Kind.SUPPLY_15, OUT, extra=(("fuse_a", "5"),))
    job = f.add_device(job, Device(key="R2", kind=DeviceKind.RESISTOR, place="box", resistance_ohm=10_000.0))
    job = f.add_signal(job, f.signal(20, "Sense", "H1-8", "R2.1", colour="PK"))
    assert f.findings(f.join(job, 6, "R2.2")) == ()
    job = f.change_device(job, "R2", kind=DeviceKind.SWITCH)
    only(f.join(job, 6, "R2.2"), "R04", "U1-6", "H1-8")


def test_r07_required_input_parked_or_alone() -> None:
    job = f.set_fate(f.leave(f.clean(), 6, "U1-6"), "U1-6", Fate.PARKED)
    only(f.set_fate(f.leave(job, 6, "D1-2"), "D1-2", Fate.RETAINED), "R07", "U1-6")
    found = only(f.leave(f.clean(), 6, "D1-2"), "R07", "U1-6", besides=("R62",))
    assert "nothing on its signal gives" in found.why


def test_r63_inputs_only() -> None:
    job = f.add_pin(f.clean(), "H1-8", "TACH", Kind.PULSE, IN)
    job = f.add_pin(job, "H1-9", "TACH", Kind.PULSE, IN)
    only(f.add_signal(job, f.signal(20, "Tach", "H1-8", "H1-9", colour="PK")), "R63", "H1-8", "H1-9")


def test_r26_bus_crossed() -> None:
    job = f.leave(f.leave(f.clean(), 10, "U1-10"), 11, "U1-11")
    said = f.spoken(f.join(f.join(job, 10, "U1-11"), 11, "U1-10"))
    assert "R03" not in said
    assert {w for x in said["R26"] for w in x.where} >= {"H1-5 (Brindle 6) CAN_H", "U1-11 (Quern QF-2) CAN_L"}


def test_r29_sensor_reversed() -> None:
    job = f.leave(f.leave(f.clean(), 8, "D2-1"), 9, "D2-2")
    said = f.spoken(f.join(f.join(job, 8, "D2-2"), 9, "D2-1"))
    assert set(said) == {"R29"}
    assert len(said["R29"]) == 2


@pytest.mark.parametrize("direction", list(Direction))
@pytest.mark.parametrize("kind", list(Kind))
def test_no_kind_and_direction_breaks_a_rule(kind: Kind, direction: Direction) -> None:
    assert isinstance(f.findings(f.change_pin(f.clean(), "D1-2", kind=kind, direction=direction)), tuple)


def test_r89_same_kind_but_another_function() -> None:
    found = only(f.change_pin(f.clean(), "D1-2", function_code="MAP", function="Boost pressure"), "R89", "D1-2", "U1-6")
    assert "FRP" in found.why
    assert "MAP" in found.why
