"""Where the splices of one net sit, how many there are, and which wires meet in each, at the least cost.

The cost is the mass of copper of all wires plus a price in copper for each splice. Every end has a wire of its own
size. A wire between two splices, a trunk, parts the ends in two groups; it is as large as the smaller of what the wires
of either group add up to, and never larger than ``cap_mm2``, rounded up to stock.

Exact by the dynamic programme of Dreyfus and Wagner ("The Steiner problem in graphs", Networks 1, 1971) over sets of
ends: every net of wires and splices, seen from its first end, is a tree in which each wire gathers a set of ends, and
its size depends on that set alone. This holds on trees and on graphs with loops alike. Where one splice is as good as
the least that two could cost, or a bound that any net must pay is met, nothing is searched. Beyond ``MOST_ENDS`` ends
that no bound settles, the best of several heuristics stands, and says that it is not proven.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from pinmap.core.loom.splice_task import (
    COPPER_G,
    HAIR,
    SplicePlan,
    SpliceTask,
    measured,
    obeys,
    star,
    trunk_sizes,
)
from pinmap.core.loom.splices_large import large_splices
from pinmap.core.loom.splices_limited import search_limited

MOST_ENDS = 10  # searched exactly without a limit on splices; and MOST_LIMITED with one
MOST_LIMITED = 8


def best_splices(task: SpliceTask) -> SplicePlan:
    """The plan of least cost within the limits. Three ends or more. Where the limits cannot all be met, as many
    splices are taken as the limit on wires per splice asks for."""
    ends = len(task.mm2)
    task = feasible(task)
    one = star(task)
    single = not task.max_wires or ends <= task.max_wires
    if single and (ends == 3 or task.max_splices == 1 or _one_is_best(task, one)):
        return replace(one, proven=True)
    if ends > MOST_ENDS:
        return large_splices(task, one)
    kept = _useful_places(task, one) if single else np.arange(task.to_place.shape[1])
    plan = _search(task, kept)
    if obeys(task, plan):
        return plan
    if ends > MOST_LIMITED:
        return large_splices(task, one)
    return search_limited(task)


def feasible(task: SpliceTask) -> SpliceTask:
    """The task with its limits made to fit each other: a splice takes three wires at least, and so many splices are
    allowed as that limit asks for."""
    most = task.max_wires and max(task.max_wires, 3)
    splices = task.max_splices
    if most and splices:
        splices = max(splices, math.ceil((len(task.mm2) - 2) / (most - 2)))
    return task if (most, splices) == (task.max_wires, task.max_splices) else replace(
        task, max_wires=most, max_splices=splices
    )  # fmt: skip


def _one_is_best(task: SpliceTask, one: SplicePlan) -> bool:
    """Two splices or more pay for two, and for copper between the ends that lie farthest apart."""
    spare = one.copper_g - task.splice_cost_g
    if spare <= COPPER_G * min(min(task.mm2), task.cap_mm2) * float(task.apart.max()) + HAIR:
        return True
    return len(task.mm2) > 5 and spare <= task.least_copper_g() + HAIR


def _useful_places(task: SpliceTask, one: SplicePlan) -> NDArray[np.intp]:
    """Places that a net no dearer than ``one`` can use: wires that join two ends and the place are as long as half
    their distances together, and none is thinner than the thinnest."""
    least = COPPER_G * min(min(task.mm2), task.cap_mm2)
    half = (task.to_place[:, None, :] + task.to_place[None, :, :] + task.apart[:, :, None]).max(axis=(0, 1)) / 2
    return np.flatnonzero(least * half + task.splice_cost_g <= one.cost_g + HAIR)


# The search. Ends but the first are bits of a set; places are columns.


@dataclass(frozen=True)
class _Sets:
    """All sets of n bits by size; each with every way to part it in two, the part with its lowest bit first."""

    by_size: tuple[NDArray[np.intp], ...]  # size -> sets, shape (k,)
    first: tuple[NDArray[np.intp], ...]  # size -> first parts, shape (k, ways)
    second: tuple[NDArray[np.intp], ...]


@cache
def _sets(n: int) -> _Sets:
    by_size: list[list[int]] = [[] for _ in range(n + 1)]
    for s in range(1 << n):
        by_size[s.bit_count()].append(s)
    first, second = [], []
    for sets in by_size:
        ones, twos = [], []
        for s in sets:
            low = s & -s
            rest = s ^ low
            parts, part = [], rest
            while part:  # every subset of the rest but the whole, together with the lowest bit
                part = (part - 1) & rest
                parts.append(part | low)
            ones.append(parts)
            twos.append([s ^ p for p in parts])
        first.append(np.array(ones, dtype=np.intp).reshape(len(sets), -1))
        second.append(np.array(twos, dtype=np.intp).reshape(len(sets), -1))
    return _Sets(tuple(np.array(x, dtype=np.intp) for x in by_size), tuple(first), tuple(second))


def _search(task: SpliceTask, kept: NDArray[np.intp]) -> SplicePlan:
    """The best plan over these places without a limit on splices or wires."""
    n, splice_g = len(task.mm2) - 1, task.splice_cost_g
    gram = COPPER_G * trunk_sizes(task)  # a metre of each set's wire
    between = task.between(kept, kept)
    count = len(kept)
    whole = (1 << n) - 1
    gathered = np.empty((1 << n, count))  # the set's one wire ends here
    meeting = np.full((1 << n, count), math.inf)  # the set's wires, two or more, end here
    reached = np.empty((1 << n, count))  # one or more
    ones = 1 << np.arange(n)
    gathered[ones] = gram[ones, None] * task.to_place[1:][:, kept]
    reached[ones] = gathered[ones]
    sets = _sets(n)
    for size in range(2, n + 1):
        these = sets.by_size[size]
        first, second = sets.first[size], sets.second[size]
        step = max(1, 4_000_000 // (count * max(count, first.shape[1])))
        for i in range(0, len(these), step):
            some = these[i : i + step]
            met = (gathered[first[i : i + step]] + reached[second[i : i + step]]).min(axis=1)
            meeting[some] = met
            if size < n:
                wires = gram[some, None, None] * between
                wires += (met + splice_g)[:, :, None]
                gathered[some] = wires.min(axis=1)
                reached[some] = np.minimum(met, gathered[some])
    root = COPPER_G * task.mm2[0] * task.to_place[0, kept]
    total = meeting[whole] + root
    last = int(np.flatnonzero(total <= total.min() + HAIR)[0])
    # Back along the choices.
    places: list[int] = []
    joints: list[tuple[int, int]] = []

    def splice(s: int, at: int) -> int:
        me = n + 1 + len(places)
        places.append(int(kept[at]))
        while True:
            k = int(s).bit_count()
            row = int(np.searchsorted(sets.by_size[k], s))
            ones, twos = sets.first[k][row], sets.second[k][row]
            way = int(np.argmin(gathered[ones, at] + reached[twos, at]))
            part, rest = int(ones[way]), int(twos[way])
            wire(part, at, me)
            if rest.bit_count() == 1 or gathered[rest, at] <= meeting[rest, at]:
                wire(rest, at, me)
                return me
            s = rest

    def wire(s: int, at: int, to: int) -> None:
        if s.bit_count() == 1:
            joints.append((s.bit_length(), to))
        else:
            begin = int(np.argmin(meeting[s] + splice_g + gram[s] * between[:, at]))
            joints.append((splice(s, begin), to))

    joints.append((0, splice(whole, last)))
    return measured(task, tuple(places), tuple(joints), proven=True)
