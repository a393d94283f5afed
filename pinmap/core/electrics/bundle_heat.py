"""Heat of bundles: all that the loaded wires make leaves through the bundle's surface and its covering.

Inside, a bundle of N wires counts as one round body of even conductivity. Each insulated wire is a cylinder of
k_w = k·(1+f)/(1-f), f the metal's share of its circle (Rayleigh, metal conducting without limit); the wires lie in the
air between them, and the bundle's conductivity is the lower bound of Hashin and Shtrikman for such cylinders,
k_a·(1+b·p)/(1-b·p), b = (k_w-k_a)/(k_w+k_a), p the wires' share of the bundle's circle. Each loaded wire in turn is
taken to lie in the middle, the worst place, with the others' heat spread evenly around it:

    T = T_bundle + (Q-q)/(4πk)·(1 - 2x²·ln(1/x)/(1-x²)) + q·ln(1/x)/(2πk) + q·wall,   x = wire / bundle diameter

One wire alone gives T = T_surface + q·wall. Nothing here is fitted to published bundle factors.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pinmap.core.electrics.heat import Around, Floats, WireHeat, air, alone, given_off_w_per_m, temperature_c
from pinmap.core.facts.constants import AMBIENT_C, EMISSIVITY, STEFAN_BOLTZMANN, ZERO_C_K
from pinmap.core.facts.covering_heat import covering_heat
from pinmap.core.facts.sources import rows

Ints = NDArray[np.int64]

LOOSE = 1.2  # common practice: diameter of a bundle = 1.2 · √(sum of d²)
_AGREED_K = 0.001
_ALLOWED_K = 0.02
_ROUNDS = 80
_HOTTEST_C = 3000.0  # keeps an absurd current finite; far above any melting point
_NO_HEAT_W_PER_M = 1e-6  # 300 such wires together warm a bundle by a few millikelvins
_SHED_W_PER_M2_K = 15.0  # of a bundle's surface, to begin a search with
RUNAWAY = 0.02  # below this a wire's resistance would grow faster with its heat than the heat leaves


def inside_w_per_m_k(wall_w_per_m_k: Floats, metal_share: Floats, wires_share: Floats, ambient_c: Floats) -> Floats:
    """Conductivity across a bundle [W/(m·K)], see above; the air's at the ambient temperature, on the safe side."""
    wire = wall_w_per_m_k * (1 + metal_share) / (1 - metal_share)
    gap, _ = air(ambient_c + ZERO_C_K.value)
    b = (wire - gap) / (wire + gap) * wires_share
    return np.asarray(gap * (1 + b) / (1 - b))


def even_bundle_m(count: Floats, wire_m: Floats) -> Floats:
    """Diameter [m] around equal wires: the best packing known up to 20, the handbook's 1.2·√N beyond."""
    ratios = np.array([1.0, *(float(r["ratio"]) for r in rows("packing_ratios"))])
    whole = np.maximum(count, 1).astype(np.int64)
    packed = ratios[np.minimum(whole, len(ratios) - 1)]
    return np.asarray(wire_m * np.where(whole < len(ratios), packed, LOOSE * np.sqrt(whole)))


def covering_layer(key: str, bundle_m: Floats, ambient_c: Floats) -> tuple[Floats, Floats, float]:
    """What a covering does to bundles of these diameters [m]: outside diameter [m], resistance [K·m/W], emissivity.

    The air gap conducts and radiates, without convection (it is too thin); evaluated at the ambient temperature, on the
    safe side. Raises TableGap.
    """
    c = covering_heat(key)
    if c.key == "none":
        return bundle_m, np.zeros_like(bundle_m), c.emissivity
    left = np.maximum(c.inner_mm / 1000 - bundle_m, 0.0) / 2
    gap = left if c.gap_mm is None else np.full_like(bundle_m, c.gap_mm / 1000)
    inner = bundle_m + 2 * gap
    outer = inner + 2 * c.wall_mm / 1000
    k_air, _ = air(ambient_c + ZERO_C_K.value)
    between = 1 / (2 / EMISSIVITY.value - 1)
    k_gap = k_air + 4 * between * STEFAN_BOLTZMANN.value * (ambient_c + ZERO_C_K.value) ** 3 * gap
    ohm = np.log(inner / bundle_m) / (2 * np.pi * k_gap) + np.log(outer / inner) / (2 * np.pi * c.k_w_per_m_k)
    return outer, np.asarray(ohm), c.emissivity


def to_middle(wire_by_bundle: Floats) -> tuple[Floats, Floats]:
    """Shares of 1/(4πk) by which the others' heat and the wire's own warm the wire in the middle."""
    x = np.minimum(wire_by_bundle, 1 - 1e-12)
    log = np.log(1 / x)
    others = np.where(wire_by_bundle < 0.999, 1 - 2 * x**2 * log / (1 - x**2), 0.0)
    return np.asarray(others), np.asarray(2 * log)


def like_bundle(wires: WireHeat, loaded: Floats, total: Floats, ambient_c: Floats, covering: str = "") -> Around:
    """Each wire among like ones: ``loaded`` of them carry the same current (1 or more; a fraction stands for a partial
    load), ``total`` lie in the bundle. For the single-circuit question; a job uses ``BundleLayout``. Raises TableGap.
    """
    count = np.maximum(np.ceil(np.maximum(total, loaded) - 1e-9), 1.0)
    bundle = even_bundle_m(count, wires.outside_m)
    share = count * wires.outside_m**2 / bundle**2
    k = inside_w_per_m_k(wires.wall_w_per_m_k, (wires.conductor_m / wires.outside_m) ** 2, share, ambient_c)
    others, own = to_middle(wires.outside_m / bundle)
    outer, ohm, emissivity = covering_layer(covering, bundle, ambient_c)
    heat = np.maximum(loaded, 1.0)
    inner = wires.wall_k_m_per_w + ((heat - 1) * others + own) / (4 * np.pi * k) + heat * ohm
    return Around(outer, heat, np.asarray(inner), np.full_like(outer, emissivity))


@dataclass(frozen=True)
class BundleLayout:
    """Which wire lies in which segment, and how heat leaves each.

    By place (a wire in a segment): wire, segment, and the ways [K·m/W] of the others' heat and of its own from the
    middle out. By segment: air [°C], length [m], diameters of bundle and covering [m], conductivity inside
    [W/(m·K)], covering [K·m/W], emissivity.
    """

    wires: WireHeat
    wire: Ints
    segment: Ints
    others_k_m_per_w: Floats
    own_k_m_per_w: Floats
    ambient_c: Floats
    length_m: Floats
    bundle_m: Floats
    outer_m: Floats
    inside_w_per_m_k: Floats
    covering_k_m_per_w: Floats
    emissivity: Floats

    @cached_property
    def by_wire(self) -> tuple[Ints, Ints, Floats]:
        """Places in the order of their wires, where each wire begins there, and each wire's length in places [m]."""
        order = np.argsort(self.wire, kind="stable").astype(np.int64)
        first = np.searchsorted(self.wire[order], np.arange(self.wires.outside_m.size)).astype(np.int64)
        length = np.bincount(self.wire, self.length_m[self.segment], self.wires.outside_m.size)
        return order, first, np.asarray(length, dtype=float)

    @cached_property
    def kind(self) -> Ints:
        """By wire: which of the kinds of wire it is."""
        w = self.wires
        columns = (w.conductor_m, w.outside_m, w.r20_ohm_per_m, w.wall_w_per_m_k, w.max_temp_c, w.alpha_per_k)
        kinds: dict[tuple[float, ...], int] = {}
        rows = zip(*(c.tolist() for c in columns), strict=True)
        return np.array([kinds.setdefault(row, len(kinds)) for row in rows], dtype=np.int64)

    def alike(self, idle: NDArray[np.bool_]) -> tuple[Ints, Ints]:
        """Places of which no two are alike, and by place which of them it is like: idle wires of one kind are alike
        wherever they lie in a segment together. A loom is full of them."""
        resting = idle[self.wire]
        key = self.segment * (int(self.kind.max(initial=0)) + 1) + self.kind[self.wire]
        own = np.arange(key.size)
        first = np.full(int(key.max(initial=-1)) + 1, -1)
        first[key[resting]] = own[resting]
        shown = np.where(resting, first[key], own)
        only = np.flatnonzero(shown == own)
        return only, np.searchsorted(only, shown)


@dataclass(frozen=True)
class BundleTemperatures:
    """Of each case (first axis where currents had one): hottest place of each wire, its mean along its length (for its
    resistance), and each segment's outermost surface and bundle surface [°C]."""

    hottest_c: Floats
    mean_c: Floats
    surface_c: Floats
    bundle_c: Floats
    heat_w_per_m: Floats
    heated: Heated

    @cached_property
    def place_c(self) -> Floats:
        """Of each case, the temperature of each place [°C]."""
        found = np.array([self.of_case(i) for i in range(self.heated.cases)])
        return found.reshape(*self.surface_c.shape[:-1], found.shape[-1])

    def of_case(self, case: int) -> Floats:
        """The temperature of each place in one case [°C]."""
        bundle_c, heat = np.atleast_2d(self.bundle_c, self.heat_w_per_m)
        return self.heated.place_c(case, bundle_c[case], heat[case])


def bundle_layout(
    wires: WireHeat,
    wire: Ints,
    segment: Ints,
    ambient_c: Floats,
    coverings: Sequence[str] = (),
    length_m: Floats | None = None,
    bundle_m: Floats | None = None,
    lone_ambient_c: float = AMBIENT_C.value,
) -> BundleLayout:
    """The layout from pairs (wire, segment) and, by segment, ambient temperature, covering key ("" for none), length.

    A wire in no segment gets one of its own, bare, at lone_ambient_c. Raises TableGap for an unknown covering.
    """
    n, s = wires.outside_m.size, ambient_c.size
    somewhere = np.zeros(n, dtype=bool)
    somewhere[wire] = True
    lone = np.flatnonzero(~somewhere)
    wire = np.concatenate([wire, lone]).astype(np.int64)
    segment = np.concatenate([segment, s + np.arange(lone.size)]).astype(np.int64)
    air_c = np.concatenate([ambient_c, np.full(lone.size, lone_ambient_c)]).astype(float)
    length = np.ones(s) if length_m is None else np.maximum(length_m, 1e-6)
    length = np.concatenate([length, np.ones(lone.size)])
    keys = [*(coverings or [""] * s), *([""] * lone.size)]
    count = s + lone.size

    def total(values: Floats) -> Floats:
        return np.asarray(np.bincount(segment, values, count), dtype=float)

    d = wires.outside_m[wire]
    d2, number = total(d**2), total(np.ones_like(d))
    widest, most = np.zeros(count), np.zeros(count)
    np.maximum.at(widest, segment, d)
    alike = np.abs(d2 - number * widest**2) < 1e-9 * np.maximum(d2, 1e-30)
    two = number == 2
    most[:] = LOOSE * np.sqrt(d2)
    most = np.where(alike, even_bundle_m(number, widest), np.where(two, total(d), np.maximum(most, 1.001 * widest)))
    bundle = np.where(number > 0, most, 1e-3)
    if bundle_m is not None:
        bundle[:s] = np.where(bundle_m > 0, np.maximum(bundle_m, bundle[:s] * 0.8), bundle[:s])
    bundle = np.maximum(bundle, widest)
    area = np.maximum(d2, 1e-12)
    wall = total(wires.wall_w_per_m_k[wire] * d**2) / area
    metal_share = np.minimum(total(wires.conductor_m[wire] ** 2) / area, 0.95)
    used = number > 0
    k = np.ones(count)
    k[used] = inside_w_per_m_k(wall[used], metal_share[used], np.minimum(area / bundle**2, 0.99)[used], air_c[used])
    outer, covering, emissivity = bundle.copy(), np.zeros(count), np.full(count, EMISSIVITY.value)
    for key in set(keys):
        at = np.array([i for i, own in enumerate(keys) if own == key])
        outer[at], covering[at], emissivity[at] = covering_layer(key, bundle[at], air_c[at])
    others, own = to_middle(d / bundle[segment])
    return BundleLayout(
        wires=wires, wire=wire, segment=segment, others_k_m_per_w=others / (4 * np.pi * k[segment]),
        own_k_m_per_w=wires.wall_k_m_per_w[wire] + own / (4 * np.pi * k[segment]), ambient_c=air_c, length_m=length,
        bundle_m=bundle, outer_m=outer, inside_w_per_m_k=k, covering_k_m_per_w=covering, emissivity=emissivity,
    )  # fmt: skip


def bundle_temperatures(layout: BundleLayout, current_a: Floats) -> BundleTemperatures:
    """Steady temperatures of every wire for currents of shape (wires) or (cases, wires).

    With the surface's temperature given, a segment is linear: each wire's heat is a + b·T, its temperature that of the
    bundle's surface plus the others' and its own way, so three sums over its wires give the segment's heat as a line
    over its surface's temperature, and one equation a segment is left (convex, hence one root). A wire without a
    balance below its metal's melting point is given that melting point, and warms its neighbours as it does there.
    """
    wires, n_seg = layout.wires, layout.ambient_c.size
    amps = np.atleast_2d(np.abs(current_a))
    heated = Heated(layout, amps**2 * wires.r20_ohm_per_m)
    every, shape = range(heated.cases), (heated.cases, n_seg)
    air_c = np.broadcast_to(layout.ambient_c, shape)
    surface, bundle, heat = air_c, air_c, np.zeros(shape)
    for _ in range(_ROUNDS if heated.hot.size else 0):
        lines = [line for case in every if (line := heated.line(case)) is not None]
        if len(lines) < heated.cases:
            continue
        start, slope = (np.array(part) for part in zip(*lines, strict=True))
        surface = _surface(layout, start, slope, air_c)
        heat = start + slope * surface
        bundle = surface + heat * layout.covering_k_m_per_w
        melted = [heated.melts(case, bundle[case], heat[case]) for case in every]
        if not any(melted):
            break
    hottest, mean = np.zeros_like(amps), np.zeros_like(amps)
    order, first, along = layout.by_wire
    length = layout.length_m.take(layout.segment.take(order))
    for case in every if order.size else ():
        place_c = heated.place_c(case, bundle[case], heat[case]).take(order)
        hottest[case] = np.maximum.reduceat(place_c, first)
        mean[case] = np.add.reduceat(place_c * length, first) / along
    lead = np.shape(current_a)[:-1]
    hottest, mean, surface, bundle, heat = (
        a.reshape(*lead, a.shape[-1]) for a in (hottest, mean, surface, bundle, heat)
    )
    return BundleTemperatures(hottest, mean, surface, bundle, heat, heated)


class Heated:
    """Places in which a wire makes heat in some case, q = a + b·T; ``w20`` is what each wire makes at 20 °C [W/m],
    shape (cases, wires)."""

    def __init__(self, layout: BundleLayout, w20: Floats) -> None:
        self.layout, self.w20, self.cases = layout, w20, w20.shape[0]
        self.hot = np.flatnonzero((w20.max(axis=0, initial=0.0) > _NO_HEAT_W_PER_M)[layout.wire])
        self.wire, self.segment = layout.wire[self.hot], layout.segment[self.hot]
        self.others = layout.others_k_m_per_w[self.hot]
        self.turn = layout.own_k_m_per_w[self.hot] - self.others
        self._melted: list[NDArray[np.bool_] | None] = [None] * self.cases
        for case in range(self.cases):
            self._melt(case, self._heat(case)[2] < RUNAWAY)

    def _heat(self, case: int) -> tuple[Floats, Floats, Floats]:
        """a and b of each place, and 1 less what its temperature adds to itself for each kelvin."""
        wires, w20, melted = self.layout.wires, self.w20[case], self._melted[case]
        by_wire = w20 * wires.alpha_per_k
        a, b = (w20 - 20 * by_wire).take(self.wire), by_wire.take(self.wire)
        if melted is not None:
            at_top = w20 * (1 + wires.alpha_per_k * (wires.melts_c - 20))
            a, b = np.where(melted, at_top[self.wire], a), np.where(melted, 0.0, b)
        return a, b, 1 - self.turn * b

    def _melt(self, case: int, which: NDArray[np.bool_]) -> bool:
        """From now on these are at their melting point; gives whether any was not before."""
        before = self._melted[case]
        if not which.any() or (before is not None and not np.any(which & ~before)):
            return False
        self._melted[case] = which if before is None else before | which
        return True

    def _sum(self, values: Floats) -> Floats:
        return np.bincount(self.segment, values, self.layout.ambient_c.size).astype(float, copy=False)

    def line(self, case: int) -> tuple[Floats, Floats] | None:
        """Heat of each segment [W/m] as a line over its outermost surface's temperature: (at 0 °C, slope); None where
        segments ran away and their hottest wires were set to melt instead."""
        a, b, room = self._heat(case)
        gain = b / room
        with_surface = self._sum(gain)
        left = 1 - self._sum(gain * self.others) - with_surface * self.layout.covering_k_m_per_w
        away = left < RUNAWAY
        if away.any():
            most = np.zeros(self.layout.ambient_c.size)
            np.maximum.at(most, self.segment, b)
            self._melt(case, away[self.segment] & (b >= most[self.segment] / 2) & (b > 0))
            return None
        return self._sum(a * (1 + gain * self.turn)) / left, with_surface / left

    def place_c(self, case: int, bundle: Floats, heat: Floats) -> Floats:
        """Conductor temperature [°C] of every place, those without heat too, from that of each segment's bundle and its
        heat."""
        found = heat.take(self.layout.segment)
        found *= self.layout.others_k_m_per_w
        found += bundle.take(self.layout.segment)
        found[self.hot] = self._hot_c(case, found[self.hot])
        return found

    def _hot_c(self, case: int, there: Floats) -> Floats:
        """Of the places with heat, from what they would have without their own."""
        (a, _, room), melted = self._heat(case), self._melted[case]
        top_c = self.layout.wires.melts_c[self.wire]
        found = np.minimum((there + self.turn * a) / room, top_c)
        return found if melted is None else np.where(melted, top_c, found)

    def melts(self, case: int, bundle: Floats, heat: Floats) -> bool:
        """Sets places that are at their melting point to it; gives whether there were new ones."""
        found = self._hot_c(case, bundle[self.segment] + heat[self.segment] * self.others)
        return self._melt(case, found >= self.layout.wires.melts_c[self.wire])


def _surface(layout: BundleLayout, start: Floats, slope: Floats, air_c: Floats) -> Floats:
    """Surface temperature [°C] at which each segment sheds the heat that its line says. What it sheds curves upwards
    over the temperature, so Newton's steps come down to the root from above after the first."""
    surface = air_c + np.minimum((start + slope * air_c) / (_SHED_W_PER_M2_K * np.pi * layout.outer_m), _HOTTEST_C)
    for _ in range(_ROUNDS):
        off = given_off_w_per_m(layout.outer_m, surface, air_c, layout.emissivity)
        more = (given_off_w_per_m(layout.outer_m, surface + 0.05, air_c, layout.emissivity) - off) / 0.05
        over = off - start - slope * surface
        nearer = np.maximum(surface - over / np.maximum(more - slope, 1e-3), air_c)
        moved = float(np.max(np.abs(nearer - surface), initial=0.0))
        surface = np.minimum(nearer, 1e5)
        if moved < _AGREED_K:
            break
    return np.asarray(surface)


def allowed_current_a(
    layout: BundleLayout, current_a: Floats, margin_k: float = 0.0, place_c: Floats | None = None
) -> Floats:
    """Current [A] at which each wire alone would reach its insulation's class less a margin while all other wires keep
    their present currents; 0 where their heat alone is too much. ``current_a`` of shape (wires); ``place_c`` are the
    places' temperatures at these currents, where they are at hand."""
    wires = layout.wires
    place_c = bundle_temperatures(layout, current_a).place_c if place_c is None else place_c
    w20 = current_a**2 * wires.r20_ohm_per_m
    q_now = w20.take(layout.wire) + (w20 * wires.alpha_per_k).take(layout.wire) * (place_c - 20)
    heat = np.bincount(layout.segment, q_now, layout.ambient_c.size)
    only, like = layout.alike(current_a == 0)
    at, seg = layout.wire[only], layout.segment[only]
    rest = np.maximum(heat[seg] - q_now[only], 0.0)
    limit = (wires.max_temp_c - margin_k)[at]
    air_c, outer, emissivity = layout.ambient_c[seg], layout.outer_m[seg], layout.emissivity[seg]
    own_way = layout.own_k_m_per_w[only] + layout.covering_k_m_per_w[seg]
    rest_way = layout.others_k_m_per_w[only] + layout.covering_k_m_per_w[seg]
    # Surface temperature at which surface + own·own_way + rest·rest_way is the limit, own being what it sheds less the
    # rest. The left side curves upwards, so Newton's steps come down to the root after the first.
    aim = limit - rest * (rest_way - own_way)
    surface = air_c + np.maximum(aim - air_c, 0.0) / (1 + _SHED_W_PER_M2_K * np.pi * outer * own_way)
    off = np.zeros_like(surface)
    for _ in range(_ROUNDS):
        off = given_off_w_per_m(outer, surface, air_c, emissivity)
        slope = (given_off_w_per_m(outer, surface + 0.05, air_c, emissivity) - off) / 0.05
        nearer = np.maximum(surface - (surface + off * own_way - aim) / (1 + slope * own_way), air_c)
        moved = float(np.max(np.abs(nearer - surface), initial=0.0))
        surface = nearer
        if moved < _ALLOWED_K:
            break
    own = np.where(aim > air_c, np.maximum(given_off_w_per_m(outer, surface, air_c, emissivity) - rest, 0.0), 0.0)
    amps = np.sqrt(own / wires.resistance_ohm_per_m(wires.max_temp_c - margin_k)[at])
    least = np.full(current_a.shape, np.inf)
    np.minimum.at(least, layout.wire, amps[like])
    return least


def free_air_c(wires: WireHeat, current_a: Floats, ambient_c: Floats) -> Floats:
    """Conductor temperature [°C] of each wire alone in free air, to compare a bundle with."""
    return temperature_c(wires, current_a, ambient_c, np.ones_like(ambient_c), alone(wires))
