"""Supplies, loads and key states: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

from dataclasses import replace

from pinmap.core.model.looms import Device
from pinmap.core.model.words import DeviceKind, Fate, Gender, Kind, Severity
from tests import factories_rules as f
from tests.factories_rules import BOTH, IN, OUT, only

TWO = f.grid("two", 2, 1, Gender.PIN).cavities


def test_the_clean_job_is_clean() -> None:
    assert f.findings(f.clean()) == ()


def test_r01_two_outputs() -> None:
    job = f.clean()
    job = f.add_pin(job, "H1-8", "BEACON", Kind.HIGH_SIDE, OUT)
    job = f.add_pin(job, "H1-9", "WORK_LAMP", Kind.HIGH_SIDE, OUT)
    job = f.add_pin(job, "H1-10", "WORK_LAMP", Kind.HIGH_SIDE, IN)
    job = f.add_signal(job, f.signal(20, "Lamp", "H1-8", "H1-10", colour="PK"))
    assert f.findings(f.set_fate(job, "H1-9", Fate.RETAINED)) == ()
    assert only(f.join(job, 20, "H1-9"), "R01", "H1-8", "H1-9").severity is Severity.STOP


def test_r01_outputs_that_pull_to_ground_may_share_a_wire() -> None:
    assert f.findings(f.join(f.add_pin(f.clean(), "H1-8", "FAN", Kind.LOW_SIDE, OUT), 12, "H1-8")) == ()


def test_r01_output_on_a_live_feed() -> None:
    parted = f.join(f.add_pin(f.clean(), "H1-8", "BEACON", Kind.HIGH_SIDE, OUT), 1, "H1-8@2")
    assert set(f.spoken(parted)) == {"R64"}  # a relay contact parts the two; both wires are red
    only(
        f.join(f.add_pin(f.clean(), "H1-8", "BEACON", Kind.HIGH_SIDE, OUT), 1, "H1-8@1"),
        "R01",
        "H1-8",
        "H1-1",
        besides=("R64",),
    )


def test_r02_permanent_and_ignition() -> None:
    job = f.no_fate(f.join(f.clean(), 3, "H1-3"), "H1-3")
    assert only(job, "R02", "H1-2", "H1-3").severity is Severity.STOP


def test_r02_two_fuses_on_one_wire() -> None:
    job = f.add_device(f.clean(), Device(key="F2", kind=DeviceKind.FUSE, place="box", rating_a=10.0))
    job = f.join(f.join(job, 1, "F2.1"), 1, "F2.2@1")
    only(job, "R02", "F1", "F2")


def test_a_bank_of_fuses_from_one_feed_is_fine() -> None:
    job = f.add_device(f.clean(), Device(key="F2", kind=DeviceKind.FUSE, place="box", rating_a=5.0))
    job = f.add_pin(job, "H1-8", "HORN", Kind.SUPPLY_30, IN, current_a=1.0)
    job = f.join(job, 1, "F2.1")
    job = f.add_signal(job, f.signal(20, "Horn", "F2.2", "H1-8", colour="PK", mm2=1.0))
    assert f.findings(job) == ()


def test_r21_missing_return() -> None:
    only(f.leave(f.clean(), 12, "U1-12"), "R21", "D3-2", besides=("R62",))


def test_r21_missing_feed() -> None:
    found = only(f.leave(f.clean(), 1, "H1-1"), "R21", "U1-1", "D3-1", besides=("R62",))
    assert "no source" in found.why


def test_r21_one_end_of_a_part_undecided() -> None:
    job = f.leave(f.clean(), 12, "D3-2")
    found = only(job, "R21", "D3-2", "after-run pump", besides=("R62",))
    assert "way back" in found.why


def test_r21_relay_coil_with_one_end() -> None:
    only(f.leave(f.clean(), 2, "K1.85"), "R21", "K1", "85")


def test_r77_ignition_sense_from_accessory() -> None:
    job = f.no_fate(f.join(f.leave(f.clean(), 3, "H1-2"), 3, "H1-3"), "H1-3")
    found = only(f.set_fate(job, "H1-2", Fate.RETAINED), "R77", "U1-2")
    assert "pin:quern-qf2:U1:2" in found.refs


def test_r78_ignition_sense_permanent() -> None:
    job = f.change_pin(f.clean(), "H1-2", kind=Kind.SUPPLY_30)
    only(job, "R78", "U1-2", "H1-2")


def test_r79_after_run_load_on_the_ignition() -> None:
    job = f.change_pin(f.leave(f.clean(), 1, "D3-1"), "D3-1", kind=Kind.HIGH_SIDE)
    job = f.change_pin(job, "H1-2", extra=(("fuse_a", "5"),))
    only(f.join(job, 3, "D3-1"), "R79", "D3-1")


def test_r79_relay_whose_coil_hangs_on_the_ignition() -> None:
    found = only(f.join(f.leave(f.clean(), 1, "K1.86"), 3, "K1.86"), "R79", "U1-1", "D3-1")
    assert "goes off with the key" in found.why


def test_r72_reference_overloaded() -> None:
    found = only(f.change_pin(f.clean(), "D1-1", current_a=0.09), "R72", "U1-5")
    assert found.numbers == (("current taken", 0.09, 0.08000000000000002, "A"),)


def test_r58_excitation_parked_and_r60_diode() -> None:
    job = f.add_pin(f.clean(), "D4-2", "ALT_L", Kind.EXCITATION, IN)
    job = f.change_housing(f.change_housing(job, "g1-pin", cavities=TWO), "g1-socket", cavities=TWO)
    only(f.set_fate(job, "D4-2", Fate.PARKED), "R58", "D4-2")
    job = f.add_pin(job, "H1-8", "ALT_L", Kind.EXCITATION, OUT)
    job = f.add_signal(job, f.signal(20, "Charge lamp", "H1-8", "D4-2", colour="PK"))
    assert f.findings(job) == ()
    job = f.add_device(job, Device(key="V1", kind=DeviceKind.DIODE, place="box"))
    members = tuple(replace(m, section=i) for i, m in enumerate(job.signal["s20"].members))
    job = f.change_signal(job, 20, inline=("V1",), members=members)
    only(job, "R60", "V1")


def test_buses_are_no_driving_outputs() -> None:
    job = f.add_pin(f.clean(), "H1-8", "LIN", Kind.LIN, BOTH)
    job = f.add_pin(job, "H1-9", "LIN", Kind.LIN, BOTH)
    assert f.findings(f.add_signal(job, f.signal(20, "Lin", "H1-8", "H1-9", colour="PK"))) == ()


def test_r73_pedal_tracks_on_one_supply() -> None:
    job = f.change_pin(f.clean(), "D1-1", function_code="APP1_REF")
    assert f.findings(job) == ()
    job = f.add_pin(job, "H1-8", "APP2_REF", Kind.REFERENCE_5V, IN, current_a=0.01)
    found = only(f.join(job, 5, "H1-8"), "R73", "D1-1", "H1-8")
    assert found.severity is Severity.STOP
