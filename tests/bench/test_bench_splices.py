"""2,000 signals with optimal splices on a loom with loops, beside the library's Steiner trees; on demand."""

from __future__ import annotations

import time

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.joints import plan_joint
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

    def places() -> tuple[float, float]:
        """Place and number of the splices alone, what the library is asked for: no wires, names, colours, lengths."""
        fresh = Snapshot(snapshot.job, snapshot.platforms, snapshot.housings)
        began = time.process_time()
        router = Router(fresh, fresh.variants[0], Dictionary())
        total_m = 0.0
        for signal in router.signals:
            job = SignalRouter(router, signal)
            for net in router.nets[signal.key]:
                spots = job.spots(net)
                if len(spots) == 2:
                    total_m += router.graph.between(*(router.graph.station[s.node] for s in spots))
                else:
                    ends = job.net_ends(router.graph, net, spots)
                    total_m += plan_joint(router.graph, router.practice, ends, Joint.SPLICE).copper_m
        return time.process_time() - began, total_m

    rounds = [benchmark.pedantic(whole, rounds=1)] + [whole() for _ in range(2)]
    own_s, own_m, proven = min(rounds)
    assert proven
    alone_s, alone_m = min(places() for _ in range(3))
    assert abs(alone_m - own_m) < 1e-2
    graph = plain_graph(snapshot)
    began = time.process_time()
    theirs_m = steiner_m(graph, snapshot)
    theirs_s = time.process_time() - began
    assert own_m <= theirs_m + 1e-6
    few = 20
    began = time.process_time()
    steiner_m(graph, snapshot, method="kou", most=few)
    kou_s = (time.process_time() - began) * len(snapshot.job.signals) / few
    with capsys.disabled():
        print(
            f"\n2,000 signals: {own_s:.2f} s of processor and {own_m:.0f} m here, {alone_s:.2f} s for places and "
            f"numbers of splices alone.\nnetworkx by Mehlhorn (its default): {theirs_s:.2f} s and {theirs_m:.0f} m, "
            f"{theirs_s / own_s:.1f} and {theirs_s / alone_s:.1f} times as long.\nnetworkx by Kou: about {kou_s:.0f} s "
            f"by {few} signals, {kou_s / own_s:.0f} and {kou_s / alone_s:.0f} times as long."
        )
