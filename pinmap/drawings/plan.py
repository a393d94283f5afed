"""The overview of a loom: laid flat and true to scale, as large as a screen takes.

Each run is as long as its segment says and as wide as its bundle; connectors are end plates with name and number of
wires; splices and devices stand at their places. Runs may be coloured by temperature, zone or function.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from pinmap.core.loom.layout import FlatPiece, Run, crossings_of, extent, flat_layout
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.words import NodeKind
from pinmap.drawings.labels import Spot
from pinmap.drawings.plan_colours import Colouring
from pinmap.drawings.plan_scene import (
    LEADER,
    Label,
    PlanWords,
    Scene,
    crossing_words,
    loom_name,
    present,
    section_words,
)
from pinmap.drawings.svg import INK, PALE, PAPER, SOFT, Box, Link, Sheet, wrap

_MARGIN = 30.0
_COMPACT = 24  # with more connectors than this plates are smaller and zones stand in a key
_SPAN = (1180.0, 760.0)  # size of the laid loom that is aimed at [px]
_MOST_SCALE = 2400.0  # [px/m]


def plan_svg(
    snapshot: Snapshot,
    variant: Variant,
    routing: Routing,
    *,
    loom: str = "",
    title: str = "",
    link: Link | None = None,
    colouring: Colouring | None = None,
    chosen: str = "",
) -> str:
    """The overview of one loom ("" for all looms of the job) in one variant: connectors that the variant has not are
    left out, and runs that lead to nothing else with them. ``chosen`` is a segment to be marked. Raises InputError for
    an unknown loom."""
    nodes, segments = present(snapshot, variant, loom)
    pieces = flat_layout(nodes, segments)
    wide, high = extent(pieces)
    crowd = max(1.0, (len(nodes) / 22) ** 0.72)
    scale = min(
        _SPAN[0] * crowd / wide if wide else math.inf, _SPAN[1] * crowd / high if high else math.inf, _MOST_SCALE
    )
    words = PlanWords(
        snapshot,
        variant,
        routing,
        nodes,
        segments,
        scale=scale,
        width=lambda bundle_mm: min(2.5 + 0.55 * bundle_mm, 22.0),
        compact=sum(n.kind is NodeKind.CONNECTOR for n in nodes) > _COMPACT,
    )
    return _Plan(words, link, colouring, chosen).draw(pieces, title or loom_name(snapshot, loom))


class _Plan:
    def __init__(self, words: PlanWords, link: Link | None, colouring: Colouring | None, chosen: str) -> None:
        self.words, self.link, self.colouring, self.chosen = words, link, colouring, chosen
        self.sheet = Sheet()

    def draw(self, pieces: Sequence[FlatPiece], title: str) -> str:
        words = self.words
        y, right = 84.0, 760.0
        for piece in pieces:
            scene = words.scene(piece)
            box = scene.canvas.bounds()
            shift = (_MARGIN - box.x0, y - box.y0)
            with self.sheet.group("piece", transform=f"translate({shift[0]:.2f} {shift[1]:.2f})"):
                self._paint(scene)
            y += box.y1 - box.y0 + 46
            right = max(right, box.x1 - box.x0 + 2 * _MARGIN)
        self.sheet.text(_MARGIN, 36, title, 18, bold=True, width=right - 2 * _MARGIN)
        total = sum(s.length_m for s in words.segment.values())
        connectors = sum(n.kind is NodeKind.CONNECTOR for n in words.node.values())
        bent = sum(len(r.points) > 2 for p in pieces for r in p.runs)
        facts = f"{connectors} connectors, {words.wires} wires, {total:.2f} m of runs"
        facts += f", {bent} bent to close a loop" if bent else ""
        facts += crossing_words(pieces)
        self.sheet.text(_MARGIN, 56, "Loom plan, true to scale. " + facts, 11, fill=SOFT)
        bottom = self._foot(y, right)
        return self.sheet.svg(Box(0, 0, right, bottom), f"Loom plan: {title}", facts, "loom-plan")

    def _paint(self, scene: Scene) -> None:
        words = self.words
        for _, spot in scene.placed:
            if spot.distance > LEADER:
                self.sheet.line(*spot.anchor, *spot.edge, class_="leader", stroke=SOFT, stroke_width=0.9)
        for run in scene.piece.runs:
            for _, _, points, width in words.parts(run):
                self._stroke(points, "casing", stroke_width=width + 2.4)
        for run in scene.piece.runs:
            self._run(run)
        for crossing in crossings_of(scene.piece):
            for points in words.bridge(crossing):
                self._stroke(points, "bridge", stroke_width=1.6, fill="none")
        for name, (x, y) in scene.piece.at.items():
            if words.node[name].kind is NodeKind.JUNCTION:
                self.sheet.circle(x * words.scale, y * words.scale, 4.5, class_="junction", stroke_width=1.8)
            else:
                self.sheet.circle(x * words.scale, y * words.scale, 3.5, class_="tip", fill=INK)
        for run in scene.piece.runs:
            for splice in words.splices_in.get(run.segment, ()):
                (x, y), _ = words.splice_at(run, splice)
                self.sheet.circle(x, y, 4, class_="splice", fill=INK)
            for fixing in words.fixings.get(run.segment, ()):
                (x1, y1), (x2, y2) = words.fixing_across(run, fixing, words.width[run.segment] + 9)
                self.sheet.line(x1, y1, x2, y2, class_="fixing", stroke_width=2.4)
        for label, spot in scene.placed:
            self._label(label, spot)

    def _stroke(self, points: Sequence[tuple[float, float]], class_: str, **attributes: str | float | None) -> None:
        d = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)
        self.sheet.path(d, class_=class_, stroke_linecap="round", stroke_linejoin="round", **attributes)

    def _run(self, run: Run) -> None:
        words, key = self.words, run.segment
        points, parts = words.points(run), words.parts(run)
        width = min(width for _, _, _, width in parts)
        most = words.width[key]
        zone = words.snapshot.zone.get(words.segment[key].zone)
        fill, dashes = PALE if words.diameter[key] else PAPER, ""
        if self.colouring is not None:
            found = self.colouring.of.get(key)
            fill, dashes = self.colouring.legend[found][:2] if found is not None else (PAPER, "")
        tip = f"{words.segment[key].length_m * 1000:.0f} mm, {len(words.routing.bundle.get(key, ()))} wires"
        with self.sheet.linked(self.link, f"segment:{key}"), self.sheet.group("", f"segment {key}: {tip}"):
            if key == self.chosen:
                self._stroke(points, "chosen", stroke_width=most + 9)
                self._stroke(points, "chosen", stroke_width=most + 6, stroke=PAPER)
                for _, _, corners, wide in parts:
                    self._stroke(corners, "chosen", stroke_width=wide + 2.4)
            self._stroke(points, "run", data_segment=key, stroke=fill, stroke_width=width)
        for number, section, corners, wide in parts if len(parts) > 1 else ():
            tip = f"segment {key}, {section_words(section)}"
            with self.sheet.linked(self.link, f"stretch:{number}:{key}"), self.sheet.group("", tip):
                self._stroke(corners, "stretch", stroke=fill, stroke_width=wide)
        if dashes:
            self._stroke(points, "pattern", stroke_width=1.4, stroke_dasharray=dashes if dashes != "none" else None)
        if zone is not None and zone.hot:
            for p, q in pairwise(words.points(run)):
                self._ticks(*p, *q, most / 2 + 4)

    def _ticks(self, x1: float, y1: float, x2: float, y2: float, half: float) -> None:
        """Hatch of a hot zone: short strokes across the run."""
        length = math.hypot(x2 - x1, y2 - y1)
        heading = math.atan2(y2 - y1, x2 - x1) + math.radians(60)
        dx, dy = math.cos(heading) * half, math.sin(heading) * half
        d = "".join(
            f"M{x1 + (x2 - x1) * t - dx:.1f} {y1 + (y2 - y1) * t - dy:.1f}l{2 * dx:.1f} {2 * dy:.1f}"
            for t in (at / length for at in range(8, int(length) - 4, 9))
        )
        if d:
            self.sheet.path(d, class_="hot", stroke_width=0.9)

    def _label(self, label: Label, spot: Spot) -> None:
        box = spot.box
        room = box.x1 - box.x0 - 2 * label.pad
        with (
            self.sheet.linked(self.link, label.key),
            self.sheet.group(label.frame or "words", label.tip, data_key=label.key),
        ):
            # Words stand on their own ground, so that a leader that cannot avoid them passes behind.
            self.sheet.rect(
                box.x0,
                box.y0,
                box.x1 - box.x0,
                box.y1 - box.y0,
                rx=9 if label.frame == "note" else 3,
                stroke=INK if label.frame else "none",
                stroke_width={"plate": 2.0, "note": 1.2}.get(label.frame),
            )
            y = box.y0 + (5 if label.frame else 0)
            for text, size, bold in label.lines:
                y += size + 1
                self.sheet.text(box.x0 + label.pad, y, text, size, bold=bold, fill=INK if bold else SOFT, width=room)
                y += 2

    def _foot(self, y: float, right: float) -> float:
        """Scale bar and keys."""
        scale = self.words.scale
        step = next((s for s in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if s * scale >= 90), 10.0)
        end = _MARGIN + step * scale
        self.sheet.line(_MARGIN, y, end, y, stroke_width=2, class_="scale")
        for x in (_MARGIN, end):
            self.sheet.line(x, y - 5, x, y + 5, stroke_width=2)
        self.sheet.text(end + 10, y + 4, f"{step * 1000:.0f} mm", 11)
        self.sheet.text(
            end + 90, y + 4, "ø bundle in mm · hatched: hot zone · white: no wire or nothing known", 10.5, fill=SOFT
        )
        if self.colouring is not None:
            y = self._legend(self.colouring, y + 24, right)
        if self.words.compact:
            used = {s.zone for s in self.words.segment.values()}
            for number, zone in enumerate(self.words.snapshot.zone.values(), 1):
                if zone.key in used:
                    y += 18
                    self.sheet.text(_MARGIN, y + 8, f"z{number}", 10.5, bold=True)
                    self.sheet.text(_MARGIN + 30, y + 8, self.words.zone_words(zone), 10.5, width=620)
        return y + 26

    def _legend(self, colouring: Colouring, y: float, right: float) -> float:
        self.sheet.text(_MARGIN, y + 8, colouring.title, 11, bold=True)
        for fill, dashes, words in colouring.legend:
            y += 20
            self.sheet.line(_MARGIN + 6, y + 5, _MARGIN + 64, y + 5, stroke_width=14.4, class_="swatch")
            self.sheet.line(_MARGIN + 7.2, y + 5, _MARGIN + 62.8, y + 5, stroke=fill, stroke_width=12, class_="swatch")
            if dashes:
                self.sheet.line(
                    _MARGIN + 7.2, y + 5, _MARGIN + 62.8, y + 5, stroke_width=1.4, class_="swatch",
                    stroke_dasharray=dashes if dashes != "none" else None,
                )  # fmt: skip
            for i, row in enumerate(wrap(words, right - _MARGIN - 110, 10.5, 3)):
                y += 14 if i else 0
                self.sheet.text(_MARGIN + 76, y + 9, row, 10.5)
        return y
