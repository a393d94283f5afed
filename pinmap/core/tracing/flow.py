"""Which way current or a signal runs: the routed job as places and hops between them, from the source to battery minus.

A place is what a technician can point at: a mated cavity of a platform or between two looms, a splice, a device, a
component inside a platform. A hop is a wire or the way through a platform. Directions follow the pins: what a platform
gives, it gives into the net, except on returns (grounds, low-side drivers), where the pin that needs a way back is the
one that current comes out of.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property

from pinmap.core.loom.results import MatedEnd, Routing, Wire, WireEnd, device_point, loom_point, mated_point, pin_point
from pinmap.core.model.jobs import Signal, Snapshot, Variant
from pinmap.core.model.looms import Device, DeviceEnd, End
from pinmap.core.model.pinouts import ConnectorKey, Pin, PinKey
from pinmap.core.model.words import IN_LINE_TERMINALS, DeviceKind, Direction, Kind

RETURN_KINDS = frozenset({Kind.GROUND, Kind.SENSOR_GROUND, Kind.LOW_SIDE, Kind.PWM_LOW_SIDE})
SUPPLY_KINDS = frozenset({Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50, Kind.SUPPLY_87})
_FED_INSIDE = frozenset({Kind.SUPPLY_30, Kind.SUPPLY_87})
_HIGH = frozenset({Kind.HIGH_SIDE, Kind.PWM_HIGH_SIDE})
_LOW = frozenset({Kind.LOW_SIDE, Kind.PWM_LOW_SIDE})


class PlaceKind(StrEnum):
    """What a place is."""

    PIN = "pin"
    SPLICE = "splice"
    MATED = "mated"  # between two looms
    DEVICE = "device"
    COMPONENT = "component"
    INSIDE = "inside"  # the inner joint of a control unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One place. ``points`` are its electrical points; ``platform`` is "" for what belongs to the loom."""

    id: str
    kind: PlaceKind
    label: str
    platform: str = ""
    pin: PinKey | None = None
    entry: Pin | None = None
    device: Device | None = None
    part: str = ""  # of a relay: "contact" or "coil"
    points: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Hop:
    """The way from one place to the next, by a wire or (wire None) through a platform."""

    a: str
    b: str
    wire: Wire | None = None

    def other(self, place: str) -> str:
        return self.b if place == self.a else self.a


@dataclass(frozen=True)
class Flow:
    """All places of one variant and the hops between them, in stable order."""

    places: Mapping[str, Place]
    hops: tuple[Hop, ...]

    @cached_property
    def after(self) -> Mapping[str, tuple[Hop, ...]]:
        """Hops that leave a place."""
        return self._by("a")

    @cached_property
    def before(self) -> Mapping[str, tuple[Hop, ...]]:
        """Hops that arrive at a place."""
        return self._by("b")

    def _by(self, end: str) -> Mapping[str, tuple[Hop, ...]]:
        out: dict[str, list[Hop]] = {place: [] for place in self.places}
        for hop in self.hops:
            out[getattr(hop, end)].append(hop)
        return {place: tuple(hops) for place, hops in out.items()}


def place_of(end: End, snapshot: Snapshot) -> str:
    """Id of the place an end belongs to; a relay has two, its contact and its coil."""
    if isinstance(end, PinKey):
        return pin_point(end)
    device = snapshot.device.get(end.device)
    if device is not None and device.kind is DeviceKind.RELAY:
        return f"device:{end.device}:{'coil' if end.terminal in {'85', '86'} else 'contact'}"
    return f"device:{end.device}"


def pin_label(pin: PinKey, snapshot: Snapshot) -> str:
    """What the builder reads: the loom connector's name and the cavity, such as "X12-4"."""
    node = snapshot.node_of_connector.get(ConnectorKey(pin.platform, pin.connector))
    return f"{(node.name if node else '') or pin.connector}-{pin.cavity}"


def flow(snapshot: Snapshot, variant: Variant, routing: Routing) -> Flow:
    """The places and hops of one variant: every active member of a signal, every splice, every wire once, every
    component that has a joined pin."""
    builder = _Builder(snapshot, variant, routing)
    for signal in sorted(snapshot.job.signals, key=lambda s: (s.number, s.key)):
        builder.signal(signal)
    builder.insides()
    return Flow(builder.places, tuple(builder.hops))


class _Builder:
    def __init__(self, snapshot: Snapshot, variant: Variant, routing: Routing) -> None:
        self.snapshot = snapshot
        self.pins = snapshot.active_pins(variant)
        self.by_point = {pin_point(key): (key, pin) for key, pin in self.pins.items()}
        self.devices = snapshot.active_devices(variant)
        self.places: dict[str, Place] = {}
        self.hops: list[Hop] = []
        self.gives: dict[str, bool] = {}  # place of a pin -> current comes out of it into the net
        self.wires: dict[tuple[str, int], list[Wire]] = {}
        self.sections: dict[str, set[int]] = {}
        for wire in routing.wires:
            self.wires.setdefault((wire.signal, wire.section), []).append(wire)
            self.sections.setdefault(wire.signal, set()).add(wire.section)

    def signal(self, signal: Signal) -> None:
        for member in signal.members:
            self._place(member.end)
        sections = sorted(self.sections.get(signal.key, ()))
        turned = self._runs_backwards(signal, sections)
        for section in sections:
            self._section(signal, self.wires[signal.key, section], turned)

    def _place(self, end: End) -> str | None:
        """The place of an end, made on first sight; None where the end is not there in this variant."""
        name = place_of(end, self.snapshot)
        if name in self.places:
            return name
        if isinstance(end, PinKey):
            found = self.by_point.get(name)
            if found is None:
                return None
            key, entry = found
            self.places[name] = Place(
                id=name,
                kind=PlaceKind.PIN,
                label=pin_label(key, self.snapshot),
                platform=key.platform,
                pin=key,
                entry=entry,
                points=(name, loom_point(key)),
            )
            return name
        device = self.devices.get(end.device)
        if device is None:
            return None
        part = name.rpartition(":")[2] if device.kind is DeviceKind.RELAY else ""
        label = (device.name or device.key) + (f" {part}" if part else "")
        self.places[name] = Place(id=name, kind=PlaceKind.DEVICE, label=label, device=device, part=part)
        return name

    def _wire_place(self, end: WireEnd) -> str | None:
        if end.splice:
            name = f"splice:{end.splice}"
            if name not in self.places:
                self.places[name] = Place(id=name, kind=PlaceKind.SPLICE, label=end.splice, points=(name,))
            return name
        if end.mated is not None:
            return self._mated(end.mated)
        target = end.pin if end.pin is not None else end.device
        if target is None:
            return None
        found = self._place(target)
        if found is not None and isinstance(target, DeviceEnd):
            point = device_point(target)
            if point not in self.places[found].points:
                self.places[found] = replace(self.places[found], points=(*self.places[found].points, point))
        return found

    def _mated(self, end: MatedEnd) -> str:
        """The one place of both halves of a cavity between two looms."""
        mating = self.snapshot.mating_of[end.node]
        halves = [MatedEnd(node, end.cavity) for node in (mating.a, mating.b)]
        name = mated_point(halves[0])
        if name not in self.places:
            nodes = [self.snapshot.node[half.node] for half in halves]
            self.places[name] = Place(
                id=name,
                kind=PlaceKind.MATED,
                label="/".join(node.name or node.key for node in nodes) + f"-{end.cavity}",
                points=tuple(mated_point(half) for half in halves),
            )
        return name

    def _section(self, signal: Signal, wires: list[Wire], turned: bool) -> None:
        joined: dict[str, list[tuple[str, Wire]]] = {}
        ends: dict[str, bool | None] = {}  # place -> gives, takes, or not said
        hints: dict[str, WireEnd] = {}
        for wire in wires:
            a, b = self._wire_place(wire.a), self._wire_place(wire.b)
            if a is None or b is None:
                continue
            joined.setdefault(a, []).append((b, wire))
            joined.setdefault(b, []).append((a, wire))
            for end, place in ((wire.a, a), (wire.b, b)):
                if not end.splice and end.mated is None:
                    ends[place] = self._gives(end, signal, turned)
                    hints[place] = end
        sources = self._sources(ends, hints)
        for place in ends:
            self.gives.setdefault(place, place in sources)
        rank = dict.fromkeys(sources, 0)
        queue = deque(sources)
        while queue:
            here = queue.popleft()
            for there, _ in joined.get(here, ()):
                if there not in rank:
                    rank[there] = rank[here] + 1
                    queue.append(there)
        for wire in wires:
            a, b = self._wire_place(wire.a), self._wire_place(wire.b)
            if a is not None and b is not None:
                forward = (rank.get(a, 0), ends.get(a) is False) <= (rank.get(b, 0), ends.get(b) is False)
                self.hops.append(Hop(a, b, wire) if forward else Hop(b, a, wire))

    def _sources(self, ends: Mapping[str, bool | None], hints: Mapping[str, WireEnd]) -> list[str]:
        """The places that current comes out of. A device's terminal that does not say follows the net: on a return it
        gives, beside a source it takes; else its designation decides."""
        silent = [place for place, gives in ends.items() if gives is None]
        kinds = {entry.kind for place in ends if (entry := self.places[place].entry) is not None}
        sources = [place for place, gives in ends.items() if gives]
        if kinds & RETURN_KINDS:
            sources += [place for place in silent if hints[place].device is not None and not self._is_stud(place)]
        if not sources:
            sources = [place for place in silent if self._downstream_terminal(hints[place])]
        if not sources:
            sources = silent if any(gives is False for gives in ends.values()) else silent[:1]
        return sources or list(ends)[:1]

    def _is_stud(self, place: str) -> bool:
        device = self.places[place].device
        return device is not None and device.kind is DeviceKind.STUD

    def _downstream_terminal(self, end: WireEnd) -> bool:
        device = self.devices.get(end.device.device) if end.device is not None else None
        if end.device is None or device is None:
            return False
        return end.device.terminal in {IN_LINE_TERMINALS.get(device.kind, ("", ""))[1], "85", "87a"}

    def _gives(self, end: WireEnd, signal: Signal, turned: bool) -> bool | None:
        if end.pin is not None:
            found = self.by_point.get(pin_point(end.pin))
            return pin_gives(found[1]) if found else None
        if end.device is None:
            return None
        device = self.devices.get(end.device.device)
        if device is None:
            return None
        if end.device.device in signal.inline:
            downstream = end.device.terminal == IN_LINE_TERMINALS.get(device.kind, ("", ""))[1]
            return downstream is not turned
        if device.kind is DeviceKind.CONVERTER:
            return {"OUT": True, "31": True, "IN": False, "15": False}.get(end.device.terminal)
        return None

    def _runs_backwards(self, signal: Signal, sections: list[int]) -> bool:
        """A return whose sections were listed from the minus side: the first section's pins only take."""
        if len(sections) < 2:
            return False

        def said(section: int) -> set[bool | None]:
            ends = [e for w in self.wires[signal.key, section] for e in (w.a, w.b) if e.pin is not None]
            return {self._gives(end, signal, False) for end in ends} - {None}

        return said(sections[0]) == {False} and said(sections[-1]) == {True}

    def insides(self) -> None:
        """Ways through platforms: components by name, and the inner joints of units."""
        for name, place in list(self.places.items()):
            pin = place.entry
            if pin is None:
                continue
            gives = self.gives.get(name, pin_gives(pin) or False)
            if pin.component:
                centre = f"component:{place.platform}:{pin.component}"
                if centre not in self.places:
                    self.places[centre] = Place(
                        id=centre, kind=PlaceKind.COMPONENT, label=pin.component, platform=place.platform
                    )
                self.hops.append(Hop(centre, name) if gives else Hop(name, centre))
                continue
            self._inside(name, place, pin)

    def _inside(self, name: str, place: Place, pin: Pin) -> None:
        is_in, is_out = pin.direction is Direction.IN, pin.direction is Direction.OUT
        if is_in and pin.kind in SUPPLY_KINDS | _HIGH:
            self.hops.append(Hop(name, self._joint(place.platform, "minus")))
            if pin.kind in _FED_INSIDE:
                self.hops.append(Hop(name, self._joint(place.platform, "plus")))
        elif is_out and pin.kind in _LOW:
            self.hops.append(Hop(name, self._joint(place.platform, "minus")))
        elif is_in and pin.kind is Kind.GROUND:
            self.hops.append(Hop(self._joint(place.platform, "minus"), name))
        elif is_out and pin.kind in _HIGH:
            self.hops.append(Hop(self._joint(place.platform, "plus"), name))

    def _joint(self, platform: str, side: str) -> str:
        name = f"inside:{platform}:{side}"
        if name not in self.places:
            label = f"inside {self.snapshot.platform[platform].name}"
            self.places[name] = Place(id=name, kind=PlaceKind.INSIDE, label=label, platform=platform, part=side)
        return name


def pin_gives(pin: Pin) -> bool | None:
    """Whether current or the signal comes out of a pin into the net; None where the pin does not say."""
    if pin.direction in {Direction.BOTH, Direction.PASSIVE}:
        return None
    return (pin.direction is Direction.OUT) is not (pin.kind in RETURN_KINDS)


def walk(start: str, hops: Mapping[str, tuple[Hop, ...]], barred: Iterable[str] = ()) -> dict[str, Hop | None]:
    """Breadth first from ``start``: place -> the hop by which it was reached, in the order of distance."""
    seen: dict[str, Hop | None] = {start: None}
    barred = set(barred)
    queue = deque([start])
    while queue:
        here = queue.popleft()
        for hop in hops.get(here, ()):
            there = hop.other(here)
            if there not in seen and there not in barred:
                seen[there] = hop
                queue.append(there)
    return seen
