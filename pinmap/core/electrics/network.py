"""The electrical network of one variant.

Points are the cavities' two halves, device terminals and splices. Points that a platform joins inside, and a driver
that conducts, are one node. Between nodes lie wires, mated contacts, fuses, closed contacts, coils, diodes and the
resistors inside platforms. Host supplies stand at the load case's voltage or hang on the battery's internal
resistance; loads draw a constant current, resistance or power. Beside a supply that is held an alternator gives all
that it can, as into a flat battery, so that its cable is judged by that.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import lru_cache

import numpy as np

from pinmap.core.electrics.components import (
    ALL,
    LEAST_OHM,
    Bools,
    Floats,
    Ints,
    Network,
    Parts,
    Reference,
    Source,
    Stated,
    grouped,
)
from pinmap.core.electrics.insides import add_load_ends, add_platform, driven_by_loads, strapped_platforms
from pinmap.core.electrics.load_table import load_table
from pinmap.core.electrics.loads import PAIRED_KINDS, loads, states_of
from pinmap.core.electrics.solution import Solution, Solver, solve
from pinmap.core.facts.circuit import ALTERNATOR_RISE_SHARE, DIODE_SERIES_OHM
from pinmap.core.facts.conductors import wire_size
from pinmap.core.facts.constants import (
    CONTACT_OHM,
    FUSE_DROP_V,
    RELAY_COIL_OHM,
    RELAY_CONTACT_OHM,
    SPLICE_OHM,
    STUD_OHM,
    SWITCH_CONTACT_OHM,
)
from pinmap.core.facts.functions import Dictionary
from pinmap.core.facts.parts import terminals
from pinmap.core.loom.results import MatedEnd, Routing, Wire, device_point, loom_point, mated_point, pin_point
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Device, DeviceEnd, Mating
from pinmap.core.model.pinouts import ConnectorKey, Pin, PinKey
from pinmap.core.model.words import DeviceKind, Kind, Role

__all__ = [
    "ALL", "Bools", "Floats", "Ints", "Network", "Reference", "Solution", "Solver", "Source", "build_network",
    "contact_ohm", "solve",
]  # fmt: skip


def build_network(snapshot: Snapshot, variant: Variant, routing: Routing, dictionary: Dictionary) -> Network:
    """Collects the network of one variant. Raises InputError for a wire of impossible size."""
    parts = Parts()
    devices = snapshot.active_devices(variant)
    pins = snapshot.active_pins(variant)
    wire_ohm, joint = _add_wires(parts, routing, devices)
    n_contacts = _add_contacts(parts, snapshot, routing)
    piece = parts.pieces()
    relays, diodes, coils, fuse_rating = _add_devices(parts, devices)
    found = loads(snapshot, variant, dictionary, pins)
    feed_of, back_of = add_load_ends(parts, snapshot, pins, found)
    by_platform: dict[str, list[tuple[PinKey, Pin]]] = {}
    for key, pin in pins.items():
        by_platform.setdefault(key.platform, []).append((key, pin))
    driven = driven_by_loads(snapshot, found)
    strapped = strapped_platforms(snapshot, pins, piece)
    for platform, platform_pins in by_platform.items():
        add_platform(parts, snapshot, dictionary, platform, platform_pins, driven, strapped)
    names = list(parts.index)
    base_of = {piece[names[r.out]]: r.ground for r in parts.references if r.feeds and names[r.out] in piece}
    base = [base_of.get(piece.get(names[feed_of[x.key]], -1), -1) if x.on_reference else -1 for x in found]
    nominal_v = next((p.nominal_v for p in snapshot.platforms if p.role is Role.HOST), 12.0)
    if parts.post < 0:
        rise_v = ALTERNATOR_RISE_SHARE.value * nominal_v
        parts.sources = [replace(s, over_v=rise_v) for s in parts.sources]
    else:
        alternator = any(s.name.startswith("alternator") for s in parts.sources)
        parts.joins.extend((parts.post, point, when) for point, when in parts.plus)
        parts.plus.append((parts.post, ALL))
        parts.held = "" if alternator else parts.held
    return Network(
        points=tuple(parts.index),
        index=parts.index,
        a=np.array(parts.a, dtype=np.int64),
        b=np.array(parts.b, dtype=np.int64),
        ohm=np.array(parts.ohm, dtype=float),
        names=tuple(parts.name),
        n_wires=len(routing.wires),
        n_contacts=n_contacts,
        wire_ohm_20=np.array(wire_ohm, dtype=float),
        joint_ohm=np.array(joint, dtype=float),
        relays=tuple(relays),
        diodes=np.array(diodes, dtype=np.int64),
        coils=np.array(coils, dtype=np.int64),
        join_groups=grouped(parts.joins),
        plus=tuple(parts.plus),
        minus=tuple(parts.minus),
        loads=found,
        load_table=load_table(found),
        feed_of=feed_of,
        back_of=back_of,
        feed=np.array([feed_of.get(load.key, -1) for load in found], dtype=np.int64),
        back=np.array([back_of.get(load.key, -1) for load in found], dtype=np.int64),
        base=np.array(base, dtype=np.int64),
        fuse_rating_a=fuse_rating,
        nominal_v=nominal_v,
        sources=tuple(parts.sources),
        stated=tuple(_stated(snapshot, dictionary, routing, pins)),
        references=tuple(parts.references),
        post=parts.post,
        held=parts.held,
        problems=(*((load.key, load.problem) for load in found if load.problem), *parts.problems),
    )


def _stated(
    snapshot: Snapshot, dictionary: Dictionary, routing: Routing, pins: Mapping[PinKey, Pin]
) -> Iterator[Stated]:
    """Currents of wires to paired drivers. Pulses of an injector's peak with that mean heat as much as the geometric
    mean of both (square pulses: mean d·I, heating current √d·I)."""
    for i, wire in enumerate(routing.wires):
        ends = [e.pin for e in (wire.a, wire.b) if e.pin is not None and pins[e.pin].kind in PAIRED_KINDS]
        said = [(pins[k].current_a or 0.0, pins[k].peak_a or 0.0) for k in ends]
        mean_a = max((mean for mean, _ in said), default=0.0)
        if mean_a <= 0:
            continue
        pulsed = any(pins[k].kind is Kind.INJECTOR_BOOSTED for k in ends)
        peak_a = max(peak for _, peak in said)
        heating_a = math.sqrt(mean_a * max(peak_a, mean_a)) if pulsed else mean_a
        states = "".join(states_of(snapshot, dictionary, k, pins[k]) for k in ends)
        yield Stated(i, mean_a, heating_a, states)


def _add_wires(parts: Parts, routing: Routing, devices: Mapping[str, Device]) -> tuple[list[float], list[float]]:
    """Resistance of each wire at 20 °C, and of its rings on studs and crimps in splices [ohm]."""
    wire_ohm, joint = [], []
    studs = {key for key, device in devices.items() if device.kind is DeviceKind.STUD}
    for wire in routing.wires:
        ohm = wire_ohm_20(wire)
        parts.element(wire.a.point, wire.b.point, ohm, f"wire {wire.id}")
        wire_ohm.append(ohm)
        ends = (wire.a, wire.b)
        rings = sum(e.device is not None and e.device.device in studs for e in ends)
        joint.append(STUD_OHM.value * rings + SPLICE_OHM.value * sum(bool(e.splice) for e in ends))
    return wire_ohm, joint


def wire_ohm_20(wire: Wire) -> float:
    """Resistance of a wire at 20 °C [ohm]. Raises InputError for an impossible size."""
    return max(_ohm_per_m_20(wire.mm2, wire.insulation) * wire.cut_length_m, LEAST_OHM)


@lru_cache(maxsize=1024)
def _ohm_per_m_20(mm2: float, insulation: str) -> float:
    return wire_size(mm2, insulation).r20_ohm_per_m


def _add_contacts(parts: Parts, snapshot: Snapshot, routing: Routing) -> int:
    mated: set[str] = set()
    ohm: dict[ConnectorKey, float] = {}
    for wire in routing.wires:
        for end in (wire.a, wire.b):
            if end.pin is None:
                continue
            loom = loom_point(end.pin)
            if loom not in mated:
                mated.add(loom)
                place = ConnectorKey(end.pin.platform, end.pin.connector)
                if place not in ohm:
                    ohm[place] = contact_ohm(snapshot, end.pin)
                parts.element(pin_point(end.pin), loom, ohm[place], f"contact {end.label}")
    if snapshot.job.matings:
        _add_mated(parts, snapshot, routing)
    return len(mated)


def _add_mated(parts: Parts, snapshot: Snapshot, routing: Routing) -> None:
    """Contacts between looms: each half of a cavity is met by wires of its own loom."""
    label: dict[MatedEnd, str] = {}
    for wire in routing.wires:
        for end in (wire.a, wire.b):
            if end.mated is not None:
                label.setdefault(end.mated, end.label)
    for here, name in label.items():
        mating = snapshot.mating_of[here.node]
        if here.node != mating.a:
            continue
        there = MatedEnd(mating.b, here.cavity)
        if there in label:
            text = f"contact {name} to {label[there]}"
            parts.element(mated_point(here), mated_point(there), mating_ohm(snapshot, mating), text)


def mating_ohm(snapshot: Snapshot, mating: Mating) -> float:
    """Resistance of a contact between two looms [ohm]: that of the terminal family that a half or its housing names,
    the larger where they differ, else the general figure."""
    families = terminals()
    known = []
    for node in (snapshot.node[mating.a], snapshot.node[mating.b]):
        housing = snapshot.housing.get(node.housing)
        for key in (node.terminal, housing.terminal if housing is not None else ""):
            if key in families:
                known.append(families[key].contact_ohm)
                break
    return max(known, default=CONTACT_OHM.value)


def contact_ohm(snapshot: Snapshot, pin: PinKey) -> float:
    """Resistance of a mated contact [ohm]: that of its terminal family where the loom's connector, the platform's or
    its housing names one, else the general figure."""
    place = ConnectorKey(pin.platform, pin.connector)
    node, connector = snapshot.node_of_connector.get(place), snapshot.connector.get(place)
    housing = snapshot.housing.get(connector.housing) if connector is not None else None
    families = terminals()
    for key in (
        node.terminal if node is not None else "",
        connector.terminal if connector is not None else "",
        housing.terminal if housing is not None else "",
    ):
        if key in families:
            return families[key].contact_ohm
    return CONTACT_OHM.value


def _add_devices(
    parts: Parts, devices: Mapping[str, Device]
) -> tuple[list[tuple[str, int, int, int]], list[int], list[int], dict[int, float]]:
    relays, diodes, coils, fuse_rating = [], [], [], {}
    for device in devices.values():

        def between(a: str, b: str, ohm: float, what: str, key: str = device.key) -> int:
            return parts.element(device_point(DeviceEnd(key, a)), device_point(DeviceEnd(key, b)), ohm, f"{what} {key}")

        own = device.resistance_ohm
        if device.kind is DeviceKind.FUSE:
            usual = FUSE_DROP_V.value / device.rating_a if device.rating_a else CONTACT_OHM.value
            fuse = between("1", "2", usual if own is None else own, "fuse")
            if device.rating_a:
                fuse_rating[fuse] = device.rating_a
        elif device.kind is DeviceKind.RELAY:
            contact = RELAY_CONTACT_OHM.value if own is None else own
            coil = between("85", "86", device.coil_ohm or RELAY_COIL_OHM.value, "coil of relay")
            opens = between("30", "87", contact, "contact of relay")
            closes = between("30", "87a", contact, "break contact of relay")
            coils.append(coil)
            relays.append((device.key, coil, opens, closes))
        elif device.kind is DeviceKind.RESISTOR:
            if own is not None:
                between("1", "2", own, "resistor")
        elif device.kind is DeviceKind.SWITCH:
            between("1", "2", SWITCH_CONTACT_OHM.value if own is None else own, "switch")
        elif device.kind is DeviceKind.DIODE:
            diodes.append(between("A", "K", DIODE_SERIES_OHM.value if own is None else own, "diode"))
    return relays, diodes, coils, fuse_rating
