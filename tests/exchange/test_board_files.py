"""The board plan in its files: every segment's length, read back from DXF and PDF, is the model's."""

from __future__ import annotations

import io
import math
from itertools import pairwise

import ezdxf
import pytest
from ezdxf.document import Drawing
from pypdf import PdfReader

from pinmap.core.loom.board import BAR_MM, LAYERS, MARGIN_MM, PAPERS, Board, Line, Tiling, Words, on_roll, tiled
from pinmap.demo import finished_snapshot
from pinmap.drawings.board import board_plan, index_svg, tile_svgs
from pinmap.exchange.board_pdf import board_pdf
from pinmap.exchange.dxf import write_dxf
from pinmap.exchange.typesetting import TitleBlock
from tests.factories_drawings import hostile, routed, small_job
from tests.factories_pdf import Stroke, page_strokes

TOLERANCE_MM = 0.1
RUN_MM = 0.35  # only the middles of runs are drawn so wide
BLOCK = TitleBlock(job="Job #1 $x$", variant="early", content_hash="0123456789abcdef", date="2026-01-02")


@pytest.fixture(scope="module")
def small() -> Board:
    snapshot = small_job()
    return board_plan(snapshot, snapshot.variants[0], routed(snapshot))


@pytest.fixture(scope="module")
def demo() -> Board:
    snapshot = finished_snapshot()
    return board_plan(snapshot, snapshot.variants[0], routed(snapshot))


def model_mm(board: Board) -> dict[str, float]:
    """Lengths from the demo's and the small job's own segments, of those that are drawn."""
    known = {s.key: 1000 * s.length_m for job in (small_job(), finished_snapshot()) for s in job.job.segments}
    drawn = [s.key.removeprefix("segment:") for s in board.shapes if isinstance(s, Line) and s.layer == "runs"]
    return {key: known[key] for key in drawn}


def _read(dxf: bytes) -> Drawing:
    return ezdxf.read(io.TextIOWrapper(io.BytesIO(dxf), encoding="ascii"))


def _length(points: tuple[tuple[float, float], ...]) -> float:
    return sum(math.dist(p, q) for p, q in pairwise(points))


@pytest.mark.parametrize("which", ["small", "demo"])
def test_dxf_lengths(which: str, request: pytest.FixtureRequest) -> None:
    board: Board = request.getfixturevalue(which)
    document = _read(write_dxf(board))
    assert document.dxfversion == "AC1009"
    found = {}
    for entity in document.modelspace().query('POLYLINE[layer=="RUNS"]'):
        key = next(tag.value for tag in entity.get_xdata("PINMAP") if tag.code == 1000)
        found[key.removeprefix("segment:")] = _length(
            tuple((v.dxf.location.x, v.dxf.location.y) for v in entity.vertices)
        )
    expected = model_mm(board)
    assert set(found) == set(expected)
    assert max(abs(found[key] - expected[key]) for key in found) < TOLERANCE_MM


def test_dxf_has_all_layers_words_and_a_bar(small: Board) -> None:
    document = _read(write_dxf(small))
    assert not document.audit().errors
    assert {layer.upper() for layer in LAYERS} <= {layer.dxf.name for layer in document.layers}
    texts = {t.dxf.text for t in document.modelspace().query("TEXT")}
    assert "X-C101" in texts
    assert any("ø" in t or "\\U+00F8" in t for t in texts)
    bars = [
        entity for entity in document.modelspace().query('POLYLINE[layer=="TITLE"]')
        if entity.has_xdata("PINMAP")
    ]  # fmt: skip
    ends = [[(v.dxf.location.x, v.dxf.location.y) for v in bar.vertices] for bar in bars]
    assert [_length(tuple(points)) for points in ends] == pytest.approx([BAR_MM])
    plates = list(document.modelspace().query('POLYLINE[layer=="CONNECTORS"]'))
    assert len(plates) == 7
    ys = [v.dxf.location.y for e in document.modelspace().query("POLYLINE") for v in e.vertices]
    assert min(ys) >= 0, "y points up"


def test_dxf_of_hostile_names_can_be_read() -> None:
    snapshot = hostile(small_job(), "%%c ^I \n0\nEOF\n <b>\U0001f600\u202e" + "W" * 300)
    board = board_plan(snapshot, snapshot.variants[0], routed(snapshot))
    document = _read(write_dxf(board))
    words = [s for s in board.shapes if isinstance(s, Words)]
    assert len(document.modelspace().query("TEXT")) == len(words)


def _runs(strokes: list[Stroke]) -> list[tuple[tuple[float, float], ...]]:
    return [points for width, points in strokes if abs(width - RUN_MM) < 0.01]


def _same(one: tuple[tuple[float, float], ...], two: tuple[tuple[float, float], ...]) -> bool:
    return len(one) == len(two) and all(math.dist(p, q) < TOLERANCE_MM for p, q in zip(one, two, strict=True))


def _set(board: Board, tiling: Tiling) -> bytes:
    return board_pdf(board, tiling, tile_svgs(board, tiling), index_svg(board), BLOCK)


def _check_pdf(board: Board, tiling: Tiling) -> None:
    pages = page_strokes(_set(board, tiling))
    index = len(tiling.tiles) > 1
    assert len(pages) == len(tiling.tiles) + index
    seen: list[tuple[tuple[float, float], ...]] = []
    for tile, (wide, high, strokes) in zip(tiling.tiles, pages[index:], strict=True):
        assert (wide, high) == pytest.approx((tiling.paper.width_mm, tiling.paper.height_mm), abs=0.01)
        for points in _runs(strokes):
            # Where it lies on the board: the same run on two sheets lies at the same place, so the sheets join.
            there = tuple((x - MARGIN_MM + tile.x_mm, y - MARGIN_MM + tile.y_mm) for x, y in points)
            if not any(_same(there, other) for other in seen):
                seen.append(there)
        bars = [p for w, p in strokes if abs(w - 0.25) < 0.01 and _length(p) > 50]
        assert sorted(_length(p) for p in bars) == pytest.approx([BAR_MM, BAR_MM], abs=0.01), "two bars on every sheet"
    expected = sorted(model_mm(board).values())
    found = sorted(_length(points) for points in seen)
    assert len(found) == len(expected)
    assert max(abs(a - b) for a, b in zip(found, expected, strict=True)) < TOLERANCE_MM


@pytest.mark.parametrize("paper", PAPERS)
def test_pdf_lengths_on_sheets(small: Board, paper: str) -> None:
    _check_pdf(small, tiled(small, PAPERS[paper]))


@pytest.mark.parametrize("roll_mm", [297.0, 914.0])
def test_pdf_lengths_on_a_roll(small: Board, roll_mm: float) -> None:
    _check_pdf(small, on_roll(small, roll_mm))


def test_pdf_lengths_of_the_demo(demo: Board) -> None:
    _check_pdf(demo, tiled(demo, PAPERS["a3"]))


def test_pdf_says_how_the_sheets_join_and_repeats(small: Board) -> None:
    tiling = tiled(small, PAPERS["a4"])
    pdf = _set(small, tiling)
    reader = PdfReader(io.BytesIO(pdf))
    first, second = reader.pages[0].extract_text(), reader.pages[1].extract_text()
    assert "How the sheets lie" in first
    assert f"Sheet 1 of {len(tiling.tiles)}, row 1" in second
    assert "Print at 100 %" in second
    assert f"sheet {tiling.tiles[0].right or tiling.tiles[0].below}" in second
    assert "Job #1 $x$" in second
    assert pdf == _set(small, tiling)
    assert len(pdf) < 400_000
