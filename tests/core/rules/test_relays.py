"""Relays: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

from pinmap.core.model.words import Kind, Severity
from tests import factories_rules as f
from tests.factories_rules import IN, only


def test_r57_coil_between_plus_and_plus() -> None:
    job = f.change_pin(f.clean(), "U1-9", kind=Kind.HIGH_SIDE)
    found = only(job, "R57", "K1", "U1-9")
    assert found.severity is Severity.STOP
    assert "plus" in found.why


def test_r57_coil_between_ground_and_ground() -> None:
    job = f.leave(f.clean(), 1, "K1.86")
    job = f.join(job, 4, "K1.86")
    assert "minus" in only(job, "R57", "K1").why


def test_r57_turned_round_for_a_high_side_output() -> None:
    job = f.change_pin(f.leave(f.clean(), 1, "K1.86"), "U1-9", kind=Kind.HIGH_SIDE)
    assert f.findings(f.join(job, 4, "K1.86")) == ()


def test_r57_unknown_output_is_a_note_and_no_stop() -> None:
    found = only(f.change_pin(f.clean(), "U1-9", kind=Kind.UNKNOWN), "R57", "K1")
    assert found.severity is Severity.NOTE
    assert "could not be judged" in found.why


def test_r57_trigger_input_of_a_platform() -> None:
    only(f.change_pin(f.clean(), "U1-12", kind=Kind.HIGH_SIDE), "R57", "D3-2", "U1-12")


def test_r55_unsuppressed_coil() -> None:
    only(f.change_device(f.clean(), "K1", suppressed=False), "R55", "K1")


def test_r76_pulsed_output_on_a_relay() -> None:
    only(f.change_pin(f.clean(), "U1-9", kind=Kind.PWM_LOW_SIDE), "R76", "K1", "U1-9")


def test_r59_a_lamp_between_permanent_and_ignition_feeds_back() -> None:
    job = f.add_pin(f.clean(), "D2-3", "LAMP", Kind.HIGH_SIDE, IN, current_a=0.1, component="lamp")
    job = f.add_pin(job, "D2-4", "LAMP", Kind.UNKNOWN, IN, component="lamp")
    job = f.join(f.join(job, 1, "D2-3"), 3, "D2-4")
    (found,) = f.spoken(job)["R59"]
    assert found.severity is Severity.STOP
    assert any("D2-3" in w for w in found.where)
    assert "H1-1" in found.why
    assert "H1-2" in found.why
    assert "R59" not in f.spoken(f.leave(job, 3, "D2-4"))
