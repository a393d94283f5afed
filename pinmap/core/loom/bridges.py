"""Runs that are the only way between two parts of a graph (R. E. Tarjan, "A note on finding the bridges of a graph",
Information Processing Letters 2, 1974)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Bridges(NamedTuple):
    """The two nodes of each bridge, shape (k,) each, and which nodes lie beyond it, on the side of ``far``, shape
    (k, nodes)."""

    near: NDArray[np.intp]
    far: NDArray[np.intp]
    beyond: NDArray[np.bool_]


def bridges(neighbours: Sequence[Sequence[int]]) -> Bridges:
    """Bridges of a graph without double edges, given by the neighbours of each node."""
    size = len(neighbours)
    entered, low, last, parent = [-1] * size, [0] * size, [0] * size, [-1] * size
    order: list[int] = []

    def enter(node: int) -> tuple[int, Iterator[int]]:
        entered[node] = low[node] = len(order)
        order.append(node)
        return node, iter(neighbours[node])

    for root in range(size):
        stack = [enter(root)] if entered[root] < 0 else []
        while stack:
            here, rest = stack[-1]
            for there in rest:
                if entered[there] < 0:
                    parent[there] = here
                    stack.append(enter(there))
                    break
                if there != parent[here]:
                    low[here] = min(low[here], entered[there])
            else:
                stack.pop()
                last[here] = len(order) - 1
                if parent[here] >= 0:
                    low[parent[here]] = min(low[parent[here]], low[here])
    far = np.array([v for v in order if parent[v] >= 0 and low[v] > entered[parent[v]]], dtype=np.intp)
    at, until = np.array(entered, dtype=np.intp), np.array(last, dtype=np.intp)
    beyond = (at >= at[far, None]) & (at <= until[far, None])
    return Bridges(np.array(parent, dtype=np.intp)[far], far, beyond)
