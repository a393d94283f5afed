"""A 3,000-wire job with five load cases; run with --benchmark-only."""

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pinmap.core.electrics.check import check
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom import packing
from pinmap.core.loom.bundles import Bundles
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from tests.factories_looms import big_snapshot


@pytest.fixture(scope="module")
def big() -> Snapshot:
    return big_snapshot()


def fresh(snapshot: Snapshot) -> Snapshot:
    """The same job without the look-ups that the first use builds."""
    return Snapshot(snapshot.job, snapshot.platforms, snapshot.housings)


def test_route_3000_wires(benchmark: BenchmarkFixture, big: Snapshot) -> None:
    found = benchmark(lambda: route(s := fresh(big), s.variants[0], Dictionary()))
    assert len(found.wires) > 3000
    assert not found.gaps


def test_check_3000_wires(benchmark: BenchmarkFixture, big: Snapshot) -> None:
    routing = route(big, big.variants[0], Dictionary())
    report = benchmark(lambda: check(s := fresh(big), s.variants[0], routing, Dictionary()))
    assert len(report.wires) == 5
    assert not report.unfed


def test_route_and_check_3000_wires(benchmark: BenchmarkFixture, big: Snapshot) -> None:
    def whole() -> int:
        snapshot = fresh(big)
        variant = snapshot.variants[0]
        return len(check(snapshot, variant, route(snapshot, variant, Dictionary()), Dictionary()).loads)

    assert benchmark(whole) > 1000


def test_bundles_of_3000_wires(benchmark: BenchmarkFixture, big: Snapshot) -> None:
    """Every segment's diameter, nothing remembered."""
    routing = route(big, big.variants[0], Dictionary())

    def whole() -> float:
        packing._packed.cache_clear()
        return sum(map(Bundles.of(big, routing).diameter_mm, (s.key for s in big.job.segments)))

    assert benchmark(whole) > 100
