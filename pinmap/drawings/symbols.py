"""Graphical symbols on a line, after IEC 60617: fuse, contact, coil, resistor, diode, converter, terminal, supply."""

from __future__ import annotations

import math

from pinmap.core.model.words import DeviceKind
from pinmap.drawings.svg import INK, PAPER, Sheet


def device_symbol(sheet: Sheet, kind: DeviceKind, part: str, x: float, y: float) -> None:
    """The symbol of a device, its middle at (x, y), about 28 px wide; ``part`` tells a relay's coil from its
    contact."""
    if kind is DeviceKind.RELAY and part == "coil":
        sheet.rect(x - 9, y - 7, 18, 14, stroke_width=1.6)
        sheet.line(x - 4, y + 7, x + 4, y - 7, stroke_width=1.6)
    elif kind in {DeviceKind.RELAY, DeviceKind.SWITCH}:
        sheet.rect(x - 12, y - 8, 24, 16, fill=PAPER, stroke="none")
        sheet.line(x - 11, y, x + 8, y - 9, stroke_width=2)
        sheet.circle(x - 11, y, 2.6, fill=INK)
        sheet.circle(x + 11, y, 2.6, fill=INK)
    elif kind is DeviceKind.FUSE:
        sheet.rect(x - 14, y - 5, 28, 10, stroke_width=1.6)
        sheet.line(x - 14, y, x + 14, y, stroke_width=1.2)
    elif kind is DeviceKind.RESISTOR:
        sheet.rect(x - 14, y - 5, 28, 10, stroke_width=1.6)
    elif kind is DeviceKind.DIODE:
        sheet.path(f"M{x - 8:.1f} {y - 7:.1f}V{y + 7:.1f}L{x + 7:.1f} {y:.1f}Z", fill=PAPER, stroke_width=1.6)
        sheet.line(x + 7, y - 7, x + 7, y + 7, stroke_width=2)
    elif kind is DeviceKind.CONVERTER:
        sheet.rect(x - 11, y - 11, 22, 22, stroke_width=1.6)
        sheet.line(x - 11, y + 11, x + 11, y - 11, stroke_width=1.2)
    else:
        sheet.circle(x, y, 7, stroke_width=1.8)
        sheet.circle(x, y, 2.5, fill=INK)


def minus_symbol(sheet: Sheet, x: float, y: float, out: int) -> None:
    """Battery minus at the end of a line that goes left (out -1) or right (1)."""
    for i, half in enumerate((9, 6, 3)):
        at = x + out * 4 * i
        sheet.line(at, y - half, at, y + half, stroke_width=2)


def plus_symbol(sheet: Sheet, x: float, y: float) -> None:
    """A supply at the end of a line."""
    sheet.circle(x, y, 7, stroke_width=1.6)
    sheet.line(x - 4, y, x + 4, y, stroke_width=1.6)
    sheet.line(x, y - 4, x, y + 4, stroke_width=1.6)


def line_width(mm2: float) -> float:
    """Width of a wire's line by its conductor area [px]."""
    return min(2.0 + 0.9 * math.sqrt(max(mm2, 0.0)), 8.0)
