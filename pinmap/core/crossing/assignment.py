"""Assigns members of one set of classes to members of another so that the sum of gains is greatest."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

Edge = tuple[int, int, float]  # row class, column class, gain above 0
Place = tuple[int, int, int, int]  # row class, rank in it, column class, rank in it

_EXPANDED_MAX = 200_000  # pairs of members beyond which classes are matched as wholes first
_RANK_WEIGHT = 1e-7  # far below the last digit of a gain; decides only between members that are alike
_RANK_MAX = 100
_COST_TOP = 2.0  # above every gain, so that every cost stays above 0


def assign(rows: Mapping[int, int], columns: Mapping[int, int], edges: Sequence[Edge]) -> list[Place]:
    """The assignment of greatest total gain; nobody has to have a partner.

    rows and columns give each class's number of members; members of a class are interchangeable and are paired by
    rank where that costs nothing.
    """
    places = sum(rows[i] * columns[j] for i, j, _ in edges)
    return _by_members(rows, columns, edges) if places <= _EXPANDED_MAX else _by_classes(rows, columns, edges)


def _by_members(rows: Mapping[int, int], columns: Mapping[int, int], edges: Sequence[Edge]) -> list[Place]:
    """Sparse matching in which every row also has a partner of its own that gains nothing."""
    # imported where it is used: it loads for long, and the app can start without
    from scipy.sparse import coo_array, csr_array
    from scipy.sparse.csgraph import min_weight_full_bipartite_matching

    row_at = _numbered(rows)
    column_at = _numbered(columns)
    x: list[int] = []
    y: list[int] = []
    cost: list[float] = []
    for i, j, gain in edges:
        for n in range(rows[i]):
            for m in range(columns[j]):
                x.append(row_at[i, n])
                y.append(column_at[j, m])
                cost.append(_COST_TOP - gain + _RANK_WEIGHT * min((n - m) ** 2, _RANK_MAX))
    for n in range(len(row_at)):
        x.append(n)
        y.append(len(column_at) + n)
        cost.append(_COST_TOP)
    matrix = csr_array(coo_array((cost, (x, y)), shape=(len(row_at), len(column_at) + len(row_at))))
    found_rows, found_columns = min_weight_full_bipartite_matching(matrix)
    row_of, column_of = list(row_at), list(column_at)
    return [
        (*row_of[n], *column_of[m])
        for n, m in zip(found_rows.tolist(), found_columns.tolist(), strict=True)
        if m < len(column_of)
    ]


def _numbered(sizes: Mapping[int, int]) -> dict[tuple[int, int], int]:
    members = [(key, n) for key, size in sizes.items() for n in range(size)]
    return {member: n for n, member in enumerate(members)}


def _by_classes(rows: Mapping[int, int], columns: Mapping[int, int], edges: Sequence[Edge]) -> list[Place]:
    """A transport problem between classes, whose solution is whole numbers; members then follow in order of rank."""
    # here for the same reason
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array, csr_array

    row_at = {i: n for n, i in enumerate(rows)}
    column_at = {j: len(rows) + n for n, j in enumerate(columns)}
    indices = [index for i, j, _ in edges for index in (row_at[i], column_at[j])]
    counts = np.repeat(np.arange(len(edges)), 2)
    limits = csr_array(
        coo_array((np.ones(len(indices)), (indices, counts)), shape=(len(rows) + len(columns), len(edges)))
    )
    sizes = np.array([*rows.values(), *columns.values()], dtype=float)
    found = milp(
        np.array([-gain for _, _, gain in edges]),
        constraints=LinearConstraint(limits, -np.inf, sizes),
        bounds=Bounds(0.0, np.inf),
        integrality=np.ones(len(edges), dtype=int),
    )
    if not found.success:
        raise ArithmeticError(f"the assignment has no solution: {found.message}")
    next_row: dict[int, int] = defaultdict(int)
    next_column: dict[int, int] = defaultdict(int)
    out = []
    for (i, j, _), flow in zip(edges, np.rint(found.x).astype(int).tolist(), strict=True):
        for _ in range(flow):
            out.append((i, next_row[i], j, next_column[j]))
            next_row[i] += 1
            next_column[j] += 1
    return out
