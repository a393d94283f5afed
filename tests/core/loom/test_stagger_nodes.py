"""Splices of one branch point led into the runs around it: no dearer than any other choice, and every wire still runs
from end to end."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

import networkx as nx
import pytest

from pinmap.core.loom.lengths import parts_of
from pinmap.core.loom.results import Routing, Splice, WireEnd
from pinmap.core.loom.route import route
from pinmap.core.loom.stretches import Stretches, splice_at_m
from pinmap.core.model.jobs import Practice, Snapshot
from pinmap.core.model.looms import Zone
from pinmap.core.model.words import NodeKind
from tests.factories_looms import JobMaker
from tests.factories_splices import loop_loom

PLAIN = Practice(max_splices=0, max_splice_wires=0, splice_clear_m=0.04, splice_apart_m=0.06)


def star(sizes: list[list[float]], runs_m: list[float], apart_m: float = 0.06) -> JobMaker:
    """Connectors around one branch point; a net for each row of sizes joins one pin of each."""
    m = JobMaker(replace(PLAIN, splice_apart_m=apart_m, min_mm2=0.35))
    m.junction("j")
    for i, run_m in enumerate(runs_m):
        m.mate(f"x{i}", f"{'hdu'[i % 3]}:C{i}")
        m.run(f"x{i}", "j", run_m)
    for number, row in enumerate(sizes, 1):
        for i, mm2 in enumerate(row):
            m.pin(f"{'hdu'[i % 3]}:C{i}-{number}", mm2=mm2)
        m.signal(*(f"{'hdu'[i % 3]}:C{i}-{number}" for i in range(len(row))))
    return m


def both(snapshot: Snapshot) -> tuple[Routing, Routing]:
    """As the least copper has it, and with splices apart."""
    practice = replace(snapshot.job.practice, splice_apart_m=0.0)
    plain = replace(snapshot, job=replace(snapshot.job, practice=practice))
    return route(plain, plain.variants[0]), route(snapshot, snapshot.variants[0])


def copper_mm2_m(routing: Routing) -> float:
    return sum(w.mm2 * w.length_m for w in routing.wires)


def distances(snapshot: Snapshot, routing: Routing) -> nx.Graph[str]:
    """The loom with a node at each splice."""
    graph: nx.Graph[str] = nx.Graph()
    for segment in snapshot.job.segments:
        inside = sorted(
            (splice_at_m(s, segment), f"splice:{s.id}") for s in routing.splices if s.segment == segment.key
        )
        stops = [(0.0, segment.a), *inside, (segment.length_m, segment.b)]
        for (one_m, one), (two_m, two) in itertools.pairwise(stops):
            if not graph.has_edge(one, two) or graph[one][two]["weight"] > two_m - one_m:
                graph.add_edge(one, two, weight=max(two_m - one_m, 0.0))
    for splice in routing.splices:
        if not splice.segment:
            graph.add_edge(splice.node, f"splice:{splice.id}", weight=0.0)
    return graph


def point(end: WireEnd) -> str:
    return f"splice:{end.splice}" if end.splice else end.node


def test_of_three_at_a_branch_point_one_stays() -> None:
    snapshot = star([[2.5, 2.5, 2.5], [1.0, 1.0, 1.0], [0.5, 0.5, 0.5]], [0.5, 0.6, 0.7]).snapshot()
    before, after = both(snapshot)
    assert {s.node for s in before.splices} == {"j"}
    assert not any(s.segment for s in before.splices)
    places = {s.id: (s.segment, s.at_m) for s in after.splices}
    # 0.5 mm² twice as far, or in another run: three runs, so that none goes farther than 60 mm.
    assert places["S1"] == ("", 0.0)
    assert sorted(places[s][1] for s in ("S2", "S3")) == [0.06, 0.06]
    assert places["S2"][0] != places["S3"][0]
    assert after.stagger_g == pytest.approx(8.89 * 0.06 * (1.0 + 0.5))
    assert [s.shift_m for s in after.splices] == [0.0, 0.06, 0.06]


@pytest.mark.parametrize("seed", range(8))
def test_no_other_choice_of_places_needs_less_copper(seed: int) -> None:
    """Against every way to put each splice at the branch point or at a place in a run."""
    rng = random.Random(seed)
    count, runs = rng.choice([2, 3, 4]), 4
    sizes = [[rng.choice([1.0, 1.5, 2.5]) for _ in range(runs)] for _ in range(count)]
    runs_m = [round(rng.uniform(0.11, 0.4), 2) for _ in range(runs)]  # one place in some, several in others
    before, after = both(star(sizes, runs_m).snapshot())
    if any(s.segment or s.node != "j" for s in before.splices) or len(before.splices) != count:
        pytest.fail("a star of equal choice has its splices at the branch point")
    slots = [(-1, 0.0)]
    for i, run_m in enumerate(runs_m):
        slots += [(i, k * 0.06) for k in range(1, count) if k * 0.06 <= run_m - 0.04 + 1e-9]
    pulls = [[sum(row) - 2 * row[i] for i in range(runs)] for row in sizes]
    best = min(
        sum(0.0 if run < 0 else pulls[i][run] * at_m for i, (run, at_m) in enumerate(chosen))
        for chosen in itertools.permutations(slots, count)
    )
    assert copper_mm2_m(after) - copper_mm2_m(before) == pytest.approx(best, abs=1e-6)
    assert after.stagger_g == pytest.approx(8.89 * best, abs=1e-4)


def random_loom(seed: int, *, looped: bool) -> Snapshot:
    rng = random.Random(seed)
    snapshot = loop_loom(30, 44 if looped else 40, 140, seed=seed)
    segments = snapshot.job.segments
    if not looped:
        tree = nx.minimum_spanning_tree(nx.Graph([(s.a, s.b, {"segment": s}) for s in segments]))
        segments = tuple(d["segment"] for _, _, d in tree.edges(data=True))
    zones = (Zone(key="wet", name="Wet", ambient_c=60.0, wet=True),)
    segments = tuple(replace(s, zone="wet") if rng.random() < 0.2 else s for s in segments)
    practice = replace(snapshot.job.practice, splice_clear_m=0.03, splice_apart_m=0.05)
    return replace(snapshot, job=replace(snapshot.job, zones=zones, segments=segments, practice=practice))


@pytest.mark.parametrize("looped", [False, True], ids=["trees", "loops"])
@pytest.mark.parametrize("seed", range(6))
def test_every_wire_runs_from_end_to_end(seed: int, looped: bool) -> None:
    """In a tree there is one way between two places, so that a wire must be as long as that is."""
    snapshot = random_loom(seed, looped=looped)
    before, after = both(snapshot)
    assert sum(not s.segment for s in after.splices) < sum(not s.segment for s in before.splices) - 10
    graph, found = distances(snapshot, after), Stretches(after, snapshot.job.segments, snapshot.job.practice)
    for wire in after.wires:
        way_m = nx.dijkstra_path_length(graph, point(wire.a), point(wire.b), weight="weight")
        if looped:
            assert wire.length_m >= way_m - 1e-5
        else:
            assert wire.length_m == pytest.approx(way_m, abs=1e-5)
        assert wire.length_m == pytest.approx(sum(wire.pieces_m), abs=1e-6)
        assert sum(s.length_m for s in found.along(wire)) == pytest.approx(wire.length_m, abs=1e-5)
        assert wire.cut_length_m == parts_of(snapshot.job.practice, wire).cut_m
        assert all(piece_m >= -1e-9 for piece_m in wire.pieces_m)
    assert [w.id for w in after.wires] == [w.id for w in before.wires]
    assert after.stagger_g == pytest.approx(8.89 * (copper_mm2_m(after) - copper_mm2_m(before)), abs=1e-3)
    assert route(snapshot, snapshot.variants[0]) == after


@pytest.mark.parametrize("seed", range(6))
def test_they_sit_where_splices_may(seed: int) -> None:
    snapshot = random_loom(seed, looped=True)
    before, after = both(snapshot)
    segments, nodes = {s.key: s for s in snapshot.job.segments}, snapshot.node
    was = {s.id: s for s in before.splices}
    moved = [s for s in after.splices if (s.segment, s.at_m) != (was[s.id].segment, was[s.id].at_m)]
    assert len(moved) > 10
    for splice in moved:
        segment = segments[splice.segment]
        assert segment.zone != "wet"
        at_m = splice_at_m(splice, segment)
        for node, from_m in ((segment.a, at_m), (segment.b, segment.length_m - at_m)):
            if nodes[node].kind is NodeKind.CONNECTOR:
                assert from_m >= 0.03 - 1e-6
    crowds: dict[str, list[Splice]] = {}
    for splice in after.splices:
        if not splice.segment:
            crowds.setdefault(splice.node, []).append(splice)
    for crowd in crowds.values():
        for splice in crowd if len(crowd) > 1 else ():  # then no run that its wires take has room for a sleeve more
            wires = [after.wire[w] for w in splice.wires]
            firsts = [0 if w.a.splice == splice.id else -1 for w in wires]
            own = {w.segments[i]: w.pieces_m[i] for w, i in zip(wires, firsts, strict=True) if w.segments}
            for segment in (segments[key] for key in own if segments[key].zone != "wet"):
                if own[segment.key] < segment.length_m:
                    continue  # it leads to a splice in this run, which its neighbour may not pass
                there = [splice_at_m(s, segment) for s in after.splices if s.segment == segment.key]
                stops = sorted([0.0, *there, segment.length_m])
                assert all(two - one < 0.08 - 1e-6 for one, two in itertools.pairwise(stops))


def test_a_splice_goes_only_into_runs_of_its_own_wires() -> None:
    """Both lines of a bus are spliced at one branch point; neither leaves the runs that both take, so that the pair
    stays together."""
    m = star([], [0.5, 0.6, 0.7])
    m.junction("k")
    m.run("j", "k", 1.0)
    m.mate("x9", "h:C9")
    m.run("k", "x9", 0.5)
    for number in (1, 2):
        m.signal(*(f"{'hdu'[i]}:C{i}-{number}" for i in range(3)), mm2=0.5, twist="bus")
    after = route(m.snapshot(), m.snapshot().variants[0])
    own = {s.key for s in m.segments if s.b == "j"}
    assert [bool(s.segment) for s in after.splices] == [False, True]
    assert {s.segment for s in after.splices if s.segment} <= own
    cover = {
        signal: {key for w in after.wires if w.signal == signal for key in w.segments} for signal in ("s0001", "s0002")
    }
    assert cover["s0001"] == cover["s0002"] == own


def test_two_splices_of_one_net_beside_each_other_get_a_wire_between_them() -> None:
    """Six ends at a branch point, four wires a splice at most."""
    m = JobMaker(replace(PLAIN, max_splice_wires=4))
    m.junction("j")
    for i in range(6):
        m.mate(f"x{i}", f"{'hdu'[i % 3]}:C{i}")
        m.run(f"x{i}", "j", 0.5)
    m.signal(*(f"{'hdu'[i % 3]}:C{i}-1" for i in range(6)), mm2=0.5)
    before, after = both(m.snapshot())
    (short,) = [w for w in before.wires if not w.segments]
    assert len(before.splices) == 2
    led = after.wire[short.id]
    assert (led.length_m, len(led.segments)) == (0.06, 1)
    assert sorted(s.at_m for s in after.splices) == [0.0, 0.06]
