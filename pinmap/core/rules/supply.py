"""Rules about what feeds what: supplies, outputs, relays, key states."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pinmap.core.model.looms import DeviceEnd
from pinmap.core.model.words import DeviceKind, Direction, Fate, Kind, Severity
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.meeting import HIGH_SIDES, LOW_SIDES, claim
from pinmap.core.rules.net_parts import SUPPLIES, NetPin, is_supply_out, pin_ref, pin_refs
from pinmap.core.rules.power_paths import PowerPaths

_CP = "common practice"
_WORKSHOP = "common practice, workshop reports"
_POWER_OUTPUTS = HIGH_SIDES | {Kind.H_BRIDGE, Kind.INJECTOR_BOOSTED, Kind.COIL_PRIMARY}
_SIGNAL_OUTPUTS = frozenset({Kind.PULSE, Kind.ANALOGUE_5V, Kind.REFERENCE_5V, Kind.LOGIC_12V, Kind.LAMBDA})
_FEEDS = SUPPLIES | HIGH_SIDES | {Kind.REFERENCE_5V}
_BACKS = LOW_SIDES | {Kind.GROUND, Kind.SENSOR_GROUND}
_PEDAL_SUPPLY = re.compile(r"APP(\d)_(?:REF|RTN)$")
_TWO_WIRE = frozenset({Kind.H_BRIDGE, Kind.INJECTOR_BOOSTED, Kind.COIL_PRIMARY})


@rule(
    "R01",
    Severity.STOP,
    "Two outputs drive one wire",
    explanation="Two outputs that both push current fight each other, and one of them burns. Outputs that only pull to "
    "ground may share a wire; outputs that switch or drive plus may not, nor may one sit on a live feed.",
    limit="at most one output that drives plus or both ways on a conductor",
    source=_CP,
)
def two_outputs(context: Context) -> Iterator[Hit]:
    for pins in context.group_pins:
        outputs: dict[tuple[str, str], NetPin] = {}
        for p in pins:
            if p.pin.direction is Direction.OUT and p.pin.kind in _POWER_OUTPUTS | _SIGNAL_OUTPUTS:
                # Cavities of one component, or of one function of a platform, are one output in parallel.
                name = p.pin.component or p.pin.function_code or p.pin.function or p.key.cavity
                outputs.setdefault((p.key.platform, name), p)
        feeds = [p for p in pins if is_supply_out(p.pin)]
        found = list(outputs.values()) + (feeds[:1] if outputs else [])
        if len(found) < 2:
            continue
        burns = bool(feeds) or any(p.pin.kind in _POWER_OUTPUTS for p in found)
        yield Hit(
            where=context.pins_words(found),
            refs=pin_refs(found),
            numbers=(("driving outputs", float(len(found)), 1.0, ""),),
            severity=Severity.STOP if burns else Severity.FIX,
            why="these outputs are on one conductor, and each of them holds it at a level of its own",
            way_out="keep one output on the wire; take the others to a signal of their own, or put a relay, a diode or "
            "a converter between them",
        )


@rule(
    "R02",
    Severity.STOP,
    "Two supplies joined",
    explanation="Permanent, ignition, accessory, start and relay feeds must not touch: the ignition would never go "
    "off, a fuse would be bypassed, or the key switch would carry the whole load. Two fuses must not feed one wire.",
    limit="one kind of supply and one fuse on a conductor, unless a relay, diode or switch separates them",
    source=_CP,
)
def joined_supplies(context: Context) -> Iterator[Hit]:
    paths = context.paths
    for group, pins in zip(context.fused_groups, context.group_pins, strict=True):
        by_kind: dict[Kind, NetPin] = {}
        for p in pins:
            if is_supply_out(p.pin):
                by_kind.setdefault(p.pin.kind, p)
        if len(by_kind) > 1:
            found = list(by_kind.values())
            yield Hit(
                where=context.pins_words(found),
                refs=pin_refs(found),
                why="joined without anything between them that blocks: " + ", ".join(sorted(k.value for k in by_kind)),
                way_out="split the signal, or put a relay or a diode between the two supplies",
            )
            continue
        if len(group) < 2:
            continue
        for net in group:
            fuses = [k for k in context.links_at.get(net, ()) if k.device.kind is DeviceKind.FUSE]
            feeding = [k for k in fuses if paths.has_supply_without(k.a if k.b == net else k.b, net)]
            if len({k.device.key for k in feeding}) > 1:
                devices = [k.device for k in feeding]
                yield Hit(
                    where=(
                        *(context.device_words(d) for d in devices),
                        context.signal_words(context.nets[net].signal),
                    ),
                    refs=tuple(f"device:{d.key}" for d in devices),
                    why="each of these fuses feeds the same wire, so that the wire gets the sum of both and goes on "
                    "being live when one of them has opened",
                    way_out="feed the wire from one fuse; give the other its own load",
                )


@rule(
    "R21",
    Severity.FIX,
    "A load lacks its feed or its way back",
    explanation="Every load needs a closed way from a source, through the load, and back to battery minus. A load with "
    "one end in the air never works, and its wire may hang about live.",
    limit="a feed and a return for each load",
    source=_CP,
)
def open_load(context: Context) -> Iterator[Hit]:
    paths = context.paths
    for net, pins in enumerate(context.net_pins):
        if len(context.nets[net].ends) < 2:
            continue  # nothing is wired here in this variant; the component's other ends tell
        lacking = [
            p
            for p in pins
            if p.pin.direction is Direction.IN
            and not _satisfied(context, paths, net, p)
            and not any(q.pin.direction is Direction.OUT and claim(q.pin.kind, p.pin.kind) for q in pins)
        ]
        if lacking:
            side = "comes from no source" if lacking[0].pin.kind in _FEEDS | _TWO_WIRE else "leads to no battery minus"
            yield Hit(
                where=(*context.pins_words(lacking), context.signal_words(context.nets[net].signal)),
                refs=pin_refs(lacking),
                why=f"the wire is there, but it {side}, through any fuse, relay or switch of the loom",
                way_out="add the missing end to the signal, or enter what the other pin of the signal gives",
            )
    for (platform, component), ends in context.components.items():
        if not any(context.wired(p.key) for p in ends):
            continue
        for kinds, what in ((_FEEDS, "feed"), (_BACKS, "way back")):
            open_ends = [p for p in ends if p.pin.direction is Direction.IN and p.pin.kind in kinds]
            if not open_ends or any(context.wired(p.key) or context.fate(p.key) is Fate.RETAINED for p in open_ends):
                continue
            if any(live_stub(context, paths, p, ends) for p in open_ends):
                continue  # a parked end that is live through its component is R61's
            yield Hit(
                where=(*context.pins_words(open_ends), f"{component} ({context.platform_name(platform)})"),
                refs=pin_refs(open_ends),
                why=f"the {what} of {component} is {_state(context, open_ends[0])} while its other end is wired",
                way_out=f"join the {what}, or decide the other end as well",
            )
    for device in context.devices.values():
        if device.kind is not DeviceKind.RELAY:
            continue
        coil = context.relay_ends[device.key]
        contact = any(DeviceEnd(device.key, t) in context.net_at for t in ("30", "87", "87a"))
        missing = [t for t, net in zip(("85", "86"), coil, strict=True) if net is None]
        if missing and (contact or len(missing) == 1):
            yield Hit(
                where=(f"{context.device_words(device)} coil, terminal {' and '.join(missing)}",),
                refs=(f"device:{device.key}",),
                why="the coil has an end without a wire, so the relay never pulls in",
                way_out="join 85 and 86: one to a feed, one to the output or switch that works the relay",
            )


def _state(context: Context, p: NetPin) -> str:
    fate = context.fate(p.key)
    return "joined to nothing in this variant" if fate is Fate.JOINED else fate.value


def _satisfied(context: Context, paths: PowerPaths, net: int, p: NetPin) -> bool:
    kind = p.pin.kind
    if kind in SUPPLIES | HIGH_SIDES:
        return paths.fed(net)
    if kind in _BACKS:
        return paths.returned(net)
    if kind is Kind.REFERENCE_5V or kind in _TWO_WIRE:
        return net in paths.undetermined or any(
            q.pin.direction in {Direction.OUT, Direction.BOTH} for q in context.net_pins[net]
        )
    return True


def live_stub(context: Context, paths: PowerPaths, p: NetPin, ends: tuple[NetPin, ...]) -> bool:
    """A parked or capped end of a component of which another end is wired to a battery feed."""
    if context.fate(p.key) not in {Fate.PARKED, Fate.CAPPED} or p.pin.kind not in _BACKS | SUPPLIES | HIGH_SIDES:
        return False
    return any(
        q.key != p.key
        and q.pin.direction is Direction.IN
        and q.pin.kind in SUPPLIES | HIGH_SIDES | LOW_SIDES
        and (net := context.net_at.get(q.key)) is not None
        and bool(paths.sources(net))
        for q in ends
    )


@rule(
    "R77",
    Severity.FIX,
    "Ignition sense fed from the accessory feed",
    explanation="Terminal 75 drops while the starter turns. A control unit that loses its ignition input then stops, "
    "and the engine never fires while cranking.",
    limit="terminal 15, live in ON and in START",
    source=_CP,
)
def ignition_from_accessory(context: Context) -> Iterator[Hit]:
    paths = context.paths
    steady = {Kind.SUPPLY_15, Kind.SUPPLY_30, Kind.SUPPLY_87}
    for net, pins in enumerate(context.net_pins):
        sources = paths.sources(net)
        if Kind.SUPPLY_75 not in sources or sources & steady:
            continue
        inputs = [p for p in pins if p.pin.direction is Direction.IN and _needs_ignition(context, p)]
        if inputs:
            yield Hit(
                where=(*context.pins_words(inputs), context.signal_words(context.nets[net].signal)),
                refs=pin_refs(inputs),
                why="the only feed that reaches this pin is an accessory feed, which drops in START",
                way_out="take the feed from a terminal 15 pin that stays live while cranking; measure it in START",
            )


def _needs_ignition(context: Context, p: NetPin) -> bool:
    entry = context.entry(p.pin)
    return p.pin.kind is Kind.SUPPLY_15 or (entry is not None and entry.kind is Kind.SUPPLY_15)


@rule(
    "R78",
    Severity.FIX,
    "Ignition sense fed permanently",
    explanation="A control unit whose ignition input never goes off never sleeps, and the battery is flat in days.",
    limit="quiescent draw below 50 mA after 30 min (from memory)",
    source=_CP,
)
def ignition_permanent(context: Context) -> Iterator[Hit]:
    for giver, taker in context.bad_pairs("R78"):
        yield Hit(
            where=context.pins_words([taker, giver]),
            refs=pin_refs([taker, giver]),
            why="an ignition input is joined to a permanent feed with nothing between that switches",
            way_out="take it from terminal 15, or through a relay that terminal 15 works",
        )


@rule(
    "R79",
    Severity.FIX,
    "After-run load hangs on the ignition",
    explanation="What must go on working after key-off, such as a main-relay feed, an after-run pump or fan, needs a "
    "permanent feed or the main relay's output; from the ignition it stops with the key.",
    limit="a permanent feed, or a relay whose coil the ignition does not feed",
    source=_WORKSHOP,
)
def after_run(context: Context) -> Iterator[Hit]:
    paths = context.paths
    for net, pins in enumerate(context.net_pins):
        if net in paths.live_after_key_off or net in paths.undetermined or not paths.sources(net):
            continue
        loads = [
            p
            for p in pins
            if p.pin.direction is Direction.IN
            and p.pin.kind in SUPPLIES | HIGH_SIDES
            and (entry := context.entry(p.pin)) is not None
            and "A" in entry.states
        ]
        if loads:
            reached = ", ".join(sorted(kind.value for kind in paths.sources(net)))
            yield Hit(
                where=(*context.pins_words(loads), context.signal_words(context.nets[net].signal)),
                refs=pin_refs(loads),
                why=f"this load works on in after-run, but what reaches it goes off with the key ({reached}, or a "
                "relay whose coil does)",
                way_out="feed it from a permanent pin or from the main relay that the control unit holds",
            )


@rule(
    "R58",
    Severity.FIX,
    "Charge excitation taken away",
    explanation="Many alternators start charging only with current through the charge lamp or a resistor beside it. "
    "With the line parked the alternator may never excite.",
    limit="a lamp or 75 to 150 ohm, 2 W or more, in the excitation line",
    source=_WORKSHOP,
)
def excitation(context: Context) -> Iterator[Hit]:
    gone = {Fate.PARKED, Fate.CAPPED, Fate.DELETED}
    taking = [
        p for p, pin in context.pins.items() if pin.kind is Kind.EXCITATION and pin.direction is not Direction.OUT
    ]
    for key in taking:
        if context.fate(key) in gone:
            yield Hit(
                where=(context.pin_full(key),),
                refs=(pin_ref(key),),
                why=f"the excitation line is {context.fate(key).value}",
                way_out="join it to the host's charge lamp line, or to terminal 15 through a resistor",
            )


@rule(
    "R60",
    Severity.NOTE,
    "Diode in the charge-lamp line",
    explanation="A diode there stops run-on, but the lamp can then no longer show a failed diode in the alternator.",
    limit="none",
    source=_WORKSHOP,
)
def excitation_diode(context: Context) -> Iterator[Hit]:
    for link in context.links:
        if link.device.kind is DeviceKind.DIODE and any(
            p.pin.kind is Kind.EXCITATION for net in (link.a, link.b) for p in context.net_pins[net]
        ):
            yield Hit(
                where=(context.device_words(link.device), context.signal_words(context.nets[link.a].signal)),
                refs=(f"device:{link.device.key}",),
                why="the diode blocks the way by which the lamp would light for a fault in the alternator",
                way_out="keep it if the run-on must be stopped, and write that down for whoever repairs the car",
            )


@rule(
    "R72",
    Severity.FIX,
    "5 V reference overloaded",
    explanation="The control unit's 5 V output has little to give; too many sensors pull it down and all of them lie.",
    limit="80 % of the current declared for the 5 V output",
    source=_CP,
)
def reference_load(context: Context) -> Iterator[Hit]:
    for pins in context.net_pins:
        outs = [p for p in pins if p.pin.kind is Kind.REFERENCE_5V and p.pin.direction is Direction.OUT]
        takers = [p for p in pins if p.pin.kind is Kind.REFERENCE_5V and p.pin.direction is Direction.IN]
        offered = sum(p.pin.current_a or 0.0 for p in outs)
        taken = sum(p.pin.current_a or 0.0 for p in takers)
        if outs and offered > 0 and taken > 0.8 * offered:
            yield Hit(
                where=context.pins_words(outs),
                refs=pin_refs(outs),
                numbers=(("current taken", taken, 0.8 * offered, "A"),),
                why=f"{len(takers)} sensors take more than 80 % of what the output is said to give",
                way_out="spread the sensors over the unit's 5 V outputs, as their groups belong",
            )


@rule(
    "R73",
    Severity.STOP,
    "The two tracks of the pedal share a supply",
    explanation="The accelerator pedal has two tracks so that one fault cannot open the throttle unseen. With a common "
    "supply or return one broken wire falsifies both alike.",
    limit="a 5 V supply and a return of its own for each track, from the unit that reads it",
    source=_WORKSHOP,
)
def pedal_tracks(context: Context) -> Iterator[Hit]:
    for pins in context.net_pins:
        tracks: dict[str, NetPin] = {}
        for p in pins:
            found = _PEDAL_SUPPLY.match(p.pin.function_code)
            if found and p.pin.direction is Direction.IN:
                tracks.setdefault(found[1], p)
        if len(tracks) > 1:
            both = list(tracks.values())
            yield Hit(
                where=context.pins_words(both),
                refs=pin_refs(both),
                why="both tracks hang on one wire",
                way_out="take each track's supply and return to its own pair of pins at the control unit",
            )
