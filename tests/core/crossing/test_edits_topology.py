"""Edits of the topology keep every length true that they do not say they change."""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.crossing import edits_topology as topology
from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Job, Signal
from pinmap.core.model.looms import Device, Loom, Node, Segment, Zone
from pinmap.core.model.words import DeviceKind, NodeKind


def _node(key: str, kind: NodeKind = NodeKind.JUNCTION) -> Node:
    return Node(key=key, loom="main", kind=kind)


def _run(key: str, a: str, b: str, length_m: float = 1.0, zone: str = "") -> Segment:
    return Segment(key=key, loom="main", a=a, b=b, length_m=length_m, zone=zone)


def job() -> Job:
    """x1 - j1 - j2 - x3, with x2 at j1 and p1 at j2."""
    nodes = [_node(k, NodeKind.CONNECTOR) for k in ("x1", "x2", "x3")] + [_node("j1"), _node("j2")]
    runs = [
        _run("r1", "x1", "j1", 0.5), _run("r2", "j1", "j2", 0.8), _run("r3", "j2", "x3", 0.3),
        _run("r4", "x2", "j1", 0.2), _run("r5", "j2", "p1", 0.1),
    ]  # fmt: skip
    return Job(
        key="demo",
        name="Demo",
        looms=(Loom(key="main", name="Loom"),),
        nodes=(*nodes, _node("p1", NodeKind.PLACE)),
        segments=tuple(runs),
        zones=(Zone(key="z1", name="bay", ambient_c=80),),
        devices=(Device(key="F1", kind=DeviceKind.FUSE, place="p1"),),
    )


def lengths(of: Job) -> dict[str, float]:
    return {s.key: s.length_m for s in of.segments}


def way_m(of: Job, a: str, b: str) -> float:
    graph: nx.MultiGraph[str] = nx.MultiGraph()
    for s in of.segments:
        graph.add_edge(s.a, s.b, length=s.length_m)
    return float(nx.shortest_path_length(graph, a, b, weight="length"))


@given(by_mm=st.integers(1, 499))
def test_sliding_keeps_the_way_between_the_others_and_slides_back(by_mm: int) -> None:
    moved = topology.slide(job(), "j1", out_of="r1", into="r2", by_m=by_mm / 1000)
    assert way_m(moved, "x1", "x3") == pytest.approx(way_m(job(), "x1", "x3"), abs=1e-9)
    assert lengths(moved)["r4"] == 0.2
    assert topology.slide(moved, "j1", out_of="r2", into="r1", by_m=by_mm / 1000) == job()


@pytest.mark.parametrize(
    ("out_of", "into", "by_m", "field"),
    [("r1", "r1", 0.1, "into"), ("r1", "r3", 0.1, "into"), ("r1", "r2", 0.5, "by_m"), ("r1", "r2", -1, "by_m"),
     ("r1", "r2", float("nan"), "by_m"), ("nowhere", "r2", 0.1, "out_of")],
)  # fmt: skip
def test_a_slide_that_cannot_be_is_refused(out_of: str, into: str, by_m: float, field: str) -> None:
    with pytest.raises(InputError) as refused:
        topology.slide(job(), "j1", out_of=out_of, into=into, by_m=by_m)
    assert refused.value.field == field


@given(at_mm=st.integers(1, 799))
def test_splitting_and_making_one_are_each_others_reverse(at_mm: int) -> None:
    cut = topology.split(job(), "r2", at_m=at_mm / 1000, node=_node("j9"), rest="r9")
    assert lengths(cut)["r2"] + lengths(cut)["r9"] == pytest.approx(0.8)
    assert way_m(cut, "x1", "x3") == pytest.approx(1.6)
    assert topology.make_one(cut, "j9") == job()


def test_a_split_beyond_the_run_is_refused() -> None:
    with pytest.raises(InputError, match="800 mm"):
        topology.split(job(), "r2", at_m=0.8, node=_node("j9"), rest="r9")


def test_runs_that_differ_in_zone_are_not_made_one() -> None:
    cut = topology.split(job(), "r2", at_m=0.4, node=_node("j9"), rest="r9")
    zoned = replace(cut, segments=tuple(replace(s, zone="z1") if s.key == "r9" else s for s in cut.segments))
    with pytest.raises(InputError, match="same first"):
        topology.make_one(zoned, "j9")
    with pytest.raises(InputError, match="3 runs meet"):
        topology.make_one(job(), "j1")


def test_a_way_led_by_hand_follows_a_run_that_becomes_part_of_another() -> None:
    cut = topology.split(job(), "r2", at_m=0.4, node=_node("j9"), rest="r9")
    led = replace(cut, signals=(Signal(key="s", number=1, name="Coil", via=("r2", "r9")),))
    assert topology.make_one(led, "j9").signals[0].via == ("r2",)


def test_drawing_together_moves_runs_and_devices() -> None:
    drawn = topology.draw_together(job(), "r5", keep="j2")
    assert "p1" not in {n.key for n in drawn.nodes}
    assert drawn.devices[0].place == "j2"
    drawn = topology.draw_together(job(), "r2", keep="j1")
    assert {s.key: {s.a, s.b} for s in drawn.segments}["r3"] == {"j1", "x3"}
    with pytest.raises(InputError, match="is a connector"):
        topology.draw_together(job(), "r1", keep="j1")
    with pytest.raises(InputError, match="joins the same two"):
        topology.draw_together(replace(job(), segments=(*job().segments, _run("r9", "j1", "j2"))), "r2", keep="j1")


def test_a_run_is_hung_on_another_node_at_its_length() -> None:
    moved = topology.rehang(job(), "r4", end="j1", to="j2")
    assert way_m(moved, "x2", "x3") == pytest.approx(0.5)
    for to in ("x2", "j1"):
        with pytest.raises(InputError, match="third"):
            topology.rehang(job(), "r4", end="j1", to=to)


def test_a_tip_is_taken_out_with_its_run_and_nothing_else() -> None:
    out = topology.take_out(job(), "x2")
    assert "r4" not in lengths(out)
    assert len(out.segments) == len(job().segments) - 1
    with pytest.raises(InputError, match="r1, r2, r4"):
        topology.take_out(job(), "j1")
    with pytest.raises(InputError, match="F1"):
        topology.take_out(job(), "p1")
    led = replace(job(), signals=(Signal(key="s", number=1, name="Coil", via=("r4",)),))
    with pytest.raises(InputError, match="Coil"):
        topology.take_out(led, "x2")


@given(units=st.floats(0.1, 5000))
def test_lengths_from_a_picture_stand_in_the_ratio_of_the_picture(units: float) -> None:
    taken = topology.lengths_by_ratio(job(), {"r1": 2 * units, "r2": 3 * units}, reference="r1", true_m=0.4)
    assert lengths(taken) == {**lengths(job()), "r1": 0.4, "r2": pytest.approx(0.6, abs=5e-4)}


def test_a_picture_without_its_measure_is_refused() -> None:
    with pytest.raises(InputError) as refused:
        topology.lengths_by_ratio(job(), {"r1": 10.0}, reference="r2", true_m=0.4)
    assert refused.value.field == "reference"
    with pytest.raises(InputError) as refused:
        topology.lengths_by_ratio(job(), {"r1": 10.0, "r2": 0.0}, reference="r1", true_m=0.4)
    assert refused.value.field == "measured r2"
