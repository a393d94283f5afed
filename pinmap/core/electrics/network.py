"""The electrical network of one variant, and its solution in one load case.

Points are the cavities' two halves, device terminals and splices. Points that a platform joins inside, and a driver
that conducts, are one node. Between nodes lie resistances: wires, mated contacts, fuses, closed contacts, coils.
Host supplies and battery minus are nodes of given voltage; loads draw a constant current.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from pinmap.core.electrics.loads import (
    BACK_KINDS,
    FEED_KINDS,
    LIVE_IN,
    SUPPLY_KINDS,
    Load,
    is_host,
    loads,
    retained,
    states_of,
)
from pinmap.core.errors import StructureError
from pinmap.core.facts.conductors import wire_size
from pinmap.core.facts.constants import (
    CONTACT_OHM,
    DIODE_DROP_V,
    FUSE_DROP_V,
    RELAY_COIL_OHM,
    RELAY_CONTACT_OHM,
    STUD_OHM,
    SWITCH_CONTACT_OHM,
)
from pinmap.core.facts.functions import Dictionary
from pinmap.core.facts.parts import terminals
from pinmap.core.loom.results import Routing, device_point, loom_point, pin_point
from pinmap.core.model.jobs import LoadCase, Snapshot, Variant
from pinmap.core.model.looms import Device, DeviceEnd
from pinmap.core.model.pinouts import ConnectorKey, Pin, PinKey
from pinmap.core.model.words import DeviceKind, Direction, Kind, Role

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_LEAST_OHM = 1e-6
_DIODE_OHM = 0.01
_ALL = "*"  # a join or source that holds in every load case


@dataclass
class _Parts:
    """What the builder collects: resistances, joins, given voltages."""

    index: dict[str, int] = field(default_factory=dict)
    a: list[int] = field(default_factory=list)
    b: list[int] = field(default_factory=list)
    ohm: list[float] = field(default_factory=list)
    name: list[str] = field(default_factory=list)
    joins: list[tuple[int, int, str]] = field(default_factory=list)
    plus: list[tuple[int, str]] = field(default_factory=list)
    minus: list[tuple[int, str]] = field(default_factory=list)

    def point(self, name: str) -> int:
        return self.index.setdefault(name, len(self.index))

    def element(self, a: str, b: str, ohm: float, name: str) -> int:
        self.a.append(self.point(a))
        self.b.append(self.point(b))
        self.ohm.append(max(ohm, _LEAST_OHM))
        self.name.append(name)
        return len(self.name) - 1


@dataclass(frozen=True)
class Network:
    """Elements by index; the first ``n_wires`` are the routing's wires, in order, the next ``n_contacts`` the mated
    contacts. Conditional elements: relay contacts
    (``relays``: coil, normally open, normally closed; -1 for none) and ``diodes`` from anode to cathode."""

    points: tuple[str, ...]
    index: dict[str, int]
    a: Ints
    b: Ints
    ohm: Floats
    names: tuple[str, ...]
    n_wires: int
    n_contacts: int
    wire_ohm_20: Floats
    joint_ohm: Floats
    relays: tuple[tuple[str, int, int, int], ...]
    diodes: Ints
    coils: Ints
    joins: tuple[tuple[int, int, str], ...]
    plus: tuple[tuple[int, str], ...]
    minus: tuple[tuple[int, str], ...]
    loads: tuple[Load, ...]
    feed_of: dict[str, int]
    back_of: dict[str, int]
    fuse_rating_a: dict[int, float]


@dataclass(frozen=True)
class Solution:
    """One solved load case. ``volts`` by point, NaN where nothing fixes the voltage; ``amps`` by element from a to b,
    0 where none can flow. ``fed`` are the loads whose current is in the solution."""

    node: Ints
    active: NDArray[np.bool_]
    volts: Floats
    amps: Floats
    has_plus: NDArray[np.bool_]  # by point: joined to a live supply, coils and loads apart
    has_minus: NDArray[np.bool_]
    fed: tuple[Load, ...]
    starved: tuple[Load, ...]
    open_relays: frozenset[str]
    blocking_diodes: Ints
    plus_points: Ints
    minus_points: Ints
    supply_a: float


def build_network(snapshot: Snapshot, variant: Variant, routing: Routing, dictionary: Dictionary) -> Network:
    """Collects the network of one variant. Raises InputError for a wire of impossible size."""
    parts = _Parts()
    wire_ohm, joint = [], []
    stud = STUD_OHM.value
    devices = snapshot.active_devices(variant)
    pins = snapshot.active_pins(variant)
    for wire in routing.wires:
        ohm = wire_size(wire.mm2, wire.insulation).r20_ohm_per_m * wire.cut_length_m
        on_studs = sum(1 for e in (wire.a, wire.b) if e.device and _is_stud(devices, e.device))
        parts.element(wire.a.point, wire.b.point, ohm, f"wire {wire.id}")
        wire_ohm.append(max(ohm, _LEAST_OHM))
        joint.append(stud * on_studs)
    mated: dict[str, None] = {}
    for wire in routing.wires:
        for end in (wire.a, wire.b):
            if end.pin is not None and loom_point(end.pin) not in mated:
                mated[loom_point(end.pin)] = None
                text = f"contact {end.label}"
                parts.element(pin_point(end.pin), loom_point(end.pin), contact_ohm(snapshot, end.pin), text)
    relays, diodes, coils, fuse_rating = _add_devices(parts, devices)
    found = loads(snapshot, variant, dictionary)
    feed_of, back_of = _add_load_ends(parts, snapshot, variant, found)
    by_platform: dict[str, list[tuple[PinKey, Pin]]] = {}
    for key, pin in pins.items():
        by_platform.setdefault(key.platform, []).append((key, pin))
    driven = _driven_by_loads(snapshot, found)
    for platform, platform_pins in by_platform.items():
        _add_platform(parts, snapshot, dictionary, snapshot.role_of(platform), platform_pins, driven)
    return Network(
        points=tuple(parts.index),
        index=parts.index,
        a=np.array(parts.a, dtype=np.int64),
        b=np.array(parts.b, dtype=np.int64),
        ohm=np.array(parts.ohm, dtype=float),
        names=tuple(parts.name),
        n_wires=len(routing.wires),
        n_contacts=len(mated),
        wire_ohm_20=np.array(wire_ohm, dtype=float),
        joint_ohm=np.array(joint, dtype=float),
        relays=tuple(relays),
        diodes=np.array(diodes, dtype=np.int64),
        coils=np.array(coils, dtype=np.int64),
        joins=tuple(parts.joins),
        plus=tuple(parts.plus),
        minus=tuple(parts.minus),
        loads=found,
        feed_of=feed_of,
        back_of=back_of,
        fuse_rating_a=fuse_rating,
    )


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


def _is_stud(devices: dict[str, Device], end: DeviceEnd) -> bool:
    device = devices.get(end.device)
    return device is not None and device.kind is DeviceKind.STUD


def _add_devices(
    parts: _Parts, devices: dict[str, Device]
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
            diodes.append(between("A", "K", _DIODE_OHM if own is None else own, "diode"))
    return relays, diodes, coils, fuse_rating


def _add_load_ends(
    parts: _Parts, snapshot: Snapshot, variant: Variant, found: Iterable[Load]
) -> tuple[dict[str, int], dict[str, int]]:
    """Points at which each load takes and gives back its current; an end that stays on its own side is a source."""
    kept = retained(snapshot)
    pins = snapshot.active_pins(variant)
    bodies = {k.platform for k, p in pins.items() if p.kind is Kind.GROUND and p.direction is Direction.OUT}
    feed_of, back_of = {}, {}
    for load in found:
        if load.feed is not None:
            feed_of[load.key] = parts.point(pin_point(load.feed))
            if load.feed in kept:
                parts.plus.append((feed_of[load.key], _ALL))
        if load.backs:
            points = [parts.point(pin_point(b)) for b in load.backs]
            back_of[load.key] = points[0]
            parts.joins.extend((points[0], p, _ALL) for p in points[1:])
            parts.minus.extend((p, _ALL) for p, b in zip(points, load.backs, strict=True) if b in kept)
        elif load.platform in bodies or snapshot.role_of(load.platform) is Role.HOST:
            back_of[load.key] = parts.point(f"body:{load.platform}")
            parts.minus.append((back_of[load.key], _ALL))
    return feed_of, back_of


def _driven_by_loads(snapshot: Snapshot, found: Iterable[Load]) -> dict[str, str]:
    """Signal key -> letters of the cases in which a load on it is on; its driver then conducts."""
    out: dict[str, str] = {}
    for load in found:
        for end in (load.feed, *load.backs):
            signal = snapshot.signal_of.get(end) if end is not None else None
            if signal is not None:
                out[signal.key] = out.get(signal.key, "") + load.states
    return out


def _add_platform(
    parts: _Parts, snapshot: Snapshot, dictionary: Dictionary, role: Role, pins: list[tuple[PinKey, Pin]],
    driven: dict[str, str],
) -> None:  # fmt: skip
    """Sources and joins inside one platform."""
    on_side: dict[Kind, list[int]] = {}
    for key, pin in pins:
        if pin.direction is Direction.IN and not pin.component and pin.kind in SUPPLY_KINDS | {Kind.GROUND}:
            on_side.setdefault(pin.kind, []).append(parts.point(pin_point(key)))
    grounds = on_side.get(Kind.GROUND, [])
    parts.joins.extend((grounds[0], g, _ALL) for g in grounds[1:])
    inner_plus: list[int] = next(
        (on_side[k] for k in (Kind.SUPPLY_87, Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75) if k in on_side), []
    )
    if role is Role.CONTROL:
        for kind in SUPPLY_KINDS:
            same = on_side.get(kind, [])
            parts.joins.extend((same[0], p, _ALL) for p in same[1:])
    body = any(p.kind is Kind.GROUND and p.direction is Direction.OUT for _, p in pins)
    for key, pin in pins:
        if pin.direction is not Direction.OUT or key not in snapshot.signal_of:
            continue
        here = parts.point(pin_point(key))
        signal = snapshot.signal_of[key]
        states = states_of(snapshot, dictionary, key, pin) + driven.get(signal.key, "")
        if pin.kind is Kind.GROUND:
            parts.minus.append((here, _ALL))
        elif pin.kind in BACK_KINDS:
            when = _ALL if pin.kind is Kind.SENSOR_GROUND else states
            if is_host(snapshot, key) or (body and not grounds):
                parts.minus.append((here, when))
            elif grounds:
                parts.joins.append((grounds[0], here, when))
        elif pin.kind in FEED_KINDS:
            if is_host(snapshot, key):
                parts.plus.append((here, LIVE_IN.get(pin.kind, states)))
            elif inner_plus and (role is not Role.DONOR or pin.kind not in SUPPLY_KINDS):
                # An engine's supply out is its alternator, which is not joined to its other supply pins.
                when = _ALL if pin.kind in SUPPLY_KINDS else states
                parts.joins.extend((here, p, when) for p in inner_plus)


def _holds(letters: str, code: str) -> bool:
    return letters == _ALL or code in letters


def _labels(n: int, a: Ints, b: Ints) -> Ints:
    graph = coo_array((np.ones(a.size, dtype=np.int8), (a, b)), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def solve(network: Network, case: LoadCase, wire_ohm: Floats) -> Solution:
    """Solves one load case with these wire resistances [ohm], in the order of the routing's wires.

    Raises StructureError if the currents do not balance, which only absurd resistances bring about.
    """
    n = len(network.points)
    joins = [(a, b) for a, b, when in network.joins if _holds(when, case.code)]
    join = np.array(joins, dtype=np.int64).reshape(-1, 2)
    node = _labels(n, join[:, 0], join[:, 1])
    count = int(node.max()) + 1 if n else 0
    a, b = node[network.a], node[network.b]
    plus = np.zeros(count, dtype=bool)
    minus = np.zeros(count, dtype=bool)
    plus_points = np.array([p for p, when in network.plus if _holds(when, case.code)], dtype=np.int64)
    minus_points = np.array([p for p, when in network.minus if _holds(when, case.code)], dtype=np.int64)
    plus[node[plus_points]] = True
    minus[node[minus_points]] = True
    plus &= ~minus

    ohm = network.ohm.copy()
    ohm[: network.n_wires] = wire_ohm + network.joint_ohm
    active = np.ones(ohm.size, dtype=bool)
    blocking: set[int] = set()
    while True:
        closed = _settle_relays(network, active, a, b, count, plus, minus)
        has_plus, has_minus = _reach(network, active, a, b, count, plus, minus)
        on = [load for load in network.loads if case.code in load.states]
        fed: list[Load] = []
        starved: list[Load] = []
        for load in on:
            f, g = network.feed_of.get(load.key), network.back_of.get(load.key)
            ok = f is not None and g is not None and bool(has_plus[node[f]]) and bool(has_minus[node[g]])
            (fed if ok else starved).append(load)
        volts, amps, inflow = _linear(network, case, active, a, b, count, plus, minus, ohm, node, fed)
        reversed_diodes = [int(d) for d in network.diodes if active[d] and amps[d] < -1e-9]
        if not reversed_diodes:
            break
        blocking.update(reversed_diodes)
        active[:] = True
        active[list(blocking)] = False
    return Solution(
        node=node,
        active=active,
        volts=volts[node],
        amps=amps,
        has_plus=has_plus[node],
        has_minus=has_minus[node],
        fed=tuple(fed),
        starved=tuple(starved),
        open_relays=frozenset(key for key, *_ in network.relays if key not in closed),
        blocking_diodes=np.array(sorted(blocking), dtype=np.int64),
        plus_points=plus_points,
        minus_points=minus_points,
        supply_a=inflow,
    )


def _reach(
    network: Network, active: NDArray[np.bool_], a: Ints, b: Ints, count: int, plus: NDArray[np.bool_],
    minus: NDArray[np.bool_],
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:  # fmt: skip
    """By node: is it joined to a live supply, and to battery minus, other than through a relay coil?"""
    conducts = active.copy()
    conducts[network.coils] = False
    # Current does not pass through a source to the far side of it, so sources split the graph.
    fixed = plus | minus
    inner = conducts & ~fixed[a] & ~fixed[b]
    label = _labels(count, a[inner], b[inner])
    out = []
    for source in (plus, minus):
        touched = np.zeros(count, dtype=bool)
        for near, far in ((a, b), (b, a)):
            edge = conducts & source[near]
            touched[label[far[edge]]] = True
        reach = touched[label]
        reach[fixed] = False
        out.append(reach | source)
    return out[0], out[1]


def _settle_relays(
    network: Network, active: NDArray[np.bool_], a: Ints, b: Ints, count: int, plus: NDArray[np.bool_],
    minus: NDArray[np.bool_],
) -> set[str]:  # fmt: skip
    """Closes the relays whose coil lies between a live supply and battery minus; sets their contacts in ``active``."""
    closed: set[str] = set()
    for _ in range(len(network.relays) + 1):
        for key, _, opens, closes in network.relays:
            active[opens], active[closes] = key in closed, key not in closed
        has_plus, has_minus = _reach(network, active, a, b, count, plus, minus)
        more = {
            key
            for key, coil, _, _ in network.relays
            if (has_plus[a[coil]] and has_minus[b[coil]]) or (has_minus[a[coil]] and has_plus[b[coil]])
        }
        if more <= closed:
            break
        closed |= more
    return closed


def _linear(
    network: Network, case: LoadCase, active: NDArray[np.bool_], a: Ints, b: Ints, count: int,
    plus: NDArray[np.bool_], minus: NDArray[np.bool_], ohm: Floats, node: Ints, fed: Sequence[Load],
) -> tuple[Floats, Floats, float]:  # fmt: skip
    """Node voltages, element currents, and the current that the supplies give."""
    fixed = plus | minus
    volts = np.full(count, np.nan)
    volts[plus], volts[minus] = case.supply_v, 0.0
    # Nodes that some conducting path joins to a fixed one; the others float and stay without a voltage.
    label = _labels(count, a[active], b[active])
    anchored = np.zeros(count, dtype=bool)
    anchored[label[fixed]] = True
    unknown = anchored[label] & ~fixed
    g = np.where(active, 1 / ohm, 0.0)
    offset = np.zeros(ohm.size)
    offset[network.diodes] = DIODE_DROP_V.value
    drawn = np.zeros(count)
    if fed:
        amps_of = np.array([load.current_a or 0.0 for load in fed])
        np.add.at(drawn, node[[network.feed_of[load.key] for load in fed]], amps_of)
        np.add.at(drawn, node[[network.back_of[load.key] for load in fed]], -amps_of)
    place = np.full(count, -1, dtype=np.int64)
    place[unknown] = np.arange(int(unknown.sum()))
    m = int(unknown.sum())
    live = active & (unknown[a] | unknown[b])
    if m:
        ea, eb, eg, eo = a[live], b[live], g[live], offset[live]
        pa, pb = place[ea], place[eb]
        rhs = -drawn[unknown]
        for p, q, other, sign in ((pa, pb, eb, 1.0), (pb, pa, ea, -1.0)):
            inner = p >= 0
            np.add.at(rhs, p[inner], sign * (eg * eo)[inner])
            edge = inner & (q < 0)
            np.add.at(rhs, p[edge], (eg * volts[other])[edge])
        both = (pa >= 0) & (pb >= 0)
        rows = np.concatenate([pa[pa >= 0], pb[pb >= 0], pa[both], pb[both]])
        columns = np.concatenate([pa[pa >= 0], pb[pb >= 0], pb[both], pa[both]])
        values = np.concatenate([eg[pa >= 0], eg[pb >= 0], -eg[both], -eg[both]])
        matrix = coo_array((values, (rows, columns)), shape=(m, m)).tocsc()
        volts[unknown] = splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(rhs)
    amps = np.zeros(ohm.size)
    runs = active & anchored[label[a]]
    amps[runs] = (volts[a[runs]] - volts[b[runs]] - offset[runs]) * g[runs]
    out = drawn.copy()
    np.add.at(out, a, amps)
    np.add.at(out, b, -amps)
    worst = float(np.max(np.abs(out[unknown]), initial=0.0))
    if not worst <= 1e-6 * max(1.0, float(np.max(np.abs(amps), initial=0.0))):
        raise StructureError(f"load case {case.name}: the currents do not balance by {worst:.3g} A; check resistances")
    return volts, amps, float(out[plus].sum())
