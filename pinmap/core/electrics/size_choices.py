"""What may be chosen: the places in a job that set the size of wires, and the sizes that each of them may take.

The size of a wire stands with the member at which it ends, or with its signal where only devices in line are at its
ends. One such place serves the wires of all variants that end there, so it has one size in all of them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.conductors import insulations, wire_sizes
from pinmap.core.facts.fault import COPPER_KG_PER_M3
from pinmap.core.facts.functions import Dictionary
from pinmap.core.facts.parts import TerminalFamily, terminals
from pinmap.core.loom.results import Routing, Wire, WireEnd
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import DeviceEnd, End, Node
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import DeviceKind, Direction, Kind, Role

_POWER = frozenset(
    {
        Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50, Kind.SUPPLY_87, Kind.GROUND, Kind.HIGH_SIDE,
        Kind.LOW_SIDE, Kind.PWM_HIGH_SIDE, Kind.PWM_LOW_SIDE, Kind.H_BRIDGE, Kind.INJECTOR_BOOSTED, Kind.COIL_PRIMARY,
    }
)  # fmt: skip
_SUPPLIES = frozenset({Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50, Kind.SUPPLY_87})
_FLOWS_A = 1e-3

Sizes = tuple[float, ...]  # one a knob [mm²]


@dataclass(frozen=True, slots=True)
class Piece:
    """A wire in one variant (by index)."""

    variant: int
    wire: str
    length_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Knob:
    """One place that sets a size. ``ends`` are the members that carry it, none for the signal's own size; ``sizes``
    rise [mm²]; ``low_why`` says why none smaller is allowed, ``kept`` why the size is not to be chosen at all."""

    signal: str
    ends: tuple[End, ...]
    pieces: tuple[Piece, ...]
    now_mm2: float
    sizes: tuple[float, ...]
    low_why: str
    high_why: str
    kept: str = ""

    @property
    def length_m(self) -> float:
        """Metres of wire in all variants together."""
        return sum(p.length_m for p in self.pieces)

    @property
    def wires(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(p.wire for p in self.pieces))


@dataclass(frozen=True, slots=True)
class Range:
    """Sizes that something accepts [mm²], and what."""

    low: float
    high: float
    what: str


def copper_kg(knob: Knob, mm2: float) -> float:
    """Copper of all pieces of wire that one knob sets [kg], by nominal area."""
    return knob.length_m * mm2 * 1e-6 * COPPER_KG_PER_M3.value


def mass_kg(chosen: Sequence[Knob], sizes: Sizes) -> float:
    """Copper of one choice of sizes [kg]."""
    return sum(copper_kg(k, s) for k, s in zip(chosen, sizes, strict=True))


@dataclass(frozen=True, slots=True)
class Row:
    """Sum over knobs of ``cost[knob][size index]`` is at most ``most``."""

    what: str
    cost: Mapping[int, tuple[float, ...]]
    most: float


def node_terminal(snapshot: Snapshot, node: Node) -> str:
    """Key of the terminal family in a loom connector; "" where nobody said."""
    if node.terminal:
        return node.terminal
    housing = snapshot.housing.get(node.housing)
    if housing is not None and housing.terminal:
        return housing.terminal
    connector = snapshot.connector.get(node.mates) if node.mates is not None else None
    if connector is None:
        return ""
    if connector.terminal:
        return connector.terminal
    mate = snapshot.housing.get(connector.housing)
    return mate.terminal if mate is not None else ""


def node_sealed(snapshot: Snapshot, node: Node) -> bool:
    """The loom connector has seals on its wires."""
    housing = snapshot.housing.get(node.housing)
    if housing is not None:
        return housing.sealed
    connector = snapshot.connector.get(node.mates) if node.mates is not None else None
    return bool(connector and connector.sealed)


def accepted(snapshot: Snapshot, end: WireEnd, insulation: str, stock: Sequence[float]) -> tuple[list[float], str]:
    """Stock sizes that the terminal and the seal at an end accept, and their names; all where nothing is known."""
    node = snapshot.node.get(end.node)
    family = terminals().get(node_terminal(snapshot, node)) if node is not None and end.in_connector else None
    if node is None or family is None:
        return list(stock), ""
    sealed = node_sealed(snapshot, node)
    return [s for s in stock if _takes(family, sealed, insulation, s)], f"{family.name} at {end.label}"


def _takes(family: TerminalFamily, sealed: bool, insulation: str, mm2: float) -> bool:
    if not family.min_mm2 * 0.999 <= mm2 <= family.max_mm2 * 1.001:
        return False
    size = wire_sizes(insulation).get(mm2) if insulation in insulations() else None
    if not sealed or size is None or not family.min_od_mm or not family.max_od_mm:
        return True
    return family.min_od_mm <= size.od_mm <= family.max_od_mm


def knobs(
    snapshot: Snapshot,
    routings: Sequence[Routing],
    reports: Sequence[ElectricalReport],
    dictionary: Dictionary,
    scope: Collection[str] | None = None,
) -> tuple[Knob, ...]:
    """The places that set sizes, in the order of the routings' wires. ``scope`` are ids of wires to be sized, None for
    all; other wires keep their size. Routings and reports stand in the order of the variants."""
    del dictionary
    group = _Groups()
    found: dict[tuple[str, End | None], list[tuple[int, Wire]]] = {}
    for v, routing in enumerate(routings):
        through = _through(routing)
        for wire in routing.wires:
            places = _places(snapshot, wire, through.get((wire.signal, wire.section), ()))
            for other in places[1:]:
                group.join(places[0], other)
            if places:
                found.setdefault(places[0], []).append((v, wire))
    merged: dict[tuple[str, End | None], list[tuple[int, Wire]]] = {}
    for place, wires in found.items():
        merged.setdefault(group.top(place), []).extend(wires)
    members = group.members()
    known = _Known(snapshot, reports)
    return tuple(_knob(snapshot, top, members.get(top, [top]), wires, scope, known) for top, wires in merged.items())


class _Groups:
    """Places that one wire ties together."""

    def __init__(self) -> None:
        self.up: dict[tuple[str, End | None], tuple[str, End | None]] = {}

    def top(self, place: tuple[str, End | None]) -> tuple[str, End | None]:
        self.up.setdefault(place, place)
        while self.up[place] != place:
            place = self.up[place]
        return place

    def join(self, a: tuple[str, End | None], b: tuple[str, End | None]) -> None:
        top = self.top(a)
        self.up[self.top(b)] = top

    def members(self) -> dict[tuple[str, End | None], list[tuple[str, End | None]]]:
        out: dict[tuple[str, End | None], list[tuple[str, End | None]]] = {}
        for place in self.up:
            out.setdefault(self.top(place), []).append(place)
        return out


def _through(routing: Routing) -> dict[tuple[str, int], list[WireEnd]]:
    """The two ends of each net that runs through several looms from one to the other: its wires are as one."""
    found: dict[tuple[str, int], list[Wire]] = {}
    for wire in routing.wires:
        if wire.a.mated is not None or wire.b.mated is not None:
            found.setdefault((wire.signal, wire.section), []).append(wire)
    ends = {net: [e for w in wires for e in (w.a, w.b) if e.mated is None] for net, wires in found.items()}
    return {net: two for net, two in ends.items() if len(two) == 2 and not any(e.splice for e in two)}


def _places(snapshot: Snapshot, wire: Wire, through: Sequence[WireEnd]) -> list[tuple[str, End | None]]:
    """Members whose size the wire takes; the signal where it has none. A wire between two splices takes what it is
    given and has no place, and so does one from a mated cavity to a splice or to another mated cavity, unless it is
    part of a way of two ends, ``through``."""
    signal = snapshot.signal[wire.signal]
    own = {m.end for m in signal.members}
    ends: list[End] = [e for w in through or (wire.a, wire.b) if (e := w.pin or w.device) is not None]
    named = [e for e in ends if e in own]
    proper = [e for e in named if not (isinstance(e, DeviceEnd) and _is_stud(snapshot, e))] or named
    if proper:
        return [(signal.key, e) for e in proper]
    return [(signal.key, None)] if ends else []


def _is_stud(snapshot: Snapshot, end: DeviceEnd) -> bool:
    device = snapshot.device.get(end.device)
    return device is not None and device.kind is DeviceKind.STUD


def _knob(
    snapshot: Snapshot, top: tuple[str, End | None], places: list[tuple[str, End | None]],
    wires: list[tuple[int, Wire]], scope: Collection[str] | None, known: _Known,
) -> Knob:  # fmt: skip
    practice = snapshot.job.practice
    now = max(w.mm2 for _, w in wires)
    stock = sorted(s for s in practice.stock_mm2 if s >= practice.min_mm2 - 1e-9)
    low_why = f"the shop's least size, {practice.min_mm2:g} mm²"
    high_why = "the largest size in stock"
    sizes = list(stock)
    for _, wire in wires:
        for end in (wire.a, wire.b):
            fits, what = accepted(snapshot, end, wire.insulation, sizes)
            if fits and sizes and fits[0] > sizes[0]:
                low_why = f"{what} takes no smaller wire"
            if fits and sizes and fits[-1] < sizes[-1]:
                high_why = f"{what} takes no thicker wire"
            sizes = fits
    kept = ""
    if scope is not None and not any(w.id in scope for _, w in wires):
        kept = "not among the wires to be sized"
    elif not sizes:
        kept = "no size in stock fits the terminals and seals at both ends"
    elif blind := next((why for v, w in wires if (why := known.blind(v, w))), ""):
        kept = blind
    return Knob(
        signal=top[0],
        ends=tuple(e for _, e in places if e is not None),
        pieces=tuple(Piece(v, w.id, w.cut_length_m) for v, w in wires),
        now_mm2=now,
        sizes=(now,) if kept else tuple(sizes),
        low_why=low_why,
        high_why=high_why,
        kept=kept,
    )


class _Known:
    """Wires of which it is not known what flows in them, so that they must not be made thinner."""

    def __init__(self, snapshot: Snapshot, reports: Sequence[ElectricalReport]) -> None:
        self.snapshot, self.reports = snapshot, reports
        self.unknown: set[str] = set()
        for report in reports:
            for load in report.unknown:
                self.unknown |= _signals_of(snapshot, load)

    def blind(self, variant: int, wire: Wire) -> str:
        if wire.signal in self.unknown:
            return "nobody gave the current of a load on this signal; its size stays"
        flows = max((abs(s[wire.id].current_a) for s in self.reports[variant].wires.values() if wire.id in s),
                    default=0.0)  # fmt: skip
        signal = self.snapshot.signal[wire.signal]
        pins = [self.snapshot.pin.get(m.end) for m in signal.members if isinstance(m.end, PinKey)]
        power = any(p is not None and p.kind in _POWER for p in pins)
        if power and flows < _FLOWS_A and not stated_a(self.snapshot, wire):
            return "a power wire in which no load case shows a current; its size stays"
        return ""


def _signals_of(snapshot: Snapshot, load: str) -> set[str]:
    """Signals of a load by its key: "platform:component", with a cavity in brackets, or a pin."""
    out = set()
    for key, signal in snapshot.signal_of.items():
        if isinstance(key, PinKey):
            pin = snapshot.pin.get(key)
            name = f"{key.platform}:{pin.component}" if pin is not None and pin.component else ""
            if str(key) == load or (name and (load == name or load.startswith(f"{name} ("))):
                out.add(signal.key)
    return out


def stated_a(snapshot: Snapshot, wire: Wire) -> float:
    """The greatest current that the pinout states for a wire's own ends [A], 0 for none: what a pin takes, and what an
    alternator gives. What an output can give at most is no current of the wire."""
    found = [0.0]
    for end in (wire.a, wire.b):
        pin: Pin | None = snapshot.pin.get(end.pin) if end.pin is not None else None
        if end.pin is None or pin is None or pin.current_a is None:
            continue
        gives = pin.kind in _SUPPLIES and snapshot.role_of(end.pin.platform) is not Role.HOST
        if pin.direction is not Direction.OUT or gives:
            found.append(abs(pin.current_a))
    return max(found)
