"""Routes one signal: the wires and splices of its nets."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

from pinmap.core.facts.conductors import next_size
from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.joints import JointPlan, Link, NetEnds, plan_joint
from pinmap.core.loom.nets import end_point
from pinmap.core.loom.results import MatedEnd, Net, NetEnd, RoutingGap, RoutingNote, Splice, Wire, WireEnd
from pinmap.core.loom.stations import Way
from pinmap.core.loom.wire_marks import WireMarks
from pinmap.core.model.jobs import Signal
from pinmap.core.model.looms import DeviceEnd, End
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import DeviceKind, Direction, Joint

if TYPE_CHECKING:
    from pinmap.core.loom.route import Router


class Spot(NamedTuple):
    """An end with its node's index."""

    end: NetEnd
    node: int


class Order(NamedTuple):
    """Sort key of a wire: signal number, then letters, then wires of in-line devices, then those from mated cavities,
    then those between splices."""

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


@dataclass
class SignalRouter:
    """Routes the nets of one signal. ``plans`` of its ``joints`` must be there before."""

    router: Router
    signal: Signal

    def __post_init__(self) -> None:
        router, signal = self.router, self.signal
        self.marks = WireMarks(router.snapshot, signal, router.pins, router.dictionary)
        self.member_of = self.marks.member_of
        for net in router.nets.get(signal.key, ()) if router.snapshot.job.matings else ():
            for end, beyond in zip(net.mated, net.beyond, strict=True):
                self.marks.mated_mm2[end] = self._crossing_mm2(net, beyond)
        self.graph = router.ways.graph_for(signal, self.marks.insulation)
        self.via = router.ways.via_of(signal)
        self.via_of_net = self._shared_out() if self.via else {}
        self.taken: set[str] = set()
        self.plans: dict[Net, JointPlan] = {}

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

    def spots(self, net: Net, *, gaps: bool = False) -> list[Spot]:
        """The ends of a net that have a place, all in one piece of the loom; the others become gaps if asked."""
        router = self.router
        spots: list[Spot] = []
        for end in net.ends:
            found = router.ways.spot(end)
            if not isinstance(found, str):
                spots.append(Spot(end, found))
            elif len(net.ends) > 1 and gaps:
                self._gap(net, end, next((e for e in net.ends if e != end), end), found)
        return self._one_piece(net, spots, gaps=gaps)

    def _one_piece(self, net: Net, spots: list[Spot], *, gaps: bool) -> list[Spot]:
        """The largest set of ends that one piece of the loom joins."""
        graph = self.graph
        pieces = {graph.pieces[s.node] for s in spots}
        if len(pieces) < 2:
            return spots
        by_piece: dict[int, list[Spot]] = {}
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
                elif graph.nodes[spot.node].loom != graph.nodes[kept[0].node].loom:
                    looms = {x.key: x.name for x in self.router.snapshot.job.looms}
                    one, two = (looms[graph.nodes[s.node].loom] for s in (spot, kept[0]))
                    reason = f"no runs and mated connectors lead from node {a} of {one} to node {b} of {two}"
                else:
                    text = f"the loom falls into {open_loom.describe_pieces([s.node for s in spots])}"
                    reason = f"no run of segments joins node {a} and node {b}: {text}"
                self._gap(net, spot.end, kept[0].end, reason)
        return kept

    def _gap(self, net: Net, a: NetEnd, b: NetEnd, reason: str) -> None:
        gap = RoutingGap(signal=self.signal.key, section=net.section, a=end_point(a), b=end_point(b), reason=reason)
        self.router.gaps.append((self.signal.number, gap))

    def _note(self, net: Net, text: str) -> None:
        note = RoutingNote(signal=self.signal.key, section=net.section, text=text)
        self.router.notes.append((self.signal.number, note))

    def _shared_out(self) -> dict[Net, tuple[str, ...]]:
        """Each segment of a way led by hand, to the net to which it is the least way round."""
        found = {net: self.spots(net) for net in self.router.nets.get(self.signal.key, ())}
        out: dict[Net, list[str]] = {}
        for key in self.via:
            detours = [
                (led.length_m - self.graph.between(a, b), net.section, at, net)
                for at, (net, spots) in enumerate(found.items())
                for a, b in combinations([self.graph.station[s.node] for s in spots], 2)
                if (led := self.graph.via(a, b, (key,))) is not None
            ]
            if detours:
                out.setdefault(min(detours, key=lambda found: found[:3])[3], []).append(key)
        return {net: tuple(keys) for net, keys in out.items()}

    def note_missed(self) -> None:
        """Says which segments of a way led by hand no wire takes."""
        missed = [key for key in self.via if key not in self.taken]
        if missed:
            text = f"it is to run through {', '.join(missed)}, which no way of it can take in this variant"
            self._note(self.router.nets[self.signal.key][0], text)

    def _two_ends(self, net: Net, a: Spot, b: Spot) -> None:
        named = [s.end for s in (a, b) if s.end in self.member_of]
        if len(named) == 2:
            # A stud serves every wire that meets on it, so the other end gives the wire its letter.
            named.sort(key=lambda end: (self.is_stud(end), self.member_of[end][0]))
        lead = named[0] if named else a.end  # mated cavities come last; between two, the one towards the first end
        self._wire(net, lead, self._end(a), self._end(b), self._way(net, a, b), self.marks.mm2((a.end, b.end)),
                   (a.end, b.end))  # fmt: skip

    def _way(self, net: Net, a: Spot, b: Spot) -> Way:
        one, two = self.graph.station[a.node], self.graph.station[b.node]
        via = self.via_of_net.get(net, ()) if self.via_of_net else ()
        if via:
            led = self.graph.via(one, two, via)
            if led is not None:
                return led
        return self.graph.way(one, two)

    def _star_at_stud(self, net: Net, spots: list[Spot], stud: Spot) -> None:
        for spot in spots:
            if spot is not stud:
                way = self.graph.way(self.graph.station[spot.node], self.graph.station[stud.node])
                self._wire(
                    net, spot.end, self._end(spot), self._end(stud), way, self.marks.mm2((spot.end,)), (spot.end,)
                )

    # Three ends and more

    def net_ends(self, net: Net, spots: list[Spot]) -> NetEnds:
        """The ends as a joint is planned for; see ``_cap_mm2``."""
        mm2 = tuple(self.marks.mm2((s.end,)) for s in spots)
        return NetEnds(
            tuple(s.node for s in spots), mm2, tuple(str(s.end) for s in spots), self._cap_mm2(net, spots, mm2)
        )

    def joints(self) -> Iterator[tuple[Net, LoomGraph, NetEnds]]:
        """Nets that are to be joined as the signal says, each with the loom as it sees it and its ends."""
        for net in self.router.nets.get(self.signal.key, ()):
            spots = self.spots(net) if len(net.ends) > 2 else []
            if len(spots) > 2 and not any(self.is_stud(s.end) for s in spots):
                yield net, self.led_graph(net), self.net_ends(net, spots)

    def _cap_mm2(self, net: Net, spots: list[Spot], mm2: tuple[float, ...]) -> float:
        """No trunk carries more than all sources together can give: pins that give (or take back, for a ground) and
        devices in line that feed this section. In a bus all ends give, one at a time. A mated cavity gives what crosses
        there where a source lies behind it."""
        behind = dict(zip(net.mated, net.beyond, strict=True)) if net.beyond else {}
        given = 0.0
        bus = True
        for spot, size in zip(spots, mm2, strict=True):
            end = spot.end
            if isinstance(end, MatedEnd):
                bus = bus and all(map(self._is_bus, behind[end]))
                gives = any(self._gives(net, e) for e in behind[end])
            else:
                bus = bus and self._is_bus(end)
                gives = self._gives(net, end)
            if gives:
                given += size
        return max(mm2) if bus else given or math.inf

    def _is_bus(self, end: End) -> bool:
        return isinstance(end, PinKey) and self.router.pins[end].direction is Direction.BOTH

    def _gives(self, net: Net, end: End) -> bool:
        if isinstance(end, PinKey):
            return self.router.pins[end].direction is Direction.OUT
        return end not in self.member_of and net.section > self.signal.inline.index(end.device)

    def _crossing_mm2(self, net: Net, beyond: tuple[End, ...]) -> float:
        """Size of what crosses at a mated cavity: as of the one wire where the whole net has two ends, else as of a
        trunk between what lies on its two sides."""
        whole = net.whole
        if len(whole) == 2:
            return self.marks.mm2(whole)
        sizes = {end: self.marks.mm2((end,)) for end in whole}
        far = sum(sizes[end] for end in beyond)
        given = sum(size for end, size in sizes.items() if self._gives(net, end))
        cap = max(sizes.values()) if all(map(self._is_bus, whole)) else given or math.inf
        return next_size(min(far, sum(sizes.values()) - far, cap), self.router.practice.stock_mm2)

    def led_graph(self, net: Net) -> LoomGraph:
        """The runs that the net is led through by hand made nearly free, so that several ends use them."""
        via = self.via_of_net.get(net, ()) if self.via_of_net else ()
        return self.router.ways.graph_for(self.signal, self.marks.insulation, via) if via else self.graph

    def _joint(self, net: Net, spots: list[Spot]) -> None:
        signal = self.signal
        graph = self.led_graph(net)
        plan = self.plans[net]
        if signal.joint is Joint.CRIMP and plan.why_not:
            self._note(net, f"{plan.why_not}: spliced instead")
            plan = plan_joint(graph, self.router.practice, self.net_ends(net, spots), Joint.SPLICE)
        if plan.joint is Joint.SPLICE:
            self._splices(net, spots, plan, plan.links(graph))
        else:
            self._end_to_end(net, spots, plan.links(graph))

    def _splices(self, net: Net, spots: list[Spot], plan: JointPlan, links: list[Link]) -> None:
        """Splices are named from the one that the first end's wire leads to, in the order of their ends."""
        ends, signal = len(spots), self.signal
        around: dict[int, list[int]] = {}
        for link in links:
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
        tail = (f".{net.section}" if net.section else "") + (f"@{net.entry}" if net.entry else "")
        names = {s: f"S{signal.number}" + ("" if i == 0 else letters(i).lower()) + tail for i, s in enumerate(order)}
        meets = {
            s: WireEnd(node=self.graph.nodes[plan.splices[s - ends].node].key, label=names[s], splice=names[s])
            for s in order
        }
        wires: dict[int, list[str]] = {s: [] for s in order}
        for i, spot in enumerate(spots):
            link = next(x for x in links if x.a == i)
            wires[link.b].append(
                self._wire(net, spot.end, self._end(spot), meets[link.b], link.way, link.mm2, (spot.end,))
            )
        for i, s in enumerate(order[1:]):
            link = next(x for x in links if {x.a, x.b} == {s, parent[s]})
            way = link.way if link.a == parent[s] else link.way.back()
            wire_id, rank = f"{signal.number}-{names[s]}", Order(signal.number, 3, i, net.section)
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
            self.router.splices.append((Order(signal.number, net.section, i, 0), splice))

    def _end_to_end(self, net: Net, spots: list[Spot], links: list[Link]) -> None:
        """Wires from end to end; each takes its name from the end that lies farther from the net's first."""
        todo, seen = [0], {0}
        while todo:
            here = todo.pop(0)
            for link in links:
                there = link.b if link.a == here else link.a if link.b == here else -1
                if there < 0 or there in seen:
                    continue
                seen.add(there)
                todo.append(there)
                way = link.way if link.a == here else link.way.back()
                a, b = spots[here], spots[there]
                self._wire(net, b.end, self._end(a), self._end(b), way, link.mm2, (a.end, b.end))

    # One wire

    def _wire(
        self, net: Net, lead: NetEnd, a: WireEnd, b: WireEnd, way: Way, mm2: float, ends: tuple[NetEnd, ...]
    ) -> str:
        signal = self.signal
        member = self.member_of.get(lead)
        if member is not None:
            index = member[0]
            wire_id = f"{signal.number}{letters(index)}"
            order = Order(signal.number, 0, index, net.section)
        elif isinstance(lead, MatedEnd):
            section = f".{net.section}" if net.section else ""
            wire_id = f"{signal.number}{section}@{lead.node}"
            order = Order(signal.number, 2, self.router.graph.index[lead.node], net.section)
        else:
            assert isinstance(lead, DeviceEnd)
            place = signal.inline.index(lead.device)
            downstream = net.section > place
            wire_id = f"{signal.number}-{lead.device}" + (f".{lead.terminal}" if downstream else "")
            order = Order(signal.number, 1, 2 * place + downstream, net.section)
        self._add(net, wire_id, order, a, b, way, mm2, ends)
        return wire_id

    def _add(
        self, net: Net, wire_id: str, order: Order, a: WireEnd, b: WireEnd, way: Way, mm2: float,
        ends: tuple[NetEnd, ...],
    ) -> None:  # fmt: skip
        signal = self.signal
        splices = (a.splice != "") + (b.splice != "")
        connectors = a.in_connector + b.in_connector
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
        self.taken.update(way.segments)

    def is_stud(self, end: NetEnd) -> bool:
        return isinstance(end, DeviceEnd) and self.router.snapshot.device[end.device].kind is DeviceKind.STUD

    def _end(self, spot: Spot) -> WireEnd:
        node = self.router.graph.nodes[spot.node]
        if isinstance(spot.end, PinKey):
            return WireEnd(node=node.key, label=f"{node.name or node.key}-{spot.end.cavity}", pin=spot.end)
        if isinstance(spot.end, MatedEnd):
            return WireEnd(node=node.key, label=f"{node.name or node.key}-{spot.end.cavity}", mated=spot.end)
        return WireEnd(node=node.key, label=str(spot.end), device=spot.end)
