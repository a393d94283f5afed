"""Speed of single parts: reading a list, loading a job, making the demo, the heat of many bundles."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
from pytest_benchmark.fixture import BenchmarkFixture

from pinmap.core.electrics import bundle_heat
from pinmap.core.electrics.wire_tables import wire_heat
from pinmap.exchange.pinout_in import guess_headings, parse_rows, read_table
from pinmap.services import jobs
from pinmap.services.shop import Shop
from tests.factories_store import big_snapshot


def test_a_list_of_5000_pins(benchmark: BenchmarkFixture) -> None:
    text = "connector,cavity,function,kind,direction,current_a,wire_colour,wire_mm2,evidence,note\n" + "".join(
        f"C{i // 60},{i % 60 + 1},Function {i},supply-15,in,{i % 30}.5,GN/YE,0.75,manual: p. {i},x{i}\n"
        for i in range(5000)
    )

    def read() -> int:
        table = read_table(text.encode(), "pins.csv")
        return len(parse_rows(table, guess_headings(table.headings, table.rows).mapping).pins)

    assert benchmark.pedantic(read, rounds=3) == 5000


def test_a_job_of_2400_signals_is_loaded(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    """By a process that has not seen it yet. The pages need it in half a second."""
    url = f"sqlite:///{tmp_path / 'shop.sqlite3'}"
    first = Shop(url)
    first.upgrade()
    with first.write() as session:
        jobs.store_snapshot(first, session, big_snapshot(5000, 2400), "benchmark")

    def opened() -> tuple[tuple[Shop], dict[str, object]]:
        return (Shop(url),), {}

    view = benchmark.pedantic(lambda shop: jobs.get(shop, "big"), setup=opened, rounds=3)
    assert len(view.job.signals) == 2400


def test_both_jobs_of_the_demo_are_made(benchmark: BenchmarkFixture) -> None:
    program = "import pinmap.demo as demo; demo.finished_snapshot(); demo.half_way_snapshot()"
    benchmark.pedantic(lambda: subprocess.run([sys.executable, "-c", program], check=True), rounds=3)


def test_heat_of_3000_wires_in_five_cases(benchmark: BenchmarkFixture) -> None:
    rng = np.random.default_rng(3)
    sizes = rng.choice([0.5, 0.75, 1.0, 2.5, 4.0], 3000)
    wires = wire_heat([(float(s), "thin-wall-C") for s in sizes])
    segments, ambient_c = rng.integers(0, 400, 18000), rng.uniform(40, 100, 400)
    layout = bundle_heat.bundle_layout(
        wires, np.repeat(np.arange(3000), 6), segments, ambient_c, ["", "conduit-17"] * 200
    )
    amps = rng.uniform(0, 3, (5, 3000)) * sizes
    found = benchmark(bundle_heat.bundle_temperatures, layout, amps)
    assert np.all(np.isfinite(found.hottest_c))
