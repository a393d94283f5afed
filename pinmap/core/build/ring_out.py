"""The ring-out plan: what to measure on the finished loom before it meets a vehicle.

Continuity is calculated from the conductors at 20 °C; a reading may lie ALLOWANCE_OHM above it. Fuses, relays and
everything else that plugs in is out, every connector is unplugged, and the loom is away from the vehicle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pinmap.core.build.ends import by_loom
from pinmap.core.facts.conductors import wire_size
from pinmap.core.loom.results import Routing, Wire, WireEnd
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.words import natural_key

ALLOWANCE_OHM = 0.05  # contact and crimp of both ends and the leads' rest after nulling; common practice
ISOLATION_OHM = 10e6  # each net against all others joined, 100 to 500 V DC; common practice
SOURCE = "Limits: common practice; conductor resistance from the wire table, at 20 °C"
CAUTION = (
    "Loom away from the vehicle and from every control unit; all fuses, relays, diodes and resistors out. "
    "Insulation is tested only with nothing electronic connected."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ContinuityTest:
    """Measure between two points; pass at most limit_ohm [ohm]."""

    number: int
    signal_name: str
    at: WireEnd
    to: WireEnd
    start: str
    end: str
    wires: tuple[str, ...]
    expected_ohm: float
    limit_ohm: float
    loom: str = ""  # its name where the job has several


@dataclass(frozen=True, slots=True, kw_only=True)
class IsolationTest:
    """Measure from one net to all other nets joined; pass at least least_ohm [ohm]."""

    number: int
    signal_name: str
    at: WireEnd
    point: str
    points: tuple[str, ...]
    against: str
    least_ohm: float
    loom: str = ""  # its name where the job has several


@dataclass(frozen=True, slots=True, kw_only=True)
class RingOut:
    continuity: tuple[ContinuityTest, ...]
    isolation: tuple[IsolationTest, ...]
    caution: str = CAUTION
    source: str = SOURCE


def ring_out(snapshot: Snapshot, routing: Routing) -> RingOut:
    """Tests for every wire of a routed loom: from the first end of each net to each of its others, then each net
    against the rest. Each loom is tested alone, before it is plugged into another. Raises InputError for a wire size
    that cannot be."""
    continuity: list[ContinuityTest] = []
    isolation: list[IsolationTest] = []
    looms = by_loom(snapshot, routing.wires)
    for loom, in_loom in looms:
        _loom_tests(snapshot, in_loom, loom.name if len(looms) > 1 else "", continuity, isolation)
    return RingOut(continuity=tuple(continuity), isolation=tuple(isolation))


def _loom_tests(
    snapshot: Snapshot,
    in_loom: Sequence[Wire],
    loom: str,
    continuity: list[ContinuityTest],
    isolation: list[IsolationTest],
) -> None:
    groups = _groups(in_loom)
    for wires in groups:
        probes, ohms = _probes(wires)
        names = [end.label for end in probes]
        signals = dict.fromkeys(snapshot.signal[w.signal].name for w in wires)
        signal_name = ", ".join(signals)
        for i in range(1, len(probes)):
            expected = float(ohms[0, i])
            continuity.append(
                ContinuityTest(
                    number=len(continuity) + 1,
                    signal_name=signal_name,
                    at=probes[0],
                    to=probes[i],
                    start=names[0],
                    end=names[i],
                    wires=_between(wires, probes[0], probes[i]),
                    expected_ohm=expected,
                    limit_ohm=expected + ALLOWANCE_OHM,
                    loom=loom,
                )
            )
        if len(groups) > 1:
            isolation.append(
                IsolationTest(
                    number=len(isolation) + 1,
                    signal_name=signal_name,
                    at=probes[0],
                    point=names[0],
                    points=tuple(names),
                    against=f"the other {len(groups) - 1} nets joined" if len(groups) > 2 else "the other net",
                    least_ohm=ISOLATION_OHM,
                    loom=loom,
                )
            )


def _groups(wires: Sequence[Wire]) -> list[list[Wire]]:
    """Wires that hang together through common points, in the order of their first wire."""
    root: dict[str, str] = {}

    def find(point: str) -> str:
        root.setdefault(point, point)
        while root[point] != point:
            root[point] = root[root[point]]
            point = root[point]
        return point

    for wire in wires:
        root[find(wire.b.point)] = find(wire.a.point)
    groups: dict[str, list[Wire]] = {}
    for wire in wires:
        groups.setdefault(find(wire.a.point), []).append(wire)
    return list(groups.values())


def _probes(wires: Sequence[Wire]) -> tuple[list[WireEnd], np.ndarray[tuple[int, int], np.dtype[np.float64]]]:
    """Ends that a probe can touch, in natural order of first sight, and the resistance between each two [ohm].

    The effective resistance of the whole net, so that wires in parallel count as such: r_ij = p_ii + p_jj - 2 p_ij
    with p the pseudo-inverse of the net's conductance matrix (Klein and Randic 1993).
    """
    ends = {e.point: e for w in wires for e in (w.a, w.b)}
    index = {point: i for i, point in enumerate(ends)}
    laplacian = np.zeros((len(index), len(index)))
    for wire in wires:
        i, j = index[wire.a.point], index[wire.b.point]
        siemens = 1.0 / resistance_ohm(wire)
        laplacian[[i, j], [i, j]] += siemens
        laplacian[[i, j], [j, i]] -= siemens
    inverse = np.linalg.pinv(laplacian, hermitian=True)
    diagonal = np.diag(inverse)
    ohms = diagonal[:, None] + diagonal[None, :] - 2 * inverse
    touch = [i for point, i in index.items() if not ends[point].splice]
    probes = [e for e in ends.values() if not e.splice]
    return probes, np.asarray(ohms[np.ix_(touch, touch)])


def resistance_ohm(wire: Wire) -> float:
    """A wire's conductor at 20 °C by its cut length [ohm]; a hair of length for a wire of none."""
    return wire_size(wire.mm2, wire.insulation).r20_ohm_per_m * max(wire.cut_length_m, 1e-3)


def _between(wires: Sequence[Wire], a: WireEnd, b: WireEnd) -> tuple[str, ...]:
    """Wire ids on the way from a to b, by the fewest wires."""
    at: dict[str, list[Wire]] = {}
    for wire in wires:
        at.setdefault(wire.a.point, []).append(wire)
        at.setdefault(wire.b.point, []).append(wire)
    came: dict[str, tuple[str, str]] = {a.point: ("", "")}
    queue = [a.point]
    for point in queue:
        for wire in at[point]:
            far = wire.b.point if wire.a.point == point else wire.a.point
            if far not in came:
                came[far] = (point, wire.id)
                queue.append(far)
    way: list[str] = []
    point = b.point
    while came[point][1]:
        way.append(came[point][1])
        point = came[point][0]
    return tuple(sorted(way, key=natural_key))
