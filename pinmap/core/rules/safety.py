"""Rules about what can hurt: restraint circuits, high voltage, ends that are live though they should be dead."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pinmap.core.model.looms import DeviceEnd
from pinmap.core.model.pinouts import ConnectorKey, Pin
from pinmap.core.model.words import DeviceKind, Direction, Fate, Kind, Role, Severity
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.net_parts import NetPin, is_supply_out, pin_ref, pin_refs
from pinmap.core.rules.supply import live_stub

_WORKSHOP = "common practice, workshop reports"
_RESTRAINT_WORDS = re.compile(
    r"\bair ?bags?\b|\bSRS\b|\bsquibs?\b|\bpretensioners?\b|\bbelt tensioners?\b|\brestraint\b", re.IGNORECASE
)


def is_restraint(context: Context, pin: Pin) -> bool:
    """A pin of a restraint circuit by its kind or by its dictionary entry."""
    entry = context.entry(pin)
    return pin.kind is Kind.RESTRAINT or (entry is not None and entry.kind is Kind.RESTRAINT)


@rule(
    "R61",
    Severity.STOP,
    "Parked end is live",
    explanation="A parked wire is insulated, labelled and dead. If it still reaches a source, through the part it "
    "comes from or through a signal, it can burn or shock whoever finds it.",
    limit="no source reaches a parked or capped end; a live cavity is closed with a plug in a mated connector",
    source="common practice",
)
def live_parked(context: Context) -> Iterator[Hit]:
    paths = context.paths
    ends_of = context.components
    for key, fate in context.common.fate_of.items():
        pin = context.pins.get(key)
        if pin is None or fate.fate not in {Fate.PARKED, Fate.CAPPED}:
            continue
        where, refs, word = (context.pin_full(key),), (pin_ref(key),), fate.fate.value
        net = context.net_at.get(key)
        if net is not None:
            if paths.sources(net):
                yield Hit(
                    where=(*where, context.signal_words(context.nets[net].signal)),
                    refs=refs,
                    why=f"the pin is {word}, and yet a signal joins it to a live feed",
                    way_out="take the pin out of the signal, or take the fate back",
                )
            continue
        if is_supply_out(pin) and (context.role(key) is Role.HOST or pin.kind is Kind.SUPPLY_30):
            mated = ConnectorKey(key.platform, key.connector) in context.snapshot.node_of_connector
            if fate.fate is Fate.PARKED:
                yield Hit(
                    where=where,
                    refs=refs,
                    why=f"the pin is itself a feed ({pin.kind.value}): parked says dead, but this end is live",
                    way_out="close the cavity with a plug and call it capped, leave it in service and call it "
                    "retained, or take out its fuse and write that down",
                )
            elif not mated:
                yield Hit(
                    where=where,
                    refs=refs,
                    severity=Severity.FIX,
                    title="Live cavity in an open connector",
                    why=f"the pin is a feed ({pin.kind.value}), and no plug of the loom closes its connector",
                    way_out="close the whole connector with a dummy plug, or take out the fuse of this feed",
                )
            continue
        ends = ends_of.get((key.platform, pin.component), ()) if pin.component else ()
        if pin.direction is Direction.IN and live_stub(context, paths, NetPin(key, pin), ends):
            yield Hit(
                where=(*where, f"{pin.component} ({context.platform_name(key.platform)})"),
                refs=refs,
                why=f"the end is {word}, but the other end of {pin.component} is wired to a feed, which reaches this "
                "end through the part",
                way_out="join this end as well, or take the other end off its feed",
            )


@rule(
    "R66",
    Severity.STOP,
    "Restraint circuit touched",
    explanation="Airbag and belt circuits are not joined, spliced, lengthened, parked or re-routed. An error fires "
    "them, or keeps them from firing.",
    limit="none joined, parked, capped or deleted, without a named person's acceptance",
    source=_WORKSHOP,
)
def restraint(context: Context) -> Iterator[Hit]:
    touched = {Fate.JOINED, Fate.PARKED, Fate.CAPPED, Fate.DELETED}
    for key, pin in context.pins.items():
        certain = is_restraint(context, pin)
        if not certain and not (pin.kind is Kind.UNKNOWN and _RESTRAINT_WORDS.search(pin.function)):
            continue
        fate = context.fate(key)
        if fate not in touched:
            continue
        signal = context.snapshot.signal_of.get(key)
        yield Hit(
            where=(context.pin_full(key), *((context.signal_words(signal.key),) if signal else ())),
            refs=(pin_ref(key),),
            why=f"a pin of a restraint circuit{'' if certain else ', by its name,'} is {fate.value}",
            way_out="leave the circuit as the vehicle has it and call the pin retained; work on it only by that "
            "vehicle's manual, and let a named person sign for it",
        )


@rule(
    "R67",
    Severity.STOP,
    "High-voltage circuit in the loom",
    explanation="Above 60 V DC or 30 V AC a loom like this is not allowed to carry the circuit: trained people and "
    "parts made for it only.",
    limit="60 V DC, 30 V AC",
    source="from memory; ISO 6469-3 voltage class B",
)
def high_voltage(context: Context) -> Iterator[Hit]:
    for key in context.pins:
        if context.pins[key].kind is Kind.HIGH_VOLTAGE and key in context.joined:
            yield Hit(
                where=(context.pin_full(key), context.signal_words(context.snapshot.signal_of[key].key)),
                refs=(pin_ref(key),),
                why="the pin is entered as high voltage, and a signal of the loom takes it",
                way_out="take it out of the loom; orange cables are for trained people",
            )


@rule(
    "R71",
    Severity.FIX,
    "Thermocouple through copper",
    explanation="A thermocouple is read against its own alloy; copper wire and plain terminals in its line add errors "
    "of tens of degrees.",
    limit="matched alloy wire and terminals all the way",
    source="common practice",
)
def thermocouple(context: Context) -> Iterator[Hit]:
    for net, pins in enumerate(context.net_pins):
        found = [p for p in pins if p.pin.kind is Kind.THERMOCOUPLE]
        wires = context.wires_of_net.get((context.nets[net].signal, context.nets[net].section), ())
        if found and wires:
            yield Hit(
                where=(*context.pins_words(found), *(f"wire {w.id}" for w in wires)),
                refs=pin_refs(found),
                why="the loom's wires are copper",
                way_out="lead the sensor's own cable to its amplifier; only the amplifier's output belongs in the loom",
            )


@rule(
    "R54",
    Severity.STOP,
    "Diode across a supply",
    explanation="A diode whose anode lies at plus and whose cathode lies at ground conducts as soon as it is powered, "
    "and burns with its wires.",
    limit="cathode at plus across a coil",
    source=_WORKSHOP,
)
def diode_short(context: Context) -> Iterator[Hit]:
    for device in context.devices.values():
        if device.kind is not DeviceKind.DIODE:
            continue
        anode, cathode = (context.net_at.get(DeviceEnd(device.key, t)) for t in ("A", "K"))
        if anode is None or cathode is None:
            continue
        if _has(context, anode, plus=True) and _has(context, cathode, plus=False):
            yield Hit(
                where=(context.device_words(device),),
                refs=(f"device:{device.key}",),
                why="its anode is on a feed and its cathode on battery minus",
                way_out="turn the diode round",
            )


def _has(context: Context, net: int, *, plus: bool) -> bool:
    """A feed, or battery minus, is on this very net."""
    return any(
        p.pin.direction is Direction.OUT and (is_supply_out(p.pin) if plus else p.pin.kind is Kind.GROUND)
        for p in context.net_pins[net]
    )
