"""Every limit that sizes must meet, judged on the true network: heat, the fuse before a wire, the voltage at a load.

A limit that even the largest sizes break is nobody's to meet by sizing; it is named and left out. A load that they
cannot give its voltage must still get most of what they give: starved further it would draw less, and thin wires would
seem cool.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinmap.core.electrics.check import Checked, recheck
from pinmap.core.electrics.feeds import Feed, feeds
from pinmap.core.electrics.fuse_curves import FuseCurve, by_rating, curve_of
from pinmap.core.electrics.heat import temperature_c, wire_heat
from pinmap.core.electrics.heat_rules import RULE_NAMES
from pinmap.core.electrics.protection import supply_of
from pinmap.core.electrics.results import ElectricalReport, LoadState, WireState
from pinmap.core.electrics.size_bounds import Best, HeatBounds
from pinmap.core.electrics.size_choices import Knob, Sizes, stated_a
from pinmap.core.electrics.supply_cases import load_cases
from pinmap.core.electrics.surroundings import HeatPlaces, judgeable
from pinmap.core.electrics.wire_limits import Guarded, WireLimit, limits_of
from pinmap.core.facts.conductors import insulations, resistance_factor, wire_size
from pinmap.core.facts.constants import AMBIENT_C, FUSE_DROP_V, HEAT_MARGIN_K
from pinmap.core.facts.fault import LONG_OVERLOAD_K, OPENS_WITHIN_S, OVERLOAD_K, STEADY_DROP_V
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.model.jobs import LoadCase, Snapshot, Variant

_REPORTS = 24  # kept at hand; a report is large
_KEPT_SHARE = 0.9  # of the voltage that the largest sizes give, for a load that needs more than that; our own choice


Key = tuple[str, int, str, str]  # of a limit


@dataclass(frozen=True, slots=True, order=True)
class Breach:
    """A limit that some sizes break: "heat", "fuse", "short" at a wire; "drop", "starved", "fed" at a load in a case.
    ``variant`` is an index; ``by`` how far, as a share of the limit."""

    kind: str
    variant: int
    what: str
    case: str = ""
    by: float = 0.0
    why: str = ""

    @property
    def key(self) -> Key:
        return self.kind, self.variant, self.what, self.case


@dataclass(frozen=True, slots=True)
class ShortWay:
    """The way of a short circuit at a wire's far end: the wires on it, all other resistance [ohm], the fuse."""

    wire: str
    wires: tuple[str, ...]
    other_ohm: float
    curve: FuseCurve
    most_ohm: float  # of the whole loop, so that the fuse opens in time


@dataclass(frozen=True)
class Guards:
    """What fuses ask of a variant's wires: the fuse of each wire, and the ways of short circuits."""

    curve: Mapping[str, FuseCurve]
    shorts: tuple[ShortWay, ...]


def need_v(state: LoadState, case: LoadCase) -> float:
    """What a load must have: its own least voltage, and no more than 1 V lost in steady running."""
    if state.need_v <= 0 or case.code == "C":
        return max(state.need_v, 0.0)
    return max(state.need_v, offered_v(state) - STEADY_DROP_V.value)


def offered_v(state: LoadState) -> float:
    """Voltage at the source of a load: the supply's, or that of the reference it hangs on."""
    return state.voltage_v + state.feed_drop_v + state.return_drop_v


def guards(snapshot: Snapshot, variant: Variant, routing: Routing) -> Guards:
    """Fuses and short-circuit ways of one variant."""
    supply = supply_of(snapshot)
    curves: dict[str, FuseCurve] = {}
    shorts = []
    for feed in feeds(snapshot, variant, routing):
        for fuse, wires in feed.guarded.items():
            curve = _curve(feed, fuse)
            if curve is None:
                continue
            own_ohm = FUSE_DROP_V.value / feed.source_fuse_a if feed.source_fuse_a else 0.0
            for i in wires:
                way = feed.way(i)
                curves[feed.steps[i].key] = curve
                shorts.append(
                    ShortWay(
                        wire=feed.steps[i].key,
                        wires=tuple(s.key for s in way if s.wire is not None),
                        other_ohm=supply.ohm + own_ohm + sum(s.ohm for s in way if s.wire is None),
                        curve=curve,
                        most_ohm=supply.weak_v / curve.opens_within_a(OPENS_WITHIN_S.value),
                    )
                )
    return Guards(curves, tuple(shorts))


def _curve(feed: Feed, fuse: int) -> FuseCurve | None:
    if fuse < 0:
        return by_rating(feed.source_fuse_a) if feed.source_fuse_a else None
    device = feed.steps[fuse].device
    return curve_of(device) if device is not None else None


def fuse_breach(k: WireLimit) -> tuple[float, str]:
    """How far a wire falls short of what its fuse lets through (0 or less: it stands it), and in words."""
    found = (
        ((k.rating_c - k.class_c) / k.class_c, f"{k.rating_a:g} A, the fuse's rating, bring it to {k.rating_c:.0f} °C"),
        (
            (k.held_c - k.class_c - LONG_OVERLOAD_K.value) / k.class_c,
            f"{k.held_a:.3g} A need not open the fuse and bring it to {k.held_c:.0f} °C",
        ),
        (
            (k.opening_c - k.class_c - OVERLOAD_K.value) / k.class_c,
            f"the overload that just opens the fuse brings it to {k.opening_c:.0f} °C",
        ),
        (
            1.0 / max(k.margin, 1e-9) - 1.0,
            f"at {k.worst_a:.0f} A it stands {k.stands_s:.2g} s, and the fuse may take {k.opens_s:.2g} s",
        ),
    )
    return max(found, key=lambda f: f[0])


class Judge:
    """Judges sizes on the true network of every variant; remembers what it has judged."""

    def __init__(
        self, snapshot: Snapshot, variants: Sequence[Variant], routings: Sequence[Routing], dictionary: Dictionary,
        knobs: Sequence[Knob],
    ) -> None:  # fmt: skip
        self.snapshot, self.variants, self.routings, self.dictionary = snapshot, variants, routings, dictionary
        self.knobs = knobs
        self.rule = RULE_NAMES[snapshot.job.practice.heat_rule]
        self.knob_of: list[dict[str, int]] = [{} for _ in variants]
        for i, knob in enumerate(knobs):
            for piece in knob.pieces:
                self.knob_of[piece.variant][piece.wire] = i
        self.used = [sorted(set(of.values())) for of in self.knob_of]
        self.cases = {case.key: case for case in load_cases(snapshot)}
        self.guards = [guards(snapshot, v, r) for v, r in zip(variants, routings, strict=True)]
        self.stated = [{w.id: a for w in r.wires if (a := stated_a(snapshot, w))} for r in routings]
        self._checked: dict[int, Checked] = {}  # by variant: what was judged last
        self._seen: dict[tuple[int, Sizes], tuple[ElectricalReport, tuple[Breach, ...]]] = {}  # the last few
        self._fit: dict[tuple[int, Sizes, frozenset[Key]], bool] = {}
        self._by_fuse: dict[tuple[object, ...], tuple[float, str]] = {}
        self.place = [{w.id: i for i, w in enumerate(r.wires)} for r in routings]
        self.bounds: dict[int, HeatBounds] = {}
        self.solved = 0
        self._places: dict[int, HeatPlaces] = {}
        self._fed_at_most: dict[int, frozenset[tuple[str, str]]] = {}
        self._most_v: dict[tuple[int, str, str], float] = {}
        for v in range(len(variants)):
            report, _ = self.judge(v, tuple(k.sizes[-1] for k in knobs))
            self._fed_at_most[v] = frozenset((s.load, s.case) for s in report.loads)
            self._most_v.update({(v, s.load, s.case): s.voltage_v for s in report.loads})

    def floor_v(self, variant: int, state: LoadState) -> float:
        """The voltage that sizes must give a load: what it needs or, where none gives that, most of the most."""
        need = need_v(state, self.cases[state.case])
        most = self._most_v.get((variant, state.load, state.case), math.inf)
        return need if most >= need - 1e-9 else _KEPT_SHARE * most

    def routing(self, variant: int, sizes: Sizes) -> Routing:
        """A variant's routing with these sizes, all else as it is."""
        of, routing = self.knob_of[variant], self.routings[variant]
        wires = tuple(replace(w, mm2=sizes[of[w.id]]) if w.id in of else w for w in routing.wires)
        return Routing(wires, routing.splices, routing.gaps)

    def places(self, variant: int) -> HeatPlaces:
        """Where each wire of a variant lies, whatever its size."""
        if variant not in self._places:
            self._places[variant] = HeatPlaces.of(self.snapshot, self.routings[variant])
        return self._places[variant]

    def judge(self, variant: int, sizes: Sizes) -> tuple[ElectricalReport, tuple[Breach, ...]]:
        """The report of a variant with these sizes, and every limit that it breaks."""
        key = (variant, tuple(sizes[i] for i in self.used[variant]))
        found = self._seen.get(key)
        if found is None:
            routing, report = self._solved(variant, sizes)
            found = report, tuple(self._breaches(variant, routing, report))
            while len(self._seen) >= _REPORTS:
                del self._seen[next(iter(self._seen))]
            self._seen[key] = found
        return found

    def fits(self, variant: int, sizes: Sizes, left_out: frozenset[Key]) -> bool:
        """Whether a variant with these sizes breaks no limit but those left out; ends at the first that it breaks."""
        key = (variant, tuple(sizes[i] for i in self.used[variant]), left_out)
        if key not in self._fit:
            routing, report = self._solved(variant, sizes)
            self._fit[key] = all(b.key in left_out for b in self._breaches(variant, routing, report))
        return self._fit[key]

    def _solved(self, variant: int, sizes: Sizes) -> tuple[Routing, ElectricalReport]:
        self.solved += 1
        routing = self.routing(variant, sizes)
        done = recheck(self._checked.get(variant), self.snapshot, self.variants[variant], routing, self.dictionary)
        self._checked[variant] = done
        return routing, done.report

    def all_breaches(self, sizes: Sizes) -> list[Breach]:
        return [b for v in range(len(self.variants)) for b in self.judge(v, sizes)[1]]

    def _breaches(self, variant: int, routing: Routing, report: ElectricalReport) -> Iterator[Breach]:
        """One by one, those that take longer to find last."""
        classes = insulations()
        worst = {w.id: s for w in routing.wires if (s := report.worst(w.id)) is not None}
        for wire in routing.wires:
            state = worst.get(wire.id)
            if state is None or wire.insulation not in classes:
                continue
            top_c = classes[wire.insulation].max_temp_c - HEAT_MARGIN_K.value
            over = self._over_table(report, wire.id) if state.table_a is not None else None
            if over is not None:
                if over[0] > 1e-9:
                    yield Breach("heat", variant, wire.id, "", *over)
            elif state.temp_c > top_c + 1e-6:
                text = f"{state.heating_a:.3g} A bring it to {state.temp_c:.0f} °C; {top_c:g} °C are allowed"
                yield Breach("heat", variant, wire.id, "", (state.temp_c - top_c) / top_c, text)
        yield from self._too_low(variant, report)
        yield from self._stated(variant, routing, report, worst)
        hot_ohm = {w.id: _hot_ohm(w, worst.get(w.id)) for w in routing.wires}
        for way in self.guards[variant].shorts:
            ohm = way.other_ohm + sum(hot_ohm[w] for w in way.wires)
            if ohm > way.most_ohm * (1 + 1e-9):
                text = (
                    f"a short at its end meets {ohm * 1000:.0f} mΩ, of which the fuse allows {way.most_ohm * 1000:.0f}"
                )
                yield Breach("short", variant, way.wire, "", ohm / way.most_ohm - 1, text)
        for wire_id, (by, why) in self.by_fuse(variant, routing.wires, report, worst).items():
            if by > 1e-9:
                yield Breach("fuse", variant, wire_id, "", by, why)

    def _too_low(self, variant: int, report: ElectricalReport) -> Iterator[Breach]:
        """Loads that get too little, or that cannot be fed though other sizes would feed them."""
        missing = self._fed_at_most.get(variant, frozenset()) - {(s.load, s.case) for s in report.loads}
        for load, key in sorted(missing):
            yield Breach("fed", variant, load, key, 1.0, f"{load} cannot be fed in the case {self.cases[key].name}")
        for got in report.loads:
            case = self.cases[got.case]
            need = need_v(got, case)
            if got.voltage_v < need - 1e-9:
                text = f"{got.load} gets {got.voltage_v:.2f} V of {need:.2f} V in the case {case.name}"
                yield Breach("drop", variant, got.load, got.case, (need - got.voltage_v) / need, text)
            floor = self.floor_v(variant, got)
            if floor < need and got.voltage_v < floor - 1e-9:
                most = floor / _KEPT_SHARE
                text = (
                    f"{got.load} gets {got.voltage_v:.2f} V in the case {case.name}; larger wires could give {most:.2f}"
                )
                yield Breach("starved", variant, got.load, got.case, (floor - got.voltage_v) / floor, text)

    def _over_table(self, report: ElectricalReport, wire: str) -> tuple[float, str] | None:
        """How far the worst case of a wire exceeds what the chosen standard allows, as a share; None where the heat
        balance rules."""
        states = [s for by_wire in report.wires.values() if (s := by_wire.get(wire)) is not None]
        known = [(s.heating_a / max(s.table_a, 1e-9) - 1, s) for s in states if s.table_a is not None]
        if len(known) < len(states) or not known:
            return None
        over, worst = max(known, key=lambda found: found[0])
        return over, f"{worst.heating_a:.3g} A; {self.rule} allows {worst.table_a:.3g} A"

    def by_fuse(
        self, variant: int, wires: Sequence[Wire], report: ElectricalReport,
        worst: Mapping[str, WireState] | None = None,
    ) -> dict[str, tuple[float, str]]:  # fmt: skip
        """How far each guarded wire falls short of its fuse, at every current that the fuse lets through; ``worst`` are
        the wires' hottest states where they are at hand."""
        curve = self.guards[variant].curve
        asked = []
        for w in wires:
            if w.id in curve and judgeable(w):
                state = report.worst(w.id) if worst is None else worst.get(w.id)
                air_c, start_c = (AMBIENT_C.value,) * 2 if state is None else (state.ambient_c, state.temp_c)
                asked.append(Guarded(w, curve[w.id], math.inf, air_c, report.share.get(w.id, 1.0), start_c))
        return self.short_of_fuse(asked)

    def short_of_fuse(self, asked: Sequence[Guarded]) -> dict[str, tuple[float, str]]:
        """The same for wires in given surroundings; like questions are answered once."""
        keys = [
            (g.wire.mm2, g.wire.insulation, g.curve.type.key, g.curve.rating_a, g.ambient_c, g.factor,
             math.ceil(2 * g.start_c))
            for g in asked
        ]  # fmt: skip
        new = {key: g for key, g in zip(keys, asked, strict=True) if key not in self._by_fuse}
        for key, limit in zip(new, limits_of(list(new.values()), thorough=False), strict=True):
            self._by_fuse[key] = fuse_breach(limit)
        return {g.wire.id: self._by_fuse[key] for g, key in zip(asked, keys, strict=True)}

    def sized(self, variant: int, sizes: Sizes) -> list[float]:
        """Size of every wire of a variant's routing [mm²] with this choice."""
        of = self.knob_of[variant]
        return [sizes[of[w.id]] if w.id in of else w.mm2 for w in self.routings[variant].wires]

    def heat_cannot_hold(self, breach: Breach, best: Best, high: Sizes) -> bool:
        """This limit of heat or fuse is broken in the whole box up to ``high``, for which ``best`` stands."""
        index = self.place[breach.variant][breach.what]
        wire = self.routings[breach.variant].wires[index]
        heat = best.layout.wires.take(np.array([index]))
        top_c = float(heat.max_temp_c[0]) - HEAT_MARGIN_K.value
        hottest_c = float(best.found.hottest_c[:, index].max(initial=-273.0))
        air_c, share = float(self.bounds[breach.variant].air_c[index]), float(best.share[index])
        if breach.kind == "fuse":
            sized = replace(wire, mm2=self.sized(breach.variant, high)[index])
            curve = self.guards[breach.variant].curve[wire.id]
            asked = Guarded(sized, curve, math.inf, air_c, share, math.floor(2 * hottest_c) / 2)
            return self.short_of_fuse([asked])[wire.id][0] > 1e-9
        if breach.case == "stated":
            amps = np.array([self.stated[breach.variant][wire.id]])
            return float(temperature_c(heat, amps, np.array([air_c]), np.array([share]))[0]) > top_c + 1e-6
        return hottest_c > top_c + 1e-6

    def _stated(
        self, variant: int, routing: Routing, report: ElectricalReport, worst: Mapping[str, WireState]
    ) -> list[Breach]:
        """Heat at the current that the pinout states, where the network shows less; by the heat balance."""
        asked: list[tuple[Wire, float]] = []
        for wire_id, amps in self.stated[variant].items():
            state = worst.get(wire_id)
            wire = routing.wire[wire_id]
            if wire.insulation in insulations() and (state is None or state.heating_a < amps * (1 - 1e-9)):
                asked.append((wire, amps))
        if not asked:
            return []
        states = [worst.get(w.id) for w, _ in asked]
        heat = wire_heat([(w.mm2, w.insulation) for w, _ in asked])
        air_c = np.array([s.ambient_c if s is not None else 85.0 for s in states])
        temp = temperature_c(
            heat, np.array([a for _, a in asked]), air_c, np.array([report.share.get(w.id, 1.0) for w, _ in asked])
        )
        top = heat.max_temp_c - HEAT_MARGIN_K.value
        return [
            Breach("heat", variant, w.id, "stated", float((t - m) / m),
                   f"the pinout's {a:g} A bring it to {t:.0f} °C; {m:g} °C are allowed")
            for (w, a), t, m in zip(asked, temp.tolist(), top.tolist(), strict=True) if t > m + 1e-6
        ]  # fmt: skip


def _hot_ohm(wire: Wire, state: WireState | None) -> float:
    warm = state.temp_c if state is not None else 20.0
    return wire_size(wire.mm2, wire.insulation).r20_ohm_per_m * wire.cut_length_m * resistance_factor(warm)
