"""Builds the demo's jobs from its tables by the same edits that people make."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache

from pinmap.core.crossing import edits
from pinmap.core.model.jobs import Job, Pick, Seat
from pinmap.core.model.looms import DeviceEnd, End, Loom, Node, Segment, Zone
from pinmap.core.model.pinouts import ConnectorKey, Pin, PinKey
from pinmap.core.model.words import Fate, Gender, NodeKind, Role
from pinmap.demo.devices import DEVICES
from pinmap.demo.housings import half
from pinmap.demo.platforms import DONOR, EARLY, GLOW, HOST, LATE, OPEN, SEALED, SERVICE, demo_platforms
from pinmap.demo.tables import rows
from pinmap.demo.wiring import ENGINE_INSULATION, GAUGE_SENDER, Wiring

LOOM = "engine-and-front"
_LETTERS = {"q": DONOR, "g": GLOW, "f": SEALED, "o": OPEN, "s": SERVICE, "b": HOST}


@cache
def all_pins() -> Mapping[PinKey, Pin]:
    return {pin.key(p.key): pin for p in demo_platforms() for pin in p.pins}


@cache
def _by_cavity() -> Mapping[tuple[str, str, str], tuple[PinKey, ...]]:
    out: dict[tuple[str, str, str], tuple[PinKey, ...]] = {}
    for key in all_pins():
        out[key[:3]] = (*out.get(key[:3], ()), key)
    return out


@cache
def _by_function() -> Mapping[tuple[str, str], tuple[PinKey, ...]]:
    out: dict[tuple[str, str], tuple[PinKey, ...]] = {}
    for key, pin in all_pins().items():
        where = (key.platform, pin.function)
        out[where] = (*out.get(where, ()), key)
    return out


def parse_end(text: str) -> End:
    """An end from its short hand; see ``wiring``. Raises LookupError for a pin that is not there or not unique."""
    if ":" in text:
        return pin_end(text)
    device, _, terminal = text.partition(".")
    return DeviceEnd(device, terminal)


def pin_end(text: str) -> PinKey:
    """A pin from its short hand. Raises LookupError when it is not there or not unique."""
    letter, _, rest = text.partition(":")
    rest, _, edition = rest.partition("@")
    connector, _, cavity = rest.partition("-")
    found = [
        key
        for key in _by_cavity().get((_LETTERS[letter], connector, cavity), ())
        if not edition or edition in key.edition.split(";")
    ]
    if len(found) != 1:
        raise LookupError(f"{text} names {len(found)} pins")
    return found[0]


def fate_pin(row: Mapping[str, str]) -> PinKey:
    """The pin that a row of the fates table is about."""
    return PinKey(row["platform"], row["connector"], row["cavity"], row["edition"])


def empty_job(key: str, name: str, *, customer: str, note: str) -> Job:
    """A job with its seats, and no loom yet."""
    job = edits.new_job(key, name, customer=customer, note=note)
    seats = (
        Seat(key="donor", name="Donor engine", role=Role.DONOR, picks=(Pick(DONOR),)),
        Seat(key="control", name="Control unit", role=Role.CONTROL, picks=(Pick(SEALED), Pick(OPEN))),
        Seat(key="host", name="Host truck", role=Role.HOST, picks=(Pick(HOST, EARLY), Pick(HOST, LATE))),
        Seat(key="glow", name="Glow module", role=Role.ACCESSORY, picks=(Pick(GLOW),)),
        Seat(key="service", name="Service socket", role=Role.ACCESSORY, picks=(Pick(SERVICE),)),
    )
    for seat in seats:
        job = edits.add_seat(job, seat)
    return job


def lay_out(job: Job) -> Job:
    """Zones, branch points, runs, connectors and devices."""
    loom = Loom(key=LOOM, name="Engine and front loom", note="Takes the place of the old front loom")
    job = edits.add_loom(job, loom)
    for row in rows("zones"):
        zone = Zone(
            key=row["key"],
            name=row["name"],
            ambient_c=float(row["ambient_c"]),
            wet=row["wet"] == "yes",
            moving=row["moving"] == "yes",
            hot=row["hot"] == "yes",
        )
        job = edits.add_zone(job, zone)
    for row in rows("places"):
        job = edits.add_node(job, Node(key=row["key"], loom=LOOM, kind=NodeKind(row["kind"]), name=row["name"]))
    for row in rows("runs"):
        job = _run(job, row["a"], row["b"], row)
    for row in rows("connectors"):
        if not row["from"]:
            continue
        job = edits.add_node(
            job,
            Node(
                key=row["node"],
                loom=LOOM,
                kind=NodeKind.CONNECTOR,
                name=row["node"],
                mates=ConnectorKey(row["platform"], row["connector"]),
                housing=half(row["housing"], Gender.SOCKET),
                gender=Gender.SOCKET,
                note=row["description"],
            ),
        )
        job = _run(job, row["from"], row["node"], row)
    for device in DEVICES:
        job = edits.add_device(job, device)
    return job


def _run(job: Job, a: str, b: str, row: Mapping[str, str]) -> Job:
    segment = Segment(
        key=f"{a}-{b}",
        loom=LOOM,
        a=a,
        b=b,
        length_m=float(row["length_m"]),
        zone=row["zone"],
        covering=row["covering"],
    )
    return edits.add_segment(job, segment)


def wire(job: Job, wirings: Iterable[Wiring]) -> Job:
    """Makes the signals, in order."""
    for wiring in wirings:
        job = _wire(job, wiring)
    return job


def _wire(job: Job, wiring: Wiring) -> Job:
    sections = [part.split() for part in wiring.ends.split("|")]
    devices = [part[0] for part in sections[1::2]]
    sizes: dict[End, float] = {}
    members: list[list[End]] = []
    for part in sections[::2]:
        ends = []
        for text in part:
            name, _, mm2 = text.partition("=")
            end = parse_end(name)
            ends.append(end)
            if mm2:
                sizes[end] = float(mm2)
        members.append(ends)
    if wiring.mates:
        members[0].extend(_mates(members[0][0]))
    pins = [end for ends in members for end in ends if isinstance(end, PinKey)]
    codes = [all_pins()[p].function_code for p in pins if all_pins()[p].function_code]
    on_engine = any(p.platform in (DONOR, GLOW) or p.connector == GAUGE_SENDER for p in pins)
    job = edits.join(
        job,
        [end for ends in members for end in ends],
        name=wiring.name or all_pins()[pins[0]].function,
        function_code=codes[0] if codes else "",
        mm2=wiring.mm2,
        insulation=ENGINE_INSULATION if on_engine else "",
        twist=wiring.twist,
        screen=wiring.screen,
        note=wiring.note,
        known=all_pins(),
    )
    key = job.signals[-1].key
    for index, device in enumerate(devices):
        after = [end for ends in members[index + 1 :] for end in ends]
        job = edits.put_in_line(job, key, device, downstream=after, at=index)
    for end, size in sizes.items():
        job = edits.update_member(job, key, end, mm2=size)
    return job


def _mates(pin: End) -> list[PinKey]:
    """Pins of the two control units whose entry has the same words as this one's."""
    assert isinstance(pin, PinKey)
    function = all_pins()[pin].function
    found = [key for unit in (SEALED, OPEN) for key in _by_function().get((unit, function), ())]
    if not found:
        raise LookupError(f"no control unit has {function!r}")
    return found


def decide_rest(job: Job) -> Job:
    """The fates of the pins that no signal has."""
    for row in rows("fates"):
        job = edits.set_fate(job, fate_pin(row), Fate(row["fate"]), row["reason"], known=all_pins())
    return job
