"""Lanes for lines that turn in the gap between two columns of a map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Run:
    """A line through one gap, from height y_left at the vertex ``left`` to y_right at ``right``."""

    y_left: float
    y_right: float
    left: str
    right: str

    @property
    def reach(self) -> tuple[float, float]:
        """The heights its vertical part covers, lower first."""
        return min(self.y_left, self.y_right), max(self.y_left, self.y_right)


def assign_lanes(runs: Sequence[Run]) -> list[int]:
    """A lane for each run: -1 for a level
    run, -2 for one that must go slantwise, else numbers from the left. Runs that leave or reach one point may share a
    lane; no two others lie on each other; of two orders the one with fewer crossings is taken."""
    turning = [i for i, run in enumerate(runs) if run.y_left != run.y_right]
    before: dict[int, set[int]] = {i: set() for i in turning}
    for n, i in enumerate(turning):
        for j in turning[n + 1 :]:
            side = _side(runs[i], runs[j])
            if side is None or side < 0:
                before[j].add(i)
            if side is None or side > 0:
                before[i].add(j)
    lanes = [-1] * len(runs)
    waiting = list(turning)
    placed: set[int] = set()
    slanted: set[int] = set()
    while waiting:
        ready = [i for i in waiting if before[i] <= placed | slanted]
        if not ready:
            worst = max(waiting, key=lambda i: (len(before[i] - placed - slanted), i))
            slanted.add(worst)
            lanes[worst] = -2
            waiting.remove(worst)
            continue
        for i in ready:
            lanes[i] = 1 + max((lanes[j] for j in before[i] if j in placed), default=-1)
            waiting.remove(i)
        placed |= set(ready)
    return lanes


def _side(a: Run, b: Run) -> int | None:
    """Where a's lane must be, seen from b's: -1 left of it, 1 right of it, 0 anywhere, None nowhere."""
    if (a.left, a.y_left) == (b.left, b.y_left) or (a.right, a.y_right) == (b.right, b.y_right):
        return 0
    if a.y_right == b.y_left:
        return None if b.y_right == a.y_left else 1
    if b.y_right == a.y_left:
        return -1
    (a_low, a_high), (b_low, b_high) = a.reach, b.reach
    if a_high < b_low or b_high < a_low:
        return 0

    def crosses(left: Run, right: Run) -> int:
        (low, high), (low2, high2) = left.reach, right.reach
        return (low < right.y_left < high) + (low2 < left.y_right < high2)

    return -1 if crosses(a, b) <= crosses(b, a) else 1
