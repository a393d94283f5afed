"""Circles in the smallest circle: where each wire of a bundle lies, and how thick the bundle is.

Every answer is a packing that exists, with its coordinates, so a bundle is never thinner than it can be made. Equal
wires take the best packing known. A mix is laid wire by wire, the thickest first, each into the notch nearest the
middle. Up to 40 are then squeezed: the circle shrinks, wires that overlap push each other off, and the result is
spread until none overlaps. Of more than 150 the 60 thickest are laid so and the others in rings around them, as a
loom is laid by hand (``layup``).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from pinmap.core.errors import InputError
from pinmap.core.facts.sources import rows
from pinmap.core.loom.layup import surround

_SQUEEZED = 40  # wires; more gain little and cost much
_NOTCHED = 150
_CORE = 60  # of more wires so many are laid one by one, the others around them in rings
_WALK = 80  # steps of the middle
_ROUNDS, _PUSHES, _SHRINK = 6, 30, 0.982
_QUARTER = np.array([-1.0, 1.0])  # turns (y, x) into what stands upright on (x, y)
_Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Packing:
    """A round bundle: its diameter [mm] and the middle of each wire [mm] from its own, in the order asked."""

    diameter_mm: float
    at_mm: tuple[tuple[float, float], ...] = ()


@cache
def packing_ratios() -> tuple[float, ...]:
    """Smallest circle known around N equal circles by the circle's diameter; index N, from 0 to 20."""
    return (0.0, *(float(r["ratio"]) for r in rows("packing_ratios")))


@cache
def _equal() -> tuple[_Array, ...]:
    """Places of N equal circles of diameter 1, index N, as N by 2."""
    found: dict[int, list[tuple[float, float]]] = {}
    for r in rows("equal_packings"):
        found.setdefault(int(r["wires"]), []).append((float(r["x"]), float(r["y"])))
    return (np.zeros((0, 2)), *(np.array(found[n]) for n in range(1, max(found) + 1)))


def pack(diameters_mm: Sequence[float]) -> Packing:
    """The packing of wires of these outside diameters [mm]; of no wire, a bundle of 0 mm. Wires of the same diameters
    in another order give the same bundle. Raises InputError."""
    for d in diameters_mm:
        if not (math.isfinite(d) and d > 0):
            raise InputError("wire diameter", d, "give diameters above 0 mm")
    order = sorted(range(len(diameters_mm)), key=lambda i: -diameters_mm[i])
    found = _packed(tuple(float(diameters_mm[i]) for i in order))
    at = [(0.0, 0.0)] * len(order)
    for place, i in zip(found.at_mm, order, strict=True):
        at[i] = place
    return Packing(found.diameter_mm, tuple(at))


def bundle_diameter_mm(diameters_mm: Sequence[float]) -> float:
    """Diameter of ``pack`` [mm]. Raises InputError."""
    return pack(diameters_mm).diameter_mm


@lru_cache(maxsize=4096)
def _packed(sizes: tuple[float, ...]) -> Packing:
    """Packing of sizes in falling order."""
    if len(sizes) < 2:
        return Packing(sum(sizes), ((0.0, 0.0),) * len(sizes))
    if len(sizes) == 2:  # side by side
        return Packing(sum(sizes), ((-sizes[1] / 2, 0.0), (sizes[0] / 2, 0.0)))
    radii = np.array(sizes) / 2
    tried = []
    if len(sizes) < len(_equal()):
        tried.append(_about_middle(_equal()[len(sizes)] * sizes[0], radii))
    if not tried or sizes[0] - sizes[-1] > 1e-6:
        tried.append(_laid(sizes, radii))
    reach, at = min(tried, key=lambda t: t[0])
    return Packing(2 * reach, tuple((float(x), float(y)) for x, y in at))


def _laid(sizes: tuple[float, ...], radii: _Array) -> tuple[float, _Array]:
    """Radius and places of a mix of wires."""
    inner = radii if len(radii) <= _NOTCHED else radii[:_CORE]
    reach, at = _about_middle(_notched(inner), inner)
    if len(sizes) <= _SQUEEZED:
        return _squeezed(at, radii)
    if len(sizes) <= _NOTCHED:
        return reach, at
    places = [(float(x), float(y)) for x, y in at] + [(0.0, 0.0)] * (len(sizes) - _CORE)
    over_mm = surround(sizes, range(_CORE, len(sizes)), 2 * reach, places)[-1].over_mm
    return over_mm / 2, np.array(places)


def _about_middle(at: _Array, radii: _Array) -> tuple[float, _Array]:
    """Radius of the circle around the wires, and the wires seen from its middle: the middle walks towards the farthest
    wire, ever more slowly (Bădoiu and Clarkson 2003, from memory)."""
    middle = at.mean(axis=0)
    best, where = math.inf, middle
    for step in range(_WALK):
        away = np.hypot(*(at - middle).T)
        far = int((away + radii).argmax())
        if away[far] + radii[far] < best:
            best, where = float(away[far] + radii[far]), middle
        if away[far] < 1e-12:
            break
        middle = middle + 0.5 * radii.max() / (step + 2) * (at[far] - middle) / away[far]
    return best, at - where


def _notched(radii: _Array) -> _Array:
    """Each wire, the thickest first, in the free notch between two others that lies nearest the middle of those laid.
    The notches of one thickness are kept from wire to wire."""
    at = np.zeros((len(radii), 2))
    at[0, 0], at[1, 0] = -radii[0], radii[1]
    squares = radii**2
    weight, moment = squares[:2].sum(), squares[:2] @ at[:2]
    pairs = np.array([[0, 1]])
    spots = np.zeros((0, 2))
    for k in range(2, len(radii)):
        r = radii[k]
        if k == 2 or r != radii[k - 1]:
            spots = _free_notches(at[:k], radii[:k], pairs, r)
        middle = moment / weight
        at[k] = spots[int(np.hypot(spots[:, 0] - middle[0], spots[:, 1] - middle[1]).argmin())]
        weight, moment = weight + squares[k], moment + squares[k] * at[k]
        apart = np.hypot(at[:k, 0] - at[k, 0], at[:k, 1] - at[k, 1]) - radii[:k] - r
        near = np.flatnonzero(apart <= 0.35 * r)  # touching, or so near that a wire may rest on both
        fresh = np.array([near, np.full(len(near), k)]).T
        pairs = np.concatenate((pairs, fresh))
        left = np.hypot(spots[:, 0] - at[k, 0], spots[:, 1] - at[k, 1]) >= 2 * r - 1e-9
        spots = np.concatenate((spots[left], _free_notches(at[: k + 1], radii[: k + 1], fresh, r)))
    return at


def _free_notches(at: _Array, radii: _Array, pairs: NDArray[np.int64], r: float) -> _Array:
    """Where a wire of radius r touches both of a pair and overlaps none."""
    a, b = pairs.T
    way = at[b] - at[a]
    gap = np.hypot(way[:, 0], way[:, 1])
    ra, rb = radii[a] + r, radii[b] + r
    along = (ra * ra - rb * rb + gap * gap) / (2 * gap)
    up = np.sqrt(np.maximum(ra * ra - along * along, 0.0))
    foot = at[a] + (along / gap)[:, None] * way
    side = (up / gap)[:, None] * way[:, ::-1] * _QUARTER
    reached = gap <= ra + rb
    spots = np.concatenate(((foot + side)[reached], (foot - side)[reached]))
    apart = np.hypot(spots[:, None, 0] - at[:, 0], spots[:, None, 1] - at[:, 1])
    free: _Array = spots[(apart >= radii + r - 1e-9).all(axis=1)]
    return free


def _squeezed(at: _Array, radii: _Array) -> tuple[float, _Array]:
    reach, at = _about_middle(at, radii)
    best = (reach, at)
    touch = radii[:, None] + radii
    np.fill_diagonal(touch, 0.0)
    x, y = at.T
    for _ in range(_ROUNDS):
        limit = reach * _SHRINK - radii
        for _ in range(_PUSHES):
            apart = _apart(x, y)
            push = np.maximum(touch - apart, 0.0) / (2 * apart)
            total = 1 + push.sum(axis=1)
            x, y = x * total - push @ x, y * total - push @ y
            held = np.minimum(1.0, limit / np.maximum(np.hypot(x, y), 1e-12))
            x, y = x * held, y * held
        spread = float((touch / _apart(x, y)).max())
        found = _about_middle(np.array([x, y]).T * spread, radii)
        best = min(best, found, key=lambda f: f[0])
        reach = min(reach, found[0])
    return best


def _apart(x: _Array, y: _Array) -> _Array:
    """Distances between all, far apart from itself."""
    apart: _Array = np.hypot(x[:, None] - x, y[:, None] - y) + 1e-12
    np.fill_diagonal(apart, 1e9)
    return apart
