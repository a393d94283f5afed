"""Charts: a fuse among its wire, load and short circuits; the voltage ladder of a load; a wire's temperature."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pinmap.core.electrics.fuse_curves import FuseCurve
from pinmap.core.electrics.ladder import Along, Ladder
from pinmap.core.electrics.protection import FuseReport
from pinmap.core.electrics.wire_limits import damage_curve
from pinmap.core.errors import InputError
from pinmap.drawings.svg import INK, PALE, PAPER, SOFT, Box, Sheet, num, text_box, text_width

_LEFT, _TOP, _WIDTH, _HEIGHT = 62.0, 24.0, 430.0, 300.0
_LEAST_S, _MOST_S = 0.01, 10_000.0


class _LogAxes:
    """A plot with logarithmic axes: current to the right, time upwards."""

    def __init__(self, low_a: float, high_a: float) -> None:
        self.low, self.high = math.log10(low_a), math.log10(high_a)
        self.t0, self.t1 = math.log10(_LEAST_S), math.log10(_MOST_S)

    def x(self, amps: float) -> float:
        return _LEFT + _WIDTH * (math.log10(amps) - self.low) / (self.high - self.low)

    def y(self, seconds: float) -> float:
        clipped = min(max(math.log10(seconds), self.t0), self.t1)
        return _TOP + _HEIGHT * (self.t1 - clipped) / (self.t1 - self.t0)

    def grid(self, sheet: Sheet) -> None:
        for decade in range(int(self.t0), int(self.t1) + 1):
            y = self.y(10.0**decade)
            sheet.line(_LEFT, y, _LEFT + _WIDTH, y, stroke=PALE, stroke_width=0.6)
            sheet.text(_LEFT - 6, y + 3.5, f"{10.0**decade:g}", 10, anchor="end")
        last = -math.inf
        for decade in range(math.floor(self.low), math.ceil(self.high) + 1):
            for digit in range(1, 10):
                amps = digit * 10.0**decade
                if not self.low <= math.log10(amps) <= self.high:
                    continue
                x = self.x(amps)
                sheet.line(x, _TOP, x, _TOP + _HEIGHT, stroke=PALE, stroke_width=0.8 if digit == 1 else 0.4)
                words = f"{amps:g}"
                if digit in {1, 2, 5} and x - text_width(words, 10) / 2 > last + 6:
                    sheet.text(x, _TOP + _HEIGHT + 14, words, 10, anchor="middle")
                    last = x + text_width(words, 10) / 2
        sheet.rect(_LEFT, _TOP, _WIDTH, _HEIGHT, fill="none")
        sheet.text(_LEFT + _WIDTH / 2, _TOP + _HEIGHT + 30, "current, A", 11, anchor="middle")
        sheet.text(_LEFT, _TOP - 8, "time, s", 11, anchor="middle")


def fuse_chart(report: FuseReport) -> str:
    """Time over current of one fuse: its band hatched, the wire's limit, the load, inrush and short circuits; a fuse
    before it in broken lines. Raises InputError while the fuse has no rating."""
    curve = report.curve
    if curve is None:
        raise InputError("rating_a", None, "enter the fuse's rating; without it there is no curve")
    top_a = max([m.current_a for m in (*report.shorts, *report.inrush)] + [8 * curve.rating_a]) * 1.4
    low_a = max(
        min(0.5 * curve.rating_a, 0.8 * report.current_a if report.current_a > 0 else 1e9), 0.1 * curve.rating_a
    )
    axes, sheet = _LogAxes(low_a, top_a), Sheet()
    axes.grid(sheet)
    words = _Words(sheet)
    _band(sheet, axes, curve, top_a)
    words.put(
        axes.x(curve.rating_a * 2.45),
        axes.y(curve.latest_s(curve.rating_a * 2.45)) - 5,
        f"opens at the latest, {curve.rating_a:g} A",
    )
    words.put(
        axes.x(curve.rating_a * 1.9), axes.y(curve.earliest_s(curve.rating_a * 1.9)) + 12, "at the earliest", "end"
    )
    if report.before_curve is not None:
        for pick in (report.before_curve.earliest_s, report.before_curve.latest_s):
            _line(sheet, axes, _sampled(report.before_curve, pick, top_a), stroke=SOFT, stroke_dasharray="2 3")
        at = min(report.before_curve.rating_a * 1.6, top_a / 1.5)
        words.put(
            axes.x(at),
            axes.y(report.before_curve.latest_s(at)) - 5,
            f"{report.before}, {report.before_curve.rating_a:g} A",
        )
    if report.damage is not None:
        found = damage_curve(report.damage, low_a, top_a)
        _line(sheet, axes, found, stroke_width=2.4, stroke_dasharray="9 3 2 3")
        inside = [p for p in found if _LEAST_S < p[1] < _MOST_S / 8]
        if inside:
            amps, seconds = inside[len(inside) // 3]
            words.put(axes.x(amps) + 8, axes.y(seconds) - 4, f"wire {report.damage.wire.id} is hurt")
    if report.current_a >= low_a:
        _upright(sheet, axes, report.current_a, "4 2")
        words.put(axes.x(report.current_a) - 4, _TOP + 26, f"load {report.current_a:.3g} A", "end")
    for n, mark in enumerate(report.shorts):
        _upright(sheet, axes, mark.current_a, "1 2")
        words.put(axes.x(mark.current_a) - 4, _TOP + 44 + 15 * n, f"{mark.label}, {mark.current_a:.0f} A", "end")
    worst = sorted(report.inrush, key=lambda m: -m.current_a)[:3]
    for mark in worst:
        x, y = axes.x(mark.current_a), axes.y(mark.seconds)
        sheet.path(
            f"M{num(x - 4)} {num(y - 4)}L{num(x + 4)} {num(y + 4)}M{num(x - 4)} {num(y + 4)}L{num(x + 4)} {num(y - 4)}",
            stroke_width=1.8,
        )
    if worst:
        first = worst[0]
        words.put(axes.x(first.current_a) - 8, axes.y(first.seconds) + 4, "inrush", "end")
    box = Box(0, 0, _LEFT + _WIDTH + 12, _TOP + _HEIGHT + 38)
    title = f"Time over current of {report.label}"
    return sheet.svg(box, title, f"{curve}; {len(report.wires)} wires behind it", "chart")


class _Words:
    """Puts words on a chart, each on white, away from those before it and inside the frame."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.taken: list[Box] = []

    def put(self, x: float, y: float, text: str, anchor: str = "start") -> None:
        width = text_width(text, 10)
        left = x - (width if anchor == "end" else 0.0)
        left = min(max(left, _LEFT + 4), _LEFT + _WIDTH - width - 4)
        y = min(max(y, _TOP + 12), _TOP + _HEIGHT - 4)
        for step in range(40):
            shift = 13 * ((step + 1) // 2) * (1 if step % 2 else -1)
            box = text_box(left, y + shift, text, 10)
            inside = box.y0 >= _TOP and box.y1 <= _TOP + _HEIGHT
            if inside and not any(box.hits(t, 1.0) for t in self.taken):
                break
        self.taken.append(box)
        self.sheet.rect(
            box.x0 - 1, box.y0, box.x1 - box.x0 + 2, box.y1 - box.y0, fill=PAPER, stroke="none", opacity=0.85
        )
        self.sheet.text(left, box.y1 - 2.2, text, 10)


def _upright(sheet: Sheet, axes: _LogAxes, amps: float, dashes: str) -> None:
    sheet.line(axes.x(amps), _TOP, axes.x(amps), _TOP + _HEIGHT, stroke_width=1.2, stroke_dasharray=dashes)


def _sampled(curve: FuseCurve, pick: object, top_a: float) -> list[tuple[float, float]]:
    assert callable(pick)
    low = curve.held_a
    if top_a <= low:
        return []
    currents = [low * (top_a / low) ** (i / 80) for i in range(81)]
    return [(a, s) for a in currents if math.isfinite(s := pick(a))]


def _line(sheet: Sheet, axes: _LogAxes, points: Sequence[tuple[float, float]], **look: str | float | None) -> None:
    inside = [(a, s) for a, s in points if axes.low <= math.log10(a) <= axes.high and s >= _LEAST_S]
    if len(inside) > 1:
        path = "L".join(f"{num(axes.x(a))} {num(axes.y(s))}" for a, s in inside)
        sheet.path(f"M{path}", **({"stroke_width": 1.4} | look))


def _band(sheet: Sheet, axes: _LogAxes, curve: FuseCurve, top_a: float) -> None:
    """Between earliest and latest time, hatched so that black-and-white print shows it."""
    count = int(_WIDTH / 7)
    for i in range(count + 1):
        amps = 10 ** (axes.low + (axes.high - axes.low) * i / count)
        early, late = curve.earliest_s(amps), curve.latest_s(amps)
        if math.isfinite(early) and early < _MOST_S and late > _LEAST_S:
            x = axes.x(amps)
            sheet.line(x, axes.y(early), x, axes.y(min(late, _MOST_S)), stroke=SOFT, stroke_width=0.7)
    _line(sheet, axes, _sampled(curve, curve.earliest_s, top_a))
    late_points = _sampled(curve, curve.latest_s, top_a)
    _line(sheet, axes, [(curve.opening_a, _MOST_S), *((a, s) for a, s in late_points if a >= curve.opening_a)])


_ROW, _NAME, _BAR = 24.0, 190.0, 260.0


def ladder_chart(found: Ladder) -> str:
    """What is left of the supply piece by piece: each bar is what one piece keeps, starting where the one before it
    ended; the load itself stands between feed and return."""
    sheet = Sheet()
    lost = max(found.lost_v, 1e-6)
    scale = _BAR / lost
    y, gone = 40.0, 0.0
    sheet.text(0, 14, f"{found.supply_v:.2f} V at the source", 12, bold=True)
    sheet.text(_NAME, 30, "lost so far", 10, fill=SOFT)
    sheet.line(_NAME, 34, _NAME, y + _ROW * (len(found.rungs) + 1), stroke_width=1.2)
    side = "feed"
    for rung in found.rungs:
        if rung.side != side:
            y = _load_row(sheet, found, y)
            side = rung.side
        x = _NAME + gone * scale
        width = max(rung.drop_v * scale, 0.8)
        sheet.text(0, y + 14, rung.label, 11, width=_NAME - 8)
        sheet.rect(x, y + 3, width, _ROW - 9, fill=PALE if rung.wire else PAPER)
        for k in range(1, int(width / 6) + 1 if rung.wire else 0):  # wires hatched, joints plain
            sheet.line(x + 6 * k - 3, y + _ROW - 6, x + 6 * k, y + 3, stroke_width=0.5)
        words = f"{rung.drop_v * 1000:.3g} mV"
        right = x + width + 4
        anchor_left = right + text_width(words, 10) > _NAME + _BAR + 60
        sheet.text(x - 4 if anchor_left else right, y + 14, words, 10, anchor="end" if anchor_left else "start")
        gone += rung.drop_v
        y += _ROW
    if side == "feed":
        y = _load_row(sheet, found, y)
    sheet.text(_NAME, y + 16, f"{lost:.3g} V lost in all: joints white, wires hatched", 11)
    box = Box(0, 0, _NAME + _BAR + 66, y + 26)
    return sheet.svg(box, f"Voltage ladder of {found.load}, {found.case.name}", f"{lost:.3g} V lost", "chart")


def _load_row(sheet: Sheet, found: Ladder, y: float) -> float:
    sheet.rect(0, y + 2, _NAME + _BAR + 60, _ROW - 6, fill=PAPER, stroke_width=1.4)
    state = found.state
    text = f"{found.load}: gets {state.voltage_v:.2f} V, needs {state.need_v:.2f} V, draws {state.current_a:.3g} A"
    sheet.text(6, y + 14, text, 11, bold=True, width=_NAME + _BAR + 48)
    return y + _ROW


def along_chart(found: Along) -> str:
    """Conductor and air over the length of a wire's way; the insulation's class as a broken line. Raises InputError for
    a wire that lies in no run."""
    if not found.stretches:
        raise InputError("wire", found.wire, "it lies in no run of the loom, so there is nothing to draw along")
    sheet = Sheet()
    length = max(sum(s.length_m for s in found.stretches), 1e-6)
    high = max([found.class_c, *(s.conductor_c for s in found.stretches)]) + 10
    low = min(s.air_c for s in found.stretches) - 15

    def x(m: float) -> float:
        return _LEFT + _WIDTH * m / length

    def y(c: float) -> float:
        return _TOP + _HEIGHT * (high - c) / (high - low)

    for c in range(math.ceil(low / 20) * 20, int(high) + 1, 20):
        sheet.line(_LEFT, y(c), _LEFT + _WIDTH, y(c), stroke=PALE, stroke_width=0.6)
        sheet.text(_LEFT - 6, y(c) + 3.5, f"{c}", 10, anchor="end")
    at, last = 0.0, -math.inf
    top: list[str] = []
    for s in found.stretches:
        x0, x1 = x(at), x(at + s.length_m)
        for k in range(int((x1 - x0) / 7)):  # the air hatched below its line
            sheet.line(x0 + 7 * k, y(low), x0 + 7 * k + 5, y(s.air_c), stroke=PALE, stroke_width=0.7)
        sheet.line(x0, y(s.air_c), x1, y(s.air_c), stroke=SOFT, stroke_width=1.2)
        top += [f"{num(x0)} {num(y(s.conductor_c))}", f"{num(x1)} {num(y(s.conductor_c))}"]
        if x0 > last:
            sheet.text(x0 + 2, _TOP + _HEIGHT + 14, f"{s.zone}, {s.wires} wires", 9, width=max(x1 - x0 - 4, 60))
            last = x0 + max(x1 - x0, 64)
        sheet.line(x0, _TOP, x0, _TOP + _HEIGHT, stroke=PALE, stroke_width=0.5)
        at += s.length_m
    sheet.path("M" + "L".join(top), stroke_width=2.2)
    sheet.line(_LEFT, y(found.class_c), _LEFT + _WIDTH, y(found.class_c), stroke_dasharray="7 3")
    sheet.text(_LEFT + 4, y(found.class_c) - 4, f"class {found.class_c:g} °C", 10)
    sheet.text(_LEFT + 4, y(found.stretches[0].conductor_c) - 5, f"conductor, {found.current_a:.3g} A", 10)
    sheet.text(_LEFT + 4, y(found.stretches[0].air_c) + 12, "air", 10)
    sheet.rect(_LEFT, _TOP, _WIDTH, _HEIGHT, fill="none", stroke=INK)
    sheet.text(_LEFT, _TOP - 8, "°C", 11, anchor="middle")
    sheet.text(_LEFT + _WIDTH / 2, _TOP + _HEIGHT + 30, f"along the wire, {length:.2f} m", 11, anchor="middle")
    box = Box(0, 0, _LEFT + _WIDTH + 12, _TOP + _HEIGHT + 38)
    return sheet.svg(box, f"Temperature along wire {found.wire}, {found.case.name}", f"{length:.2f} m", "chart")
