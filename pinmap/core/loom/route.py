"""Turns nets into wires: ends, ways, splices, lengths, sizes, colours."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from operator import itemgetter

from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.cavities import divided
from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.joints import NetEnds, plan_joints
from pinmap.core.loom.lengths import length_parts
from pinmap.core.loom.nets import nets
from pinmap.core.loom.results import Net, Routing, RoutingGap, RoutingNote, Splice, Wire
from pinmap.core.loom.route_signal import Order, SignalRouter
from pinmap.core.loom.stagger import staggered
from pinmap.core.loom.ways import Ways
from pinmap.core.model.jobs import Signal, Snapshot, Variant
from pinmap.core.model.words import Joint


def route(snapshot: Snapshot, variant: Variant, dictionary: Dictionary | None = None) -> Routing:
    """Routes every net of a variant through the looms, part by part where it crosses from one to another.

    Two ends take one wire by the shortest admissible way. Three or more meet on a stud where the net has one, or else
    as the signal says, in the splices of least cost by default, which are then shifted apart where several are near
    each other in one segment. What cannot be routed stands among the gaps, what could not be had as wished among the
    notes. ``dictionary`` gives the usual colour of a function where no pin has one; the built-in one by default. Raises
    StructureError for a segment without a usable length.
    """
    return Router(snapshot, variant, dictionary).run()


@dataclass
class Router:
    snapshot: Snapshot
    variant: Variant
    dictionary: Dictionary | None

    def __post_init__(self) -> None:
        self.pins = self.snapshot.active_pins(self.variant)
        self.ways = Ways(self.snapshot, self.variant, self.pins)
        self.graph = self.ways.open
        self.practice = self.snapshot.job.practice
        self.wires: list[tuple[Order, Wire]] = []
        self.splices: list[tuple[Order, Splice]] = []
        self.gaps: list[tuple[int, RoutingGap]] = []
        self.notes: list[tuple[int, RoutingNote]] = []
        self.added_m: dict[tuple[int, int, bool], tuple[float, float]] = {}

        self.nets: dict[str, list[Net]] = {}
        whole = nets(self.snapshot, self.variant)
        if self.snapshot.job.matings:
            parts = divided(self.snapshot, self.ways, whole)
            whole = parts.nets
            self.gaps += [(self.snapshot.signal[g.signal].number, g) for g in parts.gaps]
        for net in whole:
            self.nets.setdefault(net.signal, []).append(net)
        self.signals = sorted((s for s in self.snapshot.job.signals if s.key in self.nets), key=lambda s: s.number)

    def route_noisy(self) -> set[str]:
        """Routes what others keep away from; gives the signals so routed."""
        noisy = [s for s in self.signals if self.ways.noisy_first(s)]
        self._route(noisy)
        self.ways.noise = frozenset(key for _, w in self.wires for key in w.segments)
        return {s.key for s in noisy}

    def run(self) -> Routing:
        done = self.route_noisy()
        self._route([s for s in self.signals if s.key not in done])
        self.wires.sort(key=itemgetter(0))
        self.splices.sort(key=itemgetter(0))
        self.gaps.sort(key=itemgetter(0))
        self.notes.sort(key=itemgetter(0))
        exact = Routing(
            tuple(w for _, w in self.wires),
            tuple(s for _, s in self.splices),
            tuple(g for _, g in self.gaps),
            tuple(n for _, n in self.notes),
        )
        return staggered(exact, self.graph)

    def _route(self, signals: Sequence[Signal]) -> None:
        jobs = [SignalRouter(self, signal) for signal in signals]
        together: dict[tuple[LoomGraph, Joint], list[tuple[SignalRouter, Net, NetEnds]]] = {}  # much faster planned so
        for job in jobs:
            for net, graph, ends in job.joints():
                together.setdefault((graph, job.signal.joint), []).append((job, net, ends))
        for (graph, joint), asked in together.items():
            plans = plan_joints(graph, self.practice, [ends for _, _, ends in asked], joint)
            for (job, net, _), plan in zip(asked, plans, strict=True):
                job.plans[net] = plan
        for job in jobs:
            for net in self.nets[job.signal.key]:
                job.route_net(net)
            job.note_missed()

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
