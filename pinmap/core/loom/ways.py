"""Which ways a signal's wires may take: zones closed to them or avoided, runs beside noisy wires, runs too hot."""

from __future__ import annotations

import math
from collections.abc import Mapping

from pinmap.core.facts.conductors import insulations
from pinmap.core.loom.graph import LoomGraph
from pinmap.core.loom.results import MatedEnd, NetEnd
from pinmap.core.loom.wire_kinds import NOISY, SENSITIVE, wire_kinds
from pinmap.core.model.jobs import Signal, Snapshot, Variant
from pinmap.core.model.pinouts import ConnectorKey, Pin, PinKey

_TOO_HOT = 1000.0  # a metre hotter than the insulation stands counts as so many: taken only where there is no other
_LED = 1e-3  # a metre led by hand counts so little where a net of several ends is led


class Ways:
    """The loom of one variant as each signal's wires see it. ``noise`` are the segments that noisy wires run through;
    it is empty until they have been routed."""

    def __init__(self, snapshot: Snapshot, variant: Variant, pins: Mapping[PinKey, Pin]) -> None:
        self.snapshot, self.variant, self.pins = snapshot, variant, pins
        self.practice = snapshot.job.practice
        self.open = LoomGraph(snapshot, variant)
        self.noise: frozenset[str] = frozenset()
        self.kinds = self._kinds()
        led = (s for s in reversed(snapshot.job.signals) if s.twist and s.via)
        self._via_of_group = {s.twist: s.via for s in led}  # of the group's first
        self._graphs: dict[tuple[object, ...], LoomGraph] = {}
        self._picky = any(z.avoid or z.forbid for z in snapshot.job.zones)
        self._hottest_c = max(
            (z.ambient_c for s in snapshot.job.segments if (z := snapshot.zone.get(s.zone)) is not None),
            default=-math.inf,
        )

    def spot(self, end: NetEnd) -> int | str:
        """Index of the node where an end sits, or why it has none."""
        if isinstance(end, PinKey):
            node = self.snapshot.node_of_connector.get(ConnectorKey(end.platform, end.connector))
            if node is None:
                return f"connector {end.connector} of {end.platform} has no place in the loom"
            return self.open.index[node.key]
        if isinstance(end, MatedEnd):
            return self.open.index[end.node]
        device = self.snapshot.device[end.device]
        if not device.place:
            return f"device {end.device} has no place"
        index = self.open.index.get(device.place)
        if index is not None:
            return index
        if device.place in self.snapshot.node:
            return f"device {end.device} sits at {device.place}, a connector that this variant has not"
        return f"device {end.device} has its place at {device.place!r}, which is no node of the loom"

    def via_of(self, signal: Signal) -> tuple[str, ...]:
        """Segments that a signal is led through by hand, itself or with its twist group."""
        return signal.via or self._via_of_group.get(signal.twist, ())

    def noisy_first(self, signal: Signal) -> bool:
        """Whether a signal must be routed before others, since they keep away from it where the loom has loops."""
        return self.open.has_loops and self.practice.avoid_factor > 1 and bool(self.kinds[signal.key] & NOISY)

    def _kinds(self) -> dict[str, frozenset[str]]:
        """Kinds of each signal's wires. Signals of one twist group keep together, so that they share their kinds."""
        out: dict[str, frozenset[str]] = {}
        groups: dict[str, frozenset[str]] = {}
        for signal in self.snapshot.job.signals:
            ends = [m.end for m in signal.members if isinstance(m.end, PinKey)]
            found = wire_kinds(signal, [self.pins[e] for e in ends if e in self.pins])
            out[signal.key] = found
            if signal.twist:
                groups[signal.twist] = groups.get(signal.twist, frozenset()) | found
        for signal in self.snapshot.job.signals:
            if signal.twist:
                out[signal.key] = groups[signal.twist]
        return out

    def graph_for(self, signal: Signal, insulation: str, led: tuple[str, ...] = ()) -> LoomGraph:
        """The loom as this signal's wires see it: closed and avoided zones, runs beside noisy wires, runs too hot."""
        kinds = self.kinds[signal.key] if self._picky else frozenset()
        wary = bool(self.noise) and bool(self.kinds[signal.key] & SENSITIVE) and not self.kinds[signal.key] & NOISY
        limit = insulations().get(insulation)
        limit_c = limit.max_temp_c if limit is not None and limit.max_temp_c < self._hottest_c else math.inf
        if not kinds and not wary and math.isinf(limit_c) and not led:
            return self.open
        profile = (kinds, wary, limit_c, led)
        found = self._graphs.get(profile)
        if found is None:
            factor: dict[str, float] = {}
            for segment in self.snapshot.job.segments:
                counts = _LED if segment.key in led else 1.0
                zone = self.snapshot.zone.get(segment.zone)
                if zone is not None and kinds & set(zone.forbid):
                    counts = math.inf
                elif zone is not None:
                    if kinds & set(zone.avoid):
                        counts *= self.practice.avoid_factor
                    if zone.ambient_c > limit_c:
                        counts *= _TOO_HOT
                if wary and segment.key in self.noise:
                    counts *= self.practice.avoid_factor
                if counts != 1.0:
                    factor[segment.key] = counts
            found = LoomGraph(self.snapshot, self.variant, factor) if factor else self.open
            self._graphs[profile] = found
        return found
