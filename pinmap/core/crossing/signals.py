"""Proposes signals over all sides of a job: every edition and every control unit that its seats pick."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations

from pinmap.core.crossing.features import Features, features
from pinmap.core.crossing.ledger import ledger
from pinmap.core.crossing.pairs import MARGIN, Proposal, cross_features, edition_pins, level
from pinmap.core.crossing.wording import conflicts
from pinmap.core.facts.functions import Dictionary, FunctionEntry
from pinmap.core.model.jobs import Pick, Snapshot
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Direction, Fate, Kind

_SEVERAL_CAP = 0.75  # two pins of one platform in one signal are for a person to confirm
_DOUBTFUL_CAP = 0.7
_SEVERAL_KINDS = frozenset(
    {Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_87, Kind.GROUND, Kind.CAN_H, Kind.CAN_L}
)
_TWIN_END = re.compile(r"(\+|-|_H|_L|_RTN)$")
_REASONS_MAX = 12


@dataclass(frozen=True, slots=True)
class SignalProposal:
    """Pins of several sides that probably are one signal. ``members`` stand in the order of the ledger; ``confidence``
    is that of the weakest pair that holds them together; ``twist`` and ``screen`` name groups where the function asks
    for one."""

    name: str
    function_code: str
    members: tuple[PinKey, ...]
    confidence: float
    reasons: tuple[str, ...]
    rivals: tuple[tuple[PinKey, float], ...] = ()
    twist: str = ""
    screen: str = ""

    @property
    def level(self) -> str:
        return level(self.confidence)


@dataclass
class _Group:
    members: list[PinKey]
    confidence: float = 1.0
    pairs: list[Proposal] = field(default_factory=list)
    refused: list[Proposal] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def propose_signals(snapshot: Snapshot, dictionary: Dictionary) -> tuple[SignalProposal, ...]:
    """Signals for the pins that are still undecided, surest first.

    Each seat's picks are crossed with each other seat's, edition by edition; the pairs found are joined from the
    surest down. Two pins that exist together on one platform come into one signal only when both are supplies or
    returns of the same function, and then the proposal says so and is never high.
    """
    rows = ledger(snapshot).rows
    order = {row.pin: n for n, row in enumerate(rows)}
    undecided = {row.pin for row in rows if row.fate == Fate.UNDECIDED}
    seen: dict[PinKey, Features] = {}
    found: dict[tuple[PinKey, PinKey], Proposal] = {}
    for one, other in combinations(snapshot.job.seats, 2):
        for pick_a in one.picks:
            for pick_b in other.picks:
                side_a, side_b = (_side(snapshot, p, undecided, dictionary) for p in (pick_a, pick_b))
                seen.update({item.key: item for item in (*side_a, *side_b)})
                for pair in cross_features(side_a, side_b).pairs:
                    known = found.get((pair.a, pair.b))
                    # the worst of the editions counts: a rival that exists in one of them is a rival
                    if known is None or pair.confidence < known.confidence:
                        found[pair.a, pair.b] = pair
    seat_of = {pick.platform: seat.key for seat in snapshot.job.seats for pick in seat.picks}
    ranked = sorted(found.values(), key=lambda p: (-p.confidence, order[p.a], order[p.b]))
    groups = _grouped(ranked, seen, seat_of)
    names = {platform.key: platform.name for platform in snapshot.platforms}
    _take_in_twins(groups, [key for key in order if key in seen], seen, names)
    out = [_signal(group, order, dictionary, names) for group in groups]
    return tuple(sorted(out, key=lambda s: (-s.confidence, order[s.members[0]])))


def _side(snapshot: Snapshot, pick: Pick, undecided: set[PinKey], dictionary: Dictionary) -> tuple[Features, ...]:
    """Undecided pins of one pick, read among all pins of their connectors."""
    platform = snapshot.platform[pick.platform]
    every = features(edition_pins(platform, pick.edition), dictionary, platform.nominal_v)
    return tuple(item for item in every if item.key in undecided)


def _grouped(pairs: Iterable[Proposal], seen: Mapping[PinKey, Features], seat_of: Mapping[str, str]) -> list[_Group]:
    """Joins pairs from the surest down; a pair that cannot be joined any more makes its groups doubtful."""
    group_of: dict[PinKey, _Group] = {}
    for pair in pairs:
        a = group_of.get(pair.a) or _Group([pair.a])
        b = group_of.get(pair.b) or _Group([pair.b])
        if a is not b and not _can_merge(a, b, seen, seat_of):
            for side in (a, b):
                if side.pairs:
                    side.refused.append(pair)
            continue
        if a is not b:
            a.members += b.members
            a.pairs += b.pairs
            a.refused += b.refused
            a.confidence = min(a.confidence, b.confidence, pair.confidence)
        a.pairs.append(pair)
        for key in a.members:
            group_of[key] = a
    return list({id(group): group for group in group_of.values()}.values())


def _can_merge(a: _Group, b: _Group, seen: Mapping[PinKey, Features], seat_of: Mapping[str, str]) -> bool:
    """Not when two pins would be together on one platform, nor when the words of any two contradict each other, nor
    when two platforms that are there together would both give the signal or share a sensor's reference."""
    return not any(
        _coexist(x, y)
        or any(group != "volts" for group in conflicts(seen[x].marks, seen[y].marks))
        or (seat_of[x.platform] != seat_of[y.platform] and _must_stay_apart(seen[x], seen[y]))
        for x in a.members
        for y in b.members
    )


def _must_stay_apart(x: Features, y: Features) -> bool:
    """Two sources of one signal, and two sensors on one reference or one sensor ground."""
    if x.pin.direction != y.pin.direction:
        return False
    if x.pin.direction == Direction.OUT:
        return not x.ground and not y.ground
    return x.pin.direction == Direction.IN and x.kind == y.kind and x.kind in (Kind.REFERENCE_5V, Kind.SENSOR_GROUND)


def _coexist(x: PinKey, y: PinKey) -> bool:
    """Two pins of one platform that can be there at the same time."""
    if x.platform != y.platform:
        return False
    return not x.edition or not y.edition or bool(set(x.edition.split(";")) & set(y.edition.split(";")))


def _take_in_twins(
    groups: list[_Group], pins: Iterable[PinKey], seen: Mapping[PinKey, Features], names: Mapping[str, str]
) -> None:
    """Supplies and returns that have no partner of their own join their twin: same platform, same function."""
    taken = {key: group for group in groups for key in group.members}
    twins: dict[tuple[str, str, Kind], list[_Group]] = {}
    for key, group in taken.items():
        item = seen[key]
        if item.found is not None and item.firm:
            twins.setdefault((key.platform, item.found.code, item.kind), []).append(group)
    for key in pins:
        item = seen[key]
        if key in taken or item.found is None or not item.firm or item.kind not in _SEVERAL_KINDS:
            continue
        hosts = {id(g): g for g in twins.get((key.platform, item.found.code, item.kind), [])}
        if len(hosts) != 1 or item.serves_said:
            continue
        (group,) = hosts.values()
        if any(conflicts(item.marks, seen[m].marks) for m in group.members):
            continue
        group.members.append(key)
        group.confidence = min(group.confidence, _SEVERAL_CAP)
        group.notes.append(f"{key.connector}-{key.cavity} is one more pin of {names[key.platform]} for {item.name}")


def _signal(
    group: _Group, order: Mapping[PinKey, int], dictionary: Dictionary, names: Mapping[str, str]
) -> SignalProposal:
    def short(key: PinKey) -> str:
        return f"{names[key.platform]} {key.connector}-{key.cavity}"

    confidence, notes = group.confidence, list(group.notes)
    near = [p for p in group.refused if p.confidence >= group.confidence - MARGIN]
    if near:
        confidence = min(confidence, _DOUBTFUL_CAP)
        outside = sorted({short(k) for p in near for k in p.members if k not in group.members})
        notes.append(f"{', '.join(outside)} would fit nearly as well, but not together with these: choose")
    best = max(group.pairs, key=lambda p: (bool(p.function_code), p.confidence))
    members = tuple(sorted(group.members, key=order.__getitem__))
    weakest_first = sorted(group.pairs, key=lambda p: (p.confidence, order[p.a], order[p.b]))
    reasons = notes + [
        f"{short(p.a)} and {short(p.b)} ({p.confidence:.0%}): {'; '.join(p.reasons)}" for p in weakest_first
    ]
    rivals: dict[PinKey, float] = {}
    for key, likely in [r for pair in group.pairs for r in pair.rivals] + [
        (key, pair.confidence) for pair in group.refused for key in pair.members
    ]:
        if key not in group.members:
            rivals[key] = max(likely, rivals.get(key, 0.0))
    entry = dictionary.get(best.function_code)
    return SignalProposal(
        name=best.function,
        function_code=best.function_code,
        members=members,
        confidence=confidence,
        reasons=tuple(reasons[:_REASONS_MAX]),
        rivals=tuple(sorted(rivals.items(), key=lambda r: (-r[1], order[r[0]]))),
        twist=_twist(entry) if entry is not None else "",
        screen=_twist(entry) if entry is not None and entry.screen else "",
    )


def _twist(entry: FunctionEntry) -> str:
    """The group that the two wires of a twisted pair share: CAN for CAN_H and CAN_L."""
    if not entry.twist or entry.kind in (Kind.SCREEN, Kind.REFERENCE_5V, Kind.SUPPLY_87, Kind.GROUND):
        return ""
    return _TWIN_END.sub("", entry.code)
