"""Edits of devices, looms, nodes, segments and zones; see ``edits`` for the rules they keep."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pinmap.core.crossing.edit_checks import (
    allowed,
    drop,
    find,
    half_of,
    new_key,
    positive,
    refuse_led,
    seated_platforms,
    swap,
    text,
)
from pinmap.core.crossing.edits_fixings import refuse_beyond, refuse_held
from pinmap.core.errors import InputError
from pinmap.core.loom.wire_kinds import WIRE_KINDS
from pinmap.core.model.jobs import Job
from pinmap.core.model.looms import Device, DeviceEnd, Loom, Node, Segment, Zone
from pinmap.core.model.words import NodeKind

_DEVICE_FIELDS = frozenset(
    {"kind", "place", "name", "rating_a", "resistance_ohm", "coil_ohm", "suppressed", "only_with", "part", "note"}
)
_NODE_FIELDS = frozenset({"kind", "name", "mates", "housing", "gender", "terminal", "plugged", "note"})
_SEGMENT_FIELDS = frozenset({"a", "b", "length_m", "zone", "covering"})
LEAST_RUN_M = 0.001  # a run of less than a millimetre is a slip of the pen
_ZONE_FIELDS = frozenset({"name", "ambient_c", "wet", "moving", "hot", "no_splice", "avoid", "forbid"})
_COLDEST_C, _HOTTEST_C = -60.0, 400.0  # outside of these an ambient temperature is a slip of the pen


def add_device(job: Job, device: Device) -> Job:
    """A fuse, relay, resistor, diode, converter, stud or switch; ``place`` may come later."""
    new_key(job.devices, device.key, "key")
    _check_device(job, device)
    return replace(job, devices=(*job.devices, device))


def update_device(job: Job, key: str, **changes: Any) -> Job:
    """Changes anything but the key. The kind cannot change while a signal uses the device."""
    device = find(job.devices, key, "device")
    allowed(changes, _DEVICE_FIELDS, "device")
    new = replace(device, **changes)
    if new.kind != device.kind:
        _refuse_used(job, key, "kind", new.kind.value)
    _check_device(job, new)
    return replace(job, devices=swap(job.devices, new))


def remove_device(job: Job, key: str) -> Job:
    """Raises InputError while a signal uses the device."""
    find(job.devices, key, "device")
    _refuse_used(job, key, "device", key)
    return replace(job, devices=drop(job.devices, key))


def add_loom(job: Job, loom: Loom) -> Job:
    new_key(job.looms, loom.key, "key")
    return replace(job, looms=(*job.looms, replace(loom, name=text(loom.name, "name", "a loom needs a name"))))


def update_loom(job: Job, key: str, **changes: Any) -> Job:
    loom = find(job.looms, key, "loom")
    allowed(changes, frozenset({"name", "note"}), "loom")
    if "name" in changes:
        changes["name"] = text(changes["name"], "name", "a loom needs a name")
    return replace(job, looms=swap(job.looms, replace(loom, **changes)))


def remove_loom(job: Job, key: str) -> Job:
    """Raises InputError while it has nodes or segments."""
    find(job.looms, key, "loom")
    for node in job.nodes:
        if node.loom == key:
            raise InputError("loom", key, f"node {node.key} is in it; remove its nodes first")
    for segment in job.segments:
        if segment.loom == key:
            raise InputError("loom", key, f"segment {segment.key} is in it; remove its segments first")
    return replace(job, looms=drop(job.looms, key))


def add_node(job: Job, node: Node) -> Job:
    """A connector of the loom, a branch point, or a place for devices."""
    new_key(job.nodes, node.key, "key")
    _check_node(job, node)
    return replace(job, nodes=(*job.nodes, node))


def update_node(job: Job, key: str, **changes: Any) -> Job:
    """Changes anything but key and loom."""
    node = find(job.nodes, key, "node")
    allowed(changes, _NODE_FIELDS, "node")
    new = replace(node, **changes)
    _check_node(job, new)
    if half_of(job, key) is not None and (new.kind is not NodeKind.CONNECTOR or new.mates is not None):
        raise InputError(
            "mates" if new.mates is not None else "kind", key, "it is plugged into another loom; unplug it first"
        )
    return replace(job, nodes=swap(job.nodes, new))


def remove_node(job: Job, key: str) -> Job:
    """Raises InputError while a segment ends at it or a device sits on it."""
    find(job.nodes, key, "node")
    for segment in job.segments:
        if key in (segment.a, segment.b):
            raise InputError("node", key, f"segment {segment.key} ends at it; remove or move that first")
    for device in job.devices:
        if device.place == key:
            raise InputError("node", key, f"device {device.key} sits on it; move that first")
    mating = half_of(job, key)
    if mating is not None:
        raise InputError("node", key, f"it is plugged into {mating.other(key)} of another loom; unplug it first")
    return replace(job, nodes=drop(job.nodes, key))


def add_segment(job: Job, segment: Segment) -> Job:
    """The run between two nodes of one loom; length_m above 0 [m]."""
    new_key(job.segments, segment.key, "key")
    _check_segment(job, segment)
    return replace(job, segments=(*job.segments, segment))


def update_segment(job: Job, key: str, **changes: Any) -> Job:
    """Changes anything but key and loom."""
    segment = find(job.segments, key, "segment")
    allowed(changes, _SEGMENT_FIELDS, "segment")
    new = replace(segment, **changes)
    _check_segment(job, new)
    refuse_beyond(job, new)
    return replace(job, segments=swap(job.segments, new))


def remove_segment(job: Job, key: str) -> Job:
    """Raises InputError while a signal is led through it by hand or something is fixed to it."""
    find(job.segments, key, "segment")
    refuse_led(job, key)
    refuse_held(job, key)
    return replace(job, segments=drop(job.segments, key))


def add_zone(job: Job, zone: Zone) -> Job:
    new_key(job.zones, zone.key, "key")
    _check_zone(zone)
    return replace(job, zones=(*job.zones, zone))


def update_zone(job: Job, key: str, **changes: Any) -> Job:
    zone = find(job.zones, key, "zone")
    allowed(changes, _ZONE_FIELDS, "zone")
    new = replace(zone, **changes)
    _check_zone(new)
    return replace(job, zones=swap(job.zones, new))


def remove_zone(job: Job, key: str) -> Job:
    """Raises InputError while a segment lies in it."""
    find(job.zones, key, "zone")
    for segment in job.segments:
        if segment.zone == key:
            raise InputError("zone", key, f"segment {segment.key} lies in it; give that another zone first")
    return replace(job, zones=drop(job.zones, key))


def _check_device(job: Job, device: Device) -> None:
    if device.place:
        node = find(job.nodes, device.place, "place")
        if node.kind == NodeKind.CONNECTOR:
            raise InputError("place", device.place, "a device sits on a place or a junction, not in a connector")
    positive(device.rating_a, "rating_a", "A")
    positive(device.resistance_ohm, "resistance_ohm", "ohm", zero=True)
    positive(device.coil_ohm, "coil_ohm", "ohm")
    if device.only_with and job.seats and device.only_with not in seated_platforms(job):
        raise InputError("only_with", device.only_with, "name a platform that a seat of the job picks")


def _refuse_used(job: Job, key: str, field: str, value: str) -> None:
    for signal in job.signals:
        if key in signal.inline or any(isinstance(m.end, DeviceEnd) and m.end.device == key for m in signal.members):
            raise InputError(field, value, f"signal {signal.name!r} uses device {key}; take it out there first")


def _check_node(job: Job, node: Node) -> None:
    find(job.looms, node.loom, "loom")
    if node.kind == NodeKind.CONNECTOR:
        if any(d.place == node.key for d in job.devices):
            raise InputError("kind", node.kind.value, "devices sit on this node; move them first")
    elif node.mates is not None:
        raise InputError("mates", tuple(node.mates), f"a {node.kind} mates with nothing; only a connector does")
    if node.mates is None:
        return
    if job.seats and node.mates.platform not in seated_platforms(job):
        raise InputError("mates", tuple(node.mates), "no seat of the job picks this platform")
    for other in job.nodes:
        if other.key != node.key and other.mates == node.mates:
            raise InputError("mates", tuple(node.mates), f"node {other.key} mates with it already")


def _check_segment(job: Job, segment: Segment) -> None:
    find(job.looms, segment.loom, "loom")
    for field, key in (("a", segment.a), ("b", segment.b)):
        if find(job.nodes, key, field).loom != segment.loom:
            raise InputError(field, key, f"this node is in another loom than {segment.loom}")
    if segment.a == segment.b:
        raise InputError("b", segment.b, "a segment runs between two different nodes")
    positive(segment.length_m, "length_m", "m")
    if segment.zone:
        find(job.zones, segment.zone, "zone")


def _check_zone(zone: Zone) -> None:
    text(zone.name, "name", "a zone needs a name")
    if not _COLDEST_C <= zone.ambient_c <= _HOTTEST_C:
        raise InputError("ambient_c", zone.ambient_c, f"give degrees Celsius from {_COLDEST_C:g} to {_HOTTEST_C:g}")
    for field, kinds in (("avoid", zone.avoid), ("forbid", zone.forbid)):
        for kind in kinds:
            if kind not in WIRE_KINDS:
                raise InputError(field, kind, f"kinds of wire are: {', '.join(WIRE_KINDS)}")
    for kind in zone.avoid:
        if kind in zone.forbid:
            raise InputError("avoid", kind, "such wires are kept out of this zone altogether; choose one of the two")
