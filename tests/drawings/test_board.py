"""The board plan: true lengths, nothing on anything, sheets that join."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree as ET

import pytest

from pinmap.core.errors import InputError
from pinmap.core.loom.board import (
    BAR_MM,
    OVERLAP_MM,
    PAPERS,
    Board,
    Frame,
    Line,
    Ring,
    Tiling,
    Words,
    on_roll,
    tiled,
)
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import Fixing
from pinmap.core.model.words import FixingKind, NodeKind
from pinmap.demo import finished_snapshot
from pinmap.drawings.board import board_plan, board_svg, tile_svgs
from pinmap.drawings.svg import Box
from tests.factories_drawings import hostile, random_loom, routed, small_job
from tests.factories_svg import NS, meets, parse, path_lines

TOLERANCE_MM = 0.1
SIZES = (2, 4, 8, 12, 20, 30, 45, 60, 80, 100)


def made(snapshot: Snapshot, routing: Routing | None = None) -> Board:
    return board_plan(snapshot, snapshot.variants[0], routing if routing is not None else routed(snapshot))


def svg_lengths(root: ET.Element) -> dict[str, float]:
    """Length of each run by its segment [mm], from the drawing's own size in millimetres."""
    wide = float(root.attrib["width"].removesuffix("mm"))
    unit = wide / float(root.attrib["viewBox"].split()[2])
    found = {}
    for e in root.iter(f"{NS}path"):
        if e.get("class") == "runs":
            lines = path_lines(e.attrib["d"])
            found[e.attrib["data-key"].removeprefix("segment:")] = sum(
                math.hypot(x2 - x1, y2 - y1) * unit for x1, y1, x2, y2 in lines
            )
    return found


def boxes(board: Board, *layers: str) -> list[tuple[str, Box]]:
    return [(s.key, Box(s.x0, s.y0, s.x1, s.y1)) for s in board.shapes if isinstance(s, Frame) and s.layer in layers]


def check(board: Board, snapshot: Snapshot, shown: set[str] | None = None) -> None:
    drawn = svg_lengths(parse(board_svg(board)))
    lengths = {s.key: 1000 * s.length_m for s in snapshot.job.segments if shown is None or s.key in shown}
    assert set(drawn) == set(lengths)
    assert max(abs(drawn[key] - lengths[key]) for key in drawn) < TOLERANCE_MM
    plates = boxes(board, "connectors", "places")
    assert not [(a, b) for (a, one), (b, two) in combinations(plates, 2) if one.hits(two)], "plates overlap"
    runs = [s for s in board.shapes if isinstance(s, Line) and s.layer == "bundles"]
    for run in runs:
        for p, q in zip(run.points, run.points[1:], strict=False):
            assert not [key for key, box in plates if meets(box, (*p, *q), run.width_mm / 2)], run.key
    words = [Box(*s.corners[0], *s.corners[1]) for s in board.shapes if isinstance(s, Words)]
    assert not [(a, b) for a, b in combinations(words, 2) if a.hits(b, -0.4)], "words overlap"
    for shape in board.shapes:
        assert all(-0.01 <= x <= board.width_mm and -0.01 <= y <= board.height_mm for x, y in shape.corners)


def test_the_small_loom() -> None:
    snapshot = small_job()
    board = made(snapshot)
    check(board, snapshot)
    words = {s.text for s in board.shapes if isinstance(s, Words)}
    assert {"X-C101", "J1", "450 mm ø 5–11"} <= words
    assert any("S1.2" in text for text in words)
    bars = [s for s in board.shapes if isinstance(s, Line) and s.key == "bar"]
    assert [math.dist(*bar.points) for bar in bars] == [BAR_MM]
    assert len([s for s in board.shapes if isinstance(s, Ring) and s.layer == "splices"]) == sum(
        bool(s.segment) for s in routed(snapshot).splices
    )


def test_the_demos_loom() -> None:
    snapshot = finished_snapshot()
    board = made(snapshot)
    shown = {s.key.removeprefix("segment:") for s in board.shapes if isinstance(s, Line) and s.layer == "runs"}
    check(board, snapshot, shown)
    there = snapshot.active_connectors(snapshot.variants[0])
    expected = [n for n in snapshot.job.nodes if n.kind is NodeKind.CONNECTOR and (n.mates is None or n.mates in there)]
    assert len(boxes(board, "connectors")) == len(expected)


@pytest.mark.parametrize("seed", range(50))
def test_fifty_random_looms(seed: int) -> None:
    """Up to 100 connectors, up to two loops; no connector lies on another or on a run."""
    connectors = SIZES[seed % len(SIZES)]
    snapshot = random_loom(connectors, seed, loops=seed % 3)
    board = made(snapshot, Routing())
    check(board, snapshot)
    assert len(boxes(board, "connectors")) == connectors


def test_hostile_names_do_no_harm() -> None:
    snapshot = hostile(small_job(), '<a href="javascript:x">"&\'</a>\u202e\U0001f600 ' + "W" * 300)
    check(made(snapshot), snapshot)


def _covered(board: Board, tiling: Tiling) -> None:
    """Every point of every run lies on a sheet, at least half the overlap from its edge unless the plan ends there."""
    wide, high = tiling.window_mm
    step = OVERLAP_MM / 2
    for line in (s for s in board.shapes if isinstance(s, Line) and s.layer == "runs"):
        for p, q in zip(line.points, line.points[1:], strict=False):
            count = max(2, int(math.dist(p, q) / 5))
            for i in range(count + 1):
                x, y = p[0] + (q[0] - p[0]) * i / count, p[1] + (q[1] - p[1]) * i / count
                assert any(
                    (t.x_mm + (step if t.left else 0)) - 1e-6 <= x <= t.x_mm + wide - (step if t.right else 0) + 1e-6
                    and (t.y_mm + (step if t.above else 0)) - 1e-6
                    <= y
                    <= t.y_mm + high - (step if t.below else 0) + 1e-6
                    for t in tiling.tiles
                )


@pytest.mark.parametrize("paper", PAPERS)
def test_sheets_hold_every_run_and_know_their_neighbours(paper: str) -> None:
    board = made(small_job())
    tiling = tiled(board, PAPERS[paper])
    _covered(board, tiling)
    by_number = {t.number: t for t in tiling.tiles}
    assert list(by_number) == list(range(1, len(by_number) + 1))
    for t in tiling.tiles:
        if t.right:
            assert by_number[t.right].left == t.number
            assert by_number[t.right].x_mm == pytest.approx(t.x_mm + tiling.window_mm[0] - OVERLAP_MM)
        if t.below:
            assert by_number[t.below].above == t.number
            assert by_number[t.below].y_mm == pytest.approx(t.y_mm + tiling.window_mm[1] - OVERLAP_MM)


def test_a_roll_takes_the_plan_in_one_sheet_where_it_is_wide_enough() -> None:
    board = made(small_job())
    assert len(on_roll(board, 3000).tiles) == 1
    narrow = on_roll(board, 297)
    _covered(board, narrow)
    assert narrow.paper.height_mm == 297
    assert all(t.column == 1 for t in narrow.tiles)
    for bad in (math.nan, 100.0, 1e6):
        with pytest.raises(InputError, match="roll width"):
            on_roll(board, bad)


def test_windows_of_sheets_are_at_full_size() -> None:
    board = made(small_job())
    tiling = tiled(board, PAPERS["a4"])
    lengths = {s.key: 1000 * s.length_m for s in small_job().job.segments}
    seen = set()
    for svg in tile_svgs(board, tiling):
        root = parse(svg)
        assert float(root.attrib["width"].removesuffix("mm")) == pytest.approx(tiling.window_mm[0])
        for key, length in svg_lengths(root).items():
            assert length == pytest.approx(lengths[key], abs=TOLERANCE_MM)
            seen.add(key)
    assert seen == set(lengths)


def test_a_job_without_a_loom_gives_an_empty_board() -> None:
    from dataclasses import replace

    snapshot = small_job()
    bare = replace(snapshot, job=replace(snapshot.job, nodes=(), segments=(), devices=(), signals=()))
    board = made(bare, Routing())
    assert not [s for s in board.shapes if s.layer == "runs"]


def test_fixings_are_as_wide_and_where_they_are() -> None:
    snapshot = small_job()
    clip = Fixing(key="c1", segment="g1", kind=FixingKind.CLIP, at_m=0.2, inner_mm=14.0)
    hole = Fixing(key="g1", segment="g2", kind=FixingKind.GROMMET, at_m=0.4, inner_mm=22.0)
    held = replace(snapshot, job=replace(snapshot.job, fixings=(clip, hole)))
    board = made(held)
    check(board, held)
    runs = {s.key: s for s in board.shapes if isinstance(s, Line) and s.layer == "runs"}
    for fixing in (clip, hole):
        (across,) = [s for s in board.shapes if isinstance(s, Line) and s.key == f"fixing:{fixing.key}"]
        assert math.dist(*across.points) == pytest.approx(fixing.inner_mm)
        middle = tuple((a + b) / 2 for a, b in zip(*across.points, strict=True))
        start = runs[f"segment:{fixing.segment}"].points[0]
        assert math.dist(start, middle) == pytest.approx(fixing.at_m * 1000, abs=0.1)
    said = {s.text for s in board.shapes if isinstance(s, Words)}
    assert {"clip c1 ø 14", "grommet g1 ø 22"} <= said
    assert any(text.startswith("200 mm from ") for text in said)
