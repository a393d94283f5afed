"""The looms to be built: nodes, segments, zones, devices, and the matings that join looms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from pinmap.core.model.pinouts import ConnectorKey, PinKey
from pinmap.core.model.words import DeviceKind, FixingKind, Gender, NodeKind


class DeviceEnd(NamedTuple):
    """One terminal of a device in the loom."""

    device: str
    terminal: str

    def __str__(self) -> str:
        return f"{self.device}.{self.terminal}"


End = PinKey | DeviceEnd


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """What surrounds a segment. ambient_c is the hottest steady air [°C]."""

    key: str
    name: str
    ambient_c: float
    wet: bool = False
    moving: bool = False
    hot: bool = False  # near exhaust or turbine
    no_splice: bool = False  # no splice here although it is dry and still
    avoid: tuple[str, ...] = ()  # kinds of wire that go another way where there is one; see ``loom.wire_kinds``
    forbid: tuple[str, ...] = ()  # kinds of wire that never go through


@dataclass(frozen=True, slots=True, kw_only=True)
class Loom:
    """One loom of a job; a job may have several, joined by mated connectors."""

    key: str
    name: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """A connector of the loom, a branch point, or a place where devices sit."""

    key: str
    loom: str
    kind: NodeKind
    name: str = ""
    mates: ConnectorKey | None = None  # for a connector: the platform's half
    housing: str = ""
    gender: Gender = Gender.UNKNOWN
    terminal: str = ""
    plugged: bool = True  # empty cavities of a sealed housing are closed with plugs
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """The run between two nodes. length_m is measured along the run [m]."""

    key: str
    loom: str
    a: str
    b: str
    length_m: float
    zone: str = ""
    covering: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fixing:
    """What holds a run or what it passes through: a clip, a grommet, a backshell's clamp. ``at_m`` from the segment's
    node ``a`` [m]; ``inner_mm`` is the clear diameter or the hole [mm]."""

    key: str
    segment: str
    kind: FixingKind
    at_m: float
    inner_mm: float
    part: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MatedCavity:
    """A cavity of a mating kept for one section of a signal, in every variant in which it crosses there."""

    cavity: str
    signal: str
    section: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mating:
    """Two in-line connectors of different looms that plug into each other, ``a`` and ``b`` keys of their nodes.

    Both halves number their cavities alike. What crosses without a kept cavity is given one by ``loom.cavities``.
    """

    key: str
    a: str
    b: str
    cavities: tuple[MatedCavity, ...] = ()
    note: str = ""

    def other(self, node: str) -> str:
        """The half that the one at ``node`` plugs into."""
        return self.b if node == self.a else self.a


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A fuse, relay, resistor, diode, converter, stud or switch in the loom.

    rating_a [A]; resistance_ohm [ohm] is the resistor's value or a fuse's or contact's own resistance;
    coil_ohm [ohm] belongs to a relay. ``only_with`` limits the device to variants that have this platform.
    """

    key: str
    kind: DeviceKind
    place: str = ""  # key of a node
    name: str = ""
    rating_a: float | None = None
    resistance_ohm: float | None = None
    coil_ohm: float | None = None
    suppressed: bool = False  # coil has a diode or resistor
    only_with: str = ""
    part: str = ""
    note: str = ""
