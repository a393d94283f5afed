"""Solves every load case of a variant and reports voltages, wires, loads and sizes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from pinmap.core.electrics.heat import Floats, WireHeat, ampacity_a, bundle_factors, temperature_c, wire_heat
from pinmap.core.electrics.loads import Load
from pinmap.core.electrics.network import Ints, Network, Solution, Solver, build_network
from pinmap.core.electrics.paths import trace_demand
from pinmap.core.electrics.renewal import renewed
from pinmap.core.electrics.results import ElectricalReport, LoadState, Records, UnfedLoad, WireState
from pinmap.core.electrics.sizing import Demand, advise
from pinmap.core.electrics.unfed import Explainer
from pinmap.core.facts.conductors import resistance_factor
from pinmap.core.facts.constants import AMBIENT_C, LOADED_SHARE, RELAY_PULL_IN_SHARE
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import LoadCase, Snapshot, Variant
from pinmap.core.model.words import Role

_AGREED_K = 0.1
_ROUNDS = 8


@dataclass(frozen=True)
class _Thermal:
    """What heat needs of the routing: wires, their hottest surroundings, which wire lies in which segment."""

    heat: WireHeat
    ambient_c: Floats
    free_a: Floats
    wire: Ints
    segment: Ints
    n_segments: int

    def loaded(self, amps: Floats) -> Ints:
        """By wire: how many loaded wires lie in the fullest of its segments."""
        busy = (np.abs(amps) >= LOADED_SHARE.value * self.free_a) & (np.abs(amps) > 1e-6)
        count = np.bincount(self.segment[busy[self.wire]], minlength=self.n_segments)
        most = busy.astype(np.int64)
        np.maximum.at(most, self.wire, count[self.segment])
        return most


def _thermal(snapshot: Snapshot, routing: Routing) -> _Thermal:
    zones = snapshot.zone
    segments = {s.key: i for i, s in enumerate(snapshot.job.segments)}
    around = [zones[s.zone].ambient_c if s.zone in zones else AMBIENT_C.value for s in snapshot.job.segments]
    ambient = [max((around[segments[s]] for s in w.segments), default=AMBIENT_C.value) for w in routing.wires]
    heat = wire_heat([(w.mm2, w.insulation) for w in routing.wires])
    air_c = np.array(ambient, dtype=float)
    return _Thermal(
        heat=heat,
        ambient_c=air_c,
        free_a=ampacity_a(heat, air_c, np.ones(air_c.size)) if air_c.size else air_c,
        wire=np.array([i for i, w in enumerate(routing.wires) for _ in w.segments], dtype=np.int64),
        segment=np.array([segments[s] for w in routing.wires for s in w.segments], dtype=np.int64),
        n_segments=len(segments),
    )


@dataclass(frozen=True)
class _Case:
    case: LoadCase
    solution: Solution
    wire_ohm: Floats
    temp_c: Floats
    loaded: Ints
    factor: Floats


@dataclass(frozen=True)
class Checked:
    """A variant's report with what it was computed from, so that the check after an edit can start there."""

    snapshot: Snapshot
    variant: Variant
    routing: Routing
    dictionary: Dictionary
    network: Network
    report: ElectricalReport


def check(snapshot: Snapshot, variant: Variant, routing: Routing, dictionary: Dictionary) -> ElectricalReport:
    """The electrical report of one variant over the job's load cases.

    Resistance and temperature are iterated until they agree within 0.1 K. A wire's temperature is that in the hottest
    surroundings and the fullest bundle on its way, and holds for its whole length: on the safe side. The bundle counts
    through E-11's factor on each wire's own current; a wire without current is taken to be as warm as the air around.
    """
    return recheck(None, snapshot, variant, routing, dictionary).report


def recheck(
    before: Checked | None, snapshot: Snapshot, variant: Variant, routing: Routing, dictionary: Dictionary
) -> Checked:
    """The same report as ``check`` up to rounding, sooner: where an edit since ``before`` left everything as it was
    but wires' sizes and lengths, loads, points and layouts of the network are taken over."""
    network = renewed(before, snapshot, variant, routing, dictionary)
    if network is None:
        network = build_network(snapshot, variant, routing, dictionary)
    return Checked(snapshot, variant, routing, dictionary, network, _report(snapshot, variant, routing, network))


def _report(snapshot: Snapshot, variant: Variant, routing: Routing, network: Network) -> ElectricalReport:
    thermal = _thermal(snapshot, routing)
    cases = [_solve_warm(network, thermal, case) for case in snapshot.job.load_cases]
    explainer = Explainer(snapshot, variant, routing, network)
    n = network.n_wires
    demand = Demand(
        current_a=np.zeros(n), factor=np.ones(n), ambient_c=thermal.ambient_c, growth=np.full(n, np.inf),
        growth_load=[""] * n, fuse_a=np.zeros(n),
    )  # fmt: skip
    voltage: dict[str, dict[str, float]] = {}
    wires: dict[str, Mapping[str, WireState]] = {}
    load_states: list[LoadState] = []
    unfed: list[UnfedLoad] = []
    nominal_v = next((p.nominal_v for p in snapshot.platforms if p.role is Role.HOST), 12.0)
    length_m = np.array([w.cut_length_m for w in routing.wires], dtype=float)
    ids = [w.id for w in routing.wires]
    place = {wire_id: i for i, wire_id in enumerate(ids)}
    for found in cases:
        key, solution = found.case.key, found.solution
        volts = zip(network.points, solution.volts.tolist(), strict=True)
        voltage[key] = {point: v for point, v in volts if v == v}  # a floating point has NaN, which is not itself
        amps = solution.amps[:n]
        wires[key] = Records(place, _states_of_wires(ids, found, thermal))
        np.maximum(demand.current_a, np.abs(amps), out=demand.current_a)
        np.minimum(demand.factor, found.factor, out=demand.factor)
        states = [
            _load_state(network, found, load, amps_of)
            for load, amps_of in zip(solution.fed, solution.load_a.tolist(), strict=True)
            if load.draw(found.case.code) is not None
        ]
        states += _coil_states(network, found, nominal_v)
        load_states.extend(states)
        trace_demand(network, solution, found.case.supply_v, found.wire_ohm, length_m, states, demand)
        unfed.extend(explainer.explain(load, found.case, solution) for load in solution.starved)
        unfed.extend(UnfedLoad(load=load.key, case=key, why=why) for load, why in solution.collapsed)
    return ElectricalReport(
        voltage_v=voltage,
        wires=wires,
        loads=tuple(load_states),
        advice=advise(routing.wires, snapshot.job.practice, demand),
        unfed=tuple(unfed),
        unknown=tuple(load.key for load in network.loads if load.current_a is None),
        problems=network.problems,
    )


def _states_of_wires(ids: Sequence[str], found: _Case, thermal: _Thermal) -> Callable[[int], WireState]:
    amps = found.solution.amps[: len(ids)]
    columns = (amps, found.temp_c, found.wire_ohm, amps * found.wire_ohm, thermal.ambient_c, found.loaded)
    current_a, temp_c, ohm, drop_v, air_c, loaded = (c.tolist() for c in columns)

    def make(i: int) -> WireState:
        return WireState(
            wire=ids[i], case=found.case.key, current_a=current_a[i], temp_c=temp_c[i], resistance_ohm=ohm[i],
            drop_v=drop_v[i], ambient_c=air_c[i], loaded_in_bundle=loaded[i],
        )  # fmt: skip

    return make


def _solve_warm(network: Network, thermal: _Thermal, case: LoadCase) -> _Case:
    temp = thermal.ambient_c
    solver = Solver(network, case)
    for _ in range(_ROUNDS):
        ohm = network.wire_ohm_20 * resistance_factor(temp)
        solution = solver.solve(ohm)
        amps = solution.amps[: network.n_wires]
        loaded = thermal.loaded(amps)
        factor = bundle_factors(loaded)
        warmer = temperature_c(thermal.heat, amps, thermal.ambient_c, factor)
        agreed = bool(np.all(np.abs(warmer - temp) < _AGREED_K))
        temp = warmer
        if agreed:
            break
    return _Case(case, solution, ohm, temp, loaded, factor)


def _load_state(network: Network, found: _Case, load: Load, amps: float) -> LoadState:
    feed, back = network.feed_of[load.key], network.back_of[load.key]
    plus_v, minus_v = float(found.solution.volts[feed]), float(found.solution.volts[back])
    need_v, why = load.need(found.case.supply_v)
    draw = load.draw(found.case.code)
    return LoadState(
        load=load.key,
        case=found.case.key,
        feed=network.points[feed],
        back=network.points[back],
        current_a=amps,
        voltage_v=plus_v - minus_v,
        feed_drop_v=load.fed_with_v(found.case.supply_v) - plus_v,
        return_drop_v=minus_v,
        need_v=need_v,
        need_why=why,
        origin=load.origin,
        model="" if load.model is None else load.model.name,
        formula="" if draw is None else draw.formula,
        rms_a=None if draw is None or draw.rms_factor == 1 else amps * draw.rms_factor,
        inrush_a=load.inrush_a,
        inrush_s=load.inrush_s,
        inrush_from=load.inrush_from,
    )


def _coil_states(network: Network, found: _Case, nominal_v: float) -> list[LoadState]:
    """Each driven relay coil, which must get its pull-in voltage."""
    out = []
    solution = found.solution
    for key, coil, _, _ in network.relays:
        if key in solution.open_relays:
            continue
        a, b = int(network.a[coil]), int(network.b[coil])
        if solution.volts[a] < solution.volts[b]:
            a, b = b, a
        plus_v, minus_v = float(solution.volts[a]), float(solution.volts[b])
        share = RELAY_PULL_IN_SHARE.value
        out.append(
            LoadState(
                load=f"{key} coil",
                case=found.case.key,
                feed=network.points[a],
                back=network.points[b],
                current_a=abs(float(solution.amps[coil])),
                voltage_v=plus_v - minus_v,
                feed_drop_v=found.case.supply_v - plus_v,
                return_drop_v=minus_v,
                need_v=share * nominal_v,
                need_why=f"pull-in at {100 * share:g} % of {nominal_v:g} V ({RELAY_PULL_IN_SHARE.source})",
            )
        )
    return out
