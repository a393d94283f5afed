"""Platforms as they were before the loom: editions, connectors, housings and pins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from pinmap.core.model.words import Direction, Evidence, Gender, Kind, Role


class PinKey(NamedTuple):
    """Names one pin entry. ``edition`` is "" or the entry's edition keys joined by ";", so that one cavity can carry
    different functions in different editions."""

    platform: str
    connector: str
    cavity: str
    edition: str = ""

    def __str__(self) -> str:
        tail = f"@{self.edition}" if self.edition else ""
        return f"{self.platform}:{self.connector}-{self.cavity}{tail}"


class ConnectorKey(NamedTuple):
    """Names one connector of a platform."""

    platform: str
    connector: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Edition:
    """A platform's model-year range, market or option, where pinouts differ."""

    key: str
    name: str
    from_year: int | None = None
    to_year: int | None = None
    market: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cavity:
    """One position of a housing, seen from its mating side: column to the right, row downwards, in contact pitches."""

    name: str
    column: float
    row: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Housing:
    """A connector body as a part."""

    key: str
    name: str
    cavities: tuple[Cavity, ...] = ()
    gender: Gender = Gender.UNKNOWN
    family: str = ""  # halves mate only within one family
    keying: str = ""
    sealed: bool = False
    terminal: str = ""  # terminal family, a key of the terminals table
    shape: str = "rectangle"  # or "circle"
    source: str = ""
    lock: str = ""  # side of the lock seen from the mating side: "top", "bottom", "left", "right"; "" not known

    @property
    def cavity_names(self) -> tuple[str, ...]:
        return tuple(cavity.name for cavity in self.cavities)


@dataclass(frozen=True, slots=True, kw_only=True)
class Connector:
    """One connector of a platform. The loom's half mates with it."""

    name: str
    description: str = ""
    housing: str = ""  # key of a Housing, "" while unknown
    gender: Gender = Gender.UNKNOWN  # of the platform's own contacts
    sealed: bool = False
    terminal: str = ""
    editions: tuple[str, ...] = ()  # empty: in every edition
    place: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """What a platform has in one cavity.

    current_a is the steady and peak_a the short-time current [A]; None means not known, which is not 0. Pins of one
    platform that name the same ``component`` are the ends of that component (an injector's feed and return).
    ``extra`` keeps columns of the user's own table that Pinmap has no field for.
    """

    connector: str
    cavity: str
    function: str = ""
    function_code: str = ""  # entry of the function dictionary, "" while not recognised
    kind: Kind = Kind.UNKNOWN
    direction: Direction = Direction.PASSIVE
    current_a: float | None = None
    peak_a: float | None = None
    wire_colour: str = ""
    wire_mm2: float | None = None
    editions: tuple[str, ...] = ()  # empty: in every edition
    evidence: Evidence = Evidence.ASSUMED
    evidence_ref: str = ""
    component: str = ""
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()

    def key(self, platform: str) -> PinKey:
        return PinKey(platform, self.connector, self.cavity, ";".join(self.editions))

    def in_edition(self, edition: str) -> bool:
        return not edition or not self.editions or edition in self.editions


@dataclass(frozen=True, slots=True, kw_only=True)
class Platform:
    """A thing with connectors that existed before the loom."""

    key: str
    name: str
    role: Role
    editions: tuple[Edition, ...] = ()
    connectors: tuple[Connector, ...] = ()
    pins: tuple[Pin, ...] = ()
    nominal_v: float = 12.0
    note: str = ""
    source: str = ""
