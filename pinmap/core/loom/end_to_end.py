"""Ends of a net joined without splices, in a daisy chain or in one terminal; see ``joints``."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from pinmap.core.facts.conductors import next_size
from pinmap.core.loom.splice_task import Joints
from pinmap.core.loom.stations import Floats

_CHAIN_EXACT = 10


class EndToEnd(NamedTuple):
    """Wires from end to end, the size of each, and whether none cost less."""

    joints: Joints
    mm2: tuple[float, ...]
    proven: bool


def daisy_chain(apart: Floats, mm2: tuple[float, ...], cap_mm2: float, stock_mm2: tuple[float, ...]) -> EndToEnd:
    """A wire from end to end, in the order that needs the least copper: exact up to ten ends (M. Held and R. M. Karp,
    1962), else from each end to the nearest one left, the best of all beginnings. ``apart``: metres between ends."""
    exact = len(mm2) <= _CHAIN_EXACT
    metres = apart.tolist()
    order = _exact_order(metres, mm2, cap_mm2, stock_mm2) if exact else _near_order(metres)
    sizes, gathered = [], 0.0
    for end in order[:-1]:
        gathered += mm2[end]
        sizes.append(_trunk(mm2, cap_mm2, stock_mm2, gathered))
    return EndToEnd(tuple(pairwise(order)), tuple(sizes), exact)


def double_crimp(apart: Floats, mm2: tuple[float, ...]) -> EndToEnd:
    """All wires in the terminal of one end, of which the copper is least."""
    copper = np.array(mm2) @ apart
    hub = int(np.flatnonzero(copper <= copper.min() + 1e-6)[0])
    others = [i for i in range(len(mm2)) if i != hub]
    return EndToEnd(tuple((i, hub) for i in others), tuple(mm2[i] for i in others), True)


def _trunk(mm2: tuple[float, ...], cap_mm2: float, stock_mm2: tuple[float, ...], gathered_mm2: float) -> float:
    return next_size(min(gathered_mm2, sum(mm2) - gathered_mm2, cap_mm2), stock_mm2)


def _exact_order(
    apart: list[list[float]], mm2: tuple[float, ...], cap_mm2: float, stock_mm2: tuple[float, ...]
) -> list[int]:
    count = len(mm2)
    size = [_trunk(mm2, cap_mm2, stock_mm2, sum(m for i, m in enumerate(mm2) if s >> i & 1)) for s in range(1 << count)]
    best: dict[tuple[int, int], tuple[float, int]] = {(1 << i, i): (0.0, -1) for i in range(count)}
    for s in range(1, 1 << count):
        for last in range(count):
            if (s, last) not in best:
                continue
            cost = best[s, last][0]
            for there in range(count):
                if s >> there & 1:
                    continue
                grown, dearer = s | 1 << there, cost + size[s] * apart[last][there]
                if dearer < best.get((grown, there), (math.inf, 0))[0] - 1e-12:
                    best[grown, there] = (dearer, last)
    s = (1 << count) - 1
    here = min(range(count), key=lambda i: best[s, i][0])
    order = []
    while here >= 0:
        order.append(here)
        before = best[s, here][1]
        s, here = s ^ (1 << here), before
    return order


def _near_order(apart: list[list[float]]) -> list[int]:
    found: list[tuple[float, list[int]]] = []
    for first in range(len(apart)):
        order, left, length = [first], set(range(len(apart))) - {first}, 0.0
        while left:
            there = min(left, key=lambda i: (apart[order[-1]][i], i))
            length += apart[order[-1]][there]
            order.append(there)
            left.remove(there)
        found.append((length, order))
    return min(found)[1]
