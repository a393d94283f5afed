"""Which cavity of a mating each signal crosses in: what is kept by hand, and a proposal for all else."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count, islice
from types import MappingProxyType
from typing import NamedTuple

from pinmap.core.loom.divide import Crossing, Crossings, part_net
from pinmap.core.loom.nets import end_point, nets
from pinmap.core.loom.results import Net, RoutingGap
from pinmap.core.loom.ways import Ways
from pinmap.core.model.jobs import Job, Snapshot, Variant
from pinmap.core.model.looms import MatedCavity, Mating
from pinmap.core.model.pinouts import Cavity

_NEIGHBOUR = 1.01  # contact pitches, along rows and across, diagonally too


class Seat(NamedTuple):
    """What needs a cavity: one section of a signal in one mating."""

    mating: str
    signal: str
    section: int


@dataclass(frozen=True, slots=True)
class Divided:
    """The nets of one variant as they are routed, and what could not cross."""

    nets: tuple[Net, ...]
    gaps: tuple[RoutingGap, ...] = ()


def divided(snapshot: Snapshot, ways: Ways, whole: Sequence[Net]) -> Divided:
    """Every net as its parts, one a loom. A crossing that gets no cavity is a gap, and its parts stay apart."""
    found = Crossings(snapshot, ways)
    crossings = {i: crossing for i, net in enumerate(whole) if (crossing := found.of(net)) is not None}
    cavity = _for_crossings(snapshot, ways.variant, tuple(crossings.values()))
    out: list[Net] = []
    gaps: list[RoutingGap] = []
    taken: dict[tuple[str, str], Net] = {}  # (mating, cavity) -> what crosses there
    for i, net in enumerate(whole):
        if i not in crossings:
            out.append(net)
            continue
        at: dict[str, str] = {}
        for mating in crossings[i].matings:
            name = cavity.get(Seat(mating.key, net.signal, net.section), "")
            first = taken.setdefault((mating.key, name), net)
            if name and first is net:
                at[mating.a] = at[mating.b] = name
                continue
            where = f"{_called(snapshot, mating.a)} and {_called(snapshot, mating.b)}"
            reason = f"no cavity is free where {where} mate"
            if name:
                reason = f"cavity {name} where {where} mate has signal {snapshot.signal[first.signal].name!r} already"
            gaps.append(_gap(crossings[i], mating, reason))
        _prune(crossings[i], at)
        out += [part_net(crossings[i], part, at) for part in crossings[i].parts]
    return Divided(tuple(out), tuple(gaps))


def _prune(crossing: Crossing, at: dict[str, str]) -> None:
    """Leaves out mated cavities that lead to nothing, since the way ends beyond them for want of another."""
    todo = True
    while todo:
        todo = False
        for part in crossing.parts:
            halves = [node for node, _ in part.halves if node in at]
            if not part.own and len(halves) == 1:
                mating = next(m for m in crossing.matings if halves[0] in (m.a, m.b))
                del at[mating.a], at[mating.b]
                todo = True


def _called(snapshot: Snapshot, node: str) -> str:
    return snapshot.node[node].name or node


def _gap(crossing: Crossing, mating: Mating, reason: str) -> RoutingGap:
    """Between the net's first end and the first that lies behind the mating."""
    near = crossing.net.whole[0]
    beyond = [far for part in crossing.parts for node, far in part.halves if node in (mating.a, mating.b)]
    there = next(e for far in beyond if near not in far for e in far)
    return RoutingGap(
        signal=crossing.net.signal, section=crossing.net.section, a=end_point(near), b=end_point(there), reason=reason
    )


def _for_crossings(snapshot: Snapshot, variant: Variant, crossings: Sequence[Crossing]) -> dict[Seat, str]:
    """Cavities for what crosses in one variant. Others are looked at only where one is to be proposed."""
    kept = kept_cavities(snapshot.job)
    if all(seat in kept for crossing in crossings for seat in _seats(crossing)):
        return kept
    return kept | proposed_cavities(snapshot, {variant.key: crossings})


def kept_cavities(job: Job) -> dict[Seat, str]:
    return {Seat(m.key, c.signal, c.section): c.cavity for m in job.matings for c in m.cavities}


def _seats(crossing: Crossing) -> list[Seat]:
    return [Seat(m.key, crossing.net.signal, crossing.net.section) for m in crossing.matings]


def proposed_cavities(snapshot: Snapshot, known: dict[str, Sequence[Crossing]] | None = None) -> dict[Seat, str]:
    """A cavity for everything that crosses without a kept one, the same in all variants: the lowest that no signal has
    in any variant, or else in none of its own. Signals of one twist or screen group get neighbours where there are any.
    What finds none is left out. ``known`` are crossings of variants, by key.
    """
    users = crossing_seats(snapshot, known or {})
    job = snapshot.job
    kept = kept_cavities(job)
    every = frozenset(v.key for v in snapshot.variants)
    proposed: dict[Seat, str] = {}
    for mating in job.matings:
        taken: dict[str, list[frozenset[str]]] = {}
        for seat, cavity in kept.items():
            if seat.mating == mating.key:
                taken.setdefault(cavity, []).append(users.get(seat, every))
        todo = [s for s in users if s.mating == mating.key and s not in kept]
        names = mating_cavities(snapshot, mating)
        places = names if names is not None else [Cavity(name=str(i), column=i, row=0) for i in _numbers(todo, taken)]
        for group in _groups(snapshot, todo):
            for seat, cavity in zip(group, _places(places, taken, [users[s] for s in group]), strict=True):
                if cavity:
                    proposed[seat] = cavity
                    taken.setdefault(cavity, []).append(users[seat])
    return proposed


def _numbers(todo: Sequence[Seat], taken: dict[str, list[frozenset[str]]]) -> list[int]:
    """Cavities of a housing that is not named yet: as many as are needed."""
    return list(islice(count(1), len(todo) + len(taken)))


def mating_cavities(snapshot: Snapshot, mating: Mating) -> list[Cavity] | None:
    """Cavities that both halves have, in the order of the first half's housing; None where no housing names any."""
    housings = [snapshot.housing.get(snapshot.node[node].housing) for node in (mating.a, mating.b)]
    named = [h for h in housings if h is not None and h.cavities]
    if not named:
        return None
    return [c for c in named[0].cavities if all(c.name in h.cavity_names for h in named)]


def crossing_seats(
    snapshot: Snapshot, known: Mapping[str, Sequence[Crossing]] = MappingProxyType({})
) -> dict[Seat, frozenset[str]]:
    """What crosses, by signal number and section, and in which variants, by key."""
    found: dict[Seat, set[str]] = {}
    for variant in snapshot.variants:
        crossings = known.get(variant.key)
        for crossing in variant_crossings(snapshot, variant) if crossings is None else crossings:
            for seat in _seats(crossing):
                found.setdefault(seat, set()).add(variant.key)
    number = {s.key: s.number for s in snapshot.job.signals}
    return {seat: frozenset(found[seat]) for seat in sorted(found, key=lambda s: (number[s.signal], s.section))}


def variant_crossings(snapshot: Snapshot, variant: Variant) -> list[Crossing]:
    """Every net of a variant that runs through several looms."""
    found = Crossings(snapshot, Ways(snapshot, variant, snapshot.active_pins(variant)))
    return [crossing for net in nets(snapshot, variant) if (crossing := found.of(net)) is not None]


def _groups(snapshot: Snapshot, seats: Iterable[Seat]) -> list[list[Seat]]:
    """Signals that belong together, each group where its first would stand."""
    twist_in = {s.screen: s.twist for s in reversed(snapshot.job.signals) if s.screen and s.twist}
    groups: dict[tuple[str, object], list[Seat]] = {}
    for seat in seats:
        signal = snapshot.signal[seat.signal]
        twist = signal.twist or twist_in.get(signal.screen, "")  # a screen's drain beside the pair that it surrounds
        together = ("twist", twist) if twist else ("screen", signal.screen) if signal.screen else ("alone", seat)
        groups.setdefault(together, []).append(seat)
    return list(groups.values())


def _places(
    cavities: Sequence[Cavity], taken: dict[str, list[frozenset[str]]], variants: Sequence[frozenset[str]]
) -> list[str]:
    """Cavities for so many that belong together; "" for each that finds none."""
    everywhere = frozenset().union(*variants)
    empty = [c for c in cavities if not taken.get(c.name)]
    shared = [c for c in cavities if all(v.isdisjoint(everywhere) for v in taken.get(c.name, ()))]
    for free in (empty, shared):
        for first in free if len(variants) > 1 else free[:1]:
            found = _cluster(free, first, len(variants))
            if len(found) == len(variants):
                return found
    lone = [c.name for c in (*empty, *(c for c in shared if c not in empty))]
    return [*lone, *[""] * len(variants)][: len(variants)]


def _cluster(free: Sequence[Cavity], first: Cavity, size: int) -> list[str]:
    """So many free cavities from this one on, each a neighbour of another; fewer where there are not so many."""
    found = [first]
    while len(found) < size:
        near = (
            c for c in free
            if c not in found
            and any(abs(c.column - x.column) <= _NEIGHBOUR and abs(c.row - x.row) <= _NEIGHBOUR for x in found)
        )  # fmt: skip
        beside = next(near, None)
        if beside is None:
            break
        found.append(beside)
    return [c.name for c in free if c in found]


def keep_proposed(snapshot: Snapshot, mating: str = "") -> Job:
    """The job with every cavity kept that is proposed at one mating, or at all, so that later changes leave it."""
    job, proposed = snapshot.job, proposed_cavities(snapshot)

    def kept(here: Mating) -> tuple[MatedCavity, ...]:
        return tuple(
            MatedCavity(cavity=cavity, signal=seat.signal, section=seat.section)
            for seat, cavity in proposed.items()
            if seat.mating == here.key and mating in ("", here.key)
        )

    return replace(job, matings=tuple(replace(m, cavities=(*m.cavities, *kept(m))) for m in job.matings))
