from __future__ import annotations

import math
from itertools import combinations

import pytest

from pinmap.core.errors import InputError, StructureError
from pinmap.core.loom import layout
from pinmap.core.loom.layout import FlatPiece, Run, flat_layout
from pinmap.core.model.looms import Node, Segment
from pinmap.core.model.words import NodeKind
from tests.factories_drawings import random_loom, small_job


def _node(key: str) -> Node:
    return Node(key=key, loom="m", kind=NodeKind.JUNCTION)


def _segment(key: str, a: str, b: str, length_m: float) -> Segment:
    return Segment(key=key, loom="m", a=a, b=b, length_m=length_m)


def _cross(one: Run, two: Run) -> bool:
    def turn(p: tuple[float, float], q: tuple[float, float], r: tuple[float, float]) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    a, b, c, d = (one.x1, one.y1), (one.x2, one.y2), (two.x1, two.y1), (two.x2, two.y2)
    return turn(a, b, c) * turn(a, b, d) < -1e-15 and turn(c, d, a) * turn(c, d, b) < -1e-15


def _check(pieces: tuple[FlatPiece, ...], segments: tuple[Segment, ...]) -> None:
    runs = [run for piece in pieces for run in piece.runs]
    assert sorted(run.segment for run in runs) == sorted(s.key for s in segments), "every segment once"
    length = {s.key: s.length_m for s in segments}
    for piece in pieces:
        for run in piece.runs:
            assert run.length_m == pytest.approx(length[run.segment], abs=1e-9)
            assert (run.x1, run.y1) == piece.at[run.a]
            assert run.cut or (run.x2, run.y2) == piece.at[run.b]
        assert not any(_cross(a, b) for a, b in combinations(piece.runs, 2))


@pytest.mark.parametrize("seed", range(24))
def test_runs_keep_their_lengths_and_never_cross(seed: int) -> None:
    job = random_loom([5, 25, 40, 60][seed % 4], seed, loops=seed % 3).job
    _check(flat_layout(job.nodes, job.segments), job.segments)


@pytest.mark.parametrize("seed", range(12))
def test_so_does_the_layout_by_equal_angles(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(layout._Greedy, "run", lambda self: None)
    job = random_loom([5, 25, 40, 60][seed % 4], seed, loops=seed % 3).job
    _check(flat_layout(job.nodes, job.segments), job.segments)


def test_the_longest_way_lies_straight() -> None:
    job = small_job().job
    (piece,) = flat_layout(job.nodes, job.segments)
    assert {piece.at[n][1] for n in ("n-c102", "j1", "j2", "j3", "n-e1")} == {0.0}
    span = abs(piece.at["n-c102"][0] - piece.at["n-e1"][0])
    assert span == pytest.approx(0.6 + 1.1 + 0.8 + 0.5)


def test_a_loop_is_cut_at_its_lightest_run() -> None:
    nodes = [_node(k) for k in "abc"]
    segments = (_segment("ab", "a", "b", 1.0), _segment("bc", "b", "c", 1.0), _segment("ca", "c", "a", 0.7))
    (piece,) = flat_layout(nodes, segments, {"ab": 5, "bc": 1, "ca": 9})
    assert [run.segment for run in piece.runs if run.cut] == ["bc"]
    _check((piece,), segments)


def test_a_segment_back_to_its_own_node_hangs_loose() -> None:
    segments = (_segment("ab", "a", "b", 1.0), _segment("aa", "a", "a", 0.3))
    (piece,) = flat_layout([_node("a"), _node("b")], segments)
    assert [run.segment for run in piece.runs if run.cut] == ["aa"]
    _check((piece,), segments)


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
