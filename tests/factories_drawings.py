"""A small engine conversion, and random looms, for what is drawn and traced."""

from __future__ import annotations

import random
from dataclasses import replace

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Job, Member, Pick, Seat, Signal, Snapshot
from pinmap.core.model.looms import Device, DeviceEnd, Loom, Node, Segment, Zone
from pinmap.core.model.pinouts import Cavity, Connector, ConnectorKey, Housing, Pin, PinKey, Platform
from pinmap.core.model.words import DeviceKind, Direction, Evidence, Gender, Kind, NodeKind, Role

IN, OUT, BOTH = Direction.IN, Direction.OUT, Direction.BOTH
_EVIDENCE = {"?": Evidence.ASSUMED, "m": Evidence.MANUAL, "x": Evidence.MEASURED}


def _pin(
    place: str,
    function: str,
    kind: Kind,
    direction: Direction,
    component: str = "",
    evidence: str = "m",
    current_a: float | None = None,
) -> Pin:
    connector, cavity = place.split("-")
    return Pin(
        connector=connector,
        cavity=cavity,
        function=function,
        kind=kind,
        direction=direction,
        component=component,
        evidence=_EVIDENCE[evidence],
        evidence_ref="sheet 7" if evidence == "m" else "",
        current_a=current_a,
    )


def grid(key: str, cavities: int, rows: int = 1, **fields: object) -> Housing:
    """A housing with its cavities in rows, numbered from the top left."""
    across = -(-cavities // rows)
    spots = tuple(Cavity(name=str(i + 1), column=i % across, row=i // across) for i in range(cavities))
    return replace(Housing(key=key, name=key, cavities=spots), **fields)  # type: ignore[arg-type]  # fields of Housing


def _platforms() -> tuple[Platform, ...]:
    host = Platform(
        key="brindle",
        name="Brindle 6",
        role=Role.HOST,
        connectors=tuple(Connector(name=n, place=p) for n, p in (("C101", "bulkhead, left"), ("C102", "battery tray"))),
        pins=(
            _pin("C101-1", "Battery feed", Kind.SUPPLY_30, OUT, evidence="x"),
            _pin("C101-2", "Ignition feed", Kind.SUPPLY_15, OUT, evidence="x"),
            _pin("C101-3", "Tachometer", Kind.PULSE, IN, evidence="?"),
            _pin("C101-4", "Temperature gauge", Kind.RESISTIVE, IN, evidence="?"),
            _pin("C101-5", "CAN high", Kind.CAN_H, BOTH),
            _pin("C101-6", "CAN low", Kind.CAN_L, BOTH),
            _pin("C102-1", "Chassis ground", Kind.GROUND, OUT, evidence="x"),
            _pin("C102-2", "Chassis ground", Kind.GROUND, OUT, evidence="x"),
        ),
    )
    injectors = [
        _pin(
            f"E1-{2 * i + side}",
            f"Injector {i} {'high' if side == 0 else 'low'}",
            Kind.INJECTOR_BOOSTED,
            IN,
            f"Injector {i}",
        )
        for i in (1, 2)
        for side in (0, 1)
    ]
    donor = Platform(
        key="q24",
        name="Quern Q24",
        role=Role.DONOR,
        connectors=tuple(Connector(name=n, place="engine") for n in ("E1", "E2", "E3")),
        pins=(
            *injectors,
            _pin("E2-1", "Crank sensor signal", Kind.HALL, OUT, "Crank sensor", "x"),
            _pin("E2-2", "Crank sensor supply", Kind.REFERENCE_5V, IN, "Crank sensor", "x"),
            _pin("E2-3", "Crank sensor ground", Kind.SENSOR_GROUND, IN, "Crank sensor", "x"),
            _pin("E2-4", "Rail pressure signal", Kind.ANALOGUE_5V, OUT, "Rail pressure sensor"),
            _pin("E2-5", "Rail pressure supply", Kind.REFERENCE_5V, IN, "Rail pressure sensor"),
            _pin("E2-6", "Rail pressure ground", Kind.SENSOR_GROUND, IN, "Rail pressure sensor"),
            _pin("E3-1", "Fuel metering valve feed", Kind.HIGH_SIDE, IN, "Fuel metering valve", current_a=1.8),
            _pin("E3-2", "Fuel metering valve drive", Kind.PWM_LOW_SIDE, IN, "Fuel metering valve"),
            _pin("E3-3", "Boost solenoid feed", Kind.HIGH_SIDE, IN, "Boost solenoid", current_a=0.9),
            _pin("E3-4", "Boost solenoid drive", Kind.LOW_SIDE, IN, "Boost solenoid"),
        ),
    )
    drivers = [
        _pin(f"K2-{2 * i + side}", f"Injector {i} {'high' if side == 0 else 'low'}", Kind.INJECTOR_BOOSTED, OUT)
        for i in (1, 2)
        for side in (0, 1)
    ]
    unit = Platform(
        key="qf2",
        name="Quern QF-2",
        role=Role.CONTROL,
        connectors=(Connector(name="K1"), Connector(name="K2")),
        pins=(
            _pin("K1-1", "Unit supply", Kind.SUPPLY_87, IN, current_a=6.0),
            _pin("K1-2", "Ignition sense", Kind.SUPPLY_15, IN, current_a=0.1),
            _pin("K1-3", "Unit ground", Kind.GROUND, IN),
            _pin("K1-4", "Unit ground", Kind.GROUND, IN),
            _pin("K1-5", "Main relay drive", Kind.LOW_SIDE, OUT),
            _pin("K1-6", "CAN high", Kind.CAN_H, BOTH),
            _pin("K1-7", "CAN low", Kind.CAN_L, BOTH),
            _pin("K1-8", "Sensor supply", Kind.REFERENCE_5V, OUT),
            _pin("K1-9", "Sensor ground", Kind.SENSOR_GROUND, OUT),
            _pin("K1-10", "Crank sensor signal", Kind.HALL, IN),
            _pin("K1-11", "Rail pressure signal", Kind.ANALOGUE_5V, IN),
            _pin("K1-12", "Metering valve drive", Kind.PWM_LOW_SIDE, OUT),
            _pin("K2-1", "Boost solenoid drive", Kind.LOW_SIDE, OUT),
            _pin("K2-6", "Tachometer output", Kind.PULSE, OUT),
            *drivers,
        ),
    )
    return host, donor, unit


def _ends(*texts: str) -> list[tuple[PinKey | DeviceEnd, int]]:
    """ "C101-1" names a pin, "K9.85" a device's terminal; "/1" says which section."""
    owner = {"C": "brindle", "E": "q24", "K": "qf2"}
    out: list[tuple[PinKey | DeviceEnd, int]] = []
    for text in texts:
        name, _, section = text.partition("/")
        if "." in name:
            out.append((DeviceEnd(*name.split(".")), int(section or 0)))
        else:
            connector, cavity = name.split("-")
            out.append((PinKey(owner[connector[0]], connector, cavity), int(section or 0)))
    return out


_SIGNALS = (
    ("Main feed", ("C101-1", "K1-1/2", "E3-1/2", "E3-3/2"), ("F1", "R1"), "RD", 2.5),
    ("Ignition feed", ("C101-2", "K1-2", "R1.86"), (), "BKRD", 0.75),
    ("Main relay drive", ("K1-5", "R1.85"), (), "BN", 0.75),
    ("Unit ground", ("C102-1", "K1-3", "K1-4"), (), "BK", 2.5),
    ("CAN high", ("C101-5", "K1-6"), (), "YE", 0.5),
    ("CAN low", ("C101-6", "K1-7"), (), "GN", 0.5),
    ("Sensor supply", ("K1-8", "E2-2", "E2-5"), (), "OG", 0.75),
    ("Sensor ground", ("K1-9", "E2-3", "E2-6"), (), "BNWH", 0.75),
    ("Crank signal", ("E2-1", "K1-10"), (), "WH", 0.75),
    ("Rail pressure", ("E2-4", "K1-11"), (), "VT", 0.75),
    ("Metering valve drive", ("E3-2", "K1-12"), (), "BUYE", 1.0),
    ("Boost solenoid drive", ("E3-4", "K2-1"), (), "GY", 0.75),
    ("Tachometer", ("K2-6", "C101-3"), (), "TQ", 0.5),
    ("Injector 1 high", ("K2-2", "E1-2"), (), "RDWH", 1.5),
    ("Injector 1 low", ("K2-3", "E1-3"), (), "BUWH", 1.5),
    ("Injector 2 high", ("K2-4", "E1-4"), (), "RDYE", 1.5),
    ("Injector 2 low", ("K2-5", "E1-5"), (), "BUGN", 1.5),
)


def small_job() -> Snapshot:
    """Seven connectors, a fuse and a relay, seventeen signals; C101-4 and C102-2 are left undecided."""
    signals = tuple(
        Signal(
            key=f"s{i:03}",
            number=i,
            name=name,
            members=tuple(Member(end=end, section=section) for end, section in _ends(*ends)),
            inline=inline,
            colour=colour,
            mm2=mm2,
            twist="can" if name.startswith("CAN") else "",
        )
        for i, (name, ends, inline, colour, mm2) in enumerate(_SIGNALS, 1)
    )
    mates = {"C101": "brindle", "C102": "brindle", "E1": "q24", "E2": "q24", "E3": "q24", "K1": "qf2", "K2": "qf2"}
    housings = (grid("h6", 6, 2, sealed=True, lock="top", gender=Gender.SOCKET), grid("h12", 12, 2))
    nodes = [
        Node(
            key=f"n-{c.lower()}",
            loom="main",
            kind=NodeKind.CONNECTOR,
            name=f"X-{c}",
            mates=ConnectorKey(p, c),
            housing="h12",
        )
        for c, p in mates.items()
    ]
    nodes += [Node(key=f"j{i}", loom="main", kind=NodeKind.JUNCTION, name=f"J{i}") for i in (1, 2, 3)]
    nodes.append(Node(key="box", loom="main", kind=NodeKind.PLACE, name="Fuse box"))
    runs = (
        ("j1", "j2", 1.1, "bay"),
        ("j2", "j3", 0.8, "bay"),
        ("n-c101", "j1", 0.45, "cabin"),
        ("n-c102", "j1", 0.6, "bay"),
        ("box", "j1", 0.25, "bay"),
        ("n-k1", "j2", 0.4, "bay"),
        ("n-k2", "j2", 0.42, "bay"),
        ("n-e1", "j3", 0.5, "hot"),
        ("n-e2", "j3", 0.35, "hot"),
        ("n-e3", "j3", 0.3, "hot"),
    )
    segments = tuple(
        Segment(key=f"g{i}", loom="main", a=a, b=b, length_m=m, zone=z) for i, (a, b, m, z) in enumerate(runs, 1)
    )
    job = Job(
        key="small",
        name="Small conversion",
        seats=(
            Seat(key="host", name="Host", role=Role.HOST, picks=(Pick("brindle"),)),
            Seat(key="donor", name="Donor", role=Role.DONOR, picks=(Pick("q24"),)),
            Seat(key="unit", name="Control unit", role=Role.CONTROL, picks=(Pick("qf2"),)),
        ),
        signals=signals,
        devices=(
            Device(key="F1", kind=DeviceKind.FUSE, place="box", rating_a=20.0),
            Device(key="R1", kind=DeviceKind.RELAY, place="box", name="R1", coil_ohm=90.0),
        ),
        looms=(Loom(key="main", name="Adapter loom"),),
        nodes=tuple(nodes),
        segments=segments,
        zones=(
            Zone(key="bay", name="Engine bay", ambient_c=80, wet=True),
            Zone(key="hot", name="Beside the turbine", ambient_c=120, hot=True),
            Zone(key="cabin", name="Cabin", ambient_c=50),
        ),
    )
    return Snapshot(job=job, platforms=_platforms(), housings=housings)


def routed(snapshot: Snapshot) -> Routing:
    return route(snapshot, snapshot.variants[0])


def even_report(snapshot: Snapshot, routing: Routing) -> ElectricalReport:
    """Every point of a wire at the supply's voltage less a little per wire: no physics, but numbers to be written."""
    by_case = {}
    for case in snapshot.job.load_cases:
        points: dict[str, float] = {}
        for i, wire in enumerate(routing.wires):
            for side, end in enumerate((wire.a, wire.b)):
                points.setdefault(end.point, case.supply_v - 0.01 * i - 0.002 * side)
                if end.pin is not None:
                    points.setdefault(end.point.replace("loom:", "pin:", 1), points[end.point])
        by_case[case.key] = points
    return ElectricalReport(voltage_v=by_case)


def hostile(snapshot: Snapshot, text: str) -> Snapshot:
    """The same job with ``text`` wherever a user may type."""
    job = snapshot.job
    return replace(
        snapshot,
        job=replace(
            job,
            name=text,
            signals=tuple(replace(s, name=text, colour=text, note=text, twist=text) for s in job.signals),
            devices=tuple(replace(d, name=text) for d in job.devices),
            nodes=tuple(replace(n, name=text) for n in job.nodes),
            zones=tuple(replace(z, name=text) for z in job.zones),
            looms=tuple(replace(m, name=text) for m in job.looms),
        ),
        platforms=tuple(
            replace(
                p,
                name=text,
                connectors=tuple(replace(c, place=text, description=text) for c in p.connectors),
                pins=tuple(
                    replace(x, function=text, wire_colour=text, component=x.component and x.component + text)
                    for x in p.pins
                ),
            )
            for p in snapshot.platforms
        ),
    )


def random_loom(connectors: int, seed: int, loops: int = 0) -> Snapshot:
    """A tree of junctions with connectors at its tips, lengths from 5 cm to 2 m, and a few loops."""
    rng = random.Random(seed)
    junctions = max(2, connectors // 3)
    nodes = [Node(key=f"j{i}", loom="main", kind=NodeKind.JUNCTION, name=f"J{i}") for i in range(junctions)]
    nodes += [
        Node(key=f"x{i}", loom="main", kind=NodeKind.CONNECTOR, name=f"X{i}", mates=ConnectorKey("p", f"P{i}"))
        for i in range(connectors)
    ]
    runs = [(f"j{i}", f"j{rng.randrange(max(0, i - 3), i)}") for i in range(1, junctions)]
    runs += [(f"x{i}", f"j{rng.randrange(junctions)}") for i in range(connectors)]
    for _ in range(loops):
        a, b = rng.sample(range(junctions), 2)
        runs.append((f"j{a}", f"j{b}"))
    segments = tuple(
        Segment(key=f"g{i}", loom="main", a=a, b=b, length_m=round(rng.uniform(0.05, 2.0), 3))
        for i, (a, b) in enumerate(runs)
    )
    platform = Platform(
        key="p", name="Quern Q24", role=Role.DONOR, connectors=tuple(Connector(name=f"P{i}") for i in range(connectors))
    )
    job = Job(
        key="random",
        name="Random loom",
        seats=(Seat(key="donor", name="Donor", role=Role.DONOR, picks=(Pick("p"),)),),
        looms=(Loom(key="main", name="Loom"),),
        nodes=tuple(nodes),
        segments=segments,
    )
    return Snapshot(job=job, platforms=(platform,))
