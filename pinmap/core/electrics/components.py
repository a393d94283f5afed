"""What a network is made of: resistances, diodes, sources, and the points between them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pinmap.core.electrics.loads import Load

if TYPE_CHECKING:  # these stand on this module
    from pinmap.core.electrics.load_table import LoadTable
    from pinmap.core.electrics.topology import Frames

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

LEAST_OHM = 1e-6
ALL = "*"  # a join or source that holds in every load case


def holds(letters: str, code: str) -> bool:
    return letters == ALL or code in letters


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Gives current into ``plus``: (emf - v)/ohm up to most_a [A], v being the voltage between the two points. Above
    its own voltage it takes (v - emf)/charge_ohm; nothing where that is infinite. emf_v None: the load case's supply,
    and ``over_v`` more. minus -1 is battery minus itself."""

    name: str
    plus: int
    minus: int
    ohm: float
    when: str
    emf_v: float | None = None
    over_v: float = 0.0
    charge_ohm: float = np.inf
    most_a: float = np.inf

    def volts(self, supply_v: float) -> float:
        """Its own voltage in a load case of this supply [V]."""
        return supply_v + self.over_v if self.emf_v is None else self.emf_v


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """A regulated voltage that a unit makes out of its supply: (v(ground) + volts - v(out))/ohm flows from ``supply``
    to ``out``. Dead while the unit has no supply or no ground. ``feeds``: loads may live on it."""

    name: str
    supply: int
    ground: int
    out: int
    volts: float
    ohm: float
    feeds: bool = True


@dataclass(frozen=True, slots=True)
class Stated:
    """What the pinout says of a wire between a unit's paired drivers and what they drive, by its place among the
    wires [A]. Such a pair makes a current of its own, boosted or reversed, that is no branch of the network."""

    wire: int
    mean_a: float
    heating_a: float
    states: str


@dataclass(frozen=True)
class Network:
    """Elements by index; the first ``n_wires`` are the routing's wires, in order, the next ``n_contacts`` the mated
    contacts. Conditional: relay contacts (``relays``: key, coil, normally open, normally closed) and ``diodes``
    from anode to cathode, whose ``ohm`` is their series resistance. Points that ``join_groups`` pairs are one node in
    the load cases of the group's letters. ``plus`` are live supply points, ``minus`` battery minus. ``post`` is the
    battery's post where its internal resistance is known, else -1; in the cases of ``held`` the case's voltage stands
    at it."""

    points: tuple[str, ...]
    index: dict[str, int]
    a: Ints
    b: Ints
    ohm: Floats
    names: tuple[str, ...]
    n_wires: int
    n_contacts: int
    wire_ohm_20: Floats
    joint_ohm: Floats
    relays: tuple[tuple[str, int, int, int], ...]
    diodes: Ints
    coils: Ints
    join_groups: tuple[tuple[str, Ints, Ints], ...]
    plus: tuple[tuple[int, str], ...]
    minus: tuple[tuple[int, str], ...]
    loads: tuple[Load, ...]
    load_table: LoadTable
    feed_of: dict[str, int]
    back_of: dict[str, int]
    feed: Ints  # the same by load, -1 for none
    back: Ints
    base: Ints  # by load: the ground of the unit whose reference feeds it, -1 for battery minus
    fuse_rating_a: dict[int, float]
    nominal_v: float = 12.0
    sources: tuple[Source, ...] = ()
    stated: tuple[Stated, ...] = ()
    references: tuple[Reference, ...] = ()
    post: int = -1
    held: str = ALL
    problems: tuple[tuple[str, str], ...] = ()  # (pin or component, what is wrong with what was typed)

    @cached_property
    def frames(self) -> Frames:
        """The network drawn together, with what its load cases have in common."""
        from pinmap.core.electrics.skeleton import skeleton
        from pinmap.core.electrics.topology import Frames

        return Frames(skeleton(self))

    def with_wires(self, wire_ohm_20: Floats) -> Network:
        """The same network with other wires [ohm at 20 °C]; what does not depend on them is taken along."""
        ohm = self.ohm.copy()
        ohm[: self.n_wires] = wire_ohm_20
        other = replace(self, ohm=ohm, wire_ohm_20=wire_ohm_20)
        vars(other)["frames"] = self.frames
        return other

    def joined(self, code: str) -> tuple[Ints, Ints]:
        """The pairs of points that are one in a load case of this letter."""
        found = [(a, b) for when, a, b in self.join_groups if holds(when, code)]
        if not found:
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        return np.concatenate([a for a, _ in found]), np.concatenate([b for _, b in found])

    def stated_a(self, code: str) -> tuple[Floats, Floats]:
        """Mean and heating current of the wires of ``stated`` in a load case of this letter [A], 0 for all others."""
        mean_a, heating_a = np.zeros(self.n_wires), np.zeros(self.n_wires)
        for said in self.stated:
            if holds(said.states, code):
                mean_a[said.wire], heating_a[said.wire] = said.mean_a, said.heating_a
        return mean_a, heating_a

    def total_ohm(self, wire_ohm: Floats) -> Floats:
        """Resistance of every element with these wire resistances [ohm], in the order of the routing's wires."""
        ohm = self.ohm.copy()
        ohm[: self.n_wires] = np.maximum(wire_ohm + self.joint_ohm, LEAST_OHM)
        return ohm


def grouped(joins: Iterable[tuple[int, int, str]]) -> tuple[tuple[str, Ints, Ints], ...]:
    """Pairs of points that are one, by the letters of the cases in which they are."""
    found: dict[str, list[tuple[int, int]]] = {}
    for a, b, when in joins:
        found.setdefault(when, []).append((a, b))
    tables = ((when, np.array(pairs, dtype=np.int64)) for when, pairs in found.items())
    return tuple((when, table[:, 0], table[:, 1]) for when, table in tables)


@dataclass
class Parts:
    """What the builder collects."""

    index: dict[str, int] = field(default_factory=dict)
    a: list[int] = field(default_factory=list)
    b: list[int] = field(default_factory=list)
    ohm: list[float] = field(default_factory=list)
    name: list[str] = field(default_factory=list)
    joins: list[tuple[int, int, str]] = field(default_factory=list)
    plus: list[tuple[int, str]] = field(default_factory=list)
    minus: list[tuple[int, str]] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    references: list[Reference] = field(default_factory=list)
    problems: list[tuple[str, str]] = field(default_factory=list)
    post: int = -1
    held: str = ALL

    def point(self, name: str) -> int:
        return self.index.setdefault(name, len(self.index))

    def element(self, a: str, b: str, ohm: float, name: str) -> int:
        return self.between(self.point(a), self.point(b), ohm, name)

    def pieces(self) -> dict[str, int]:
        """Of each point the number of the piece in which elements so far join it to others."""
        from scipy.sparse import coo_array  # scipy loads for long and the app can start without
        from scipy.sparse.csgraph import connected_components

        size = len(self.index)
        joined = coo_array((np.ones(len(self.a)), (self.a, self.b)), shape=(size, size))
        label = connected_components(joined, directed=False)[1].tolist() if size else []
        return dict(zip(self.index, label, strict=True))

    def between(self, a: int, b: int, ohm: float, name: str) -> int:
        self.a.append(a)
        self.b.append(b)
        self.ohm.append(max(ohm, LEAST_OHM))
        self.name.append(name)
        return len(self.name) - 1
