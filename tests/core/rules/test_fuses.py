"""Fuses: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.functions import dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import Device
from pinmap.core.model.words import DeviceKind, Kind, Severity
from pinmap.core.rules.fuses import largest_fuse_a
from pinmap.core.rules.registry import run
from tests import factories_rules as f
from tests.factories_rules import IN, OUT, only


def _without_fuse(s: Snapshot) -> Snapshot:
    members = tuple(replace(m, section=max(m.section - 1, 0)) for m in s.signal["s1"].members)
    s = f.change_signal(s, 1, inline=("K1",), members=members)
    return f.change_job(s, devices=tuple(d for d in s.job.devices if d.key != "F1"))


def test_r08_no_fuse() -> None:
    said = f.spoken(_without_fuse(f.clean()))
    assert set(said) == {"R08"}
    places = {place for found in said["R08"] for place in found.where}
    assert {"U1-1 (Quern QF-2) ECM_MAIN", "K1 coil"} <= places
    assert all(found.severity is Severity.STOP for found in said["R08"])


@pytest.mark.parametrize(
    "changes", [{"extra": (("fuse_a", "10"),)}, {"note": "behind fuse 12, 10 A"}, {"function": "Feed, fused 10 A"}]
)
def test_r08_is_content_where_the_host_fuses_the_pin(changes: dict[str, object]) -> None:
    assert f.findings(f.change_pin(_without_fuse(f.clean()), "H1-1", **changes)) == ()


def test_r08_unfused_in_words_is_unfused() -> None:
    assert "R08" in f.spoken(f.change_pin(_without_fuse(f.clean()), "H1-1", note="unfused, straight from the battery"))


def test_r08_switched_feed_of_which_nobody_says_is_to_be_mended_but_stops_nothing() -> None:
    assert only(f.change_pin(f.clean(), "H1-2", extra=()), "R08", "U1-2").severity is Severity.FIX


def test_an_alternator_stands_for_the_battery_only_where_there_is_none() -> None:
    job = f.add_pin(f.clean(), "H1-8", "HORN", Kind.SUPPLY_30, IN, current_a=0.5)
    job = f.add_pin(job, "D4-2", "ALT_B+", Kind.SUPPLY_30, OUT)
    two = f.grid("two", 2, 1, f.Gender.PIN).cavities
    job = f.change_housing(f.change_housing(job, "g1-pin", cavities=two), "g1-socket", cavities=two)
    alone = f.add_signal(job, f.signal(20, "Charge", "D4-2", "H1-8", colour="PK", mm2=2.5))
    assert only(alone, "R08", "H1-8").severity is Severity.STOP
    fused = f.join(f.join(job, 1, "D4-2@1"), 1, "H1-8@1")
    assert {"R08", "R11"}.isdisjoint(f.spoken(fused))


def test_r08_leaves_the_starter_cable_out() -> None:
    job = f.add_pin(f.clean(), "H1-8", "STARTER", Kind.SUPPLY_30, IN, function="Starter motor B+", component="starter")
    assert "R08" not in f.spoken(f.join(job, 1, "H1-8@0"))


def test_r09_fuse_too_large() -> None:
    said = f.spoken(f.change_device(f.clean(), "F1", rating_a=40.0))
    assert set(said) == {"R09"}
    behind = {w.id for w in route(f.clean(), f.clean().variants[0]).wires if w.signal == "s1" and w.section > 0}
    assert {found.where[0].removeprefix("wire ") for found in said["R09"]} == behind
    assert all(found.severity is Severity.STOP and "F1" in found.where for found in said["R09"])


def test_r09_the_hosts_own_fuse_counts() -> None:
    found = only(f.change_pin(f.clean(), "H1-2", extra=(("fuse_a", "40"),)), "R09", "wire 3A", "H1-2")
    assert found.numbers[0] == ("fuse", 40.0, 5.0, "A")
    assert found.severity is Severity.STOP


def test_r09_of_two_ways_the_larger_fuse_counts() -> None:
    job = f.add_pin(f.clean(), "H1-8", "PERM", Kind.SUPPLY_30, OUT, extra=(("fuse_a", "40"),))
    relay = Device(key="K2", kind=DeviceKind.RELAY, place="box", coil_ohm=85.0, suppressed=True)
    job = f.join(f.join(f.join(f.add_device(job, relay), 1, "K2.86@1"), 2, "K2.85"), 1, "K2.87@2")
    job = f.add_signal(job, f.signal(20, "Second feed", "H1-8", "K2.30", colour="PK", mm2=6.0))
    job = f.change_housing(job, "g12-socket", terminal="blade-4.8-sealed")
    wires = route(job, job.variants[0]).wire
    said = [wires[x.where[0].removeprefix("wire ")] for x in f.spoken(job)["R09"]]
    # With both contacts closed the 40 A reach back through K1 as far as F1; nothing but the battery lies before it.
    assert {w.section for w in said if w.signal == "s1"} == {1, 2}


def test_r09_above_the_table_but_cool_is_a_note() -> None:
    found = only(f.change_pin(f.clean(), "H1-2", extra=(("fuse_a", "7.5"),)), "R09", "wire 3A")
    assert found.severity is Severity.NOTE
    assert "stands 50 K more for hours" in found.why


def test_r09_without_a_report_the_table_alone_decides() -> None:
    job = f.change_pin(f.clean(), "H1-2", extra=(("fuse_a", "7.5"),))
    variant = job.variants[0]
    said = run(job, variant, route(job, variant), ElectricalReport(), dictionary())
    found = next(x for x in said if x.rule == "R09")
    assert found.severity is Severity.STOP
    assert found.numbers[0] == ("fuse", 7.5, 5.0, "A")


def test_r09_fuse_without_a_rating_could_not_be_judged() -> None:
    found = only(f.change_device(f.clean(), "F1", rating_a=None), "R09", "F1")
    assert found.severity is Severity.NOTE


def test_r09_a_small_fuse_behind_a_large_one_protects() -> None:
    job = f.change_device(f.clean(), "F1", rating_a=15.0)
    job = f.change_pin(job, "H1-1", extra=(("fuse_a", "200"),))
    assert set(f.spoken(job)) == {"R09"}  # the lead to F1 itself
    only(job, "R09", "H1-1", "1A")


@pytest.mark.parametrize(
    ("mm2", "amps"),
    [(0.35, 5), (0.5, 5), (0.75, 5), (1.0, 10), (1.5, 10), (2.5, 15), (4.0, 20), (6.0, 30), (35.0, 100)],
)
def test_r09_table(mm2: float, amps: float) -> None:
    found = largest_fuse_a(mm2)
    assert found is not None
    assert found[0] == amps


def test_r09_table_ends_at_awg_22() -> None:
    assert largest_fuse_a(0.22) is None


def test_r10_loaded_too_near_its_rating() -> None:
    found = only(f.change_device(f.clean(), "F1", rating_a=7.5), "R10", "F1")
    assert found.numbers[0][1] == pytest.approx(6.15, abs=0.1)


def test_r11_far_from_the_source() -> None:
    assert only(f.change_segment(f.clean(), "xh1-box", length_m=0.4), "R11", "F1").numbers[0][1] >= 0.4
    job = f.change_segment(f.clean(), "xh1-box", length_m=0.4, covering="sleeve")
    assert f.findings(job) == ()


def test_a_resistor_limits_what_can_flow() -> None:
    job = f.add_device(f.clean(), Device(key="R2", kind=DeviceKind.RESISTOR, place="box", resistance_ohm=100.0))
    job = f.add_pin(job, "H1-8", "PERM", Kind.SUPPLY_30, OUT, extra=(("fuse_a", "30"),))
    job = f.add_pin(job, "H1-9", "ALT_L", Kind.EXCITATION, IN)
    job = f.add_signal(job, f.signal(20, "Excitation", "H1-8", "H1-9@1", colour="PK", inline=("R2",)))
    said = f.spoken(job)
    assert [x.where[0] for x in said["R09"]] == ["wire 20A"]  # before the resistor only
