"""A bundle cut across: every wire where it lies in the packing, as a ring of its insulation's colour with its id and
colour letters inside, a number with a key where it is too thin for them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pinmap.drawings.svg import INK, PALE, PAPER, SOFT, Box, Sheet, colour_pair, text_width

_ACROSS = 380.0  # a bundle of few wires is drawn so wide [px]
_LEAST_WIRE = 17.0  # no wire is drawn thinner than this [px], unless the drawing grew too large
_MOST_ACROSS = 1400.0
_EDGE = 26.0
_KEY_COLUMN = 150.0
_KEY_ROW = 15.0


@dataclass(frozen=True, slots=True)
class SectionWire:
    """A wire of the bundle: its outside diameter and the middle of its place [mm]."""

    id: str
    colour: str
    diameter_mm: float
    at_mm: tuple[float, float]


def section_svg(
    wires: Sequence[SectionWire],
    bundle_mm: float,
    *,
    title: str,
    covering: str = "",
    covering_mm: tuple[float, float] | None = None,
    rings_mm: Sequence[float] = (),
    splices: int = 0,
) -> str:
    """The cross-section of a bundle, of whose circles the last ``splices`` are splices: ``covering_mm`` are the
    diameters in and over its covering, ``rings_mm`` those over the rings of a lay-up."""
    inside_mm, outside_mm = covering_mm or (bundle_mm, bundle_mm)
    thinnest = min((w.diameter_mm for w in wires), default=1.0)
    scale = max(_ACROSS / max(outside_mm, 1e-9), _LEAST_WIRE / thinnest)
    scale = min(scale, _MOST_ACROSS / max(outside_mm, 1e-9))
    radius = outside_mm / 2 * scale
    cx = cy = radius + _EDGE
    sheet = Sheet()
    sheet.circle(cx, cy, radius, class_="covering", fill=PALE if covering_mm is not None else PAPER, stroke_width=1.4)
    if covering_mm is not None:
        sheet.circle(cx, cy, inside_mm / 2 * scale, class_="inside", stroke_width=0.8)
        sheet.circle(
            cx, cy, bundle_mm / 2 * scale, class_="bundle", stroke=SOFT, stroke_width=0.8, stroke_dasharray="2 3"
        )
    for over_mm in rings_mm[:-1]:
        sheet.circle(
            cx,
            cy,
            over_mm / 2 * scale,
            class_="ring",
            fill="none",
            stroke=SOFT,
            stroke_width=0.8,
            stroke_dasharray="4 4",
        )
    key: list[SectionWire] = []
    for wire in wires:
        number = _wire(sheet, wire, cx + wire.at_mm[0] * scale, cy + wire.at_mm[1] * scale, scale, len(key) + 1)
        if number:
            key.append(wire)
    y = cy + radius + 22
    count = len(wires) - splices
    words = f"{count} wire{'' if count == 1 else 's'}"
    words += f" beside {splices} splice{'' if splices == 1 else 's'}" if splices else ""
    words += f", ø {bundle_mm:.1f} mm"
    words += f", ø {outside_mm:.1f} mm over {covering}" if covering_mm is not None else ""
    right = max(2 * cx, text_width(words, 11) + 2 * _EDGE)
    sheet.text(_EDGE, y, words, 11)
    y += 8
    columns = max(1, int((right - 2 * _EDGE) / _KEY_COLUMN))
    rows = math.ceil(len(key) / columns)
    for i, wire in enumerate(key):
        x, line = _EDGE + (i // rows) * _KEY_COLUMN, y + (i % rows + 1) * _KEY_ROW
        sheet.text(x, line, f"{i + 1}", 10, bold=True)
        sheet.text(x + 26, line, f"{wire.id} {wire.colour}".strip(), 10, width=_KEY_COLUMN - 34)
    return sheet.svg(Box(0, 0, right, y + rows * _KEY_ROW + 12), title, words, "section")


def _wire(sheet: Sheet, wire: SectionWire, x: float, y: float, scale: float, number: int) -> bool:
    """Draws one wire; gives whether it bears the number instead of its words."""
    r = wire.diameter_mm / 2 * scale
    wall = max(0.2 * r, 2.0)
    base, tracer = colour_pair(wire.colour) if wire.colour else (PAPER, "")
    inner = r - wall
    lines = [t for t in (wire.id, wire.colour) if t]
    size = min(11.0, inner * 0.8)
    widest = max((text_width(t, size, True) for t in lines), default=0.0)
    fits = size >= 6.5 and math.hypot(widest / 2, size * len(lines) / 2) <= inner
    with sheet.group("wire", f"{wire.id} {wire.colour}, {wire.diameter_mm:g} mm", data_wire=wire.id):
        sheet.circle(x, y, r - 0.4, fill=base, stroke_width=0.8)
        if tracer:  # the tracer runs along the wire: seen from its end, short marks on the ring
            sheet.circle(
                x, y, r - wall / 2, fill="none", stroke=tracer, stroke_width=wall * 0.8,
                stroke_dasharray=f"{r * 0.35:.2f} {r * 1.2:.2f}",
            )  # fmt: skip
        sheet.circle(x, y, inner, stroke_width=0.6, stroke=INK)
        if fits:
            top = y - (len(lines) - 1) * size * 0.55 + size * 0.36
            for i, text in enumerate(lines):
                sheet.text(x, top + i * size * 1.1, text, size, anchor="middle", bold=i == 0)
        else:
            digits = str(number)
            small = min(10.0, inner * 1.5, 1.7 * inner / max(text_width(digits, 1.0), 1e-9))
            sheet.text(x, y + small * 0.36, digits, small, anchor="middle")
    return not fits
