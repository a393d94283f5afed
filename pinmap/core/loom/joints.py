"""How three and more ends of a net meet: in splices, in a daisy chain, in one terminal; and what each costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from pinmap.core.loom.end_to_end import daisy_chain, double_crimp
from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.splice_nets import SpliceNets
from pinmap.core.loom.splice_task import Joints, SpliceLimits
from pinmap.core.loom.splices import best_splices
from pinmap.core.loom.stations import Floats, SplicePlace, Way
from pinmap.core.model.jobs import Practice
from pinmap.core.model.words import Joint

CRIMP_WIRES = 2  # in one terminal, common practice
_NO_PLACE = "no dry, still place clear of connectors can be reached"
_NO_JUNCTION = "there is no place outside a connector"


class Link(NamedTuple):
    """One wire, from end or splice ``a`` to ``b``. Ends are numbered from 0 as they come, splices on from there."""

    a: int
    b: int
    mm2: float
    way: Way


@dataclass(frozen=True, slots=True)
class JointPlan:
    """The wires and splices of one net, whose ends lie at these ``nodes`` of the loom. ``joints`` are wires as in
    ``Link``, ``mm2`` their sizes. ``why_not`` is "" where it can be built; ``waived``: see ``Splice``."""

    joint: Joint
    nodes: tuple[int, ...]
    joints: Joints
    mm2: tuple[float, ...]
    splices: tuple[SplicePlace, ...] = ()
    splice_cost_g: float = 0.0
    proven: bool = True
    waived: str = ""
    why_not: str = ""

    def links(self, graph: LoomGraph) -> list[Link]:
        points = [*(graph.station[n] for n in self.nodes), *(s.station for s in self.splices)]
        return [
            Link(a, b, mm2, graph.way(points[a], points[b]))
            for (a, b), mm2 in zip(self.joints, self.mm2, strict=True)
        ]  # fmt: skip


class NetEnds(NamedTuple):
    """What a joint is planned for: the loom's ``nodes`` where the ends are, by index, and the ``mm2`` of their wires.
    ``names`` tells ends of one place and size apart, so that their order in the net changes nothing. ``cap_mm2``: no
    trunk need be larger."""

    nodes: tuple[int, ...]
    mm2: tuple[float, ...]
    names: tuple[str, ...]
    cap_mm2: float = math.inf


_Asked: TypeAlias = tuple[tuple[int, ...], tuple[float, ...], float]  # nodes, sizes, cap; ends in a lasting order


def plan_joints(graph: LoomGraph, practice: Practice, nets: Sequence[NetEnds], joint: Joint) -> list[JointPlan]:
    """For each net the least costly wires that join its three or more ends in this way. All ends of a net must be in
    one piece of the graph. Remembered by the graph: many nets of a job join the same places with the same wires.
    ``practice`` is the graph's own."""
    orders, asked = [], list[_Asked]()
    for net in nets:
        ends = sorted(zip(net.nodes, net.mm2, net.names, range(len(net.nodes)), strict=True))
        nodes, mm2, _, order = zip(*ends, strict=True)
        orders.append(order)
        asked.append((nodes, mm2, net.cap_mm2))
    new = [a for a in dict.fromkeys(asked) if (joint, a) not in graph.plans]
    if joint is Joint.SPLICE:
        for count in sorted({len(nodes) for nodes, _, _ in new}, reverse=True):
            same = [a for a in new if len(a[0]) == count]
            graph.plans.update(
                ((joint, a), plan) for a, plan in zip(same, _spliced(graph, practice, same), strict=True)
            )
    else:
        graph.plans.update(((joint, a), _end_to_end(graph, practice, a, joint)) for a in new)
    return [_named(graph.plans[joint, a], order) for a, order in zip(asked, orders, strict=True)]


def plan_joint(graph: LoomGraph, practice: Practice, ends: NetEnds, joint: Joint) -> JointPlan:
    """``plan_joints`` of one net."""
    return plan_joints(graph, practice, [ends], joint)[0]


def _named(plan: JointPlan, order: Sequence[int]) -> JointPlan:
    """The plan with its ends numbered by this order."""
    count = len(order)
    back = [*order, *range(count, count + len(plan.splices))]
    nodes = [0] * count
    for i, node in zip(order, plan.nodes, strict=True):
        nodes[i] = node
    joints = tuple([(back[a], back[b]) for a, b in plan.joints])
    return JointPlan(plan.joint, tuple(nodes), joints, plan.mm2, plan.splices, plan.splice_cost_g, plan.proven,
                     plan.waived, plan.why_not)  # fmt: skip


def _end_to_end(graph: LoomGraph, practice: Practice, asked: _Asked, joint: Joint) -> JointPlan:
    nodes, mm2, cap_mm2 = asked
    spots = graph.spots.take(np.array(nodes))
    apart = graph.matrix(spots, spots)
    if joint is Joint.CHAIN:
        found = daisy_chain(apart, mm2, cap_mm2, practice.stock_mm2)
        return JointPlan(joint, nodes, found.joints, found.mm2, proven=found.proven)
    found = double_crimp(apart, mm2)
    wires = len(found.joints)
    why = f"{wires} wires in one terminal; {CRIMP_WIRES} are the most" if wires > CRIMP_WIRES else ""
    return JointPlan(joint, nodes, found.joints, found.mm2, why_not=why)


# Splices


def _spliced(graph: LoomGraph, practice: Practice, asked: Sequence[_Asked]) -> list[JointPlan]:
    """The best splices of nets of equally many ends."""
    nets, waived = _nets(graph, practice, asked)
    most = practice.max_splices
    out = []
    for i, ((nodes, _, _), plan) in enumerate(zip(asked, best_splices(nets), strict=True)):
        splices = tuple([_place(graph, nets, i, column) for column in plan.places])
        why = waived[i]
        if most and len(splices) > most:
            why = why or f"{len(splices)} splices, for one takes {practice.max_splice_wires} wires at most"
        out.append(
            JointPlan(Joint.SPLICE, nodes, plan.joints, plan.mm2, splices, practice.splice_cost_g, plan.proven, why)
        )
    return out


def _place(graph: LoomGraph, nets: SpliceNets, net: int, column: int) -> SplicePlace:
    slot = column - nets.graph.size
    return graph.place_at(column) if slot < 0 else graph.leaf_place(int(nets.slot_leaf[slot, net]))


def _is_heavy(mm2: Floats, cap_mm2: Floats) -> NDArray[np.bool_]:
    """Ends for which a splice in the run of their own end node can be better than at that run's beginning: their wire
    is heavier than the two wires, or more, that would run there instead."""
    heavy: NDArray[np.bool_] = mm2 > 2 * np.minimum(mm2.min(axis=0), cap_mm2)
    return heavy


def _nets(graph: LoomGraph, practice: Practice, asked: Sequence[_Asked]) -> tuple[SpliceNets, list[str]]:
    """The nets as arrays, and what was waived of each where no place obeys the rules."""
    spots = graph.spots.take(np.array([nodes for nodes, _, _ in asked], dtype=np.intp).T)
    mm2 = np.array([sizes for _, sizes, _ in asked]).T
    cap_mm2 = np.array([cap for _, _, cap in asked])
    every = np.arange(len(asked))
    may = np.repeat(graph.is_worthy[:, None], len(asked), axis=1)
    is_own = np.zeros_like(may)
    is_own[spots.core, every] = True
    may |= is_own & graph.is_place[:, None]
    first = np.array([(spots.leaf[:end] != leaf).all(axis=0) for end, leaf in enumerate(spots.leaf)])
    first &= spots.leaf >= 0
    out_w = np.where(first, graph.leaf_place_m[spots.leaf], math.inf)
    shared = np.array([(spots.leaf == leaf).sum(axis=0) > 1 for leaf in spots.leaf])
    out_w[graph.is_place[spots.core] & ~shared & ~_is_heavy(mm2, cap_mm2)] = math.inf

    waived = [""] * len(asked)
    reached = may & np.isfinite(graph.core.distance[:, spots.core[0]])
    for net in np.flatnonzero(~reached.any(axis=0) & np.isinf(out_w).all(axis=0)).tolist():
        waived[net] = _NO_PLACE
        may[:, net] = graph.is_junction
        if not (graph.is_junction & np.isfinite(graph.core.distance[:, spots.core[0, net]])).any():
            waived[net] = _NO_JUNCTION
            if spots.leaf[0, net] < 0:
                may[spots.core[0, net], net] = True
            else:
                out_w[0, net] = spots.out_w[0, net]
    slots = int(np.isfinite(out_w).sum(axis=0).max())
    slot_end = np.argsort(np.isinf(out_w), axis=0, kind="stable")[:slots]
    nets = SpliceNets(
        graph=graph.core,
        limits=SpliceLimits(
            practice.stock_mm2, practice.splice_cost_g, practice.max_splices, practice.max_splice_wires
        ),
        at=spots.core,
        leaf=spots.leaf,
        out_w=spots.out_w,
        mm2=mm2,
        cap_mm2=cap_mm2,
        may=may,
        slot_end=slot_end,
        slot_w=np.take_along_axis(out_w, slot_end, axis=0),
    )  # fmt: skip
    return nets, waived
