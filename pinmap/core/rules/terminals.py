"""Rules about terminals, cavities and the fit of mating halves."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator

from pinmap.core.facts.conductors import insulations, wire_sizes
from pinmap.core.facts.parts import TerminalFamily, terminals
from pinmap.core.loom.joints import CRIMP_WIRES
from pinmap.core.loom.results import Wire, WireEnd, loom_point
from pinmap.core.model.looms import Node
from pinmap.core.model.pinouts import Housing, PinKey
from pinmap.core.model.words import Gender, Joint, Severity, natural_key
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.net_parts import pin_ref

_CP = "common practice"
_WORKSHOP = "common practice, workshop reports"
_UNNAMED_MATTERS_A = 3.0  # the smallest family of the table carries this much


def _family(context: Context, node: Node) -> TerminalFamily | None:
    return terminals().get(context.terminal(node))


def _ends(context: Context) -> Iterator[tuple[Node, TerminalFamily | None, tuple[tuple[Wire, WireEnd], ...]]]:
    """Loom connectors with their terminal family and the wires that end in them."""
    for node in context.connector_nodes:
        wires = context.wires_at_node.get(node.key, ())
        if wires:
            yield node, _family(context, node), wires


@rule(
    "R12",
    Severity.STOP,
    "More current than the terminal carries",
    explanation="An overloaded contact heats, loses its spring, heats more, and melts its housing.",
    limit="the terminal family's rating per contact",
    source=_WORKSHOP,
)
def terminal_overload(context: Context) -> Iterator[Hit]:
    for node, family, wires in _ends(context):
        currents = [(context.worst_current_a.get(wire.id, 0.0), wire, end) for wire, end in wires]
        if family is None:
            worst = max(currents, key=lambda c: c[0])
            if worst[0] > _UNNAMED_MATTERS_A:
                yield Hit(
                    where=(context.node_words(node),),
                    refs=(f"node:{node.key}",),
                    numbers=(("largest current", worst[0], None, "A"),),
                    severity=Severity.NOTE,
                    title="Terminal load: not judged",
                    why=f"the terminal family of this connector is not named, and {worst[2].label} carries "
                    f"{worst[0]:.1f} A",
                    way_out="name the terminal family at the connector",
                )
            continue
        for current, wire, end in currents:
            if current > family.max_a * 1.0001:
                yield Hit(
                    where=(end.label, f"wire {wire.id}"),
                    refs=(_end_ref(end), f"wire:{wire.id}"),
                    numbers=(("current", current, family.max_a, "A"),),
                    source=family.source,
                    why=f"a {family.name} contact carries {family.max_a:g} A at most",
                    way_out="share the load over several cavities, or use a connector with larger contacts",
                )


@rule(
    "R13",
    Severity.NOTE,
    "Terminal near its rating among loaded neighbours",
    explanation="A contact's rating holds for one contact in free air. Among many loaded ones, or where it is hot, "
    "keep a fifth in hand.",
    limit="80 % of the rating with more than 6 loaded neighbours or above 85 °C",
    source=_CP,
)
def terminal_margin(context: Context) -> Iterator[Hit]:
    for _, family, wires in _ends(context):
        if family is None:
            continue
        currents = [(context.worst_current_a.get(wire.id, 0.0), wire, end) for wire, end in wires]
        loaded = sum(current > 0.2 * family.max_a for current, _, _ in currents)
        for current, wire, end in currents:
            if not 0.8 * family.max_a < current <= family.max_a * 1.0001:
                continue
            state = context.report.worst(wire.id)
            ambient = state.ambient_c if state else 0.0
            if loaded - 1 > 6 or ambient > 85:
                yield Hit(
                    where=(end.label, f"wire {wire.id}"),
                    refs=(_end_ref(end), f"wire:{wire.id}"),
                    numbers=(("current", current, 0.8 * family.max_a, "A"), ("air", ambient, 85.0, "°C")),
                    why=f"{loaded - 1} neighbours carry current too"
                    if loaded - 1 > 6
                    else "the air around the connector is hot",
                    way_out="share the load over two cavities, or move loaded contacts apart",
                )


@rule(
    "R30",
    Severity.STOP,
    "Cavity used twice",
    explanation="One cavity takes one terminal with one wire; a second wire has no place to go.",
    limit="one signal and one wire a cavity",
    source=_CP,
)
def cavity_twice(context: Context) -> Iterator[Hit]:
    said: set[tuple[str, str, str]] = set()
    for end, signals in context.common.signals_of.items():
        if isinstance(end, PinKey) and end in context.pins and len(signals) > 1:
            said.add(end[:3])
            yield Hit(
                where=(context.pin_full(end), *(context.signal_words(s.key) for s in signals)),
                refs=(pin_ref(end),),
                numbers=(("signals", float(len(signals)), 1.0, ""),),
                why="two signals claim this cavity",
                way_out="take it out of one signal, or join the two signals to one with a splice",
            )
    entries: dict[tuple[str, str, str], list[PinKey]] = defaultdict(list)
    for key in context.pins:
        entries[key[:3]].append(key)
    for cavity, keys in entries.items():
        if len(keys) > 1 and cavity not in said:
            said.add(cavity)
            yield Hit(
                where=tuple(context.pin_full(key) for key in keys),
                refs=tuple(pin_ref(key) for key in keys),
                numbers=(("entries", float(len(keys)), 1.0, ""),),
                why="two entries of the pinout hold for this cavity in the picked edition",
                way_out="set the editions of the two entries so that only one holds, or delete the wrong one",
            )
    for node in context.connector_nodes:
        at: dict[str, list[tuple[Wire, PinKey]]] = defaultdict(list)
        for wire, wire_end in context.wires_at_node.get(node.key, ()):
            if wire_end.pin is not None:
                at[loom_point(wire_end.pin)].append((wire, wire_end.pin))
        for found in at.values():
            chosen = all(context.snapshot.signal[wire.signal].joint is not Joint.SPLICE for wire, _ in found)
            if len({wire.id for wire, _ in found}) > 1 and not chosen and found[0][1][:3] not in said:
                yield Hit(
                    where=(context.pin_full(found[0][1]), *(f"wire {wire.id}" for wire, _ in found)),
                    refs=(pin_ref(found[0][1]),),
                    numbers=(("wires", float(len(found)), 1.0, ""),),
                    why="more than one wire ends in this cavity",
                    way_out="splice the wires before the connector and bring one wire to the cavity",
                )


@rule(
    "R31",
    Severity.FIX,
    "Cavity that the housing does not have",
    explanation="Makers skip letters such as I, O and Q, and some use capitals and small letters side by side. A name "
    "that the face does not have is a slip of reading or the wrong housing.",
    limit="cavity names of the housing",
    source="connector practice (from memory)",
)
def unknown_cavity(context: Context) -> Iterator[Hit]:
    pins: dict[tuple[str, str], list[PinKey]] = defaultdict(list)
    for key in context.pins:
        pins[key.platform, key.connector].append(key)
    for where in sorted(context.snapshot.active_connectors(context.variant)):
        face = context.face(where)
        if face is None:
            continue
        names = set(face.cavity_names)
        strange = [key for key in pins.get((where.platform, where.connector), ()) if key.cavity not in names]
        if strange:
            some = ", ".join(sorted(names, key=natural_key)[:4])
            yield Hit(
                where=tuple(context.pin_words(key) for key in strange),
                refs=tuple(pin_ref(key) for key in strange),
                why=f"{face.name} has {len(names)} cavities, named {some} and so on, and none of these names",
                way_out="read the cavity again on the real plug, or pick the housing that it really has",
            )


@rule(
    "R32",
    Severity.STOP,
    "Mating halves do not fit",
    explanation="The loom's half must be of the other gender and of the same family, keying and cavities as the half "
    "it meets; otherwise it does not go in, or goes in where it must not.",
    limit="other gender; same family, keying and cavity names",
    source=_CP,
)
def mating_fit(context: Context) -> Iterator[Hit]:
    for node in context.connector_nodes:
        connector = context.connector(node)
        if connector is None:
            continue
        ours, theirs = context.housing(node.housing), context.housing(connector.housing)
        faults = []
        own_gender = context.gender(node.gender, node.housing)
        if own_gender is not Gender.UNKNOWN and own_gender is context.gender(connector.gender, connector.housing):
            faults.append(f"both halves carry {own_gender.value} contacts")
        if ours is not None and theirs is not None:
            faults += _misfits(ours, theirs)
        if faults:
            platform = context.platform_name(node.mates.platform) if node.mates is not None else ""
            yield Hit(
                where=(context.node_words(node), f"{connector.name} ({platform})"),
                refs=(f"node:{node.key}",),
                why="; ".join(faults),
                way_out="pick the counterpart of the real plug; look at its keying and at its contacts",
            )
    for mating in context.snapshot.job.matings:
        one, other = (context.snapshot.node[node] for node in (mating.a, mating.b))
        own, theirs = context.housing(one.housing), context.housing(other.housing)
        gender = context.gender(one.gender, one.housing)
        faults = []
        if gender is not Gender.UNKNOWN and gender is context.gender(other.gender, other.housing):
            faults.append(f"both halves carry {gender.value} contacts")
        if own is not None and theirs is not None:
            faults += _misfits(own, theirs)
        if faults:
            yield Hit(
                where=(context.node_words(one), context.node_words(other)),
                refs=(f"node:{one.key}", f"node:{other.key}"),
                why="; ".join(faults),
                way_out="choose two halves of one family, one with pins and one with sockets",
            )


def _misfits(ours: Housing, theirs: Housing) -> list[str]:
    faults = []
    for what, a, b in (("family", ours.family, theirs.family), ("keying", ours.keying, theirs.keying)):
        if a and b and a.casefold() != b.casefold():
            faults.append(f"{what} {a} meets {what} {b}")
    if ours.cavities and theirs.cavities and set(ours.cavity_names) != set(theirs.cavity_names):
        only = sorted(set(ours.cavity_names) ^ set(theirs.cavity_names), key=natural_key)
        faults.append(
            f"{len(ours.cavities)} cavities meet {len(theirs.cavities)}; only one half has {', '.join(only[:6])}"
        )
    return faults


@rule(
    "R34",
    Severity.STOP,
    "Wire does not fit the crimp",
    explanation="A crimp holds a range of wire sizes. Too thin a wire pulls out and heats, too thick a one splits the "
    "barrel or leaves strands outside.",
    limit="the terminal family's smallest and largest section",
    source=_CP,
)
def crimp_range(context: Context) -> Iterator[Hit]:
    for _, family, wires in _ends(context):
        if family is None:
            continue
        for found in _by_cavity(wires):
            mm2 = sum(wire.mm2 for wire, _ in found)  # two wires in one barrel count as one of both sections
            if family.min_mm2 * 0.999 <= mm2 <= family.max_mm2 * 1.001:
                continue
            thin = mm2 < family.min_mm2
            yield Hit(
                where=(found[0][1].label, *(f"wire {wire.id}" for wire, _ in found)),
                refs=(_end_ref(found[0][1]), *(f"wire:{wire.id}" for wire, _ in found)),
                numbers=(("wire", mm2, family.min_mm2 if thin else family.max_mm2, "mm²"),),
                source=family.source,
                why=f"{family.name} takes {family.min_mm2:g} to {family.max_mm2:g} mm²; {mm2:g} mm² is too "
                f"{'thin' if thin else 'thick'}",
                way_out="use the family's terminal for this size if it has one, a short splice to a fitting size, or "
                "another cavity",
            )


@rule(
    "R36",
    Severity.FIX,
    "Too many wires in a terminal",
    explanation="A daisy chain or a double crimp puts two wires into one barrel. A seal closes around one wire only, "
    "and a third wire is not gripped.",
    limit="one wire in a sealed cavity, two in an open one",
    source="NASA-STD-8739.4 (from memory); common practice",
)
def shared_terminal(context: Context) -> Iterator[Hit]:
    for node, _, wires in _ends(context):
        sealed = context.sealed(node)
        for found in _by_cavity(wires):
            most = 1 if sealed else CRIMP_WIRES
            if len(found) <= most:
                continue
            yield Hit(
                where=(found[0][1].label, *(f"wire {wire.id}" for wire, _ in found)),
                refs=(_end_ref(found[0][1]), *(f"wire:{wire.id}" for wire, _ in found)),
                numbers=(("wires", float(len(found)), float(most), ""),),
                why="the seal of this cavity closes around one wire"
                if sealed
                else "the barrel grips two wires at most",
                way_out="let the signal's ends meet in a splice, or in another terminal",
            )


def _by_cavity(wires: Iterable[tuple[Wire, WireEnd]]) -> list[list[tuple[Wire, WireEnd]]]:
    out: dict[str, list[tuple[Wire, WireEnd]]] = defaultdict(list)
    for wire, end in wires:
        out[end.point].append((wire, end))
    return list(out.values())


@rule(
    "R35",
    Severity.FIX,
    "Insulation does not fit the seal",
    explanation="A wire seal holds a range of outside diameters. Too thin a wire lets water in, too thick a one tears "
    "the seal.",
    limit="the terminal family's smallest and largest outside diameter",
    source=_WORKSHOP,
)
def seal_range(context: Context) -> Iterator[Hit]:
    for node, family, wires in _ends(context):
        if family is None or not context.sealed(node) or not family.min_od_mm or not family.max_od_mm:
            continue
        for wire, end in wires:
            size = wire_sizes(wire.insulation).get(wire.mm2) if wire.insulation in insulations() else None
            if size is None or family.min_od_mm <= size.od_mm <= family.max_od_mm:
                continue
            thin = size.od_mm < family.min_od_mm
            yield Hit(
                where=(end.label, f"wire {wire.id}"),
                refs=(_end_ref(end), f"wire:{wire.id}"),
                numbers=(("outside diameter", size.od_mm, family.min_od_mm if thin else family.max_od_mm, "mm"),),
                why=f"the seal takes {family.min_od_mm:g} to {family.max_od_mm:g} mm",
                way_out="use the seal for this diameter, another wall thickness, or another size",
            )


@rule(
    "R37",
    Severity.FIX,
    "Empty cavities of a sealed housing are open",
    explanation="One open cavity lets water into the whole connector.",
    limit="a plug in each empty cavity",
    source=_CP,
)
def open_cavities(context: Context) -> Iterator[Hit]:
    for node in context.connector_nodes:
        if node.plugged or not context.sealed(node):
            continue
        face = context.face(node.mates) if node.mates is not None else context.housing(node.housing)
        if face is None or (node.mates is None and node.key not in context.snapshot.mating_of):
            continue
        used = {end.cavity for _, end in context.wires_at_node.get(node.key, ())}
        empty = sorted(set(face.cavity_names) - used, key=natural_key)
        if empty:
            yield Hit(
                where=(context.node_words(node), "cavities " + ", ".join(empty)),
                refs=(f"node:{node.key}",),
                numbers=(("open cavities", float(len(empty)), 0.0, ""),),
                why="the housing is sealed, and these cavities have neither a wire nor a plug",
                way_out="put cavity plugs on the parts list and mark the connector as plugged",
            )


@rule(
    "R38",
    Severity.FIX,
    "Tin meets gold",
    explanation="Tin against gold frets and corrodes; both contacts of a pair carry the same finish.",
    limit="the same finish on both halves",
    source="contact makers' guidance on finishes",
)
def finishes(context: Context) -> Iterator[Hit]:
    for node, family, _ in _ends(context):
        connector = context.connector(node)
        theirs = terminals().get(connector.terminal) if connector is not None else None
        if (mixed := _mixed(family, theirs)) is not None:
            yield Hit(
                where=(context.node_words(node),),
                refs=(f"node:{node.key}",),
                why=f"the loom's contacts are {mixed[0]}, the platform's {mixed[1]}",
                way_out="order the terminals in the finish of the half that is there",
            )
    for mating in context.snapshot.job.matings:
        one, other = (context.snapshot.node[node] for node in (mating.a, mating.b))
        crossing = any(context.wires_at_node.get(node.key) for node in (one, other))
        mixed = _mixed(_family(context, one), _family(context, other))
        if crossing and mixed is not None:
            yield Hit(
                where=(context.node_words(one), context.node_words(other)),
                refs=(f"node:{one.key}", f"node:{other.key}"),
                why=f"{mixed[0]} contacts of one loom meet {mixed[1]} contacts of the other",
                way_out="take terminals of one finish for both halves",
            )


def _mixed(one: TerminalFamily | None, other: TerminalFamily | None) -> tuple[str, str] | None:
    """The finishes of two contacts where they are gold and tin."""
    if one is None or other is None or {one.finish, other.finish} != {"gold", "tin"}:
        return None
    return one.finish, other.finish


def _end_ref(end: WireEnd) -> str:
    return pin_ref(end.pin) if end.pin is not None else f"node:{end.node}"
