"""Size, insulation and colour of a signal's wires."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pinmap.core.facts.conductors import next_size
from pinmap.core.facts.functions import Dictionary
from pinmap.core.facts.functions import dictionary as built_in
from pinmap.core.loom.results import Net, NetEnd
from pinmap.core.model.jobs import Member, Signal, Snapshot
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import Role


class WireMarks:
    """What a signal's wires are, by the ends that they serve."""

    def __init__(
        self, snapshot: Snapshot, signal: Signal, pins: Mapping[PinKey, Pin], dictionary: Dictionary | None
    ) -> None:
        self.snapshot, self.signal, self.pins, self.dictionary = snapshot, signal, pins, dictionary
        self.practice = snapshot.job.practice
        self.member_of: dict[NetEnd, tuple[int, Member]] = {}
        for index, member in enumerate(signal.members):
            self.member_of.setdefault(member.end, (index, member))
        self.insulation = signal.insulation or self.practice.insulation
        own: list[tuple[NetEnd, Pin]] = [
            (m.end, pins[m.end]) for m in signal.members if isinstance(m.end, PinKey) and m.end in pins
        ]
        self.signal_colour = self._pin_colour(own)
        self.signal_pin_mm2 = max((p.wire_mm2 or 0.0 for _, p in own), default=0.0)
        self.mated_mm2: dict[NetEnd, float] = {}  # what crosses at a mated cavity

    def mm2(self, ends: tuple[NetEnd, ...]) -> float:
        """Size of the wire that serves these ends: the member's own, the signal's, the larger of the pins' wires and of
        what crosses at a mated cavity, the shop's least; the last ones rounded up to stock."""
        crossing = [self.mated_mm2[e] for e in ends if e in self.mated_mm2] if self.mated_mm2 else []
        if crossing and len(crossing) == len(ends):
            return max(crossing)
        own = [self.member_of[e][1].mm2 or 0.0 for e in ends if e in self.member_of]
        if any(own):
            return max(own)
        if self.signal.mm2:
            return self.signal.mm2
        pins = self.pins
        known = [pins[e].wire_mm2 or 0.0 for e in ends if isinstance(e, PinKey)] + crossing
        if not known:  # devices only: as large as the largest pin of the signal, for it may carry all of it
            known = [self.signal_pin_mm2]
        practice = self.practice
        return next_size(max(*known, practice.min_mm2), practice.stock_mm2)

    def colour(self, ends: tuple[NetEnd, ...], net: Net) -> str:
        for end in ends:
            if end in self.member_of and self.member_of[end][1].colour:
                return self.member_of[end][1].colour
        if self.signal.colour:
            return self.signal.colour
        pins = self.pins
        own = self._pin_colour([(e, pins[e]) for e in ends if isinstance(e, PinKey)])
        own = own or self._pin_colour([(e, pins[e]) for e in net.whole if isinstance(e, PinKey)])
        return own or self.signal_colour or self._usual_colour()

    def _usual_colour(self) -> str:
        if not self.signal.function_code:
            return ""
        words = built_in() if self.dictionary is None else self.dictionary
        entry = words.get(self.signal.function_code)
        return entry.colour if entry is not None else ""

    def _pin_colour(self, found: Sequence[tuple[NetEnd, Pin]]) -> str:
        """The donor pin's colour, or else the first other one."""
        coloured = [(e, p) for e, p in found if p.wire_colour]
        roles = self.snapshot.platform
        for end, pin in coloured:
            if isinstance(end, PinKey) and roles[end.platform].role is Role.DONOR:
                return pin.wire_colour
        return coloured[0][1].wire_colour if coloured else ""
