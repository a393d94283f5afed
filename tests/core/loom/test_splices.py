"""Splices against exhaustive search, against bounds, against the library's Steiner approximation."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from itertools import product
from typing import NamedTuple

import networkx as nx
import numpy as np
import pytest

from pinmap.core.loom import joints
from pinmap.core.loom.core_graph import CoreGraph, Edge
from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.route import route
from pinmap.core.loom.splice_nets import SpliceNets
from pinmap.core.loom.splice_task import SpliceLimits, SplicePlan, SpliceTask, measured, obeys
from pinmap.core.loom.splices import best_splices
from pinmap.core.loom.splices_large import large_splices, tidy
from pinmap.core.loom.stations import Spots
from pinmap.core.model.jobs import Practice, Snapshot
from pinmap.core.model.looms import Zone
from pinmap.core.model.words import NodeKind
from tests.factories_splices import loop_loom, plain_graph, steiner_m

STOCK = (0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0)


class Case(NamedTuple):
    """A net twice: as it is searched, and as one task in which every node that may have a splice is a place."""

    nets: SpliceNets
    task: SpliceTask

    def best(self) -> SplicePlan:
        (plan,) = best_splices(self.nets)
        columns = np.flatnonzero(self.nets.may[:, 0]).tolist()
        return replace(plan, places=tuple(columns.index(p) for p in plan.places))


def random_graph(rng: random.Random, nodes: int, loops: int) -> nx.Graph:
    graph = nx.Graph()
    graph.add_node(0)
    for i in range(1, nodes):
        graph.add_edge(i, rng.randrange(i), weight=round(rng.uniform(0.05, 3.0), 2))
    for _ in range(loops):
        a, b = rng.sample(range(nodes), 2)
        if not graph.has_edge(a, b):
            graph.add_edge(a, b, weight=round(rng.uniform(0.05, 3.0), 2))
    return graph


def random_case(rng: random.Random, *, nodes: int, ends: int, loops: int = 0, **limits: float) -> Case:
    """A random tree, with ``loops`` more runs; splices may sit at some of its nodes."""
    graph = random_graph(rng, nodes, loops)
    at = [rng.randrange(nodes) for _ in range(ends)]
    places = sorted(rng.sample(range(nodes), rng.randint(max(1, nodes // 2), nodes)))
    mm2 = tuple(rng.choice(STOCK[:6]) for _ in range(ends))
    cap = rng.choice([math.inf, max(mm2), mm2[0]])
    return case_of(graph, at, places, mm2, cap_mm2=cap, splice_cost_g=rng.choice([0.0, 0.5, 3.0, 20.0]), **limits)


def case_of(graph: nx.Graph, at, places, mm2, *, cap_mm2: float = math.inf, **limits) -> Case:
    """Nodes are numbered from 0; ends lie at nodes."""
    nodes, ends = len(graph), len(at)
    core = CoreGraph(nodes, [Edge(a, b, m, f"{a}-{b}") for a, b, m in graph.edges(data="weight")])
    may = np.zeros((nodes, 1), dtype=bool)
    may[places] = True
    none = np.zeros((0, 1))
    nets = SpliceNets(
        graph=core, limits=SpliceLimits(stock_mm2=STOCK, **limits), at=np.array(at)[:, None],
        leaf=np.full((ends, 1), -1), out_w=np.zeros((ends, 1)), mm2=np.array(mm2)[:, None],
        cap_mm2=np.array([cap_mm2]), may=may, slot_end=none.astype(int), slot_w=none,
    )  # fmt: skip
    metres = np.array(nx.floyd_warshall_numpy(graph, nodelist=range(nodes)))
    task = SpliceTask(
        mm2=mm2,
        to_place=metres[np.ix_(at, places)],
        between=metres[np.ix_(places, places)],
        limits=nets.limits,
        cap_mm2=cap_mm2,
    )
    return Case(nets, task)


def line(metres: float) -> nx.Graph:
    graph = nx.Graph()
    graph.add_edge(0, 1, weight=metres)
    return graph


def exhaustive_cost(task: SpliceTask) -> float:
    """Every number of splices, every tree between them, every choice of splice for every end, every place."""
    ends, spots = len(task.mm2), task.to_place.shape[1]
    best = math.inf
    most = task.limits.max_splices or ends - 2
    for count in range(1, min(most, ends - 2) + 1):
        for tree in labelled_trees(count):
            for choice in product(range(count), repeat=ends):
                wires = [choice.count(s) + sum(s in edge for edge in tree) for s in range(count)]
                if min(wires) < 3 or (task.limits.max_wires and max(wires) > task.limits.max_wires):
                    continue
                sizes = [trunk_size(task, edge, tree, choice) for edge in tree]
                for places in product(range(spots), repeat=count):
                    copper = sum(task.mm2[i] * task.to_place[i, places[s]] for i, s in enumerate(choice))
                    for (a, b), mm2 in zip(tree, sizes, strict=True):
                        copper += mm2 * task.between[places[a], places[b]]
                    best = min(best, 8.89 * copper + count * task.limits.splice_cost_g)
    return best


def trunk_size(task, edge, tree, choice) -> float:
    side, todo = {edge[0]}, [edge[0]]
    while todo:
        here = todo.pop()
        for a, b in tree:
            if (a, b) != edge and here in (a, b):
                other = a + b - here
                if other not in side:
                    side.add(other)
                    todo.append(other)
    one = sum(task.mm2[i] for i, s in enumerate(choice) if s in side)
    need = min(one, sum(task.mm2) - one, task.cap_mm2)
    return min((s for s in task.limits.stock_mm2 if s >= need - 1e-9), default=need)


def labelled_trees(count: int) -> list[list[tuple[int, int]]]:
    if count == 1:
        return [[]]
    if count == 2:
        return [[(0, 1)]]
    found = []
    for code in product(range(count), repeat=count - 2):
        degree = [1 + code.count(i) for i in range(count)]
        edges = []
        for c in code:
            leaf = degree.index(1)
            edges.append((leaf, c))
            degree[leaf] -= 1
            degree[c] -= 1
        edges.append(tuple(i for i in range(count) if degree[i] == 1))
        found.append(edges)
    return found


def is_sound(task: SpliceTask, plan: SplicePlan) -> None:
    """One tree over all ends; each end has one wire; each splice three or more."""
    graph = nx.Graph(list(plan.joints))
    assert nx.is_tree(graph)
    assert len(graph) == len(task.mm2) + len(plan.places)
    for point in graph:
        assert graph.degree(point) >= 3 if point >= len(task.mm2) else graph.degree(point) == 1
    again = measured(task, plan.places, plan.joints)
    assert again.cost_g == pytest.approx(plan.cost_g)
    assert obeys(task.limits, len(task.mm2), plan)


@pytest.mark.parametrize("seed", range(240))
def test_no_dearer_than_exhaustive_search(seed: int) -> None:
    """Trees, and graphs with loops for one seed in three; limits for one in four."""
    rng = random.Random(seed)
    limits = {}
    if seed % 4 == 0:
        limits = {"max_splices": rng.choice([0, 1, 2]), "max_wires": rng.choice([0, 3, 4])}
    ends = rng.choice([3, 4, 4, 5])
    if limits.get("max_wires") and limits["max_splices"]:  # keep what is asked possible
        limits["max_splices"] = max(limits["max_splices"], math.ceil((ends - 2) / (limits["max_wires"] - 2)))
    case = random_case(rng, nodes=rng.randint(2, 5), ends=ends, loops=2 * (seed % 3 == 0), **limits)
    plan = case.best()
    is_sound(case.task, plan)
    assert plan.proven
    assert plan.cost_g == pytest.approx(exhaustive_cost(case.task), abs=1e-5)


@pytest.mark.parametrize("seed", range(12))
def test_six_ends_against_exhaustive_search(seed: int) -> None:
    rng = random.Random(1000 + seed)
    case = random_case(rng, nodes=3, ends=6, loops=seed % 2)
    assert case.best().cost_g == pytest.approx(exhaustive_cost(case.task), abs=1e-5)


@pytest.mark.parametrize("seed", range(40))
def test_many_ends_are_near_the_optimum_and_never_below_it(seed: int) -> None:
    """The heuristics for large nets, on nets that can also be searched."""
    rng = random.Random(2000 + seed)
    case = random_case(rng, nodes=12, ends=rng.randint(5, 8), loops=3 * (seed % 2))
    exact = case.best()
    found = large_splices(case.task)
    is_sound(case.task, found)
    assert exact.cost_g - 1e-6 <= found.cost_g <= 1.1 * exact.cost_g


@pytest.mark.parametrize("seed", range(10))
def test_limits_hold_on_large_nets(seed: int) -> None:
    rng = random.Random(3000 + seed)
    case = random_case(rng, nodes=15, ends=rng.randint(11, 25), loops=2, max_wires=6, max_splices=3)
    plan, ends = case.best(), case.nets.ends
    need = math.ceil((ends - 2) / 4)
    assert len(plan.places) <= max(3, need)
    for s in range(len(plan.places)):
        assert 3 <= sum(ends + s in joint for joint in plan.joints) <= 6


def test_a_trunk_saves_copper_between_two_far_groups() -> None:
    """Four thin ends, two and two, 3 m apart: two splices and one wire between them; where splices are dear, one."""
    near = case_of(line(3.0), [0, 0, 1, 1], [0, 1], (0.5,) * 4, cap_mm2=0.5, splice_cost_g=5.0)
    plan = near.best()
    assert len(plan.places) == 2
    assert plan.copper_g == pytest.approx(8.89 * 0.5 * 3.0)
    dear = case_of(line(3.0), [0, 0, 1, 1], [0, 1], (0.5,) * 4, cap_mm2=0.5, splice_cost_g=20.0)
    assert len(dear.best().places) == 1


def test_a_trunk_carries_the_sum() -> None:
    case = case_of(line(3.0), [0, 0, 1, 1], [0, 1], (2.5, 1.0, 0.75, 0.5))
    plan = measured(case.task, (0, 1), ((0, 4), (1, 4), (2, 5), (3, 5), (4, 5)))
    assert plan.mm2[-1] == 1.5  # 0.75 + 0.5 on one side, 3.5 on the other; the next in stock
    capped = case_of(line(3.0), [0, 0, 1, 1], [0, 1], (2.5, 1.0, 0.75, 0.5), cap_mm2=1.0)
    assert measured(capped.task, plan.places, plan.joints).mm2[-1] == 1.0


def test_tidy_takes_out_what_joins_nothing() -> None:
    # 0, 1, 2 on splice 3; 3 - 4 - 5, where 4 and 5 have nothing more
    assert tidy(3, (7, 8, 9), ((0, 3), (1, 3), (2, 3), (3, 4), (4, 5))) == ((7,), ((0, 3), (1, 3), (2, 3)))
    chain = ((0, 3), (1, 3), (3, 4), (2, 4))
    assert tidy(3, (1, 2), chain) == ((1,), ((0, 3), (1, 3), (2, 3)))


def test_never_dearer_than_the_library_on_large_graphs() -> None:
    """Copper of equal wires with free splices: a Steiner tree; against the approximation of networkx."""
    rng = random.Random(5)
    graph = nx.Graph()
    for i in range(1, 150):
        graph.add_edge(i, rng.randrange(max(0, i - 8), i), weight=rng.uniform(0.1, 1.0))
    for _ in range(60):
        a, b = rng.sample(range(150), 2)
        graph.add_edge(a, b, weight=rng.uniform(0.3, 2.0))
    for _ in range(25):
        at = rng.sample(range(150), rng.randint(3, 9))
        case = case_of(graph, at, list(range(150)), (1.0,) * len(at), cap_mm2=1.0)
        theirs = nx.algorithms.approximation.steiner_tree(graph, at).size(weight="weight")
        assert case.best().copper_g <= 8.89 * theirs + 1e-6


@pytest.mark.parametrize("seed", range(20))
def test_nets_sought_together_are_as_each_by_itself(seed: int) -> None:
    rng = random.Random(4000 + seed)
    graph = random_graph(rng, 12, rng.randrange(4))
    ends = rng.randint(3, 7)
    limits = {"splice_cost_g": rng.choice([0.0, 2.0]), "max_splices": rng.choice([0, 2])}
    places = sorted(rng.sample(range(12), 8))
    cases = [
        case_of(graph, rng.choices(range(12), k=ends), places, tuple(rng.choices(STOCK[:6], k=ends)), **limits)
        for _ in range(6)
    ]
    arrays = {
        name: np.concatenate([getattr(c.nets, name) for c in cases], axis=-1)
        for name in ("at", "leaf", "out_w", "mm2", "cap_mm2", "may", "slot_end", "slot_w")
    }
    assert best_splices(replace(cases[0].nets, **arrays)) == [best_splices(c.nets)[0] for c in cases]


@pytest.mark.parametrize("seed", range(6))
def test_a_routed_loom_with_loops_has_no_more_copper_than_the_librarys_trees(seed: int) -> None:
    """Whole looms: equal wires and free splices, net by net against networkx's Steiner approximation."""
    snapshot = loop_loom(connectors=40, segments=70, signals=60, seed=seed)
    found = route(snapshot, snapshot.variants[0])
    assert not found.gaps
    assert all(s.proven for s in found.splices)
    graph = plain_graph(snapshot)
    own: dict[str, float] = {}
    for wire in found.wires:
        own[wire.signal] = own.get(wire.signal, 0.0) + wire.length_m
    for signal in snapshot.job.signals:
        one = Snapshot(replace(snapshot.job, signals=(signal,)), snapshot.platforms)
        assert own[signal.key] <= steiner_m(graph, one) + 1e-5, signal.key


@pytest.mark.parametrize("seed", range(20))
def test_splices_in_the_runs_of_end_nodes_against_exhaustive_search(seed: int) -> None:
    """One wire far heavier than the others, so that the splice goes to its end node; or two ends at one node."""
    rng = random.Random(5000 + seed)
    snapshot = loop_loom(connectors=5, segments=9, signals=1, seed=seed, many=(4,))
    graph = LoomGraph(snapshot, snapshot.variants[0])
    ends = [i for i, n in enumerate(graph.nodes) if n.kind is NodeKind.CONNECTOR]
    nodes = tuple(sorted(rng.choices(ends, k=4)))
    mm2 = tuple(rng.choice((0.5, 0.75, 4.0)) for _ in nodes)
    practice = replace(snapshot.job.practice, splice_cost_g=rng.choice((0.0, 1.0)), stock_mm2=STOCK)
    nets, _ = joints._nets(graph, practice, [(nodes, mm2, math.inf)])
    spots = graph.spots.take(np.array(nodes))
    found = [graph.place_at(c) for c in np.flatnonzero(nets.may[:, 0])]
    found += [place for node in dict.fromkeys(nodes) if (place := graph.leaf_place(node))]
    places = Spots.of([p.station for p in found])
    task = SpliceTask(mm2, graph.matrix(spots, places), graph.matrix(places, places), nets.limits)
    assert best_splices(nets)[0].cost_g == pytest.approx(exhaustive_cost(task), abs=1e-4)


def test_nets_of_many_ends_are_routed_with_no_more_copper_than_the_librarys_trees() -> None:
    """Beyond what is searched: from 11 to 30 ends."""
    snapshot = loop_loom(connectors=40, segments=70, signals=12, many=(11, 12, 14, 17, 20, 30), every=6)
    found = route(snapshot, snapshot.variants[0])
    assert not found.gaps
    graph = plain_graph(snapshot)
    for signal in snapshot.job.signals:
        one = Snapshot(replace(snapshot.job, signals=(signal,)), snapshot.platforms)
        own_m = sum(w.length_m for w in found.wires if w.signal == signal.key)
        assert own_m <= steiner_m(graph, one) + 1e-5, signal.key


@pytest.mark.parametrize("seed", range(6))
def test_places_out_of_the_way_are_left_out_without_loss(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Looms with loops, wet runs, mixed sizes and limits: as good as with every place tried, and with one in the run of
    every end node."""
    rng = random.Random(seed)
    rng = random.Random(seed)
    snapshot = loop_loom(connectors=40, segments=75, signals=30, seed=seed)
    share = 0.25 * (seed % 3)
    job = replace(
        snapshot.job,
        zones=(Zone(key="w", name="Wet", ambient_c=40.0, wet=True),),
        segments=tuple(replace(s, zone="w" if rng.random() < share else "") for s in snapshot.job.segments),
        practice=Practice(splice_cost_g=rng.choice([0.0, 1.0, 5.0]), splice_clear_m=rng.choice([0.0, 0.04]),
                          splice_apart_m=0.0, max_splices=rng.choice([0, 2]), max_splice_wires=0),
        signals=tuple(
            replace(s, members=tuple(replace(m, mm2=rng.choice([0.5, 0.5, 1.0, 2.5])) for m in s.members))
            for s in snapshot.job.signals
        ),
    )  # fmt: skip
    snapshot = Snapshot(job, snapshot.platforms)

    def cost_g() -> float:
        found = route(snapshot, snapshot.variants[0])
        copper_g = 8.89 * sum(w.mm2 * w.length_m for w in found.wires)
        return copper_g + job.practice.splice_cost_g * len(found.splices)

    few = cost_g()
    monkeypatch.setattr(LoomGraph, "is_worthy", LoomGraph.is_place)
    monkeypatch.setattr(SpliceNets, "columns", lambda nets, net: np.concatenate(
        (np.flatnonzero(nets.may[:, net]), nets.graph.size + np.flatnonzero(np.isfinite(nets.slot_w[:, net])))
    ))  # fmt: skip
    monkeypatch.setattr(joints, "_is_heavy", lambda mm2, cap_mm2: np.ones_like(mm2, dtype=bool))
    assert few == pytest.approx(cost_g(), abs=1e-3)
