"""A job: what is picked, what is decided, what is built; and the immutable snapshot everything is computed from."""

from __future__ import annotations

import enum
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cached_property
from itertools import product
from typing import Any, NamedTuple

from pinmap.core.errors import NotFound
from pinmap.core.model.looms import Device, DeviceEnd, End, Fixing, Loom, Mating, Node, Segment, Zone
from pinmap.core.model.pinouts import Connector, ConnectorKey, Housing, Pin, PinKey, Platform
from pinmap.core.model.words import Fate, Joint, Role


class Pick(NamedTuple):
    """One choice for a seat; edition "" where the platform has only one."""

    platform: str
    edition: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """An axis of choice: donor, host, control unit, accessory. More than one pick makes it an option."""

    key: str
    name: str
    role: Role
    picks: tuple[Pick, ...]


@dataclass(frozen=True, slots=True)
class Variant:
    """One complete pick along all seats, in the order of the job's seats."""

    picks: tuple[tuple[str, Pick], ...]

    @property
    def key(self) -> str:
        """Stable text for addresses and tables, such as ``host=brindle-6@late,control=quern-qf2``."""
        return ",".join(f"{seat}={p.platform}{'@' + p.edition if p.edition else ''}" for seat, p in self.picks)


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One end of a signal. ``section`` counts the in-line devices passed: 0 before the first, 1 after it, and so on.
    mm2 and colour override the signal's own for the wire that ends here."""

    end: End
    section: int = 0
    mm2: float | None = None
    colour: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """One electrical net of a job with its pins on all sides, cut into sections by the devices in line.

    ``number`` is given once and never reused, so that wire ids stay stable. ``members`` stand in the order in which
    they were joined; removing one leaves the others' order.
    """

    key: str
    number: int
    name: str
    function_code: str = ""
    members: tuple[Member, ...] = ()
    inline: tuple[str, ...] = ()  # device keys, between section i and i + 1
    mm2: float | None = None
    colour: str = ""
    insulation: str = ""
    twist: str = ""  # signals with the same group are twisted together
    screen: str = ""  # signals with the same group share a screen
    confirmed: bool = False
    note: str = ""
    via: tuple[str, ...] = ()  # segments that its wires are led through by hand, in this order
    joint: Joint = Joint.SPLICE  # how three and more ends meet


@dataclass(frozen=True, slots=True, kw_only=True)
class PinFate:
    """What becomes of a pin that no signal has; ``reason`` is owed for each."""

    pin: PinKey
    fate: Fate
    reason: str = ""
    owner: str = ""
    due: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadCase:
    """An operating state. supply_v at the battery or alternator post [V]; ``code`` is how the function dictionary
    names the state (K key-on, C cranking, I idle, F full load, A after-run). ``profile`` is the level of a starting
    profile of ISO 16750-2 (I to IV) whose voltage in ``phase`` stands in the place of supply_v; "" for none."""

    key: str
    code: str
    name: str
    supply_v: float
    source: str = ""
    profile: str = ""
    phase: str = ""  # LOWEST or PLATEAU where a profile is named


LOWEST, PLATEAU = "lowest", "plateau"
DEFAULT_LOAD_CASES: tuple[LoadCase, ...] = (
    LoadCase(key="key-on", code="K", name="Key on, engine off", supply_v=12.0, source="common practice"),
    LoadCase(key="cranking", code="C", name="Cranking", supply_v=9.6, source="half-CCA load test, 20 °C"),
    LoadCase(key="idle", code="I", name="Idle", supply_v=13.5, source="common practice"),
    LoadCase(key="full-load", code="F", name="Full load", supply_v=14.0, source="ISO 16750-2 test voltage UA"),
    LoadCase(key="after-run", code="A", name="After-run", supply_v=12.4, source="common practice"),
)


MODEL = "model"
HEAT_RULES = (MODEL, "iso10133", "abyc-e11", "33cfr183", "ac43-13")


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """The shop's way of building; lengths in metres, limits in per cent of supply."""

    stock_mm2: tuple[float, ...] = (0.35, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0)
    min_mm2: float = 0.5
    insulation: str = "thin-wall-C"  # key of the insulation table
    drop_critical_pct: float = 3.0
    drop_other_pct: float = 10.0
    service_loop_m: float = 0.08
    strip_m: float = 0.006
    splice_overlap_m: float = 0.02
    twist_take_up_pct: float = 4.0
    cut_step_m: float = 0.005
    max_untwisted_m: float = 0.05
    units: str = "metric"  # or "awg"
    connector_run_in_m: float = 0.0  # from the rear of a connector to its cavities; 0: the service loop has it
    bend_pct: float = 0.0  # longer way on the outside of a bundle's bends
    tolerance_m: float = 0.0  # of cutting and laying, added once a wire
    splice_cost_g: float = 40.0  # a splice is worth this much copper; 40 g are 9 m of 0.5 mm2
    max_splices: int = 4  # in one net; 0: no limit
    max_splice_wires: int = 12  # in one splice; 0: no limit
    splice_clear_m: float = 0.04  # no splice nearer to a connector
    splice_apart_m: float = 0.06  # splices in one segment or at one node, middle to middle; 0: as they come
    avoid_factor: float = 3.0  # a metre in a run to be avoided counts as so many
    heat_rule: str = MODEL  # what a wire may carry: the heat balance, or the key of a standard's table


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """A finding accepted by a named person; it stays listed."""

    finding: str
    by: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One conversion."""

    key: str
    name: str
    customer: str = ""
    note: str = ""
    seats: tuple[Seat, ...] = ()
    signals: tuple[Signal, ...] = ()
    devices: tuple[Device, ...] = ()
    fates: tuple[PinFate, ...] = ()
    looms: tuple[Loom, ...] = ()
    nodes: tuple[Node, ...] = ()
    segments: tuple[Segment, ...] = ()
    matings: tuple[Mating, ...] = ()
    fixings: tuple[Fixing, ...] = ()
    zones: tuple[Zone, ...] = ()
    load_cases: tuple[LoadCase, ...] = DEFAULT_LOAD_CASES
    practice: Practice = Practice()
    acceptances: tuple[Acceptance, ...] = ()
    next_number: int = 1  # next signal number to give


@dataclass(frozen=True)
class Snapshot:
    """A job with everything it stands on; immutable, self-contained, the only input of what is computed.

    Look-ups are built once on first use; they are views of the records, never a second truth.
    """

    job: Job
    platforms: tuple[Platform, ...] = ()
    housings: tuple[Housing, ...] = ()

    @cached_property
    def platform(self) -> Mapping[str, Platform]:
        return {p.key: p for p in self.platforms}

    @cached_property
    def housing(self) -> Mapping[str, Housing]:
        return {h.key: h for h in self.housings}

    @cached_property
    def connector(self) -> Mapping[ConnectorKey, Connector]:
        return {ConnectorKey(p.key, c.name): c for p in self.platforms for c in p.connectors}

    @cached_property
    def keyed_pins(self) -> Mapping[str, tuple[tuple[PinKey, Pin], ...]]:
        """Each platform's pins with their keys, which cost more to make than all that is then looked up by them."""
        return {p.key: tuple((pin.key(p.key), pin) for pin in p.pins) for p in self.platforms}

    @cached_property
    def pin(self) -> Mapping[PinKey, Pin]:
        return {key: pin for pins in self.keyed_pins.values() for key, pin in pins}

    @cached_property
    def signal(self) -> Mapping[str, Signal]:
        return {s.key: s for s in self.job.signals}

    @cached_property
    def signal_of(self) -> Mapping[End, Signal]:
        """The signal that has this end; an end belongs to one signal at most."""
        return {m.end: s for s in self.job.signals for m in s.members}

    @cached_property
    def device(self) -> Mapping[str, Device]:
        return {d.key: d for d in self.job.devices}

    @cached_property
    def node(self) -> Mapping[str, Node]:
        return {n.key: n for n in self.job.nodes}

    @cached_property
    def zone(self) -> Mapping[str, Zone]:
        return {z.key: z for z in self.job.zones}

    @cached_property
    def case_name(self) -> Mapping[str, str]:
        """The name of each load case, which its user gave, by the key that never changes."""
        return {c.key: c.name for c in self.job.load_cases}

    @cached_property
    def node_of_connector(self) -> Mapping[ConnectorKey, Node]:
        """The loom connector that mates with a platform's connector."""
        return {n.mates: n for n in self.job.nodes if n.mates is not None}

    @cached_property
    def mating_of(self) -> Mapping[str, Mating]:
        """The mating that a node is a half of."""
        return {node: m for m in self.job.matings for node in (m.a, m.b)}

    @cached_property
    def variants(self) -> tuple[Variant, ...]:
        """Every complete pick, the first seat slowest."""
        seats = self.job.seats
        return tuple(
            Variant(tuple(zip((s.key for s in seats), picks, strict=True)))
            for picks in product(*(s.picks for s in seats))
        )

    def variant(self, key: str) -> Variant:
        """The variant of this key, the first one for "". Raises NotFound."""
        for variant in self.variants:
            if not key or variant.key == key:
                return variant
        raise NotFound(f"this job has no variant {key!r}")

    def variant_label(self, variant: Variant) -> str:
        """Only what differs between variants, in words."""
        open_seats = {s.key for s in self.job.seats if len(s.picks) > 1}
        return " · ".join(self.pick_label(p) for seat, p in variant.picks if seat in open_seats) or "the only variant"

    def pick_label(self, pick: Pick) -> str:
        platform = self.platform[pick.platform]
        edition = next((e.name for e in platform.editions if e.key == pick.edition), pick.edition)
        return f"{platform.name}, {edition}" if edition else platform.name

    def active_pins(self, variant: Variant) -> dict[PinKey, Pin]:
        """Pins that exist in a variant, in platform order."""
        found: dict[PinKey, Pin] = {}
        for _, pick in variant.picks:
            platform = self.platform[pick.platform]
            present = {
                c.name for c in platform.connectors if not pick.edition or not c.editions or pick.edition in c.editions
            }
            found |= {
                key: pin
                for key, pin in self.keyed_pins[platform.key]
                if pin.connector in present and pin.in_edition(pick.edition)
            }
        return found

    def active_connectors(self, variant: Variant) -> set[ConnectorKey]:
        """Platform connectors that exist in a variant."""
        return {
            ConnectorKey(pick.platform, c.name)
            for _, pick in variant.picks
            for c in self.platform[pick.platform].connectors
            if not pick.edition or not c.editions or pick.edition in c.editions
        }

    def active_devices(self, variant: Variant) -> dict[str, Device]:
        """Devices that exist in a variant."""
        there = {pick.platform for _, pick in variant.picks}
        return {d.key: d for d in self.job.devices if not d.only_with or d.only_with in there}

    def role_of(self, platform: str) -> Role:
        return self.platform[platform].role

    @cached_property
    def content_hash(self) -> str:
        """SHA-256 of the canonical JSON of the whole snapshot."""
        text = json.dumps(as_plain(self), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        return hashlib.sha256(text.encode()).hexdigest()


def as_plain(value: Any) -> Any:
    """Records as JSON-ready dicts and lists; fields at their default are left out, so that adding a field with a
    default changes no hash of an older job."""
    if isinstance(value, DeviceEnd):
        return {"device": value.device, "terminal": value.terminal}
    if isinstance(value, PinKey):
        plain = {"platform": value.platform, "connector": value.connector, "cavity": value.cavity}
        return plain | ({"edition": value.edition} if value.edition else {})
    if isinstance(value, ConnectorKey):
        return {"platform": value.platform, "connector": value.connector}
    if isinstance(value, Pick):
        return {"platform": value.platform} | ({"edition": value.edition} if value.edition else {})
    if is_dataclass(value) and not isinstance(value, type):
        out = {}
        for f in fields(value):
            item = getattr(value, f.name)
            if item != f.default:
                out[f.name] = as_plain(item)
        return out
    if isinstance(value, enum.Enum):
        return value.value
    if isinstance(value, tuple | list):
        return [as_plain(item) for item in value]
    if isinstance(value, float) and value.is_integer():
        return int(value)  # 35 and 35.0 are equal, so they must hash alike
    return value
