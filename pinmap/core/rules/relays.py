"""Rules about relays: that the coil pulls in, and that switching it off hurts nothing."""

from __future__ import annotations

from collections.abc import Iterator

from pinmap.core.model.words import DeviceKind, Direction, Kind, Severity
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.meeting import HIGH_SIDES, LOW_SIDES
from pinmap.core.rules.net_parts import RUN_SOURCES, is_supply_out, pin_refs
from pinmap.core.rules.power_paths import PowerPaths

_CP = "common practice"
_WORKSHOP = "common practice, workshop reports"


@rule(
    "R57",
    Severity.STOP,
    "Relay trigger has the wrong polarity",
    explanation="A coil pulls in only between plus and minus. An output that switches to ground needs a coil whose "
    "other end is at plus; an output that switches plus needs one whose other end is at ground.",
    limit="one coil end reaches plus, the other minus",
    source=_WORKSHOP,
)
def relay_polarity(context: Context) -> Iterator[Hit]:
    paths = context.paths
    for key, (one, other) in context.relay_ends.items():
        if one is None or other is None:
            continue
        device = context.devices[key]
        ends = (one, other)
        unknown = [net for net in ends if net in paths.undetermined]
        sides = {_side(paths, net) for net in ends}
        drivers = [p for net in ends for p in context.net_pins[net] if p.pin.direction is Direction.OUT]
        where = (f"{context.device_words(device)} coil", *context.pins_words(drivers[:4]))
        refs = (f"device:{key}",)
        if one == other or sides in ({"plus"}, {"minus"}):
            level = "are the same wire" if one == other else f"both go to {sides.pop()}"
            yield Hit(
                where=where,
                refs=refs,
                why=f"85 and 86 {level}: there is no voltage across the coil, whatever the output does",
                way_out="take the coil end that does not go to the output to the opposite side: plus for an output "
                "that switches ground, ground for one that switches plus",
            )
        elif unknown and "" in sides:
            kind = next((p.pin.kind.value for p in drivers if p.pin.kind is Kind.UNKNOWN), "a driven signal")
            yield Hit(
                where=where,
                refs=refs,
                severity=Severity.NOTE,
                title="Relay trigger: polarity not known",
                why=f"the output that works this coil is entered as {kind}; whether it switches plus or ground is not "
                "said, so that the polarity could not be judged",
                way_out="enter the output's kind as high-side or low-side",
            )
    for giver, taker in context.bad_pairs("R57"):
        yield Hit(
            where=context.pins_words([taker, giver]),
            refs=pin_refs([taker, giver]),
            why=f"{giver.pin.kind.value} meets an input of kind {taker.pin.kind.value}: the load's other end is on the "
            "same side already, so no voltage is left across it",
            way_out="turn the load's other end to the opposite side, or work it through a relay",
        )


def _side(paths: PowerPaths, net: int) -> str:
    plus, minus = net in paths.plus, net in paths.minus
    if net in paths.undetermined or plus == minus:
        return ""
    return "plus" if plus else "minus"


@rule(
    "R59",
    Severity.STOP,
    "Back-feed through a load",
    explanation="A lamp, a gauge, a motor or a resistor between a permanent supply and one that goes off with the key "
    "is a way back: with the key off, current flows through it into everything on the switched side, which stays half "
    "alive. A diode or an open contact in the way blocks it.",
    limit="no load between a permanent and a switched supply without a diode or a contact between them",
    source=_WORKSHOP,
)
def back_feed(context: Context) -> Iterator[Hit]:
    group_of = {net: i for i, group in enumerate(context.fused_groups) for net in group}
    gives = [{p.pin.kind: p for p in pins if is_supply_out(p.pin)} for pins in context.group_pins]
    loads: list[tuple[tuple[str, ...], str, set[int]]] = []
    for (platform, name), ends in context.components.items():
        nets = {net for p in ends if (net := context.net_at.get(p.key)) is not None}
        loads.append((context.pins_words(ends), f"load:{platform}:{name}", nets))
    loads += [
        ((context.device_words(link.device),), f"device:{link.device.key}", {link.a, link.b})
        for link in context.links if link.device.kind is DeviceKind.RESISTOR
    ]  # fmt: skip
    for where, ref, nets in loads:
        groups = {group_of[net] for net in nets}
        always = [gives[g][Kind.SUPPLY_30] for g in groups if Kind.SUPPLY_30 in gives[g]]
        switched = [
            p for g in groups if Kind.SUPPLY_30 not in gives[g] for k, p in gives[g].items() if k in RUN_SOURCES
        ]
        if always and switched:
            yield Hit(
                where=where,
                refs=(ref,),
                why=f"one end is always live from {context.pin_full(always[0].key)}, another hangs on "
                f"{context.pin_full(switched[0].key)}, which goes off with the key",
                way_out="put a diode in line, feed both ends' circuits from one supply, or switch the load by a relay",
            )


@rule(
    "R55",
    Severity.FIX,
    "Relay coil without suppression",
    explanation="A coil that is switched off throws a voltage spike at the transistor that switched it. A relay worked "
    "by a control unit needs a resistor or diode across its coil unless the unit's own driver clamps it.",
    limit="a resistor or diode across each coil that a control unit works",
    source=_WORKSHOP,
)
def suppression(context: Context) -> Iterator[Hit]:
    for key, ends in context.relay_ends.items():
        device = context.devices[key]
        drivers = [
            p
            for net in ends
            if net is not None
            for p in context.net_pins[net]
            if p.pin.direction is Direction.OUT and p.pin.kind in LOW_SIDES | HIGH_SIDES
        ]
        if drivers and not device.suppressed:
            yield Hit(
                where=(context.device_words(device), *context.pins_words(drivers[:1])),
                refs=(f"device:{key}",),
                why="an electronic output works this coil, and the relay is entered without suppression",
                way_out="fit a relay with a built-in resistor (mark it as suppressed), or a diode with its cathode at "
                "plus; observe the marking of 85 and 86",
            )


@rule(
    "R76",
    Severity.FIX,
    "Pulsed output works a relay",
    explanation="A mechanical relay on a pulse-width output chatters and burns its contacts.",
    limit="at most 10 Hz (common practice)",
    source=_CP,
)
def pulsed_relay(context: Context) -> Iterator[Hit]:
    for key, ends in context.relay_ends.items():
        pulsed = [
            p
            for net in dict.fromkeys(ends)
            if net is not None
            for p in context.net_pins[net]
            if p.pin.direction is Direction.OUT and p.pin.kind in {Kind.PWM_HIGH_SIDE, Kind.PWM_LOW_SIDE}
        ]
        if pulsed:
            yield Hit(
                where=(context.device_words(context.devices[key]), *context.pins_words(pulsed)),
                refs=(f"device:{key}", *pin_refs(pulsed)),
                why="the coil is worked by a pulsed output",
                way_out="use an output that switches steadily, or a solid-state switch made for pulses",
            )
