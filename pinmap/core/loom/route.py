"""Turns nets into wires: ends, runs, splices, lengths, sizes, colours."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pinmap.core.facts.conductors import next_size
from pinmap.core.facts.functions import Dictionary
from pinmap.core.facts.functions import dictionary as built_in
from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.nets import end_point, nets
from pinmap.core.loom.results import Net, Routing, RoutingGap, Splice, Wire, WireEnd
from pinmap.core.model.jobs import Member, Signal, Snapshot, Variant
from pinmap.core.model.looms import DeviceEnd, End, Segment
from pinmap.core.model.pinouts import ConnectorKey, Pin, PinKey
from pinmap.core.model.words import DeviceKind, NodeKind, Role

_SPLICE_OFFSET_M = 0.1  # a splice in a run next to a connector keeps this distance, common practice
_DETOUR = 2.0  # a better place for a splice may cost this many times the least copper


class _Spot(NamedTuple):
    """An end with its node's index."""

    end: End
    node: int


class _Order(NamedTuple):
    """Sort key of a wire: signal number, then letters, then wires of in-line devices."""

    number: int
    group: int
    rank: int
    section: int


def letters(index: int) -> str:
    """0 -> A, 25 -> Z, 26 -> AA."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(65 + rest) + text
    return text


def route(snapshot: Snapshot, variant: Variant, dictionary: Dictionary | None = None) -> Routing:
    """Routes every net of a variant through the loom.

    Two ends take one wire; three or more meet in one splice, or on a stud where the net has one. What cannot be
    routed stands among the gaps. ``dictionary`` gives the usual colour of a function where no pin has one; the
    built-in one by default. Raises StructureError for a segment without a usable length.
    """
    return _Router(snapshot, variant, dictionary).run()


@dataclass
class _Router:
    snapshot: Snapshot
    variant: Variant
    dictionary: Dictionary | None

    def __post_init__(self) -> None:
        self.graph = LoomGraph(self.snapshot, self.variant)
        self.pins = self.snapshot.active_pins(self.variant)
        self.practice = self.snapshot.job.practice
        self.wires: list[tuple[_Order, Wire]] = []
        self.splices: list[Splice] = []
        self.gaps: list[RoutingGap] = []
        self.splice_cost = self._splice_cost()

    def run(self) -> Routing:
        by_signal: dict[str, list[Net]] = {}
        for net in nets(self.snapshot, self.variant):
            by_signal.setdefault(net.signal, []).append(net)
        for signal in sorted(self.snapshot.job.signals, key=lambda s: s.number):
            found = by_signal.get(signal.key)
            if found:
                job = _SignalRouter(self, signal)
                for net in found:
                    job.route_net(net)
        self.wires.sort(key=lambda item: item[0])
        return Routing(tuple(w for _, w in self.wires), tuple(self.splices), tuple(self.gaps))

    def spot(self, end: End) -> int | str:
        """Index of the node where an end sits, or why it has none."""
        if isinstance(end, PinKey):
            node = self.snapshot.node_of_connector.get(ConnectorKey(end.platform, end.connector))
            if node is None:
                return f"connector {end.connector} of {end.platform} has no place in the loom"
            return self.graph.index[node.key]
        device = self.snapshot.device[end.device]
        if not device.place:
            return f"device {end.device} has no place"
        index = self.graph.index.get(device.place)
        if index is not None:
            return index
        if device.place in self.snapshot.node:
            return f"device {end.device} sits at {device.place}, a connector that this variant has not"
        return f"device {end.device} has its place at {device.place!r}, which is no node of the loom"

    def _splice_cost(self) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        """What a splice at each node costs beyond copper: 0 at a good place, 1 where it is wet or moves, 2 at a
        connector, where there is no room behind the seals."""
        cost = np.zeros(len(self.graph.nodes))
        for i, node in enumerate(self.graph.nodes):
            if node.kind is NodeKind.CONNECTOR:
                cost[i] = 2
            elif any(self.is_bad(segment) for segment in self.graph.segments_at.get(i, ())):
                cost[i] = 1
        return cost

    def is_bad(self, segment: Segment) -> bool:
        zone = self.snapshot.zone.get(segment.zone)
        return zone is not None and (zone.wet or zone.moving)


class _SignalRouter:
    """Routes the nets of one signal."""

    def __init__(self, router: _Router, signal: Signal) -> None:
        self.router, self.signal = router, signal
        self.member_of: dict[End, tuple[int, Member]] = {}
        for index, member in enumerate(signal.members):
            self.member_of.setdefault(member.end, (index, member))
        practice = router.practice
        self.insulation = signal.insulation or practice.insulation
        pins: list[tuple[End, Pin]] = [
            (m.end, router.pins[m.end]) for m in signal.members if isinstance(m.end, PinKey) and m.end in router.pins
        ]
        self.signal_colour = self._pin_colour(pins)
        self.signal_pin_mm2 = max((p.wire_mm2 or 0.0 for _, p in pins), default=0.0)

    # One net

    def route_net(self, net: Net) -> None:
        router = self.router
        spots: list[_Spot] = []
        for end in net.ends:
            found = router.spot(end)
            if isinstance(found, str):
                if len(net.ends) > 1:
                    self._gap(net, end, next((e for e in net.ends if e != end), end), found)
            else:
                spots.append(_Spot(end, found))
        spots = self._one_piece(net, spots)
        if len(spots) < 2:
            return
        stud = next((s for s in spots if self._is_stud(s.end)), None)
        if len(spots) == 2:
            self._two_ends(net, spots[0], spots[1])
        elif stud is not None:
            self._star_at_stud(net, spots, stud)
        else:
            self._star_at_splice(net, spots)

    def _one_piece(self, net: Net, spots: list[_Spot]) -> list[_Spot]:
        """The largest set of ends that one piece of the loom joins; the others become gaps."""
        graph = self.router.graph
        by_piece: dict[int, list[_Spot]] = {}
        for spot in spots:
            by_piece.setdefault(int(graph.pieces[spot.node]), []).append(spot)
        if len(by_piece) < 2:
            return spots
        kept = max(by_piece.values(), key=len)  # the first of equals
        text = f"the loom falls into {graph.describe_pieces([s.node for s in spots])}"
        for group in by_piece.values():
            if group is not kept:
                for spot in group:
                    a, b = graph.name(spot.node), graph.name(kept[0].node)
                    reason = f"no run of segments joins node {a} and node {b}: {text}"
                    self._gap(net, spot.end, kept[0].end, reason)
        return kept

    def _gap(self, net: Net, a: End, b: End, reason: str) -> None:
        self.router.gaps.append(
            RoutingGap(signal=self.signal.key, section=net.section, a=end_point(a), b=end_point(b), reason=reason)
        )

    def _two_ends(self, net: Net, a: _Spot, b: _Spot) -> None:
        named = [s.end for s in (a, b) if s.end in self.member_of]
        # A stud serves every wire that meets on it, so the other end gives the wire its letter.
        named.sort(key=lambda end: (self._is_stud(end), self.member_of[end][0]))
        lead = named[0] if named else a.end
        run = self.router.graph.run(a.node, b.node)
        self._wire(net, lead, self._end(a), self._end(b), run, sum(s.length_m for s in run), (a.end, b.end))

    def _star_at_stud(self, net: Net, spots: list[_Spot], stud: _Spot) -> None:
        for spot in spots:
            if spot is not stud:
                run = self.router.graph.run(spot.node, stud.node)
                length_m = sum(s.length_m for s in run)
                self._wire(net, spot.end, self._end(spot), self._end(stud), run, length_m, (spot.end,))

    def _star_at_splice(self, net: Net, spots: list[_Spot]) -> None:
        router, graph = self.router, self.router.graph
        weights = np.array([self._mm2((s.end,)) for s in spots])
        where = np.array([s.node for s in spots])
        copper = weights @ graph.distance_m[where]
        near = copper <= _DETOUR * copper.min() + 1e-6
        best_kind = router.splice_cost[near].min()
        candidates = np.flatnonzero(near & (router.splice_cost == best_kind))
        values = copper[candidates]
        # Equal within a hair counts as equal, and the job's first node wins.
        chosen = int(candidates[np.flatnonzero(values <= values.min() + 1e-6)[0]])
        splice_id = f"S{self.signal.number}" + (f".{net.section}" if net.section else "")
        # A loom of connectors only: the splice moves out into the run that most of the copper comes through.
        segment, offset_m = self._move_out(chosen, spots, weights) if best_kind == 2 else (None, 0.0)
        node = graph.nodes[chosen].key
        meet = WireEnd(node=node, label=splice_id, splice=splice_id)
        ids = []
        for spot in spots:
            run = graph.run(spot.node, chosen)
            length_m = sum(s.length_m for s in run)
            if segment is not None:
                if run and run[-1].key == segment.key:
                    length_m -= offset_m
                else:
                    run, length_m = (*run, segment), length_m + offset_m
            ids.append(self._wire(net, spot.end, self._end(spot), meet, run, length_m, (spot.end,)))
        router.splices.append(
            Splice(
                id=splice_id,
                signal=self.signal.key,
                section=net.section,
                node=node,
                wires=tuple(ids),
                segment=segment.key if segment else "",
                at_m=offset_m,
            )
        )

    def _move_out(
        self, chosen: int, spots: list[_Spot], weights: np.ndarray[tuple[int], np.dtype[np.float64]]
    ) -> tuple[Segment | None, float]:
        graph = self.router.graph
        pull: dict[str, float] = {}
        segment_of = {s.key: s for s in graph.segments_at.get(chosen, ())}
        for spot, weight in zip(spots, weights, strict=True):
            run = graph.run(spot.node, chosen)
            if run:
                pull[run[-1].key] = pull.get(run[-1].key, 0.0) + float(weight)
        if not pull:  # all ends on this one connector: the splice sits in any run that leaves it
            pull = {s.key: 0.0 for s in segment_of.values()}
        if not pull:
            return None, 0.0
        order = list(segment_of)
        key = min(pull, key=lambda k: (self.router.is_bad(segment_of[k]), -pull[k], order.index(k)))
        return segment_of[key], min(_SPLICE_OFFSET_M, segment_of[key].length_m / 2)

    # One wire

    def _wire(
        self, net: Net, lead: End, a: WireEnd, b: WireEnd, run: tuple[Segment, ...], length_m: float,
        ends: tuple[End, ...],
    ) -> str:  # fmt: skip
        signal, practice = self.signal, self.router.practice
        if lead in self.member_of:
            index = self.member_of[lead][0]
            wire_id = f"{signal.number}{letters(index)}"
            order = _Order(signal.number, 0, index, net.section)
        else:
            assert isinstance(lead, DeviceEnd)
            place = signal.inline.index(lead.device)
            downstream = net.section > place
            wire_id = f"{signal.number}-{lead.device}" + (f".{lead.terminal}" if downstream else "")
            order = _Order(signal.number, 1, 2 * place + downstream, net.section)
        take_up = 1 + practice.twist_take_up_pct / 100 if signal.twist else 1.0
        cut_m = length_m * take_up
        for end in (a, b):
            cut_m += practice.strip_m + (practice.splice_overlap_m if end.splice else practice.service_loop_m)
        steps = math.ceil(cut_m / practice.cut_step_m - 1e-6) if practice.cut_step_m > 0 else 0
        wire = Wire(
            id=wire_id,
            signal=signal.key,
            section=net.section,
            a=a,
            b=b,
            segments=tuple(s.key for s in run),
            length_m=round(length_m, 6),
            cut_length_m=round(steps * practice.cut_step_m if steps else cut_m, 6),
            mm2=self._mm2(ends),
            insulation=self.insulation,
            colour=self._colour(ends, net),
            twist=signal.twist,
            screen=signal.screen,
        )
        self.router.wires.append((order, wire))
        return wire_id

    def _mm2(self, ends: tuple[End, ...]) -> float:
        """Size of the wire that serves these ends: the member's own, the signal's, the larger of the pins' wires,
        the shop's least; the last two rounded up to stock."""
        own = [self.member_of[e][1].mm2 or 0.0 for e in ends if e in self.member_of]
        if any(own):
            return max(own)
        if self.signal.mm2:
            return self.signal.mm2
        pins = self.router.pins
        known = [pins[e].wire_mm2 or 0.0 for e in ends if isinstance(e, PinKey)]
        if not known:  # devices only: as large as the largest pin of the signal, for it may carry all of it
            known = [self.signal_pin_mm2]
        practice = self.router.practice
        return next_size(max(*known, practice.min_mm2), practice.stock_mm2)

    def _colour(self, ends: tuple[End, ...], net: Net) -> str:
        for end in ends:
            if end in self.member_of and self.member_of[end][1].colour:
                return self.member_of[end][1].colour
        if self.signal.colour:
            return self.signal.colour
        pins = self.router.pins
        own = self._pin_colour([(e, pins[e]) for e in ends if isinstance(e, PinKey)])
        own = own or self._pin_colour([(e, pins[e]) for e in net.ends if isinstance(e, PinKey)])
        return own or self.signal_colour or self._usual_colour()

    def _usual_colour(self) -> str:
        if not self.signal.function_code:
            return ""
        words = built_in() if self.router.dictionary is None else self.router.dictionary
        entry = words.get(self.signal.function_code)
        return entry.colour if entry is not None else ""

    def _pin_colour(self, found: list[tuple[End, Pin]]) -> str:
        """The donor pin's colour, or else the first other one."""
        coloured = [(e, p) for e, p in found if p.wire_colour]
        roles = self.router.snapshot.platform
        for end, pin in coloured:
            if isinstance(end, PinKey) and roles[end.platform].role is Role.DONOR:
                return pin.wire_colour
        return coloured[0][1].wire_colour if coloured else ""

    def _is_stud(self, end: End) -> bool:
        return isinstance(end, DeviceEnd) and self.router.snapshot.device[end.device].kind is DeviceKind.STUD

    def _end(self, spot: _Spot) -> WireEnd:
        node = self.router.graph.nodes[spot.node]
        if isinstance(spot.end, PinKey):
            return WireEnd(node=node.key, label=f"{node.name or node.key}-{spot.end.cavity}", pin=spot.end)
        return WireEnd(node=node.key, label=str(spot.end), device=spot.end)
