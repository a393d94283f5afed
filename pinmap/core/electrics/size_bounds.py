"""Heat that no choice of sizes within a box can stay below; what makes a size's exclusion a proof.

A thicker neighbour makes less heat but a wider bundle, in which a wire's own heat has a longer way out, so the true
temperature need not fall with every larger size. The bounds take each part at its best within the box: heat from the
largest sizes, the way inside from the narrowest bundle and the best conductivity, the surface of the widest bundle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinmap.core.electrics.bundle_heat import (
    LOOSE,
    BundleLayout,
    BundleTemperatures,
    Ints,
    allowed_current_a,
    bundle_temperatures,
    covering_layer,
    even_bundle_m,
    inside_w_per_m_k,
    to_middle,
)
from pinmap.core.electrics.heat import Floats, WireHeat, wire_heat
from pinmap.core.electrics.surroundings import HeatPlaces, free_a, hottest_air_c, layout_of
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Snapshot

_LOOSE_SHARE = 1 / LOOSE**2  # of a mixed bundle's circle that wires fill


@dataclass(frozen=True)
class Best:
    """The best of a box for one variant: temperatures of every wire at its largest size in each case, and the most that
    each may carry as a share of a free wire, over the cases."""

    layout: BundleLayout
    found: BundleTemperatures
    share: Floats
    narrow_m: Floats  # narrowest bundle of each segment


class HeatBounds:
    """Of one variant. ``least_a`` are the least heating currents of any good choice, shape (cases, wires)."""

    def __init__(self, snapshot: Snapshot, routing: Routing, low: Sequence[float], least_a: Floats) -> None:
        """``low`` is the smallest size of each wire [mm²]."""
        self.snapshot, self.wires, self.least_a = snapshot, routing.wires, least_a
        self.places = HeatPlaces.of(snapshot, routing)
        self.now = layout_of(snapshot, routing, self.places)
        self.low = wire_heat([(mm2, w.insulation) for mm2, w in zip(low, routing.wires, strict=True)])
        self.air_c = hottest_air_c(self.now)

    def best(self, high: Sequence[float]) -> Best:
        """With sizes from the smallest up to ``high`` [mm²], one a wire."""
        return self._judged(
            *self._layout(wire_heat([(mm2, w.insulation) for mm2, w in zip(high, self.wires, strict=True)]))
        )

    def exact(self, routing: Routing) -> Best:
        """With the bundles of just these sizes, whatever the currents do."""
        layout = layout_of(self.snapshot, routing, self.places)
        return self._judged(layout, layout.bundle_m)

    def _judged(self, layout: BundleLayout, narrow_m: Floats) -> Best:
        found = bundle_temperatures(layout, self.least_a)
        free = free_a(layout.wires, self.air_c)
        allowed = np.array([allowed_current_a(layout, row) for row in self.least_a]).reshape(self.least_a.shape)
        share = np.divide(allowed, free, out=np.ones_like(allowed), where=free > 0).max(axis=0, initial=0.0)
        return Best(layout, found, np.clip(share, 0.05, 1.0), narrow_m)

    def _layout(self, high: WireHeat) -> tuple[BundleLayout, Floats]:
        """The layout at its best, and the narrowest bundle of each segment [m]."""
        now, at, seg = self.now, self.now.wire, self.now.segment
        count = now.ambient_c.size

        def total(values: Floats) -> Floats:
            return np.asarray(np.bincount(seg, values, count), dtype=float)

        thick, thin = high.outside_m[at], self.low.outside_m[at]
        number = total(np.ones_like(thick))
        used = number > 0
        packed = even_bundle_m(number, np.ones(count))  # by diameter of a wire, equal wires
        tight = np.minimum(packed / (LOOSE * np.sqrt(np.maximum(number, 1))), 1.0)
        wide = np.maximum(packed / (LOOSE * np.sqrt(np.maximum(number, 1))), 1.0)
        narrow_m = np.where(number <= 2, total(thin), tight * LOOSE * np.sqrt(total(thin**2)))
        wide_m = np.where(number <= 2, total(thick), wide * LOOSE * np.sqrt(total(thick**2)))
        narrow_m, wide_m = np.where(used, narrow_m, 1e-3), np.where(used, wide_m, 1e-3)
        widest, wall, metal = np.zeros(count), np.zeros(count), np.zeros(count)
        np.maximum.at(widest, seg, thin)
        narrow_m = np.maximum(narrow_m, widest)
        for heat in (high, self.low):
            np.maximum.at(wall, seg, heat.wall_w_per_m_k[at])
            np.maximum.at(metal, seg, (heat.conductor_m / heat.outside_m)[at] ** 2)
        least, most = np.full(count, np.inf), np.zeros(count)
        np.minimum.at(least, seg, thin)
        np.maximum.at(most, seg, thick)
        ratio = np.where(used, least / np.maximum(most, 1e-12), 1.0)
        filled = np.where(number <= 2, (1 + ratio**2) / (1 + ratio) ** 2, np.maximum(number / packed**2, _LOOSE_SHARE))
        filled = np.where(number <= 1, 0.99, np.minimum(filled, 0.99))
        inside = np.ones(count)
        inside[used] = inside_w_per_m_k(wall[used], np.minimum(metal, 0.95)[used], filled[used], now.ambient_c[used])
        outer, covering, emissivity = wide_m.copy(), np.zeros(count), now.emissivity
        keys = [*self.places.coverings, *([""] * (count - len(self.places.coverings)))]
        for key in set(keys):
            which = np.array([i for i, own in enumerate(keys) if own == key])
            outer[which], covering[which], _ = covering_layer(key, wide_m[which], now.ambient_c[which])
        others, own = to_middle(np.minimum(thick / narrow_m[seg], 1.0))
        wall_way = np.minimum(high.wall_k_m_per_w, self.low.wall_k_m_per_w)[at]
        layout = replace(
            now, wires=high, others_k_m_per_w=np.maximum(others, 0.0) / (4 * np.pi * inside[seg]),
            own_k_m_per_w=wall_way + own / (4 * np.pi * inside[seg]), bundle_m=wide_m, outer_m=outer,
            inside_w_per_m_k=inside, covering_k_m_per_w=covering, emissivity=emissivity,
        )  # fmt: skip
        return layout, narrow_m


def no_cooler_c(
    best: Best, of: Sequence[int], heat: WireHeat, case: int, amps: Floats
) -> tuple[Floats, Floats]:  # fmt: skip
    """Least temperature at the hottest place and in the mean [°C] of wires (by index ``of``) with other sizes than the
    box's largest, given as ``heat``: the surroundings are no cooler than beside the largest, and its own heat has the
    way out that a wire of its size has in the narrowest bundle."""
    layout, index = best.layout, np.asarray(of, dtype=np.intp)
    order, first, _ = layout.by_wire
    place = _hottest_places(best.found.place_c[case], order, first)[index]
    large, most, mean = layout.wires.take(index), best.found.place_c[case][place], best.found.mean_c[case][index]
    square = amps[index] ** 2
    q_large = square * large.resistance_ohm_per_m(most)
    base = most - layout.own_k_m_per_w[place] * q_large
    seg = layout.segment[place]
    _, own = to_middle(np.minimum(heat.outside_m / best.narrow_m[seg], 1.0))
    way = np.minimum(heat.wall_k_m_per_w, large.wall_k_m_per_w) + own / (4 * np.pi * layout.inside_w_per_m_k[seg])
    w20 = square * heat.r20_ohm_per_m
    room = 1 - way * w20 * heat.alpha_per_k
    alone = np.where(
        room > 0.02, (base + way * w20 * (1 - 20 * heat.alpha_per_k)) / np.maximum(room, 0.02), heat.melts_c
    )
    hottest = np.minimum(np.maximum(alone, most), heat.melts_c)
    warmer = np.maximum(w20 - square * large.r20_ohm_per_m, 0.0) * np.minimum(heat.wall_k_m_per_w, large.wall_k_m_per_w)
    return np.asarray(hottest), np.asarray(mean + warmer * (1 + large.alpha_per_k * (mean - 20)))


def _hottest_places(place_c: Floats, order: Ints, first: Ints) -> Ints:
    """Index of the hottest place of each wire."""
    if not order.size:
        return order
    by_wire = np.repeat(np.arange(first.size), np.diff([*first.tolist(), order.size]))
    ranked = np.lexsort((place_c[order], by_wire))
    last = np.append(first[1:], order.size) - 1
    return np.asarray(order[ranked[last]])
