"""Rows for the heat of bundles: what the wires of a stretch may make together so that one of them stays cool enough.

With the temperature of a bundle's surface given, the heat of every wire in it follows, and what the surface sheds. What
is shed grows faster with that temperature than what is made, so the bundle settles below a temperature just where there
more would be shed than made. For one wire m at its limit this surface temperature and the heat shed there, H, are
known; so the heat that the wires would make at it may not exceed H: a sum of one number for each wire and size.

H depends on the other sizes through the bundle's diameter alone, of which the sum of the wires' squared diameters is
the measure. It grows with that sum ever more slowly, so a tangent lies above it everywhere and keeps the row linear. In
*safe* rows all else is taken at its best within the box of sizes at hand (least currents, best conductivity inside,
least heat of each wire), so they cut no good choice off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pinmap.core.electrics.bundle_heat import (
    LOOSE,
    RUNAWAY,
    BundleLayout,
    Ints,
    bundle_temperatures,
    covering_layer,
    even_bundle_m,
    inside_w_per_m_k,
    to_middle,
)
from pinmap.core.electrics.heat import Floats, WireHeat, given_off_w_per_m
from pinmap.core.electrics.size_choices import Knob, Row, Sizes
from pinmap.core.electrics.size_currents import Cuts
from pinmap.core.electrics.size_limits import Judge
from pinmap.core.electrics.size_rows import Rows
from pinmap.core.electrics.surroundings import layout_of
from pinmap.core.facts.constants import HEAT_MARGIN_K

_POINTS = 25  # of the sum of squared diameters at which a tangent is checked
_MARGIN = 1e-3  # by which a tangent is lifted, against what lies between these
_HALVINGS = 36  # of the air's to the limit's temperature: far below a microkelvin is left


@dataclass(frozen=True)
class Choices:
    """Every wire of a variant with the sizes it may take in a box: ``of`` is the wire of each pair, ``heat`` its data
    at that size, ``allowed`` whether the box has it; ``first`` is where each wire's pairs begin, one more at the end.
    """

    of: Ints
    heat: WireHeat
    allowed: NDArray[np.bool_]
    first: Ints


class BundleRows:
    """Rows of one variant for a box of sizes. ``now`` says which wire lies where; ``coverings`` stand in the order of
    its stretches; ``amps`` are the least heating currents, of shape (cases, wires), ``cuts`` by case tell which wires
    carry a known current together."""

    def __init__(
        self, now: BundleLayout, coverings: Sequence[str], choices: Choices, amps: Floats, cuts: Sequence[Cuts]
    ) -> None:
        self.now, self.choices, self.amps, self.cuts = now, choices, amps, cuts
        self.coverings = [*coverings, *([""] * (now.ambient_c.size - len(coverings)))]
        size = np.diff(choices.first)[now.wire]
        self.place: Ints = np.repeat(np.arange(now.wire.size), size)
        begin = np.cumsum(size) - size
        self.pair: Ints = np.arange(size.sum()) - np.repeat(begin - choices.first[now.wire], size)
        keep = choices.allowed[self.pair]
        self.place, self.pair = self.place[keep], self.pair[keep]
        self.segment = now.segment[self.place]
        self._geometry()

    def _geometry(self) -> None:
        heat, count = self.choices.heat, self.now.ambient_c.size
        d = heat.outside_m
        low = self._by_place(d**2, np.minimum)
        high = self._by_place(d**2, np.maximum)
        self.low: Floats = np.asarray(np.bincount(self.now.segment, low, count), dtype=float)
        self.high: Floats = np.asarray(np.bincount(self.now.segment, high, count), dtype=float)
        self.number = np.bincount(self.now.segment, minlength=count).astype(float)
        thin, thick = np.full(count, np.inf), np.zeros(count)
        np.minimum.at(thin, self.now.segment, np.sqrt(low))
        np.maximum.at(thick, self.now.segment, np.sqrt(high))
        ratio = np.where(self.number > 0, np.minimum(thin, thick) / np.maximum(thick, 1e-12), 1.0)
        packed = even_bundle_m(self.number, np.ones(count)) / np.sqrt(np.maximum(self.number, 1))
        two = (1 + ratio) / np.sqrt(1 + ratio**2)
        few = [self.number <= 1, self.number == 2]
        # Diameter of the bundle by the root of the sum of squares, at most and at least.
        self.wide = np.select(few, [1.0, np.sqrt(2.0)], np.maximum(packed, LOOSE))
        self.narrow = np.select(few, [1.0, two], np.minimum(packed, LOOSE))
        filled = np.minimum(1 / self.narrow**2, 0.99)
        share = heat.conductor_m**2 / heat.outside_m**2
        wall, thin_wall = self._extremes(heat.wall_w_per_m_k)
        _, least_metal = self._extremes(share)
        metal = np.minimum(self._metal_share(), 0.95)
        used = self.number > 0
        self.inside, least = np.ones(count), np.ones(count)
        air_c = self.now.ambient_c[used]
        self.inside[used] = inside_w_per_m_k(wall[used], metal[used], filled[used], air_c)
        least[used] = inside_w_per_m_k(
            thin_wall[used], np.minimum(least_metal[used], 0.95), np.minimum(1 / self.wide**2, 0.99)[used], air_c
        )
        self.worse = self.inside / least  # by how much a bundle may conduct worse than its best

    def _extremes(self, values: Floats) -> tuple[Floats, Floats]:
        most, least = np.zeros(self.now.ambient_c.size), np.full(self.now.ambient_c.size, np.inf)
        np.maximum.at(most, self.segment, values[self.pair])
        np.minimum.at(least, self.segment, values[self.pair])
        return most, least

    def as_at(self, layout: BundleLayout) -> None:
        """Takes the bundles as they are at one choice, for rows that are near and not safe."""
        square = layout.wires.outside_m[layout.wire] ** 2
        area: Floats = np.asarray(np.bincount(layout.segment, square, layout.ambient_c.size), dtype=float)
        self.inside, self.worse = layout.inside_w_per_m_k, np.ones_like(self.inside)
        self.wide = self.narrow = np.where(area > 0, layout.bundle_m / np.sqrt(np.maximum(area, 1e-12)), 1.0)
        self.low, self.high = 0.5 * area, 2 * area

    def _by_place(self, values: Floats, best: np.ufunc) -> Floats:
        out = np.full(self.now.wire.size, np.inf if best is np.minimum else -np.inf)
        best.at(out, self.place, values[self.pair])
        return out

    def _metal_share(self) -> Floats:
        """The greatest share of metal that any choice gives each stretch (Dinkelbach: the best ratio of two sums)."""
        heat = self.choices.heat
        metal, area = heat.conductor_m[self.pair] ** 2, heat.outside_m[self.pair] ** 2
        count = self.now.ambient_c.size
        share = np.zeros(count)
        for _ in range(12):
            gain = metal - share[self.segment] * area
            most = np.full(self.now.wire.size, -np.inf)
            np.maximum.at(most, self.place, gain)
            chosen = gain >= most[self.place]
            # of equals any will do: the ratio is the same to first order, and the next round corrects it
            above = np.bincount(self.segment[chosen], metal[chosen], count)
            below = np.bincount(self.segment[chosen], area[chosen], count)
            better = np.divide(above, below, out=np.zeros(count), where=below > 0)
            if np.all(better <= share + 1e-9):
                break
            share = np.maximum(share, better)
        return share

    @cached_property
    def _wires_in(self) -> list[frozenset[int]]:
        out: list[set[int]] = [set() for _ in range(self.now.ambient_c.size)]
        for wire, seg in zip(self.now.wire.tolist(), self.now.segment.tolist(), strict=True):
            out[seg].add(wire)
        return [frozenset(each) for each in out]

    def together(self, case: int, segment: int) -> list[tuple[frozenset[int], float]]:
        """Sets of wires of a stretch that carry at least so much together [A], each wire in one set at most."""
        if not self.cuts:
            return []
        return self.cuts[case].together(self._wires_in[segment] & self.cuts[case].looped)

    def guess_a(self, chosen: Ints) -> Floats:
        """Heating currents [A] of shape (cases, wires) for these pairs, one a wire: the least, and of wires in loops
        their share of what a stretch carries, by conductance."""
        out = self.amps.copy()
        mho = 1 / self.choices.heat.r20_ohm_per_m[chosen]
        for case in range(len(self.cuts)):
            for segment in range(self.now.ambient_c.size):
                for wires, amps in self.together(case, segment):
                    at = sorted(wires)
                    out[case, at] = np.maximum(out[case, at], amps * mho[at] / mho[at].sum())
        return out

    def row(self, place: int, case: int, top_c: float, chosen: Ints) -> tuple[Ints, Floats, float] | None:
        """The row for one place in one case, whose wire may reach ``top_c``, tangent at these pairs, one a wire: pairs,
        their costs, and the most of the sum [W/m]. None where no size of the wire itself stays below."""
        seg = int(self.now.segment[place])
        heat, air_c = self.choices.heat, float(self.now.ambient_c[seg])
        own = self.pair[self.place == place]
        area = float((heat.outside_m[chosen[sorted(self._wires_in[seg])]] ** 2).sum())
        z = np.unique(np.concatenate([np.linspace(self.low[seg], self.high[seg], _POINTS), [area]]))
        bundle, narrow = np.sqrt(z) * self.wide[seg], np.sqrt(z) * self.narrow[seg]
        air = np.full(z.size, air_c)
        outer, covering, emissivity = covering_layer(self.coverings[seg], bundle, air)
        way = 1 / (4 * np.pi * self.inside[seg])

        def shares(pairs: Ints, around_m: Floats) -> tuple[Floats, Floats]:
            """Shares of ``way`` that the others' heat has, and by which that of the wire's own is longer, by pair and
            diameter of the bundle."""
            others, mine = to_middle(np.minimum(heat.outside_m[pairs][:, None] / around_m[None, :], 1.0))
            others = np.maximum(others, 0.0)
            return others, np.maximum(mine - others, 0.0)

        square = self.amps[case, self.now.wire[place]] ** 2
        w20 = square * heat.r20_ohm_per_m[own]
        hot_w = w20 * (1 + heat.alpha_per_k[own] * (top_c - 20))
        wall_k = heat.wall_k_m_per_w
        others, longer = shares(own, narrow)
        # left for the surface and for all heat on its way through bundle and covering
        room = top_c - (wall_k[own][:, None] + longer * way) * hot_w[:, None]
        low, high = np.full(room.shape, air_c), np.maximum(room, air_c)
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            off = given_off_w_per_m(outer, middle, air, emissivity)
            too_hot = middle + off * (covering + others * way) > room
            low, high = np.where(too_hot, low, middle), np.where(too_hot, middle, high)
        shed = np.where(room > air_c, given_off_w_per_m(outer, high, air, emissivity), 0.0)
        fits = room.max(axis=1) > air_c
        if not fits.any():
            return None
        # The others lie in what is at least this warm, over the sizes that this wire may have and over all diameters.
        every = self.pair[self.segment == seg]
        here = self.pair[(self.segment == seg) & (self.place != place)]
        at = self.place[(self.segment == seg) & (self.place != place)]
        beside_amps = self.amps[case, self.now.wire[at]] ** 2
        loaded = beside_amps > 0
        here, beside_amps = here[loaded], beside_amps[loaded]
        at_most, longest = shares(own[fits], bundle)
        worse = way * self.worse[seg]
        own_k = (wall_k[own[fits]][:, None] + longest * worse) * hot_w[fits][:, None]

        def around_c(there: Floats) -> Floats:
            less = np.maximum(at_most[:, None, :] - there[None], 0.0) * worse * shed[fits][:, None, :]
            return np.asarray(np.maximum((top_c - own_k[:, None, :] - less).min(axis=(0, 2), initial=top_c), air_c))

        there, turn = shares(here, narrow)
        around = around_c(there)
        w = beside_amps * heat.r20_ohm_per_m[here]
        b = w * heat.alpha_per_k[here]
        least_turn = wall_k[here] + turn.min(axis=1, initial=np.inf) * way
        left = 1 - least_turn * b
        warm = (around + least_turn * (w - 20 * b)) / np.maximum(left, RUNAWAY)
        warm = np.where(left < RUNAWAY, heat.melts_c[here], np.minimum(warm, heat.melts_c[here]))
        q = w * (1 + heat.alpha_per_k[here] * (np.maximum(warm, around) - 20))
        terms, most = [(here, q)], 0.0
        for wires, amps in self.together(case, seg):
            among = every[np.isin(self.choices.of[every], sorted(wires))]
            ohm = heat.r20_ohm_per_m[among]
            ohm = ohm * (1 + heat.alpha_per_k[among] * (around_c(shares(among, narrow)[0]) - 20))
            # A current I through conductances of sum G makes at least I²/G, which lies above its tangents.
            sum_g = float((1 / ohm)[np.isin(among, chosen)].sum())
            terms.append((among, -(amps**2) / sum_g**2 / ohm))
            most -= 2 * amps**2 / sum_g
        best = shed[fits].max(axis=0)
        step = (self.high[seg] - self.low[seg]) / (_POINTS - 1)
        before, after = max(area - step, z[0]), min(area + step, z[-1])
        slope = 0.0
        if after > before:
            slope = max(float(np.interp(after, z, best) - np.interp(before, z, best)) / (after - before), 0.0)
        line = np.interp(area, z, best) + slope * (z - area)
        line = line + max(float((best - line).max()), 0.0) + _MARGIN * float(best.max())
        mine = np.where(
            fits, hot_w + np.maximum((line[None, :] - shed).min(axis=1) - _MARGIN * float(best.max()), 0.0), 1e3
        )
        terms += [(own, mine), (every, -slope * heat.outside_m[every] ** 2)]
        pairs, cost = (np.concatenate(each) for each in zip(*terms, strict=True))
        return pairs, cost, float(line[0] - slope * z[0]) + most


class BundleCuts:
    """Rows for the heat of bundles, made where a choice asks for them. ``rows`` say what currents flow; sizes lie
    between ``first`` and ``cap``, by place among a knob's."""

    def __init__(
        self, judge: Judge, knobs: Sequence[Knob], rows: Rows, first: Sequence[int], cap: Sequence[int]
    ) -> None:
        self.judge, self.knobs, self.pairs, self.judged = judge, knobs, rows.pairs, rows.judged
        self.places = [judge.places(v) for v in range(len(judge.variants))]
        self.made: list[BundleRows] = []
        self.open: list[frozenset[int]] = []  # by variant: stretches with a wire of which the size is to be chosen
        for v, pairs in enumerate(rows.pairs):
            of = judge.knob_of[v]
            allowed = np.ones(pairs.of.size, dtype=bool)
            for i, w in enumerate(pairs.wires):
                knob = of.get(w.id)
                if knob is not None:
                    at = np.arange(pairs.at[i].stop - pairs.at[i].start)
                    allowed[pairs.at[i]] = (at >= first[knob]) & (at <= cap[knob])
            begin = np.array([*(s.start for s in pairs.at), pairs.of.size])
            now = layout_of(judge.snapshot, judge.routings[v], self.places[v])
            choices = Choices(pairs.of, pairs.heat, allowed, begin)
            several = np.add.reduceat(allowed, begin[:-1]) > 1 if pairs.of.size else np.zeros(0, dtype=bool)
            self.open.append(frozenset(now.segment[several[now.wire]].tolist()))
            self.made.append(BundleRows(now, self.places[v].coverings, choices, rows.heating_a[v], rows.cuts[v]))

    def broken(self, sizes: Sizes) -> list[Row]:
        """Rows that these sizes break: for the hottest place of each stretch in each case, as the least currents warm
        it."""
        out = []
        for v, made in enumerate(self.made):
            chosen, layout = self._chosen(v, sizes)
            over = self._over_k(v, layout, made.guess_a(chosen))
            for case, each in enumerate(over):
                for place in self._hottest(v, case, each, 0.0):
                    row = self._row(v, case, place, chosen)
                    if row is not None and self._is_broken(row, sizes):
                        out.append(row)
        return out

    def near(self, sizes: Sizes, within_k: float) -> list[Row]:
        """Rows about one choice, with bundles and currents as they are there, for places that are ``within_k`` of their
        limit."""
        out = []
        for v, made in enumerate(self.made):
            chosen, layout = self._chosen(v, sizes)
            made.as_at(layout)
            for case, each in enumerate(self._over_k(v, layout, made.amps)):
                for place in self._hottest(v, case, each, -within_k):
                    row = self._row(v, case, place, chosen)
                    if row is not None:
                        out.append(row)
        return out

    def _chosen(self, v: int, sizes: Sizes) -> tuple[Ints, BundleLayout]:
        of, pairs, routing = self.judge.knob_of[v], self.pairs[v], self.judge.routing(v, sizes)
        knob = [of.get(w.id) for w in routing.wires]
        step = [0 if i is None else self.knobs[i].sizes.index(sizes[i]) for i in knob]
        chosen = np.array([s.start + j for s, j in zip(pairs.at, step, strict=True)], dtype=np.int64)
        return chosen, layout_of(self.judge.snapshot, routing, self.places[v])

    def _over_k(self, v: int, layout: BundleLayout, amps: Floats) -> Floats:
        """By case and place, how far it is above its limit."""
        top_c = np.where(self.judged[v], layout.wires.max_temp_c - HEAT_MARGIN_K.value, np.inf)
        return np.asarray(bundle_temperatures(layout, amps).place_c - top_c[layout.wire])

    def _hottest(self, v: int, case: int, over: Floats, least_k: float) -> list[int]:
        """By stretch the place that is furthest beyond its limit and, where that lies in a loop, so that nothing is
        known of its own heat, the one of which something is known."""
        made = self.made[v]
        hot = np.flatnonzero(over > least_k + 1e-6)
        worst: dict[tuple[int, bool], int] = {}
        for place in hot[np.argsort(-over[hot], kind="stable")].tolist():
            if int(made.now.segment[place]) not in self.open[v]:
                continue
            looped = bool(made.cuts) and int(made.now.wire[place]) in made.cuts[case].looped
            worst.setdefault((int(made.now.segment[place]), looped), place)
        return list(worst.values())

    def _row(self, v: int, case: int, place: int, chosen: Ints) -> Row | None:
        made, pairs, of = self.made[v], self.pairs[v], self.judge.knob_of[v]
        top_c = float(made.choices.heat.max_temp_c[chosen[made.now.wire[place]]]) - HEAT_MARGIN_K.value
        found = made.row(place, case, top_c, chosen)
        if found is None:
            return None
        pair, values, most = found
        cost: dict[int, list[float]] = {}
        for p, value in zip(pair.tolist(), values.tolist(), strict=True):
            wire = int(pairs.of[p])
            i = of.get(pairs.wires[wire].id)
            if i is None:
                most -= value
            else:
                cost.setdefault(i, [0.0] * len(self.knobs[i].sizes))[p - pairs.at[wire].start] += value
        what = f"heat of stretch {int(made.now.segment[place])} in case {case} of variant {v}"
        return Row(what, {i: tuple(c) for i, c in cost.items()}, most)

    def _is_broken(self, row: Row, sizes: Sizes) -> bool:
        total = sum(c[self.knobs[i].sizes.index(sizes[i])] for i, c in row.cost.items())
        return total > row.most + 1e-6 * max(abs(row.most), 1.0)
