"""Pairs and buses: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

import pytest

from pinmap.core.model.looms import Device
from pinmap.core.model.words import DeviceKind, Kind, Severity
from tests import factories_rules as f
from tests.factories_rules import only


@pytest.mark.parametrize("number", [8, 11])
@pytest.mark.parametrize("twist", ["", "other"])
def test_r22_not_in_one_twist_group(number: int, twist: str) -> None:
    found = only(f.change_signal(f.clean(), number, twist=twist), "R22", f"signal {number} ")
    assert "twist group" in found.why


def test_r97_a_pair_by_different_ways() -> None:
    job = f.leave(f.add_pin(f.clean(), "D3-3", "CKP-", Kind.INDUCTIVE, f.OUT, component="crank sensor"), 9, "D2-2")
    three = f.grid("three", 3, 1, f.Gender.PIN).cavities
    job = f.change_housing(f.change_housing(job, "g2-pin", cavities=three), "g2-socket", cavities=three)
    job = f.change_pin(job, "D2-2", component="")
    found = only(f.set_fate(f.join(job, 9, "D3-3"), "D2-2", f.Fate.RETAINED), "R97", "signal 8 ", "signal 9 ", "j2-xd2")
    assert found.numbers[0][:2] == ("apart", 0.7)


def test_r22_cavities_apart_is_a_note() -> None:
    job = f.join(f.leave(f.clean(), 11, "H1-11"), 11, "H1-8")
    job = f.add_pin(job, "H1-8", "CAN_L", Kind.CAN_L, f.BOTH, extra=(("terminator_ohm", "120"),))
    found = only(f.set_fate(job, "H1-11", f.Fate.RETAINED), "R22", "H1-5")
    assert found.severity is Severity.NOTE


def test_r24_one_missing() -> None:
    job = f.change_job(f.clean(), devices=tuple(d for d in f.clean().job.devices if d.key != "R1"))
    found = only(job, "R24", "CAN high", "inside Brindle 6")
    assert found.severity is Severity.FIX
    assert found.numbers == (("terminators", 1.0, 2.0, ""), ("across the bus", 120.0, 60.0, "ohm"))


def test_r24_three() -> None:
    job = f.change_pin(f.clean(), "U1-10", extra=(("terminator_ohm", "120"),))
    assert only(job, "R24").numbers[1][1] == pytest.approx(40.0)


def test_r24_one_of_60_ohm_reads_right_and_is_wrong() -> None:
    job = f.clean()
    for cavity in ("H1-5", "H1-11"):
        job = f.change_pin(job, cavity, extra=(("terminator_ohm", "0"),))
    found = only(f.change_device(job, "R1", resistance_ohm=60.0), "R24", "R1")
    assert "60 ohm is not 120 ohm" in found.why


def test_r24_nobody_says_is_a_note() -> None:
    job = f.change_job(f.clean(), devices=tuple(d for d in f.clean().job.devices if d.key != "R1"))
    for cavity in ("H1-5", "H1-11", "U1-10", "U1-11"):
        job = f.change_pin(job, cavity, extra=())
    found = only(job, "R24")
    assert found.severity is Severity.NOTE
    assert "Brindle 6" in found.why
    assert "Quern QF-2" in found.why


def test_r24_a_resistor_elsewhere_is_no_terminator() -> None:
    job = f.add_device(f.clean(), Device(key="R2", kind=DeviceKind.RESISTOR, place="end", resistance_ohm=120.0))
    job = f.join(job, 10, "R2.1")
    job = f.add_pin(job, "H1-8", "CAN_SHLD", Kind.SCREEN, f.Direction.PASSIVE)
    assert f.findings(f.add_signal(job, f.signal(20, "Bias", "H1-8", "R2.2", colour="PK"))) == ()


def test_two_buses_between_the_same_plugs_are_told_apart() -> None:
    job = f.clean()
    ends = (("terminator_ohm", "120"),)
    for plug, cavity in (("H1", 8), ("U1", 13)):
        job = f.add_pin(job, f"{plug}-{cavity}", "CAN2_H", Kind.CAN_H, f.BOTH, extra=ends)
        job = f.add_pin(job, f"{plug}-{cavity + 1}", "CAN2_L", Kind.CAN_L, f.BOTH, extra=ends)
    fourteen = f.grid("g14", 7, 2, f.Gender.PIN).cavities
    for half in ("g12-pin", "g12-socket"):
        job = f.change_housing(job, half, cavities=fourteen)
    job = f.add_signal(job, f.signal(20, "CAN 2 low", "H1-9", "U1-14", colour="PK", twist="can2"))
    job = f.add_signal(job, f.signal(21, "CAN 2 high", "H1-8", "U1-13", colour="OG", twist="can2"))
    assert {x.severity for x in f.findings(job) if x.rule in {"R22", "R24"}} <= {Severity.NOTE}
    found = [
        x for x in f.findings(f.change_signal(job, 21, twist="")) if x.rule == "R22" and x.severity is Severity.FIX
    ]
    assert [x.refs for x in found] == [("signal:s21", "signal:s20")]
