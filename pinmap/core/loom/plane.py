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
    return float(rooms(lines, others).min(initial=math.inf))


def rooms(lines: Floats, others: Floats) -> Floats:
    """``room`` of each line by itself."""
    found = np.full(len(lines), math.inf)
    if not len(others):
        return found
    rows = max(_AT_ONCE // len(others), 1)
    for first in range(0, len(lines), rows):
        found[first : first + rows] = _distances(lines[first : first + rows], others)
    return found


_AT_ONCE = 100_000  # pairs of lines: arrays that stay in the processor's cache


def _distances(lines: Floats, others: Floats) -> Floats:
    a, b, p, q = lines[:, None, :2], lines[:, None, 2:], others[None, :, :2], others[None, :, 2:]
    d, e = b - a, q - p

    def side(step: Floats, start: Floats, point: Floats) -> Floats:
        away = point - start
        found: Floats = step[..., 0] * away[..., 1] - step[..., 1] * away[..., 0]
        return found

    crossed = (side(d, a, p) * side(d, a, q) < 0) & (side(e, p, a) * side(e, p, b) < 0)
    near = np.minimum(
        np.minimum(_to_line(p, a, d), _to_line(q, a, d)), np.minimum(_to_line(a, p, e), _to_line(b, p, e))
    )
    found: Floats = np.where(crossed, 0.0, near).min(axis=1)
    return found


def _to_line(points: Floats, start: Floats, step: Floats) -> Floats:
    """From points to the lines that go a step from their start."""
    away = points - start
    square = (step**2).sum(axis=-1)
    t = np.clip((away * step).sum(axis=-1) / np.where(square == 0, 1, square), 0, 1)
    found: Floats = np.hypot(away[..., 0] - t * step[..., 0], away[..., 1] - t * step[..., 1])
    return found


def turn_between(angle: float) -> float:
    """An angle as a turn between 0 and half a turn [radians]."""
    return abs((angle + math.pi) % (2 * math.pi) - math.pi)


def length_of(points: tuple[Point, ...]) -> float:
    """Length of a line through points."""
    return sum(math.dist(p, q) for p, q in itertools.pairwise(points))
