"""Speed of the electrical solution, as ratios in one run; run with --benchmark-only.

Times are of the processor (of child processes where those do the work), so that other work on the machine counts for
little.
"""

from __future__ import annotations

import gc
import math
import resource
import subprocess
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pinmap.core.electrics.check import check, recheck
from pinmap.core.electrics.network import Network, build_network, solve
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import LoadCase, Snapshot
from pinmap.exchange.spice import netlist
from tests.factories_looms import big_snapshot
from tests.factories_scale import big_variants
from tests.spice_runs import ngspice

NONE = Dictionary()
Capture = pytest.CaptureFixture[str]


def fresh(snapshot: Snapshot) -> Snapshot:
    """The same job without the look-ups that the first use builds."""
    return Snapshot(snapshot.job, snapshot.platforms, snapshot.housings)


@pytest.fixture(scope="module")
def big() -> Snapshot:
    return big_variants()


@pytest.fixture(scope="module")
def routed(big: Snapshot) -> list[Routing]:
    return [route(big, variant, NONE) for variant in big.variants]


@pytest.mark.benchmark(timer=time.process_time)
def test_check_of_four_variants_with_heat(benchmark: BenchmarkFixture, big: Snapshot, routed: list[Routing]) -> None:
    def whole() -> int:
        snapshot = fresh(big)
        return sum(len(check(snapshot, v, r, NONE).wires) for v, r in zip(snapshot.variants, routed, strict=True))

    assert benchmark(whole) == 20
    assert all(len(r.wires) > 3000 for r in routed)


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _solved(jobs: list[tuple[Network, LoadCase]]) -> int:
    """Every case from networks of which nothing is remembered yet; one network serves its cases."""
    new = {id(network): replace(network) for network, _ in jobs}
    return len([solve(new[id(network)], case, network.wire_ohm_20) for network, case in jobs])


@pytest.mark.parametrize("kind", ["loads of every law", "constant currents"])
def test_bare_solution_against_ngspice(
    benchmark: BenchmarkFixture, big: Snapshot, tmp_path: Path, capsys: Capture, kind: str
) -> None:
    """All cases of all variants here, and each as a process of ngspice on the same netlist, turn by turn."""
    snapshot = big if kind == "loads of every law" else big_snapshot()
    jobs = [
        (network, case)
        for v in snapshot.variants
        for network in [build_network(snapshot, v, route(snapshot, v, NONE), NONE)]
        for case in snapshot.job.load_cases
    ]
    files = []
    for i, (network, case) in enumerate(jobs):
        files.append(tmp_path / f"c{i}.cir")
        files[-1].write_text(netlist(network, case))
    program, theirs = ngspice(), []

    def spice() -> None:
        before = _children_s()
        for file in files:
            subprocess.run(
                [program, "-b", str(file)], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL, check=False,
            )  # fmt: skip
        theirs.append(_children_s() - before)

    ours = []

    def own() -> int:
        before = time.process_time()
        count = _solved(jobs)
        ours.append(time.process_time() - before)
        return count

    assert benchmark.pedantic(own, setup=spice, rounds=5, warmup_rounds=1) == len(jobs)
    ratio = min(theirs) / min(ours)
    benchmark.extra_info["ratio"] = round(ratio, 1)
    with capsys.disabled():
        print(
            f"\n{kind}, {len(jobs)} cases: here {1000 * min(ours):.1f} ms, ngspice {1000 * min(theirs):.0f} ms,"
            f" ratio {ratio:.1f}"
        )


@pytest.mark.benchmark(timer=time.process_time)
def test_check_after_one_edited_wire(
    benchmark: BenchmarkFixture, big: Snapshot, routed: list[Routing], capsys: Capture
) -> None:
    """One wire of the 3,000 gets another size; with heat, in all load cases of a variant, against from scratch."""
    variant, routing = big.variants[0], routed[0]
    edited = max(routing.wires, key=lambda w: len(w.segments))
    job = replace(
        big.job,
        signals=tuple(replace(s, mm2=4.0) if s.key == edited.signal else s for s in big.job.signals),
    )
    snapshot = Snapshot(job, big.platforms, big.housings)
    after = Routing(
        tuple(replace(w, mm2=4.0) if w.signal == edited.signal else w for w in routing.wires),
        routing.splices, routing.gaps,
    )  # fmt: skip
    before = recheck(None, big, variant, routing, NONE)
    benchmark(lambda: recheck(before, fresh(snapshot), variant, Routing(after.wires, after.splices, after.gaps), NONE))

    def best(work: Callable[[], object]) -> float:
        times = []
        for _ in range(5):
            began = time.process_time()
            work()
            times.append(time.process_time() - began)
        return min(times)

    sooner = best(lambda: recheck(before, fresh(snapshot), variant, after, NONE))
    whole = best(lambda: check(fresh(snapshot), variant, after, NONE))
    with capsys.disabled():
        print(f"\nafter an edit {1000 * sooner:.0f} ms, from scratch {1000 * whole:.0f} ms, {sooner / whole:.2f}")


def test_cost_by_number_of_wires(benchmark: BenchmarkFixture, capsys: Capture) -> None:
    """The curve from 300 to 30,000 wires; each beside n log n from the first row and from the row before.

    The loom grows with them, one trunk of 60 connectors for each 88 blocks: ten times as many wires in the bundles of
    one trunk would glow at 420 °C, and take seven rounds of heat instead of three.
    """
    rows: list[tuple[int, float, float, float]] = []

    def curve() -> None:
        rows.clear()
        for blocks in (9, 29, 88, 294, 880):
            snapshot = big_snapshot(blocks, n_trunks=math.ceil(blocks / 88))
            variant = snapshot.variants[0]
            routing, route_s = _timed(lambda s=snapshot: route(fresh(s), s.variants[0], NONE))
            _, check_s = _timed(lambda s=snapshot, r=routing: check(fresh(s), s.variants[0], r, NONE))
            network = build_network(snapshot, variant, routing, NONE)
            _, solve_s = _timed(lambda n=network, s=snapshot: _solved([(n, case) for case in s.job.load_cases]))
            rows.append((len(routing.wires), route_s, check_s, solve_s))

    benchmark.pedantic(curve, rounds=1)
    with capsys.disabled():
        print("\n wires   n log n  step |  route s  times  step |  check s  times  step |  solve s  times  step")
        for row, before in zip(rows, [rows[0], *rows], strict=False):
            line = [f"{row[0]:6d} {_grown(row[0], rows[0][0]):9.1f} {_grown(row[0], before[0]):5.1f}"]
            for now, first, last in zip(row[1:], rows[0][1:], before[1:], strict=True):
                line.append(f"{now:8.3f} {now / first:6.1f} {now / last:5.1f}")
            print(" | ".join(line))


def _grown(wires: int, since: int) -> float:
    return wires * math.log(wires) / (since * math.log(since))


def _timed(work: Callable[[], Routing | object]) -> tuple[object, float]:
    """The answer, and the least processor time of three; what was there before is kept from the garbage collector,
    whose walks over it are not the work's."""
    times = []
    gc.collect()
    gc.freeze()
    for _ in range(3):
        began = time.process_time()
        answer = work()
        times.append(time.process_time() - began)
    gc.unfreeze()
    return answer, min(times)
