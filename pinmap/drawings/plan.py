"""The loom plan: the loom laid flat and true to scale, with plates at its connectors and the words a builder needs.

Each run is as long as its segment says and as wide as its bundle; connectors are end plates with name and number of
wires; splices and devices stand at their places. A cut loop shows the same mark at both of its ends.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from pinmap.core.errors import InputError
from pinmap.core.loom.bundles import segment_diameter_mm
from pinmap.core.loom.layout import FlatPiece, Run, extent, flat_layout
from pinmap.core.loom.results import Routing, Splice
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Device, Node, Segment, Zone
from pinmap.core.model.words import NodeKind, natural_key
from pinmap.drawings.labels import Canvas, Spot
from pinmap.drawings.svg import INK, PALE, PAPER, SOFT, Box, Link, Sheet, clean, text_width

_MARGIN = 30.0
_PLATE = 132.0  # no plate is wider [px]
_COMPACT = 24  # with more connectors than this plates are smaller and zones stand in a key
_SPAN = (1180.0, 760.0)  # size of the laid loom that is aimed at [px]


def plan_svg(
    snapshot: Snapshot,
    variant: Variant,
    routing: Routing,
    *,
    loom: str = "",
    title: str = "",
    link: Link | None = None,
) -> str:
    """The plan of one loom ("" for all looms of the job) in one variant: connectors that the variant has not are
    left out, and runs that lead to nothing else with them. Raises InputError for an unknown loom."""
    if loom and loom not in {m.key for m in snapshot.job.looms}:
        raise InputError("loom", loom, "name a loom of this job")
    nodes, segments = _present(snapshot, variant, loom)
    weight = {s.key: float(len(routing.bundle.get(s.key, ()))) for s in segments}
    pieces = flat_layout(nodes, segments, weight)
    names = {m.key: m.name for m in snapshot.job.looms}
    name = title or names.get(loom) or " + ".join(n or k for k, n in names.items()) or snapshot.job.name
    return _Plan(snapshot, variant, routing, nodes, segments, link).draw(pieces, name)


def _present(snapshot: Snapshot, variant: Variant, loom: str) -> tuple[list[Node], list[Segment]]:
    there = snapshot.active_connectors(variant)
    nodes = [
        n
        for n in snapshot.job.nodes
        if (not loom or n.loom == loom) and (n.mates is None or n.mates in there or n.kind is not NodeKind.CONNECTOR)
    ]
    keys = {n.key for n in nodes}
    segments = [s for s in snapshot.job.segments if (not loom or s.loom == loom) and s.a in keys and s.b in keys]
    return nodes, segments


@dataclass
class _Label:
    """Words to be placed: lines of (text, size, bold), the anchors they may hang from."""

    lines: list[tuple[str, float, bool]]
    anchors: list[tuple[float, float, float]]
    first: float
    key: str = ""
    frame: str = ""  # "plate" for a connector, "note" for a place of devices, "" for bare words
    tip: str = ""
    most: float = _PLATE

    @property
    def size(self) -> tuple[float, float]:
        pad = 9.0 if self.frame else 1.0
        width = min(max((text_width(t, s, b) for t, s, b in self.lines), default=0.0) + 1, self.most)
        return width + 2 * pad, sum(s + 3 for _, s, _ in self.lines) + (11 if self.frame else 0)


@dataclass
class _Scene:
    """One piece, scaled: what is taken, and what remains to be said."""

    scale: float
    canvas: Canvas = field(default_factory=Canvas)
    placed: list[tuple[_Label, Spot]] = field(default_factory=list)


class _Plan:
    def __init__(
        self,
        snapshot: Snapshot,
        variant: Variant,
        routing: Routing,
        nodes: Sequence[Node],
        segments: Sequence[Segment],
        link: Link | None,
    ) -> None:
        self.snapshot, self.routing, self.link = snapshot, routing, link
        self.node = {n.key: n for n in nodes}
        self.segment = {s.key: s for s in segments}
        self.diameter = {s.key: segment_diameter_mm(routing, s.key) for s in segments}
        self.devices: dict[str, list[Device]] = {}
        for device in snapshot.active_devices(variant).values():
            self.devices.setdefault(device.place, []).append(device)
        self.splices: dict[str, list[Splice]] = {}
        for splice in routing.splices:
            self.splices.setdefault("" if splice.segment else splice.node, []).append(splice)
        self.ends: dict[str, int] = {}
        for wire in routing.wires:
            for end in (wire.a, wire.b):
                if end.pin is not None:
                    self.ends[end.node] = self.ends.get(end.node, 0) + 1
        self.degree: dict[str, int] = {}
        for s in segments:
            for name in {s.a, s.b}:
                self.degree[name] = self.degree.get(name, 0) + 1
        self.compact = sum(n.kind is NodeKind.CONNECTOR for n in nodes) > _COMPACT
        self.marks: dict[str, str] = {}
        self.sheet = Sheet()

    def draw(self, pieces: Sequence[FlatPiece], title: str) -> str:
        wide, high = extent(pieces)
        crowd = max(1.0, (len(self.node) / 22) ** 0.72)
        scale = min(_SPAN[0] * crowd / wide if wide else 1e9, _SPAN[1] * crowd / high if high else 1e9, 2400.0)
        cut = [r.segment for p in pieces for r in p.runs if r.cut]
        self.marks = {key: chr(97 + i) if i < 26 else f"a{i - 25}" for i, key in enumerate(cut)}
        y, right = 84.0, 760.0
        for piece in pieces:
            scene = self._scene(piece, scale)
            box = scene.canvas.bounds()
            shift = (_MARGIN - box.x0, y - box.y0)
            with self.sheet.group("piece", transform=f"translate({shift[0]:.2f} {shift[1]:.2f})"):
                self._paint(piece, scene)
            y += box.y1 - box.y0 + 46
            right = max(right, box.x1 - box.x0 + 2 * _MARGIN)
        self.sheet.text(_MARGIN, 36, title, 18, bold=True, width=right - 2 * _MARGIN)
        total = sum(s.length_m for s in self.segment.values())
        connectors = sum(n.kind is NodeKind.CONNECTOR for n in self.node.values())
        facts = f"{connectors} connectors, {len(self.routing.wires)} wires, {total:.2f} m of runs, {len(cut)} loops cut"
        self.sheet.text(_MARGIN, 56, "Loom plan, true to scale. " + facts, 11, fill=SOFT)
        bottom = self._foot(y, scale)
        return self.sheet.svg(Box(0, 0, right, bottom), f"Loom plan: {title}", facts, "loom-plan")

    # Placing

    def _scene(self, piece: FlatPiece, scale: float) -> _Scene:
        scene = _Scene(scale)
        for run in piece.runs:
            x1, y1, x2, y2 = (v * scale for v in (run.x1, run.y1, run.x2, run.y2))
            scene.canvas.line(x1, y1, x2, y2, self._width(run.segment) + 4)
        for x, y in piece.at.values():
            scene.canvas.line(x * scale, y * scale, x * scale, y * scale, 10)
        headings = self._headings(piece)
        # The marks of cut loops sit in the thick of it and places of devices are the largest: they choose first.
        labels = [label for run in piece.runs if run.cut for label in self._cut(run, piece, headings, scale)]
        labels += sorted(self._plates(piece, headings, scale), key=lambda label: label.frame != "note")
        labels += [self._length(run, scale) for run in piece.runs if self._leaf(run) is None]
        labels += self._junctions(piece, headings, scale)
        labels += self._splices_on_runs(piece, scale)
        for label in labels:
            scene.placed.append((label, scene.canvas.settle(*label.size, label.anchors, first=label.first)))
        return scene

    def _width(self, segment: str) -> float:
        """Width of a run on the plan by its bundle [px]."""
        return min(2.5 + 0.55 * self.diameter[segment], 22.0)

    def _leaf(self, run: Run) -> str | None:
        """The connector or place that this run alone leads to; its plate then carries the run's words."""
        if run.cut:
            return None
        for name in (run.b, run.a):
            if self.degree.get(name) == 1 and (self.node[name].kind is not NodeKind.JUNCTION or self.devices.get(name)):
                return name
        return None

    def _run_words(self, segment: Segment) -> tuple[str, str]:
        """Length and diameter; zone."""
        diameter, zone = self.diameter[segment.key], self.snapshot.zone.get(segment.zone)
        first = f"{segment.length_m * 1000:.0f} mm" + (f"  ø {diameter:.0f}" if diameter else "  empty")
        if zone is None:
            return first, ""
        if self.compact:
            return f"{first}  z{list(self.snapshot.zone).index(zone.key) + 1}", ""
        return first, self._zone_words(zone)

    def _zone_words(self, zone: Zone) -> str:
        ways = [w for w, on in (("wet", zone.wet), ("moving", zone.moving), ("hot", zone.hot)) if on]
        return clean(", ".join([zone.name or zone.key, *ways, f"{zone.ambient_c:g} °C"]))

    def _headings(self, piece: FlatPiece) -> Mapping[str, list[float]]:
        """Headings of the runs that leave each node."""
        out: dict[str, list[float]] = {name: [] for name in piece.at}
        for r in piece.runs:
            heading = math.atan2(r.y2 - r.y1, r.x2 - r.x1)
            out[r.a].append(heading)
            if not r.cut:
                out[r.b].append(heading + math.pi)
        return out

    def _free_headings(self, taken: Sequence[float]) -> list[float]:
        """Middles of the gaps between runs at a node, the widest gap first."""
        if not taken:
            return [0.0]
        turns = sorted(t % (2 * math.pi) for t in taken)
        gaps = [(b - a, a) for a, b in zip(turns, [*turns[1:], turns[0] + 2 * math.pi], strict=True)]
        return [a + gap / 2 for gap, a in sorted(gaps, key=lambda g: -g[0])]

    def _at(
        self, piece: FlatPiece, name: str, headings: Sequence[float], scale: float
    ) -> list[tuple[float, float, float]]:
        x, y = piece.at[name]
        return [(x * scale, y * scale, h) for h in self._free_headings(headings)]

    def _plates(self, piece: FlatPiece, headings: Mapping[str, list[float]], scale: float) -> list[_Label]:
        labels = []
        leads = {leaf: run for run in piece.runs if (leaf := self._leaf(run)) is not None}
        for name in piece.at:
            node = self.node[name]
            devices = self.devices.get(name, [])
            if node.kind is NodeKind.JUNCTION and not devices:
                continue
            shown = clean(node.name or node.key)
            lines = [(shown, 12.0, True)]
            tip = shown
            if node.kind is NodeKind.CONNECTOR:
                count = self.ends.get(name, 0)
                platform = self.snapshot.platform.get(node.mates.platform) if node.mates is not None else None
                wires = f"{count} wire{'' if count == 1 else 's'}"
                if self.compact:
                    lines = [(f"{shown} · {wires}", 11.0, True)]
                else:
                    lines.append((clean(f"{wires} · {platform.name}" if platform is not None else wires), 9.5, False))
                if node.mates is not None:
                    tip += f", mates {node.mates.connector} of {platform.name if platform else node.mates.platform}"
            for device in sorted(devices, key=lambda d: natural_key(d.key)):
                rating = f" {device.rating_a:g} A" if device.rating_a is not None else ""
                lines.append((clean(f"{device.name or device.key} {device.kind.value}{rating}"), 9.5, False))
            inside = ", ".join(s.id for s in self.splices.get(name, []))
            if inside and node.kind is not NodeKind.JUNCTION:
                lines.append((clean(f"splices {inside}"), 9.5, False))
            if name in leads:
                first, zone = self._run_words(self.segment[leads[name].segment])
                lines += [(first, 10.0, True), *([(zone, 9.0, False)] if zone else [])]
            frame = "plate" if node.kind is NodeKind.CONNECTOR else "note"
            anchors = self._at(piece, name, headings[name], scale)
            labels.append(_Label(lines, anchors, 6.0, f"node:{name}", frame, tip))
        return labels

    def _length(self, run: Run, scale: float) -> _Label:
        segment = self.segment[run.segment]
        first, zone = self._run_words(segment)
        lines = [(first, 10.0, True), (zone, 9.0, False)] if zone else [(first, 10.0, True)]
        heading = math.atan2(run.y2 - run.y1, run.x2 - run.x1)
        anchors = [
            ((run.x1 + (run.x2 - run.x1) * t) * scale, (run.y1 + (run.y2 - run.y1) * t) * scale, heading + side)
            for t in (0.5, 0.35, 0.65, 0.2, 0.8)
            for side in (-math.pi / 2, math.pi / 2)
        ]
        tip = f"segment {segment.key}, {segment.covering}" if segment.covering else f"segment {segment.key}"
        return _Label(lines, anchors, self._width(run.segment) / 2 + 5, f"segment:{segment.key}", "", tip, 110.0)

    def _junctions(self, piece: FlatPiece, headings: Mapping[str, list[float]], scale: float) -> list[_Label]:
        labels = []
        for name in piece.at:
            node, splices = self.node[name], self.splices.get(name, [])
            if node.kind is not NodeKind.JUNCTION:
                continue
            lines = [(clean(node.name or node.key), 11.0, True)]
            lines += [
                (clean(", ".join(s.id for s in splices[i : i + 4])), 9.5, False) for i in range(0, len(splices), 4)
            ]
            labels.append(_Label(lines, self._at(piece, name, headings[name], scale), 9.0, f"node:{name}", most=120.0))
        return labels

    def _on_run(self, run: Run, splice: Splice) -> tuple[float, float]:
        """Where a splice sits on its run [m]."""
        length = run.length_m
        at = splice.at_m if splice.node == run.a else length - splice.at_m
        t = min(max(at / length, 0.0), 1.0) if length else 0.0
        return run.x1 + (run.x2 - run.x1) * t, run.y1 + (run.y2 - run.y1) * t

    def _splices_on_runs(self, piece: FlatPiece, scale: float) -> list[_Label]:
        labels = []
        for run in piece.runs:
            heading = math.atan2(run.y2 - run.y1, run.x2 - run.x1)
            for splice in self.splices.get("", []):
                if splice.segment == run.segment:
                    x, y = self._on_run(run, splice)
                    anchors = [(x * scale, y * scale, heading + side) for side in (math.pi / 2, -math.pi / 2)]
                    first = self._width(run.segment) / 2 + 6
                    labels.append(
                        _Label([(clean(splice.id), 9.5, False)], anchors, first, f"splice:{splice.id}", most=80.0)
                    )
        return labels

    def _cut(self, run: Run, piece: FlatPiece, headings: Mapping[str, list[float]], scale: float) -> list[_Label]:
        mark = self.marks[run.segment]
        far = clean(self.node[run.b].name or run.b)
        heading = math.atan2(run.y2 - run.y1, run.x2 - run.x1)
        loose = [(run.x2 * scale, run.y2 * scale, heading)]
        here = [(f"({mark}) goes on to {far}", 9.5, True)]
        there = [(f"({mark}) from {clean(self.node[run.a].name or run.a)}", 9.5, True)]
        return [
            _Label(here, loose, 10.0, f"segment:{run.segment}"),
            _Label(there, self._at(piece, run.b, headings[run.b], scale), 10.0, f"segment:{run.segment}"),
        ]

    # Painting

    def _paint(self, piece: FlatPiece, scene: _Scene) -> None:
        scale = scene.scale
        for _, spot in scene.placed:
            if spot.distance > 26:
                self.sheet.line(*spot.anchor, *spot.edge, class_="leader", stroke=SOFT, stroke_width=0.9)
        for casing in (True, False):
            for run in piece.runs:
                self._run(run, scale, casing)
        for name, (x, y) in piece.at.items():
            if self.node[name].kind is NodeKind.JUNCTION:
                self.sheet.circle(x * scale, y * scale, 4.5, class_="junction", stroke_width=1.8)
            else:
                self.sheet.circle(x * scale, y * scale, 3.5, class_="tip", fill=INK)
        for run in piece.runs:
            for splice in self.splices.get("", []):
                if splice.segment == run.segment:
                    x, y = self._on_run(run, splice)
                    self.sheet.circle(x * scale, y * scale, 4, class_="splice", fill=INK)
        for label, spot in scene.placed:
            self._words(label, spot)

    def _run(self, run: Run, scale: float, casing: bool) -> None:
        x1, y1, x2, y2 = (v * scale for v in (run.x1, run.y1, run.x2, run.y2))
        width = self._width(run.segment)
        if casing:
            self.sheet.line(x1, y1, x2, y2, stroke_width=width + 2.4, stroke_linecap="round", class_="casing")
            return
        zone = self.snapshot.zone.get(self.segment[run.segment].zone)
        with self.sheet.linked(self.link, f"segment:{run.segment}"):
            self.sheet.line(
                x1,
                y1,
                x2,
                y2,
                class_="run",
                data_segment=run.segment,
                stroke=PALE if self.diameter[run.segment] else PAPER,
                stroke_width=width,
                stroke_linecap="round",
            )
        if zone is not None and zone.hot:
            self._ticks(x1, y1, x2, y2, width / 2 + 4)
        if run.cut:
            heading = math.atan2(y2 - y1, x2 - x1)
            dx, dy = -math.sin(heading) * 8, math.cos(heading) * 8
            ex, ey = math.cos(heading) * 3, math.sin(heading) * 3
            for shift in (-1, 1):
                self.sheet.line(
                    x2 + dx + ex * shift,
                    y2 + dy + ey * shift,
                    x2 - dx + ex * shift,
                    y2 - dy + ey * shift,
                    stroke_width=1.8,
                )

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

    def _words(self, label: _Label, spot: Spot) -> None:
        box = spot.box
        pad = 9.0 if label.frame else 1.0
        room = box.x1 - box.x0 - 2 * pad
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
                self.sheet.text(box.x0 + pad, y, text, size, bold=bold, fill=INK if bold else SOFT, width=room)
                y += 2

    def _foot(self, y: float, scale: float) -> float:
        """Scale bar and key."""
        step = next((s for s in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if s * scale >= 90), 10.0)
        end = _MARGIN + step * scale
        self.sheet.line(_MARGIN, y, end, y, stroke_width=2, class_="scale")
        for x in (_MARGIN, end):
            self.sheet.line(x, y - 5, x, y + 5, stroke_width=2)
        self.sheet.text(end + 10, y + 4, f"{step * 1000:.0f} mm", 11)
        x = end + 90
        key = "ø bundle in mm · hatched: hot zone · white: no wire · (a) loop cut, same mark at both ends"
        self.sheet.text(x, y + 4, key, 10.5, fill=SOFT)
        if self.compact:
            used = {s.zone for s in self.segment.values()}
            for number, zone in enumerate(self.snapshot.zone.values(), 1):
                if zone.key in used:
                    y += 18
                    self.sheet.text(_MARGIN, y + 8, f"z{number}", 10.5, bold=True)
                    self.sheet.text(_MARGIN + 30, y + 8, self._zone_words(zone), 10.5, width=620)
        return y + 26
