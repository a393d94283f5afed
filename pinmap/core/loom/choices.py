"""What the ways in which a signal's ends may meet would cost."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.facts.constants import COPPER_G_PER_CM3
from pinmap.core.loom.joints import plan_joint
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
    asked = list(job.joints())
    choices = []
    for joint in Joint if asked else ():
        plans = [plan_joint(graph, router.practice, ends, joint) for _, graph, ends in asked]
        links = [link for plan, (_, graph, _) in zip(plans, asked, strict=True) for link in plan.links(graph)]
        copper_g = COPPER_G_PER_CM3.value * sum(link.mm2 * link.way.length_m for link in links)
        remarks = [(p.why_not, p.waived, "" if p.proven else "not proven to be the least") for p in plans]
        choices.append(
            JointChoice(
                joint=joint,
                wires=len(links),
                splices=sum(len(p.splices) for p in plans),
                copper_m=sum(link.way.length_m for link in links),
                copper_g=copper_g,
                cost_g=copper_g + sum(p.splice_cost_g * len(p.splices) for p in plans),
                remark="; ".join(dict.fromkeys(text for texts in remarks for text in texts if text)),
            )
        )
    return tuple(choices)
