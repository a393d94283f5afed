"""2,000 signals with optimal splices on a loom with loops, beside the library's Steiner trees; on demand."""

from __future__ import annotations

import time

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
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

    rounds = [benchmark.pedantic(whole, rounds=1)] + [whole() for _ in range(2)]
    own_s, own_m, proven = min(rounds)
    assert proven
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
            f"\n2,000 signals: {own_s:.2f} s of processor and {own_m:.0f} m here; networkx by Mehlhorn (its default) "
            f"{theirs_s:.2f} s and {theirs_m:.0f} m, {theirs_s / own_s:.1f} times as long; by Kou about "
            f"{kou_s:.0f} s by {few} signals, {kou_s / own_s:.0f} times as long"
        )
