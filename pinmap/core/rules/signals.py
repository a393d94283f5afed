"""Rules about signals: what meets what, who gives, who only waits."""

from __future__ import annotations

from collections.abc import Iterator

from pinmap.core.facts.kinds import kind_facts, meets
from pinmap.core.model.words import DeviceKind, Direction, Fate, Kind, Role, Severity
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.meeting import (
    FIVE_VOLT_LIMIT_V,
    GROUNDS,
    HIGH_SIDES,
    LOW_SIDES,
    TWELVE_VOLT,
    five_volt,
)
from pinmap.core.rules.net_parts import RUN_SOURCES, SUPPLIES, NetPin, pin_ref, pin_refs

_CP = "common practice"
_WORKSHOP = "common practice, workshop reports"
_POWER = SUPPLIES | HIGH_SIDES | LOW_SIDES | GROUNDS | {Kind.REFERENCE_5V, Kind.UNKNOWN}
# Kinds of which each wire belongs to one sensor or actuator.
_OWN_WIRE = frozenset(
    {
        Kind.ANALOGUE_5V,
        Kind.NTC,
        Kind.INDUCTIVE,
        Kind.HALL,
        Kind.PIEZO,
        Kind.LAMBDA,
        Kind.THERMOCOUPLE,
        Kind.INJECTOR_BOOSTED,
        Kind.COIL_PRIMARY,
        Kind.H_BRIDGE,
    }
)
_PAIR_RULES = ("R03", "R04")
_SWITCHED = SUPPLIES | HIGH_SIDES | LOW_SIDES | {Kind.GROUND}


@rule(
    "R03",
    Severity.STOP,
    "Two kinds that do not go together",
    explanation="A sensor, a driver and an input must speak the same electrical language: a variable-reluctance sensor "
    "is no Hall sensor, a thermistor no 0 to 5 V signal, a pulsed output no switch.",
    limit="the table of kinds that may meet",
    source=_WORKSHOP,
)
def kinds_differ(context: Context) -> Iterator[Hit]:
    for giver, taker in context.bad_pairs("R03"):
        meeting = meets(giver.pin.kind, taker.pin.kind)
        entry = context.entry(taker.pin)
        if entry is not None and "A" in entry.states and giver.pin.kind in RUN_SOURCES and taker.pin.kind in SUPPLIES:
            continue  # an after-run load on the wrong supply is R79's
        yield Hit(
            where=(context.pin_full(giver.key), context.pin_full(taker.key)),
            refs=(pin_ref(giver.key), pin_ref(taker.key)),
            # A load on the wrong kind of feed or return works at the wrong time; it burns nothing.
            severity=Severity.FIX
            if meeting.isolator_ok and {giver.pin.kind, taker.pin.kind} <= _SWITCHED
            else Severity.STOP,
            why=f"{giver.pin.kind.value} is wired to {taker.pin.kind.value}: {meeting.why}",
            way_out="put a relay, resistor, diode or converter between them, as the kinds need"
            if meeting.isolator_ok
            else "join pins of the same kind, or convert the signal; check both entries against the documents",
        )


@rule(
    "R04",
    Severity.STOP,
    "Battery voltage on a 5 V pin",
    explanation="Inputs and references made for 5 V die at battery voltage, often for good and taking the control "
    "unit's other sensors with them.",
    limit="5.5 V on a 5 V input or reference",
    source=_CP,
)
def twelve_on_five(context: Context) -> Iterator[Hit]:
    reached = context.paths.spread_from(
        lambda pin: pin.direction is Direction.OUT and pin.kind in TWELVE_VOLT, stop_at=frozenset({DeviceKind.RESISTOR})
    )
    for net, source in reached.items():
        weak = [
            p
            for p in context.net_pins[net]
            if p.key != source.key and p.pin.direction is not Direction.PASSIVE and five_volt(p.pin.kind)
        ]
        if weak:
            highest = kind_facts(weak[0].pin.kind).max_v or FIVE_VOLT_LIMIT_V
            yield Hit(
                where=(*context.pins_words(weak), context.pin_full(source.key)),
                refs=pin_refs(weak),
                numbers=(("voltage that can reach it", 14.4, min(highest, FIVE_VOLT_LIMIT_V), "V"),),
                why=f"{context.pin_full(source.key)} ({source.pin.kind.value}) reaches a pin made for 5 V "
                f"({weak[0].pin.kind.value})",
                way_out="take the 12 V pin off this signal, or bring its level down with a converter",
            )


@rule(
    "R07",
    Severity.FIX,
    "Required input left floating",
    explanation="An input the control unit cannot do without needs a source. Left open it reads nonsense, and the "
    "engine does not start, limps, or stores a fault at once.",
    limit="a source for each input that the function dictionary marks as required",
    source=_CP,
)
def floating_input(context: Context) -> Iterator[Hit]:
    gone = {Fate.PARKED, Fate.CAPPED, Fate.DELETED}
    for key, pin in context.pins.items():
        if not _required_input(context, NetPin(key, pin)):
            continue
        net = context.net_at.get(key)
        fate = context.fate(key)
        if fate in gone:
            why = f"the pin is {fate.value}, but the control unit cannot do without it"
        elif net is not None and not gives_into(context, net):
            why = "the pin is wired, but nothing on its signal gives in this variant"
        else:
            continue
        yield Hit(
            where=(context.pin_full(key),),
            refs=(pin_ref(key),),
            why=why,
            way_out="join it to the sensor, switch or feed that gives this function, or emulate it",
        )


def _required_input(context: Context, p: NetPin) -> bool:
    entry = context.entry(p.pin)
    return (
        entry is not None
        and entry.required
        and p.pin.direction is Direction.IN
        and context.role(p.key) is Role.CONTROL
        and (p.pin.kind not in _POWER or context.fate(p.key) is not Fate.JOINED)
    )


def gives_into(context: Context, net: int) -> bool:
    """Some pin gives a signal or a level to this net, directly or through devices of the loom."""
    seen, todo = {net}, [net]
    while todo:
        here = todo.pop()
        if any(p.pin.direction is not Direction.IN for p in context.net_pins[here]):
            return True
        if here in context.converter_nets:
            return True
        for link in context.links_at.get(here, ()):
            other = link.b if link.a == here else link.a
            if other not in seen:
                seen.add(other)
                todo.append(other)
    return False


@rule(
    "R63",
    Severity.FIX,
    "Inputs joined to inputs only",
    explanation="A wire on which everybody listens and nobody speaks carries nothing.",
    limit="one source on each signal",
    source=_CP,
)
def only_inputs(context: Context) -> Iterator[Hit]:
    for net, pins in enumerate(context.net_pins):
        if len(pins) < 2 or any(p.pin.kind in _POWER or p.pin.direction is not Direction.IN for p in pins):
            continue
        if any(_required_input(context, p) for p in pins) or gives_into(context, net):
            continue
        yield Hit(
            where=context.pins_words(pins),
            refs=pin_refs(pins),
            why="every pin on this signal is entered as an input",
            way_out="check the directions against the documents; join the pin that gives this signal",
        )


@rule(
    "R26",
    Severity.FIX,
    "CAN high and low crossed",
    explanation="With the two wires of a bus crossed, no message gets through, and other units on the bus fall silent "
    "with it.",
    limit="high to high, low to low",
    source=_CP,
)
def can_crossed(context: Context) -> Iterator[Hit]:
    for giver, taker in context.bad_pairs("R26"):
        yield Hit(
            where=(context.pin_full(giver.key), context.pin_full(taker.key)),
            refs=(pin_ref(giver.key), pin_ref(taker.key)),
            why=f"{giver.pin.kind.value} and {taker.pin.kind.value} are on one wire",
            way_out="exchange the two wires at one of the two plugs",
        )


@rule(
    "R29",
    Severity.FIX,
    "Sensor polarity reversed",
    explanation="A variable-reluctance sensor with its two wires exchanged triggers on the wrong edge: the engine "
    "starts badly, loses its timing, or not at all.",
    limit="plus to plus, minus to minus",
    source=_WORKSHOP,
)
def reversed_sensor(context: Context) -> Iterator[Hit]:
    for pins in context.net_pins:
        signs: dict[str, NetPin] = {}
        for p in pins:
            if p.pin.kind is Kind.INDUCTIVE and (sign := _sign(p)):
                signs.setdefault(sign, p)
        if len(signs) == 2:
            found = list(signs.values())
            yield Hit(
                where=context.pins_words(found),
                refs=pin_refs(found),
                why="the plus end of one side is wired to the minus end of the other",
                way_out="exchange the sensor's two wires at one plug",
            )


@rule(
    "R89",
    Severity.FIX,
    "Two different functions on one wire",
    explanation="The kinds agree, but one side calls the pin one thing and the other side another: a rail pressure "
    "sensor on the boost pressure input works electrically and ruins the engine.",
    limit="one function of the dictionary on a sensor's or actuator's wire",
    source=_CP,
)
def functions_differ(context: Context) -> Iterator[Hit]:
    for net, pins in enumerate(context.net_pins):
        ends: dict[str, NetPin] = {}
        for p in pins:
            if p.pin.kind in _OWN_WIRE and p.pin.function_code:
                ends.setdefault(p.pin.function_code, p)
        signs = {code[-1:] for code in ends} & {"+", "-"}
        if len(ends) < 2 or (len(signs) == 2 and len({code[:-1] for code in ends}) == 1):
            continue  # exchanged ends of one sensor are R29's
        if any(pair for rule in _PAIR_RULES for pair in context.bad_pairs(rule) if pair[1] in pins):
            continue
        found = list(ends.values())
        yield Hit(
            where=(*context.pins_words(found), context.signal_words(context.nets[net].signal)),
            refs=pin_refs(found),
            why="these pins are entered as different functions: " + ", ".join(ends),
            way_out="join the pins of one function; if both names mean the same, give both pins the same function",
        )


def _sign(p: NetPin) -> str:
    for text in (p.pin.function_code, p.pin.function.strip()):
        if text.endswith(("+", "-")):
            return text[-1]
    return ""
