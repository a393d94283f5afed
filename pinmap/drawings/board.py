"""The board plan: the loom at full size, 1:1, to be laid on a bench or pinned to a board.

The middle of each run is a thin line of its true length inside its bundle as thick as it is; plates stand at the
connectors, a bar to be measured at the foot.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

from pinmap.core.loom.board import BAR_MM, Board, Frame, Line, Ring, Shape, Tiling, Words
from pinmap.core.loom.layout import crossings_of, flat_layout
from pinmap.core.loom.plane import Point
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Fixing
from pinmap.core.model.words import FixingKind, NodeKind
from pinmap.drawings.labels import Spot
from pinmap.drawings.plan_scene import LEADER, Label, PlanWords, Scene, crossing_words, loom_name, present
from pinmap.drawings.svg import INK, PALE, PAPER, SOFT, Box, Sheet, clean, clip, text_width

MM = 0.25  # of a pixel of the scene: words of 12 px stand 3 mm high
_EDGE_MM = 15.0
_HEAD_MM = 22.0
_THINNEST_MM = 0.5  # an empty run is drawn so wide
_MIDDLE_MM = 0.35
_FINE_MM = 0.18
_FIXED_MM = 2.5  # half the stroke at either end of a fixing


def board_plan(snapshot: Snapshot, variant: Variant, routing: Routing, *, loom: str = "", title: str = "") -> Board:
    """The plan of one loom ("" for all) at full size in one variant. Raises InputError for an unknown loom."""
    nodes, segments = present(snapshot, variant, loom)
    words = PlanWords(
        snapshot, variant, routing, nodes, segments, scale=1000 / MM, width=lambda mm: max(mm, _THINNEST_MM) / MM,
        compact=False, covering=True,
    )  # fmt: skip
    shapes: list[Shape] = []
    right, y = 200.0, _EDGE_MM + _HEAD_MM
    pieces = flat_layout(nodes, segments)
    for piece in pieces:
        scene = words.scene(piece)
        box = scene.canvas.bounds()
        painter = _Painter(words, scene, (_EDGE_MM - box.x0 * MM, y - box.y0 * MM))
        shapes += painter.shapes()
        y += (box.y1 - box.y0) * MM + _EDGE_MM
        right = max(right, (box.x1 - box.x0) * MM + 2 * _EDGE_MM)
    name = title or loom_name(snapshot, loom)
    total = sum(s.length_m for s in segments)
    facts = f"1:1, lengths in mm. {words.wires} wires, {total:.2f} m of runs. {snapshot.variant_label(variant)}."
    facts += crossing_words(pieces)
    shapes += [
        _said(_EDGE_MM, _EDGE_MM + 6, name, 7.0, True, right),
        _said(_EDGE_MM, _EDGE_MM + 12, facts, 3.0, False, right),
    ]
    shapes += _bar(_EDGE_MM, y + 4)
    order = {layer: i for i, layer in enumerate(("bundles", "hot", "runs", "leaders"))}
    shapes.sort(key=lambda s: order.get(s.layer, len(order)))
    return Board(name, facts, right, y + 4 + _EDGE_MM, tuple(shapes))


def _said(x: float, y: float, text: str, size_mm: float, bold: bool, room_mm: float) -> Words:
    shown = clip(clean(text), room_mm - x, size_mm, bold)
    return Words("title", (x, y), shown, size_mm, text_width(shown, size_mm, bold), bold)


def _bar(x: float, y: float) -> list[Shape]:
    """The bar to be measured, with a tick every 10 mm."""
    ticks: list[Shape] = [
        Line("title", ((x + at, y - (3 if at % 50 == 0 else 1.5)), (x + at, y)), 0.25)
        for at in range(0, int(BAR_MM) + 1, 10)
    ]
    text = f"{BAR_MM:g} mm: measure before use"
    words = Words("title", (x + BAR_MM + 3, y), text, 3.0, text_width(text, 3.0))
    return [Line("title", ((x, y), (x + BAR_MM, y)), 0.25, "bar"), *ticks, words]


class _Painter:
    """One piece as shapes in millimetres."""

    def __init__(self, words: PlanWords, scene: Scene, shift: tuple[float, float]) -> None:
        self.words, self.scene, self.shift = words, scene, shift

    def _mm(self, x: float, y: float) -> tuple[float, float]:
        return x * MM + self.shift[0], y * MM + self.shift[1]

    def shapes(self) -> Iterable[Shape]:
        words = self.words
        for run in self.scene.piece.runs:
            points = tuple(self._mm(*p) for p in words.points(run))
            for _, _, corners, width in words.parts(run):
                there = tuple(self._mm(*p) for p in corners)
                yield Line("bundles", there, width * MM, f"segment:{run.segment}")
            yield Line("runs", points, _MIDDLE_MM, f"segment:{run.segment}")
            zone = words.snapshot.zone.get(words.segment[run.segment].zone)
            if zone is not None and zone.hot:
                for p, q in pairwise(points):
                    yield from _hatch(p, q, words.width[run.segment] * MM / 2 + 1.5)
            for fixing in words.fixings.get(run.segment, ()):
                across = words.fixing_across(run, fixing, fixing.inner_mm / MM)
                yield from _fixed([self._mm(*p) for p in across], fixing)
            for splice in words.splices_in.get(run.segment, ()):
                yield Ring("splices", self._mm(*words.splice_at(run, splice)[0]), 1.4, solid=True)
        for crossing in crossings_of(self.scene.piece):
            for parapet in words.bridge(crossing):
                yield Line("bridges", tuple(self._mm(*p) for p in parapet), _MIDDLE_MM)
        for name, (x, y) in self.scene.piece.at.items():
            at = self._mm(x * words.scale, y * words.scale)
            junction = words.node[name].kind is NodeKind.JUNCTION
            yield Ring("nodes", at, 1.6 if junction else 1.0, solid=not junction)
        for label, spot in self.scene.placed:
            yield from self._label(label, spot)

    def _label(self, label: Label, spot: Spot) -> Iterable[Shape]:
        (x0, y0), (x1, y1) = self._mm(spot.box.x0, spot.box.y0), self._mm(spot.box.x1, spot.box.y1)
        if spot.distance > LEADER:
            yield Line("leaders", (self._mm(*spot.anchor), self._mm(*spot.edge)), _FINE_MM)
        if label.frame:
            yield Frame("connectors" if label.frame == "plate" else "places", x0, y0, x1, y1, label.key)
        y = y0 + (5 * MM if label.frame else 0)
        for text, size, bold in label.lines:
            y += (size + 1) * MM
            shown = clip(clean(text), spot.box.x1 - spot.box.x0 - 2 * label.pad, size, bold)
            yield Words("words", (x0 + label.pad * MM, y), shown, size * MM, text_width(shown, size, bold) * MM, bold)
            y += 2 * MM


def _fixed(across: Sequence[Point], fixing: Fixing) -> Iterable[Shape]:
    """The clear diameter as a line across the run, closed by a stroke at both ends; a grommet as a ring as well."""
    (x1, y1), (x2, y2) = across
    yield Line("fixings", ((x1, y1), (x2, y2)), _MIDDLE_MM, f"fixing:{fixing.key}")
    heading = math.atan2(y2 - y1, x2 - x1) + math.pi / 2
    dx, dy = math.cos(heading) * _FIXED_MM, math.sin(heading) * _FIXED_MM
    for x, y in across:
        yield Line("fixings", ((x - dx, y - dy), (x + dx, y + dy)), 2 * _MIDDLE_MM)
    if fixing.kind is FixingKind.GROMMET:
        yield Ring("fixings", ((x1 + x2) / 2, (y1 + y2) / 2), fixing.inner_mm / 2)


def _hatch(p: tuple[float, float], q: tuple[float, float], half_mm: float) -> Iterable[Shape]:
    """Short strokes across a run in a hot zone, every 8 mm."""
    length = math.dist(p, q)
    heading = math.atan2(q[1] - p[1], q[0] - p[0]) + math.radians(60)
    dx, dy = math.cos(heading) * half_mm, math.sin(heading) * half_mm
    for at in range(6, int(length) - 3, 8):
        x, y = p[0] + (q[0] - p[0]) * at / length, p[1] + (q[1] - p[1]) * at / length
        yield Line("hot", ((x - dx, y - dy), (x + dx, y + dy)), _FINE_MM)


def board_svg(board: Board) -> str:
    """The whole board, one unit a millimetre."""
    return _svg(board, board.shapes, Box(0, 0, board.width_mm, board.height_mm))


def tile_svgs(board: Board, tiling: Tiling) -> tuple[str, ...]:
    """The window of each sheet, one unit a millimetre."""
    wide, high = tiling.window_mm
    boxes = [Box(t.x_mm, t.y_mm, t.x_mm + wide, t.y_mm + high) for t in tiling.tiles]
    return tuple(_svg(board, board.part(b.x0, b.y0, b.x1, b.y1), b) for b in boxes)


def index_svg(board: Board) -> str:
    """Runs alone, for the sheet that shows how the others lie."""
    shapes = [s for s in board.shapes if s.layer in ("bundles", "nodes", "connectors")]
    return _svg(board, shapes, Box(0, 0, board.width_mm, board.height_mm))


def _svg(board: Board, shapes: Iterable[Shape], box: Box) -> str:
    sheet = Sheet()
    for shape in shapes:
        _draw(sheet, shape)
    return sheet.svg(box, board.title, board.facts, "board-plan", unit="mm")


def _draw(sheet: Sheet, shape: Shape) -> None:
    if isinstance(shape, Words):
        fill = INK if shape.bold or shape.layer == "title" else SOFT
        sheet.text(*shape.at, shape.text, shape.size_mm, bold=shape.bold, fill=fill)
    elif isinstance(shape, Ring):
        sheet.circle(
            *shape.at, shape.radius_mm, class_=shape.layer, stroke_width=0.4, fill=INK if shape.solid else PAPER
        )
    elif isinstance(shape, Frame):
        sheet.rect(
            shape.x0, shape.y0, shape.x1 - shape.x0, shape.y1 - shape.y0, class_=shape.layer, data_key=shape.key,
            stroke_width=0.5 if shape.layer == "connectors" else 0.3, rx=0.8 if shape.layer == "connectors" else 2.2,
        )  # fmt: skip
    else:
        d = "M" + "L".join(f"{x:.3f} {y:.3f}" for x, y in shape.points)
        sheet.path(
            d, class_=shape.layer, data_key=shape.key or None, stroke_width=shape.width_mm, stroke_linejoin="round",
            stroke=PALE if shape.layer == "bundles" else SOFT if shape.layer == "leaders" else INK,
        )  # fmt: skip
