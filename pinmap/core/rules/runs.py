"""Rules about the ways of wires and the places of splices."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

from pinmap.core.model.jobs import Signal
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Kind, Severity, natural_key
from pinmap.core.rules.buses import pairs
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule

_CP = "common practice"
_WAY_OUT = (
    "lengthen the run, let some of these signals meet in another run or in another way (stud, daisy chain), or set a "
    "smaller distance in the shop's practice"
)
Cover = Mapping[str, float]  # metres by segment


def covers(context: Context) -> Mapping[str, Cover]:
    """By signal: how much of each segment its wires fill lengthwise [m]."""
    length_m = {s.key: s.length_m for s in context.snapshot.job.segments}
    out: dict[str, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for wire in context.routing.wires:
        own = out[wire.signal]
        for segment, piece_m in zip(wire.segments, wire.pieces_m, strict=True):
            own[segment] = min(own[segment] + piece_m, length_m[segment])
    return out


def _groups(signals: Sequence[Signal], name: str) -> Mapping[str, list[Signal]]:
    out: dict[str, list[Signal]] = defaultdict(list)
    for signal in signals:
        if getattr(signal, name):
            out[getattr(signal, name)].append(signal)
    return out


@rule(
    "R97",
    Severity.FIX,
    "Twisted or screened group falls apart",
    explanation="Wires that are twisted cancel each other's fields, and a screen keeps fields off, only where they run "
    "side by side: all the way, and close up to the plugs. One break spoils the whole length.",
    limit="the same runs throughout; at each end as much untwisted as the shop's practice says",
    source="common practice; SAE J2284 and J1939-11 for buses (50 mm untwisted at the plug, from memory)",
)
def group_together(context: Context) -> Iterator[Hit]:
    cover = covers(context)
    paired = {s for pair in pairs(context) for s in (pair.one, pair.other)}  # of them R22 speaks
    most_m = 2 * context.snapshot.job.practice.max_untwisted_m
    for kind in ("twist", "screen"):
        for group, signals in _groups(context.snapshot.job.signals, kind).items():
            if kind == "twist" and len(signals) == 1 and signals[0].key not in paired:
                yield Hit(
                    where=(context.signal_words(signals[0].key), f"twist group {group}"),
                    refs=(f"signal:{signals[0].key}",),
                    why="the group has no second signal: there is nothing to twist it with",
                    way_out="give its partner the same twist group, or take this signal out of the group",
                )
            wired = [s for s in signals if s.key in cover and not _drains(context, s)]
            if len(wired) < 2:
                continue
            first = min(wired, key=lambda s: sum(cover[s.key].values()))
            for other in wired:
                apart = {
                    segment: gap_m
                    for segment in cover[first.key].keys() | (cover[other.key].keys() if kind == "twist" else set())
                    if (gap_m := _gap_m(cover[first.key], cover[other.key], segment, both=kind == "twist")) > 1e-9
                }
                if sum(apart.values()) > most_m + 1e-9:
                    yield Hit(
                        where=(
                            *(context.signal_words(s.key) for s in sorted((first, other), key=lambda s: s.number)),
                            "segments " + ", ".join(sorted(apart)),
                        ),
                        refs=(f"signal:{first.key}", f"signal:{other.key}"),
                        numbers=(("apart", sum(apart.values()), most_m, "m"),),
                        why=f"{kind} group {group}: over these segments only one of the two runs",
                        way_out="bring both wires to the same places by the same way; move a splice or a pin, or lead "
                        "both through the same runs",
                    )


def _drains(context: Context, signal: Signal) -> bool:
    """A drain wire ends at one side and need not run along."""
    ends = [m.end for m in signal.members if isinstance(m.end, PinKey)]
    return any(context.snapshot.pin[e].kind is Kind.SCREEN for e in ends if e in context.snapshot.pin)


def _gap_m(one: Cover, other: Cover, segment: str, *, both: bool) -> float:
    gap_m = one.get(segment, 0.0) - other.get(segment, 0.0)
    return abs(gap_m) if both else max(gap_m, 0.0)


@rule(
    "R41",
    Severity.FIX,
    "Splice in a bad place",
    explanation="A splice that gets wet corrodes, one that is bent again and again breaks at the edge of its barrel, "
    "and one close behind a plug pulls at the terminals.",
    limit="dry, still, and clear of connectors by what the shop's practice says",
    source=_CP,
)
def splice_place(context: Context) -> Iterator[Hit]:
    for splice in context.routing.splices:
        if splice.waived:
            yield Hit(
                where=(f"splice {splice.id}", context.signal_words(splice.signal)),
                refs=(f"splice:{splice.id}", f"signal:{splice.signal}"),
                why=splice.waived,
                way_out="let the ends meet in another way (daisy chain, double crimp, stud), lead the signal through a "
                "run where a splice may sit, or change the zone or the limits",
            )


@rule(
    "R99",
    Severity.NOTE,
    "No room to stagger splices",
    explanation="Splices beside each other make the bundle thick and stiff at one place; one after the other it stays "
    "slim. Pinmap leads those at one branch point into the runs around it and shifts those of one run apart, at the "
    "least copper, as far as there is room.",
    limit="apart by what the shop's practice says, clear of connectors and of wet and moving runs",
    source="AC 43.13-1B, 11-167 (stagger splices in a bundle, from memory); the distance is common practice",
)
def splices_apart(context: Context) -> Iterator[Hit]:
    apart_m = context.snapshot.job.practice.splice_apart_m
    if apart_m <= 0:
        return
    at_node: dict[str, list[str]] = defaultdict(list)
    for splice in context.routing.splices:
        # One whose wires all end at its own node lies in a box, where no bundle thickens.
        if not splice.segment and any(context.routing.wire[w].segments for w in splice.wires):
            at_node[splice.node].append(splice.id)
    for node, names in at_node.items():
        if len(names) > 1:
            yield Hit(
                where=(f"branch point {_name(context, node)}", f"splices {', '.join(names)}"),
                refs=(f"node:{node}", *(f"splice:{s}" for s in names)),
                numbers=(("apart", 0.0, apart_m, "m"),),
                why=f"{len(names)} splices lie beside each other, and no run around has room for them",
                way_out=_WAY_OUT,
            )
    for segment in context.snapshot.job.segments:
        inside = context.bundles.stretches.at_m(segment.key)
        ends = ((0.0, segment.a), (segment.length_m, segment.b))
        there = [*inside, *((at_m, s) for at_m, node in ends if inside for s in at_node[node])]
        there.sort()
        gaps_m = [
            two[0] - one[0]
            for one, two in pairwise(there)
            if one in inside or two in inside  # two at one node are told above
        ]
        if (least_m := min(gaps_m, default=apart_m)) < apart_m - 1e-5:
            names = sorted((s for _, s in there), key=natural_key)
            yield Hit(
                where=(f"segment {segment.key}", f"splices {', '.join(names)}"),
                refs=(f"segment:{segment.key}", *(f"splice:{s}" for s in names)),
                numbers=(("apart", least_m, apart_m, "m"),),
                why=f"{len(names)} splices share a run of {segment.length_m * 1000:.0f} mm: {least_m * 1000:.0f} mm "
                f"from one to the next, {apart_m * 1000:.0f} mm are wanted",
                way_out=_WAY_OUT,
            )


def _name(context: Context, key: str) -> str:
    node = context.snapshot.node[key]
    return node.name or node.key


@rule(
    "R98",
    Severity.FIX,
    "Way or joint is not as asked for",
    explanation="A signal is led by hand through runs, or its ends are to meet in a way, that cannot be had.",
    limit="every run that is named is taken, and the joint is the one chosen",
    source="this job's own decisions",
)
def wish_not_met(context: Context) -> Iterator[Hit]:
    for note in context.routing.notes:
        yield Hit(
            where=(context.signal_words(note.signal),),
            refs=(f"signal:{note.signal}",),
            why=note.text,
            way_out="choose other runs or another joint on the signal's page",
        )
