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

_LOOSE = 1.2  # common practice: diameter of a bundle = 1.2 · √(sum of d²)
_AGREED_K = 0.001
_ALLOWED_K = 0.02
_ROUNDS = 80
_HOTTEST_C = 3000.0  # keeps an absurd current finite; far above any melting point
_NO_HEAT_W_PER_M = 1e-6  # 300 such wires together warm a bundle by a few millikelvins
_RUNAWAY = 0.02  # below this a wire's resistance would grow faster with its heat than the heat leaves


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
    return np.asarray(wire_m * np.where(whole < len(ratios), packed, _LOOSE * np.sqrt(whole)))


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
    resistance), each place, and each segment's outermost surface and bundle surface [°C]."""

    hottest_c: Floats
    mean_c: Floats
    place_c: Floats
    surface_c: Floats
    bundle_c: Floats


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
    lone = np.setdiff1d(np.arange(n), wire)
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
    most[:] = _LOOSE * np.sqrt(d2)
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
    cases = amps.shape[0]
    w20 = amps**2 * wires.r20_ohm_per_m
    hot = np.flatnonzero((w20.max(axis=0, initial=0.0) > _NO_HEAT_W_PER_M)[layout.wire])
    heated = _Heated(layout, hot, w20[:, layout.wire[hot]])
    air_c = np.broadcast_to(layout.ambient_c, (cases, n_seg))
    surface, heat = air_c, np.zeros((cases, n_seg))
    for _ in range(_ROUNDS if hot.size else 0):
        line = heated.line()
        if line is None:
            continue
        surface = _surface(layout, line, air_c)
        heat = np.asarray(line[0] + line[1] * surface)
        if not heated.melts(surface, heat):
            break
    bundle = surface + heat * layout.covering_k_m_per_w
    place = bundle[:, layout.segment] + layout.others_k_m_per_w * heat[:, layout.segment]
    if hot.size:
        place[:, hot] = heated.place_c(surface, heat)
    order, first, along = layout.by_wire
    sorted_c = place[:, order]
    hottest = np.maximum.reduceat(sorted_c, first, axis=1) if order.size else np.zeros_like(amps)
    length = layout.length_m[layout.segment][order]
    mean = np.add.reduceat(sorted_c * length, first, axis=1) / along if order.size else np.zeros_like(amps)
    shape = np.shape(current_a)[:-1]
    return BundleTemperatures(*(a.reshape(*shape, a.shape[-1]) for a in (hottest, mean, place, surface, bundle)))


class _Heated:
    """Places in which a wire makes heat, q = a + b·T: at 20 °C ``w20`` [W/m], shape (cases, places)."""

    def __init__(self, layout: BundleLayout, hot: Ints, w20: Floats) -> None:
        at = layout.wire[hot]
        self.layout, self.segment, self.w20 = layout, layout.segment[hot], w20
        self.others = layout.others_k_m_per_w[hot]
        self.turn = layout.own_k_m_per_w[hot] - self.others
        self.alpha, self.top_c = layout.wires.alpha_per_k[at], layout.wires.melts_c[at]
        self.b = w20 * self.alpha
        self.a = w20 - 20 * self.b
        self.room = 1 - self.turn * self.b
        self.melted: NDArray[np.bool_] | None = None
        n_seg = layout.ambient_c.size
        self.flat = (np.arange(w20.shape[0])[:, None] * n_seg + self.segment).ravel()
        self._melt(self.room < _RUNAWAY)

    def _melt(self, which: NDArray[np.bool_]) -> bool:
        """From now on these are at their melting point; gives whether any was not before."""
        new = which if self.melted is None else which & ~self.melted
        if not new.any():
            return False
        self.melted = which if self.melted is None else self.melted | which
        at_top = self.w20 * (1 + self.alpha * (self.top_c - 20))
        self.a, self.b = np.where(new, at_top, self.a), np.where(new, 0.0, self.b)
        self.room = np.where(new, 1.0, self.room)
        return True

    def _sum(self, values: Floats) -> Floats:
        shape = (self.w20.shape[0], self.layout.ambient_c.size)
        return np.asarray(np.bincount(self.flat, values.ravel(), shape[0] * shape[1]).reshape(shape), dtype=float)

    def line(self) -> tuple[Floats, Floats] | None:
        """Heat of each segment [W/m] as a line over its outermost surface's temperature: (at 0 °C, slope), shape
        (cases, segments); None where segments ran away and their hottest wires were set to melt instead."""
        gain = self.b / self.room
        with_surface = self._sum(gain)
        left = 1 - self._sum(gain * self.others) - with_surface * self.layout.covering_k_m_per_w
        away = left < _RUNAWAY
        if away.any():
            most = np.zeros(self.flat.max() + 1)
            np.maximum.at(most, self.flat, self.b.ravel())
            greatest = most[self.flat].reshape(self.b.shape)
            self._melt(away[:, self.segment] & (self.b >= greatest / 2) & (self.b > 0))
            return None
        return self._sum(self.a * (1 + gain * self.turn)) / left, with_surface / left

    def place_c(self, surface: Floats, heat: Floats) -> Floats:
        """Conductor temperature [°C] of each place."""
        base = surface + heat * self.layout.covering_k_m_per_w
        there = base[:, self.segment] + self.others * heat[:, self.segment]
        found = np.minimum((there + self.turn * self.a) / self.room, self.top_c)
        return np.asarray(found if self.melted is None else np.where(self.melted, self.top_c, found))

    def melts(self, surface: Floats, heat: Floats) -> bool:
        """Sets places that are at their melting point to it; gives whether there were new ones."""
        return self._melt(self.place_c(surface, heat) >= self.top_c)


def _surface(layout: BundleLayout, line: tuple[Floats, Floats], air_c: Floats) -> Floats:
    """Surface temperature [°C] at which each segment sheds the heat that its line says. What it sheds curves upwards
    over the temperature, so Newton's steps come down to the root from above after the first."""
    start, slope = line
    surface = air_c + np.minimum((start + slope * air_c) / (15 * np.pi * layout.outer_m), _HOTTEST_C)
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
    r_now = wires.r20_ohm_per_m[layout.wire] * (1 + wires.alpha_per_k[layout.wire] * (place_c - 20))
    q_now = current_a[layout.wire] ** 2 * r_now
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
    surface = np.maximum(aim, air_c)
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
