"""All rules on a 3,000-wire job; run with --benchmark-only."""

from pytest_benchmark.fixture import BenchmarkFixture

from pinmap.core.electrics.check import check
from pinmap.core.facts.functions import dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.core.rules.registry import run
from tests.factories_looms import big_snapshot


def test_all_rules_3000_wires(benchmark: BenchmarkFixture) -> None:
    big = big_snapshot()
    variant = big.variants[0]
    routing = route(big, variant, dictionary())
    report = check(big, variant, routing, dictionary())

    def whole() -> int:
        fresh = Snapshot(big.job, big.platforms, big.housings)
        return len(run(fresh, variant, routing, report, dictionary()))

    assert benchmark(whole) > 0
