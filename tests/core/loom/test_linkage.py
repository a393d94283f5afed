"""Loops that share runs as linkages: nothing longer than its run, nothing across, what carries most outside."""

from __future__ import annotations

import itertools
import math
import random
import subprocess
import sys
from pathlib import Path

import networkx as nx
import numpy as np
import pytest

from pinmap.core.loom.layout import crossings_of, flat_layout
from pinmap.core.loom.linkage import linkages
from pinmap.core.loom.plane import crossings
from tests.factories_drawings import random_loom


def ladder(rng: random.Random, rungs: int) -> nx.Graph[str]:
    """A planar graph of several loops: a ring with chords that do not cross, runs of any length."""
    size = rng.randint(2 * rungs, 3 * rungs + 2)
    graph: nx.Graph[str] = nx.cycle_graph([f"n{i:02}" for i in range(size)])
    feet = sorted(rng.sample(range(size), 2 * rungs))
    for i in range(rungs):
        a, b = feet[i], feet[-1 - i]
        if not graph.has_edge(f"n{a:02}", f"n{b:02}"):
            graph.add_edge(f"n{a:02}", f"n{b:02}")
    for edge in graph.edges.values():
        edge["length"] = round(rng.uniform(0.05, 2.0), 3)
    return graph


@pytest.mark.parametrize("seed", range(25))
def test_no_run_is_too_short_and_none_crosses(seed: int) -> None:
    rng = random.Random(seed)
    graph = ladder(rng, rng.randint(2, 5))
    found = list(linkages(graph, {}))
    assert 2 <= len(found) <= 3
    for at in found:
        apart = {e: math.dist(at[e[0]], at[e[1]]) for e in graph.edges}
        assert all(apart[e] <= graph.edges[e]["length"] + 1e-9 for e in graph.edges)
        assert not _cross(graph, at)


def _cross(graph: nx.Graph[str], at: dict[str, tuple[float, float]]) -> bool:
    """Whether runs without a common node cross."""
    for (a, b), (p, q) in itertools.combinations(graph.edges, 2):
        if len({a, b, p, q}) == 4:
            one, two = np.array([(*at[a], *at[b])]), np.array([(*at[p], *at[q])])
            if crossings(one, two):
                return True
    return False


def test_what_carries_most_lies_outside() -> None:
    """Two nodes joined by three ways: the one whose nodes carry nothing goes between the others."""
    graph: nx.Graph[str] = nx.Graph()
    for way in ("abc", "adec", "afgc"):
        for one, two in itertools.pairwise(way):
            graph.add_edge(one, two, length=1.0)
    for idle in ("b", "de", "fg"):
        heavy = {n: 5.0 for n in "bdefg" if n not in idle}
        first = next(linkages(graph, heavy))
        ring = [first[n] for way in ("b", "de", "fg") if way != idle for n in way]
        middle = (sum(x for x, _ in ring) / len(ring), sum(y for _, y in ring) / len(ring))
        inside = max(math.dist(first[n], middle) for n in idle)
        assert inside < min(math.dist(p, middle) for p in ring)


def test_a_graph_that_is_not_planar_has_none() -> None:
    graph: nx.Graph[str] = nx.relabel_nodes(nx.complete_graph(5), str)
    nx.set_edge_attributes(graph, 1.0, "length")
    assert list(linkages(graph, {})) == []


def test_few_runs_cross_in_looms_with_several_loops() -> None:
    """The springs alone left 65 crossings and 198 bent runs in these 15 looms."""
    crossed = bent = 0
    for connectors, loops in itertools.product((20, 40, 100), (2, 3, 4, 5, 6)):
        job = random_loom(connectors, 100 * connectors + loops, loops=loops).job
        pieces = flat_layout(job.nodes, job.segments)
        crossed += sum(len(crossings_of(p)) for p in pieces)
        runs = [r for p in pieces for r in p.runs]
        bent += sum(len(r.points) > 2 for r in runs)
        length_m = {s.key: s.length_m for s in job.segments}
        assert max(abs(r.length_m - length_m[r.segment]) for r in runs) < 1e-7
    assert crossed <= 50
    assert bent <= 120


def test_a_plan_is_the_same_in_every_process() -> None:
    """Whatever order sets of words have there."""
    script = (
        "from tests.factories_drawings import random_loom\n"
        "from pinmap.core.loom.layout import flat_layout\n"
        "job = random_loom(40, 4004, loops=4).job\n"
        "print(flat_layout(job.nodes, job.segments))"
    )
    drawn = {
        subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            text=True,
            check=True,
            cwd=Path(__file__).resolve().parents[3],
            env={"PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2", "3")
    }
    assert len(drawn) == 1
