"""Where does this pin go: station by station to the source, to the load and back, and what should be read there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from types import MappingProxyType

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.electrics.supply_cases import load_cases
from pinmap.core.errors import NotFound
from pinmap.core.facts.functions import Dictionary
from pinmap.core.facts.sources import rows
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.model.jobs import LoadCase, Snapshot, Variant
from pinmap.core.model.looms import End
from pinmap.core.model.pinouts import ConnectorKey, PinKey
from pinmap.core.model.words import DeviceKind, Direction, Evidence, Kind
from pinmap.core.tracing.cautions import Caution, cautions_for
from pinmap.core.tracing.flow import (
    RETURN_KINDS,
    SUPPLY_KINDS,
    Flow,
    Hop,
    Place,
    PlaceKind,
    flow,
    pin_label,
    place_of,
    walk,
)

_NONE: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Station:
    """One point of the way. voltage_v: load case -> volts against battery minus where the way comes in; leaving_v the
    same where it goes on, for a device. ``usual`` gives for each load case what is usual for the kind, in words."""

    label: str
    point: str
    kind: PlaceKind
    ref: str  # machine name, such as "pin:host:C101:4"
    detail: str = ""
    where: str = ""  # platform or place in the loom
    pin_kind: Kind | None = None
    device_kind: DeviceKind | None = None
    part: str = ""  # of a relay: "contact" or "coil"
    evidence: Evidence | None = None
    evidence_ref: str = ""
    wire_colour: str = ""  # on the platform's own side
    voltage_v: Mapping[str, float] = field(default_factory=lambda: _NONE)
    leaving_v: Mapping[str, float] = field(default_factory=lambda: _NONE)
    usual: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    unplugged: str = ""
    here: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """The way from one station to the next. ``along`` is False where it is walked against the current. ``wire`` is
    None for the way through a platform."""

    words: str
    wire: Wire | None = None
    along: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Branch:
    """A way that leaves the path: from station number ``at`` (0 the first) to the station ``label``."""

    at: int
    label: str
    detail: str
    ref: str
    wire: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """The way from the source through ``here`` to the load and back; legs stand between the stations."""

    title: str
    here: int
    stations: tuple[Station, ...]
    legs: tuple[Leg, ...]
    branches: tuple[Branch, ...]
    cautions: tuple[Caution, ...]
    cases: tuple[LoadCase, ...]
    joined: bool = True  # a wire reaches the station asked for
    from_source: bool = False  # the first station is a supply
    to_minus: bool = False  # the last station is battery minus

    @property
    def length_m(self) -> float:
        """Wire on the way [m]."""
        return sum(leg.wire.length_m for leg in self.legs if leg.wire is not None)


def trace(
    snapshot: Snapshot,
    variant: Variant,
    routing: Routing,
    report: ElectricalReport,
    end: End,
    dictionary: Dictionary | None = None,
) -> Trace:
    """The way through a pin or a device's terminal. ``joined`` is False where no wire reaches the end; a pin that
    no signal has gives a trace of one station. Raises NotFound for an end that is not there in this variant."""
    streams = flow(snapshot, variant, routing)
    start = place_of(end, snapshot)
    writer = _Writer(snapshot, variant, report, dictionary, streams)
    if start not in streams.places:
        return writer.lone(end)
    up = upstream(streams, start)
    down = downstream(streams, start, {place for place, _ in up})
    ways = [*reversed(up), (start, None), *down]
    legs: list[tuple[Hop, str]] = [(hop, place) for place, hop in reversed(up) if hop is not None]
    legs += [(hop, hop.other(place)) for place, hop in down if hop is not None]
    return writer.write([place for place, _ in ways], legs, len(up))


def upstream(streams: Flow, start: str) -> list[tuple[str, Hop | None]]:
    """Places before ``start``, nearest first, each with the hop that leads from it towards ``start``; to the nearest
    supply, else to the nearest place that nothing feeds."""
    seen = walk(start, streams.before)
    roots = [place for place in seen if place != start and not streams.before[place]]
    goal = next((r for r in roots if _is_supply(streams.places[r])), roots[0] if roots else None)
    return _unwind(seen, start, goal)


def downstream(streams: Flow, start: str, barred: set[str]) -> list[tuple[str, Hop | None]]:
    """Places after ``start``, nearest first: to the nearest battery minus, else to the nearest return, else to the
    nearest place that nothing leaves; a component fed at two ends is left by its other end."""
    seen = walk(start, streams.after, barred)
    leaves = [place for place in seen if place != start and not streams.after[place]]
    goal = min(leaves, key=lambda place: _way_back(streams.places[place]), default=None)
    way = _unwind(seen, start, goal)
    last = way[-1][0] if way else start
    if streams.places[last].kind is PlaceKind.COMPONENT and not streams.after[last]:
        taken = barred | {start} | {place for place, _ in way}
        back = walk(last, streams.before, taken - {last})
        ends = [place for place in back if place != last and not streams.before[place]]
        way += _unwind(back, last, ends[0] if ends else None)
    return way


def _unwind(seen: Mapping[str, Hop | None], start: str, goal: str | None) -> list[tuple[str, Hop | None]]:
    way: list[tuple[str, Hop | None]] = []
    while goal is not None and goal != start:
        hop = seen[goal]
        if hop is None:
            break
        way.append((goal, hop))
        goal = hop.other(goal)
    return list(reversed(way))


def _is_supply(place: Place) -> bool:
    return place.entry is not None and place.entry.direction is Direction.OUT and place.entry.kind in SUPPLY_KINDS


def _is_minus(place: Place) -> bool:
    return place.entry is not None and place.entry.direction is Direction.OUT and place.entry.kind is Kind.GROUND


def _way_back(place: Place) -> int:
    """How good an end of a way this is: battery minus, another return, anything else."""
    if _is_minus(place):
        return 0
    return 1 if place.entry is not None and place.entry.kind in RETURN_KINDS else 2


class _Writer:
    def __init__(
        self,
        snapshot: Snapshot,
        variant: Variant,
        report: ElectricalReport,
        dictionary: Dictionary | None,
        streams: Flow,
    ) -> None:
        self.snapshot = snapshot
        self.variant = variant
        self.report = report
        self.dictionary = dictionary
        self.flow = streams
        self.cases = load_cases(snapshot)

    def lone(self, end: End) -> Trace:
        """A trace of one station: the pin is there, but no signal has it."""
        pins = {k[:3]: (k, p) for k, p in self.snapshot.active_pins(self.variant).items()}
        if not isinstance(end, PinKey) or end[:3] not in pins:
            raise NotFound(f"{end} is not there in this variant")
        key, pin = pins[end[:3]]
        name = place_of(key, self.snapshot)
        place = Place(
            id=name,
            kind=PlaceKind.PIN,
            label=pin_label(key, self.snapshot),
            platform=key.platform,
            pin=key,
            entry=pin,
            points=(name,),
        )
        station = self._station(place, True, None)
        return Trace(
            title=place.label,
            here=0,
            stations=(station,),
            legs=(),
            branches=(),
            cautions=cautions_for((pin,), self._words([place])),
            cases=self.cases,
            joined=False,
            from_source=_is_supply(place),
            to_minus=_is_minus(place),
        )

    def write(self, path: list[str], legs: list[tuple[Hop, str]], here: int) -> Trace:
        places = [self.flow.places[name] for name in path]
        stations = []
        for i, place in enumerate(places):
            before = legs[i - 1][0] if i else None
            stations.append(self._station(place, i == here, before))
        used = {hop for hop, _ in legs}
        return Trace(
            title=places[here].label,
            here=here,
            stations=tuple(stations),
            legs=tuple(self._leg(hop, came) for hop, came in legs),
            branches=tuple(b for i, name in enumerate(path) for b in self._branches(i, name, used, set(path))),
            cautions=cautions_for((p.entry for p in places if p.entry is not None), self._words(places)),
            cases=self.cases,
            joined=any(hop.wire is not None for hop in (*self.flow.before[path[here]], *self.flow.after[path[here]])),
            from_source=_is_supply(places[0]),
            to_minus=_is_minus(places[-1]),
        )

    def _leg(self, hop: Hop, came: str) -> Leg:
        along = hop.a == came
        if hop.wire is not None:
            w = hop.wire
            parts = (f"wire {w.id}", w.colour, f"{w.mm2:g} mm²", f"{w.length_m:.2f} m")
            twisted = f"twisted, {w.twist}" if w.twist else ""
            screened = f"screened, {w.screen}" if w.screen else ""
            return Leg(words=" · ".join(p for p in (*parts, twisted, screened) if p), wire=w, along=along)
        return Leg(words=f"through {self._owner(self.flow.places[hop.a])}", along=along)

    def _owner(self, place: Place) -> str:
        return self.snapshot.platform[place.platform].name if place.platform else "the loom"

    def _branches(self, at: int, name: str, used: set[Hop], path: set[str]) -> list[Branch]:
        found = []
        # What else feeds or drives a control unit from inside is no branch of this way; its other ways out are.
        inside = self.flow.places[name].kind is PlaceKind.INSIDE
        for hop in (*(() if inside else self.flow.before[name]), *self.flow.after[name]):
            other = hop.other(name)
            if hop in used or other in path:
                continue
            place = self.flow.places[other]
            target, wire = self._goes_to(hop, other, path)
            found.append(
                Branch(
                    at=at,
                    label=target.label,
                    detail=self._detail(target) or self._owner(target),
                    ref=self._ref(target if target.pin is not None else place),
                    wire=wire,
                )
            )
        return found

    def _goes_to(self, hop: Hop, other: str, path: set[str]) -> tuple[Place, str]:
        """The first named pin or component on a branch, past a splice with one way on."""
        wire = hop.wire.id if hop.wire is not None else ""
        place = self.flow.places[other]
        onward = [h for h in (*self.flow.before[other], *self.flow.after[other]) if h != hop]
        if place.kind is PlaceKind.SPLICE and len(onward) == 1 and onward[0].other(other) not in path:
            return self.flow.places[onward[0].other(other)], wire
        return place, wire

    def _station(self, place: Place, here: bool, before: Hop | None) -> Station:
        pin = place.entry
        voltages = [self._volts(point) for point in self._ordered(place, before)]
        coming = next((v for v in voltages if v), _NONE)
        passes = place.kind in {PlaceKind.DEVICE, PlaceKind.MATED}
        leaving = voltages[-1] if passes and len(voltages) > 1 else _NONE
        usual = usual_readings(pin.kind, self.cases) if pin is not None else MappingProxyType({})
        return Station(
            label=place.label,
            point=place.points[0] if place.points else place.id,
            kind=place.kind,
            ref=self._ref(place),
            detail=self._detail(place),
            where=self._where(place),
            pin_kind=pin.kind if pin else None,
            device_kind=place.device.kind if place.device else None,
            part=place.part,
            evidence=pin.evidence if pin else None,
            evidence_ref=pin.evidence_ref if pin else "",
            wire_colour=pin.wire_colour if pin else "",
            voltage_v=coming,
            leaving_v=leaving,
            usual=usual,
            unplugged=_unplugged(pin.kind) if pin else "",
            here=here,
        )

    def _ordered(self, place: Place, before: Hop | None) -> tuple[str, ...]:
        """The points of a device or of a cavity between looms, the one where the way comes in first."""
        if place.kind not in {PlaceKind.DEVICE, PlaceKind.MATED} or before is None or before.wire is None:
            return place.points
        ends = {before.wire.a.point, before.wire.b.point}
        return tuple(sorted(place.points, key=lambda point: point not in ends))

    def _volts(self, point: str) -> Mapping[str, float]:
        by_case = self.report.voltage_v
        return {c.key: by_case[c.key][point] for c in self.cases if point in by_case.get(c.key, {})}

    def _where(self, place: Place) -> str:
        if place.platform:
            platform = self.snapshot.platform[place.platform].name
            connector = (
                self.snapshot.connector.get(ConnectorKey(place.platform, place.pin.connector)) if place.pin else None
            )
            words = (connector.place or connector.description) if connector else ""
            return f"{platform}, {words}" if words else platform
        node = self.snapshot.node.get(place.device.place) if place.device else None
        return (node.name or node.key) if node else "in the loom"

    def _detail(self, place: Place) -> str:
        if place.entry is not None:
            return place.entry.function or self._function_name(place.entry.function_code)
        if place.device is not None:
            rating = f"{place.device.rating_a:g} A" if place.device.rating_a is not None else ""
            ohms = f"{place.device.resistance_ohm:g} ohm" if place.device.resistance_ohm and not rating else ""
            terminals = " → ".join(point.rpartition(":")[2] for point in place.points)
            return " · ".join(p for p in (place.device.kind.value, rating or ohms, terminals) if p)
        words = {PlaceKind.SPLICE: "splice", PlaceKind.COMPONENT: "component", PlaceKind.MATED: "where two looms meet"}
        return words.get(place.kind, "")

    def _function_name(self, code: str) -> str:
        entry = self.dictionary.get(code) if self.dictionary is not None and code else None
        return entry.name if entry is not None else code

    def _ref(self, place: Place) -> str:
        if place.device is not None:
            return f"device:{place.device.key}"
        return place.id

    def _words(self, places: list[Place]) -> list[str]:
        """Names from which cautions are read: functions, their groups, and what the signals are called."""
        words = []
        for place in places:
            if place.entry is None or self.dictionary is None:
                continue
            entry = self.dictionary.get(place.entry.function_code)
            if entry is not None:
                words.append(f"{entry.name} {entry.group}")
        ends = {place.pin for place in places if place.pin is not None}
        words += [s.name for s in self.snapshot.job.signals if any(m.end in ends for m in s.members)]
        return words


@cache
def _readings() -> Mapping[str, Mapping[str, str]]:
    return {row["kind"]: row for row in rows("expected_readings")}


_COLUMN = {"K": "key_on", "A": "key_on", "C": "cranking", "I": "running", "F": "running"}


def usual_readings(kind: Kind, cases: tuple[LoadCase, ...]) -> Mapping[str, str]:
    """What is usual for a kind in each load case, in words (table expected_readings); a case without a usual reading
    is left out."""
    row = _readings().get(kind.value, {})
    found = {case.key: row.get(_COLUMN.get(case.code, ""), "") for case in cases}
    return {key: words for key, words in found.items() if words}


def _unplugged(kind: Kind) -> str:
    return _readings().get(kind.value, {}).get("unplugged", "")
