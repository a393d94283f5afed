"""Rules about wires: heat, voltage lost, splices, colours."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace

from pinmap.core.electrics.heat_rules import RULE_NAMES, table_limit
from pinmap.core.electrics.results import LoadState, WireState
from pinmap.core.electrics.supply_cases import load_cases
from pinmap.core.facts.conductors import insulations
from pinmap.core.loom.results import Wire
from pinmap.core.model.words import NodeKind, Severity
from pinmap.core.rules import workings
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.finding import Working

_CP = "common practice"
_STEADY_SOURCE = "steady-drop limits after SAE as quoted in workshop manuals; the shop's own practice"
_CABLE_V, _ALWAYS_WRONG_V = 0.2, 1.0


def _thicker(context: Context, wire: str) -> str:
    advice = context.report.advice.get(wire)
    now = context.routing.wire.get(wire)
    if advice is not None and now is not None and advice.mm2 > now.mm2:
        return f"use {advice.mm2:g} mm² ({advice.why})"
    return "use a thicker or shorter wire"


@rule(
    "R14",
    Severity.STOP,
    "Wire hotter than its insulation stands",
    explanation="Each insulation has a highest conductor temperature. Current, the other loaded wires of the bundle "
    "and the air of the zone together decide how hot a wire gets.",
    limit="highest conductor temperature of the insulation, ISO 6722 class; where the job's practice names a standard, "
    "the current of its table",
    source="computed; AC 43.13-1B table 11-9 and ISO 10133 for comparison",
)
def too_hot(context: Context) -> Iterator[Hit]:
    for wire in context.routing.wires:
        states = [s for by_wire in context.report.wires.values() if (s := by_wire.get(wire.id)) is not None]
        limit = insulations().get(wire.insulation)
        if limit is None or not states:
            continue
        hottest = max(states, key=lambda s: s.temp_c)
        by_table = max(states, key=lambda s: 0.0 if s.table_a is None else s.heating_a / max(s.table_a, 1e-9))
        warm = hottest.temp_c > limit.max_temp_c and hottest.ambient_c <= limit.max_temp_c
        if by_table.table_a is not None and by_table.too_hot(limit.max_temp_c):
            yield _over_table(context, wire, by_table)
        elif warm and hottest.table_a is not None:
            yield replace(
                _too_warm(context, wire, hottest),
                severity=Severity.FIX,
                title="The chosen table allows what the heat balance does not",
            )
        elif warm:
            yield _too_warm(context, wire, hottest)


def _too_warm(context: Context, wire: Wire, state: WireState) -> Hit:
    limit, case = insulations()[wire.insulation], context.case_name(state.case)
    return Hit(
        where=(f"wire {wire.id}", context.signal_words(wire.signal)),
        refs=(f"wire:{wire.id}",),
        numbers=(
            ("conductor", state.temp_c, limit.max_temp_c, "°C"),
            ("current that heats it", state.heating_a, None, "A"),
            ("air", state.ambient_c, None, "°C"),
            ("loaded wires in the bundle", float(state.loaded_in_bundle), None, ""),
        ),
        why=f"{wire.mm2:g} mm² with {limit.name} reaches {state.temp_c:.0f} °C in the case {case}, by the heat balance "
        "of its bundle",
        way_out=f"{_thicker(context, wire.id)}, a higher insulation class, or a cooler or smaller bundle",
        workings=(
            workings.wire_temperature("conductor", wire, state, case),
            workings.heating_current("current that heats it", state, case),
        ),
    )


def _over_table(context: Context, wire: Wire, state: WireState) -> Hit:
    practice, limit = context.snapshot.job.practice, insulations()[wire.insulation]
    case = context.case_name(state.case)
    said = table_limit(
        practice.heat_rule, wire.mm2, limit.max_temp_c, state.ambient_c, max(state.loaded_in_bundle, 1),
        context.report.nominal_v,
    )  # fmt: skip
    return Hit(
        where=(f"wire {wire.id}", context.signal_words(wire.signal)),
        refs=(f"wire:{wire.id}",),
        numbers=(
            ("current that heats it", state.heating_a, state.table_a, "A"),
            ("conductor by the heat balance", state.temp_c, limit.max_temp_c, "°C"),
        ),
        title="Wire above what the chosen table allows",
        why=f"{said.why}; the job's practice lets {RULE_NAMES[practice.heat_rule]} decide",
        way_out=f"{_thicker(context, wire.id)}, or let the heat balance decide in the job's settings",
        source=said.source,
        workings=(
            workings.heating_current("current that heats it", state, case),
            workings.wire_temperature("conductor by the heat balance", wire, state, case),
        ),
    )


@rule(
    "R52",
    Severity.FIX,
    "Insulation class below its zone",
    explanation="A wire must stand the air around it before it carries any current. Cabin A, engine bay C, on the "
    "engine D, near the exhaust F or more.",
    limit="class temperature above the zone's hottest air",
    source="ISO 6722 temperature classes; zones by common practice",
)
def class_below_zone(context: Context) -> Iterator[Hit]:
    zones = {s.key: context.snapshot.zone.get(s.zone) for s in context.snapshot.job.segments}
    for wire in context.routing.wires:
        limit = insulations().get(wire.insulation)
        if limit is None:
            continue
        hot = [z for s in wire.segments if (z := zones.get(s)) is not None and z.ambient_c > limit.max_temp_c]
        if hot:
            worst = max(hot, key=lambda z: z.ambient_c)
            yield Hit(
                where=(f"wire {wire.id}", worst.name),
                refs=(f"wire:{wire.id}",),
                numbers=(("air", worst.ambient_c, limit.max_temp_c, "°C"),),
                why=f"{limit.name} is made for {limit.max_temp_c:g} °C, and {worst.name} gets hotter",
                way_out="choose a higher insulation class for this signal, or another way for the segment",
            )


@rule(
    "R15",
    Severity.FIX,
    "Too much voltage lost on the way",
    explanation="What the wires and joints keep, the load does not get: pumps run slow, injectors open late, lamps go "
    "dim. Feed and return both count.",
    limit="the load's own least voltage or the shop's share of supply; never over 1.0 V in steady running; 0.2 V in "
    "one wire is worth a look",
    source=_STEADY_SOURCE,
)
def voltage_drop(context: Context) -> Iterator[Hit]:
    said: set[str] = set()
    for state, crank in _worst_loads(context):
        if crank and state.voltage_v >= state.need_v:
            continue
        said.update(_signals_of(context, state))
        if crank:
            continue  # R16 speaks
        yield _load_hit(context, state)
    steady = [case.key for case in context.snapshot.job.load_cases if case.code != "C"]
    for wire in context.routing.wires:
        states = [s for case in steady if (s := context.report.wires.get(case, {}).get(wire.id)) is not None]
        worst = max(states, key=lambda s: abs(s.drop_v), default=None)
        if worst is None or abs(worst.drop_v) <= _CABLE_V or wire.signal in said:
            continue
        case = context.case_name(worst.case)
        yield Hit(
            where=(f"wire {wire.id}", context.signal_words(wire.signal)),
            refs=(f"wire:{wire.id}",),
            numbers=(
                ("lost in this wire", abs(worst.drop_v), _CABLE_V, "V"),
                ("current", abs(worst.current_a), None, "A"),
            ),
            severity=Severity.NOTE,
            title="One wire loses more than 0.2 V",
            why=f"{wire.length_m:.1f} m of {wire.mm2:g} mm² at {abs(worst.current_a):.1f} A; the load still gets "
            "what it needs",
            way_out=f"nothing need change; to lose less, {_thicker(context, wire.id)}",
            workings=(
                workings.wire_drop("lost in this wire", wire, worst, case),
                workings.current("current", case),
            ),
        )


@rule(
    "R16",
    Severity.FIX,
    "Too little voltage while cranking",
    explanation="The starter pulls the battery down, and what the wires lose comes on top. A control unit that drops "
    "out while cranking never fires the engine.",
    limit="the load's least voltage with the supply of the cranking case (9.6 V at the battery unless the job says "
    "otherwise or names a starting profile); control unit 8 V unless its sheet says otherwise",
    source="from memory; the unit's own sheet overrides",
)
def crank_drop(context: Context) -> Iterator[Hit]:
    supplied = {case.key: case for case in load_cases(context.snapshot)}
    for state, crank in _worst_loads(context):
        if crank and state.voltage_v < state.need_v:
            hit, case = _load_hit(context, state), supplied[state.case]
            yield replace(hit, why=f"{hit.why}; the supply is {case.supply_v:g} V in this case ({case.source})")


def _worst_loads(context: Context) -> list[tuple[LoadState, bool]]:
    """Each load's worst state among those that break a limit, steady running before cranking, one a load."""
    codes = {case.key: case.code for case in context.snapshot.job.load_cases}
    found: dict[tuple[str, bool], LoadState] = {}
    for state in context.report.loads:
        crank = codes.get(state.case) == "C"
        lost = state.feed_drop_v + state.return_drop_v
        if state.voltage_v >= state.need_v - 1e-9 and (crank or lost <= _ALWAYS_WRONG_V):
            continue
        before = found.get((state.load, crank))
        if before is None or lost > before.feed_drop_v + before.return_drop_v:
            found[state.load, crank] = state
    return [(s, crank) for (load, crank), s in found.items() if not crank or (load, False) not in found]


def _signals_of(context: Context, state: LoadState) -> set[str]:
    points = (state.feed.replace("pin:", "loom:", 1), state.back.replace("pin:", "loom:", 1), state.feed, state.back)
    return {w.signal for point in points for w in context.routing.wires_at.get(point, ())}


def _load_hit(context: Context, state: LoadState) -> Hit:
    lost = state.feed_drop_v + state.return_drop_v
    short, case = state.voltage_v < state.need_v, context.case_name(state.case)
    return Hit(
        where=(state.load, f"case {case}"),
        refs=(f"load:{state.load}",),
        numbers=(
            ("at the load", state.voltage_v, state.need_v, "V"),
            ("lost in the feed", state.feed_drop_v, None, "V"),
            ("lost in the return", state.return_drop_v, None, "V"),
            ("lost in all", lost, _ALWAYS_WRONG_V, "V"),
        ),
        why=f"the load gets {state.voltage_v:.2f} V where it needs {state.need_v:.2f} V ({state.need_why})"
        if short
        else f"{lost:.2f} V are lost between the source and the load and back",
        way_out="look which piece loses most: thicker or shorter wire on the "
        + ("feed" if state.feed_drop_v >= state.return_drop_v else "return")
        + " side first, then fewer joints, or a relay near the load",
        workings=workings.load_voltages(state, case, _STEADY_SOURCE),
    )


@rule(
    "R43",
    Severity.FIX,
    "Splice of very unequal wires",
    explanation="In one crimp splice a thick wire holds the barrel open, and thin ones beside it are not gripped.",
    limit="one wire at most 3 times the section of all others together",
    source=_CP,
)
def splice_ratio(context: Context) -> Iterator[Hit]:
    for splice in context.routing.splices:
        sizes = sorted(w.mm2 for key in splice.wires if (w := context.routing.wire.get(key)) is not None)
        if len(sizes) < 2:
            continue
        others = sum(sizes[:-1])
        if sizes[-1] > 3 * others * 1.001:
            yield Hit(
                where=(f"splice {splice.id}", context.signal_words(splice.signal)),
                refs=(f"splice:{splice.id}",),
                numbers=(("ratio", sizes[-1] / others, 3.0, ""),),
                why=f"{sizes[-1]:g} mm² meets {others:g} mm²",
                way_out="step down in two splices, or fold the thin wires back to fill the barrel",
                workings=(
                    Working(
                        what="ratio",
                        formula="thickest wire / all others together",
                        inputs=(("thickest", f"{sizes[-1]:g} mm²"), ("others", f"{others:g} mm²")),
                        source=_CP,
                    ),
                ),
            )


@rule(
    "R64",
    Severity.NOTE,
    "Same colour twice in one connector",
    explanation="Two wires of one colour and tracer in one connector can be exchanged at the bench and cannot be told "
    "apart at the car.",
    limit="each colour and tracer once a connector",
    source="common practice, workshop reports",
)
def same_colour(context: Context) -> Iterator[Hit]:
    for node in context.connector_nodes:
        by_colour: dict[str, list[tuple[str, tuple[str, int]]]] = defaultdict(list)
        for wire, end in context.wires_at_node.get(node.key, ()):
            if wire.colour:
                by_colour[wire.colour.upper()].append((end.label, (wire.signal, wire.section)))
        # Wires of one net may be exchanged without harm.
        twice = {
            colour: [label for label, _ in found]
            for colour, found in by_colour.items()
            if len({net for _, net in found}) > 1
        }
        if twice:
            yield Hit(
                where=(
                    context.node_words(node),
                    *(f"{colour}: {', '.join(labels)}" for colour, labels in twice.items()),
                ),
                refs=(f"node:{node.key}",),
                numbers=(("wires of a colour", float(max(len(v) for v in twice.values())), 1.0, ""),),
                why="these cavities carry wires of the same colour and tracer",
                way_out="give one of them another tracer, or label each wire at this connector",
            )


@rule(
    "R82",
    Severity.NOTE,
    "Alike plugs side by side",
    explanation="Two plugs of one kind on branches of about the same length can be exchanged at the engine.",
    limit="different keying, or branches that do not reach each other's place",
    source=_CP,
)
def alike_plugs(context: Context) -> Iterator[Hit]:
    kinds = {n.key: n for n in context.snapshot.job.nodes}
    at: dict[tuple[str, str], list[str]] = defaultdict(list)
    active = {n.key for n in context.connector_nodes}
    for segment in context.snapshot.job.segments:
        for here, there in ((segment.a, segment.b), (segment.b, segment.a)):
            node, junction = kinds.get(here), kinds.get(there)
            if node is None or junction is None or here not in active or junction.kind is not NodeKind.JUNCTION:
                continue
            housing = context.housing(node.housing)
            if housing is not None and len(housing.cavities) > 1 and not housing.keying and segment.length_m <= 0.3:
                at[there, node.housing].append(here)
    for (junction_key, _), nodes in at.items():
        if len(set(nodes)) > 1:
            yield Hit(
                where=tuple(context.node_words(kinds[n]) for n in nodes),
                refs=tuple(f"node:{n}" for n in nodes),
                why=f"these plugs are alike, unkeyed, and hang on short branches of {junction_key}",
                way_out="use different keying, mark plug and socket with the same band, or make the branches unequal",
            )
