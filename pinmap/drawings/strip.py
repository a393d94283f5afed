"""The signal strip: one way from source to minus, station by station, with what to read at each.

On a phone it runs from top to bottom at 360 pixels; on paper from left to right in rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from pinmap.core.model.jobs import LoadCase
from pinmap.core.model.words import Evidence
from pinmap.core.tracing.cautions import NOT_TO_PROBE
from pinmap.core.tracing.flow import PlaceKind
from pinmap.core.tracing.path import Leg, Station, Trace
from pinmap.drawings.svg import INK, PAPER, SOFT, Box, Link, Sheet, colour_pair, text_width, wrap
from pinmap.drawings.symbols import device_symbol, line_width, minus_symbol, plus_symbol

PHONE_WIDTH = 360.0
_RAIL = 34.0
_TEXT = 64.0
_ROOM = PHONE_WIDTH - _TEXT - 14
_BRANCHES = 6  # more than these are counted, not named

_STEP = 208.0  # distance of two stations on paper [px]
_PER_ROW = 6


class StripLayout(StrEnum):
    """How a strip lies."""

    PHONE = "phone"
    PRINT = "print"


def strip_svg(trace: Trace, layout: StripLayout = StripLayout.PHONE, *, link: Link | None = None) -> str:
    """The strip of a trace. ``link`` gives addresses for stations, wires and branches."""
    return _Phone(trace, link).draw() if layout is StripLayout.PHONE else _Paper(trace, link).draw()


def _words(trace: Trace) -> tuple[str, str]:
    title = f"Trace of {trace.title}"
    first, last = trace.stations[0].label, trace.stations[-1].label
    return title, (
        f"{len(trace.stations)} stations from {first} to {last}, {trace.length_m:.2f} m of wire"
        if trace.joined
        else "this pin is not joined to any signal in this variant"
    )


def readings(station: Station, cases: Sequence[LoadCase]) -> list[tuple[str, str]]:
    """(load case, what to read), computed where the checks give a voltage, else what is usual for the kind. Cases
    with the same words share a line."""
    found: dict[str, list[str]] = {}
    for case in cases:
        volts, leaving = station.voltage_v.get(case.key), station.leaving_v.get(case.key)
        if station.pin_kind in NOT_TO_PROBE and case.key in station.usual:
            volts = None
        if volts is not None and leaving is not None and abs(volts - leaving) >= 0.005:
            words = f"{volts:.2f} → {leaving:.2f} V"
        elif volts is not None:
            words = f"{volts:.2f} V"
        elif usual := station.usual.get(case.key, ""):
            words = f"{usual} (usual)"
        else:
            continue
        found.setdefault(words, []).append(case.name.split(",")[0])
    return [(", ".join(names), words) for words, names in found.items()]


def _proof(station: Station) -> str:
    if station.evidence is None:
        return ""
    if station.evidence is Evidence.MEASURED:
        return "measured" + (f", {station.evidence_ref}" if station.evidence_ref else "")
    return f"unproven: {station.evidence.value}" + (f", {station.evidence_ref}" if station.evidence_ref else "")


def _mark(sheet: Sheet, station: Station, trace: Trace, index: int, x: float, y: float, down: bool) -> None:
    """The station's sign on the rail."""
    if station.here:
        sheet.circle(x, y, 15, class_="here", stroke_width=2.5, fill=PAPER)
    if station.kind is PlaceKind.SPLICE:
        sheet.circle(x, y, 6, fill=INK)
    elif station.kind is PlaceKind.DEVICE and station.device_kind is not None:
        sheet.circle(x, y, 14, stroke="none")
        with sheet.group(transform=f"rotate(90 {x:.2f} {y:.2f})" if down else None):
            device_symbol(sheet, station.device_kind, station.part, x, y)
    elif station.kind is PlaceKind.MATED:
        sheet.rect(x - 5, y - 11, 10, 22, rx=5, fill=INK)
    elif station.kind in {PlaceKind.COMPONENT, PlaceKind.INSIDE}:
        sheet.rect(x - 9, y - 9, 18, 18, rx=6, stroke_width=2.2)
    else:
        proven = station.evidence is Evidence.MEASURED
        sheet.circle(x, y, 8.5, stroke_width=2, stroke_dasharray=None if proven else "3 2", fill=PAPER)
        if proven:
            sheet.circle(x, y, 3, fill=INK)
    if down and index == 0 and trace.from_source:
        plus_symbol(sheet, x, y - 26)
    if not down and index == len(trace.stations) - 1 and trace.to_minus:
        sheet.line(x + 9, y, x + 22, y, stroke=SOFT, stroke_width=1.4)
        minus_symbol(sheet, x + 22, y, 1)


class _Phone:
    def __init__(self, trace: Trace, link: Link | None) -> None:
        self.trace, self.link = trace, link
        self.rail, self.sheet = Sheet(), Sheet()
        self.y = 0.0

    def draw(self) -> str:
        title, facts = _words(self.trace)
        self._say(title, 17, bold=True, x=14, room=PHONE_WIDTH - 28, lines=2)
        self._say(facts, 12, fill=SOFT, x=14, room=PHONE_WIDTH - 28, lines=3)
        self._cautions()
        self.y += 44 if self.trace.from_source else 26
        for i, station in enumerate(self.trace.stations):
            at = self.y
            self._station(i, station)
            if i < len(self.trace.legs):
                self._leg(self.trace.legs[i])
                self._rail(self.trace.legs[i], at, self.y)
            elif self.trace.to_minus:
                self.rail.line(_RAIL, at, _RAIL, self.y, stroke=SOFT, stroke_width=1.4)
                for k, half in enumerate((10, 6.5, 3)):
                    self.sheet.line(_RAIL - half, self.y + 4 * k, _RAIL + half, self.y + 4 * k, stroke_width=2)
        bottom = self.y + 24
        body = Sheet()
        body.take(self.rail)
        body.take(self.sheet)
        return body.svg(Box(0, 0, PHONE_WIDTH, bottom), title, facts, "strip phone")

    def _say(
        self,
        text: str,
        size: float,
        *,
        bold: bool = False,
        fill: str = INK,
        x: float = _TEXT,
        room: float = _ROOM,
        lines: int = 3,
    ) -> None:
        for row in wrap(text, room, size, lines, bold):
            self.y += size + 5
            self.sheet.text(x, self.y, row, size, bold=bold, fill=fill, width=room)

    def _cautions(self) -> None:
        self.y += 10
        top = self.y
        for caution in self.trace.cautions:
            self._say(("STOP: " if caution.stop else "Caution: ") + caution.about, 13, bold=True, x=26, room=304)
            self._say(caution.text, 12, x=26, room=304, lines=5)
        self.y += 10
        self.rail.rect(14, top, PHONE_WIDTH - 28, self.y - top, rx=6, stroke_width=1.6, class_="cautions")

    def _station(self, index: int, station: Station) -> None:
        top = self.y
        with (
            self.sheet.linked(self.link, station.ref),
            self.sheet.group("station", data_station=station.ref, data_y=top),
        ):
            _mark(self.sheet, station, self.trace, index, _RAIL, top, down=True)
            self.y = top - 14
            self._say(station.label + ("  · you are here" if station.here else ""), 16, bold=True, lines=2)
        self._say(station.detail, 13, lines=3)
        self._say(" · ".join(p for p in (station.where, _proof(station)) if p), 12, fill=SOFT, lines=3)
        for case, words in readings(station, self.trace.cases):
            self._reading(case, words)
        if station.here and station.unplugged:
            self._say(f"Unplugged: {station.unplugged}", 12, lines=3)
        branches = [b for b in self.trace.branches if b.at == index]
        for branch in branches[:_BRANCHES]:
            self.sheet.path(f"M{_TEXT} {self.y + 13:.1f}h10", stroke=SOFT, stroke_width=1.6)
            with self.sheet.linked(self.link, branch.ref):
                wire = f"{branch.wire} to " if branch.wire else "to "
                self._say(
                    f"{wire}{branch.label}, {branch.detail}", 12, x=_TEXT + 16, room=_ROOM - 16, lines=2, fill=SOFT
                )
        if len(branches) > _BRANCHES:
            self._say(f"and {len(branches) - _BRANCHES} more ways", 12, x=_TEXT + 16, room=_ROOM - 16, fill=SOFT)
        self.y += 10

    def _reading(self, case: str, words: str) -> None:
        wide = text_width(words, 13, True)
        if wide + text_width(case, 12) + 12 <= _ROOM:
            self.y += 18
            self.sheet.text(_TEXT, self.y, case, 12, fill=SOFT)
            self.sheet.text(_TEXT + _ROOM, self.y, words, 13, anchor="end", bold=True)
        else:
            self._say(case, 12, fill=SOFT, lines=2)
            self._say(words, 13, bold=True, lines=3)

    def _leg(self, leg: Leg) -> None:
        self.y += 8
        with self.sheet.linked(self.link if leg.wire else None, f"wire:{leg.wire.id}" if leg.wire else ""):
            self._say(
                leg.words + ("" if leg.along else " (against the current)"), 12, bold=leg.wire is not None, lines=3
            )
        self.y += 36

    def _rail(self, leg: Leg, top: float, bottom: float) -> None:
        _rail_line(self.rail, leg, _RAIL, top, _RAIL, bottom)


def _rail_line(sheet: Sheet, leg: Leg, x1: float, y1: float, x2: float, y2: float) -> None:
    if leg.wire is None:
        sheet.line(x1, y1, x2, y2, class_="inside", stroke=SOFT, stroke_width=1.6, stroke_dasharray="5 4")
        return
    width = line_width(leg.wire.mm2) + 1
    base, tracer = colour_pair(leg.wire.colour)
    with sheet.group("line", data_wire=leg.wire.id):
        sheet.line(x1, y1, x2, y2, stroke_width=width + 2)
        sheet.line(x1, y1, x2, y2, stroke=base, stroke_width=width)
        if tracer:
            sheet.line(x1, y1, x2, y2, stroke=tracer, stroke_width=width, stroke_dasharray="7 9")


class _Paper:
    """Rows of stations from left to right; a row that goes on ends and begins with the same number."""

    def __init__(self, trace: Trace, link: Link | None) -> None:
        self.trace, self.link = trace, link
        self.rail, self.sheet = Sheet(), Sheet()

    def draw(self) -> str:
        title, facts = _words(self.trace)
        per_row = min(_PER_ROW, len(self.trace.stations))
        width = max(per_row * _STEP + 40, 760.0)
        self.sheet.text(24, 34, title, 18, bold=True, width=width - 48)
        self.sheet.text(24, 54, facts, 11, fill=SOFT, width=width - 48)
        y = 74.0
        for caution in self.trace.cautions:
            head = ("STOP: " if caution.stop else "Caution: ") + caution.about
            self.sheet.text(24, y, head, 11, bold=True)
            self.sheet.text(24 + text_width(head, 11, True) + 8, y, caution.text, 11, width=width - 220)
            y += 16
        stations = self.trace.stations
        for first in range(0, len(stations), _PER_ROW):
            y = self._row(first, stations[first : first + _PER_ROW], y + 64)
        body = Sheet()
        body.take(self.rail)
        body.take(self.sheet)
        return body.svg(Box(0, 0, width, y + 16), title, facts, "strip print")

    def _row(self, first: int, stations: Sequence[Station], y: float) -> float:
        bottom = y
        for i, station in enumerate(stations):
            x, index = 44 + i * _STEP, first + i
            if index < len(self.trace.legs):
                self._leg(self.trace.legs[index], x, y, last=i == len(stations) - 1, row=first // _PER_ROW + 1)
            if i == 0 and first:
                self.rail.line(16, y, x, y, stroke=SOFT, stroke_width=1.4, stroke_dasharray="2 3")
                self.sheet.text(14, y - 8, f"({first // _PER_ROW})", 10, bold=True)
            bottom = max(bottom, self._station(index, station, x, y))
        return bottom

    def _leg(self, leg: Leg, x: float, y: float, last: bool, row: int) -> None:
        _rail_line(self.rail, leg, x, y, x + _STEP - (30 if last else 0), y)
        room = _STEP - (66 if last else 36)
        rows = wrap(leg.words + ("" if leg.along else " (against the current)"), room, 10, 3)
        for k, text in enumerate(rows):
            self.sheet.text(x + 20, y - 11 - 12 * (len(rows) - 1 - k), text, 10, bold=k == 0 and leg.wire is not None)
        if last:
            self.sheet.text(x + _STEP - 26, y + 4, f"({row})", 10, bold=True)

    def _station(self, index: int, station: Station, x: float, y: float) -> float:
        with self.sheet.linked(self.link, station.ref), self.sheet.group("station", data_station=station.ref, data_x=x):
            _mark(self.sheet, station, self.trace, index, x, y, down=False)
        at, room = y + 18, _STEP - 30
        left = x - 12
        texts = [
            (station.label + (" · here" if station.here else ""), 12.0, True, INK, 2),
            (station.detail, 10.5, False, INK, 2),
        ]
        texts.append((" · ".join(p for p in (station.where, _proof(station)) if p), 9.5, False, SOFT, 3))
        texts += [(f"{case}: {words}", 10.0, False, INK, 2) for case, words in readings(station, self.trace.cases)]
        branches = [b for b in self.trace.branches if b.at == index]
        for b in branches[:_BRANCHES]:
            texts.append((f"also {b.wire + ' ' if b.wire else ''}to {b.label}, {b.detail}", 9.5, False, SOFT, 2))
        if len(branches) > _BRANCHES:
            texts.append((f"and {len(branches) - _BRANCHES} more ways", 9.5, False, SOFT, 1))
        for text, size, bold, fill, lines in texts:
            for row in wrap(text, room, size, lines, bold):
                at += size + 4
                self.sheet.text(left, at, row, size, bold=bold, fill=fill, width=room)
        return at
