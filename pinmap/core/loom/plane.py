"""Straight lines in the plane: whether they cross, how near they come."""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Point = tuple[float, float]


def crosses(a: Floats, b: Floats, p: Floats, q: Floats) -> NDArray[np.bool_]:
    """Whether the line a-b properly crosses each of the lines p-q, given as arrays of points."""
    (ax, ay), (bx, by), (px, py), (qx, qy) = a, b, p.T, q.T
    from_a = ((bx - ax) * (py - ay) - (by - ay) * (px - ax)) * ((bx - ax) * (qy - ay) - (by - ay) * (qx - ax))
    from_p = ((qx - px) * (ay - py) - (qy - py) * (ax - px)) * ((qx - px) * (by - py) - (qy - py) * (bx - px))
    both: NDArray[np.bool_] = (from_a < 0) & (from_p < 0)
    return both


def crossings(lines: Floats, others: Floats) -> int:
    """How often ``lines`` properly cross ``others``, both as rows of x1, y1, x2, y2."""
    if not len(others):
        return 0
    return sum(int(np.count_nonzero(crosses(ln[:2], ln[2:], others[:, :2], others[:, 2:]))) for ln in lines)


def room(lines: Floats, others: Floats) -> float:
    """Least distance between any of ``lines`` and any of ``others``; 0 where they cross, infinite without others."""
    if not len(others) or not len(lines):
        return math.inf
    return min(_distance(ln[:2], ln[2:], others) for ln in lines)


def _distance(a: Floats, b: Floats, others: Floats) -> float:
    p, q = others[:, :2], others[:, 2:]
    if bool(np.any(crosses(a, b, p, q))):
        return 0.0
    ends = (_to_line(p, a, b), _to_line(q, a, b), _to_lines(a, p, q), _to_lines(b, p, q))
    return float(min(e.min() for e in ends))


def _to_line(points: Floats, a: Floats, b: Floats) -> Floats:
    d = b - a
    square = float(d @ d)
    t = np.clip((points - a) @ d / square, 0, 1) if square else np.zeros(len(points))
    found: Floats = np.hypot(*(points - a - t[:, None] * d).T)
    return found


def _to_lines(point: Floats, p: Floats, q: Floats) -> Floats:
    d = q - p
    square = np.einsum("ij,ij->i", d, d)
    t = np.clip(np.einsum("ij,ij->i", point - p, d) / np.where(square == 0, 1, square), 0, 1)
    found: Floats = np.hypot(*(point - p - t[:, None] * d).T)
    return found


def turn_between(angle: float) -> float:
    """An angle as a turn between 0 and half a turn [radians]."""
    return abs((angle + math.pi) % (2 * math.pi) - math.pi)


def length_of(points: tuple[Point, ...]) -> float:
    """Length of a line through points."""
    return sum(math.dist(p, q) for p, q in itertools.pairwise(points))
