"""Segments cut at the splices in them: each stretch has wires of its own.

At a splice the wires that do not belong to it run past; its own lie beside each other in one sleeve. Splices nearer
than a splice is long lie beside each other and are judged together.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from pinmap.core.loom.results import Routing, Splice, Wire
from pinmap.core.model.jobs import Practice
from pinmap.core.model.looms import Segment

SLEEVE_OVER_M = 0.01  # of a sleeve over the insulation at each end of a splice: common practice
_NEAR_M = 1e-6


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a segment, measured from its node ``a``, with the wires in it. Where ``splices`` are named it is the
    cross-section at the first of them: ``wires`` are those that run past."""

    segment: str
    from_m: float
    to_m: float
    wires: tuple[str, ...]
    splices: tuple[str, ...] = ()

    @property
    def length_m(self) -> float:
        return self.to_m - self.from_m


class Span(NamedTuple):
    """How far a wire runs in a segment, from its node ``a``."""

    wire: str
    from_m: float
    to_m: float


def splice_length_m(practice: Practice) -> float:
    """Of a splice in line with its sleeve."""
    return practice.splice_overlap_m + 2 * SLEEVE_OVER_M


def splice_at_m(splice: Splice, segment: Segment) -> float:
    """Where a splice sits in its segment, from the segment's node ``a``."""
    at_m = splice.at_m if splice.node == segment.a else segment.length_m - splice.at_m
    return min(max(at_m, 0.0), segment.length_m)


class Stretches:
    """The stretches of all segments of a routed loom; those without a splice in them are one stretch."""

    def __init__(self, routing: Routing, segments: Sequence[Segment], practice: Practice) -> None:
        self.routing = routing
        self.segment = {s.key: s for s in segments}
        self.half_m = splice_length_m(practice) / 2
        self.splice = {s.id: s for s in routing.splices}
        self._inside: dict[str, list[tuple[float, str]]] = {}
        for splice in routing.splices:
            own = self.segment.get(splice.segment)
            if own is not None:
                self._inside.setdefault(own.key, []).append((splice_at_m(splice, own), splice.id))
        for found in self._inside.values():
            found.sort()
        self._spans = self._all_spans()

    def at_m(self, segment: str) -> Sequence[tuple[float, str]]:
        """Where in a segment splices sit, and which."""
        return self._inside.get(segment, ())

    def of(self, segment: str) -> tuple[Stretch, ...]:
        """The stretches between the splices of a segment, from its node ``a`` on; none of no length beside others."""
        ids = self.routing.bundle.get(segment, ())
        inside = self._inside.get(segment)
        length_m = self.segment[segment].length_m if segment in self.segment else 0.0
        if not inside:
            return (Stretch(segment, 0.0, length_m, ids),)
        cuts = [0.0, *(at_m for at_m, _ in inside), length_m]
        found = []
        for low, high in pairwise(cuts):
            if high - low > _NEAR_M:
                middle = (low + high) / 2
                found.append(Stretch(segment, low, high, tuple(self._past(segment, middle, ()))))
        return tuple(found) or (Stretch(segment, 0.0, length_m, ids),)

    def at_splices(self, segment: str) -> tuple[Stretch, ...]:
        """The cross-section at each splice of a segment; one for splices at the same place."""
        inside = self._inside.get(segment, [])
        found: dict[tuple[str, ...], Stretch] = {}
        length_m = self.segment[segment].length_m if inside else 0.0
        for at_m, own in inside:
            beside = [s for there_m, s in inside if abs(there_m - at_m) < 2 * self.half_m - _NEAR_M and s != own]
            near = (own, *beside)
            mine = {w for s in near for w in self.splice[s].wires}
            low, high = max(at_m - self.half_m, 0.0), min(at_m + self.half_m, length_m)
            past = tuple(self._past(segment, at_m, mine))
            found.setdefault(tuple(sorted(near)), Stretch(segment, low, high, past, near))
        return tuple(found.values())

    def along(self, wire: Wire) -> tuple[Stretch, ...]:
        """The stretches that a wire runs through, from its end a to its end b."""
        out: list[Stretch] = []
        for i, key in enumerate(wire.segments):
            here = [s for s in self.of(key) if wire.id in s.wires]
            out += here if self._forward(wire, i) else here[::-1]
        return tuple(out)

    def _forward(self, wire: Wire, i: int) -> bool:
        segment = self.segment[wire.segments[i]]
        if i + 1 < len(wire.segments):
            beyond = self.segment[wire.segments[i + 1]]
            return segment.a not in (beyond.a, beyond.b)
        if i:
            before = self.segment[wire.segments[i - 1]]
            return segment.a in (before.a, before.b)
        start, end = self.splice.get(wire.a.splice), self.splice.get(wire.b.splice)
        if start is not None and start.segment == segment.key:
            if end is not None and end.segment == segment.key:
                return splice_at_m(start, segment) <= splice_at_m(end, segment)
            return wire.b.node == segment.b
        return wire.a.node == segment.a

    def sides(self, splice: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The wires of a splice within a segment that leave towards the segment's node ``a``, and towards ``b``; one
        that leads to another splice at the same place is neither."""
        own = self.splice[splice]
        at_m = splice_at_m(own, self.segment[own.segment])
        spans = {s.wire: s for s in self._spans.get(own.segment, ())}
        back = tuple(w for w in own.wires if w in spans and spans[w].from_m < at_m - _NEAR_M)
        return back, tuple(w for w in own.wires if w in spans and w not in back)

    def _past(self, segment: str, at_m: float, without: set[str] | tuple[()]) -> Iterator[str]:
        return (
            s.wire
            for s in self._spans[segment]
            if s.from_m - _NEAR_M <= at_m <= s.to_m + _NEAR_M and s.wire not in without
        )

    def _all_spans(self) -> Mapping[str, list[Span]]:
        """Of the segments that have a splice in them."""
        found: dict[str, list[Span]] = {key: [] for key in self._inside}
        cut: dict[tuple[str, ...], list[int]] = {}  # by way, which many wires share: where on it those segments are
        for wire in self.routing.wires if found else ():
            places = cut.get(wire.segments)
            if places is None:
                places = cut[wire.segments] = [i for i, key in enumerate(wire.segments) if key in found]
            ends_inside = wire.a.splice or wire.b.splice
            for i in places:
                key = wire.segments[i]
                whole = 0.0, self.segment[key].length_m
                low, high = self._span(wire, i, len(wire.segments) - 1) if ends_inside else whole
                found[key].append(Span(wire.id, low, high))
        return found

    def _span(self, wire: Wire, i: int, last: int) -> tuple[float, float]:
        segment = self.segment[wire.segments[i]]
        ends = []
        if i == 0:
            ends.append((wire.a.splice, wire.b.node if last == 0 else "", wire.segments[1] if last else ""))
        if i == last:
            ends.append((wire.b.splice, wire.a.node if last == 0 else "", wire.segments[-2] if last else ""))
        within = []
        for splice, far_node, beyond in ends:
            place = self.splice.get(splice)
            if place is not None and place.segment == segment.key:
                within.append((splice_at_m(place, segment), far_node, beyond))
        if not within:
            return 0.0, segment.length_m
        if len(within) == 2:
            return min(within[0][0], within[1][0]), max(within[0][0], within[1][0])
        at_m, far_node, beyond = within[0]
        to_a = self._leaves_by_a(segment, at_m, wire.pieces_m[i], far_node, beyond)
        return (0.0, at_m) if to_a else (at_m, segment.length_m)

    def _leaves_by_a(self, segment: Segment, at_m: float, piece_m: float, far_node: str, beyond: str) -> bool:
        """Whether a wire leaves a splice towards the segment's node ``a``: by how far it runs, from the middle by where
        it comes out."""
        by_a, by_b = abs(piece_m - at_m), abs(piece_m - (segment.length_m - at_m))
        if abs(by_a - by_b) > _NEAR_M:
            return by_a < by_b
        if beyond in self.segment:
            other = self.segment[beyond]
            return segment.a in (other.a, other.b)
        return far_node == segment.a
