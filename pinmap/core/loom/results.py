"""What routing gives: nets, wires, splices, gaps, bundles."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import cast

from pinmap.core.model.looms import DeviceEnd, End
from pinmap.core.model.pinouts import PinKey


@dataclass(frozen=True, slots=True)
class MatedEnd:
    """One cavity of a connector that plugs into one of another loom."""

    node: str
    cavity: str

    def __str__(self) -> str:
        return f"{self.node}-{self.cavity}"


NetEnd = End | MatedEnd


@dataclass(frozen=True, slots=True)
class Net:
    """The ends that one section of a signal joins in one variant, in the order of the signal's members; a device in
    line contributes its terminal.

    A net that runs through several looms is routed as one part a loom (see ``divide``): mated cavities are then its
    last ends, ``beyond`` what of the whole lies behind each, ``entry`` the node of the one towards the whole's first
    end, "" where that is in this part.
    """

    signal: str
    section: int
    ends: tuple[NetEnd, ...]
    entry: str = ""
    beyond: tuple[tuple[End, ...], ...] = ()

    @property
    def own(self) -> tuple[End, ...]:
        """Its ends without the mated cavities."""
        if not self.beyond:  # most nets
            return cast("tuple[End, ...]", self.ends)
        return tuple(e for e in self.ends if not isinstance(e, MatedEnd))

    @property
    def mated(self) -> tuple[MatedEnd, ...]:
        return tuple(e for e in self.ends if isinstance(e, MatedEnd)) if self.beyond else ()

    @property
    def whole(self) -> tuple[End, ...]:
        """The ends of all its parts."""
        if not self.beyond:
            return self.own
        return (*self.own, *(e for far in self.beyond for e in far))


@dataclass(frozen=True, slots=True)
class WireEnd:
    """Where a wire ends: a cavity of a loom connector, a device's terminal, or a splice.

    ``node`` is the loom node; ``label`` is what the builder reads, such as "X12-4", "F3.1" or "S17A".
    Exactly one of pin, device, mated and splice is set; mated is a cavity that meets one of another loom.
    """

    node: str
    label: str
    pin: PinKey | None = None
    device: DeviceEnd | None = None
    splice: str = ""
    mated: MatedEnd | None = None

    @property
    def in_connector(self) -> bool:
        """Whether it is crimped and put into a cavity."""
        return self.pin is not None or self.mated is not None

    @property
    def cavity(self) -> str:
        """The cavity of the loom connector that it sits in; "" for none."""
        return self.pin.cavity if self.pin is not None else self.mated.cavity if self.mated is not None else ""

    @property
    def point(self) -> str:
        """Name of the electrical point on the loom's side."""
        if self.pin is not None:
            return loom_point(self.pin)
        if self.mated is not None:
            return mated_point(self.mated)
        return device_point(self.device) if self.device is not None else f"splice:{self.splice}"


def pin_point(pin: PinKey) -> str:
    """The platform's own half of a mated cavity."""
    return f"pin:{pin.platform}:{pin.connector}:{pin.cavity}"


def loom_point(pin: PinKey) -> str:
    """The loom's half of a mated cavity."""
    return f"loom:{pin.platform}:{pin.connector}:{pin.cavity}"


def device_point(end: DeviceEnd) -> str:
    return f"device:{end.device}:{end.terminal}"


def mated_point(end: MatedEnd) -> str:
    """One half of a mated cavity between two looms."""
    return f"mated:{end.node}:{end.cavity}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire:
    """One piece of wire. length_m is the path through the segments, pieces_m how far it runs in each (a splice within a
    segment ends it there), cut_length_m what the builder cuts [m]."""

    id: str
    signal: str
    section: int
    a: WireEnd
    b: WireEnd
    segments: tuple[str, ...]
    pieces_m: tuple[float, ...]
    length_m: float
    cut_length_m: float
    mm2: float
    insulation: str
    colour: str
    twist: str = ""
    screen: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Splice:
    """A point where three or more wires of a net meet. ``at_m`` is the distance from ``node`` along ``segment``,
    ``shift_m`` how far it was moved from the place of least copper, to keep clear of other splices [m].

    ``proven``: no other choice of splices for this net costs less. ``waived`` says which rule about places for
    splices could not be kept."""

    id: str
    signal: str
    section: int
    node: str
    wires: tuple[str, ...] = ()
    segment: str = ""
    at_m: float = 0.0
    shift_m: float = 0.0
    proven: bool = True
    waived: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoutingGap:
    """A net that cannot be routed, and which gap stops it, in words that name nodes and connectors."""

    signal: str
    section: int
    a: str
    b: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RoutingNote:
    """A wish about ways or joints that could not be met, in words; the net is routed all the same."""

    signal: str
    section: int
    text: str


@dataclass(frozen=True)
class Routing:
    """A routed loom of one variant. Wires are in stable order: by signal number, then letter. ``stagger_g``: copper
    that keeping splices apart adds to the least there can be [g]."""

    wires: tuple[Wire, ...] = ()
    splices: tuple[Splice, ...] = ()
    gaps: tuple[RoutingGap, ...] = ()
    notes: tuple[RoutingNote, ...] = ()
    stagger_g: float = 0.0

    @cached_property
    def wire(self) -> Mapping[str, Wire]:
        return {w.id: w for w in self.wires}

    @cached_property
    def bundle(self) -> Mapping[str, tuple[str, ...]]:
        """Wire ids in each segment."""
        out: dict[str, list[str]] = {}
        for w in self.wires:
            for segment in w.segments:
                out.setdefault(segment, []).append(w.id)
        return {segment: tuple(ids) for segment, ids in out.items()}

    @cached_property
    def wires_at(self) -> Mapping[str, tuple[Wire, ...]]:
        """Wires that end at an electrical point."""
        out: dict[str, list[Wire]] = {}
        for w in self.wires:
            out.setdefault(w.a.point, []).append(w)
            out.setdefault(w.b.point, []).append(w)
        return {point: tuple(ws) for point, ws in out.items()}
