"""How thick a bundle of wires is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache, lru_cache

from pinmap.core.errors import InputError
from pinmap.core.facts.conductors import wire_size
from pinmap.core.facts.sources import rows
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Snapshot

_PACKED = 10  # up to so many mixed wires are packed one by one
_ESTIMATE = 1.2  # common practice: bundle = 1.2 · sqrt(sum of d²)


@cache
def packing_ratios() -> tuple[float, ...]:
    """Smallest circle around N equal circles by the circle's diameter; index N, from 0 to 20."""
    return (0.0, *(float(r["ratio"]) for r in rows("packing_ratios")))


def bundle_diameter_mm(diameters_mm: Sequence[float]) -> float:
    """Diameter of a round bundle of wires of these outside diameters [mm]; 0 for none.

    Equal wires up to 20: the best packing known. Up to 10 mixed wires: a packing that exists, hence never too small.
    More: the handbook's 1.2 · sqrt(sum d²), but never below what a part of the wires needs. Raises InputError.
    """
    for d in diameters_mm:
        if not (math.isfinite(d) and d > 0):
            raise InputError("wire diameter", d, "give diameters above 0 mm")
    return _bundle(tuple(sorted(diameters_mm, reverse=True)))


@lru_cache(maxsize=4096)
def _bundle(sizes: tuple[float, ...]) -> float:
    ratios = packing_ratios()
    if not sizes:
        return 0.0
    if len(sizes) <= 2:
        return sum(sizes)
    if len(sizes) < len(ratios) and sizes[0] - sizes[-1] < 1e-9:
        return ratios[len(sizes)] * sizes[0]
    # The k thickest wires are at least as thick as k of the k-th; two lie side by side; areas add up.
    floor = max(ratios[k] * sizes[k - 1] for k in range(1, min(len(sizes), len(ratios) - 1) + 1))
    floor = max(floor, sizes[0] + sizes[1], math.sqrt(sum(d * d for d in sizes)))
    if len(sizes) <= _PACKED:
        return max(floor, _packed(sizes))
    return max(floor, _ESTIMATE * math.sqrt(sum(d * d for d in sizes)))


def _packed(sizes: tuple[float, ...]) -> float:
    """Diameter around a packing made by laying each wire, thickest first, into the notch nearest the middle."""
    radii = [d / 2 for d in sizes]
    placed = [(-radii[0], 0.0, radii[0]), (radii[1], 0.0, radii[1])]
    for r in radii[2:]:
        total = sum(p[2] ** 2 for p in placed)
        cx = sum(p[0] * p[2] ** 2 for p in placed) / total
        cy = sum(p[1] * p[2] ** 2 for p in placed) / total
        spots = (spot for i, a in enumerate(placed) for b in placed[:i] for spot in _notches(a, b, r))
        free = [(x, y) for x, y in spots if all(math.hypot(x - px, y - py) >= r + pr - 1e-9 for px, py, pr in placed)]
        x, y = min(free, key=lambda s: math.hypot(s[0] - cx, s[1] - cy))
        placed.append((x, y, r))
    x = y = 0.0
    best = math.inf
    for step in range(200):  # walk the middle towards the farthest wire, ever more slowly
        reach, px, py = max((math.hypot(px - x, py - y) + pr, px, py) for px, py, pr in placed)
        best = min(best, reach)
        away = math.hypot(px - x, py - y)
        if away < 1e-12:
            break
        stride = 0.5 * sizes[0] / (step + 2)
        x, y = x + stride * (px - x) / away, y + stride * (py - y) / away
    return 2 * best


def _notches(a: tuple[float, float, float], b: tuple[float, float, float], r: float) -> list[tuple[float, float]]:
    """The two places at which a wire of radius r touches wires a and b."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    gap = math.hypot(dx, dy)
    ra, rb = a[2] + r, b[2] + r
    if gap > ra + rb or gap < 1e-12:
        return []
    along = (ra * ra - rb * rb + gap * gap) / (2 * gap)
    up = math.sqrt(max(ra * ra - along * along, 0.0))
    x, y = a[0] + along * dx / gap, a[1] + along * dy / gap
    return [(x - up * dy / gap, y + up * dx / gap), (x + up * dy / gap, y - up * dx / gap)]


def segment_diameter_mm(snapshot: Snapshot, routing: Routing, segment: str) -> float:
    """Diameter of the bare bundle in a segment [mm], without covering; 0 where no wire runs."""
    del snapshot
    wires = (routing.wire[i] for i in routing.bundle.get(segment, ()))
    return bundle_diameter_mm([wire_size(w.mm2, w.insulation).od_mm for w in wires])
