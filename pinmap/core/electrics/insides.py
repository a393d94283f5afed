"""What platforms are inside: supplies, ways back, drivers, references, pull-ups, terminators, battery, alternator."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass, field

from pinmap.core.electrics.components import ALL, Parts, Reference, Source
from pinmap.core.electrics.loads import (
    BACK_KINDS,
    FEED_KINDS,
    LIVE_IN,
    SUPPLY_KINDS,
    Load,
    is_host,
    retained,
    states_of,
)
from pinmap.core.electrics.typed import Typed, number_or_none, typed
from pinmap.core.errors import InputError
from pinmap.core.facts.circuit import (
    BATTERY_FULL_V,
    BUS_BIAS_OHM,
    BUS_REST_V,
    CHARGE_OHM_RATIO,
    REFERENCE_OHM,
    REFERENCE_V,
    REGULATOR_OHM,
    battery_rest_v,
)
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import pin_point
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.pinouts import Pin, PinKey, Platform
from pinmap.core.model.words import Direction, Kind, Role

_RUNNING = "IF"  # the alternator turns
_PAIRS = {Kind.CAN_H: Kind.CAN_L, Kind.J1708_PLUS: Kind.J1708_MINUS, Kind.J1850_PLUS: Kind.J1850_MINUS}
_NOTHING = Typed({})

Pins = list[tuple[PinKey, Pin]]


def add_load_ends(
    parts: Parts, snapshot: Snapshot, pins: Mapping[PinKey, Pin], found: Iterable[Load]
) -> tuple[dict[str, int], dict[str, int]]:
    """Points at which each load takes and gives back its current; an end that stays on its own side is a source."""
    kept = retained(snapshot)
    bodies = {k.platform for k, p in pins.items() if _is_way_back(p)}
    feed_of, back_of = {}, {}
    for load in found:
        if load.feed is not None:
            feed_of[load.key] = parts.point(pin_point(load.feed))
            if load.feed in kept:
                parts.plus.append((feed_of[load.key], ALL))
        if load.backs:
            points = [parts.point(pin_point(b)) for b in load.backs]
            back_of[load.key] = points[0]
            parts.joins.extend((points[0], p, ALL) for p in points[1:])
            parts.minus.extend((p, ALL) for p, b in zip(points, load.backs, strict=True) if b in kept)
        elif load.platform in bodies or snapshot.role_of(load.platform) is Role.HOST:
            back_of[load.key] = parts.point(body_point(load.platform))
    return feed_of, back_of


def body_point(platform: str) -> str:
    """The metal that a platform's ways back are bolted to."""
    return f"body:{platform}"


def driven_by_loads(snapshot: Snapshot, found: Iterable[Load]) -> dict[str, str]:
    """Signal key -> letters of the cases in which a load on it is on; its driver then conducts."""
    out: dict[str, str] = {}
    for load in found:
        for end in (load.feed, *load.backs):
            signal = snapshot.signal_of.get(end) if end is not None else None
            if signal is not None:
                out[signal.key] = out.get(signal.key, "") + load.states
    return out


@dataclass
class _Inside:
    """One platform while its insides are collected."""

    parts: Parts
    platform: Platform
    said: dict[PinKey, Typed] = field(default_factory=dict)
    plus: list[int] = field(default_factory=list)
    grounds: list[int] = field(default_factory=list)

    def number(self, key: PinKey, column: str) -> float | None:
        """A typed number; what cannot be read is noted and left out."""
        said = self.said.get(key, _NOTHING)
        if not said.given(column):
            return None
        try:
            return number_or_none(said, column)
        except InputError as error:
            self.parts.problems.append((str(key), str(error)))
            return None

    def most_a(self, key: PinKey, pin: Pin) -> float:
        """What an alternator can give [A]: typed, 0 for one that gives nothing, else the pin's current."""
        typed_a = self.number(key, "alternator_max_a")
        return (pin.current_a or 0.0) if typed_a is None else typed_a


def add_platform(
    parts: Parts,
    snapshot: Snapshot,
    dictionary: Dictionary,
    platform: str,
    pins: Pins,
    driven: Mapping[str, str],
    strapped: Set[str],
) -> None:
    """Sources, joins and resistors inside one platform; ``strapped``: see ``strapped_platforms``."""
    role = snapshot.role_of(platform)
    inside = _Inside(parts, snapshot.platform[platform], {k: typed(p) for k, p in pins if p.extra})
    on_side: dict[Kind, list[int]] = {}
    for key, pin in pins:
        if pin.direction is Direction.IN and not pin.component and pin.kind in SUPPLY_KINDS | {Kind.GROUND}:
            on_side.setdefault(pin.kind, []).append(parts.point(pin_point(key)))
    inside.grounds = on_side.get(Kind.GROUND, [])
    parts.joins.extend((inside.grounds[0], g, ALL) for g in inside.grounds[1:])
    inside.plus = next(
        (on_side[k] for k in (Kind.SUPPLY_87, Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75) if k in on_side), []
    )
    if role is Role.CONTROL:
        for kind in SUPPLY_KINDS:
            same = on_side.get(kind, [])
            parts.joins.extend((same[0], p, ALL) for p in same[1:])
    body = any(_is_way_back(p) for _, p in pins)
    joined = [(k, p) for k, p in pins if k in snapshot.signal_of]
    _add_body(inside, joined, body=body, is_host_platform=role is Role.HOST, strapped=platform in strapped)
    if role is Role.HOST:
        _add_battery(inside, pins)
    for key, pin in joined:
        if pin.direction is not Direction.OUT:
            _add_input(inside, key, pin)
            continue
        here = parts.point(pin_point(key))
        states = states_of(snapshot, dictionary, key, pin) + driven.get(snapshot.signal_of[key].key, "")
        if pin.kind in BACK_KINDS and pin.kind is not Kind.GROUND:
            when = ALL if pin.kind is Kind.SENSOR_GROUND else states
            if is_host(snapshot, key) or (body and not inside.grounds):
                parts.joins.append((parts.point(body_point(platform)), here, when))
            elif inside.grounds:
                parts.joins.append((inside.grounds[0], here, when))
        elif pin.kind in FEED_KINDS:
            if is_host(snapshot, key):
                parts.plus.append((here, LIVE_IN.get(pin.kind, states)))
            elif inside.plus and (role is not Role.DONOR or pin.kind not in SUPPLY_KINDS):
                # An engine's supply out is its alternator, which is not joined to its other supply pins.
                when = ALL if pin.kind in SUPPLY_KINDS else states
                parts.joins.extend((here, p, when) for p in inside.plus)
            elif most_a := inside.most_a(key, pin):
                parts.sources.append(
                    Source(
                        name=f"alternator {key}", plus=here, minus=parts.point(body_point(platform)) if body else -1,
                        ohm=REGULATOR_OHM.value, when=_RUNNING, most_a=most_a,
                    )
                )  # fmt: skip
        elif pin.kind is Kind.REFERENCE_5V and inside.plus and inside.grounds:
            _add_reference(inside, f"5 V reference {key}", here, REFERENCE_V.value, REFERENCE_OHM.value, feeds=True)
    _add_terminators(inside, pins)


def strapped_platforms(snapshot: Snapshot, pins: Mapping[PinKey, Pin], piece: Mapping[str, int]) -> frozenset[str]:
    """Platforms whose own metal wires of the job join with the host's, such as an engine by its strap: what their loads
    give back flows through these. ``piece`` numbers the points that wires and contacts join."""
    grounds = [(k.platform, piece[pin_point(k)]) for k, p in pins.items() if _is_way_back(p) and pin_point(k) in piece]
    host = {n for platform, n in grounds if snapshot.role_of(platform) is Role.HOST}
    return frozenset(p for p, n in grounds if n in host and snapshot.role_of(p) is not Role.HOST)


def _is_way_back(pin: Pin) -> bool:
    return pin.kind is Kind.GROUND and pin.direction is Direction.OUT


def _add_body(inside: _Inside, pins: Pins, *, body: bool, is_host_platform: bool, strapped: bool) -> None:
    """Ways back: a host's ground pins and its body are battery minus, another platform's are bolted to its body. That
    hangs on the wires that lead from it to the host's, on a resistance typed for one of its grounds, or on both; where
    there is neither, the vehicle's own strap counts as ideal and the body is battery minus too."""
    parts, platform = inside.parts, inside.platform.key
    if not body and not is_host_platform:
        return
    grounds = [(k, p) for k, p in pins if _is_way_back(p)]
    metal = parts.point(body_point(platform))
    straps = []
    for key, _ in grounds:
        ohm = inside.number(key, "chassis_ohm")
        here = parts.point(pin_point(key))
        if not is_host_platform:
            parts.joins.append((metal, here, ALL))
            straps += [ohm] if ohm else []
        elif ohm:
            parts.between(here, metal, ohm, f"chassis from {key}")
        else:
            parts.joins.append((metal, here, ALL))
    if straps:
        chassis = parts.point("chassis")
        parts.minus.append((chassis, ALL))
        for ohm in straps:
            parts.between(metal, chassis, ohm, f"strap of {platform}")
    elif not strapped:
        parts.minus.append((metal, ALL))


def _add_battery(inside: _Inside, pins: Pins) -> None:
    for key, pin in pins:
        if pin.kind not in SUPPLY_KINDS or pin.direction is not Direction.OUT or inside.parts.post >= 0:
            continue
        ohm = inside.number(key, "battery_ohm")
        if not ohm:
            continue
        rest = inside.number(key, "battery_v")
        charge = inside.number(key, "battery_charge_pct")
        nominal = inside.platform.nominal_v
        if rest is None:
            rest = BATTERY_FULL_V.value * nominal / 12 if charge is None else battery_rest_v(charge, nominal)
        parts = inside.parts
        parts.post, parts.held = parts.point("battery post"), _RUNNING
        parts.sources += [
            Source(name="battery", plus=parts.post, minus=-1, ohm=ohm, charge_ohm=ohm, when="KCA"),
            # Beside a running alternator it helps where the voltage falls below its own, and takes little charge.
            Source(
                name="battery beside the alternator", plus=parts.post, minus=-1, ohm=ohm, when=_RUNNING, emf_v=rest,
                charge_ohm=ohm * CHARGE_OHM_RATIO.value,
            ),
        ]  # fmt: skip


def _add_reference(inside: _Inside, name: str, out: int, volts: float, ohm: float, *, feeds: bool) -> None:
    inside.parts.references.append(
        Reference(
            name=name, supply=inside.plus[0], ground=inside.grounds[0], out=out, volts=volts, ohm=ohm, feeds=feeds
        )
    )


def _add_input(inside: _Inside, key: PinKey, pin: Pin) -> None:
    """Pull-ups of inputs and the rest level of a bus."""
    if not inside.plus or not inside.grounds or pin.component:
        return
    here = inside.parts.point(pin_point(key))
    if pin.kind in {Kind.CAN_H, Kind.CAN_L} and inside.platform.role is Role.CONTROL:
        _add_reference(inside, f"rest level {key}", here, BUS_REST_V.value, BUS_BIAS_OHM.value, feeds=False)
    ohm = inside.number(key, "pull_up_ohm")
    if ohm:
        volts = inside.number(key, "pull_up_v") or REFERENCE_V.value
        if volts > 2 * REFERENCE_V.value:  # the unit's own supply, not a regulated voltage
            inside.parts.between(inside.plus[0], here, ohm, f"pull-up {key}")
        else:
            _add_reference(inside, f"pull-up {key}", here, volts, ohm, feeds=True)


def _add_terminators(inside: _Inside, pins: Pins) -> None:
    """A terminator typed at both lines of a pair is one resistor."""
    if not inside.said:
        return
    lines: dict[tuple[Kind, int], tuple[PinKey, float | None]] = {}
    count: dict[Kind, int] = {}
    for key, pin in pins:
        if pin.kind in _PAIRS or pin.kind in _PAIRS.values():
            count[pin.kind] = count.get(pin.kind, 0) + 1  # the n-th high line goes with the n-th low line
            lines[pin.kind, count[pin.kind]] = (key, inside.number(key, "terminator_ohm"))
    for (kind, n), (high, ohm) in lines.items():
        low = lines.get((_PAIRS[kind], n)) if kind in _PAIRS else None
        if low is not None and (value := ohm or low[1]):
            inside.parts.element(pin_point(high), pin_point(low[0]), value, f"terminator {high}")
