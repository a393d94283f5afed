"""Linear rows for a choice of sizes: voltage drops, short-circuit ways, splices, and the smallest size of each wire.

In a network without loops and with loads of constant current the current of each wire is the same for all sizes, and a
drop is a plain sum over the wires on the way. Two kinds of rows are built. *Safe* rows take the least current and the
coolest conductor that any good choice can have, so they never cut one off: with loads of constant resistance or power
the current is bounded from below, and a wire in a loop counts as nothing. *Near* rows take currents, temperatures and
bundles as they are at one choice; they guess well and prove nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from pinmap.core.electrics.heat import Floats, bundle_factors, temperature_c, wire_heat
from pinmap.core.electrics.load_models import Law
from pinmap.core.electrics.network import Ints, Network, Solution, build_network, solve
from pinmap.core.electrics.paths import Ways
from pinmap.core.electrics.results import ElectricalReport, LoadState
from pinmap.core.electrics.size_choices import Knob
from pinmap.core.electrics.size_limits import Judge, Sizes, need_v, offered_v
from pinmap.core.facts.conductors import insulations, resistance_factor, wire_size
from pinmap.core.facts.constants import AMBIENT_C, HEAT_MARGIN_K
from pinmap.core.loom.results import Wire
from pinmap.core.model.jobs import LoadCase

SPLICE_RATIO = 3.0  # one wire of a splice by all others together, common practice
_AGREES_V = 1e-3
_SAME_A = 1e-6
_SAME_K = 1.0
_REFERENCE_A = 0.01

Key = tuple[str, int, str, str]


@dataclass(frozen=True, slots=True)
class Row:
    """Sum over knobs of ``cost[knob][size index]`` is at most ``most``."""

    what: str
    cost: Mapping[int, tuple[float, ...]]
    most: float


@dataclass(frozen=True, slots=True)
class _Around:
    """By wire: air [°C], share of a free wire's current, and what is added to the temperature so found [K]."""

    air_c: Floats
    factor: Floats
    offset_k: Floats


class _Pairs:
    """Every wire of a variant with every size it may take."""

    def __init__(self, wires: Sequence[Wire], sizes: Sequence[tuple[float, ...]]) -> None:
        self.wires = wires
        ends = np.cumsum([0, *(len(s) for s in sizes)])
        self.at = [slice(int(a), int(b)) for a, b in pairwise(ends.tolist())]
        self.of: Ints = np.repeat(np.arange(len(wires)), np.diff(ends)).astype(np.int64)
        named = [(mm2, w.insulation) for w, each in zip(wires, sizes, strict=True) for mm2 in each]
        self.heat = wire_heat(named)
        length = np.array([w.cut_length_m for w in wires])
        self.ohm_20 = np.array([wire_size(*n).r20_ohm_per_m for n in named]) * length[self.of]

    def temp_c(self, amps: Floats, around: _Around) -> Floats:
        """Temperature of each pair at its wire's current [A]."""
        air = around.air_c[self.of]
        warm = temperature_c(self.heat, amps[self.of], air, around.factor[self.of]) + around.offset_k[self.of]
        return np.asarray(np.maximum(warm, air))


class Rows:
    """Builds rows around one choice of sizes. ``left_out`` are limits that no choice meets; ``other`` is a second
    choice, which shows where loops are; with it the rows are safe, without it near. Safe rows ask for ``sizes`` that no
    good choice exceeds."""

    def __init__(
        self, judge: Judge, knobs: Sequence[Knob], sizes: Sizes, left_out: set[Key], other: Sizes | None = None
    ) -> None:
        self.judge, self.knobs, self.sizes, self.left_out, self.other = judge, knobs, sizes, left_out, other
        self.on_way: dict[tuple[int, str, str], tuple[int, ...]] = {}  # (variant, load, case) -> knobs on its way
        self.first = [0] * len(knobs)
        self.rows: list[Row] = []
        for v in range(len(judge.variants)):
            self._variant(v)
        self.first = [min(f, len(k.sizes) - 1) for f, k in zip(self.first, knobs, strict=True)]

    def _variant(self, v: int) -> None:
        routing = self.judge.routing(v, self.sizes)
        report, _ = self.judge.judge(v, self.sizes)
        factor = self.judge.factor(v, self.sizes) if self.other is None else {}
        network = build_network(self.judge.snapshot, self.judge.variants[v], routing, self.judge.dictionary)
        of = self.judge.knob_of[v]
        pairs = _Pairs(routing.wires, [self.knobs[of[w.id]].sizes if w.id in of else (w.mm2,) for w in routing.wires])
        self._least_by_fuse(v, routing.wires, report, factor)
        for case in self.judge.cases.values():
            if report.wires.get(case.key):
                self._case(v, pairs, report, network, case, factor)
        self._shorts(v, pairs, report, factor)

    def _least_by_fuse(
        self, v: int, wires: Sequence[Wire], report: ElectricalReport, factor: Mapping[str, float]
    ) -> None:
        of = self.judge.knob_of[v]
        free = [w for w in wires if w.id in of and ("fuse", v, w.id, "") not in self.left_out]
        for index in range(max((len(k.sizes) for k in self.knobs), default=0)):
            thin = [
                replace(w, mm2=self.knobs[of[w.id]].sizes[index])
                for w in free
                if self.first[of[w.id]] <= index < len(self.knobs[of[w.id]].sizes)
            ]
            for wire_id, (by, _) in self.judge.by_fuse(v, thin, report, factor).items():
                if by > 1e-9:
                    self.first[of[wire_id]] = max(self.first[of[wire_id]], index + 1)

    # Heat and drops of one case

    def _case(
        self, v: int, pairs: _Pairs, report: ElectricalReport, network: Network, case: LoadCase,
        factor: Mapping[str, float],
    ) -> None:  # fmt: skip
        states = report.wires[case.key]
        wires = pairs.wires
        amps = np.array([abs(states[w.id].current_a) for w in wires])
        share = self._shares(network, report, case)
        low = min(share.values(), default=1.0)
        if self.other is not None:
            amps = self._least(v, wires, amps, report, network, case, share)
        around = self._around(pairs, amps, report, case, factor)
        temp = pairs.temp_c(amps, around)
        self._least_by_heat(v, pairs, temp)
        volts = amps[pairs.of] * pairs.ohm_20 * resistance_factor(temp)
        ohm = np.array([states[w.id].resistance_ohm for w in wires])
        solution = solve(network, case, ohm)
        ways = Ways(network, solution, ohm)
        of = self.judge.knob_of[v]
        for state in report.loads:
            if state.case != case.key or ("drop", v, state.load, case.key) in self.left_out:
                continue
            way = self._way(network, solution, ways, state)
            if way is None:
                continue
            wire_v = sum(abs(states[wires[e].id].drop_v) for e in way)
            others_v = max(offered_v(state) - state.voltage_v - wire_v, 0.0)
            keep = low if self.other is not None else 1.0
            self.on_way[v, state.load, case.key] = tuple(
                dict.fromkeys(of[wires[e].id] for e in way if wires[e].id in of)
            )
            self._row(f"{state.load} in {case.key}", v, pairs, way, volts,
                      offered_v(state) - need_v(state, case) - others_v * keep)  # fmt: skip

    def _least(
        self, v: int, wires: Sequence[Wire], amps: Floats, report: ElectricalReport, network: Network, case: LoadCase,
        share: Mapping[str, float],
    ) -> Floats:  # fmt: skip
        """Least currents over all good choices; a current that moves more than the loads' laws allow is in a loop."""
        assert self.other is not None
        spread = sum((1 - share[s.load]) * abs(s.current_a) for s in report.loads if s.case == case.key)
        spread += _REFERENCE_A if network.references else 0.0
        second = self.judge.judge(v, self.other)[0].wires.get(case.key, {})
        moved = np.array([abs(second[w.id].current_a) if w.id in second else 0.0 for w in wires])
        looped = np.abs(amps - moved) > spread + _SAME_A + 1e-4 * amps
        return np.where(looped, 0.0, np.maximum(amps - spread, 0.0))

    def _shares(self, network: Network, report: ElectricalReport, case: LoadCase) -> dict[str, float]:
        """By load: the least current of any good choice, as a share of that at these sizes."""
        law = {load.key: d.law for load in network.loads if (d := load.draw(case.code)) is not None}
        out = {}
        for s in report.loads:
            if s.case != case.key:
                continue
            kind = law.get(s.load, Law.RESISTANCE)  # a relay's coil
            volts = max(s.voltage_v, 1e-6)
            if kind is Law.CURRENT:
                out[s.load] = 1.0
            elif kind is Law.POWER:
                out[s.load] = min(1.0, volts / max(offered_v(s), volts))
            else:
                out[s.load] = min(1.0, need_v(s, case) / volts)
        return out

    def _around(
        self, pairs: _Pairs, amps: Floats, report: ElectricalReport, case: LoadCase | None, factor: Mapping[str, float]
    ) -> _Around:
        wires, n = pairs.wires, len(pairs.wires)
        if self.other is not None:
            return self._coolest(wires, report)
        states = report.wires[case.key] if case is not None else {}
        air = np.array([s.ambient_c if (s := report.worst(w.id)) is not None else AMBIENT_C.value for w in wires])
        share = np.array([factor.get(w.id, 1.0) for w in wires])
        around = _Around(air, share, np.zeros(n))
        if not states:
            return around
        now = temperature_c(wire_heat([(w.mm2, w.insulation) for w in wires]), amps, air, share)
        return replace(around, offset_k=np.array([states[w.id].temp_c for w in wires]) - now)

    def _coolest(self, wires: Sequence[Wire], report: ElectricalReport) -> _Around:
        """Surroundings that make a wire no warmer than in any good choice."""
        zones = self.judge.snapshot.zone
        air = {s.key: zones[s.zone].ambient_c if s.zone in zones else AMBIENT_C.value
               for s in self.judge.snapshot.job.segments}  # fmt: skip
        worst = [report.worst(w.id) for w in wires]
        n = len(wires)
        if self._counts_say_all(wires, report):
            loaded = np.array([max(s.loaded_in_bundle, 1) if s is not None else 1 for s in worst], dtype=np.intp)
            ambient = np.array([s.ambient_c if s is not None else AMBIENT_C.value for s in worst])
            return _Around(ambient, bundle_factors(loaded), np.zeros(n))
        cool = np.array([min((air[s] for s in w.segments if s in air), default=AMBIENT_C.value) for w in wires])
        return _Around(cool, np.ones(n), np.zeros(n))

    def _counts_say_all(self, wires: Sequence[Wire], report: ElectricalReport) -> bool:
        """The report's temperatures are those of a wire alone at current / factor, so that the count of loaded wires
        says all of a bundle."""
        for states in report.wires.values():
            found = [(w, states[w.id]) for w in wires if w.id in states and w.insulation in insulations()]
            if not found:
                continue
            heat = wire_heat([(w.mm2, w.insulation) for w, _ in found])
            loaded = np.array([max(s.loaded_in_bundle, 1) for _, s in found], dtype=np.intp)
            temp = temperature_c(
                heat, np.array([s.current_a for _, s in found]), np.array([s.ambient_c for _, s in found]),
                bundle_factors(loaded),
            )  # fmt: skip
            if float(np.max(np.abs(temp - np.array([s.temp_c for _, s in found])), initial=0.0)) > _SAME_K:
                return False
        return True

    def _least_by_heat(self, v: int, pairs: _Pairs, temp: Floats) -> None:
        of, classes = self.judge.knob_of[v], insulations()
        for i, w in enumerate(pairs.wires):
            if w.id not in of or w.insulation not in classes or ("heat", v, w.id, "") in self.left_out:
                continue
            fits = temp[pairs.at[i]] <= classes[w.insulation].max_temp_c - HEAT_MARGIN_K.value + 1e-6
            index = int(np.argmax(fits)) if fits.any() else fits.size
            self.first[of[w.id]] = max(self.first[of[w.id]], index)

    def _way(self, network: Network, solution: Solution, ways: Ways, state: LoadState) -> list[int] | None:
        """Wires from the supply to the load and back, if the drops on that way add up to what the load lacks."""
        feed = ways.elements(network.index[state.feed], to_plus=True)
        back = ways.elements(network.index[state.back], to_plus=False)
        volts = solution.volts
        total = sum(abs(float(volts[network.a[e]] - volts[network.b[e]])) for e in (*feed, *back))
        if abs(total - (offered_v(state) - state.voltage_v)) > _AGREES_V:
            return None
        return [e for e in (*feed, *back) if e < network.n_wires]

    def _row(self, what: str, v: int, pairs: _Pairs, way: Sequence[int], each: Floats, most: float) -> None:
        """One row over the wires of a way, from the cost of each pair; left out where no choice can break it."""
        of = self.judge.knob_of[v]
        cost: dict[int, Floats] = {}
        for e in way:
            i = of.get(pairs.wires[e].id)
            values = each[pairs.at[e]]
            if i is None:
                most -= float(values[0])
            else:
                cost[i] = cost[i] + values if i in cost else values
        if sum(float(c.max()) for c in cost.values()) > most + 1e-12:
            self.rows.append(Row(what, {i: tuple(c.tolist()) for i, c in cost.items()}, most))

    def _shorts(self, v: int, pairs: _Pairs, report: ElectricalReport, factor: Mapping[str, float]) -> None:
        place = {w.id: i for i, w in enumerate(pairs.wires)}
        n = len(pairs.wires)
        worst = [report.worst(w.id) for w in pairs.wires]
        if self.other is None:
            amps = np.array([abs(s.current_a) if s is not None else 0.0 for s in worst])
            around = self._around(pairs, amps, report, None, factor)
        else:
            amps, around = np.zeros(n), self._coolest(pairs.wires, report)
        ohm = pairs.ohm_20 * resistance_factor(pairs.temp_c(amps, around))
        for way in self.judge.guards[v].shorts:
            if ("short", v, way.wire, "") not in self.left_out:
                at = [place[w] for w in way.wires]
                self._row(f"short at {way.wire}", v, pairs, at, ohm, way.most_ohm - way.other_ohm)


def splice_rows(judge: Judge, knobs: Sequence[Knob]) -> list[Row]:
    """The thickest wire of a splice at most three times all others together; exact."""
    rows = []
    for v, routing in enumerate(judge.routings):
        of = judge.knob_of[v]
        for splice in routing.splices:
            ids = [w for w in splice.wires if w in routing.wire]
            for lead in ids if len(ids) > 1 else ():
                cost: dict[int, list[float]] = {}
                most = 1e-9
                for w in ids:
                    sign = 1.0 if w == lead else -SPLICE_RATIO
                    i = of.get(w)
                    if i is None:
                        most -= sign * routing.wire[w].mm2
                        continue
                    each = [sign * s for s in knobs[i].sizes]
                    cost[i] = [a + b for a, b in zip(cost.get(i, [0.0] * len(each)), each, strict=True)]
                if sum(max(c) for c in cost.values()) > most:
                    rows.append(Row(f"splice {splice.id}", {i: tuple(c) for i, c in cost.items()}, most))
    return rows
