from __future__ import annotations

import random
from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinmap.drawings.lanes import Run, assign_lanes
from pinmap.drawings.placing import GRID, Vertex, isotonic, place


@given(st.lists(st.tuples(st.floats(-100, 100), st.floats(0.1, 10)), min_size=1, max_size=12))
def test_isotonic_rises_and_no_nudge_betters_it(pairs: list[tuple[float, float]]) -> None:
    wanted, weights = [p[0] for p in pairs], [p[1] for p in pairs]
    found = isotonic(wanted, weights)
    assert all(a <= b + 1e-9 for a, b in pairwise(found))

    def miss(values: list[float]) -> float:
        return sum(w * (a - b) ** 2 for a, b, w in zip(values, wanted, weights, strict=True))

    best = miss(found)
    for i in range(len(found)):
        for j in range(i + 1, len(found) + 1):
            for step in (-0.01, 0.01):
                nudged = [v + step if i <= k < j else v for k, v in enumerate(found)]
                if all(a <= b for a, b in pairwise(nudged)):
                    assert miss(nudged) >= best - 1e-6


def _overlaps(runs: list[Run], lanes: list[int]) -> list[tuple[int, int]]:
    """Pairs of lines of different stations that lie on each other for a length."""
    bad = []
    for (i, a), (j, b) in combinations(enumerate(runs), 2):
        if (a.left, a.y_left) == (b.left, b.y_left) or (a.right, a.y_right) == (b.right, b.y_right):
            continue
        if -2 in (lanes[i], lanes[j]):
            continue
        if lanes[i] == lanes[j] >= 0 and a.reach[0] < b.reach[1] and b.reach[0] < a.reach[1]:
            bad.append((i, j))
        # The level part of one on the level part of the other: one lane must be clearly right of the other.
        if a.y_right == b.y_left and a.y_left != a.y_right and b.y_left != b.y_right and lanes[i] < lanes[j]:
            bad.append((i, j))
        if b.y_right == a.y_left and a.y_left != a.y_right and b.y_left != b.y_right and lanes[j] < lanes[i]:
            bad.append((i, j))
    return bad


@given(st.permutations(range(8)), st.permutations(range(8)), st.integers(2, 8))
def test_no_two_lines_lie_on_each_other(left: list[int], right: list[int], count: int) -> None:
    runs = [Run(left[i], right[i], f"l{left[i]}", f"r{right[i]}") for i in range(count)]
    lanes = assign_lanes(runs)
    assert _overlaps(runs, lanes) == []
    assert all((lane == -1) == (run.y_left == run.y_right) for lane, run in zip(lanes, runs, strict=True))


def test_lines_that_change_places_go_one_slantwise() -> None:
    lanes = assign_lanes([Run(0, 1, "a", "d"), Run(1, 0, "b", "c")])
    assert sorted(lanes)[0] == -2
    assert sorted(lanes)[1] >= 0


def test_parallel_steps_do_not_cross() -> None:
    """Two lines that go down together: the upper one turns later."""
    assert assign_lanes([Run(0, 20, "a", "c"), Run(10, 30, "b", "d")]) == [1, 0]


@pytest.mark.parametrize("seed", range(12))
def test_edges_run_from_column_to_column_and_stations_stand_apart(seed: int) -> None:
    rng = random.Random(seed)
    count = rng.randrange(2, 40)
    vertices = [
        Vertex(id=f"v{i}", group=f"g{i % 7}" if i % 3 else f"v{i}", capsule=i % 3 == 0 and i % 2 == 0)
        for i in range(count)
    ]
    edges = [tuple(rng.sample([v.id for v in vertices], 2)) for _ in range(rng.randrange(60))]
    found = place(vertices, edges)  # type: ignore[arg-type]  # pairs
    rows = {name: (s.column, y) for s in found.stands for name, y in s.rows}
    assert set(rows) == {v.id for v in vertices}
    for i, (a, b) in enumerate(edges):
        chain = sorted((p for p in found.pieces if p.edge == i), key=lambda p: p.column)
        first, last = (b, a) if i in found.turned else (a, b)
        assert (chain[0].a, chain[-1].b) == (first, last)
        assert [p.column for p in chain] == list(range(rows[first][0], rows[last][0]))
        assert all(p.y_b == q.y_a for p, q in pairwise(chain))
    for one, two in combinations(found.stands, 2):
        if one.column == two.column:
            assert one.bottom <= two.top or two.bottom <= one.top
    assert all(s.top % GRID == 0 for s in found.stands)
    assert place(vertices, edges) == found  # type: ignore[arg-type]  # pairs


def test_loops_and_edges_to_oneself_are_placed() -> None:
    vertices = [Vertex(id=v, group=v) for v in "abc"]
    found = place(vertices, [("a", "b"), ("b", "c"), ("c", "a"), ("b", "b")])
    assert len(found.turned) == 2
    assert {p.edge for p in found.pieces} == {0, 1, 2}
    assert place([], []).stands == ()
