"""A small correct job with nothing to complain of, and one-step changes to it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from pinmap.core.facts.functions import dictionary
from pinmap.core.model.jobs import Job, Member, Pick, PinFate, Seat, Signal, Snapshot
from pinmap.core.model.looms import Device, DeviceEnd, End, Loom, Node, Segment, Zone
from pinmap.core.model.pinouts import Cavity, Connector, ConnectorKey, Edition, Housing, Pin, PinKey, Platform
from pinmap.core.model.words import DeviceKind, Direction, Evidence, Fate, Gender, Kind, NodeKind, Role
from pinmap.core.rules.finding import Finding
from pinmap.core.rules.registry import run_all

IN, OUT, BOTH = Direction.IN, Direction.OUT, Direction.BOTH
HOST, UNIT, DONOR = "brindle-6", "quern-qf2", "quern-q24"


def grid(key: str, columns: int, rows: int, gender: Gender, *, sealed: bool = True) -> Housing:
    """A housing of columns x rows cavities, numbered row by row, and for large contacts."""
    cavities = tuple(
        Cavity(name=str(r * columns + c + 1), column=float(c), row=float(r))
        for r in range(rows)
        for c in range(columns)
    )
    return Housing(
        key=f"{key}-{gender.value}",
        name=f"{key} {gender.value} half",
        cavities=cavities,
        gender=gender,
        family=key,
        keying="A",
        sealed=sealed,
        terminal="blade-2.8-sealed" if sealed else "blade-2.8",
    )


HOUSINGS = tuple(
    grid(key, columns, rows, gender, sealed=sealed)
    for key, columns, rows, sealed in (("g12", 6, 2, True), ("g3", 3, 1, True), ("g2", 2, 1, True), ("g1", 1, 1, False))
    for gender in (Gender.PIN, Gender.SOCKET)
)


def pin(connector: str, cavity: int, code: str, kind: Kind, direction: Direction, **more: Any) -> Pin:
    values: dict[str, Any] = {
        "connector": connector,
        "cavity": str(cavity),
        "function": code,
        "function_code": code,
        "kind": kind,
        "direction": direction,
        "evidence": Evidence.MEASURED,
    }
    return Pin(**(values | more))


def _connector(name: str, housing: str) -> Connector:
    return Connector(name=name, housing=f"{housing}-{Gender.PIN.value}", gender=Gender.PIN, sealed=housing != "g1")


def host() -> Platform:
    return Platform(
        key=HOST,
        name="Brindle 6",
        role=Role.HOST,
        editions=(
            Edition(key="early", name="1998-2001", from_year=1998, to_year=2001),
            Edition(key="late", name="2002-2006", from_year=2002, to_year=2006),
        ),
        connectors=(_connector("H1", "g12"),),
        pins=(
            pin("H1", 1, "PERM", Kind.SUPPLY_30, OUT),
            pin("H1", 2, "IGN", Kind.SUPPLY_15, OUT, extra=(("fuse_a", "5"),)),
            pin("H1", 3, "ACC", Kind.SUPPLY_75, OUT, extra=(("fuse_a", "5"),)),
            pin("H1", 4, "GND", Kind.GROUND, OUT),
            pin("H1", 5, "CAN_H", Kind.CAN_H, BOTH, extra=(("terminator_ohm", "120"),)),
            pin("H1", 6, "SRS_LAMP", Kind.RESTRAINT, IN),
            pin("H1", 7, "HORN", Kind.HIGH_SIDE, OUT),
            pin("H1", 11, "CAN_L", Kind.CAN_L, BOTH, extra=(("terminator_ohm", "120"),)),
        ),
    )


def unit() -> Platform:
    return Platform(
        key=UNIT,
        name="Quern QF-2",
        role=Role.CONTROL,
        connectors=(_connector("U1", "g12"),),
        pins=(
            pin("U1", 1, "ECM_MAIN", Kind.SUPPLY_87, IN, current_a=4.0),
            pin("U1", 2, "ECM_IGN", Kind.SUPPLY_15, IN, current_a=0.05),
            pin("U1", 3, "ECM_GND", Kind.GROUND, IN, current_a=4.0),
            pin("U1", 4, "SGND", Kind.SENSOR_GROUND, OUT),
            pin("U1", 5, "REF5", Kind.REFERENCE_5V, OUT, current_a=0.1),
            pin("U1", 6, "FRP", Kind.ANALOGUE_5V, IN),
            pin("U1", 7, "CKP+", Kind.INDUCTIVE, IN),
            pin("U1", 8, "CKP-", Kind.INDUCTIVE, IN),
            pin("U1", 9, "MRLY", Kind.LOW_SIDE, OUT),
            pin("U1", 10, "CAN_H", Kind.CAN_H, BOTH, extra=(("terminator_ohm", "0"),)),
            pin("U1", 11, "CAN_L", Kind.CAN_L, BOTH, extra=(("terminator_ohm", "none"),)),
            pin("U1", 12, "PUMP_AR_RET", Kind.LOW_SIDE, OUT),
        ),
    )


def donor() -> Platform:
    return Platform(
        key=DONOR,
        name="Quern Q24",
        role=Role.DONOR,
        connectors=(_connector("D1", "g3"), _connector("D2", "g2"), _connector("D3", "g2"), _connector("D4", "g1")),
        pins=(
            pin("D1", 1, "FRP_REF", Kind.REFERENCE_5V, IN, current_a=0.01, component="rail sensor"),
            pin("D1", 2, "FRP", Kind.ANALOGUE_5V, OUT, component="rail sensor"),
            pin("D1", 3, "FRP_RTN", Kind.SENSOR_GROUND, IN, component="rail sensor"),
            pin("D2", 1, "CKP+", Kind.INDUCTIVE, OUT, component="crank sensor"),
            pin("D2", 2, "CKP-", Kind.INDUCTIVE, OUT, component="crank sensor"),
            pin("D3", 1, "PUMP_AR", Kind.SUPPLY_87, IN, current_a=2.0, component="after-run pump"),
            pin("D3", 2, "PUMP_AR_RET", Kind.LOW_SIDE, IN, component="after-run pump"),
            pin("D4", 1, "GND_ENG", Kind.GROUND, OUT),
        ),
    )


def p(text: str) -> PinKey:
    """ "H1-4" -> the pin of the platform to which the letter belongs."""
    connector, cavity = text.split("-")
    return PinKey({"H": HOST, "U": UNIT, "D": DONOR}[connector[0]], connector, cavity)


def end(text: str) -> End:
    if "." in text:
        device, terminal = text.split(".")
        return DeviceEnd(device, terminal)
    return p(text)


def signal(number: int, name: str, *ends: str, colour: str, mm2: float = 0.75, **more: Any) -> Signal:
    """Ends are "H1-4" or "K1.85"; "@2" behind one puts it into section 2."""
    members = []
    for text in ends:
        what, _, section = text.partition("@")
        members.append(Member(end=end(what), section=int(section or 0)))
    return Signal(
        key=f"s{number}",
        number=number,
        name=name,
        members=tuple(members),
        colour=colour,
        mm2=mm2,
        confirmed=True,
        **more,
    )


def signals() -> tuple[Signal, ...]:
    return (
        signal(1, "Main feed", "H1-1", "K1.86@1", "U1-1@2", "D3-1@2", colour="RD", mm2=2.5, inline=("F1", "K1")),
        signal(2, "Main relay", "K1.85", "U1-9", colour="BN"),
        signal(3, "Ignition", "H1-2", "U1-2", colour="GN"),
        signal(4, "Unit ground", "U1-3", "D4-1", colour="BK", mm2=2.5),
        signal(5, "Reference", "U1-5", "D1-1", colour="RDWH"),
        signal(6, "Rail pressure", "D1-2", "U1-6", colour="GY"),
        signal(7, "Sensor ground", "D1-3", "U1-4", colour="BNWH"),
        signal(8, "Crank plus", "D2-1", "U1-7", colour="WH", twist="ckp"),
        signal(9, "Crank minus", "D2-2", "U1-8", colour="WHBK", twist="ckp"),
        signal(10, "CAN high", "H1-5", "U1-10", "R1.1", colour="YE", twist="can"),
        signal(11, "CAN low", "H1-11", "U1-11", "R1.2", colour="GNYE", twist="can"),
        signal(12, "Pump back", "D3-2", "U1-12", colour="VT"),
    )


def _mate(connector: str, housing: str) -> Node:
    return Node(
        key=f"x{connector.lower()}",
        loom="main",
        kind=NodeKind.CONNECTOR,
        name=f"X{connector}",
        mates=ConnectorKey(p(f"{connector}-1").platform, connector),
        housing=f"{housing}-{Gender.SOCKET.value}",
        gender=Gender.SOCKET,
    )


def _run(a: str, b: str, length_m: float) -> Segment:
    return Segment(key=f"{a}-{b}", loom="main", a=a, b=b, length_m=length_m, zone="bay")


def clean() -> Snapshot:
    """A correct job: nothing that any rule speaks about."""
    retained = ("H1-3", "H1-4", "H1-6", "H1-7")
    job = Job(
        key="job",
        name="Q24 into Brindle 6",
        seats=(
            Seat(key="host", name="Host", role=Role.HOST, picks=(Pick(HOST, "late"),)),
            Seat(key="control", name="Control unit", role=Role.CONTROL, picks=(Pick(UNIT),)),
            Seat(key="donor", name="Donor", role=Role.DONOR, picks=(Pick(DONOR),)),
        ),
        signals=signals(),
        devices=(
            Device(key="F1", kind=DeviceKind.FUSE, place="box", rating_a=10.0),
            Device(key="K1", kind=DeviceKind.RELAY, place="box", rating_a=30.0, coil_ohm=85.0, suppressed=True),
            Device(key="R1", kind=DeviceKind.RESISTOR, place="end", resistance_ohm=120.0),
        ),
        fates=tuple(PinFate(pin=p(text), fate=Fate.RETAINED, reason="host's own") for text in retained),
        looms=(Loom(key="main", name="Main loom"),),
        nodes=(
            _mate("H1", "g12"),
            _mate("U1", "g12"),
            _mate("D1", "g3"),
            _mate("D2", "g2"),
            _mate("D3", "g2"),
            _mate("D4", "g1"),
            Node(key="box", loom="main", kind=NodeKind.PLACE, name="Fuse box"),
            Node(key="end", loom="main", kind=NodeKind.PLACE, name="Bus end"),
            Node(key="j1", loom="main", kind=NodeKind.JUNCTION),
            Node(key="j2", loom="main", kind=NodeKind.JUNCTION),
        ),
        segments=(
            _run("xh1", "box", 0.1),
            _run("box", "j1", 0.4),
            _run("j1", "xu1", 0.3),
            _run("j1", "end", 0.1),
            _run("j1", "j2", 0.5),
            _run("j2", "xd1", 0.2),
            _run("j2", "xd2", 0.3),
            _run("j2", "xd3", 0.4),
            _run("j2", "xd4", 0.35),
        ),
        zones=(Zone(key="bay", name="Engine bay", ambient_c=85.0),),
        next_number=13,
    )
    return Snapshot(job, (host(), unit(), donor()), HOUSINGS)


# --- one-step changes ---------------------------------------------------------------------------------------------


def change_job(s: Snapshot, **changes: Any) -> Snapshot:
    return Snapshot(replace(s.job, **changes), s.platforms, s.housings)


def change_platform(s: Snapshot, key: str, change: Callable[[Platform], Platform]) -> Snapshot:
    return Snapshot(s.job, tuple(change(x) if x.key == key else x for x in s.platforms), s.housings)


def change_pin(s: Snapshot, text: str, **changes: Any) -> Snapshot:
    key = p(text)
    return change_platform(
        s,
        key.platform,
        lambda x: replace(x, pins=tuple(replace(y, **changes) if y.key(x.key)[:3] == key[:3] else y for y in x.pins)),
    )


def add_pin(s: Snapshot, text: str, code: str, kind: Kind, direction: Direction, **more: Any) -> Snapshot:
    key = p(text)
    new = pin(key.connector, int(key.cavity), code, kind, direction, **more)
    return change_platform(s, key.platform, lambda x: replace(x, pins=(*x.pins, new)))


def change_signal(s: Snapshot, number: int, **changes: Any) -> Snapshot:
    return change_job(s, signals=tuple(replace(x, **changes) if x.number == number else x for x in s.job.signals))


def join(s: Snapshot, number: int, text: str) -> Snapshot:
    what, _, section = text.partition("@")
    old = s.signal[f"s{number}"].members
    return change_signal(s, number, members=(*old, Member(end=end(what), section=int(section or 0))))


def leave(s: Snapshot, number: int, text: str) -> Snapshot:
    return change_signal(s, number, members=tuple(m for m in s.signal[f"s{number}"].members if m.end != end(text)))


def no_fate(s: Snapshot, text: str) -> Snapshot:
    return change_job(s, fates=tuple(x for x in s.job.fates if x.pin != p(text)))


def add_signal(s: Snapshot, new: Signal) -> Snapshot:
    return change_job(s, signals=(*s.job.signals, new))


def change_device(s: Snapshot, key: str, **changes: Any) -> Snapshot:
    return change_job(s, devices=tuple(replace(d, **changes) if d.key == key else d for d in s.job.devices))


def add_device(s: Snapshot, device: Device) -> Snapshot:
    return change_job(s, devices=(*s.job.devices, device))


def change_node(s: Snapshot, key: str, **changes: Any) -> Snapshot:
    return change_job(s, nodes=tuple(replace(n, **changes) if n.key == key else n for n in s.job.nodes))


def change_segment(s: Snapshot, key: str, **changes: Any) -> Snapshot:
    return change_job(s, segments=tuple(replace(x, **changes) if x.key == key else x for x in s.job.segments))


def set_fate(s: Snapshot, text: str, fate: Fate, reason: str = "decided") -> Snapshot:
    others = tuple(f for f in s.job.fates if f.pin != p(text))
    return change_job(s, fates=(*others, PinFate(pin=p(text), fate=fate, reason=reason)))


def change_housing(s: Snapshot, key: str, **changes: Any) -> Snapshot:
    return Snapshot(s.job, s.platforms, tuple(replace(h, **changes) if h.key == key else h for h in s.housings))


def findings(s: Snapshot) -> tuple[Finding, ...]:
    return run_all(s, dictionary())


def spoken(s: Snapshot) -> dict[str, list[Finding]]:
    """Rule -> its findings."""
    out: dict[str, list[Finding]] = {}
    for finding in findings(s):
        out.setdefault(finding.rule, []).append(finding)
    return out


def only(s: Snapshot, rule: str, *about: str, besides: tuple[str, ...] = ()) -> Finding:
    """The one finding of a rule in a job in which no other rule speaks but ``besides``; ``about`` are words that its
    places must name."""
    said = spoken(s)
    assert set(said) == {rule, *besides}, {r: [f.where for f in fs] for r, fs in said.items()}
    assert len(said[rule]) == 1, [f.where for f in said[rule]]
    found = said[rule][0]
    places = " | ".join(found.where)
    assert all(word in places for word in about), places
    assert found.why
    assert found.way_out
    assert found.source
    assert found.refs
    return found
