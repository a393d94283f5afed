"""The loom at full size as plain shapes in millimetres, x to the right and y down; every file format is written from
these alone. And the sheets that it is printed on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from pinmap.core.errors import InputError
from pinmap.core.loom.plane import Point

LAYERS = (
    "bundles",
    "runs",
    "hot",
    "nodes",
    "splices",
    "fixings",
    "bridges",
    "leaders",
    "connectors",
    "places",
    "words",
    "title",
)
_ON_EVERY_SHEET = "title"  # and the bar
BAR_MM = 100.0  # length of the bar to be measured on every sheet

MARGIN_MM = 10.0  # around the window of a sheet; printers leave 4 to 6 mm white
FOOT_MM = 16.0  # below the window, for the bar and the sheet's name
OVERLAP_MM = 20.0  # neighbours show so much of each other
LONGEST_MM = 5000.0  # PDF pages end at 200 inches


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points, as wide as drawn [mm]. On the layer "runs" it is the middle of the segment in ``key``."""

    layer: str
    points: tuple[Point, ...]
    width_mm: float
    key: str = ""

    @property
    def corners(self) -> tuple[Point, ...]:
        return self.points


@dataclass(frozen=True, slots=True)
class Ring:
    """A circle, filled or not."""

    layer: str
    at: Point
    radius_mm: float
    solid: bool = False

    @property
    def corners(self) -> tuple[Point, ...]:
        (x, y), r = self.at, self.radius_mm
        return (x - r, y - r), (x + r, y + r)


@dataclass(frozen=True, slots=True)
class Frame:
    """An upright rectangle around words."""

    layer: str
    x0: float
    y0: float
    x1: float
    y1: float
    key: str = ""

    @property
    def corners(self) -> tuple[Point, ...]:
        return (self.x0, self.y0), (self.x1, self.y0), (self.x1, self.y1), (self.x0, self.y1), (self.x0, self.y0)


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text; ``at`` is its left end on the base line, ``wide_mm`` how long it is."""

    layer: str
    at: Point
    text: str
    size_mm: float
    wide_mm: float
    bold: bool = False

    @property
    def corners(self) -> tuple[Point, ...]:
        x, y = self.at
        return (x, y - self.size_mm), (x + self.wide_mm, y + 0.3 * self.size_mm)


Shape = Line | Ring | Frame | Words


@dataclass(frozen=True, slots=True)
class Board:
    """The plan: its size and all its shapes from (0, 0) to there, those below first."""

    title: str
    facts: str
    width_mm: float
    height_mm: float
    shapes: tuple[Shape, ...]

    def part(self, x0: float, y0: float, x1: float, y1: float) -> tuple[Shape, ...]:
        """Shapes that show in a window, whole; without title and bar, which every sheet has of its own."""
        return tuple(s for s in self.shapes if s.layer != _ON_EVERY_SHEET and _meets(s, x0, y0, x1, y1))


def _meets(shape: Shape, x0: float, y0: float, x1: float, y1: float) -> bool:
    grow = shape.width_mm / 2 if isinstance(shape, Line) else 0.0
    if not isinstance(shape, Line):
        xs, ys = [p[0] for p in shape.corners], [p[1] for p in shape.corners]
        return min(xs) <= x1 and max(xs) >= x0 and min(ys) <= y1 and max(ys) >= y0
    return any(_crosses_box(p, q, x0 - grow, y0 - grow, x1 + grow, y1 + grow) for p, q in pairwise(shape.points))


def _crosses_box(p: Point, q: Point, x0: float, y0: float, x1: float, y1: float) -> bool:
    """Whether a straight line has a part in an upright box (Liang and Barsky)."""
    first, last = 0.0, 1.0
    for start, step, low, high in ((p[0], q[0] - p[0], x0, x1), (p[1], q[1] - p[1], y0, y1)):
        if abs(step) < 1e-12:
            if not low <= start <= high:
                return False
            continue
        one, two = sorted(((low - start) / step, (high - start) / step))
        first, last = max(first, one), min(last, two)
    return first <= last


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet as it lies: width and height [mm]."""

    name: str
    width_mm: float
    height_mm: float

    def turned(self) -> Paper:
        return replace(self, width_mm=self.height_mm, height_mm=self.width_mm)


PAPERS = {
    "a4": Paper("A4", 210.0, 297.0),  # ISO 216
    "a3": Paper("A3", 297.0, 420.0),
    "letter": Paper("Letter", 215.9, 279.4),  # ANSI/ASME Y14.1
}
ROLLS_MM = (297.0, 420.0, 610.0, 841.0, 914.0, 1067.0)  # usual plotter rolls: A4, A3, 24 inches, A0, 36 and 42 inches


@dataclass(frozen=True, slots=True)
class Tile:
    """One sheet: its number, column and row from 1, the corner of its window on the board [mm], and the numbers of its
    neighbours, 0 for none."""

    number: int
    column: int
    row: int
    x_mm: float
    y_mm: float
    left: int = 0
    right: int = 0
    above: int = 0
    below: int = 0


@dataclass(frozen=True, slots=True)
class Tiling:
    """The sheets of a plan; the window of each is the part of the sheet that shows the board."""

    paper: Paper
    window_mm: tuple[float, float]
    columns: int
    rows: int
    tiles: tuple[Tile, ...]


def tiled(board: Board, paper: Paper) -> Tiling:
    """The board on sheets of one size, lying or standing, whichever takes fewer; sheets that would show nothing are
    left out. Raises InputError for paper that leaves no room."""
    return min((_on(board, p) for p in (paper.turned(), paper)), key=lambda t: len(t.tiles))


def on_roll(board: Board, roll_mm: float) -> Tiling:
    """The board along a plotter's roll of this width [mm], in one sheet where the width allows it and no longer than a
    PDF page may be. Raises InputError."""
    if not (math.isfinite(roll_mm) and 200 <= roll_mm <= 3000):
        raise InputError("roll width", roll_mm, "give the width of the roll in mm, 200 to 3000")
    long_mm = min(board.width_mm + 2 * MARGIN_MM, LONGEST_MM)
    return _on(board, Paper(f"roll of {roll_mm:g} mm", max(long_mm, 250.0), roll_mm))


def _on(board: Board, paper: Paper) -> Tiling:
    window = (paper.width_mm - 2 * MARGIN_MM, paper.height_mm - 2 * MARGIN_MM - FOOT_MM)
    if min(window) < 2 * OVERLAP_MM or window[0] < BAR_MM:
        raise InputError("paper", f"{paper.width_mm:g} x {paper.height_mm:g} mm", "give paper of at least 130 x 100 mm")
    columns, rows = (
        max(1, math.ceil((size - OVERLAP_MM) / (room - OVERLAP_MM) - 1e-9))
        for size, room in zip((board.width_mm, board.height_mm), window, strict=True)
    )
    step = (window[0] - OVERLAP_MM, window[1] - OVERLAP_MM)
    numbers: dict[tuple[int, int], int] = {}
    for row in range(rows):
        for column in range(columns):
            # What lies only in the overlap is on the neighbour as well.
            x0, y0 = column * step[0] + OVERLAP_MM / 2, row * step[1] + OVERLAP_MM / 2
            own = (
                x0 if column else -math.inf,
                y0 if row else -math.inf,
                x0 + step[0] if column < columns - 1 else math.inf,
                y0 + step[1] if row < rows - 1 else math.inf,
            )
            if board.part(*own):
                numbers[column, row] = len(numbers) + 1
    tiles = tuple(
        Tile(
            number, column + 1, row + 1, column * step[0], row * step[1],
            left=numbers.get((column - 1, row), 0), right=numbers.get((column + 1, row), 0),
            above=numbers.get((column, row - 1), 0), below=numbers.get((column, row + 1), 0),
        )
        for (column, row), number in numbers.items()
    )  # fmt: skip
    return Tiling(paper, window, columns, rows, tiles)


def around(shapes: Sequence[Shape]) -> tuple[float, float, float, float]:
    """The box around shapes: x0, y0, x1, y1."""
    points = [p for s in shapes for p in s.corners] or [(0.0, 0.0)]
    return min(p[0] for p in points), min(p[1] for p in points), max(p[0] for p in points), max(p[1] for p in points)
