"""The board plan as DXF: release 12, which every program reads; one unit is one millimetre, y points up.

Each run's middle is a polyline on the layer RUNS; the key of what is drawn stands as extended data of PINMAP.
"""

from __future__ import annotations

from collections.abc import Iterator

from pinmap.core.loom.board import LAYERS, Board, Frame, Line, Ring, Shape, Words, around
from pinmap.core.loom.plane import Point

_APP = "PINMAP"
_CAP_SHARE = 0.716  # height of capitals by the size of the letters, of the face that the plan is measured with
_GREY, _DARK = 8, 7  # colour numbers
_COLOURS = {"bundles": 9, "runs": 1, "leaders": _GREY, "hot": _GREY}

Tag = tuple[int, str | float | int]


def write_dxf(board: Board) -> bytes:
    """The plan as a DXF file in ASCII."""
    tags = [*_header(board), *_tables(), (0, "SECTION"), (2, "ENTITIES")]
    for shape in board.shapes:
        tags += _entity(shape, board.height_mm)
    tags += [(0, "ENDSEC"), (0, "EOF")]
    lines = [text for code, value in tags for text in (str(code), _text(value))]
    return ("\r\n".join(lines) + "\r\n").encode("ascii")


def _text(value: str | float | int) -> str:
    return f"{value:.4f}" if isinstance(value, float) else str(value)


def _header(board: Board) -> Iterator[Tag]:
    x0, y0, x1, y1 = around(board.shapes)
    yield from ((0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009"))
    yield from ((9, "$EXTMIN"), (10, float(x0)), (20, float(board.height_mm - y1)))
    yield from ((9, "$EXTMAX"), (10, float(x1)), (20, float(board.height_mm - y0)))
    yield from ((9, "$LUNITS"), (70, 2), (0, "ENDSEC"))


def _tables() -> Iterator[Tag]:
    yield from ((0, "SECTION"), (2, "TABLES"))
    yield from ((0, "TABLE"), (2, "LTYPE"), (70, 1), (0, "LTYPE"), (2, "CONTINUOUS"), (70, 0), (3, "Solid line"))
    yield from ((72, 65), (73, 0), (40, 0.0), (0, "ENDTAB"))
    yield from ((0, "TABLE"), (2, "LAYER"), (70, len(LAYERS)))
    for layer in LAYERS:
        yield from ((0, "LAYER"), (2, layer.upper()), (70, 0), (62, _COLOURS.get(layer, _DARK)), (6, "CONTINUOUS"))
    yield from ((0, "ENDTAB"), (0, "TABLE"), (2, "STYLE"), (70, 1), (0, "STYLE"), (2, "STANDARD"), (70, 0), (40, 0.0))
    yield from ((41, 1.0), (50, 0.0), (71, 0), (42, 2.5), (3, "arial.ttf"), (4, ""), (0, "ENDTAB"))
    yield from ((0, "TABLE"), (2, "APPID"), (70, 1), (0, "APPID"), (2, _APP), (70, 0), (0, "ENDTAB"), (0, "ENDSEC"))


def _entity(shape: Shape, height_mm: float) -> Iterator[Tag]:
    layer = (8, shape.layer.upper())
    if isinstance(shape, Line):
        yield from _polyline(shape.points, layer, height_mm, shape.key, shape.width_mm)
    elif isinstance(shape, Frame):
        yield from _polyline(shape.corners, layer, height_mm, shape.key)
    elif isinstance(shape, Ring):
        (x, y), r = shape.at, shape.radius_mm
        yield from ((0, "CIRCLE"), layer, (10, x), (20, height_mm - y), (40, r))
    elif isinstance(shape, Words):
        x, y = shape.at
        yield from ((0, "TEXT"), layer, (10, x), (20, height_mm - y), (40, shape.size_mm * _CAP_SHARE))
        yield from ((1, _escaped(shape.text)), (7, "STANDARD"))


def _polyline(
    points: tuple[Point, ...], layer: Tag, height_mm: float, key: str = "", width_mm: float = 0.0
) -> Iterator[Tag]:
    wide = float(width_mm) if layer[1] == "BUNDLES" else 0.0
    yield from ((0, "POLYLINE"), layer, (66, 1), (10, 0.0), (20, 0.0), (30, 0.0), (70, 0), (40, wide), (41, wide))
    if key:
        yield from ((1001, _APP), (1000, _escaped(key)[:255]))
    for x, y in points:
        yield from ((0, "VERTEX"), layer, (10, float(x)), (20, float(height_mm - y)), (30, 0.0))
    yield from ((0, "SEQEND"), layer)


def _escaped(text: str) -> str:
    """Text that a reader shows as it is: a circumflex begins a control sign, two per cent signs a symbol, and what is
    not ASCII stands by its number."""
    text = text.replace("%%", "% %").replace("^", "^ ")
    return "".join(c if 32 <= ord(c) < 127 else f"\\U+{ord(c):04X}" if ord(c) < 0x10000 else "?" for c in text)
