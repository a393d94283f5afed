"""Solves every load case of a variant and reports voltages, wires, loads and sizes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from pinmap.core.electrics.bundle_heat import BundleLayout, bundle_temperatures
from pinmap.core.electrics.heat import Floats
from pinmap.core.electrics.heat_rules import table_limit
from pinmap.core.electrics.heating import heating_a
from pinmap.core.electrics.load_states import Reached
from pinmap.core.electrics.network import Ints, Network, Solution, Solver, build_network
from pinmap.core.electrics.paths import trace_demand
from pinmap.core.electrics.renewal import edited, renewed
from pinmap.core.electrics.results import ElectricalReport, Listed, LoadState, Records, UnfedLoad, Volts, WireState
from pinmap.core.electrics.sizing import Demand, advise
from pinmap.core.electrics.supply_cases import load_cases
from pinmap.core.electrics.surroundings import HeatPlaces, free_a, hottest_air_c, layout_of, same_places, shares
from pinmap.core.electrics.unfed import Explainer
from pinmap.core.facts.conductors import insulation, resistance_factor
from pinmap.core.facts.constants import LOADED_SHARE
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.model.jobs import MODEL, LoadCase, Snapshot, Variant
from pinmap.core.model.words import Role

_AGREED_K = 0.1
_ROUNDS = 8


@dataclass(frozen=True)
class _Case:
    """One load case solved: what flows in each wire, solved or stated [A], its resistance, what heats it [A], its
    hottest place [°C], and what gives the temperature of every place [°C]."""

    case: LoadCase
    solution: Solution
    amps: Floats
    wire_ohm: Floats
    heating_a: Floats
    hottest_c: Floats
    place_c: Callable[[], Floats]


@dataclass(frozen=True)
class Checked:
    """A variant's report with what it was computed from, so that the check after an edit can start there."""

    snapshot: Snapshot
    variant: Variant
    routing: Routing
    dictionary: Dictionary
    network: Network
    places: HeatPlaces
    report: ElectricalReport


def check(snapshot: Snapshot, variant: Variant, routing: Routing, dictionary: Dictionary) -> ElectricalReport:
    """The electrical report of one variant over the job's load cases.

    Temperatures are those of the bundles' heat balance with the currents that flow together in each case, ripple and
    pauses of the loads counted. Resistance and temperature are iterated until they agree within 0.1 K: a wire's
    resistance is that of its mean temperature, what is judged is its hottest place. Where the job's practice names a
    standard's table, that decides what a wire may carry, as far as it covers the wire.
    """
    return recheck(None, snapshot, variant, routing, dictionary).report


def recheck(
    before: Checked | None, snapshot: Snapshot, variant: Variant, routing: Routing, dictionary: Dictionary
) -> Checked:
    """The same report as ``check`` up to rounding, sooner: where an edit since ``before`` left everything as it was
    but wires' sizes and lengths, loads, points and layouts of the network are taken over, and where every wire lies in
    the same stretches, these."""
    network, places = None, None
    changed = None if before is None else edited(before.routing, routing)
    if before is not None and changed is not None:
        network = renewed(before, changed, snapshot, variant, routing, dictionary)
        if same_places(before.snapshot, before.routing, changed, snapshot, routing):
            places = before.places
    network = network or build_network(snapshot, variant, routing, dictionary)
    places = places or HeatPlaces.of(snapshot, routing)
    report = _report(snapshot, variant, routing, network, places)
    return Checked(snapshot, variant, routing, dictionary, network, places, report)


def _report(
    snapshot: Snapshot, variant: Variant, routing: Routing, network: Network, places: HeatPlaces
) -> ElectricalReport:
    layout = layout_of(snapshot, routing, places)
    air_c = hottest_air_c(layout)
    cases = _solve_warm(network, layout, air_c, load_cases(snapshot))
    explainer = Explainer(snapshot, variant, routing, network)
    n = network.n_wires
    heats = np.array([c.heating_a for c in cases]).reshape(len(cases), n)
    free = free_a(layout.wires, air_c)
    loaded = _loaded(layout, heats, LOADED_SHARE.value * free)
    share = shares(layout, heats, free, [c.place_c for c in cases])
    nominal_v = next((p.nominal_v for p in snapshot.platforms if p.role is Role.HOST), 12.0)
    table = _Table(snapshot.job.practice.heat_rule, routing.wires, air_c, nominal_v)
    demand = Demand(
        current_a=heats.max(axis=0, initial=0.0), factor=share, ambient_c=air_c,
        ohm_per_m=layout.wires.r20_ohm_per_m, growth=np.full(n, np.inf),
        growth_load=np.full(n, -1), fuse_a=np.zeros(n), loaded=loaded.max(axis=0, initial=1), table=table.ampacity_a,
    )  # fmt: skip
    voltage: dict[str, Mapping[str, float]] = {}
    wires: dict[str, Mapping[str, WireState]] = {}
    all_reached: list[Reached] = []
    unfed: list[UnfedLoad] = []
    length_m = np.array([w.cut_length_m for w in routing.wires], dtype=float)
    ids = [w.id for w in routing.wires]
    place = {wire_id: i for i, wire_id in enumerate(ids)}
    for found, counts in zip(cases, loaded, strict=True):
        key, solution = found.case.key, found.solution
        voltage[key] = Volts(network.index, solution.volts)
        wires[key] = Records(place, _states_of_wires(ids, found, air_c, counts, table))
        reached = Reached.of(network, solution, found.case, nominal_v)
        all_reached.append(reached)
        trace_demand(network, solution, found.case.supply_v, found.wire_ohm, length_m, reached, demand)
        unfed.extend(explainer.explain(load, found.case, solution) for load in solution.starved)
        unfed.extend(UnfedLoad(load=load.key, case=key, why=why) for load, why in solution.collapsed)
    return ElectricalReport(
        voltage_v=voltage,
        wires=wires,
        loads=_load_states(all_reached),
        advice=advise(routing.wires, snapshot.job.practice, demand),
        unfed=tuple(unfed),
        unknown=tuple(load.key for load in network.loads if load.current_a is None),
        problems=network.problems,
        share=dict(zip(ids, share.tolist(), strict=True)),
        nominal_v=nominal_v,
    )


def _load_states(reached: Sequence[Reached]) -> Listed[LoadState]:
    places = [(case, i) for case in reached for i in range(len(case))]
    return Listed(len(places), lambda n: places[n][0].state(places[n][1]))


def _states_of_wires(
    ids: Sequence[str], found: _Case, air_c: Floats, counts: Ints, table: _Table
) -> Callable[[int], WireState]:  # fmt: skip
    amps = found.amps
    columns = (amps, found.hottest_c, found.wire_ohm, amps * found.wire_ohm, air_c, counts, found.heating_a)
    current_a, temp_c, ohm, drop_v, ambient_c, loaded, heating = (c.tolist() for c in columns)

    def make(i: int) -> WireState:
        return WireState(
            wire=ids[i], case=found.case.key, current_a=current_a[i], temp_c=temp_c[i], resistance_ohm=ohm[i],
            drop_v=drop_v[i], ambient_c=ambient_c[i], loaded_in_bundle=loaded[i], heating_a=heating[i],
            table_a=table.now(i, loaded[i]),
        )  # fmt: skip

    return make


def _solve_warm(network: Network, layout: BundleLayout, air_c: Floats, cases: Sequence[LoadCase]) -> list[_Case]:
    """Every case with resistances that agree with the temperatures; the heat of all cases is solved at once."""
    solvers = [Solver(network, case) for case in cases]
    cold = bundle_temperatures(layout, np.zeros(network.n_wires)).mean_c
    mean = np.repeat(cold[None, :], len(solvers), axis=0)
    found: list[_Case | None] = [None] * len(solvers)
    stated = [network.stated_a(case.code) for case in cases]
    open_cases = list(range(len(solvers)))
    moved = [np.inf] * len(solvers)
    for _ in range(_ROUNDS):
        if not open_cases:
            break
        solved = []
        for i in open_cases:
            ohm = network.wire_ohm_20 * resistance_factor(mean[i])
            solution = solvers[i].solve(ohm)
            heating = heating_a(network, solution, cases[i].code, ohm, layout.wires, air_c)
            solved.append((solution, ohm, np.maximum(heating, stated[i][1])))
        warm = bundle_temperatures(layout, np.array([heating for _, _, heating in solved]))
        for row, (i, (solution, ohm, heating), hottest, after) in enumerate(
            zip(open_cases, solved, warm.hottest_c, warm.mean_c, strict=True)
        ):
            amps = np.where(stated[i][0] > 0, stated[i][0], solution.amps[: network.n_wires])
            found[i] = _Case(cases[i], solution, amps, ohm, heating, hottest, partial(warm.of_case, row))
            moved[i], mean[i] = float(np.abs(after - mean[i]).max(initial=0.0)), after
        open_cases = [i for i in open_cases if moved[i] >= _AGREED_K]
    return [case for case in found if case is not None]


def _loaded(layout: BundleLayout, heating_a: Floats, idle_a: Floats) -> Ints:
    """By case and wire: how many loaded wires lie in the fullest of its segments."""
    busy = (heating_a >= idle_a) & (heating_a > 1e-6)
    most = busy.astype(np.int64)
    order, first, _ = layout.by_wire
    if not order.size:
        return most
    segment = layout.segment[order]
    for own, which in zip(most, busy, strict=True):
        count = np.bincount(layout.segment[which[layout.wire]], minlength=layout.ambient_c.size)
        np.maximum(own, np.maximum.reduceat(count[segment], first), out=own)
    return most


class _Table:
    """What the chosen standard's table says of each wire; of none while the heat balance rules."""

    def __init__(self, rule: str, wires: Sequence[Wire], air_c: Floats, nominal_v: float) -> None:
        self.rule, self.wires, self.nominal_v = rule, wires, nominal_v
        self.air_c = air_c.tolist()

    def now(self, index: int, loaded: int) -> float | None:
        """Of a wire as it is, with so many loaded ones in its bundle."""
        return self.ampacity_a(index, self.wires[index].mm2, loaded)

    def ampacity_a(self, index: int, mm2: float, loaded: int) -> float | None:
        """Of a wire with another size."""
        if self.rule == MODEL:
            return None
        class_c = insulation(self.wires[index].insulation).max_temp_c
        return table_limit(self.rule, mm2, class_c, self.air_c[index], max(loaded, 1), self.nominal_v).ampacity_a
