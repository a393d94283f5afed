"""What is written down: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.model.jobs import Acceptance, Pick, PinFate, Snapshot
from pinmap.core.model.words import Evidence, Fate, Kind, Severity
from tests import factories_rules as f
from tests.factories_rules import only


def test_r62_undecided() -> None:
    found = only(f.no_fate(f.clean(), "H1-3"), "R62", "H1 (Brindle 6)", "cavity 3")
    assert found.severity is Severity.FIX
    assert found.refs == ("pin:brindle-6:H1:3",)


def test_r62_deferred_is_still_open() -> None:
    job = f.no_fate(f.clean(), "H1-3")
    fate = PinFate(pin=f.p("H1-3"), fate=Fate.DEFERRED, reason="ask the owner", owner="Ann", due="2026-12-01")
    assert "Ann" in only(f.change_job(job, fates=(*job.job.fates, fate)), "R62", "cavity 3").why


def test_r62_fate_without_a_reason_is_a_note() -> None:
    assert only(f.set_fate(f.clean(), "H1-3", Fate.RETAINED, reason=" "), "R62", "H1-3").severity is Severity.NOTE


def test_r83_assumed() -> None:
    job = f.change_pin(f.change_pin(f.clean(), "U1-6", evidence=Evidence.ASSUMED), "U1-4", evidence=Evidence.ASSUMED)
    assert only(job, "R83", "U1 (Quern QF-2)", "cavities 4, 6").severity is Severity.FIX


def test_r83_one_document_is_a_note_and_two_are_none() -> None:
    job = f.change_pin(f.clean(), "U1-6", evidence=Evidence.MANUAL, evidence_ref="manual p. 4-12")
    assert only(job, "R83", "cavity 6").severity is Severity.NOTE
    assert f.findings(f.change_pin(job, "U1-6", evidence_ref="manual p. 4-12; wiring book sheet 7")) == ()


def test_r83_sources_conflict() -> None:
    job = f.change_pin(f.clean(), "U1-6", extra=(("other_source_function", "Fuel temperature"),))
    assert "Fuel temperature" in only(job, "R83", "U1-6").why
    assert f.findings(f.change_pin(f.clean(), "U1-6", extra=(("Other source function", "frp"),))) == ()


def _second_source(job: Snapshot, order: list[int]) -> Snapshot:
    names = {str(n): f.unit().pins[n - 1].function for n in range(1, 13)}
    for n in range(1, 13):
        job = f.change_pin(
            job, f"U1-{n}", extra=(*job.pin[f.p(f"U1-{n}")].extra, ("other_source_function", names[str(order[n - 1])]))
        )
    return job


@pytest.mark.parametrize(
    ("order", "word"),
    [
        ([12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1], "numbers reversed"),
        ([6, 5, 4, 3, 2, 1, 12, 11, 10, 9, 8, 7], "columns mirrored"),
        ([7, 8, 9, 10, 11, 12, 1, 2, 3, 4, 5, 6], "rows mirrored"),
    ],
)
def test_r33_second_source_counts_from_the_other_side(order: list[int], word: str) -> None:
    found = only(_second_source(f.clean(), order), "R33", "U1 (Quern QF-2)")
    assert word in found.why
    assert found.numbers[0][1] == 1.0
    assert found.numbers[0][2] == 0.0


def test_r33_sources_that_agree() -> None:
    assert f.findings(_second_source(f.clean(), list(range(1, 13)))) == ()


def test_r33_editions_that_are_mirror_images() -> None:
    job = f.clean()
    pins = job.platform[f.HOST].pins
    names = {p.cavity: p for p in pins}
    late = tuple(replace(p, editions=("late",)) for p in pins)
    early = tuple(replace(p, cavity=str(13 - int(p.cavity)), editions=("early",)) for p in names.values())
    job = f.change_platform(job, f.HOST, lambda x: replace(x, pins=(*late, *early)))

    def renamed(end: object) -> object:
        return end._replace(edition="late") if getattr(end, "platform", "") == f.HOST else end  # type: ignore[attr-defined]  # PinKey

    signals = tuple(
        replace(s, members=tuple(replace(m, end=renamed(m.end)) for m in s.members))  # type: ignore[arg-type]  # see above
        for s in job.job.signals
    )
    fates = tuple(replace(x, pin=x.pin._replace(edition="late")) for x in job.job.fates)
    found = only(f.change_job(job, signals=signals, fates=fates), "R33", "H1 (Brindle 6)")
    assert "early" in found.why


def test_r33_views_that_differ_and_views_unknown() -> None:
    job = f.change_pin(f.clean(), "D1-1", extra=(("view", "mating side"),))
    assert f.findings(job) == ()
    only(f.change_pin(job, "D1-2", extra=(("View", "Wire side"),)), "R33", "D1 (Quern Q24)")


def test_r84_pages_of_another_edition() -> None:
    job = f.change_pin(
        f.clean(), "H1-2", evidence=Evidence.MANUAL, evidence_ref="1998-2001 manual p. 3; owner's sketch"
    )
    assert "1998 to 2001" in only(job, "R84", "H1 (Brindle 6)", "cavity 2").why
    ok = f.change_pin(
        f.clean(), "H1-2", evidence=Evidence.MANUAL, evidence_ref="2002-2006 manual, printed 2001; sketch"
    )
    assert f.findings(ok) == ()


@pytest.mark.parametrize("said", ["early", "1998-2001"])
def test_r84_source_edition_column(said: str) -> None:
    only(
        f.change_pin(f.clean(), "H1-5", extra=(("terminator_ohm", "120"), ("source_edition", said))), "R84", "cavity 5"
    )
    job = f.change_pin(f.clean(), "H1-5", extra=(("terminator_ohm", "120"), ("source_edition", "late")))
    assert f.findings(job) == ()


@pytest.mark.parametrize(("edition", "title"), [("", "No edition picked"), ("1970", "Picked edition does not exist")])
def test_r84_pick_of_no_edition(edition: str, title: str) -> None:
    seats = (replace(f.clean().job.seats[0], picks=(Pick(f.HOST, edition),)), *f.clean().job.seats[1:])
    assert only(f.change_job(f.clean(), seats=seats), "R84", "Brindle 6").title == title


def test_r84_pin_of_an_edition_that_is_not_there() -> None:
    job = f.add_pin(f.clean(), "H1-8", "FAN", Kind.LOW_SIDE, f.OUT, editions=("1997",))
    key = f.p("H1-8")._replace(edition="1997")
    job = f.change_signal(job, 12, members=(*job.signal["s12"].members, f.Member(end=key)))
    only(job, "R84", "H1-8")


def test_r85_names_that_look_alike() -> None:
    job = f.change_signal(f.clean(), 8, name="Bus 10")
    only(f.change_signal(job, 9, name="Bus lO"), "R85", "Bus 10", "Bus lO")
    job = f.change_signal(f.clean(), 8, name="Crank\u200b minus")
    only(job, "R85")


def test_an_accepted_finding_keeps_its_key() -> None:
    found = only(f.no_fate(f.clean(), "H1-3"), "R62")
    job = f.change_job(
        f.no_fate(f.clean(), "H1-3"), acceptances=(Acceptance(finding=found.key, by="Ann", reason="known"),)
    )
    job = f.change_signal(job, 12, colour="BUWH")
    assert [x.key for x in f.findings(job)] == [found.key]
