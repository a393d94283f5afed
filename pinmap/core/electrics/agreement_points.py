"""Published points beside what the model makes of them."""

from __future__ import annotations

from dataclasses import dataclass

LARGE_PCT = 15.0  # beyond this a point must say why


@dataclass(frozen=True, slots=True)
class Point:
    """One published number and the model's; ``note`` is the letter of the reason where they are far apart."""

    published: float
    model: float
    note: str = ""

    @property
    def deviation_pct(self) -> float:
        return 100 * (self.model / self.published - 1)

    @property
    def large(self) -> bool:
        return abs(self.deviation_pct) > LARGE_PCT


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """One published table. rows: (label, one point a column; None where the table prints nothing)."""

    key: str
    title: str
    source: str
    method: str
    unit: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, tuple[Point | None, ...]], ...]
    notes: tuple[tuple[str, str], ...] = ()

    @property
    def points(self) -> tuple[Point, ...]:
        return tuple(p for _, row in self.rows for p in row if p is not None)

    @property
    def worst(self) -> Point:
        return max(self.points, key=lambda p: abs(p.deviation_pct))

    @property
    def within(self) -> int:
        """How many points the model meets within the limit."""
        return sum(not p.large for p in self.points)
