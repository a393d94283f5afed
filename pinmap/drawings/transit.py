"""The wiring diagram as a map of lines: each signal runs from its source through its load back to battery minus.

Cavities, splices, fuses, relay contacts and studs are stations with their expected reading; a connector is the bar
that its lines cross, numbered by cavity; lines that share a splice meet there. Colour letters and size stand along
each line as words, so that nothing is lost in black and white.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.electrics.supply_cases import load_cases
from pinmap.core.errors import InputError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.model.jobs import LoadCase, Signal, Snapshot, Variant
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Direction, Evidence, Kind
from pinmap.core.tracing.flow import SUPPLY_KINDS, Hop, Place, PlaceKind, flow
from pinmap.drawings.placing import GRID, Piece, Placement, Stand, Vertex, place
from pinmap.drawings.svg import INK, PAPER, SOFT, Box, Link, Sheet, clean, clip, colour_pair, text_width
from pinmap.drawings.symbols import device_symbol, line_width, minus_symbol, plus_symbol
from pinmap.drawings.transit_content import map_content

_MARGIN = 28.0
_TOP = 96.0
_OFFSET = 27.0  # words begin this far from a station
_WORDS = 160.0  # no words on a line are longer
_LANE = 12.0
_STUB = 40.0
MAP_SIGNALS = 12  # signals on one map of an overview


def transit_svg(
    snapshot: Snapshot,
    variant: Variant,
    routing: Routing,
    report: ElectricalReport,
    signals: Sequence[str] | None = None,
    *,
    title: str = "",
    case: str = "",
    whole_way: bool = True,
    link: Link | None = None,
) -> str:
    """The map of these signals (None for all). ``whole_way`` adds what leads from the source to their loads and from
    there back to minus, even where that belongs to other signals. ``case`` is the load case whose voltages are
    written, "" for the first that the report has. Raises InputError for a signal that the job has not."""
    if signals is not None and (unknown := [key for key in signals if key not in snapshot.signal]):
        raise InputError("signals", unknown[0], "name signals of this job")
    chosen = [s for s in snapshot.job.signals if signals is None or s.key in set(signals)]
    streams = flow(snapshot, variant, routing)
    places, hops = map_content(streams, {s.key for s in chosen}, snapshot, whole_way)
    shown = next((c for c in load_cases(snapshot) if (c.key == case if case else c.key in report.voltage_v)), None)
    name = title or (chosen[0].name if len(chosen) == 1 else snapshot.job.name)
    lost = [g for g in routing.gaps if g.signal in {s.key for s in chosen}]
    notes = [f"Not routed: {snapshot.signal[g.signal].name}, {g.a} to {g.b}: {g.reason}" for g in lost]
    return _Map(snapshot, report, places, hops, shown, link).draw(name, chosen, notes)


def transit_maps(
    snapshot: Snapshot,
    variant: Variant,
    routing: Routing,
    report: ElectricalReport,
    dictionary: Dictionary,
    *,
    case: str = "",
    link: Link | None = None,
) -> tuple[tuple[str, str], ...]:
    """The whole job as several maps (title, SVG), by group of functions, at most ``MAP_SIGNALS`` signals each. Every
    signal is on one of them; no map repeats another's."""
    groups: dict[str, list[Signal]] = {}
    for signal in sorted(snapshot.job.signals, key=lambda s: s.number):
        groups.setdefault(_group(signal, snapshot, dictionary), []).append(signal)
    maps = []
    for group, members in groups.items():
        sheets = math.ceil(len(members) / MAP_SIGNALS)
        size = math.ceil(len(members) / sheets)
        for i in range(sheets):
            part = members[i * size : (i + 1) * size]
            title = (group[:1].upper() + group[1:]) + (f", sheet {i + 1} of {sheets}" if sheets > 1 else "")
            svg = transit_svg(
                snapshot,
                variant,
                routing,
                report,
                [s.key for s in part],
                title=title,
                case=case,
                whole_way=False,
                link=link,
            )
            maps.append((title, svg))
    return tuple(maps)


def _group(signal: Signal, snapshot: Snapshot, dictionary: Dictionary) -> str:
    pins = [snapshot.pin.get(m.end) for m in signal.members if isinstance(m.end, PinKey)]
    codes = [signal.function_code, *(pin.function_code for pin in pins if pin is not None)]
    return next((entry.group for code in codes if code and (entry := dictionary.get(code))), "other signals")


@dataclass
class _Words:
    """What stands on a line beside a station: above it a bold and a plain part, below it one part."""

    bold: list[str] = field(default_factory=list)
    plain: list[str] = field(default_factory=list)
    below: list[str] = field(default_factory=list)

    @property
    def width(self) -> float:
        head, tail = " + ".join(self.bold), " + ".join(self.plain)
        above = text_width(head, 11, True) + (6 if head and tail else 0) + text_width(tail, 11)
        return min(max(above, text_width(" · ".join(self.below), 10)) + 1, _WORDS)


class _Map:
    def __init__(
        self,
        snapshot: Snapshot,
        report: ElectricalReport,
        places: Mapping[str, Place],
        hops: Sequence[Hop],
        case: LoadCase | None,
        link: Link | None,
    ) -> None:
        self.snapshot, self.places, self.hops, self.case, self.link = snapshot, places, hops, case, link
        self.volts = report.voltage_v.get(case.key, {}) if case else {}
        self.sheet = Sheet()
        self.words: dict[tuple[int, str, float], _Words] = {}  # (column, side, y)
        self.stubs: list[tuple[str, int, str, float]] = []  # place, column, side, y
        self.before: list[float] = []
        self.after: list[float] = []
        self.x: list[float] = []

    def draw(self, title: str, signals: Sequence[Signal], notes: Sequence[str]) -> str:
        vertices = [self._vertex(p) for p in self.places.values()]
        self.placement: Placement = place(vertices, [(h.a, h.b) for h in self.hops])
        self.chains: dict[int, list[Piece]] = {}
        for piece in self.placement.pieces:
            self.chains.setdefault(piece.edge, []).append(piece)
        for chain in self.chains.values():
            chain.sort(key=lambda piece: piece.column)
        self._write_words()
        self._find_x()
        width = max((self.x[-1] + self.after[-1] if self.x else 0.0) + _MARGIN + 20, 700.0)
        bottom = _TOP + self.placement.height + 8
        self._lines()
        self._stations()
        self._texts()
        self._headline(title, width)
        bottom = self._foot(bottom, width, notes)
        described = (
            f"{len(signals)} signals: " + ", ".join(f"{s.number} {s.name}" for s in signals[:20]) + ". "
            f"{sum(h.wire is not None for h in self.hops)} wires, {len(self.places)} stations, from the source at the "
            "left to battery minus at the right."
        )
        return self.sheet.svg(Box(0, 0, width, bottom), f"Line map: {title}", described, "transit")

    def _vertex(self, place_: Place) -> Vertex:
        if place_.pin is not None:
            entry = place_.entry
            last = entry is not None and entry.kind is Kind.GROUND and entry.direction is Direction.OUT
            return Vertex(
                id=place_.id, group=f"bar:{place_.platform}:{place_.pin.connector}", header=2 * GRID, last=last
            )
        capsule = place_.kind in {PlaceKind.COMPONENT, PlaceKind.INSIDE}
        return Vertex(id=place_.id, group=place_.id, header=2 * GRID if capsule else GRID, capsule=capsule)

    # Words

    def _say(self, column: int, side: str, y: float) -> _Words:
        return self.words.setdefault((column, side, y), _Words())

    def _write_words(self) -> None:
        shares: dict[tuple[str, str, float], int] = {}
        for piece in self.placement.pieces:
            for key in ((piece.a, "right", piece.y_a), (piece.b, "left", piece.y_b)):
                shares[key] = shares.get(key, 0) + 1
        named: set[str] = set()
        spoken: set[str] = set()
        for i, chain in sorted(self.chains.items()):
            first, last, wire = chain[0], chain[-1], self.hops[i].wire
            if wire is not None:
                self._write_wire(wire, first, last, shares, named)
                continue
            at_left = self.places[first.a].kind is PlaceKind.PIN
            pin = self.places[first.a if at_left else last.b]
            if pin.id not in spoken:
                spoken.add(pin.id)
                where = (first.column, "right", first.y_a) if at_left else (last.column + 1, "left", last.y_b)
                self._write_pin(pin, self._say(*where))
        for stand in self.placement.stands:
            for name, y in stand.rows:
                if name in spoken or self.places[name].pin is None:
                    continue
                open_left = not any(key[0] == name and key[1] == "left" for key in shares)
                side = "left" if open_left else "right"
                self._write_pin(self.places[name], self._say(stand.column, side, y))
                self.stubs.append((name, stand.column, side, y))

    def _write_wire(
        self, wire: Wire, first: Piece, last: Piece, shares: Mapping[tuple[str, str, float], int], named: set[str]
    ) -> None:
        crowd_left = shares[first.a, "right", first.y_a] + (self.places[first.a].kind is PlaceKind.SPLICE)
        crowd_right = shares[last.b, "left", last.y_b] + (self.places[last.b].kind is PlaceKind.SPLICE)
        if crowd_left <= crowd_right:
            words = self._say(first.column, "right", first.y_a)
        else:
            words = self._say(last.column + 1, "left", last.y_b)
        words.bold.append(wire.id)
        words.plain.append(" · ".join(p for p in (wire.colour, f"{wire.mm2:g}") if p))
        if wire.signal not in named:
            named.add(wire.signal)
            words.below.append(self.snapshot.signal[wire.signal].name)

    def _write_pin(self, pin: Place, words: _Words) -> None:
        assert pin.entry is not None
        words.plain.append(pin.entry.function or pin.entry.function_code or "no function given")
        proven = "" if pin.entry.evidence is Evidence.MEASURED else f"unproven: {pin.entry.evidence.value}"
        words.below += [p for p in (self._reading(pin), proven) if p]

    def _reading(self, place_: Place) -> str:
        volts = [self.volts[point] for point in place_.points if point in self.volts]
        return f"{volts[-1]:.2f} V" if volts else ""

    def _find_x(self) -> None:
        count = self.placement.columns
        self.before, self.after = [44.0] * count, [44.0] * count
        for stand in self.placement.stands:
            half = min(max(text_width(t, 11.5, True) for t in self._names(stand)) / 2 + 6, _WORDS / 2)
            self.before[stand.column] = max(self.before[stand.column], half)
            self.after[stand.column] = max(self.after[stand.column], half)
        for (column, side, _), words in self.words.items():
            zone = self.before if side == "left" else self.after
            zone[column] = max(zone[column], words.width + _OFFSET + 10)
        for _, column, side, _ in self.stubs:
            if side == "left":
                self.before[column] = max(self.before[column], _STUB + _OFFSET)
        x = _MARGIN + (self.before[0] if count else 0.0) + 20
        for column in range(count):
            self.x.append(x)
            if column + 1 < count:
                x += self.after[column] + 12 + self.placement.lanes[column] * _LANE + self.before[column + 1]

    # Lines

    def _lines(self) -> None:
        for name, column, side, y in self.stubs:
            self._stub(self.places[name], column, side, _TOP + y)
        paths = {i: self._path(chain) for i, chain in self.chains.items()}
        wired: dict[str, list[tuple[Wire, str]]] = {}
        for i, d in sorted(paths.items()):
            wire = self.hops[i].wire
            if wire is None:
                self.sheet.path(d, class_="inside", stroke=SOFT, stroke_width=1.4, stroke_dasharray="5 3")
            else:
                wired.setdefault(wire.signal, []).append((wire, d))
        for lines in wired.values():
            # Lines of one signal join; a line of another one passes over with a light edge.
            for extra, colour, name in ((6, PAPER, "edge"), (2, INK, "casing")):
                for wire, d in lines:
                    width = line_width(wire.mm2) + extra
                    self.sheet.path(d, class_=name, stroke=colour, stroke_width=width, stroke_linejoin="round")
            for wire, d in lines:
                self._line(wire, d)

    def _line(self, wire: Wire, d: str) -> None:
        width = line_width(wire.mm2)
        base, tracer = colour_pair(wire.colour)
        facts = f"{wire.colour}, {wire.mm2:g} mm², {wire.length_m:.2f} m"
        tip = f"wire {wire.id}: {wire.a.label} to {wire.b.label}, {facts}"
        with (
            self.sheet.linked(self.link, f"wire:{wire.id}"),
            self.sheet.group("line", tip, data_wire=wire.id, stroke_linejoin="round"),
        ):
            self.sheet.path(d, stroke=base, stroke_width=width)
            if tracer:
                self.sheet.path(d, stroke=tracer, stroke_width=width, stroke_dasharray="7 9")

    def _path(self, chain: Sequence[Piece]) -> str:
        d = f"M{self.x[chain[0].column]:.1f} {_TOP + chain[0].y_a:.1f}"
        for piece in chain:
            y_a, y_b = _TOP + piece.y_a, _TOP + piece.y_b
            start = self.x[piece.column] + self.after[piece.column] + 6
            end = self.x[piece.column + 1] - self.before[piece.column + 1] - 6
            if piece.lane == -2:
                d += f"H{start:.1f}L{end:.1f} {y_b:.1f}"
            elif piece.lane >= 0:
                x = start + (piece.lane + 0.5) * _LANE
                cut = min(6.0, abs(y_b - y_a) / 2)
                down = cut if y_b > y_a else -cut
                d += f"H{x - cut:.1f}L{x:.1f} {y_a + down:.1f}V{y_b - down:.1f}L{x + cut:.1f} {y_b:.1f}"
            d += f"H{self.x[piece.column + 1]:.1f}"
        return d

    def _stub(self, pin: Place, column: int, side: str, y: float) -> None:
        assert pin.entry is not None
        out = -1 if side == "left" else 1
        words = self.words[column, side, y - _TOP]
        x = self.x[column]
        end = x + out * (_OFFSET + max(words.width, _STUB) + 10)
        self.sheet.line(x, y, end, y, class_="terminus", stroke=SOFT, stroke_width=1.4)
        if pin.entry.direction is Direction.OUT and pin.entry.kind is Kind.GROUND:
            minus_symbol(self.sheet, end, y, out)
        elif pin.entry.direction is Direction.OUT and pin.entry.kind in SUPPLY_KINDS:
            plus_symbol(self.sheet, end, y)
        else:
            self.sheet.line(end, y - 6, end, y + 6, stroke_width=2)

    # Stations

    def _stations(self) -> None:
        for stand in self.placement.stands:
            kind = self.places[stand.rows[0][0]].kind
            if kind is PlaceKind.PIN:
                self._bar(stand)
            elif kind in {PlaceKind.COMPONENT, PlaceKind.INSIDE}:
                self._capsule(stand)
            else:
                self._single(stand)

    def _room(self, column: int) -> float:
        """Width that a header may take over a column."""
        return 2 * min(self.before[column], self.after[column]) - 4

    def _names(self, stand: Stand) -> tuple[str, str]:
        """The two lines of a header."""
        here = self.places[stand.rows[0][0]]
        platform = self.snapshot.platform[here.platform].name if here.platform else ""
        if here.pin is not None:
            return here.label.removesuffix(f"-{here.pin.cavity}"), platform
        if here.kind is PlaceKind.COMPONENT:
            return here.label, platform
        if here.kind is PlaceKind.INSIDE:
            return here.label, "control unit"
        rating = here.device.rating_a if here.device is not None else None
        return here.label + (f" {rating:g} A" if rating is not None else ""), ""

    def _header(self, stand: Stand) -> None:
        name, second = self._names(stand)
        base = _TOP + stand.top + stand.header - (18 if second else 8)
        x, room = self.x[stand.column], self._room(stand.column)
        self.sheet.text(x, base, name, 11.5, anchor="middle", bold=True, width=room)
        self.sheet.text(x, base + 12, second, 9.5, anchor="middle", fill=SOFT, width=room)

    def _bar(self, stand: Stand) -> None:
        x = self.x[stand.column]
        top, bottom = _TOP + stand.rows[0][1] - 15, _TOP + stand.rows[-1][1] + 15
        self.sheet.rect(x - 5, top, 10, bottom - top, class_="bar", rx=5, fill=INK)
        self._header(stand)
        for place_name, y in stand.rows:
            pin = self.places[place_name]
            assert pin.pin is not None
            assert pin.entry is not None
            cavity = clip(pin.pin.cavity, 40, 10, True)
            half = max(text_width(cavity, 10, True) / 2 + 5, 9.5)
            proven = pin.entry.evidence is Evidence.MEASURED
            tip = f"{pin.label}, {pin.entry.function}, {pin.entry.kind.value}, {pin.entry.evidence.value}"
            with (
                self.sheet.linked(self.link, pin.id),
                self.sheet.group("cavity", tip, data_place=pin.id, data_y=_TOP + y),
            ):
                self.sheet.rect(
                    x - half,
                    _TOP + y - 9.5,
                    2 * half,
                    19,
                    rx=9.5,
                    stroke_width=1.8,
                    stroke_dasharray=None if proven else "3 2",
                )
                self.sheet.text(x, _TOP + y + 3.6, pin.pin.cavity, 10, anchor="middle", bold=True, width=2 * half - 6)

    def _capsule(self, stand: Stand) -> None:
        x = self.x[stand.column]
        here = self.places[stand.rows[0][0]]
        top, bottom = _TOP + stand.top + stand.header + 4, _TOP + stand.bottom - 4
        with self.sheet.group(here.kind.value, here.label, data_place=here.id):
            self.sheet.rect(x - 9, top, 18, bottom - top, rx=9, stroke_width=2.2)
        for piece in self.placement.pieces:
            for name, y in ((piece.a, piece.y_a), (piece.b, piece.y_b)):
                if name == here.id:
                    self.sheet.circle(x, _TOP + y, 3, fill=INK, stroke="none")
        self._header(stand)

    def _single(self, stand: Stand) -> None:
        x, y = self.x[stand.column], _TOP + stand.rows[0][1]
        here = self.places[stand.rows[0][0]]
        key = f"device:{here.device.key}" if here.device is not None else here.id
        with self.sheet.linked(self.link, key), self.sheet.group(here.kind.value, here.label, data_place=here.id):
            if here.device is not None:
                device_symbol(self.sheet, here.device.kind, here.part, x, y)
            elif here.kind is PlaceKind.MATED:
                self.sheet.rect(x - 5, y - 11, 10, 22, rx=5, fill=INK)
            else:
                self.sheet.circle(x, y, 6, fill=INK)
        self._header(stand)
        self.sheet.text(x, y + 22, self._reading(here), 10, anchor="middle", fill=SOFT, width=48)

    # Words and frame

    def _texts(self) -> None:
        for (column, side, y), words in sorted(self.words.items()):
            width, at_left = words.width, side == "left"
            edge = self.x[column] + (-_OFFSET if at_left else _OFFSET)
            base = _TOP + y - 8
            head = clip(clean(" + ".join(words.bold)), width, 11, True)
            used = text_width(head, 11, True) + (6 if head else 0)
            tail = clip(clean(" + ".join(words.plain)), max(width - used, 0), 11)
            x = edge - used - text_width(tail, 11) if at_left else edge
            self.sheet.text(x, base, " + ".join(words.bold), 11, bold=True, width=width)
            if width - used > 14:
                self.sheet.text(x + used, base, " + ".join(words.plain), 11, width=width - used)
            self.sheet.text(
                edge,
                _TOP + y + 16,
                " · ".join(words.below),
                10,
                anchor="end" if at_left else "start",
                fill=SOFT,
                italic=True,
                width=width,
            )

    def _headline(self, title: str, width: float) -> None:
        self.sheet.text(_MARGIN, 34, title, 18, bold=True, width=width - 2 * _MARGIN)
        case = f"Readings: {self.case.name}, supply {self.case.supply_v:g} V" if self.case else "No readings computed"
        self.sheet.text(_MARGIN, 54, f"{case}. On each line: wire, colour, mm².", 11, fill=SOFT)
        y = 80.0
        self.sheet.text(_MARGIN, y, "SOURCE SIDE", 10, bold=True, fill=SOFT)
        self.sheet.text(width - _MARGIN, y, "LOADS AND RETURNS", 10, bold=True, fill=SOFT, anchor="end")
        left, right = _MARGIN + 92, width - _MARGIN - 136
        self.sheet.line(left, y - 4, right, y - 4, stroke=SOFT, stroke_width=0.8)
        self.sheet.path(
            f"M{right:.1f} {y - 8:.1f}L{right + 8:.1f} {y - 4:.1f}L{right:.1f} {y:.1f}Z", fill=SOFT, stroke="none"
        )

    def _foot(self, y: float, width: float, notes: Sequence[str]) -> float:
        y += 16
        x = _MARGIN
        self.sheet.rect(x, y - 9, 20, 14, rx=7, stroke_width=1.6, stroke_dasharray="3 2")
        self.sheet.text(x + 28, y + 2, "cavity whose pin nobody measured", 10.5, fill=SOFT)
        self.sheet.line(x + 220, y - 2, x + 250, y - 2, stroke=SOFT, stroke_width=1.4, stroke_dasharray="5 3")
        self.sheet.text(x + 258, y + 2, "inside a platform", 10.5, fill=SOFT)
        self.sheet.circle(x + 372, y - 2, 5, fill=INK)
        self.sheet.text(x + 384, y + 2, "splice", 10.5, fill=SOFT)
        self.sheet.rect(x + 440, y - 10, 8, 16, rx=4, fill=INK)
        self.sheet.text(x + 456, y + 2, "connector", 10.5, fill=SOFT)
        for note in notes:
            y += 18
            self.sheet.text(x, y, note, 11, bold=True, width=width - 2 * _MARGIN)
        return y + 20
