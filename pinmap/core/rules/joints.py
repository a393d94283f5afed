"""The rule about joints: what a contact, a ring, a crimp or a closed switch may take."""

from __future__ import annotations

from collections.abc import Iterator

from pinmap.core.electrics.joints import JointState, joint_states
from pinmap.core.facts.constants import SMALL_JOINT_DROP_V
from pinmap.core.model.words import Severity
from pinmap.core.rules import workings
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.finding import Working

_WAYS_OUT = {
    "contact": "a terminal family of lower resistance, two cavities side by side, or the load on a relay of its own",
    "ring": "a second ring and wire, or a stud nearer to the load",
    "splice": "share the current among two splices, or feed the load past the splice",
    "switch": "a relay or switch for more current, or two circuits instead of one",
}


@rule(
    "R53",
    Severity.FIX,
    "One joint takes too much",
    explanation="What a joint takes becomes heat in it: it ages, its resistance grows, and it takes more. A meter "
    "across a sound joint shows next to nothing, so this is also what the bench looks for first.",
    limit="0.1 V at a joint that carries much current, 0.3 V at a contact of a switch or relay, 0.05 V at a joint of "
    "wires up to 1 mm² (a note), 0.5 V at any joint while cranking",
    source="SAE as quoted in workshop manuals; cranking by common practice",
)
def joint_drop(context: Context) -> Iterator[Hit]:
    worst: dict[tuple[str, ...], JointState] = {}
    for state in joint_states(context.snapshot, context.variant, context.routing, context.report):
        before = worst.get(state.joint.refs)
        if state.broken and (before is None or state.drop_v / state.limit.value > before.drop_v / before.limit.value):
            worst[state.joint.refs] = state
    for state in worst.values():
        joint = state.joint
        yield Hit(
            where=(joint.label, f"case {state.case.name}"),
            refs=joint.refs,
            severity=Severity.NOTE if state.limit is SMALL_JOINT_DROP_V else None,
            numbers=(
                ("lost in the joint", state.drop_v, state.limit.value, "V"),
                ("current through it", state.current_a, None, "A"),
            ),
            why=f"{state.current_a:.3g} A lose {1000 * state.drop_v:.0f} mV in {joint.label} in the case "
            f"{state.case.name}",
            way_out=_WAYS_OUT[joint.kind],
            source=state.limit.source,
            workings=(
                Working(
                    what="lost in the joint",
                    formula="U = I · R",
                    inputs=(
                        ("current", f"{state.current_a:.4g} A"),
                        ("resistance", f"{1000 * joint.ohm:.3g} mΩ ({joint.ohm_from})"),
                        ("thinnest wire at it", f"{joint.mm2:g} mm²"),
                        ("limit", f"{state.limit.value:g} V"),
                    ),
                    source=state.limit.source,
                ),
                workings.current("current through it", f"{state.case.name}, {state.case.supply_v:g} V"),
            ),
        )
