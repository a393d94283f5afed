"""Rules about pairs and buses."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pinmap.core.facts.pin_columns import terminator_ohm
from pinmap.core.model.looms import Device, DeviceEnd
from pinmap.core.model.pinouts import ConnectorKey, PinKey
from pinmap.core.model.words import DeviceKind, Kind, Severity
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.net_parts import NetPin, pin_ref

_WORKSHOP = "common practice, workshop reports"
_BUS_PAIRS = (
    (Kind.CAN_H, Kind.CAN_L),
    (Kind.J1708_PLUS, Kind.J1708_MINUS),
)
_PAIR_KINDS = frozenset({Kind.INDUCTIVE, Kind.PIEZO, Kind.INJECTOR_BOOSTED, Kind.H_BRIDGE})
_HIGH_OR_LOW = re.compile(r"[ _-]*(?:high|low|plus|minus|h|l|\+|-)$")
_TERMINATOR_OHM = (100.0, 140.0)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two signals that belong together, with the pins by which they were found to."""

    name: str
    one: str
    other: str
    pins: tuple[NetPin, ...]


@dataclass(frozen=True, slots=True)
class Bus:
    """The two conductors of a CAN bus, as nets."""

    high: int
    low: int


def pairs(context: Context) -> list[Pair]:
    """Pairs of signals that must run twisted: buses, and components of which both ends are of a paired kind."""
    found: dict[frozenset[str], Pair] = {}
    for plus, minus in _BUS_PAIRS:
        for bus in buses(context, plus, minus):
            one, other = context.nets[bus.high].signal, context.nets[bus.low].signal
            ends = (*context.net_pins[bus.high], *context.net_pins[bus.low])
            if one != other:
                found.setdefault(frozenset({one, other}), Pair("bus", one, other, ends))
    for (_, component), ends in context.components.items():
        twisted = [p for p in ends if p.key in context.net_at and _wants_twist(context, p)]
        if len(twisted) != 2:
            continue
        one, other = (context.nets[context.net_at[p.key]].signal for p in twisted)
        if one != other:
            found.setdefault(frozenset({one, other}), Pair(component, one, other, tuple(twisted)))
    return list(found.values())


def _wants_twist(context: Context, p: NetPin) -> bool:
    if p.pin.kind in _PAIR_KINDS:
        return True
    entry = context.entry(p.pin)
    # A screened sensor's supply and return have the flag of the sensor; a pair is two ends that carry the signal.
    return entry is not None and entry.twist and p.pin.kind in {Kind.PULSE, Kind.TRANSPONDER, Kind.LAMBDA}


def buses(context: Context, plus: Kind = Kind.CAN_H, minus: Kind = Kind.CAN_L) -> list[Bus]:
    """Which high net and which low net are one bus: those that share most connectors; where two buses run between the
    same connectors, those of one function (CAN 2 high, CAN 2 low), of one twist group, of neighbouring numbers."""
    highs = {i: pins for i, pins in enumerate(context.net_pins) if any(p.pin.kind is plus for p in pins)}
    lows = {i: pins for i, pins in enumerate(context.net_pins) if any(p.pin.kind is minus for p in pins)}
    signal = {i: context.snapshot.signal[context.nets[i].signal] for i in (*highs, *lows)}
    scores = []
    for high, high_pins in highs.items():
        plugs, stems = _plugs(high_pins, plus), _stems(high_pins)
        for low, low_pins in lows.items():
            shared = len(plugs & _plugs(low_pins, minus))
            if shared and low != high:
                like = len(stems & _stems(low_pins))
                twisted = bool(signal[high].twist) and signal[high].twist == signal[low].twist
                apart = abs(signal[high].number - signal[low].number)
                scores.append((-shared, -like, not twisted, apart, high, low))
    out: list[Bus] = []
    taken: set[int] = set()
    for *_, high, low in sorted(scores):
        if high not in taken and low not in taken:
            taken |= {high, low}
            out.append(Bus(high, low))
    return out


def _stems(pins: tuple[NetPin, ...]) -> set[str]:
    """Names of the pins without what tells high from low."""
    return {
        _HIGH_OR_LOW.sub("", text.casefold()) for p in pins for text in (p.pin.function_code, p.pin.function) if text
    }


def _plugs(pins: tuple[NetPin, ...], kind: Kind) -> set[ConnectorKey]:
    return {ConnectorKey(p.key.platform, p.key.connector) for p in pins if p.pin.kind is kind}


@rule(
    "R22",
    Severity.FIX,
    "Pair not twisted",
    explanation="The two wires of a bus, a crank or knock sensor, an injector or a throttle motor cancel each other's "
    "fields only while they are twisted together, all the way and close up to the plug.",
    limit="one twist group, at cavities side by side",
    source="common practice; SAE J2284 and J1939-11 for buses (50 mm untwisted at the plug, from memory)",
)
def broken_pair(context: Context) -> Iterator[Hit]:
    cavities: dict[str, dict[ConnectorKey, PinKey]] = defaultdict(dict)
    for wire in context.routing.wires:
        for end in (wire.a, wire.b):
            if end.pin is not None:
                cavities[wire.signal][ConnectorKey(end.pin.platform, end.pin.connector)] = end.pin
    for pair in pairs(context):
        one, other = context.snapshot.signal[pair.one], context.snapshot.signal[pair.other]
        where = (context.signal_words(one.key), context.signal_words(other.key))
        refs = (f"signal:{one.key}", f"signal:{other.key}")
        if not one.twist or one.twist != other.twist:
            yield Hit(
                where=where,
                refs=refs,
                why=f"{pair.name}: the two signals are not in one twist group",
                way_out="give both signals the same twist group",
            )
            continue
        theirs = cavities[other.key]
        shared = [(pin, theirs[plug]) for plug, pin in cavities[one.key].items() if plug in theirs]
        far = [found for ends in shared if (found := _cavities_apart(context, ends)) is not None]
        if far:
            yield Hit(
                where=(*where, *(f"{context.pin_words(a)}, {b.cavity}" for a, b, _ in far)),
                refs=tuple(pin_ref(key) for a, b, _ in far for key in (a, b)),
                numbers=(("cavities apart", max(d for _, _, d in far), 1.5, "pitches"),),
                severity=Severity.NOTE,
                title="Pair enters a plug at cavities that are not neighbours",
                why=f"{pair.name}: the cavities are the platform's and cannot be moved, so the twist must end here",
                way_out="carry the twist up to the plug and keep the untwisted ends below 50 mm",
            )


def _cavities_apart(context: Context, ends: tuple[PinKey, PinKey]) -> tuple[PinKey, PinKey, float] | None:
    face = context.face(ConnectorKey(ends[0].platform, ends[0].connector))
    if face is None:
        return None
    places = {c.name: (c.column, c.row) for c in face.cavities}
    a, b = places.get(ends[0].cavity), places.get(ends[1].cavity)
    if a is None or b is None:
        return None
    distance = ((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2) ** 0.5
    return (*ends, distance) if distance > 1.5 else None


@rule(
    "R24",
    Severity.FIX,
    "CAN bus not terminated at two ends",
    explanation="A high-speed bus has a resistor of 120 ohm at each of its two ends. Across high and low, unpowered, a "
    "meter reads 60 ohm; 120 says that one is missing, 40 that there are three.",
    limit="2 terminators of about 120 ohm, 60 ohm ±10 % together",
    source="ISO 11898-2",
)
def terminators(context: Context) -> Iterator[Hit]:
    for bus in buses(context):
        inside, silent = _declared(context, bus)
        fitted = _bridging(context, bus)
        values = [d.resistance_ohm or 0.0 for d in fitted] + list(inside.values())
        good = [v for v in values if _TERMINATOR_OHM[0] <= v <= _TERMINATOR_OHM[1]]
        where = (
            context.signal_words(context.nets[bus.high].signal),
            *(context.device_words(d) for d in fitted),
            *(f"inside {context.platform_name(platform)}" for platform in inside),
        )
        refs = (f"signal:{context.nets[bus.high].signal}", f"signal:{context.nets[bus.low].signal}")
        if len(good) == 2 and len(values) == 2:
            continue
        if not values and silent:
            yield Hit(
                where=where,
                refs=refs,
                severity=Severity.NOTE,
                title="CAN terminators: not judged",
                why="nobody says where this bus is terminated: no resistor in the loom, and no word of one in "
                + _names(context, silent),
                way_out="measure high to low with the key off (60 ohm is right), and enter terminator_ohm at the pins "
                "of the units that have one, 0 at those that have none",
            )
            continue
        together = 1 / sum(1 / v for v in values if v > 0) if any(v > 0 for v in values) else 0.0
        odd = [v for v in values if v not in good]
        yield Hit(
            where=where,
            refs=refs,
            numbers=(("terminators", float(len(values)), 2.0, ""), ("across the bus", together, 60.0, "ohm")),
            why=f"{len(values)} terminator(s) known"
            + (f", of which {', '.join(f'{v:g} ohm' for v in odd)} is not 120 ohm" if odd else "")
            + (f"; no word of one in {_names(context, silent)}" if len(values) < 2 and silent else ""),
            way_out="fit or take out resistors until there is one of 120 ohm at each end of the trunk and none on a "
            "branch",
        )


def _names(context: Context, platforms: list[str]) -> str:
    return ", ".join(context.platform_name(p) for p in platforms)


def _declared(context: Context, bus: Bus) -> tuple[Mapping[str, float], list[str]]:
    """Terminators inside platforms [ohm], and the platforms that say nothing of one."""
    said: dict[str, list[float | None]] = defaultdict(list)
    for p in (*context.net_pins[bus.high], *context.net_pins[bus.low]):
        if p.pin.kind in {Kind.CAN_H, Kind.CAN_L}:
            said[p.key.platform].append(terminator_ohm(p.pin))
    inside = {platform: max(v for v in values if v) for platform, values in said.items() if any(values)}
    return inside, [platform for platform, values in said.items() if all(v is None for v in values)]


def _bridging(context: Context, bus: Bus) -> list[Device]:
    """Resistors of the loom between the two conductors."""
    return [
        d
        for d in context.devices.values()
        if d.kind is DeviceKind.RESISTOR
        and {context.net_at.get(DeviceEnd(d.key, t)) for t in ("1", "2")} == {bus.high, bus.low}
    ]
