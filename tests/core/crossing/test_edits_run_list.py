"""A list of runs: new ones, changed ones, and lines that cannot be taken."""

from __future__ import annotations

import pytest

from pinmap.core.crossing.edits_run_list import RunLine, Taken, take_runs
from pinmap.core.model.jobs import Job, Pick, Seat, Snapshot
from pinmap.core.model.looms import Loom, Node, Segment, Zone
from pinmap.core.model.pinouts import ConnectorKey
from pinmap.core.model.words import NodeKind, Role
from tests.factories_crossing import bare

DONOR = bare("donor", {"X1": {"1": "Signal"}, "S": {"1": "Signal"}})
HOST = bare("host", {"C1": {"1": "Signal"}, "S": {"1": "Signal"}}, Role.HOST)


def snapshot(job: Job | None = None) -> Snapshot:
    seats = (
        Seat(key="d", name="Donor", role=Role.DONOR, picks=(Pick("donor"),)),
        Seat(key="h", name="Host", role=Role.HOST, picks=(Pick("host"),)),
    )
    zones = (Zone(key="z1", name="Engine bay", ambient_c=95),)
    return Snapshot(job or Job(key="demo", name="Demo", seats=seats, zones=zones), (DONOR, HOST))


def line(a: str, b: str, length_m: float | None = 0.4, row: int = 2, **other: str) -> RunLine:
    return RunLine(row, other.get("run", ""), a, b, length_m, other.get("zone", ""), other.get("covering", ""))


def test_a_loom_grows_from_an_empty_job() -> None:
    job, taken = take_runs(
        snapshot(),
        [line("X1", "Trunk"), line("trunk", "C1", 1.2, 3, zone="engine bay"), line("Trunk", "donor S", 0.2, 4)],
    )
    assert [t.problem for t in taken] == ["", "", ""]
    assert taken[0].deed == "new run r1, new connector X1, new branch point Trunk"
    assert {n.name: n.mates for n in job.nodes} == {
        "X1": ConnectorKey("donor", "X1"), "Trunk": None,
        "C1": ConnectorKey("host", "C1"), "S": ConnectorKey("donor", "S"),
    }  # fmt: skip
    assert [(s.length_m, s.zone) for s in job.segments] == [(0.4, ""), (1.2, "z1"), (0.2, "")]


def test_looms_by_name_and_by_what_is_there() -> None:
    def at(a: str, b: str, loom: str, row: int) -> RunLine:
        return RunLine(row, "", a, b, 0.4, loom=loom)

    job, taken = take_runs(
        snapshot(),
        [at("X1", "Trunk", "Engine loom", 2), at("Trunk", "Branch", "", 3), at("C1", "Pillar", "cab loom", 4),
         at("Pillar", "Trunk", "", 5), at("Trunk", "Sill", "Cab loom", 6)],
    )  # fmt: skip
    assert [t.deed for t in taken][:3] == [
        "new run r1, new loom Engine loom, new connector X1, new branch point Trunk",
        "new run r2, new branch point Branch",
        "new run r3, new loom cab loom, new connector C1, new branch point Pillar",
    ]
    assert "another loom" in taken[3].problem
    assert "part of Engine loom" in taken[4].problem
    assert {(s.a, s.loom) for s in job.segments} == {("x1", "loom1"), ("j1", "loom1"), ("x2", "loom2")}
    assert all(s.loom == next(n.loom for n in job.nodes if n.key == s.b) for s in job.segments)


def _with_two_runs() -> Snapshot:
    bare_job = snapshot().job
    nodes = tuple(Node(key=k, loom="main", kind=NodeKind.JUNCTION, name=k.upper()) for k in ("j1", "j2", "j3"))
    runs = tuple(
        Segment(key=k, loom="main", a=a, b=b, length_m=0.5) for k, a, b in (("r1", "j1", "j2"), ("r2", "j2", "j3"))
    )
    job = Job(
        key="demo", name="Demo", seats=bare_job.seats, zones=bare_job.zones,
        looms=(Loom(key="main", name="Loom"),), nodes=nodes, segments=runs,
    )  # fmt: skip
    return snapshot(job)


def test_a_run_that_is_there_is_changed_by_key_or_by_its_ends() -> None:
    job, taken = take_runs(
        _with_two_runs(),
        [line("", "", 0.6, run="r1", covering="conduit-10"), line("J3", "j2", 0.7, 3), line("J3", "j2", 0.7, 4)],
    )
    assert [s.length_m for s in job.segments] == [0.6, 0.7]
    assert taken[0].deed == "run r1: 500 mm becomes 600 mm, covering becomes conduit-10"
    assert taken[2].deed == "run r2 as it is"


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (line("J1", "", 0.4), "to: '' will not do"),
        (line("J1", "J9", None), "length_mm"),
        (line("J1", "J9", -0.4), "above 0"),
        (line("J1", "J1"), "two different nodes"),
        (line("J1", "J2", zone="moon"), "Engine bay"),
        (line("J1", "J2", covering="velvet"), "conduit-10"),
        (line("S", "J9"), "several platforms"),
        (line("J1", "J3", run="r1"), "does not lead there"),
        (RunLine(2, "", "J1", "J9", None, problem="length_mm: 'long' will not do"), "long"),
    ],
)
def test_a_line_that_cannot_be_taken_says_why_and_the_others_are(bad: RunLine, words: str) -> None:
    before = _with_two_runs()
    job, taken = take_runs(before, [bad, line("J1", "J2", 0.9, 3)])
    assert words in taken[0].problem
    assert taken[1] == Taken(taken[1].line, "run r1: 500 mm becomes 900 mm")
    assert [s.length_m for s in job.segments] == [0.9, 0.5]
    assert job.nodes == before.job.nodes


def test_two_runs_between_the_same_ends_are_told_apart_by_key() -> None:
    two = _with_two_runs().job
    extra = Segment(key="r3", loom="main", a="j1", b="j2", length_m=0.9)
    job, taken = take_runs(
        snapshot(Job(**{f: getattr(two, f) for f in two.__dataclass_fields__} | {"segments": (*two.segments, extra)})),
        [line("J1", "J2", 0.1), line("", "", 0.2, 3, run="r3")],
    )
    assert "r1, r3" in taken[0].problem
    assert job.segments[-1].length_m == 0.2
