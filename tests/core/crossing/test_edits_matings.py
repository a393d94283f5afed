"""Looms plugged together and apart; kept cavities follow their signals."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.crossing import edits
from pinmap.core.errors import InputError
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Loom, MatedCavity
from pinmap.core.model.words import DeviceKind, Gender, NodeKind
from tests.factories_looms import JobMaker, two_looms


def _job() -> Job:
    m = two_looms()
    m.matings.clear()
    m.device("F1", DeviceKind.FUSE, "j-main", rating_a=10.0)
    m.signal("d:E1-1", "d:E2-1", "u:U1-1")
    m.signal("d:E1-2", "u:U1-2")
    return m.snapshot().job


def _kept(job: Job) -> list[tuple[str, str, int]]:
    return [(c.cavity, c.signal, c.section) for c in job.matings[0].cavities]


JOB = edits.mate_connectors(_job(), "xe", "xc")


def test_plug_together_and_apart() -> None:
    (mating,) = JOB.matings
    assert (mating.key, mating.a, mating.b, mating.other("xe"), mating.other("xc")) == ("m1", "xe", "xc", "xc", "xe")
    assert edits.update_mating(JOB, "m1", note="behind the glove box").matings[0].note == "behind the glove box"
    assert edits.unplug(edits.keep_cavity(JOB, "m1", "3", "s0001"), "m1") == _job()


@pytest.mark.parametrize(
    ("a", "b", "says"),
    [
        ("xe", "e1", "plugs into E1"),
        ("xe", "j-chassis", "junction"),
        ("xe", "xe", "another loom"),
        ("xe", "nowhere", "choose one of"),
    ],
)
def test_what_cannot_be_plugged_together(a: str, b: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        edits.mate_connectors(_job(), a, b)


def test_a_half_is_taken_once_and_stays_what_it_is() -> None:
    with pytest.raises(InputError, match="already"):
        edits.mate_connectors(JOB, "xe", "xc")
    with pytest.raises(InputError, match="unplug it first"):
        edits.update_node(JOB, "xe", kind=NodeKind.JUNCTION)
    bare = replace(JOB, segments=tuple(s for s in JOB.segments if "xe" not in (s.a, s.b)))
    with pytest.raises(InputError, match="unplug it first"):
        edits.remove_node(bare, "xe")
    assert edits.update_node(JOB, "xe", name="X40").nodes != JOB.nodes


def test_two_halves_of_one_gender_do_not_mate() -> None:
    job = edits.update_node(_job(), "xc", gender=Gender.PIN)
    with pytest.raises(InputError, match="pin contacts"):
        edits.mate_connectors(job, "xe", "xc")


def test_a_cavity_is_kept_moved_and_freed() -> None:
    job = edits.keep_cavity(edits.keep_cavity(JOB, "m1", "3", "s0001"), "m1", "4", "s0002")
    assert _kept(job) == [("3", "s0001", 0), ("4", "s0002", 0)]
    job = edits.keep_cavity(job, "m1", "5", "s0001")
    assert _kept(job) == [("5", "s0001", 0), ("4", "s0002", 0)]
    assert _kept(edits.free_cavity(job, "m1", "s0001")) == [("4", "s0002", 0)]
    for bad in (
        lambda: edits.free_cavity(JOB, "m1", "s0001"),
        lambda: edits.keep_cavity(JOB, "m1", " ", "s0001"),
        lambda: edits.keep_cavity(JOB, "m1", "1", "s0001", 1),
        lambda: edits.keep_cavity(JOB, "m2", "1", "s0001"),
    ):
        with pytest.raises(InputError):
            bad()


def test_kept_cavities_follow_sections_and_go_with_their_signal() -> None:
    job = edits.keep_cavity(edits.keep_cavity(JOB, "m1", "3", "s0001"), "m1", "4", "s0002")
    end = job.signals[0].members[2].end
    cut = edits.put_in_line(job, "s0001", "F1", downstream=[end])
    assert _kept(cut) == [("3", "s0001", 0), ("4", "s0002", 0)]
    cut = edits.keep_cavity(cut, "m1", "6", "s0001", 1)
    assert _kept(edits.take_out_of_line(cut, "s0001", "F1")) == [("3", "s0001", 0), ("4", "s0002", 0)]
    only = edits.free_cavity(cut, "m1", "s0001")
    assert _kept(edits.take_out_of_line(only, "s0001", "F1")) == [("4", "s0002", 0), ("6", "s0001", 0)]
    assert _kept(edits.dissolve(job, "s0001")) == [("4", "s0002", 0)]
    assert _kept(edits.merge(job, "s0001", "s0002")) == [("3", "s0001", 0)]
    assert _kept(edits.merge(edits.free_cavity(job, "m1", "s0001"), "s0001", "s0002")) == [("4", "s0001", 0)]


def test_a_loom_is_parted_at_a_run() -> None:
    m = JobMaker()
    m.mate("e1", "d:E1")
    m.mate("b1", "h:B1")
    m.junction("j1", "j2")
    m.run("b1", "j1", 0.5)
    m.run("j1", "j2", 0.9)
    m.run("j2", "e1", 0.3)
    m.device("F1", DeviceKind.FUSE, "j2", rating_a=10.0)
    m.signal("d:E1-1", "h:B1-1")
    whole = m.snapshot()
    job = edits.part_loom(whole.job, "g2", at_m=0.4, loom=Loom(key="engine", name="Engine loom"), name="X 40")
    assert {n.key: n.loom for n in job.nodes} == {
        "e1": "engine", "b1": "main", "j1": "main", "j2": "engine", "X40S": "main", "X40P": "engine",
    }  # fmt: skip
    assert [(s.key, s.loom, s.a, s.b, s.length_m) for s in job.segments] == [
        ("g1", "main", "b1", "j1", 0.5),
        ("g2", "main", "j1", "X40S", 0.4),
        ("g2-1", "engine", "X40P", "j2", 0.5),
        ("g3", "engine", "j2", "e1", 0.3),
    ]
    assert [(m.a, m.b) for m in job.matings] == [("X40S", "X40P")]
    parted = Snapshot(job, whole.platforms)
    before, after = (route(s, s.variants[0]) for s in (whole, parted))
    assert sum(w.length_m for w in after.wires) == pytest.approx(sum(w.length_m for w in before.wires))
    m.run("b1", "e1", 2.0)
    for segment, at_m, name in (("g2", 0.4, "X40"), ("g4", 0.0, "X40"), ("g4", 2.0, "X40"), ("g4", 1.0, " ")):
        with pytest.raises(InputError):
            edits.part_loom(m.snapshot().job, segment, at_m=at_m, loom=Loom(key="l2", name="Two"), name=name)


def test_a_mating_is_part_of_the_content_and_its_absence_leaves_older_hashes() -> None:
    plain = Snapshot(_job())
    assert Snapshot(JOB).content_hash != plain.content_hash
    assert Snapshot(edits.unplug(JOB, "m1")).content_hash == plain.content_hash
    kept = replace(JOB.matings[0], cavities=(MatedCavity(cavity="1", signal="s0001"),))
    assert Snapshot(replace(JOB, matings=(kept,))).content_hash != Snapshot(JOB).content_hash
