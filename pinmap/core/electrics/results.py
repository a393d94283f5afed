"""What the electrical checks give."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar, overload

import numpy as np
from numpy.typing import NDArray

V = TypeVar("V")

LEAST_A = 1e-3  # what a wire carries below this is no load but the network's rounding


class Records(Mapping[str, V]):
    """Records by name, each made when it is first asked for: a case of a large loom has tens of thousands, of which
    most readers want a few. ``place`` gives a name's index, ``make`` the record of an index."""

    def __init__(self, place: Mapping[str, int], make: Callable[[int], V]) -> None:
        self._place, self._make = place, make
        self._made: dict[str, V] = {}

    def __getitem__(self, name: str) -> V:
        found = self._made.get(name)
        if found is None:
            found = self._made[name] = self._make(self._place[name])
        return found

    def __contains__(self, name: object) -> bool:
        return name in self._place

    def __iter__(self) -> Iterator[str]:
        return iter(self._place)

    def __len__(self) -> int:
        return len(self._place)


class Listed(Sequence[V]):
    """Records by number, each made when it is first asked for."""

    def __init__(self, count: int, make: Callable[[int], V]) -> None:
        self._make = make
        self._made: list[V | None] = [None] * count

    @overload
    def __getitem__(self, which: int) -> V: ...
    @overload
    def __getitem__(self, which: slice) -> tuple[V, ...]: ...
    def __getitem__(self, which: int | slice) -> V | tuple[V, ...]:
        if isinstance(which, slice):
            return tuple(self[i] for i in range(*which.indices(len(self))))
        found = self._made[which]
        if found is None:
            found = self._made[which] = self._make(which % len(self))
        return found

    def __len__(self) -> int:
        return len(self._made)


class Volts(Mapping[str, float]):
    """Volts by electrical point; a point that floats, NaN among ``volts``, is not there."""

    def __init__(self, place: Mapping[str, int], volts: NDArray[np.float64]) -> None:
        self._place, self._volts = place, volts

    def __getitem__(self, point: str) -> float:
        found = float(self._volts[self._place[point]])
        if found != found:
            raise KeyError(point)
        return found

    @overload
    def get(self, point: str, /) -> float | None: ...
    @overload
    def get(self, point: str, /, default: float | V) -> float | V: ...
    def get(self, point: str, /, default: object = None) -> object:
        """As of any mapping; without raising inside, since many points float."""
        at = self._place.get(point)
        found = math.nan if at is None else float(self._volts[at])
        return default if math.isnan(found) else found

    def __iter__(self) -> Iterator[str]:
        return (point for point, i in self._place.items() if not np.isnan(self._volts[i]))

    def __len__(self) -> int:
        return int(np.count_nonzero(~np.isnan(self._volts)))


@dataclass(frozen=True, slots=True, kw_only=True)
class WireState:
    """One wire in one load case. current_a is positive from a to b; heating_a is the steady current that heats as much
    (ripple and pauses counted); temp_c is the conductor's at its hottest place by the heat balance, ambient_c the air
    there or hotter; resistance_ohm is at the mean temperature along it; drop_v is lost along it; table_a is what the
    chosen standard's table allows, None where the heat balance rules."""

    wire: str
    case: str
    current_a: float
    temp_c: float
    resistance_ohm: float
    drop_v: float
    ambient_c: float
    loaded_in_bundle: int
    heating_a: float = 0.0
    table_a: float | None = None

    def too_hot(self, class_c: float) -> bool:
        """By the rule that was chosen for the job: the table where it answers, else the heat balance."""
        return self.temp_c > class_c if self.table_a is None else self.heating_a > self.table_a + 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadState:
    """One load in one load case: what reaches it. ``feed`` and ``back`` are electrical points; drops are from the
    source to the load and from the load back [V]; need_v is the least it must have."""

    load: str
    case: str
    feed: str
    back: str
    current_a: float
    voltage_v: float
    feed_drop_v: float
    return_drop_v: float
    need_v: float
    need_why: str
    origin: str = ""  # of the current: "typed", "computed", "dictionary"
    model: str = ""  # the load model named for it, "" for a plain current
    formula: str = ""  # how the current follows from what was typed
    rms_a: float | None = None  # root mean square of a pulsed current [A]
    inrush_a: float | None = None  # on switching on, for inrush_s [s] where that is known
    inrush_s: float | None = None
    inrush_from: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeAdvice:
    """The smallest stock size that meets every limit in every case, and which limit decides."""

    wire: str
    mm2: float
    limit: str  # "heat", "drop", "fuse", "least size"
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UnfedLoad:
    """A load that the network cannot feed, and why."""

    load: str
    case: str
    why: str


@dataclass(frozen=True)
class ElectricalReport:
    """All load cases of one variant. voltage_v: case -> electrical point -> volts against battery minus."""

    voltage_v: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    wires: Mapping[str, Mapping[str, WireState]] = field(default_factory=dict)  # case -> wire id -> state
    loads: Sequence[LoadState] = ()  # case by case
    advice: Mapping[str, SizeAdvice] = field(default_factory=dict)  # wire id -> advice
    unfed: tuple[UnfedLoad, ...] = ()
    unknown: tuple[str, ...] = ()  # loads whose current nobody gave: counted as nothing
    problems: tuple[tuple[str, str], ...] = ()  # (pin or load, what is wrong with what was typed for it)
    share: Mapping[str, float] = field(default_factory=dict)  # wire id -> see ``surroundings.shares``
    nominal_v: float = 12.0

    def worst(self, wire: str) -> WireState | None:
        """The case in which this wire is hottest."""
        states = [by_wire[wire] for by_wire in self.wires.values() if wire in by_wire]
        return max(states, key=lambda s: (s.temp_c, abs(s.current_a)), default=None)
