"""Turns nets into wires: ends, ways, splices, lengths, sizes, colours."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from operator import itemgetter
from typing import NamedTuple

from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.graph import Way
from pinmap.core.loom.joints import JointPlan, NetEnds, plan_joint
from pinmap.core.loom.lengths import length_parts
from pinmap.core.loom.nets import end_point, nets
from pinmap.core.loom.results import Net, Routing, RoutingGap, RoutingNote, Splice, Wire, WireEnd
from pinmap.core.loom.ways import Ways
from pinmap.core.loom.wire_marks import WireMarks
from pinmap.core.model.jobs import Signal, Snapshot, Variant
from pinmap.core.model.looms import DeviceEnd, End
from pinmap.core.model.pinouts import ConnectorKey, PinKey
from pinmap.core.model.words import DeviceKind, Direction, Joint


class _Spot(NamedTuple):
    """An end with its node's index."""

    end: End
    node: int


class _Order(NamedTuple):
    """Sort key of a wire: signal number, then letters, then wires of in-line devices, then those between splices."""

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

    Two ends take one wire by the shortest admissible way. Three or more meet on a stud where the net has one, or else
    as the signal says, in the splices of least cost by default. What cannot be routed stands among the gaps, what
    could not be had as wished among the notes. ``dictionary`` gives the usual colour of a function where no pin has
    one; the built-in one by default. Raises StructureError for a segment without a usable length.
    """
    return _Router(snapshot, variant, dictionary).run()


def alternatives(snapshot: Snapshot, variant: Variant, signal: str, section: int = 0) -> tuple[JointPlan, ...]:
    """What splices, a daisy chain and a double crimp would cost for one net of a signal; empty for a net of fewer than
    three ends, or one that meets on a stud or has no way."""
    router = _Router(snapshot, variant, None)
    net = next((n for n in nets(snapshot, variant) if n.signal == signal and n.section == section), None)
    if net is None:
        return ()
    job = _SignalRouter(router, snapshot.signal[signal])
    spots = job.spots(net)
    if len(spots) < 3 or any(job.is_stud(s.end) for s in spots):
        return ()
    ends = job.net_ends(net, spots)
    return tuple(plan_joint(job.graph, router.practice, ends, joint) for joint in Joint)


@dataclass
class _Router:
    snapshot: Snapshot
    variant: Variant
    dictionary: Dictionary | None

    def __post_init__(self) -> None:
        self.pins = self.snapshot.active_pins(self.variant)
        self.ways = Ways(self.snapshot, self.variant, self.pins)
        self.graph = self.ways.open
        self.practice = self.snapshot.job.practice
        self.wires: list[tuple[_Order, Wire]] = []
        self.splices: list[tuple[_Order, Splice]] = []
        self.gaps: list[tuple[int, RoutingGap]] = []
        self.notes: list[tuple[int, RoutingNote]] = []
        self.added_m: dict[tuple[int, int, bool], tuple[float, float]] = {}

    def run(self) -> Routing:
        by_signal: dict[str, list[Net]] = {}
        for net in nets(self.snapshot, self.variant):
            by_signal.setdefault(net.signal, []).append(net)
        signals = sorted((s for s in self.snapshot.job.signals if s.key in by_signal), key=lambda s: s.number)
        noisy = [s for s in signals if self.ways.noisy_first(s)]
        for signal in noisy:
            self._route(signal, by_signal[signal.key])
        self.ways.noise = frozenset(key for _, w in self.wires for key in w.segments)
        done = {s.key for s in noisy}
        for signal in signals:
            if signal.key not in done:
                self._route(signal, by_signal[signal.key])
        self.wires.sort(key=itemgetter(0))
        self.splices.sort(key=itemgetter(0))
        self.gaps.sort(key=itemgetter(0))
        self.notes.sort(key=itemgetter(0))
        return Routing(
            tuple(w for _, w in self.wires),
            tuple(s for _, s in self.splices),
            tuple(g for _, g in self.gaps),
            tuple(n for _, n in self.notes),
        )

    def _route(self, signal: Signal, found: list[Net]) -> None:
        job = _SignalRouter(self, signal)
        for net in found:
            job.route_net(net)

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

    def cut_m(self, path_m: float, splices: int, connectors: int, twisted: bool) -> float:
        """The cut length; the same as ``length_parts`` gives, whose shares and constants are asked for once."""
        key = (splices, connectors, twisted)
        known = self.added_m.get(key)
        if known is None:
            parts = (
                length_parts(self.practice, 0.0, splices=splices, connectors=connectors, twisted=twisted),
                length_parts(self.practice, 1.0, splices=splices, connectors=connectors, twisted=twisted),
            )
            known = self.added_m[key] = (parts[0].exact_m, parts[1].exact_m - parts[0].exact_m)
        exact_m, step_m = known[0] + known[1] * path_m, self.practice.cut_step_m
        return round(math.ceil(exact_m / step_m - 1e-6) * step_m if step_m > 0 else exact_m, 6)


@dataclass
class _SignalRouter:
    """Routes the nets of one signal."""

    router: _Router
    signal: Signal

    def __post_init__(self) -> None:
        router, signal = self.router, self.signal
        self.marks = WireMarks(router.snapshot, signal, router.pins, router.dictionary)
        self.member_of = self.marks.member_of
        self.graph = router.ways.graph_for(signal, self.marks.insulation)

    # One net

    def route_net(self, net: Net) -> None:
        spots = self.spots(net, gaps=True)
        if len(spots) < 2:
            return
        stud = next((s for s in spots if self.is_stud(s.end)), None)
        if len(spots) == 2:
            self._two_ends(net, spots[0], spots[1])
        elif stud is not None:
            self._star_at_stud(net, spots, stud)
        else:
            self._joint(net, spots)

    def spots(self, net: Net, *, gaps: bool = False) -> list[_Spot]:
        """The ends of a net that have a place, all in one piece of the loom; the others become gaps if asked."""
        router = self.router
        spots: list[_Spot] = []
        for end in net.ends:
            found = router.spot(end)
            if not isinstance(found, str):
                spots.append(_Spot(end, found))
            elif len(net.ends) > 1 and gaps:
                self._gap(net, end, next((e for e in net.ends if e != end), end), found)
        return self._one_piece(net, spots, gaps=gaps)

    def _one_piece(self, net: Net, spots: list[_Spot], *, gaps: bool) -> list[_Spot]:
        """The largest set of ends that one piece of the loom joins."""
        graph = self.graph
        pieces = {graph.pieces[s.node] for s in spots}
        if len(pieces) < 2:
            return spots
        by_piece: dict[int, list[_Spot]] = {}
        for spot in spots:
            by_piece.setdefault(graph.pieces[spot.node], []).append(spot)
        kept = max(by_piece.values(), key=len)  # the first of equals
        open_loom = self.router.graph
        for group in by_piece.values():
            for spot in group if gaps and group is not kept else ():
                a, b = graph.name(spot.node), graph.name(kept[0].node)
                if open_loom.pieces[spot.node] == open_loom.pieces[kept[0].node]:
                    reason = f"every way from node {a} to node {b} leads through what is closed to such wires: "
                    reason += ", ".join(sorted({s.zone for s in graph.closed}))
                else:
                    text = f"the loom falls into {open_loom.describe_pieces([s.node for s in spots])}"
                    reason = f"no run of segments joins node {a} and node {b}: {text}"
                self._gap(net, spot.end, kept[0].end, reason)
        return kept

    def _gap(self, net: Net, a: End, b: End, reason: str) -> None:
        gap = RoutingGap(signal=self.signal.key, section=net.section, a=end_point(a), b=end_point(b), reason=reason)
        self.router.gaps.append((self.signal.number, gap))

    def _note(self, net: Net, text: str) -> None:
        note = RoutingNote(signal=self.signal.key, section=net.section, text=text)
        self.router.notes.append((self.signal.number, note))

    def _led(self, net: Net, way: Iterable[str]) -> None:
        """Says which segments of a way led by hand no wire takes."""
        missed = [key for key in self.signal.via if key not in set(way)]
        if missed:
            self._note(net, f"it is to run through {', '.join(missed)}, which no way of it can take in this variant")

    def _two_ends(self, net: Net, a: _Spot, b: _Spot) -> None:
        named = [s.end for s in (a, b) if s.end in self.member_of]
        if len(named) == 2:
            # A stud serves every wire that meets on it, so the other end gives the wire its letter.
            named.sort(key=lambda end: (self.is_stud(end), self.member_of[end][0]))
        lead = named[0] if named else a.end
        self._wire(net, lead, self._end(a), self._end(b), self._way(net, a, b), self.marks.mm2((a.end, b.end)),
                   (a.end, b.end))  # fmt: skip

    def _way(self, net: Net, a: _Spot, b: _Spot) -> Way:
        one, two = self.graph.station[a.node], self.graph.station[b.node]
        if self.signal.via:
            led = self.graph.via(one, two, self.signal.via)
            if led is not None:
                return led
            self._led(net, ())
        return self.graph.way(one, two)

    def _star_at_stud(self, net: Net, spots: list[_Spot], stud: _Spot) -> None:
        for spot in spots:
            if spot is not stud:
                way = self.graph.way(self.graph.station[spot.node], self.graph.station[stud.node])
                self._wire(
                    net, spot.end, self._end(spot), self._end(stud), way, self.marks.mm2((spot.end,)), (spot.end,)
                )

    # Three ends and more

    def net_ends(self, net: Net, spots: list[_Spot]) -> NetEnds:
        """The ends as a joint is planned for; see ``_cap_mm2``."""
        mm2 = tuple(self.marks.mm2((s.end,)) for s in spots)
        stations = tuple(self.graph.station[s.node] for s in spots)
        return NetEnds(stations, mm2, tuple(str(s.end) for s in spots), self._cap_mm2(net, spots, mm2))

    def _cap_mm2(self, net: Net, spots: list[_Spot], mm2: tuple[float, ...]) -> float:
        """No trunk carries more than all sources together can give: pins that give (or take back, for a ground) and
        devices in line that feed this section. In a bus all ends give, one at a time."""
        given = 0.0
        bus = True
        for spot, size in zip(spots, mm2, strict=True):
            end = spot.end
            if isinstance(end, PinKey):
                direction = self.router.pins[end].direction
                bus = bus and direction is Direction.BOTH
                if direction is Direction.OUT:
                    given += size
            else:
                bus = False
                if end not in self.member_of and net.section > self.signal.inline.index(end.device):
                    given += size
        return max(mm2) if bus else given or math.inf

    def _joint(self, net: Net, spots: list[_Spot]) -> None:
        graph, signal = self.graph, self.signal
        if signal.via:
            graph = self.graph = self.router.ways.graph_for(signal, self.marks.insulation, signal.via)
        plan = plan_joint(graph, self.router.practice, self.net_ends(net, spots), signal.joint)
        if signal.joint is Joint.CRIMP and plan.why_not:
            self._note(net, f"{plan.why_not}: spliced instead")
            plan = plan_joint(graph, self.router.practice, self.net_ends(net, spots), Joint.SPLICE)
        if signal.via:
            self._led(net, [key for link in plan.links for key in link.way.segments])
        if plan.joint is Joint.SPLICE:
            self._splices(net, spots, plan)
        else:
            self._end_to_end(net, spots, plan)

    def _splices(self, net: Net, spots: list[_Spot], plan: JointPlan) -> None:
        """Splices are named from the one that the first end's wire leads to, in the order of their ends."""
        ends, signal = len(spots), self.signal
        around: dict[int, list[int]] = {}
        for link in plan.links:
            around.setdefault(link.a, []).append(link.b)
            around.setdefault(link.b, []).append(link.a)
        first = around[0][0]
        order, todo = [], [(first, -1)]
        parent = {first: -1}
        while todo:
            here, back = todo.pop(0)
            order.append(here)
            beyond = [n for n in around[here] if n >= ends and n != back]
            beyond.sort(key=lambda s: min((e for e in around[s] if e < ends), default=ends))
            parent.update(dict.fromkeys(beyond, here))
            todo += [(n, here) for n in beyond]
        tail = f".{net.section}" if net.section else ""
        names = {s: f"S{signal.number}" + ("" if i == 0 else letters(i).lower()) + tail for i, s in enumerate(order)}
        meets = {
            s: WireEnd(node=self.graph.nodes[plan.splices[s - ends].node].key, label=names[s], splice=names[s])
            for s in order
        }
        wires: dict[int, list[str]] = {s: [] for s in order}
        for i, spot in enumerate(spots):
            link = next(x for x in plan.links if x.a == i)
            wires[link.b].append(
                self._wire(net, spot.end, self._end(spot), meets[link.b], link.way, link.mm2, (spot.end,))
            )
        for i, s in enumerate(order[1:]):
            link = next(x for x in plan.links if {x.a, x.b} == {s, parent[s]})
            way = link.way if link.a == parent[s] else link.way.back()
            wire_id, rank = f"{signal.number}-{names[s]}", _Order(signal.number, 2, i, net.section)
            self._add(net, wire_id, rank, meets[parent[s]], meets[s], way, link.mm2, ())
            wires[parent[s]].append(wire_id)
            wires[s].append(wire_id)
        for i, s in enumerate(order):
            place = plan.splices[s - ends]
            splice = Splice(
                id=names[s],
                signal=signal.key,
                section=net.section,
                node=self.graph.nodes[place.node].key,
                wires=tuple(wires[s]),
                segment=place.segment,
                at_m=round(place.at_m, 6),
                proven=plan.proven,
                waived=plan.waived,
            )
            self.router.splices.append((_Order(signal.number, net.section, i, 0), splice))

    def _end_to_end(self, net: Net, spots: list[_Spot], plan: JointPlan) -> None:
        """Wires from end to end; each takes its name from the end that lies farther from the net's first."""
        todo, seen = [0], {0}
        while todo:
            here = todo.pop(0)
            for link in plan.links:
                there = link.b if link.a == here else link.a if link.b == here else -1
                if there < 0 or there in seen:
                    continue
                seen.add(there)
                todo.append(there)
                way = link.way if link.a == here else link.way.back()
                a, b = spots[here], spots[there]
                self._wire(net, b.end, self._end(a), self._end(b), way, link.mm2, (a.end, b.end))

    # One wire

    def _wire(self, net: Net, lead: End, a: WireEnd, b: WireEnd, way: Way, mm2: float, ends: tuple[End, ...]) -> str:
        signal = self.signal
        member = self.member_of.get(lead)
        if member is not None:
            index = member[0]
            wire_id = f"{signal.number}{letters(index)}"
            order = _Order(signal.number, 0, index, net.section)
        else:
            assert isinstance(lead, DeviceEnd)
            place = signal.inline.index(lead.device)
            downstream = net.section > place
            wire_id = f"{signal.number}-{lead.device}" + (f".{lead.terminal}" if downstream else "")
            order = _Order(signal.number, 1, 2 * place + downstream, net.section)
        self._add(net, wire_id, order, a, b, way, mm2, ends)
        return wire_id

    def _add(
        self, net: Net, wire_id: str, order: _Order, a: WireEnd, b: WireEnd, way: Way, mm2: float,
        ends: tuple[End, ...],
    ) -> None:  # fmt: skip
        signal = self.signal
        splices = (a.splice != "") + (b.splice != "")
        connectors = (a.pin is not None) + (b.pin is not None)
        wire = Wire(
            id=wire_id,
            signal=signal.key,
            section=net.section,
            a=a,
            b=b,
            segments=way.segments,
            pieces_m=way.pieces_m,
            length_m=round(way.length_m, 6),
            cut_length_m=self.router.cut_m(way.length_m, splices, connectors, bool(signal.twist)),
            mm2=mm2,
            insulation=self.marks.insulation,
            colour=self.marks.colour(ends, net),
            twist=signal.twist,
            screen=signal.screen,
        )
        self.router.wires.append((order, wire))

    def is_stud(self, end: End) -> bool:
        return isinstance(end, DeviceEnd) and self.router.snapshot.device[end.device].kind is DeviceKind.STUD

    def _end(self, spot: _Spot) -> WireEnd:
        node = self.router.graph.nodes[spot.node]
        if isinstance(spot.end, PinKey):
            return WireEnd(node=node.key, label=f"{node.name or node.key}-{spot.end.cavity}", pin=spot.end)
        return WireEnd(node=node.key, label=str(spot.end), device=spot.end)
