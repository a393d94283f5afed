"""Wires: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.functions import dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.model.looms import Zone
from pinmap.core.model.words import Severity
from pinmap.core.rules.registry import run
from tests import factories_rules as f
from tests.factories_rules import only


def test_r14_too_hot() -> None:
    job = f.change_pin(f.change_signal(f.clean(), 12, mm2=0.5), "D3-1", current_a=14.0)
    job = f.change_device(job, "F1", rating_a=30.0)
    said = f.spoken(job)
    assert {x.where[0] for x in said["R14"]} >= {"wire 12A"}
    hot = next(x for x in said["R14"] if x.where[0] == "wire 12A")
    assert hot.severity is Severity.STOP
    assert hot.numbers[0][1] > hot.numbers[0][2] == 125.0
    assert "mm²" in hot.way_out


def test_r52_class_below_the_zone() -> None:
    zones = (*f.clean().job.zones, Zone(key="exhaust", name="Exhaust", ambient_c=140.0))
    job = f.change_segment(f.change_job(f.clean(), zones=zones), "j2-xd1", zone="exhaust")
    said = f.spoken(job)
    assert set(said) == {"R52"}
    assert {x.where[0] for x in said["R52"]} == {"wire 5A", "wire 6A", "wire 7A"}
    assert all("Exhaust" in x.where for x in said["R52"])


def test_r15_too_much_lost() -> None:
    job = f.change_segment(f.clean(), "j2-xd3", length_m=25.0)
    found = only(job, "R15", "after-run pump", besides=("R16",) if "R16" in f.spoken(job) else ())
    what = {name: (value, limit) for name, value, limit, _ in found.numbers}
    assert what["lost in all"][0] > 1.0 or what["at the load"][0] < what["at the load"][1]


def test_r15_one_long_wire_is_worth_a_look() -> None:
    job = f.change_segment(f.clean(), "j2-xd3", length_m=4.5)
    said = f.spoken(job)
    assert set(said) == {"R15"}
    assert [x.severity for x in said["R15"]] == [Severity.NOTE]
    assert said["R15"][0].where[0] == "wire 12A"


def test_r16_browns_out_while_cranking() -> None:
    cases = tuple(replace(c, supply_v=8.2) if c.code == "C" else c for c in f.clean().job.load_cases)
    job = f.change_segment(f.change_job(f.clean(), load_cases=cases), "box-j1", length_m=2.4)
    said = f.spoken(job)
    assert "R15" not in said
    assert all("case Cranking" in x.where for x in said["R16"])
    value, need = said["R16"][0].numbers[0][1:3]
    assert need is not None
    assert value < need


def test_r16_a_starting_profile_is_the_supply_and_is_named() -> None:
    cases = tuple(replace(c, profile="II", phase="lowest") if c.code == "C" else c for c in f.clean().job.load_cases)
    job = f.change_job(f.clean(), load_cases=cases)
    said = f.spoken(job)["R16"]
    main = next(x for x in said if any("U1-1" in w or "quern-qf2" in w for w in x.where))
    assert main.numbers[0][1] < 4.5
    assert "4.5 V in this case" in main.why
    assert "ISO 16750-2, starting profile, level II: lowest voltage of the first dip" in main.why


def test_r43_unequal_splice() -> None:
    job = f.clean()
    members = tuple(replace(m, mm2=6.0 if m.end == f.p("U1-1") else 0.35) for m in job.signal["s1"].members)
    said = f.spoken(f.change_signal(job, 1, mm2=0.35, members=members))
    assert "R43" in said
    assert said["R43"][0].numbers[0][1] > 3


def test_r64_same_colour_twice() -> None:
    said = f.spoken(f.change_signal(f.clean(), 6, colour="BNWH"))
    assert set(said) == {"R64"}
    assert {x.where[0] for x in said["R64"]} == {"XD1", "XU1"}
    assert any("XD1-2, XD1-3" in " ".join(x.where) for x in said["R64"])


def test_r82_alike_plugs() -> None:
    job = f.change_housing(f.change_housing(f.clean(), "g2-socket", keying=""), "g2-pin", keying="")
    assert f.findings(job) == ()  # one of the two branches is longer
    only(f.change_segment(job, "j2-xd3", length_m=0.3), "R82", "XD2", "XD3")


@pytest.mark.parametrize("mm2", [0.0, -1.0, 1e-9, 500.0])
def test_wires_of_absurd_size_do_not_break_the_fuse_rule(mm2: float) -> None:
    job = f.clean()
    routing = route(job, job.variants[0])
    absurd = Routing(tuple(replace(w, mm2=mm2) for w in routing.wires), routing.splices)
    assert run(job, job.variants[0], absurd, ElectricalReport(), dictionary())
