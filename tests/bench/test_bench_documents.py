"""Setting a build table as PDF, and the plan at full size; run with --benchmark-only. Twice the rows should take about
twice the time: what a function of the template sees is hashed at every call."""

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.route import route
from pinmap.drawings.board import board_plan
from pinmap.exchange.typesetting import Column, TitleBlock, row, set_document, table_section
from tests.factories_drawings import random_loom
from tests.factories_looms import big_snapshot

_COLUMNS = [Column(heading=f"Column {i}", width=i % 2) for i in range(16)]


@pytest.mark.parametrize("rows", [400, 800, 1600])
def test_table_of_many_rows(benchmark: BenchmarkFixture, rows: int) -> None:
    body = [row(*(f"{r}-{c}" for c in range(16))) for r in range(rows)]
    section = table_section("Build table", _COLUMNS, body, size=7.5)
    pdf = benchmark.pedantic(set_document, ("Build packet", TitleBlock(job="J", variant="V"), [section]), rounds=2)
    assert pdf.startswith(b"%PDF")


def test_board_plan_of_100_connectors(benchmark: BenchmarkFixture) -> None:
    snapshot = random_loom(100, 5, loops=2)
    routing = route(snapshot, snapshot.variants[0], Dictionary())
    board = benchmark.pedantic(board_plan, (snapshot, snapshot.variants[0], routing), rounds=2)
    assert board.shapes


def test_board_plan_of_3000_wires(benchmark: BenchmarkFixture) -> None:
    snapshot = big_snapshot()
    routing = route(snapshot, snapshot.variants[0], Dictionary())
    board = benchmark.pedantic(board_plan, (snapshot, snapshot.variants[0], routing), rounds=1)
    assert board.shapes
