"""Free places for labels: near what they name, over nothing else, with a leader where they must stand off."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pinmap.core.loom.plane import crosses
from pinmap.drawings.svg import Box

_RINGS = (0, 10, 22, 36, 54, 76, 102, 134, 172, 218, 274, 342, 424, 524, 646, 794, 974, 1200, 1500)
_TURNS = (0, *(side * turn for turn in range(15, 180, 15) for side in (1, -1)), 180)
_OWN = 10.0  # so near its anchor a leader may touch what the anchor sits on [px]
_Array = NDArray[np.float64]
_CROSSING = 260.0  # a leader across a line costs as much as this distance [px]
_BLOCKED = 5000.0  # one across words is only taken where nothing else is left


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a label stands, and the leader that ties it to its anchor: (x, y) of the anchor and of the label's edge."""

    box: Box
    anchor: tuple[float, float]
    edge: tuple[float, float]
    distance: float


class Canvas:
    """Lines and boxes already taken."""

    def __init__(self) -> None:
        self._lines: list[tuple[float, float, float, float, float]] = []
        self._boxes: list[tuple[float, float, float, float]] = []
        self._leaders: list[tuple[float, float, float, float]] = []

    def line(self, x1: float, y1: float, x2: float, y2: float, width: float) -> None:
        """Takes the place of a line of this width."""
        self._lines.append((x1, y1, x2, y2, width / 2))

    def box(self, box: Box) -> None:
        """Takes the place of a box."""
        self._boxes.append((box.x0, box.y0, box.x1, box.y1))

    def bounds(self) -> Box:
        """What is taken so far."""
        xs = [v for ln in self._lines for v in (ln[0], ln[2])] + [v for b in self._boxes for v in (b[0], b[2])]
        ys = [v for ln in self._lines for v in (ln[1], ln[3])] + [v for b in self._boxes for v in (b[1], b[3])]
        return Box(min(xs, default=0.0), min(ys, default=0.0), max(xs, default=0.0), max(ys, default=0.0))

    def settle(
        self,
        width: float,
        height: float,
        anchors: Iterable[tuple[float, float, float]],
        *,
        first: float,
        gap: float = 5.0,
    ) -> Spot:
        """Finds and takes a free place for a box of this size. ``anchors`` are points with the heading [radians] in
        which the label should stand off, the best first; ``first`` is the least distance from the anchor [px]."""
        lines = np.array(self._lines, dtype=np.float64).reshape(-1, 5)
        boxes = np.array(self._boxes, dtype=np.float64).reshape(-1, 4)
        leaders = np.array(self._leaders, dtype=np.float64).reshape(-1, 4)
        tried = list(anchors)
        best: tuple[float, Spot] | None = None
        for ring in _RINGS:
            spots = [
                (ring + abs(turn) * 0.25 + rank * 4.0, _spot(x, y, h + math.radians(turn), first + ring, width, height))
                for rank, (x, y, h) in enumerate(tried)
                for turn in _TURNS
            ]
            free = _free([spot.box for _, spot in spots], gap, lines, boxes, leaders)
            for cost, spot in sorted((s for s, f in zip(spots, free, strict=True) if f), key=lambda s: s[0]):
                if best is not None and cost >= best[0]:
                    break
                crossed, blocked = _leader(spot, lines, boxes, leaders)
                cost += _CROSSING * crossed + _BLOCKED * blocked
                if best is None or cost < best[0]:
                    best = (cost, spot)
            if best is not None and best[0] <= ring:
                break
        if best is None:  # nowhere near: below everything
            x, y, _ = tried[0]
            low = self.bounds().y1 + gap + 4
            box = Box(x - width / 2, low, x + width / 2, low + height)
            best = (0.0, Spot(box, (x, y), (x, low), low - y))
        spot = best[1]
        self.box(spot.box)
        if spot.distance > first:
            self._leaders.append((*spot.anchor, *spot.edge))
        return spot


def _spot(x: float, y: float, heading: float, distance: float, width: float, height: float) -> Spot:
    """The box whose nearest side is ``distance`` away from (x, y) in the direction ``heading``."""
    dx, dy = math.cos(heading), math.sin(heading)
    reach = distance + min(
        width / 2 / abs(dx) if abs(dx) > 1e-6 else math.inf, height / 2 / abs(dy) if abs(dy) > 1e-6 else math.inf
    )
    cx, cy = x + dx * reach, y + dy * reach
    box = Box(cx - width / 2, cy - height / 2, cx + width / 2, cy + height / 2)
    edge = (min(max(x, box.x0), box.x1), min(max(y, box.y0), box.y1))
    return Spot(box, (x, y), edge, distance)


def _free(candidates: Sequence[Box], gap: float, lines: _Array, boxes: _Array, leaders: _Array) -> NDArray[np.bool_]:
    """Which of these boxes touch no line, box or leader."""
    c = np.array([(b.x0, b.y0, b.x1, b.y1) for b in candidates])[:, None, :]
    x0, y0, x1, y1 = boxes.T
    over = (x0 < c[..., 2] + gap) & (c[..., 0] - gap < x1) & (y0 < c[..., 3] + gap) & (c[..., 1] - gap < y1)
    taken: NDArray[np.bool_] = (
        over.any(axis=1)
        | _meets(c, lines[:, :4], lines[:, 4] + 2.5).any(axis=1)
        | _meets(c, leaders, np.full(len(leaders), 2.0)).any(axis=1)
    )
    return ~taken


def _meets(boxes: _Array, ends: _Array, grow: _Array) -> NDArray[np.bool_]:
    """Whether each box (k by 1 by 4), grown, meets each straight line (n by 4), by separating axes."""
    x1, y1, x2, y2 = ends.T
    hw, hh = (boxes[..., 2] - boxes[..., 0]) / 2 + grow, (boxes[..., 3] - boxes[..., 1]) / 2 + grow
    mx = (x1 + x2) / 2 - (boxes[..., 0] + boxes[..., 2]) / 2
    my = (y1 + y2) / 2 - (boxes[..., 1] + boxes[..., 3]) / 2
    dx, dy = (x2 - x1) / 2, (y2 - y1) / 2
    cross = np.abs(dx * my - dy * mx) <= hw * np.abs(dy) + hh * np.abs(dx)
    found: NDArray[np.bool_] = (np.abs(mx) <= hw + np.abs(dx)) & (np.abs(my) <= hh + np.abs(dy)) & cross
    return found


def _leader(spot: Spot, lines: _Array, boxes: _Array, leaders: _Array) -> tuple[int, bool]:
    """How many lines and leaders this leader crosses, and whether it runs through a box. It starts a little off its
    anchor, which sits on a line or a node of its own."""
    (ax, ay), (bx, by) = spot.anchor, spot.edge
    length = math.hypot(bx - ax, by - ay)
    if length <= _OWN:
        return 0, False
    start = np.array([ax + (bx - ax) * _OWN / length, ay + (by - ay) * _OWN / length])
    end = np.array([bx, by])
    crossed = sum(int(np.count_nonzero(crosses(start, end, group[:, :2], group[:, 2:4]))) for group in (lines, leaders))
    cx, cy = (boxes[:, 0] + boxes[:, 2]) / 2, (boxes[:, 1] + boxes[:, 3]) / 2
    hw, hh = (boxes[:, 2] - boxes[:, 0]) / 2 + 1, (boxes[:, 3] - boxes[:, 1]) / 2 + 1
    (mx, my), (dx, dy) = (start + end) / 2, (end - start) / 2
    cross = np.abs(dx * (my - cy) - dy * (mx - cx))
    inside = (np.abs(mx - cx) <= hw + abs(dx)) & (np.abs(my - cy) <= hh + abs(dy))
    return crossed, bool(np.any(inside & (cross <= hw * abs(dy) + hh * abs(dx))))
