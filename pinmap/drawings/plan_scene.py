"""What a loom plan says and where: plates at connectors, notes at places, words along runs, none over another.

Shared by the overview for the screen and the board plan at full size; only the scale and the widths differ.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from pinmap.core.errors import InputError
from pinmap.core.loom.bundles import Bundles, Section
from pinmap.core.loom.layout import Crossing, FlatPiece, Run, crossings_of
from pinmap.core.loom.results import Routing, Splice
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Device, Fixing, Node, Segment, Zone
from pinmap.core.model.words import NodeKind, natural_key
from pinmap.drawings.labels import Canvas, Spot
from pinmap.drawings.svg import clean, text_width

PLATE = 132.0  # no plate is wider [px]
_PARAPET_PX = 3.5  # a bridge's parapet from its run, and the splay at its ends
_SPAN_PX = 4.0  # of a bridge beyond the run below
LEADER = 26.0  # a label that stands off farther has a line to what it names [px]


def present(snapshot: Snapshot, variant: Variant, loom: str) -> tuple[list[Node], list[Segment]]:
    """Nodes and segments of one loom ("" for all) that a variant has. Raises InputError for an unknown loom."""
    if loom and loom not in {m.key for m in snapshot.job.looms}:
        raise InputError("loom", loom, "name a loom of this job")
    there = snapshot.active_connectors(variant)
    nodes = [
        n
        for n in snapshot.job.nodes
        if (not loom or n.loom == loom) and (n.mates is None or n.mates in there or n.kind is not NodeKind.CONNECTOR)
    ]
    keys = {n.key for n in nodes}
    segments = [s for s in snapshot.job.segments if (not loom or s.loom == loom) and s.a in keys and s.b in keys]
    return nodes, segments


def section_words(section: Section) -> str:
    """Where along its segment a section is and what is there, such as "120 to 480 mm, 12 wires, ø 8.1 mm"."""
    stretch = section.stretch
    count = len(stretch.wires)
    wires = f"{count} wire{'' if count == 1 else 's'}"
    beside = f"splice {', '.join(stretch.splices)} and {wires} beside it" if stretch.splices else wires
    return f"{stretch.from_m * 1000:.0f} to {stretch.to_m * 1000:.0f} mm, {beside}, ø {section.bundle_mm:.1f} mm"


def crossing_words(pieces: Sequence[FlatPiece]) -> str:
    """What a plan says of runs that cross; "" where none does."""
    count = sum(len(crossings_of(p)) for p in pieces)
    if not count:
        return ""
    drawn = "1 crossing is drawn as a bridge" if count == 1 else f"{count} crossings are drawn as bridges"
    return f"; no layout without crossing runs was found: {drawn}"


def loom_name(snapshot: Snapshot, loom: str) -> str:
    """What a plan of this loom is called."""
    names = {m.key: m.name for m in snapshot.job.looms}
    return names.get(loom) or " + ".join(n or k for k, n in names.items()) or snapshot.job.name


@dataclass
class Label:
    """Words to be placed: lines of (text, size, bold), the anchors they may hang from."""

    lines: list[tuple[str, float, bool]]
    anchors: list[tuple[float, float, float]]
    first: float
    key: str = ""
    frame: str = ""  # "plate" for a connector, "note" for a place of devices, "" for bare words
    tip: str = ""
    most: float = PLATE

    @property
    def pad(self) -> float:
        return 9.0 if self.frame else 1.0

    @property
    def size(self) -> tuple[float, float]:
        width = min(max((text_width(t, s, b) for t, s, b in self.lines), default=0.0) + 1, self.most)
        return width + 2 * self.pad, sum(s + 3 for _, s, _ in self.lines) + (11 if self.frame else 0)


@dataclass
class Scene:
    """One piece at its scale [px]: what is taken, and each label with its place."""

    piece: FlatPiece
    canvas: Canvas = field(default_factory=Canvas)
    placed: list[tuple[Label, Spot]] = field(default_factory=list)


class PlanWords:
    """What there is to say about a loom, and how wide its runs are drawn."""

    def __init__(
        self,
        snapshot: Snapshot,
        variant: Variant,
        routing: Routing,
        nodes: Sequence[Node],
        segments: Sequence[Segment],
        *,
        scale: float,
        width: Callable[[float], float],
        compact: bool,
        covering: bool = False,
    ) -> None:
        """``scale`` [px/m]; ``width`` gives a run's width [px] by its bundle [mm]; ``compact`` plates hold one line
        and zones stand as numbers; ``covering`` is named along the runs where wanted."""
        self.snapshot, self.routing = snapshot, routing
        self.scale, self.compact, self.covering = scale, compact, covering
        self.node = {n.key: n for n in nodes}
        self.segment = {s.key: s for s in segments}
        bundles = Bundles.of(snapshot, routing)
        self.sections = {s.key: bundles.sections(s.key) for s in segments}
        self.diameter = {key: max(s.bundle_mm for s in found) for key, found in self.sections.items()}
        self.width = {key: width(mm) for key, mm in self.diameter.items()}  # at its fattest place
        self.drawn_px = width
        self.devices: dict[str, list[Device]] = {}
        for device in snapshot.active_devices(variant).values():
            self.devices.setdefault(device.place, []).append(device)
        self.splices: dict[str, list[Splice]] = {}  # at nodes
        self.splices_in: dict[str, list[Splice]] = {}  # in segments
        for splice in routing.splices:
            where = self.splices_in if splice.segment else self.splices
            where.setdefault(splice.segment or splice.node, []).append(splice)
        self.fixings: dict[str, list[Fixing]] = {}
        for fixing in snapshot.job.fixings:
            self.fixings.setdefault(fixing.segment, []).append(fixing)
        self.ends: dict[str, int] = {}
        for wire in routing.wires:
            for end in (wire.a, wire.b):
                if end.in_connector:
                    self.ends[end.node] = self.ends.get(end.node, 0) + 1
        self.wires = sum(w.a.node in self.node for w in routing.wires)  # in the looms that are drawn
        self.plugs = {one: other for m in snapshot.job.matings for one, other in ((m.a, m.b), (m.b, m.a))}
        self.degree: dict[str, int] = {}
        for s in segments:
            for name in {s.a, s.b}:
                self.degree[name] = self.degree.get(name, 0) + 1

    def scene(self, piece: FlatPiece) -> Scene:
        """A piece with all its words placed."""
        scene = Scene(piece)
        for run in piece.runs:
            for (x1, y1), (x2, y2) in pairwise(self.points(run)):
                scene.canvas.line(x1, y1, x2, y2, self.width[run.segment] + 4)
        for x, y in piece.at.values():
            scene.canvas.line(x * self.scale, y * self.scale, x * self.scale, y * self.scale, 10)
        headings = self._headings(piece)
        # Places of devices are the largest: they choose first.
        labels = sorted(self._plates(piece, headings), key=lambda label: label.frame != "note")
        labels += [self._length(run) for run in piece.runs if self._leaf(run) is None]
        labels += self._junctions(piece, headings)
        labels += [self._splice(run, splice) for run in piece.runs for splice in self.splices_in.get(run.segment, ())]
        labels += [self._fixing(run, x) for run in piece.runs for x in self.fixings.get(run.segment, ())]
        for label in labels:
            scene.placed.append((label, scene.canvas.settle(*label.size, label.anchors, first=label.first)))
        return scene

    def points(self, run: Run) -> list[tuple[float, float]]:
        """A run's corners [px]."""
        return [(x * self.scale, y * self.scale) for x, y in run.points]

    def parts(self, run: Run) -> list[tuple[int, Section, list[tuple[float, float]], float]]:
        """The stretches and places of splices of a run, those below first: number from 1, section, corners and width
        [px]. A run without a splice in it is one."""
        sections = self.sections[run.segment]
        found = [
            (i, s, [(x * self.scale, y * self.scale) for x, y in run.part(s.stretch.from_m, s.stretch.to_m)])
            for i, s in enumerate(sections, 1)
        ]
        found.sort(key=lambda part: bool(part[1].stretch.splices))
        return [(i, s, points, self.drawn_px(s.bundle_mm)) for i, s, points in found]

    def splice_at(self, run: Run, splice: Splice) -> tuple[tuple[float, float], float]:
        """Where a splice sits on its run [px], and the heading there."""
        at_m = splice.at_m if splice.node == run.a else self.segment[run.segment].length_m - splice.at_m
        (x, y), heading = run.along(at_m)
        return (x * self.scale, y * self.scale), heading

    def bridge(self, crossing: Crossing) -> list[list[tuple[float, float]]]:
        """The two parapets of a bridge where a run crosses another [px]: beside the upper run, with splayed ends."""
        x, y = crossing.at[0] * self.scale, crossing.at[1] * self.scale
        along = (math.cos(crossing.heading), math.sin(crossing.heading))
        half, side = self.width[crossing.under] / 2 + _SPAN_PX, self.width[crossing.over] / 2 + _PARAPET_PX

        def place(on: float, out: float) -> tuple[float, float]:
            return x + along[0] * on - along[1] * out, y + along[1] * on + along[0] * out

        return [
            [
                place(-half - _PARAPET_PX, sign * (side + _PARAPET_PX)), place(-half, sign * side),
                place(half, sign * side), place(half + _PARAPET_PX, sign * (side + _PARAPET_PX)),
            ]
            for sign in (1.0, -1.0)
        ]  # fmt: skip

    def fixing_across(self, run: Run, fixing: Fixing, wide_px: float) -> list[tuple[float, float]]:
        """The line across a run at a fixing, as wide as said [px]."""
        (x, y), heading = run.along(fixing.at_m)
        dx, dy = -math.sin(heading) * wide_px / 2, math.cos(heading) * wide_px / 2
        x, y = x * self.scale, y * self.scale
        return [(x - dx, y - dy), (x + dx, y + dy)]

    def zone_words(self, zone: Zone) -> str:
        ways = [w for w, on in (("wet", zone.wet), ("moving", zone.moving), ("hot", zone.hot)) if on]
        return clean(", ".join([zone.name or zone.key, *ways, f"{zone.ambient_c:g} °C"]))

    def _leaf(self, run: Run) -> str | None:
        """The connector or place that this run alone leads to; its plate then carries the run's words."""
        for name in (run.b, run.a):
            if self.degree.get(name) == 1 and (self.node[name].kind is not NodeKind.JUNCTION or self.devices.get(name)):
                return name
        return None

    def _run_words(self, segment: Segment) -> tuple[str, str]:
        """Length and diameter; zone and covering."""
        diameter, zone = self.diameter[segment.key], self.snapshot.zone.get(segment.zone)
        least = min((s.bundle_mm for s in self.sections[segment.key] if not s.stretch.splices), default=diameter)
        thick = f"{least:.0f}–{diameter:.0f}" if f"{least:.0f}" != f"{diameter:.0f}" else f"{diameter:.0f}"
        first = f"{segment.length_m * 1000:.0f} mm" + (f"  ø {thick}" if diameter else "  empty")
        more = [clean(segment.covering)] if self.covering and segment.covering else []
        if zone is not None and self.compact:
            first += f"  z{list(self.snapshot.zone).index(zone.key) + 1}"
        elif zone is not None:
            more.insert(0, self.zone_words(zone))
        return first, ", ".join(more)

    def _headings(self, piece: FlatPiece) -> Mapping[str, list[float]]:
        """Headings of the runs that leave each node."""
        out: dict[str, list[float]] = {name: [] for name in piece.at}
        for r in piece.runs:
            for name, p, q in ((r.a, r.points[0], r.points[1]), (r.b, r.points[-1], r.points[-2])):
                out[name].append(math.atan2(q[1] - p[1], q[0] - p[0]))
        return out

    def _at(self, piece: FlatPiece, name: str, headings: Sequence[float]) -> list[tuple[float, float, float]]:
        """A node's place with the middles of the gaps between its runs, the widest gap first."""
        x, y = piece.at[name]
        free = [0.0]
        if headings:
            turns = sorted(t % (2 * math.pi) for t in headings)
            gaps = [(b - a, a) for a, b in zip(turns, [*turns[1:], turns[0] + 2 * math.pi], strict=True)]
            free = [a + gap / 2 for gap, a in sorted(gaps, key=lambda g: -g[0])]
        return [(x * self.scale, y * self.scale, h) for h in free]

    def _plates(self, piece: FlatPiece, headings: Mapping[str, list[float]]) -> list[Label]:
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
                other = self.snapshot.node.get(self.plugs.get(name, ""))
                beyond = platform.name if platform else f"into {other.name or other.key}" if other else ""
                if self.compact:
                    lines = [(f"{shown} · {wires}", 11.0, True)]
                else:
                    lines.append((clean(f"{wires} · {beyond}" if beyond else wires), 9.5, False))
                if node.mates is not None:
                    tip += f", mates {node.mates.connector} of {platform.name if platform else node.mates.platform}"
                elif other is not None:
                    tip += f", plugs into {other.name or other.key} of {loom_name(self.snapshot, other.loom)}"
            for device in sorted(devices, key=lambda d: natural_key(d.key)):
                rating = f" {device.rating_a:g} A" if device.rating_a is not None else ""
                lines.append((clean(f"{device.name or device.key} {device.kind.value}{rating}"), 9.5, False))
            inside = ", ".join(s.id for s in self.splices.get(name, []))
            if inside and node.kind is not NodeKind.JUNCTION:
                lines.append((clean(f"splices {inside}"), 9.5, False))
            if name in leads:
                first, more = self._run_words(self.segment[leads[name].segment])
                lines += [(first, 10.0, True), *([(more, 9.0, False)] if more else [])]
            frame = "plate" if node.kind is NodeKind.CONNECTOR else "note"
            labels.append(Label(lines, self._at(piece, name, headings[name]), 6.0, f"node:{name}", frame, tip))
        return labels

    def _length(self, run: Run) -> Label:
        segment = self.segment[run.segment]
        first, more = self._run_words(segment)
        lines = [(first, 10.0, True), (more, 9.0, False)] if more else [(first, 10.0, True)]
        anchors = []
        for t in (0.5, 0.35, 0.65, 0.2, 0.8):
            (x, y), heading = run.along(segment.length_m * t)
            anchors += [(x * self.scale, y * self.scale, heading + side) for side in (-math.pi / 2, math.pi / 2)]
        tip = f"segment {segment.key}, {segment.covering}" if segment.covering else f"segment {segment.key}"
        return Label(lines, anchors, self.width[run.segment] / 2 + 5, f"segment:{segment.key}", "", tip, 110.0)

    def _junctions(self, piece: FlatPiece, headings: Mapping[str, list[float]]) -> list[Label]:
        labels = []
        for name in piece.at:
            node, splices = self.node[name], self.splices.get(name, [])
            if node.kind is not NodeKind.JUNCTION:
                continue
            lines = [(clean(node.name or node.key), 11.0, True)]
            lines += [
                (clean(", ".join(s.id for s in splices[i : i + 4])), 9.5, False) for i in range(0, len(splices), 4)
            ]
            labels.append(Label(lines, self._at(piece, name, headings[name]), 9.0, f"node:{name}", most=120.0))
        return labels

    def _fixing(self, run: Run, fixing: Fixing) -> Label:
        """Its kind and clear diameter, and how far it lies from the run's first end."""
        (x, y), heading = run.along(fixing.at_m)
        anchors = [(x * self.scale, y * self.scale, heading + side) for side in (math.pi / 2, -math.pi / 2)]
        lines = [(clean(f"{fixing.kind.value} {fixing.key} ø {fixing.inner_mm:g}"), 9.5, True)]
        if not self.compact:
            node = self.node[run.a]
            lines.append((clean(f"{fixing.at_m * 1000:.0f} mm from {node.name or node.key}"), 9.0, False))
        return Label(lines, anchors, self.width[run.segment] / 2 + 8, f"fixing:{fixing.key}", most=120.0)

    def _splice(self, run: Run, splice: Splice) -> Label:
        (x, y), heading = self.splice_at(run, splice)
        anchors = [(x, y, heading + side) for side in (math.pi / 2, -math.pi / 2)]
        first = self.width[run.segment] / 2 + 6
        return Label([(clean(splice.id), 9.5, False)], anchors, first, f"splice:{splice.id}", most=80.0)
