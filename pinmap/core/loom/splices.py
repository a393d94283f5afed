"""Where the splices of a net sit, how many there are, and which wires meet in each, at the least cost.

The cost is the mass of copper of all wires plus a price in copper for each splice. Every end has a wire of its own
size. A wire between two splices, a trunk, parts the ends in two groups; it is as large as the smaller of what the wires
of either group add up to, and never larger than the net's cap, rounded up to stock.

Every net of wires and splices, seen from its first end, is a tree in which each wire gathers a set of ends, and its
size depends on that set alone, so that the search over sets of ends (``splices_search``) is exact, on trees and on
graphs with loops alike. Where one splice is as good as the least that two could cost, or a bound that any net must pay
is met, nothing is searched. Beyond ``MOST_ENDS`` ends that no bound settles, the best of several heuristics stands, and
says that it is not proven.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pinmap.core.loom.splice_nets import SpliceNets
from pinmap.core.loom.splice_task import COPPER_G, HAIR, SplicePlan, obeys
from pinmap.core.loom.splices_large import large_splices
from pinmap.core.loom.splices_limited import search_limited
from pinmap.core.loom.splices_search import search
from pinmap.core.loom.stations import Floats

MOST_ENDS = 10  # searched exactly without a limit on splices; and MOST_LIMITED with one
MOST_LIMITED = 8


def best_splices(nets: SpliceNets) -> list[SplicePlan]:
    """Of each net the plan of least cost within the limits, its places by column. Three ends or more. Where the limits
    cannot all be met, as many splices are taken as the limit on wires per splice asks for."""
    nets = replace(nets, limits=nets.limits.fitting(nets.ends))
    limits, ends = nets.limits, nets.ends
    column, copper_g = nets.one_splice()
    single = not limits.max_wires or ends <= limits.max_wires
    if single and (ends == 3 or limits.max_splices == 1):
        settled = np.ones(nets.count, dtype=np.bool_)
    else:
        settled = _one_is_best(nets, copper_g) & single
    found: dict[int, SplicePlan] = {}
    which = np.flatnonzero(settled)
    found.update(zip(which.tolist(), nets.stars(which, column[which]), strict=True))
    which = np.flatnonzero(~settled)
    if ends > MOST_ENDS:
        found.update((i, _by_itself(nets, i)) for i in which.tolist())
    elif len(which):
        for i, plan in zip(which.tolist(), search(nets.take(which)), strict=True):
            found[i] = plan if obeys(limits, ends, plan) else _by_itself(nets, i)
    return [found[i] for i in range(nets.count)]


def _one_is_best(nets: SpliceNets, copper_g: Floats) -> NDArray[np.bool_]:
    """Two splices or more pay for two, and for copper between the ends that lie farthest apart."""
    spare = copper_g - nets.limits.splice_cost_g
    best: NDArray[np.bool_] = spare <= COPPER_G * np.minimum(nets.mm2.min(axis=0), nets.cap_mm2) * nets.widest + HAIR
    if nets.ends > 5:
        best |= spare <= nets.least_copper_g() + HAIR
    return best


def _by_itself(nets: SpliceNets, net: int) -> SplicePlan:
    """One net whose limits bind or whose ends are many."""
    columns = nets.columns(net)
    task = nets.task(net, columns)
    plan = large_splices(task) if nets.ends > MOST_LIMITED else search_limited(task)
    return replace(plan, places=tuple(int(columns[p]) for p in plan.places))
