"""Linear rows for a choice of sizes: voltage drops, short-circuit ways, splices, and the smallest size of each wire.

In a network without loops and with loads of constant current the current of each wire is the same for all sizes, and a
drop is a plain sum over the wires on the way. Two kinds of rows are built. *Safe* rows take the least current and the
coolest conductor that any good choice can have, so they never cut one off: with loads of constant resistance or power
the current is bounded from below, and a wire in a loop counts as nothing. *Near* rows take currents, temperatures and
bundles as they are at one choice; they guess well and prove nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pinmap.core.electrics.heat import Floats, temperature_c, wire_heat
from pinmap.core.electrics.load_models import Law
from pinmap.core.electrics.network import Ints, Network, Solution, build_network, solve
from pinmap.core.electrics.paths import Ways
from pinmap.core.electrics.results import ElectricalReport, LoadState, WireState
from pinmap.core.electrics.size_bounds import Best, HeatBounds, no_cooler_c
from pinmap.core.electrics.size_choices import Knob, Row, Sizes
from pinmap.core.electrics.size_currents import Cuts
from pinmap.core.electrics.size_limits import Breach, Judge, Key, offered_v
from pinmap.core.electrics.surroundings import judgeable
from pinmap.core.electrics.wire_limits import Guarded
from pinmap.core.facts.conductors import insulations, resistance_factor, wire_size
from pinmap.core.facts.constants import AMBIENT_C, COPPER_ALPHA_PER_K, HEAT_MARGIN_K
from pinmap.core.loom.results import Wire
from pinmap.core.model.jobs import LoadCase

SPLICE = "splice"  # kind of breach
SPLICE_RATIO = 3.0  # one wire of a splice by all others together, common practice
_AGREES_V = 1e-3


@dataclass(frozen=True, slots=True)
class _Around:
    """By wire: air [°C], share of a free wire's current, and what is added to the temperature so found [K]."""

    air_c: Floats
    factor: Floats
    offset_k: Floats


class Pairs:
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
    """Builds rows around one choice of sizes. ``left_out`` are limits that no choice meets. ``safe`` rows ask for
    ``sizes`` that no good choice exceeds; the others are near."""

    def __init__(
        self, judge: Judge, knobs: Sequence[Knob], sizes: Sizes, left_out: frozenset[Key], *, safe: bool = False
    ) -> None:
        self.judge, self.knobs, self.sizes, self.left_out, self.safe = judge, knobs, sizes, left_out, safe
        self.on_way: dict[tuple[int, str, str], tuple[int, ...]] = {}  # (variant, load, case) -> knobs on its way
        self.first = [0] * len(knobs)
        self.rows: list[Row] = []
        self.least_a: dict[str, Floats] = {}  # by case, of the variant at hand
        self.pairs: list[Pairs] = []
        self.heating_a: list[Floats] = []  # by variant: of shape (cases, wires)
        self.cuts: list[list[Cuts]] = [[] for _ in judge.variants]  # by variant and case, for safe rows
        self.judged: list[NDArray[np.bool_]] = []  # by variant and wire: the heat balance says what it may carry
        for v in range(len(judge.variants)):
            self._variant(v)
        self.first = [min(f, len(k.sizes) - 1) for f, k in zip(self.first, knobs, strict=True)]

    def _variant(self, v: int) -> None:
        routing = self.judge.routing(v, self.sizes)
        report, _ = self.judge.judge(v, self.sizes)
        factor = {} if self.safe else report.share
        network = build_network(self.judge.snapshot, self.judge.variants[v], routing, self.judge.dictionary)
        of = self.judge.knob_of[v]
        pairs = Pairs(routing.wires, [self.knobs[of[w.id]].sizes if w.id in of else (w.mm2,) for w in routing.wires])
        self.pairs.append(pairs)
        cases = [case for case in self.judge.cases.values() if report.wires.get(case.key)]
        self.judged.append(self._judged(v, routing.wires, report))
        best = None
        if self.safe:
            least = [self._least(v, routing.wires, report, network, case) for case in cases]
            low = self.judge.sized(v, tuple(k.sizes[0] for k in self.knobs))
            bounds = self.judge.bounds[v] = HeatBounds(
                self.judge.snapshot, routing, low, np.array([heating for _, heating in least])
            )
            best = bounds.best([w.mm2 for w in routing.wires])
            self.least_a = dict(zip((c.key for c in cases), (amps for amps, _ in least), strict=True))
            self.heating_a.append(bounds.least_a)
        else:
            states = [report.wires[case.key] for case in cases]
            self.heating_a.append(np.array([[s[w.id].heating_a for w in routing.wires] for s in states]))
        self._least_by_fuse(v, routing.wires, report, best)
        for index, case in enumerate(cases):
            self._case(v, pairs, report, network, case, factor, best, index)
        self._shorts(v, pairs, report, factor, best)

    def _least_by_fuse(self, v: int, wires: Sequence[Wire], report: ElectricalReport, best: Best | None) -> None:
        of, place = self.judge.knob_of[v], self.judge.place[v]
        curve = self.judge.guards[v].curve
        free = [w for w in wires if w.id in of and ("fuse", v, w.id, "") not in self.left_out]
        for index in range(max((len(k.sizes) for k in self.knobs), default=0)):
            thin = [
                replace(w, mm2=self.knobs[of[w.id]].sizes[index])
                for w in free
                if self.first[of[w.id]] <= index < len(self.knobs[of[w.id]].sizes)
            ]
            if best is None:
                short = self.judge.by_fuse(v, thin, report)
            else:
                air_c, coolest = self.judge.bounds[v].air_c, best.found.hottest_c.max(axis=0)
                short = self.judge.short_of_fuse(
                    [
                        Guarded(w, curve[w.id], np.inf, float(air_c[i]), float(best.share[i]),
                                np.floor(2 * float(coolest[i])) / 2)
                        for w in thin if w.id in curve and judgeable(w) and (i := place[w.id]) >= 0
                    ]
                )  # fmt: skip
            for wire_id, (by, _) in short.items():
                if by > 1e-9:
                    self.first[of[wire_id]] = max(self.first[of[wire_id]], index + 1)

    # Heat and drops of one case

    def _case(
        self, v: int, pairs: Pairs, report: ElectricalReport, network: Network, case: LoadCase,
        factor: Mapping[str, float], best: Best | None, index: int,
    ) -> None:  # fmt: skip
        states = report.wires[case.key]
        wires = pairs.wires
        low = min(self._shares(v, network, report, case).values(), default=1.0)
        if best is None:
            amps = np.array([abs(states[w.id].current_a) for w in wires])
            heating = np.array([states[w.id].heating_a for w in wires])
            temp = pairs.temp_c(heating, self._around(wires, heating, report, case, factor))
            mean = temp + self._mean_offset_k(wires, states)[pairs.of]
        else:
            amps = self.least_a[case.key]
            temp, mean = no_cooler_c(best, pairs.of.tolist(), pairs.heat, index, self.judge.bounds[v].least_a[index])
        self._least_by_heat(v, pairs, temp)
        volts = amps[pairs.of] * pairs.ohm_20 * resistance_factor(mean)
        ohm = np.array([states[w.id].resistance_ohm for w in wires])
        solution = solve(network, case, ohm)
        ways = Ways(network, solution, ohm)
        of = self.judge.knob_of[v]
        for state in report.loads:
            if state.case != case.key:
                continue
            way = self._way(network, solution, ways, state)
            if way is None:
                continue
            wire_v = sum(abs(states[wires[e].id].drop_v) for e in way)
            others_v = max(offered_v(state) - state.voltage_v - wire_v, 0.0)
            keep = low if self.safe else 1.0
            self.on_way[v, state.load, case.key] = tuple(
                dict.fromkeys(of[wires[e].id] for e in way if wires[e].id in of)
            )
            self._row(f"{state.load} in {case.key}", v, pairs, way, volts,
                      offered_v(state) - self.judge.floor_v(v, state) - others_v * keep)  # fmt: skip

    def _least(
        self, v: int, wires: Sequence[Wire], report: ElectricalReport, network: Network, case: LoadCase
    ) -> tuple[Floats, Floats]:  # fmt: skip
        """Least currents and least heating currents over all good choices."""
        states = report.wires[case.key]
        solution = solve(network, case, np.array([states[w.id].resistance_ohm for w in wires]))
        heating = np.array([states[w.id].heating_a for w in wires])
        here = [s for s in report.loads if s.case == case.key]
        cuts = Cuts(network, solution, here, self._shares(v, network, report, case))
        self.cuts[v].append(cuts)
        return cuts.least(heating)

    def _shares(self, v: int, network: Network, report: ElectricalReport, case: LoadCase) -> dict[str, float]:
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
                out[s.load] = min(1.0, self.judge.floor_v(v, s) / volts)
        return out

    def _around(
        self, wires: Sequence[Wire], heating: Floats, report: ElectricalReport, case: LoadCase | None,
        factor: Mapping[str, float],
    ) -> _Around:  # fmt: skip
        """Surroundings as they are at the choice, by a free wire that is as warm as this one in its bundle."""
        states = report.wires[case.key] if case is not None else {}
        air = np.array([s.ambient_c if (s := report.worst(w.id)) is not None else AMBIENT_C.value for w in wires])
        share = np.array([factor.get(w.id, 1.0) for w in wires])
        around = _Around(air, share, np.zeros(len(wires)))
        if not states:
            return around
        now = temperature_c(wire_heat([(w.mm2, w.insulation) for w in wires]), heating, air, share)
        return replace(around, offset_k=np.array([states[w.id].temp_c for w in wires]) - now)

    def _mean_offset_k(self, wires: Sequence[Wire], states: Mapping[str, WireState]) -> Floats:
        """By how much a wire's mean temperature lies above its hottest place (below 0), from its resistance."""
        out = []
        for w in wires:
            cold = wire_size(w.mm2, w.insulation).r20_ohm_per_m * w.cut_length_m
            mean_c = 20 + (states[w.id].resistance_ohm / cold - 1) / COPPER_ALPHA_PER_K.value
            out.append(mean_c - states[w.id].temp_c)
        return np.array(out)

    def _judged(self, v: int, wires: Sequence[Wire], report: ElectricalReport) -> NDArray[np.bool_]:
        """Where a standard's table rules, which knows no temperature, heat is no limit, nor where no size meets it."""
        classes = insulations()
        return np.array(
            [
                w.insulation in classes and ("heat", v, w.id, "") not in self.left_out
                and all(s[w.id].table_a is None for s in report.wires.values() if w.id in s)
                for w in wires
            ], dtype=bool,
        )  # fmt: skip

    def _least_by_heat(self, v: int, pairs: Pairs, temp: Floats) -> None:
        of, judged = self.judge.knob_of[v], self.judged[v]
        for i, w in enumerate(pairs.wires):
            if w.id in of and judged[i]:
                fits = temp[pairs.at[i]] <= insulations()[w.insulation].max_temp_c - HEAT_MARGIN_K.value + 1e-6
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

    def _row(self, what: str, v: int, pairs: Pairs, way: Sequence[int], each: Floats, most: float) -> None:
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

    def _shorts(
        self, v: int, pairs: Pairs, report: ElectricalReport, factor: Mapping[str, float], best: Best | None
    ) -> None:  # fmt: skip
        place = {w.id: i for i, w in enumerate(pairs.wires)}
        if best is None:
            worst = [report.worst(w.id) for w in pairs.wires]
            amps = np.array([s.heating_a if s is not None else 0.0 for s in worst])
            temp = pairs.temp_c(amps, self._around(pairs.wires, amps, report, None, factor))
        else:
            temp = best.found.hottest_c.max(axis=0)[pairs.of]
        ohm = pairs.ohm_20 * resistance_factor(temp)
        for way in self.judge.guards[v].shorts:
            if ("short", v, way.wire, "") not in self.left_out:
                at = [place[w] for w in way.wires]
                self._row(f"short at {way.wire}", v, pairs, at, ohm, way.most_ohm - way.other_ohm)


def splice_rows(judge: Judge, knobs: Sequence[Knob]) -> list[Row]:
    """The thickest wire of a splice at most three times all others together; exact. Rows that no choice breaks are
    left out."""
    return [row for _, _, row in _splice_rows(judge, knobs) if sum(max(c) for c in row.cost.values()) > row.most]


def splice_breaches(judge: Judge, knobs: Sequence[Knob], sizes: Sizes) -> list[Breach]:
    """Splices at which these sizes break that ratio."""
    at = [min(range(len(k.sizes)), key=lambda j: abs(k.sizes[j] - s)) for k, s in zip(knobs, sizes, strict=True)]
    out: dict[tuple[int, str], Breach] = {}
    for v, splice, row in _splice_rows(judge, knobs):
        over = sum(cost[at[i]] for i, cost in row.cost.items()) - row.most
        if over > 1e-9:
            why = f"one wire of splice {splice} is more than {SPLICE_RATIO:g} times all others together"
            out[v, splice] = Breach(SPLICE, v, splice, "", over, why)
    return list(out.values())


def _splice_rows(judge: Judge, knobs: Sequence[Knob]) -> Iterator[tuple[int, str, Row]]:
    """Each wire of each splice against the others, with variant and splice."""
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
                yield v, splice.id, Row(f"splice {splice.id}", {i: tuple(c) for i, c in cost.items()}, most)
