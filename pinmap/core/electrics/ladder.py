"""What each joint and wire costs between a supply and a load and back, and how warm a wire is along its way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pinmap.core.electrics.bundle_heat import bundle_temperatures
from pinmap.core.electrics.network import Network, Solution, build_network, solve
from pinmap.core.electrics.paths import Ways
from pinmap.core.electrics.results import ElectricalReport, LoadState
from pinmap.core.electrics.supply_cases import load_cases
from pinmap.core.electrics.surroundings import HeatPlaces, judgeable, layout_of
from pinmap.core.errors import NotFound
from pinmap.core.facts.conductors import insulation
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.loom.stretches import Stretches
from pinmap.core.model.jobs import LoadCase, Snapshot, Variant


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One piece on the way. ``side`` is "feed" or "return"; before_v and after_v are against battery minus."""

    side: str
    label: str
    wire: str  # its id, "" for a joint or a device
    ohm: float
    current_a: float
    before_v: float
    after_v: float

    @property
    def drop_v(self) -> float:
        return self.before_v - self.after_v


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    """The way of one load in one case, from the supply down to the load, then from the load down to battery minus."""

    load: str
    case: LoadCase
    supply_v: float
    state: LoadState
    rungs: tuple[Rung, ...]

    @property
    def lost_v(self) -> float:
        return sum(r.drop_v for r in self.rungs)


def ladder(
    snapshot: Snapshot, variant: Variant, routing: Routing, report: ElectricalReport, dictionary: Dictionary, load: str,
    case_key: str,
) -> Ladder:  # fmt: skip
    """Drops by piece. Raises NotFound for a load or case that the report has not, or a load that is not fed in it."""
    case = next((c for c in load_cases(snapshot) if c.key == case_key), None)
    state = next((s for s in report.loads if s.load == load and s.case == case_key), None)
    if case is None or state is None:
        raise NotFound(f"no load {load!r} draws current in the case {case_key!r}")
    network = build_network(snapshot, variant, routing, dictionary)
    states = report.wires[case_key]
    ohm = np.array([states[w.id].resistance_ohm for w in routing.wires])
    solution = solve(network, case, ohm)
    ways = Ways(network, solution, ohm)
    feed = ways.elements(network.index[state.feed], to_plus=True)
    back = ways.elements(network.index[state.back], to_plus=False)
    rungs = _rungs(network, solution, routing, list(reversed(feed)), "feed")
    rungs += _rungs(network, solution, routing, back, "return")
    supply_v = state.voltage_v + state.feed_drop_v + state.return_drop_v
    return Ladder(load=load, case=case, supply_v=supply_v, state=state, rungs=tuple(rungs))


def _rungs(network: Network, solution: Solution, routing: Routing, way: list[int], side: str) -> list[Rung]:
    out = []
    for e in way:
        a, b = float(solution.volts[network.a[e]]), float(solution.volts[network.b[e]])
        amps = abs(float(solution.amps[e]))
        high, low = max(a, b), min(a, b)
        out.append(
            Rung(
                side=side, label=network.names[e], wire=routing.wires[e].id if e < network.n_wires else "",
                ohm=(high - low) / amps if amps > 0 else 0.0, current_a=amps, before_v=high, after_v=low,
            )
        )  # fmt: skip
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class WireStretch:
    """A wire in one stretch of a run. Length [m], air and conductor in its bundle there [°C], wires in the bundle."""

    segment: str
    zone: str
    length_m: float
    air_c: float
    conductor_c: float
    wires: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Along:
    """How warm a wire is along its way in one case; current_a is the one that heats it."""

    wire: str
    case: LoadCase
    current_a: float
    class_c: float
    stretches: tuple[WireStretch, ...]


def along(snapshot: Snapshot, routing: Routing, report: ElectricalReport, wire_id: str, case_key: str) -> Along:
    """Temperatures by the bundles' heat balance, every wire at its current of the case. Raises NotFound."""
    case = next((c for c in load_cases(snapshot) if c.key == case_key), None)
    wire = routing.wire.get(wire_id)
    states = report.wires.get(case_key)
    if case is None or wire is None or states is None or not all(judgeable(w) for w in routing.wires):
        raise NotFound(f"nothing is known of wire {wire_id!r} in the case {case_key!r}")
    stretches = Stretches(routing, snapshot.job.segments, snapshot.job.practice)
    places = HeatPlaces.of(snapshot, routing, stretches)
    layout = layout_of(snapshot, routing, places)
    amps = np.array([states[w.id].heating_a for w in routing.wires])
    found = bundle_temperatures(layout, amps)
    index = next(i for i, w in enumerate(routing.wires) if w.id == wire_id)
    segments = {s.key: s for s in snapshot.job.segments}
    place = {s: i for i, s in enumerate(places.stretches)}
    out = []
    for stretch in stretches.along(wire):
        segment, at = segments[stretch.segment], place[stretch]
        here = np.flatnonzero((layout.wire == index) & (layout.segment == at))
        zone = snapshot.zone.get(segment.zone)
        out.append(
            WireStretch(
                segment=segment.key, zone=zone.name if zone is not None else "no zone", length_m=stretch.length_m,
                air_c=float(layout.ambient_c[at]), conductor_c=float(found.place_c[here[0]]), wires=len(stretch.wires),
            )
        )  # fmt: skip
    return Along(
        wire=wire_id, case=case, current_a=float(amps[index]), class_c=insulation(wire.insulation).max_temp_c,
        stretches=tuple(out),
    )  # fmt: skip
