"""What the ways in which a signal's ends may meet would cost."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.loom.joints import JointPlan, plan_joint
from pinmap.core.loom.route import Router
from pinmap.core.loom.route_signal import SignalRouter
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.words import Joint


@dataclass(frozen=True, slots=True, kw_only=True)
class JointChoice:
    """One way, over all nets of the signal that have three ends or more. Copper is that of the runs alone; ``cost_g``
    adds what the splices are worth. ``remark`` says why it cannot be built, which limit is not kept, or that no proof
    was found that nothing costs less."""

    joint: Joint
    wires: int
    splices: int
    copper_m: float
    copper_g: float
    cost_g: float
    remark: str


def joint_choices(snapshot: Snapshot, variant: Variant, signal: str) -> tuple[JointChoice, ...]:
    """Splices, daisy chain and double crimp beside each other; empty where no net of the signal has three ends with a
    place, or all of them meet on a stud. Raises StructureError as ``route`` does."""
    router = Router(snapshot, variant, None)
    router.route_noisy()
    job = SignalRouter(router, snapshot.signal[signal])
    plans: dict[Joint, list[JointPlan]] = {joint: [] for joint in Joint}
    for net in router.nets.get(signal, ()):
        spots = job.spots(net)
        if len(spots) < 3 or any(job.is_stud(s.end) for s in spots):
            continue
        graph = job.led_graph(net)
        ends = job.net_ends(graph, net, spots)
        for joint, found in plans.items():
            found.append(plan_joint(graph, router.practice, ends, joint))
    return tuple(
        JointChoice(
            joint=joint,
            wires=sum(len(p.links) for p in found),
            splices=sum(len(p.splices) for p in found),
            copper_m=sum(p.copper_m for p in found),
            copper_g=sum(p.copper_g for p in found),
            cost_g=sum(p.cost_g for p in found),
            remark="; ".join(
                dict.fromkeys(
                    text
                    for p in found
                    for text in (p.why_not, p.waived, "" if p.proven else "not proven to be the least")
                    if text
                )
            ),
        )
        for joint, found in plans.items()
        if found
    )
