"""What each joint takes in each load case: mated contacts, rings on studs, crimps in splices, contacts of relays and
switches."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pinmap.core.electrics.network import contact_ohm, mating_ohm
from pinmap.core.electrics.results import LEAST_A, ElectricalReport, WireState
from pinmap.core.facts.constants import (
    CONTACT_OHM,
    CRANK_JOINT_DROP_V,
    JOINT_DROP_V,
    RELAY_CONTACT_OHM,
    SMALL_JOINT_DROP_V,
    SMALL_WIRE_MM2,
    SPLICE_OHM,
    STUD_OHM,
    SWITCH_CONTACT_OHM,
    SWITCH_DROP_V,
    Constant,
)
from pinmap.core.loom.results import (
    MatedEnd,
    Routing,
    Wire,
    WireEnd,
    device_point,
    loom_point,
    mated_point,
    pin_point,
)
from pinmap.core.model.jobs import LoadCase, Snapshot, Variant
from pinmap.core.model.looms import Device, DeviceEnd
from pinmap.core.model.words import DeviceKind

_SWITCHED = {DeviceKind.RELAY: (("30", "87"), ("30", "87a")), DeviceKind.SWITCH: (("1", "2"),)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """One joint. ``refs`` are its machine names, ``mm2`` the size of the thinnest wire at it; ohm_from says where its
    resistance comes from."""

    label: str
    kind: str  # "contact", "ring", "splice", "switch"
    refs: tuple[str, ...]
    ohm: float
    ohm_from: str
    mm2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JointState:
    """One joint in one load case."""

    joint: Joint
    case: LoadCase
    current_a: float
    drop_v: float
    limit: Constant

    @property
    def broken(self) -> bool:
        return self.drop_v > self.limit.value * (1 + 1e-9)


def limit_of(joint: Joint, case: LoadCase) -> Constant:
    """What a joint may take in a case [V]."""
    if case.code == "C":
        return CRANK_JOINT_DROP_V
    if joint.kind == "switch":
        return SWITCH_DROP_V
    return SMALL_JOINT_DROP_V if joint.mm2 <= SMALL_WIRE_MM2.value else JOINT_DROP_V


def joint_states(
    snapshot: Snapshot, variant: Variant, routing: Routing, report: ElectricalReport
) -> Iterator[JointState]:
    """Every joint in every case in which current flows through it."""
    devices = snapshot.active_devices(variant)
    contacts = [*_contacts(snapshot, routing), *_between_looms(snapshot, routing)]
    for case in snapshot.job.load_cases:
        states, volts = report.wires.get(case.key), report.voltage_v.get(case.key)
        if states is None or volts is None:
            continue
        drops = [abs(volts.get(a, math.nan) - volts.get(b, math.nan)) for _, a, b in contacts]
        found = [(joint, v / joint.ohm, v) for (joint, _, _), v in zip(contacts, drops, strict=True)]
        found += [*_crimps(routing, devices, states)]
        found += _switches(routing, devices, states, volts)
        for joint, amps, drop_v in found:
            if amps > LEAST_A and math.isfinite(drop_v):
                yield JointState(joint=joint, case=case, current_a=amps, drop_v=drop_v, limit=limit_of(joint, case))


def _contacts(snapshot: Snapshot, routing: Routing) -> Iterator[tuple[Joint, str, str]]:
    """Mated contacts with the points of their halves."""
    seen: set[str] = set()
    for wire in routing.wires:
        for end in (wire.a, wire.b):
            if end.pin is None or (loom := loom_point(end.pin)) in seen:
                continue
            seen.add(loom)
            ohm = contact_ohm(snapshot, end.pin)
            thinnest = min(w.mm2 for w in routing.wires_at[loom])
            usual = CONTACT_OHM.source if ohm == CONTACT_OHM.value else "its terminal family"
            joint = Joint(
                label=f"contact {end.label}",
                kind="contact",
                refs=(_pin_ref(end),),
                ohm=ohm,
                ohm_from=usual,
                mm2=thinnest,
            )
            yield joint, pin_point(end.pin), loom


def _between_looms(snapshot: Snapshot, routing: Routing) -> Iterator[tuple[Joint, str, str]]:
    ends = {end.mated: end for w in routing.wires for end in (w.a, w.b) if end.mated is not None}
    for here, end in ends.items():
        mating = snapshot.mating_of[here.node]
        there = MatedEnd(mating.b, here.cavity)
        if here.node != mating.a or there not in ends:
            continue
        ohm = mating_ohm(snapshot, mating)
        wires = [w for point in (here, there) for w in routing.wires_at[mated_point(point)]]
        joint = Joint(
            label=f"contact {end.label} to {ends[there].label}", kind="contact",
            refs=(f"node:{here.node}", f"wire:{wires[0].id}"),
            ohm=ohm, ohm_from="the terminal families of its halves", mm2=min(w.mm2 for w in wires),
        )  # fmt: skip
        yield joint, mated_point(here), mated_point(there)


def _crimps(
    routing: Routing, devices: Mapping[str, Device], states: Mapping[str, WireState]
) -> Iterator[tuple[Joint, float, float]]:
    """Rings on studs and crimps in splices, one for each wire that ends there."""
    studs = {key for key, device in devices.items() if device.kind is DeviceKind.STUD}
    for wire in routing.wires:
        state = states.get(wire.id)
        for end in (wire.a, wire.b):
            if state is None or not (end.splice or (end.device is not None and end.device.device in studs)):
                continue
            amps = abs(state.current_a)
            joint = _splice(wire, end) if end.splice else _ring(wire, end)
            yield joint, amps, amps * joint.ohm


def _splice(wire: Wire, end: WireEnd) -> Joint:
    return Joint(
        label=f"crimp of wire {wire.id} in splice {end.splice}", kind="splice",
        refs=(f"splice:{end.splice}", f"wire:{wire.id}"),
        ohm=SPLICE_OHM.value, ohm_from=SPLICE_OHM.source, mm2=wire.mm2,
    )  # fmt: skip


def _ring(wire: Wire, end: WireEnd) -> Joint:
    assert end.device is not None
    return Joint(
        label=f"ring of wire {wire.id} on {end.label}", kind="ring",
        refs=(f"device:{end.device.device}", f"wire:{wire.id}"),
        ohm=STUD_OHM.value, ohm_from=STUD_OHM.source, mm2=wire.mm2,
    )  # fmt: skip


def _switches(
    routing: Routing, devices: Mapping[str, Device], states: Mapping[str, WireState], volts: Mapping[str, float]
) -> Iterator[tuple[Joint, float, float]]:
    """Contacts that stand closed: those in whose farther terminal current flows."""
    for device in devices.values():
        usual = RELAY_CONTACT_OHM if device.kind is DeviceKind.RELAY else SWITCH_CONTACT_OHM
        for near, far in _SWITCHED.get(device.kind, ()):
            a, b = device_point(DeviceEnd(device.key, near)), device_point(DeviceEnd(device.key, far))
            wires = [(w, s) for w in routing.wires_at.get(b, ()) if (s := states.get(w.id)) is not None]
            amps = abs(sum(s.current_a if w.a.point == b else -s.current_a for w, s in wires))
            own = device.resistance_ohm
            joint = Joint(
                label=f"contact {near} to {far} of {device.key}", kind="switch", refs=(f"device:{device.key}",),
                ohm=usual.value if own is None else own,
                ohm_from=usual.source if own is None else "typed at the device",
                mm2=min((w.mm2 for w, _ in wires), default=0.0),
            )  # fmt: skip
            yield joint, amps, abs(volts.get(a, math.nan) - volts.get(b, math.nan))


def _pin_ref(end: WireEnd) -> str:
    assert end.pin is not None
    return f"pin:{end.pin.platform}:{end.pin.connector}:{end.pin.cavity}"
