"""Builds jobs with looms: small ones by hand in a few lines, and big valid ones for benchmarks."""

from __future__ import annotations

from collections.abc import Iterable

from pinmap.core.model.jobs import Job, Member, Pick, Practice, Seat, Signal, Snapshot
from pinmap.core.model.looms import Device, DeviceEnd, Loom, MatedCavity, Mating, Node, Segment, Zone
from pinmap.core.model.pinouts import Cavity, Connector, ConnectorKey, Housing, Pin, PinKey, Platform
from pinmap.core.model.words import DeviceKind, Direction, Evidence, Gender, Kind, NodeKind, Role


class JobMaker:
    """Collects a job piece by piece. Platform keys: "h" host, "d" donor, "u" control unit; a pin is "d:X1-4"."""

    def __init__(self, practice: Practice | None = None) -> None:
        self.practice = practice or Practice()
        self.roles = {"h": Role.HOST, "d": Role.DONOR, "u": Role.CONTROL}
        self.pins: dict[str, dict[tuple[str, str], Pin]] = {"h": {}, "d": {}, "u": {}}
        self.signals: list[Signal] = []
        self.devices: list[Device] = []
        self.nodes: list[Node] = []
        self.segments: list[Segment] = []
        self.zones: list[Zone] = []
        self.looms: list[str] = ["main"]
        self.matings: list[Mating] = []
        self.housings: list[Housing] = []

    def key(self, text: str) -> PinKey:
        platform, _, rest = text.partition(":")
        connector, _, cavity = rest.partition("-")
        return PinKey(platform, connector, cavity)

    def pin(
        self, text: str, kind: Kind = Kind.UNKNOWN, direction: Direction = Direction.PASSIVE, *,
        amps: float | None = None, peak: float | None = None, component: str = "", mm2: float | None = None,
        colour: str = "", code: str = "",
    ) -> PinKey:  # fmt: skip
        key = self.key(text)
        self.pins[key.platform][(key.connector, key.cavity)] = Pin(
            connector=key.connector, cavity=key.cavity, function=code or text, function_code=code, kind=kind,
            direction=direction, current_a=amps, peak_a=peak, component=component, wire_mm2=mm2, wire_colour=colour,
            evidence=Evidence.MANUAL,
        )  # fmt: skip
        return key

    def end(self, text: str) -> PinKey | DeviceEnd:
        if ":" not in text:
            device, _, terminal = text.partition(".")
            return DeviceEnd(device, terminal)
        key = self.key(text)
        if (key.connector, key.cavity) not in self.pins[key.platform]:
            self.pin(text)
        return key

    def signal(
        self, *ends: str | tuple[str, int], inline: Iterable[str] = (), mm2: float | None = None, colour: str = "",
        code: str = "", twist: str = "", screen: str = "",
    ) -> Signal:  # fmt: skip
        number = len(self.signals) + 1
        members = tuple(
            Member(end=self.end(e)) if isinstance(e, str) else Member(end=self.end(e[0]), section=e[1]) for e in ends
        )
        made = Signal(
            key=f"s{number:04d}", number=number, name=f"Signal {number}", function_code=code, members=members,
            inline=tuple(inline), mm2=mm2, colour=colour, twist=twist, screen=screen, confirmed=True,
        )  # fmt: skip
        self.signals.append(made)
        return made

    def device(self, key: str, kind: DeviceKind, place: str, **values: object) -> None:
        self.devices.append(Device(key=key, kind=kind, place=place, **values))  # type: ignore[arg-type]  # test helper

    def mate(self, node: str, connector: str) -> None:
        """A loom connector that mates with "d:X1"."""
        platform, _, name = connector.partition(":")
        self.nodes.append(
            Node(
                key=node, loom=self.looms[-1], kind=NodeKind.CONNECTOR, name=node.upper(),
                mates=ConnectorKey(platform, name),
            )
        )  # fmt: skip

    def loom(self, key: str) -> None:
        """What comes after is part of this loom."""
        self.looms = [*(k for k in self.looms if k != key), key]

    def housing(self, key: str, cavities: int, *, rows: int = 1, **values: object) -> None:
        places = (Cavity(name=str(i + 1), column=i % (cavities // rows), row=i * rows // cavities)
                  for i in range(cavities))  # fmt: skip
        self.housings.append(
            Housing(key=key, name=key, cavities=tuple(places), **values)  # type: ignore[arg-type]  # test helper
        )

    def in_line(self, node: str, housing: str = "", gender: Gender = Gender.UNKNOWN, **values: object) -> None:
        """A connector that is to mate with one of another loom."""
        self.nodes.append(
            Node(
                key=node, loom=self.looms[-1], kind=NodeKind.CONNECTOR, name=node.upper(), housing=housing,
                gender=gender, **values,  # type: ignore[arg-type]  # test helper
            )
        )  # fmt: skip

    def plug(self, key: str, a: str, b: str, *cavities: MatedCavity) -> None:
        """Two in-line connectors plugged into each other."""
        self.matings.append(Mating(key=key, a=a, b=b, cavities=cavities))

    def junction(self, *keys: str, kind: NodeKind = NodeKind.JUNCTION) -> None:
        self.nodes.extend(Node(key=k, loom=self.looms[-1], kind=kind, name=k.upper()) for k in keys)

    def run(self, a: str, b: str, length_m: float, zone: str = "") -> None:
        loom = next((n.loom for n in self.nodes if n.key == a), "main")
        self.segments.append(
            Segment(key=f"g{len(self.segments) + 1}", loom=loom, a=a, b=b, length_m=length_m, zone=zone)
        )

    def snapshot(self) -> Snapshot:
        platforms = []
        for key, pins in self.pins.items():
            if pins:
                names = dict.fromkeys(connector for connector, _ in pins)
                platforms.append(
                    Platform(
                        key=key, name=key.upper(), role=self.roles[key],
                        connectors=tuple(Connector(name=n) for n in names), pins=tuple(pins.values()),
                    )
                )  # fmt: skip
        job = Job(
            key="job",
            name="Job",
            seats=tuple(
                Seat(key=p.role.value, name=p.role.value, role=p.role, picks=(Pick(p.key),)) for p in platforms
            ),
            signals=tuple(self.signals),
            devices=tuple(self.devices),
            looms=tuple(Loom(key=key, name=f"{key.capitalize()} loom") for key in self.looms),
            nodes=tuple(self.nodes),
            segments=tuple(self.segments),
            matings=tuple(self.matings),
            zones=tuple(self.zones),
            practice=self.practice,
            next_number=len(self.signals) + 1,
        )
        return Snapshot(job, tuple(platforms), tuple(self.housings))


def two_looms(cavities: int = 6, **half: object) -> JobMaker:
    """An engine loom and a chassis loom: each a junction with two connectors, 0.5 m and 0.3 m from the pair X9 that
    joins them. In the engine loom lie the donor's connectors, in the chassis loom the host's and the control unit's."""
    m = JobMaker(Practice(min_mm2=0.35, max_splices=0))
    m.housing("plug", cavities, gender=Gender.PIN, family="in-line")
    m.housing("cap", cavities, gender=Gender.SOCKET, family="in-line")
    for loom, half_key, housing, gender, reach_m, mates in (
        ("main", "xe", "plug", Gender.PIN, 0.5, ("d:E1", "d:E2")),
        ("chassis", "xc", "cap", Gender.SOCKET, 0.3, ("h:B1", "u:U1")),
    ):
        if loom != "main":
            m.loom(loom)
        m.junction(f"j-{loom}")
        m.in_line(half_key, housing, gender, **half)
        m.run(f"j-{loom}", half_key, reach_m)
        for i, connector in enumerate(mates):
            m.mate(connector.partition(":")[2].lower(), connector)
            m.run(f"j-{loom}", connector.partition(":")[2].lower(), 0.2 + 0.1 * i)
    m.plug("x9", "xe", "xc")
    return m


def big_snapshot(n_blocks: int = 88, n_connectors: int = 60, n_sensors: int = 20, n_trunks: int = 1) -> Snapshot:
    """A big valid job. One block is about 14 + ``n_sensors`` wires (88 blocks: 3,000 wires): a fused relay feed to four
    loads, two of them back over a splice to battery minus and two over the control unit's drivers, the relay's coil,
    and sensors. The loom is a trunk with ``n_connectors`` branches, or several such in a row, each with its share of
    the blocks; of each block one sensor is read on the next trunk."""
    m = JobMaker()
    m.zones = [Zone(key="bay", name="Engine bay", ambient_c=85.0), Zone(key="cab", name="Cab", ambient_c=45.0)]
    sides = "hdu"
    connectors = [f"{sides[i % 3]}:C{i:03d}" for i in range(n_connectors * n_trunks)]
    on_trunk = [connectors[t * n_connectors : (t + 1) * n_connectors] for t in range(n_trunks)]
    by_side = [{side: [c for c in own if c[0] == side] for side in sides} for own in on_trunk]
    used = dict.fromkeys(connectors, 0)
    turn = [dict.fromkeys(sides, 0) for _ in on_trunk]

    def pin(trunk: int, side: str, kind: Kind, direction: Direction, **values: object) -> str:
        turn[trunk][side] += 1
        connector = by_side[trunk][side][turn[trunk][side] % len(by_side[trunk][side])]
        used[connector] += 1
        text = f"{connector}-{used[connector]}"
        m.pin(text, kind, direction, **values)  # type: ignore[arg-type]  # test helper
        return text

    previous = ""
    for i, connector in enumerate(connectors):
        m.junction(f"j{i}")
        m.mate(f"x{i}", connector)
        zone = "cab" if connector[0] == "h" else "bay"
        m.run(f"j{i}", f"x{i}", 0.2 + 0.05 * (i % 7), zone)
        if previous:
            m.run(previous, f"j{i}", 0.1, zone)
        previous = f"j{i}"
    boxes = [f"box{t}" if t else "box" for t in range(n_trunks)]
    for trunk, box in enumerate(boxes):
        m.junction(box, kind=NodeKind.PLACE)
        m.run(box, f"j{trunk * n_connectors + n_connectors // 2}", 0.3, "cab")
    for trunk in range(n_trunks):
        for _ in range(24):
            m.signal(
                pin(trunk, "u", Kind.GROUND, Direction.IN, mm2=2.5),
                pin(trunk, "h", Kind.GROUND, Direction.OUT, mm2=2.5),
                code="",
            )
    for block in range(n_blocks):
        f, k = f"F{block + 1}", f"K{block + 1}"
        trunk = block % n_trunks
        m.device(f, DeviceKind.FUSE, boxes[trunk], rating_a=15.0)
        m.device(k, DeviceKind.RELAY, boxes[trunk], rating_a=30.0, coil_ohm=90.0, suppressed=True)
        feeds = [
            pin(trunk, "d", Kind.HIGH_SIDE, Direction.IN, amps=amps, component=f"load{block}-{i}", mm2=1.0)
            for i, amps in enumerate((1.5, 1.5, 0.4, 0.4))
        ]
        source = pin(trunk, "h", Kind.SUPPLY_30, Direction.OUT, mm2=2.5)
        m.signal(source, *((feed, 2) for feed in feeds), inline=(f, k))
        backs = [pin(trunk, "d", Kind.GROUND, Direction.IN, component=f"load{block}-{i}", mm2=1.0) for i in range(2)]
        m.signal(*backs, pin(trunk, "h", Kind.GROUND, Direction.OUT, mm2=2.5))
        for i in range(2, 4):
            m.signal(
                pin(trunk, "d", Kind.LOW_SIDE, Direction.IN, component=f"load{block}-{i}", mm2=1.0),
                pin(trunk, "u", Kind.LOW_SIDE, Direction.OUT, mm2=0.75),
            )
        m.signal(pin(trunk, "h", Kind.SUPPLY_15, Direction.OUT), f"{k}.86")
        m.signal(f"{k}.85", pin(trunk, "u", Kind.LOW_SIDE, Direction.OUT))
        for sensor in range(n_sensors):
            m.signal(
                pin(trunk, "d", Kind.ANALOGUE_5V, Direction.OUT, mm2=0.5, colour="GN"),
                pin((trunk + (sensor == 0)) % n_trunks, "u", Kind.ANALOGUE_5V, Direction.IN),
            )
    return m.snapshot()
