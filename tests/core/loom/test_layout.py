from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import combinations, pairwise

import pytest

from pinmap.core.errors import InputError, StructureError
from pinmap.core.loom import layout
from pinmap.core.loom.layout import FlatPiece, Run, crossings_of, flat_layout
from pinmap.core.loom.plane import Point
from pinmap.core.model.looms import Node, Segment
from pinmap.core.model.words import NodeKind
from tests.factories_drawings import random_loom, small_job


def _node(key: str) -> Node:
    return Node(key=key, loom="m", kind=NodeKind.JUNCTION)


def _segment(key: str, a: str, b: str, length_m: float) -> Segment:
    return Segment(key=key, loom="m", a=a, b=b, length_m=length_m)


def _lines(runs: Iterable[Run]) -> list[tuple[Point, Point]]:
    return [line for run in runs for line in pairwise(run.points)]


def _cross(one: tuple[Point, Point], two: tuple[Point, Point]) -> bool:
    def turn(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    (a, b), (c, d) = one, two
    return turn(a, b, c) * turn(a, b, d) < -1e-15 and turn(c, d, a) * turn(c, d, b) < -1e-15


def _check(pieces: tuple[FlatPiece, ...], segments: tuple[Segment, ...], crossings: int = 0) -> None:
    runs = [run for piece in pieces for run in piece.runs]
    assert sorted(run.segment for run in runs) == sorted(s.key for s in segments), "every segment once"
    length = {s.key: s.length_m for s in segments}
    for piece in pieces:
        for run in piece.runs:
            assert run.length_m == pytest.approx(length[run.segment], abs=1e-9)
            assert run.points[0] == piece.at[run.a]
            assert run.points[-1] == piece.at[run.b]
        assert sum(_cross(a, b) for a, b in combinations(_lines(piece.runs), 2)) <= crossings


@pytest.mark.parametrize("seed", range(24))
def test_runs_keep_their_lengths_and_without_loops_never_cross(seed: int) -> None:
    """Loops of random lengths lie across each other now and then, as they would on a board."""
    job = random_loom([5, 25, 40, 60][seed % 4], seed, loops=seed % 3).job
    _check(flat_layout(job.nodes, job.segments), job.segments, crossings=5 * (seed % 3))


@pytest.mark.parametrize("seed", range(12))
def test_so_does_the_layout_by_equal_angles(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(layout._Greedy, "run", lambda self, strict: False)
    job = random_loom([5, 25, 40, 60][seed % 4], seed).job
    _check(flat_layout(job.nodes, job.segments), job.segments)


def test_the_longest_way_lies_straight() -> None:
    job = small_job().job
    (piece,) = flat_layout(job.nodes, job.segments)
    assert [piece.at[n][1] for n in ("n-c102", "j1", "j2", "j3", "n-e1")] == pytest.approx([0.0] * 5)
    span = abs(piece.at["n-c102"][0] - piece.at["n-e1"][0])
    assert span == pytest.approx(0.6 + 1.1 + 0.8 + 0.5)


def test_a_loop_lies_as_a_polygon_with_all_sides_straight() -> None:
    nodes = [_node(k) for k in "abc"]
    segments = (_segment("ab", "a", "b", 1.0), _segment("bc", "b", "c", 1.0), _segment("ca", "c", "a", 0.7))
    (piece,) = flat_layout(nodes, segments)
    assert {len(run.points) for run in piece.runs} == {2}
    _check((piece,), segments)


@pytest.mark.parametrize(
    "lengths",
    [
        (1.0, 1.0, 1.0, 1.0),
        (2.9, 1.0, 1.0, 1.0),  # nearly flat, the middle of the circle outside
        (1.9, 1.0, 1.0, 1.0),
        (3.0, 1.0, 1.0, 1.0),  # flat: bent
        (5.0, 1.0, 1.0, 1.0),  # no polygon at all: bent
        (5.0, 0.0, 1.0, 1.0),
    ],
)
def test_any_loop_closes_at_true_lengths(lengths: tuple[float, ...]) -> None:
    keys = "abcd"
    segments = tuple(_segment(f"s{i}", keys[i], keys[(i + 1) % 4], m) for i, m in enumerate(lengths))
    (piece,) = flat_layout([_node(k) for k in keys], segments)
    _check((piece,), segments)


def test_two_runs_between_the_same_nodes_part() -> None:
    segments = (_segment("one", "a", "b", 1.0), _segment("two", "a", "b", 1.0), _segment("three", "a", "b", 2.5))
    (piece,) = flat_layout([_node("a"), _node("b")], segments)
    _check((piece,), segments)
    assert len({run.points for run in piece.runs}) == 3
    assert max(len(run.points) for run in piece.runs) > 2


def test_a_segment_back_to_its_own_node_is_a_triangle() -> None:
    segments = (_segment("ab", "a", "b", 1.0), _segment("aa", "a", "a", 0.3))
    (piece,) = flat_layout([_node("a"), _node("b")], segments)
    (loop,) = [run for run in piece.runs if run.segment == "aa"]
    assert len(loop.points) == 4
    _check((piece,), segments)


def test_loops_that_share_runs_keep_their_lengths_too() -> None:
    """A ladder: two rails, four rungs, one brace across."""
    rails = [(f"r{side}{i}", f"{side}{i}", f"{side}{i + 1}", 0.8) for side in "ab" for i in range(3)]
    rungs = [(f"g{i}", f"a{i}", f"b{i}", 0.5 + 0.1 * i) for i in range(4)]
    segments = tuple(_segment(*s) for s in [*rails, *rungs, ("brace", "a0", "b3", 2.0)])
    (piece,) = flat_layout([_node(f"{side}{i}") for side in "ab" for i in range(4)], segments)
    _check((piece,), segments, crossings=99)


def test_pieces_stand_apart_the_longest_first() -> None:
    nodes = [_node(k) for k in "abcde"]
    segments = (_segment("ab", "a", "b", 0.5), _segment("cd", "c", "d", 2.0))
    pieces = flat_layout(nodes, segments)
    assert [set(p.at) for p in pieces] == [{"c", "d"}, {"a", "b"}, {"e"}]


def test_no_length_is_no_fault_but_a_bad_one_is() -> None:
    nodes = [_node(k) for k in "abc"]
    _check(flat_layout(nodes, s := (_segment("ab", "a", "b", 0.0), _segment("bc", "b", "c", 1.0))), s)
    for bad in (-0.1, math.nan, math.inf):
        with pytest.raises(InputError, match="length of segment ab"):
            flat_layout(nodes, (_segment("ab", "a", "b", bad),))
    with pytest.raises(StructureError, match="leads to z"):
        flat_layout(nodes, (_segment("az", "a", "z", 1.0),))


def test_the_same_loom_is_laid_out_the_same() -> None:
    job = random_loom(40, 3, loops=2).job
    assert flat_layout(job.nodes, job.segments) == flat_layout(job.nodes, job.segments)


def test_crossings_are_found_with_what_lies_over_what() -> None:
    """A cross of two runs, and two that only meet at a node."""
    runs = (
        Run("g1", "a", "b", ((0.0, 0.0), (2.0, 0.0))),
        Run("g2", "c", "d", ((1.0, -1.0), (1.0, 1.0))),
        Run("g3", "b", "e", ((2.0, 0.0), (3.0, 1.0))),
    )
    (found,) = crossings_of(FlatPiece({}, runs))
    assert (found.over, found.under, found.at) == ("g2", "g1", (1.0, 0.0))
    assert abs(math.sin(found.heading)) == pytest.approx(1.0)


@pytest.mark.parametrize(("connectors", "loops", "seed"), [(20, 2, 1), (40, 4, 2), (100, 6, 3)])
def test_crossings_of_looms_with_several_loops_agree_with_the_plane(connectors: int, loops: int, seed: int) -> None:
    """As many as a count by every pair of lines, each at a point of both runs."""
    snapshot = random_loom(connectors, seed, loops=loops)
    for piece in flat_layout(snapshot.job.nodes, snapshot.job.segments):
        found = crossings_of(piece)
        lines = [(r.segment, line) for r in piece.runs for line in pairwise(r.points)]
        assert len(found) == sum(_cross(one, two) for (a, one), (b, two) in combinations(lines, 2) if a != b)
        run = {r.segment: r for r in piece.runs}
        for crossing in found:
            for key in (crossing.over, crossing.under):
                ways = (math.dist(p, crossing.at) + math.dist(crossing.at, q) - math.dist(p, q)
                        for p, q in pairwise(run[key].points))  # fmt: skip
                assert min(ways) < 1e-9
