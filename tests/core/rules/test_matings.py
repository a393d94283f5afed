"""Looms that plug into each other: each rule silent on a clean pair, and speaking about one seeded fault."""

from __future__ import annotations

from dataclasses import replace

from pinmap.core.crossing import edits
from pinmap.core.loom.cavities import keep_proposed
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import Loom, MatedCavity, Node
from pinmap.core.model.words import Gender, NodeKind, Severity
from tests import factories_rules as f
from tests.factories_rules import only


def clean() -> Snapshot:
    """The correct job, parted in the run to the engine, with a pair of halves that fit."""
    s = f.clean()
    job = edits.part_loom(s.job, "j1-j2", at_m=0.25, loom=Loom(key="engine", name="Engine loom"), name="X40")
    s = replace(s, job=job)
    return f.change_node(f.change_node(s, "X40S", housing="g12-socket"), "X40P", housing="g12-pin")


def kept(s: Snapshot, *cavities: MatedCavity) -> Snapshot:
    return f.change_job(s, matings=(replace(s.job.matings[0], cavities=cavities),))


def test_a_correct_job_in_two_looms_has_nothing_to_complain_of() -> None:
    assert not f.findings(clean())
    assert not f.findings(replace(clean(), job=keep_proposed(clean())))


def test_r86_no_cavity_left() -> None:
    s = f.change_node(f.change_node(clean(), "X40S", housing="g3-socket"), "X40P", housing="g3-pin")
    said = f.spoken(s)["R86"]
    assert [(x.severity, x.numbers[0][1]) for x in said] == [(Severity.STOP, 5.0)]
    assert said[0].where[:2] == ("X40S", "X40P")
    assert "signal 12 Pump back" in said[0].where


def test_r86_one_cavity_for_two() -> None:
    s = kept(clean(), MatedCavity(cavity="5", signal="s5"), MatedCavity(cavity="5", signal="s6"))
    said = f.spoken(s)["R86"]
    assert [x.where for x in said] == [("X40S", "X40P", "signal 5 Reference", "signal 6 Rail pressure")]
    assert "cavity 5" in said[0].why


def test_r87_a_loom_that_nothing_joins() -> None:
    s = clean()
    said = f.spoken(replace(s, job=edits.unplug(s.job, "m1")))["R87"]
    assert [(x.severity, x.where[0]) for x in said] == [(Severity.FIX, "Engine loom")]
    assert said[0].numbers[0][1] == 8.0
    spare = (*s.job.looms, Loom(key="spare", name="Spare loom"))
    alone = f.change_job(
        s, looms=spare, nodes=(*s.job.nodes, Node(key="js", loom="spare", kind=NodeKind.JUNCTION, name="JS"))
    )
    assert only(alone, "R87", "Spare loom").severity is Severity.NOTE


def test_r38_tin_of_one_loom_meets_gold_of_the_other() -> None:
    def halves(one: str, other: str) -> Snapshot:
        return f.change_node(f.change_node(clean(), "X40S", terminal=one), "X40P", terminal=other)

    tin, gold = "blade-1.5-sealed", "blade-1.5-sealed-gold"
    for same in (tin, gold):
        assert f.findings(halves(same, same)) == ()
    found = only(halves(gold, tin), "R38", "X40S", "X40P")
    assert (found.severity, found.why) == (Severity.FIX, "gold contacts of one loom meet tin contacts of the other")
    assert only(halves(tin, gold), "R38", "X40S", "X40P").why.startswith("tin contacts")
    bare = halves(gold, tin)
    empty = f.change_job(bare, signals=tuple(replace(x, members=()) for x in bare.job.signals))
    assert "R38" not in f.spoken(empty)  # nothing crosses


def test_r88_kept_where_there_is_no_cavity_and_in_vain() -> None:
    assert "cavity 99" in only(kept(clean(), MatedCavity(cavity="99", signal="s5")), "R88", "Reference").why
    found = only(kept(clean(), MatedCavity(cavity="2", signal="s2")), "R88", "Main relay")
    assert found.severity is Severity.NOTE


def test_r88_halves_without_a_housing() -> None:
    s = f.change_node(f.change_node(clean(), "X40S", housing=""), "X40P", housing="")
    assert [(x.severity, x.where) for x in f.spoken(s)["R88"]] == [(Severity.NOTE, ("X40S", "X40P"))]


def test_r32_halves_that_do_not_fit() -> None:
    same = f.change_node(f.change_node(clean(), "X40P", housing=""), "X40P", gender=Gender.SOCKET)
    assert "both halves carry socket contacts" in f.spoken(same)["R32"][0].why
    keyed = f.change_housing(clean(), "g12-pin", keying="B")
    assert any(x.where == ("X40S", "X40P") and "keying" in x.why for x in f.spoken(keyed)["R32"])


def test_r34_a_wire_too_thick_for_the_terminal_is_named_at_the_cavity() -> None:
    s = f.change_node(clean(), "X40P", terminal="blade-0.64-sealed")
    said = f.spoken(s)["R34"]
    assert {x.where[0].rpartition("-")[0] for x in said} == {"X40P"}


def test_r37_open_cavities_of_a_half() -> None:
    assert only(f.change_node(clean(), "X40S", plugged=False), "R37", "X40S").numbers[0][1] == 4.0
