"""2,000 signals with optimal splices on a loom with loops, beside the library's Steiner trees; on demand."""

from __future__ import annotations

import time

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.joints import NetEnds, plan_joints
from pinmap.core.loom.route import Router, route
from pinmap.core.loom.route_signal import SignalRouter
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.words import Joint
from tests.factories_splices import loop_loom, plain_graph, steiner_m


def test_splices_of_2000_signals(benchmark: BenchmarkFixture, capsys: pytest.CaptureFixture[str]) -> None:
    """Every wire with its splices, length and colour, against trees alone. Equal wires, free splices: both seek the
    least length, so that the totals can be compared."""
    snapshot = loop_loom()

    def whole() -> tuple[float, float, bool]:
        fresh = Snapshot(snapshot.job, snapshot.platforms, snapshot.housings)
        began = time.process_time()
        found = route(fresh, fresh.variants[0], Dictionary())
        took = time.process_time() - began
        return took, sum(w.length_m for w in found.wires), all(s.proven for s in found.splices)

    router = Router(snapshot, snapshot.variants[0], Dictionary())
    wires, nets = list[tuple[int, ...]](), list[NetEnds]()
    for signal in router.signals:
        job = SignalRouter(router, signal)
        for net in router.nets[signal.key]:
            ends = job.net_ends(net, job.spots(net))
            if len(ends.nodes) == 2:
                wires.append(ends.nodes)
            else:
                nets.append(ends)

    def places() -> tuple[float, float]:
        """What the library is asked for: from the loom and the ends of every signal to the places and number of its
        splices and the wires between them; no names, colours and cut lengths. The graph is built anew."""
        began = time.process_time()
        graph = LoomGraph(snapshot, snapshot.variants[0])
        total_m = sum(graph.between(graph.station[a], graph.station[b]) for a, b in wires)
        plans = plan_joints(graph, router.practice, nets, Joint.SPLICE)
        took = time.process_time() - began
        return took, total_m + sum(link.way.length_m for plan in plans for link in plan.links(graph))

    rounds = [benchmark.pedantic(whole, rounds=1)] + [whole() for _ in range(2)]
    own_s, own_m, proven = min(rounds)
    assert proven
    graph = plain_graph(snapshot)
    alone: list[float] = []
    theirs: list[float] = []
    for _ in range(5):  # in turns, so that both meet the same machine
        took, alone_m = places()
        alone.append(took)
        assert abs(alone_m - own_m) < 1e-2
        began = time.process_time()
        theirs_m = steiner_m(graph, snapshot)
        theirs.append(time.process_time() - began)
        assert own_m <= theirs_m + 1e-6
    few = 200
    began = time.process_time()
    steiner_m(graph, snapshot, method="kou", most=few)
    kou_s = (time.process_time() - began) * len(snapshot.job.signals) / few
    alone_s, theirs_s = min(alone), min(theirs)
    with capsys.disabled():
        print(
            f"\n2,000 signals: {own_s:.2f} s of processor and {own_m:.0f} m here; {alone_s * 1000:.0f} ms for places "
            f"and numbers of splices alone.\nnetworkx by Mehlhorn (its default): {theirs_s:.2f} s and {theirs_m:.0f} m,"
            f" {theirs_s / alone_s:.1f} times as long as places and numbers alone, {theirs_s / own_s:.1f} times the "
            f"whole.\nnetworkx by Kou: about {kou_s:.1f} s by {few} signals, {kou_s / alone_s:.0f} and "
            f"{kou_s / own_s:.1f} times as long."
        )
