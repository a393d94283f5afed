"""A loom with loops and signals of many ends, to compare splices with Steiner trees."""

from __future__ import annotations

import random

import networkx as nx

from pinmap.core.model.jobs import Practice, Snapshot
from pinmap.core.model.words import Direction, Kind
from tests.factories_looms import JobMaker

FREE_SPLICES = Practice(splice_cost_g=0.0, max_splices=0, max_splice_wires=0, splice_clear_m=0.0, splice_apart_m=0.0)


def loop_loom(
    connectors: int = 300,
    segments: int = 400,
    signals: int = 2000,
    seed: int = 8,
    many: tuple[int, ...] = (3, 3, 3, 4, 4, 5, 6, 7, 8),
    every: int = 20,
) -> Snapshot:
    """Junctions joined as a tree with one run more for every ten, each with its share of the connectors; buses of equal
    wires, so that the least copper is a Steiner tree. Of ``every`` so many signals the first have as many ends as
    ``many`` says, the others two."""
    rng = random.Random(seed)
    m = JobMaker(FREE_SPLICES)
    trunks = segments - connectors
    loops = trunks // 10
    junctions = trunks - loops + 1
    for i in range(junctions):
        m.junction(f"j{i}")
        if i:
            m.run(f"j{rng.randrange(max(0, i - 6), i)}", f"j{i}", round(rng.uniform(0.1, 1.0), 2))
    for _ in range(loops):
        a, b = rng.sample(range(junctions), 2)
        m.run(f"j{a}", f"j{b}", round(rng.uniform(0.3, 2.0), 2))
    names = [f"{'hdu'[i % 3]}:C{i:03d}" for i in range(connectors)]
    for i, name in enumerate(names):
        m.mate(f"x{i}", name)
        m.run(f"j{rng.randrange(junctions)}", f"x{i}", round(rng.uniform(0.05, 0.6), 2))
    used = dict.fromkeys(names, 0)
    for i in range(signals):
        ends = []
        for name in rng.sample(names, many[i % every] if i % every < len(many) else 2):
            used[name] += 1
            m.pin(f"{name}-{used[name]}", Kind.LIN, Direction.BOTH, mm2=0.5, colour="GN")
            ends.append(f"{name}-{used[name]}")
        m.signal(*ends)
    return m.snapshot()


def plain_graph(snapshot: Snapshot) -> nx.Graph[str]:
    """The same loom as the library's graph."""
    graph: nx.Graph[str] = nx.Graph()
    for s in snapshot.job.segments:
        if not graph.has_edge(s.a, s.b) or graph[s.a][s.b]["weight"] > s.length_m:
            graph.add_edge(s.a, s.b, weight=s.length_m)
    return graph


def steiner_m(graph: nx.Graph[str], snapshot: Snapshot, *, method: str = "mehlhorn", most: int | None = None) -> float:
    """Metres of wire by the library, of the first ``most`` signals: a shortest path for two ends, its Steiner
    approximation for more."""
    total = 0.0
    for signal in snapshot.job.signals[:most]:
        nodes = [snapshot.node_of_connector[(m.end.platform, m.end.connector)].key for m in signal.members]  # type: ignore[union-attr,index]
        if len(nodes) == 2:
            total += nx.shortest_path_length(graph, *nodes, weight="weight")
        else:
            total += nx.algorithms.approximation.steiner_tree(graph, nodes, method=method).size(weight="weight")
    return total
