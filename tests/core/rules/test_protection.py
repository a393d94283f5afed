"""Protection: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

from dataclasses import replace

from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import Device, Zone
from pinmap.core.model.words import DeviceKind, Severity
from tests import factories_rules as f
from tests.factories_rules import only


def _bay(s: Snapshot, ambient_c: float) -> Snapshot:
    return f.change_job(s, zones=(Zone(key="bay", name="Engine bay", ambient_c=ambient_c),))


def test_r90_wires_that_have_no_margin_left_for_what_a_fuse_lets_through() -> None:
    """At 124 °C around insulation of 125 °C even the current that a 10 A fuse carries for ever is too much."""
    found = f.spoken(_bay(f.clean(), 124.0))["R90"]
    assert any("F1" in x.where for x in found)
    assert all(x.severity is Severity.STOP for x in found)
    assert "R90" not in f.spoken(_bay(f.clean(), 110.0))


def test_r91_short_circuit_at_the_end_of_a_long_way() -> None:
    """60 m of 2.5 mm² hold a short circuit so low that a 10 A fuse takes its time; the drop is named as well."""
    found = only(f.change_segment(f.clean(), "j2-xd3", length_m=60.0), "R91", "F1", "wire 1D", besides=("R15",))
    assert found.severity is Severity.STOP


def test_r92_fuse_with_no_wire() -> None:
    spare = Device(key="F9", kind=DeviceKind.FUSE, place="box", rating_a=5.0)
    only(f.add_device(f.clean(), spare), "R92", "F9")


def test_r93_two_fuses_of_one_rating_in_a_row() -> None:
    clean = f.clean()
    members = tuple(replace(m, section=m.section + 1) if m.section else m for m in clean.signal["s1"].members)
    s = f.change_signal(clean, 1, inline=("F1", "F2", "K1"), members=members)
    second = Device(key="F2", kind=DeviceKind.FUSE, place="box", rating_a=10.0)
    assert only(f.add_device(s, second), "R93", "F2").severity is Severity.NOTE


def test_r94_inrush_that_lasts() -> None:
    columns = (("load_model", "motor"), ("load_value", "2"), ("load_inrush_a", "60"), ("load_inrush_s", "3"))
    only(f.change_pin(f.clean(), "D3-1", extra=columns), "R94", "F1")
    short = (*columns[:3], ("load_inrush_s", "0.01"))
    assert "R94" not in f.spoken(f.change_pin(f.clean(), "D3-1", extra=short))


def test_r95_a_way_too_weak_for_its_load() -> None:
    """What the network cannot feed is named, not dropped."""
    s = f.change_segment(f.clean(), "j2-xd3", length_m=60.0)
    s = f.change_pin(s, "D3-1", extra=(("load_model", "watts"), ("load_value", "200")))
    found = only(s, "R95", "after-run pump", besides=("R91",))
    assert found.severity is Severity.FIX


def test_r05_typed_values_that_cannot_be_counted() -> None:
    s = f.change_pin(f.clean(), "D3-1", extra=(("load_on_s", "15"),))
    found = only(s, "R05", "after-run pump")
    assert found.severity is Severity.FIX
    assert "load_on_s is given, so say which model it belongs to" in found.why


def test_r06_a_load_without_a_current() -> None:
    s = f.change_pin(f.clean(), "D3-1", current_a=None, function_code="", function="")
    assert only(s, "R06", "after-run pump").severity is Severity.FIX


def test_r96_fuse_that_cannot_break_what_a_strong_battery_gives() -> None:
    """14.4 V over 1 mohm of battery, 5 of return, a contact of 5 and the short lead: above 1000 A."""
    found = only(f.change_pin(f.clean(), "H1-1", extra=(("battery_ohm", "0.001"),)), "R96", "F1")
    assert found.severity is Severity.STOP
    _, amps, limit, unit = found.numbers[0]
    assert (limit, unit) == (1000.0, "A")
    assert 1000 < amps < 14.4 / 0.011
    assert "R96" not in f.spoken(f.change_pin(f.clean(), "H1-1", extra=(("battery_ohm", "0.01"),)))


def test_r10_hot_air_takes_from_the_rating() -> None:
    """7 A steady on 10 A: within 75 % at 25 °C, not at 85 °C."""
    more = f.change_pin(f.clean(), "D3-1", current_a=2.9)
    assert "R10" not in f.spoken(_bay(more, 25.0))
    found = only(more, "R10", "F1")
    assert found.numbers[0][1] < 7.5
    assert found.numbers[0][2] < found.numbers[0][1]


def test_r10_counts_the_platforms_own_fuse_too() -> None:
    said = f.spoken(f.change_pin(f.clean(), "H1-2", extra=(("fuse_a", "0.05"),)))
    assert any("H1-2" in x.where[0] for x in said["R10"])
