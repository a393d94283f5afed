"""Terminals, cavities, mating halves: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.model.pinouts import Cavity
from pinmap.core.model.words import Direction, Gender, Kind, Severity
from tests import factories_rules as f
from tests.factories_rules import HOST, IN, only


def test_r12_terminal_overloaded() -> None:
    job = f.change_pin(f.change_pin(f.clean(), "U1-1", current_a=3.5), "D3-1", current_a=3.2)
    job = f.change_node(job, "xd3", terminal="blade-0.64-sealed")
    said = f.spoken(job)
    assert {"R12", "R34"} <= set(said) <= {"R10", "R12", "R34", "R35"}
    assert all("XD3" in found.where[0] for found in said["R12"])
    assert said["R12"][0].numbers[0][2] == 3.0
    assert said["R12"][0].severity is Severity.STOP


def test_r12_unnamed_family_is_a_note_where_it_matters() -> None:
    job = f.clean()
    for key in ("g12-socket", "g12-pin"):
        job = f.change_housing(job, key, terminal="")
    said = f.spoken(job)
    assert set(said) == {"R12"}
    assert all(x.severity is Severity.NOTE and "not named" in x.why for x in said["R12"])
    assert {x.where[0] for x in said["R12"]} == {"XH1", "XU1"}


def test_r13_near_the_rating_where_it_is_hot() -> None:
    job = f.change_job(f.clean(), zones=tuple(replace(z, ambient_c=95.0) for z in f.clean().job.zones))
    job = f.change_pin(job, "D3-1", current_a=2.7)
    job = f.change_device(job, "F1", rating_a=10.0)
    job = f.change_node(job, "xd3", terminal="blade-0.64-sealed")
    said = f.spoken(job)
    assert {x.where[0] for x in said["R13"]} == {"XD3-1", "XD3-2"}


def test_r30_two_signals_claim_a_cavity() -> None:
    said = f.spoken(f.join(f.clean(), 12, "U1-9"))["R30"]
    assert [(x.severity, x.where[0]) for x in said] == [(Severity.STOP, "U1-9 (Quern QF-2) MRLY")]
    assert {"signal 2 Main relay", "signal 12 Pump back"} <= set(said[0].where)


def test_r30_two_entries_hold_for_one_cavity() -> None:
    job = f.add_pin(f.clean(), "H1-7", "BEACON", Kind.HIGH_SIDE, Direction.OUT, editions=("late",))
    said = f.spoken(job)
    assert len(said["R30"]) == 1
    other = f.add_pin(f.clean(), "H1-7", "BEACON", Kind.HIGH_SIDE, Direction.OUT, editions=("early",))
    assert "R30" not in f.spoken(other)


def test_r31_cavity_that_the_housing_does_not_have() -> None:
    job = f.set_fate(f.add_pin(f.clean(), "H1-13", "HORN", Kind.HIGH_SIDE, IN), "H1-13", f.Fate.RETAINED)
    assert "12 cavities" in only(job, "R31", "H1-13").why


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"family": "other"}, "family"),
        ({"keying": "B"}, "keying"),
        ({"gender": Gender.PIN}, "both halves"),
        ({"cavities": f.HOUSINGS[0].cavities[:10]}, "10 cavities meet 12"),
    ],
)
def test_r32_halves_that_do_not_fit(changes: dict[str, object], word: str) -> None:
    job = f.change_node(f.clean(), "xh1", gender=Gender.UNKNOWN)
    key = "h1-socket"
    job = f.Snapshot(job.job, job.platforms, (*job.housings, replace(job.housing["g12-socket"], key=key)))
    job = f.change_node(job, "xh1", housing=key)
    assert f.findings(job) == ()
    assert word in only(f.change_housing(job, key, **changes), "R32", "XH1").why


def test_r32_unknown_halves_are_no_finding() -> None:
    job = f.change_node(f.clean(), "xd4", housing="", gender=Gender.UNKNOWN)
    assert f.findings(job) == ()


@pytest.mark.parametrize(("mm2", "word"), [(0.35, "thin"), (6.0, "thick")])
def test_r34_wire_outside_the_crimp(mm2: float, word: str) -> None:
    said = f.spoken(f.change_signal(f.clean(), 12, mm2=mm2))
    assert {x.where[0] for x in said["R34"]} == {"XD3-2", "XU1-12"}
    assert all(word in x.why and x.severity is Severity.STOP for x in said["R34"])


def test_r35_insulation_outside_the_seal() -> None:
    job = f.change_node(f.change_signal(f.clean(), 8, mm2=0.5), "xd2", terminal="size-16")
    said = f.spoken(job)
    assert set(said) == {"R35"}
    assert {x.where[0] for x in said["R35"]} == {"XD2-1", "XD2-2"}


def test_r37_open_cavities_of_a_sealed_housing() -> None:
    found = only(f.change_node(f.clean(), "xh1", plugged=False), "R37", "XH1", "3, 4, 6, 7, 8, 9, 10, 12")
    assert found.numbers == (("open cavities", 8.0, 0.0, ""),)
    dry = f.change_node(f.clean(), "xd4", plugged=False)
    assert f.findings(dry) == ()


def test_r38_tin_meets_gold() -> None:
    job = f.change_node(f.clean(), "xd2", terminal="blade-1.5-sealed-gold")
    assert f.findings(job) == ()  # nobody says what the platform has
    job = f.change_platform(
        job,
        f.DONOR,
        lambda x: replace(
            x,
            connectors=tuple(replace(c, terminal="blade-1.5-sealed") if c.name == "D2" else c for c in x.connectors),
        ),
    )
    only(job, "R38", "XD2")


def test_housing_without_a_face_is_no_finding() -> None:
    job = f.change_housing(f.change_housing(f.clean(), "g12-pin", cavities=()), "g12-socket", cavities=())
    said = f.spoken(job)
    assert set(said) == {"R33"}
    assert all(x.severity is Severity.NOTE for x in said["R33"])


def test_face_with_letters_that_are_skipped() -> None:
    names = [n for n in "ABCDEFGHIJKLMNOPQ" if n not in "IOQ"]
    face = tuple(Cavity(name=n, column=float(i), row=0.0) for i, n in enumerate(names))
    job = f.change_housing(f.change_housing(f.clean(), "g12-pin", cavities=face), "g12-socket", cavities=face)
    assert [x.refs for x in f.spoken(job)["R31"]] == [
        tuple(f"pin:{HOST}:H1:{n}" for n in (1, 2, 3, 4, 5, 6, 7, 11)),
        tuple(f"pin:{f.UNIT}:U1:{n}" for n in range(1, 13)),
    ]
