"""Snapshots for the store's and the services' tests: small ones by hand, any by hypothesis, big ones by size."""

from __future__ import annotations

from hypothesis import strategies as st

from pinmap.core.loom.wire_kinds import WIRE_KINDS
from pinmap.core.model.jobs import (
    DEFAULT_LOAD_CASES,
    Acceptance,
    Job,
    Member,
    Pick,
    PinFate,
    Practice,
    Seat,
    Signal,
    Snapshot,
)
from pinmap.core.model.looms import Device, DeviceEnd, End, Fixing, Loom, MatedCavity, Mating, Node, Segment, Zone
from pinmap.core.model.pinouts import Cavity, Connector, ConnectorKey, Edition, Housing, Pin, PinKey, Platform
from pinmap.core.model.words import (
    DEVICE_TERMINALS,
    IN_LINE_TERMINALS,
    DeviceKind,
    Direction,
    Evidence,
    Fate,
    FixingKind,
    Gender,
    Joint,
    Kind,
    NodeKind,
    Role,
)


def platform(key: str, role: Role, connectors: int = 1, cavities: int = 4) -> Platform:
    """A platform with connectors X1, X2 ... and cavities 1, 2 ..., all logic inputs or outputs."""
    direction = Direction.OUT if role is Role.DONOR else Direction.IN
    return Platform(
        key=key,
        name=key.title(),
        role=role,
        connectors=tuple(Connector(name=f"X{c}") for c in range(1, connectors + 1)),
        pins=tuple(
            Pin(connector=f"X{c}", cavity=str(n), function=f"Signal {c}.{n}", kind=Kind.LOGIC_12V, direction=direction)
            for c in range(1, connectors + 1)
            for n in range(1, cavities + 1)
        ),
    )


def seats(*platforms: Platform) -> tuple[Seat, ...]:
    """One seat for each platform."""
    return tuple(Seat(key=p.key, name=p.name, role=p.role, picks=(Pick(p.key),)) for p in platforms)


def big_snapshot(pins: int, signals: int) -> Snapshot:
    """Two platforms with ``pins`` pins in all, joined pairwise by ``signals`` signals; the rest is parked."""
    cavities = 50
    connectors = pins // 2 // cavities
    a, b = platform("donor", Role.DONOR, connectors, cavities), platform("host", Role.HOST, connectors, cavities)
    pairs = list(zip(a.pins, b.pins, strict=True))
    return Snapshot(
        Job(
            key="big",
            name="Big",
            seats=seats(a, b),
            signals=tuple(
                Signal(
                    key=f"s{i:04}",
                    number=i,
                    name=f"Signal {i}",
                    members=(Member(end=p.key("donor")), Member(end=q.key("host"))),
                )
                for i, (p, q) in enumerate(pairs[:signals], 1)
            ),
            fates=tuple(
                PinFate(pin=key, fate=Fate.PARKED, reason="not used")
                for p, q in pairs[signals:]
                for key in (p.key("donor"), q.key("host"))
            ),
            next_number=signals + 1,
        ),
        (a, b),
    )


_TEXT = st.text(st.characters(blacklist_categories=("Cs",), blacklist_characters="\x00"), max_size=12)
_NAME = st.text(st.characters(whitelist_categories=("L", "N", "P")), min_size=1, max_size=8)
_KEY = st.text("abcdefghij0123456789-", min_size=1, max_size=6)
# SQLite keeps no negative zero; it equals zero, and what the store gives back is what is hashed.
_AMPS = st.none() | st.floats(0, 1e4).map(lambda x: x + 0.0)
_POSITIVE = st.floats(0.001, 1e3, allow_nan=False)


@st.composite
def _platforms(draw: st.DrawFn, key: str, housings: list[str]) -> Platform:
    editions = draw(st.lists(_KEY, max_size=3, unique=True))
    names = draw(st.lists(_NAME, min_size=1, max_size=3, unique=True))

    def some_editions() -> tuple[str, ...]:
        return tuple(draw(st.lists(st.sampled_from(editions), unique=True, max_size=2))) if editions else ()

    places = draw(st.lists(st.tuples(st.sampled_from(names), _NAME), max_size=8, unique=True))
    return Platform(
        key=key,
        name=draw(_TEXT),
        role=draw(st.sampled_from(Role)),
        editions=tuple(
            Edition(key=e, name=draw(_TEXT), from_year=draw(st.none() | st.integers(1950, 2030)), note=draw(_TEXT))
            for e in editions
        ),
        connectors=tuple(
            Connector(
                name=n,
                description=draw(_TEXT),
                housing=draw(st.sampled_from(["", *housings])),
                gender=draw(st.sampled_from(Gender)),
                sealed=draw(st.booleans()),
                editions=some_editions(),
                place=draw(_TEXT),
            )
            for n in names
        ),
        pins=tuple(
            Pin(
                connector=connector,
                cavity=cavity,
                function=draw(_TEXT),
                function_code=draw(_KEY),
                kind=draw(st.sampled_from(Kind)),
                direction=draw(st.sampled_from(Direction)),
                current_a=draw(_AMPS),
                peak_a=draw(_AMPS),
                wire_mm2=draw(_AMPS),
                editions=some_editions(),
                evidence=draw(st.sampled_from(Evidence)),
                component=draw(st.sampled_from(["", "a", "b"])),
                note=draw(_TEXT),
                extra=tuple(draw(st.lists(st.tuples(_TEXT, _TEXT), max_size=2))),
            )
            for connector, cavity in places
        ),
        nominal_v=draw(_POSITIVE),
        source=draw(_TEXT),
    )


@st.composite
def snapshots(draw: st.DrawFn) -> Snapshot:
    """Any snapshot that does not contradict itself, in the order that the store gives back."""
    housing_keys = sorted(draw(st.lists(st.sampled_from(["own-1", "own-2", "own-10"]), unique=True)), key=len)
    platforms = [draw(_platforms(k, housing_keys)) for k in ("aa", "bb", "cc")[: draw(st.integers(1, 3))]]
    job_seats = tuple(
        Seat(
            key=f"seat-{p.key}",
            name=draw(_TEXT),
            role=p.role,
            picks=tuple(
                Pick(p.key, e)
                for e in (
                    draw(st.lists(st.sampled_from([x.key for x in p.editions]), unique=True)) if p.editions else []
                )
            )
            or (Pick(p.key),),
        )
        for p in platforms
    )
    looms = tuple(Loom(key=k, name=draw(_TEXT)) for k in draw(st.lists(_KEY, min_size=1, max_size=2, unique=True)))
    zones = tuple(
        Zone(
            key=k,
            name=draw(_TEXT),
            ambient_c=draw(st.floats(-40, 150)) + 0.0,
            wet=draw(st.booleans()),
            no_splice=draw(st.booleans()),
            avoid=tuple(draw(st.lists(st.sampled_from(sorted(WIRE_KINDS)), max_size=2))),
            forbid=tuple(draw(st.lists(st.sampled_from(sorted(WIRE_KINDS)), max_size=2))),
        )
        for k in draw(st.lists(_KEY, max_size=2, unique=True))
    )
    connectors = [ConnectorKey(p.key, c.name) for p in platforms for c in p.connectors]
    mates = draw(st.lists(st.sampled_from(connectors), unique=True, max_size=4))
    node_keys = draw(st.lists(_KEY, min_size=len(mates) + 1, max_size=len(mates) + 2, unique=True))
    loom = st.sampled_from([x.key for x in looms])
    nodes = tuple(
        Node(
            key=k,
            loom=draw(loom),
            kind=NodeKind.CONNECTOR if i < len(mates) else draw(st.sampled_from([NodeKind.JUNCTION, NodeKind.PLACE])),
            name=draw(_TEXT),
            mates=mates[i] if i < len(mates) else None,
            housing=draw(st.sampled_from(["", *housing_keys])),
            plugged=draw(st.booleans()),
        )
        for i, k in enumerate(node_keys)
    )
    node = st.sampled_from([n.key for n in nodes])
    segments = tuple(
        Segment(
            key=k,
            loom=draw(loom),
            a=draw(node),
            b=draw(node),
            length_m=draw(_POSITIVE),
            zone=draw(st.sampled_from(["", *(z.key for z in zones)])),
            covering=draw(_TEXT),
        )
        for k in draw(st.lists(_KEY, max_size=4, unique=True))
    )
    devices = tuple(
        Device(
            key=k,
            kind=draw(st.sampled_from(DeviceKind)),
            place=draw(st.sampled_from(["", *node_keys])),
            name=draw(_TEXT),
            rating_a=draw(_AMPS),
            coil_ohm=draw(_AMPS),
            only_with=draw(st.sampled_from(["", platforms[0].key])),
        )
        for k in draw(st.lists(_KEY, max_size=4, unique=True))
    )
    pins = [pin.key(p.key) for p in platforms for pin in p.pins]
    in_line = [d.key for d in devices if d.kind in IN_LINE_TERMINALS and draw(st.booleans())]
    ends: list[End] = [
        *pins,
        *(DeviceEnd(d.key, t) for d in devices if d.key not in in_line for t in DEVICE_TERMINALS[d.kind]),
    ]
    ends = draw(st.permutations(ends))
    signals = []
    for number in range(1, draw(st.integers(0, 4)) + 1):
        take = draw(st.integers(0, min(4, len(ends))))
        mine, ends = ends[:take], ends[take:]
        inline = (in_line.pop(),) if in_line and draw(st.booleans()) else ()
        signals.append(
            Signal(
                key=f"s{number}",
                number=number,
                name=draw(_TEXT),
                function_code=draw(_KEY),
                inline=inline,
                members=tuple(
                    Member(end=e, section=draw(st.integers(0, len(inline))), mm2=draw(st.none() | _POSITIVE))
                    for e in mine
                ),
                twist=draw(_TEXT),
                confirmed=draw(st.booleans()),
                via=tuple(draw(st.lists(st.sampled_from([s.key for s in segments]), max_size=2)) if segments else ()),
                joint=draw(st.sampled_from(Joint)),
            )
        )
    loose = draw(st.permutations([n.key for n in nodes if n.mates is None]))
    matings = tuple(
        Mating(
            key=k,
            a=a,
            b=b,
            note=draw(_TEXT),
            cavities=tuple(
                MatedCavity(cavity=draw(_NAME), signal=s.key, section=draw(st.integers(0, 2)))
                for s in signals
                if draw(st.booleans())
            ),
        )
        for k, a, b in zip(("m1", "m2"), loose[::2], loose[1::2], strict=False)
        if draw(st.booleans())
    )
    fated = [e for e in ends if isinstance(e, PinKey)][: draw(st.integers(0, 4))]
    job = Job(
        key=draw(_KEY),
        name=draw(_TEXT),
        note=draw(_TEXT),
        seats=job_seats,
        signals=tuple(draw(st.permutations(signals))),
        devices=devices,
        looms=looms,
        nodes=nodes,
        segments=segments,
        matings=matings,
        fixings=tuple(
            Fixing(
                key=f"f{i}",
                segment=s.key,
                kind=draw(st.sampled_from(FixingKind)),
                at_m=s.length_m / 2,
                inner_mm=draw(st.sampled_from([6.0, 14.5])),
                part=draw(_TEXT),
            )
            for i, s in enumerate(segments)
            if draw(st.booleans())
        ),
        zones=zones,
        fates=tuple(PinFate(pin=p, fate=draw(st.sampled_from(Fate)), reason=draw(_TEXT)) for p in fated),
        load_cases=DEFAULT_LOAD_CASES[: draw(st.integers(1, 5))],
        practice=Practice(stock_mm2=(0.5, 1.0), units=draw(st.sampled_from(["metric", "awg"]))),
        acceptances=tuple(Acceptance(finding=draw(_TEXT), by=draw(_TEXT), reason=draw(_TEXT)) for _ in range(2)),
        next_number=len(signals) + 1,
    )
    used = {c.housing for p in platforms for c in p.connectors} | {n.housing for n in nodes}
    housings = tuple(
        Housing(key=k, name=draw(_TEXT), cavities=(Cavity(name="1", column=0.5, row=0.0),), lock="top")
        for k in housing_keys
        if k in used
    )
    return Snapshot(job, tuple(platforms), housings)
