"""How three and more ends of a net meet: in splices, in a daisy chain, in one terminal; and what each costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from pinmap.core.facts.conductors import next_size
from pinmap.core.facts.constants import COPPER_G_PER_CM3
from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.splice_task import Joints, SpliceTask
from pinmap.core.loom.splices import best_splices
from pinmap.core.loom.splices_large import tidy
from pinmap.core.loom.stations import Floats, Ints, SplicePlace, Spots, Station, Way
from pinmap.core.model.jobs import Practice
from pinmap.core.model.words import Joint

CRIMP_WIRES = 2  # in one terminal, common practice
_CHAIN_EXACT = 10


class Link(NamedTuple):
    """One wire, from end or splice ``a`` to ``b``. Ends are numbered from 0 as they come, splices on from there."""

    a: int
    b: int
    mm2: float
    way: Way


@dataclass(frozen=True, slots=True)
class JointPlan:
    """The wires and splices of one net. ``why_not`` is "" where it can be built; ``waived``: see ``Splice``."""

    joint: Joint
    links: tuple[Link, ...]
    splices: tuple[SplicePlace, ...] = ()
    splice_cost_g: float = 0.0
    proven: bool = True
    waived: str = ""
    why_not: str = ""

    @property
    def copper_m(self) -> float:
        return sum(link.way.length_m for link in self.links)

    @property
    def copper_g(self) -> float:
        return COPPER_G_PER_CM3.value * sum(link.mm2 * link.way.length_m for link in self.links)

    @property
    def cost_g(self) -> float:
        """Copper and splices, in grams of copper."""
        return self.copper_g + self.splice_cost_g * len(self.splices)


class NetEnds(NamedTuple):
    """What a joint is planned for. ``names`` tells ends of one place and size apart, so that their order in the net
    changes nothing. ``cap_mm2``: no trunk need be larger."""

    stations: tuple[Station, ...]
    mm2: tuple[float, ...]
    names: tuple[str, ...]
    cap_mm2: float = math.inf


def plan_joint(graph: LoomGraph, practice: Practice, ends: NetEnds, joint: Joint) -> JointPlan:
    """The least costly wires that join three or more ends in this way. All ends must be in one piece of the graph.
    Remembered by the graph: many nets of a job join the same places with the same wires. ``practice`` is the graph's
    own."""
    order = sorted(range(len(ends.mm2)), key=lambda i: (ends.stations[i], ends.mm2[i], ends.names[i]))
    stations = [ends.stations[i] for i in order]
    mm2 = tuple(ends.mm2[i] for i in order)
    asked = (joint, tuple(stations), mm2, ends.cap_mm2)
    plan = graph.plans.get(asked)
    if plan is None:
        plan = graph.plans[asked] = _planned(graph, practice, stations, mm2, ends.cap_mm2, joint)
    count = len(order)
    back = [*order, *range(count, count + len(plan.splices))]
    links = tuple(Link(back[x.a], back[x.b], x.mm2, x.way) for x in plan.links)
    return JointPlan(plan.joint, links, plan.splices, plan.splice_cost_g, plan.proven, plan.waived, plan.why_not)


def _planned(
    graph: LoomGraph, practice: Practice, stations: list[Station], mm2: tuple[float, ...], cap_mm2: float, joint: Joint
) -> JointPlan:
    if joint is Joint.SPLICE:
        return _spliced(graph, practice, stations, mm2, cap_mm2)
    if joint is Joint.CHAIN:
        return _chained(graph, practice, stations, mm2, cap_mm2)
    return _crimped(graph, stations, mm2)


# Splices


def _spliced(
    graph: LoomGraph, practice: Practice, stations: list[Station], mm2: tuple[float, ...], cap_mm2: float
) -> JointPlan:
    found, waived = graph.places_for(stations)
    ends, spots = Spots.of(stations), Spots.of([p.station for p in found])

    def between(p: Ints, q: Ints) -> Floats:
        return graph.matrix(spots.take(p), spots.take(q))

    task = SpliceTask(
        mm2=mm2,
        to_place=graph.matrix(ends, spots),
        between=between,
        apart=graph.matrix(ends, ends),
        cap_mm2=cap_mm2,
        stock_mm2=practice.stock_mm2,
        splice_cost_g=practice.splice_cost_g,
        max_splices=practice.max_splices,
        max_wires=practice.max_splice_wires,
        least_copper_g=lambda: _least_copper_g(graph, stations, mm2, cap_mm2),
        guesses=lambda: _steiner(graph, stations, spots),
    )
    plan = best_splices(task)
    places = tuple(found[i] for i in plan.places)
    points = [*stations, *(p.station for p in places)]
    links = tuple(
        Link(a, b, size, graph.way(points[a], points[b])) for (a, b), size in zip(plan.joints, plan.mm2, strict=True)
    )
    if practice.max_splices and len(places) > practice.max_splices:
        waived = waived or f"{len(places)} splices, for one takes {practice.max_splice_wires} wires at most"
    return JointPlan(Joint.SPLICE, links, places, practice.splice_cost_g, plan.proven, waived)


def _least_copper_g(graph: LoomGraph, stations: Sequence[Station], mm2: tuple[float, ...], cap_mm2: float) -> float:
    """Copper that any net must have: over each run that is the only way, as much as the smaller side or the cap.

    The need of a cut is the least of three that are concave in what a side adds up to, hence symmetric and submodular:
    however the wires over a run are grouped, they add up to no less.
    """
    runs = graph.bridges
    own, total = np.array(mm2), sum(mm2)
    far = runs.beyond[:, [s.core for s in stations]] @ own
    least = float(graph.distance[runs.near, runs.far] @ np.minimum(np.minimum(far, total - far), cap_mm2))
    # Over the run of each end node every wire of its ends goes, or all others' do.
    for leaf in {s.leaf for s in stations if s.leaf >= 0}:
        here = [i for i, s in enumerate(stations) if s.leaf == leaf]
        inside = float(own[here].sum())
        least += stations[here[0]].out_w * min(inside, total - inside, cap_mm2)
    return COPPER_G_PER_CM3.value * least


def _steiner(graph: LoomGraph, stations: Sequence[Station], spots: Spots) -> tuple[tuple[tuple[int, ...], Joints], ...]:
    """The library's approximate Steiner tree of the ends, each of its branches made a splice at the nearest place."""
    if len({s.core for s in stations}) == 1:
        return ()
    import networkx as nx  # imported where it is used: it loads for long

    tree = nx.algorithms.approximation.steiner_tree(graph.as_networkx(), {s.core for s in stations})
    tree.add_nodes_from(s.core for s in stations)
    ends = len(stations)
    number = {core: ends + i for i, core in enumerate(tree.nodes)}
    cores = list(tree.nodes)
    near = graph.matrix(Spots.of([Station(c) for c in cores]), spots).argmin(axis=1)
    joints = [(i, number[s.core]) for i, s in enumerate(stations)]
    joints += [(min(number[a], number[b]), max(number[a], number[b])) for a, b in tree.edges]
    return (tidy(ends, tuple(int(p) for p in near), tuple(joints)),)


# Daisy chain and double crimp


def _trunk(mm2: tuple[float, ...], cap_mm2: float, practice: Practice, gathered_mm2: float) -> float:
    return next_size(min(gathered_mm2, sum(mm2) - gathered_mm2, cap_mm2), practice.stock_mm2)


def _chained(
    graph: LoomGraph, practice: Practice, stations: list[Station], mm2: tuple[float, ...], cap_mm2: float
) -> JointPlan:
    """A wire from end to end, in the order that needs the least copper: exact up to ten ends (M. Held and R. M. Karp,
    1962), else from each end to the nearest one left, the best of all beginnings."""
    count = len(mm2)
    spots = Spots.of(stations)
    apart = graph.matrix(spots, spots).tolist()
    exact = count <= _CHAIN_EXACT
    order = _exact_order(apart, mm2, cap_mm2, practice) if exact else _near_order(apart)
    links, gathered = [], 0.0
    for a, b in pairwise(order):
        gathered += mm2[a]
        size = _trunk(mm2, cap_mm2, practice, gathered)
        links.append(Link(a, b, size, graph.way(stations[a], stations[b])))
    return JointPlan(Joint.CHAIN, tuple(links), proven=exact)


def _exact_order(apart: list[list[float]], mm2: tuple[float, ...], cap_mm2: float, practice: Practice) -> list[int]:
    count = len(mm2)
    size = [_trunk(mm2, cap_mm2, practice, sum(m for i, m in enumerate(mm2) if s >> i & 1)) for s in range(1 << count)]
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


def _crimped(graph: LoomGraph, stations: list[Station], mm2: tuple[float, ...]) -> JointPlan:
    spots = Spots.of(stations)
    copper = np.array(mm2) @ graph.matrix(spots, spots)
    hub = int(np.flatnonzero(copper <= copper.min() + 1e-6)[0])
    links = tuple(Link(i, hub, m, graph.way(stations[i], stations[hub])) for i, m in enumerate(mm2) if i != hub)
    wires = len(links)
    why = f"{wires} wires in one terminal; {CRIMP_WIRES} are the most" if wires > CRIMP_WIRES else ""
    return JointPlan(Joint.CRIMP, links, why_not=why)
