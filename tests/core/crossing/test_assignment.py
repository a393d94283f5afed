"""The sparse assignment is as good as trying everything."""

from __future__ import annotations

from itertools import permutations

import pytest
import scipy.optimize  # noqa: F401  (loaded before the clock of the first example runs)
from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.crossing import assignment
from pinmap.core.crossing.assignment import Edge, Place, assign

SIZES = st.lists(st.integers(1, 2), min_size=1, max_size=3)
GAINS = st.lists(st.integers(0, 99), min_size=9, max_size=9)


def best_by_trying(rows: list[int], columns: list[int], gain: dict[tuple[int, int], float]) -> float:
    members_a = [i for i, size in enumerate(rows) for _ in range(size)]
    members_b: list[int | None] = [j for j, size in enumerate(columns) for _ in range(size)]
    padded = members_b + [None] * len(members_a)
    return max(
        sum(gain.get((i, j), 0.0) for i, j in zip(members_a, order, strict=True) if j is not None)
        for order in set(permutations(padded, len(members_a)))
    )


def total(places: list[Place], gain: dict[tuple[int, int], float]) -> float:
    assert len({(i, n) for i, n, _, _ in places}) == len({(j, m) for _, _, j, m in places}) == len(places)
    return sum(gain[i, j] for i, _, j, _ in places)


@pytest.mark.parametrize("expanded_max", [0, 10_000])
@given(SIZES, SIZES, GAINS)
def test_nothing_better_exists(expanded_max: int, rows: list[int], columns: list[int], gains: list[int]) -> None:
    gain = {(i, j): gains[3 * i + j] / 100 for i in range(len(rows)) for j in range(len(columns)) if gains[3 * i + j]}
    edges: list[Edge] = [(i, j, g) for (i, j), g in gain.items()]
    if not edges:
        return
    touched_a, touched_b = {i for i, _ in gain}, {j for _, j in gain}
    of_rows = {i: rows[i] for i in sorted(touched_a)}
    of_columns = {j: columns[j] for j in sorted(touched_b)}
    method = assignment._by_members if expanded_max else assignment._by_classes
    assert total(method(of_rows, of_columns, edges), gain) == pytest.approx(
        best_by_trying(rows, columns, gain), abs=1e-4
    )


def test_members_that_are_alike_meet_by_rank() -> None:
    assert assign({0: 3}, {0: 2}, [(0, 0, 0.6)]) == [(0, 0, 0, 0), (0, 1, 0, 1)]
