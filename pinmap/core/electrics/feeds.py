"""Feeds: what hangs on each source through wires, splices and in-line devices, and which fuse guards which wire.

The walk starts at a platform's supply pin and follows the way of least resistance; it ends at the next platform's
cavity, at a relay's coil and at a converter. Diodes are passed forwards only.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from pinmap.core.electrics.network import contact_ohm, mating_ohm
from pinmap.core.electrics.surroundings import judgeable
from pinmap.core.facts.conductors import wire_size
from pinmap.core.facts.constants import (
    CONTACT_OHM,
    FUSE_DROP_V,
    RELAY_CONTACT_OHM,
    STUD_OHM,
    SWITCH_CONTACT_OHM,
)
from pinmap.core.facts.pin_columns import says_fused, stated_fuse_a
from pinmap.core.loom.results import MatedEnd, Routing, Wire, WireEnd, device_point, loom_point, mated_point, pin_point
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Device, DeviceEnd
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import DeviceKind, Direction, Kind, Role

SUPPLY_KINDS = frozenset({Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50, Kind.SUPPLY_87})
_DIODE_OHM = 0.01
_PASSES: Mapping[DeviceKind, tuple[tuple[str, str], ...]] = {
    DeviceKind.FUSE: (("1", "2"), ("2", "1")),
    DeviceKind.RESISTOR: (("1", "2"), ("2", "1")),
    DeviceKind.SWITCH: (("1", "2"), ("2", "1")),
    DeviceKind.DIODE: (("A", "K"),),
    DeviceKind.RELAY: (("30", "87"), ("87", "30"), ("30", "87a"), ("87a", "30")),
}


@dataclass(frozen=True, slots=True)
class Step:
    """One piece on the way from the source. ``ohm`` is its resistance, a wire's at 20 °C; ``before`` is the index of
    the step that leads here, -1 at the source; ``fuse`` is the index of the step with the fuse that guards what comes
    after: the smallest so far, -1 for the source's own."""

    kind: str  # "wire", "contact" or a device kind
    key: str  # wire id, device key or cavity
    label: str
    a: str
    b: str
    ohm: float
    before: int
    fuse: int
    wire: Wire | None = None
    device: Device | None = None
    pin: PinKey | None = None


@dataclass(frozen=True)
class Feed:
    """All that one source pin feeds. ``source_fuse_a`` is the rating of the platform's own fuse: None where it has
    none or nobody gave it; ``source_fused`` says whether it has one."""

    source: PinKey
    entry: Pin
    source_fuse_a: float | None
    source_fused: bool
    steps: tuple[Step, ...]

    def way(self, index: int) -> tuple[Step, ...]:
        """Steps from the source to this one."""
        found = []
        while index >= 0:
            found.append(self.steps[index])
            index = self.steps[index].before
        return tuple(reversed(found))

    @cached_property
    def fuses(self) -> tuple[int, ...]:
        """Indices of the steps that are fuses, nearest first."""
        return tuple(i for i, s in enumerate(self.steps) if s.kind == "fuse")

    @cached_property
    def guarded(self) -> Mapping[int, tuple[int, ...]]:
        """Index of a fuse (-1: the source's own) -> indices of the wires that it guards."""
        out: dict[int, list[int]] = {}
        for i, step in enumerate(self.steps):
            if step.wire is not None:
                out.setdefault(step.fuse, []).append(i)
        return {fuse: tuple(wires) for fuse, wires in out.items()}

    def fuse_before(self, index: int) -> int:
        """The next fuse towards the source from a fuse; -1 for the source's own."""
        at = self.steps[index].before
        while at >= 0 and self.steps[at].kind != "fuse":
            at = self.steps[at].before
        return at


def feeds(snapshot: Snapshot, variant: Variant, routing: Routing) -> tuple[Feed, ...]:
    """The feeds of a variant: every supply output that a wire leaves, the host's first; an alternator or another
    platform's permanent supply only where no feed of the host reaches it."""
    pins = snapshot.active_pins(variant)
    devices = snapshot.active_devices(variant)
    giving = [
        (key, pin)
        for key, pin in pins.items()
        if pin.direction is Direction.OUT and pin.kind in SUPPLY_KINDS and loom_point(key) in routing.wires_at
    ]
    found: list[Feed] = []
    reached: set[str] = set()
    for host in (True, False):
        for key, pin in giving:
            is_host = snapshot.role_of(key.platform) is Role.HOST
            if is_host is not host or (not host and (pin.kind is not Kind.SUPPLY_30 or pin_point(key) in reached)):
                continue
            feed = _walk(snapshot, routing, devices, key, pin)
            reached.update(s.b for s in feed.steps)
            found.append(feed)
    return tuple(found)


def _walk(snapshot: Snapshot, routing: Routing, devices: Mapping[str, Device], key: PinKey, entry: Pin) -> Feed:
    own_a = stated_fuse_a(entry)
    start = pin_point(key)
    steps: list[Step] = []
    done: set[str] = {start}
    queue: list[tuple[float, int, Step]] = []
    count = 0

    def offer(far: float, made: Iterator[Step]) -> None:
        nonlocal count
        for step in made:
            if step.b not in done:
                heapq.heappush(queue, (far + step.ohm, count, step))
                count += 1

    first = Step("contact", f"{key.connector}-{key.cavity}", f"contact {key.connector}-{key.cavity}", start,
                 loom_point(key), contact_ohm(snapshot, key), -1, -1, pin=key)  # fmt: skip
    offer(0.0, iter((first,)))
    while queue:
        far, _, step = heapq.heappop(queue)
        if step.b in done:
            continue
        done.add(step.b)
        index = len(steps)
        steps.append(step)
        if step.b.startswith("pin:"):
            continue
        guard = index if step.kind == "fuse" and _smaller(step, steps, own_a) else step.fuse
        offer(far, _onward(snapshot, routing, devices, step.b, index, guard))
    return Feed(key, entry, own_a, says_fused(entry), tuple(steps))


def _smaller(step: Step, steps: list[Step], own_a: float | None) -> bool:
    """This fuse guards better than the one before it; an unrated fuse guards as far as anybody knows."""
    rating = step.device.rating_a if step.device is not None else None
    if step.fuse >= 0:
        guard = steps[step.fuse].device
        before = guard.rating_a if guard is not None else None
    else:
        before = own_a
    return before is None or rating is None or rating <= before


def _onward(
    snapshot: Snapshot, routing: Routing, devices: Mapping[str, Device], point: str, before: int, fuse: int
) -> Iterator[Step]:
    for wire in routing.wires_at.get(point, ()):
        other = wire.b if wire.a.point == point else wire.a
        ohm = wire_size(wire.mm2, wire.insulation).r20_ohm_per_m * wire.cut_length_m if judgeable(wire) else 0.0
        ohm += STUD_OHM.value * sum(
            e.device is not None and e.device.device in devices
            and devices[e.device.device].kind is DeviceKind.STUD for e in (wire.a, wire.b)
        )  # fmt: skip
        yield Step(
            "wire", wire.id, f"wire {wire.id} to {other.label}", point, other.point, ohm, before, fuse, wire=wire
        )
    head, _, rest = point.partition(":")
    if head == "loom":
        pin = _end_at(routing, point).pin
        if pin is not None:
            text = f"{pin.connector}-{pin.cavity}"
            yield Step("contact", text, f"contact {text}", point, pin_point(pin), contact_ohm(snapshot, pin), before,
                       fuse, pin=pin)  # fmt: skip
    elif head == "mated":
        here = _end_at(routing, point).mated
        if here is not None:
            mating = snapshot.mating_of[here.node]
            far = mated_point(MatedEnd(mating.other(here.node), here.cavity))
            if far in routing.wires_at:
                text = f"{_end_at(routing, point).label} to {_end_at(routing, far).label}"
                yield Step("contact", text, f"contact {text}", point, far, mating_ohm(snapshot, mating), before, fuse)
    elif head == "device":
        key, _, terminal = rest.rpartition(":")
        device = devices.get(key)
        if device is None:
            return
        for a, b in _PASSES.get(device.kind, ()):
            if a == terminal:
                far = device_point(DeviceEnd(key, b))
                label = f"{device.kind.value} {key}"
                yield Step(device.kind.value, key, label, point, far, _ohm(device), before, fuse, device=device)


def _end_at(routing: Routing, point: str) -> WireEnd:
    """A wire's end at this point, where one is known to be."""
    return next(e for w in routing.wires_at[point] for e in (w.a, w.b) if e.point == point)


def _ohm(device: Device) -> float:
    if device.resistance_ohm is not None:
        return device.resistance_ohm
    if device.kind is DeviceKind.FUSE:
        return FUSE_DROP_V.value / device.rating_a if device.rating_a else CONTACT_OHM.value
    if device.kind is DeviceKind.RELAY:
        return RELAY_CONTACT_OHM.value
    if device.kind is DeviceKind.SWITCH:
        return SWITCH_CONTACT_OHM.value
    return _DIODE_OHM if device.kind is DeviceKind.DIODE else CONTACT_OHM.value
