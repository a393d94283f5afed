"""The sheet every drawing is made on: escaped, measured text and shapes, as one self-contained SVG string.

Only presentation attributes and class names are written (no style attributes or elements, no ids), so a drawing can
stand inline in a page under a strict content security policy, several on one page.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from html import escape

from pinmap.core.errors import InputError

FONT = "Liberation Sans, Arial, Helvetica, sans-serif"
INK = "#111111"
SOFT = "#5a5a5a"
PALE = "#b9b9b9"
PAPER = "#ffffff"

Link = Callable[[str], str]
"""Gives the address for a machine name such as "pin:host:C1:4", or "" for none."""

# Advance widths of the sans-serif text face in 1/1000 em, code points 32 to 126 (metrics of the PostScript core font
# that the fonts named above share; compared with Liberation Sans in Chromium).
_WIDTHS = (
    "278 278 355 556 556 889 667 191 333 333 389 584 278 333 278 278 556 556 556 556 556 556 556 556 556 556 278 278 "
    "584 584 584 556 1015 667 667 722 722 667 611 778 722 278 500 667 556 833 722 778 667 778 722 667 611 722 667 944 "
    "667 667 611 278 278 278 469 556 333 556 556 500 556 556 278 556 556 222 222 500 222 833 556 556 556 556 333 500 "
    "278 556 500 722 500 500 500 334 260 334 584"
)
_EM = tuple(int(w) for w in _WIDTHS.split())
_BOLD = 1.1
_BIDI = frozenset("\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def clean(text: str) -> str:
    """Text that XML and a line of a drawing can hold: control characters become spaces, what XML forbids becomes the
    replacement sign, direction overrides go."""
    out = []
    for char in text:
        category = unicodedata.category(char)
        if char in _BIDI:
            continue
        if category == "Cc" or category in {"Zl", "Zp"}:
            out.append(" ")
        elif category == "Cs" or ord(char) & 0xFFFE == 0xFFFE:
            out.append("\ufffd")
        else:
            out.append(char)
    return " ".join("".join(out).split())


@lru_cache(maxsize=4096)
def _em(char: str) -> int:
    code = ord(char)
    if 32 <= code <= 126:
        return _EM[code - 32]
    if unicodedata.combining(char) or unicodedata.category(char) in {"Mn", "Cf", "Me"}:
        return 0
    if char == "·":
        return 333
    if unicodedata.east_asian_width(char) in {"W", "F"} or code >= 0x1F000:
        return 1370
    if code < 0x250:
        base = unicodedata.normalize("NFD", char)[0]
        return _EM[ord(base) - 32] if 32 <= ord(base) <= 126 else 600
    return 1000 if code > 0x590 else 720


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of a line of text [px]."""
    return sum(_em(c) for c in text) * size / 1000 * (_BOLD if bold else 1.0)


def clip(text: str, width: float, size: float, bold: bool = False) -> str:
    """The text itself, or as much of it as fits with an ellipsis."""
    if text_width(text, size, bold) <= width:
        return text
    room = width - size * (_BOLD if bold else 1.0)
    used, kept = 0.0, []
    for char in text:
        used += text_width(char, size, bold)
        if used > room:
            break
        kept.append(char)
    return "".join(kept).rstrip() + "…"


def wrap(text: str, width: float, size: float, lines: int = 99, bold: bool = False) -> list[str]:
    """The text in lines no wider than ``width``; a word that is too wide is cut; beyond ``lines`` it is clipped."""
    rows: list[str] = []
    row, used = "", 0.0
    space = text_width(" ", size, bold)
    for word in clean(text).split(" "):
        if len(rows) > lines:
            break
        wide = text_width(word, size, bold)
        if row and used + space + wide <= width:
            row, used = f"{row} {word}", used + space + wide
            continue
        if row:
            rows.append(row)
        row, used = word, wide
        if wide > width:
            *full, row = _cut(word, width, size, bold)
            used = text_width(row, size, bold)
            rows += full
    if row:
        rows.append(row)
    if len(rows) > lines:
        kept = rows[:lines]
        kept[-1] = clip(kept[-1] + " " + rows[lines], width, size, bold)
        if not kept[-1].endswith("…"):
            kept[-1] = clip(kept[-1], width - size, size, bold) + "…"
        return kept
    return rows


def _cut(word: str, width: float, size: float, bold: bool) -> list[str]:
    """A word in pieces that fit, one character at least in each."""
    pieces, start, used = [], 0, 0.0
    for i, char in enumerate(word):
        wide = text_width(char, size, bold)
        if used + wide > width and i > start:
            pieces.append(word[start:i])
            start, used = i, 0.0
        used += wide
    return [*pieces, word[start:]]


def num(value: float) -> str:
    """A coordinate, short and the same everywhere."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


def checked_url(url: str) -> str:
    """The address a link function gave, if it is one of this site or http(s). Raises InputError."""
    head = url.split("/", 1)[0].split("?", 1)[0].split("#", 1)[0]
    if ":" in head and head not in {"http:", "https:"}:
        raise InputError("link", url, "give an address of this site, or one that begins with http or https")
    return url


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle by its corners [px]."""

    x0: float
    y0: float
    x1: float
    y1: float

    def hits(self, other: Box, gap: float = 0.0) -> bool:
        return (
            self.x0 < other.x1 + gap
            and other.x0 < self.x1 + gap
            and self.y0 < other.y1 + gap
            and other.y0 < self.y1 + gap
        )


def text_box(x: float, y: float, text: str, size: float, anchor: str = "start", bold: bool = False) -> Box:
    """What a line of text covers, ascenders and descenders included; (x, y) is its anchor on the base line."""
    width = text_width(text, size, bold)
    left = x - {"start": 0.0, "middle": width / 2, "end": width}[anchor]
    return Box(left, y - 0.76 * size, left + width, y + 0.22 * size)


class Sheet:
    """Collects shapes; ``svg()`` gives the finished drawing."""

    def __init__(self) -> None:
        self._parts: list[str] = []
        self._linked = False

    def add(self, tag: str, **attributes: str | float | None) -> None:
        """One empty element; ``class_`` and underscores stand for class and hyphens; None leaves an attribute out."""
        self._parts.append(f"<{tag}{_attributes(attributes)}/>")

    def line(self, x1: float, y1: float, x2: float, y2: float, **attributes: str | float | None) -> None:
        self.add("line", x1=x1, y1=y1, x2=x2, y2=y2, **({"stroke": INK} | attributes))

    def path(self, d: str, **attributes: str | float | None) -> None:
        self.add("path", d=d, **({"stroke": INK, "fill": "none"} | attributes))

    def rect(self, x: float, y: float, width: float, height: float, **attributes: str | float | None) -> None:
        self.add("rect", x=x, y=y, width=width, height=height, **({"fill": PAPER, "stroke": INK} | attributes))

    def circle(self, cx: float, cy: float, r: float, **attributes: str | float | None) -> None:
        self.add("circle", cx=cx, cy=cy, r=r, **({"fill": PAPER, "stroke": INK} | attributes))

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 11,
        *,
        anchor: str = "start",
        bold: bool = False,
        italic: bool = False,
        fill: str = INK,
        width: float | None = None,
        class_: str = "",
    ) -> str:
        """One line of text, clipped to ``width`` with the full text as its title; gives what was written."""
        full = clean(text)
        if not full:
            return ""
        shown = clip(full, width, size, bold) if width is not None else full
        attributes: dict[str, str | float | None] = {
            "class": class_ or None,
            "x": x,
            "y": y,
            "font_size": size,
            "text_anchor": anchor if anchor != "start" else None,
            "font_weight": "bold" if bold else None,
            "font_style": "italic" if italic else None,
            "fill": fill if fill != INK else None,
        }
        element = f"<text{_attributes(attributes)}>{escape(shown)}</text>"
        if shown != full:
            element = f"<g><title>{escape(full)}</title>{element}</g>"
        self._parts.append(element)
        return shown

    def take(self, other: Sheet) -> None:
        """Adds what another sheet holds, on top."""
        self._parts += other._parts
        self._linked = self._linked or other._linked

    @contextmanager
    def group(self, class_: str = "", title: str = "", **attributes: str | float | None) -> Iterator[None]:
        """A group of shapes, with a tooltip where a title is given."""
        self._parts.append(f"<g{_attributes({'class': class_ or None, **attributes})}>")
        if title:
            self._parts.append(f"<title>{escape(clean(title))}</title>")
        yield
        self._parts.append("</g>")

    @contextmanager
    def linked(self, link: Link | None, key: str) -> Iterator[None]:
        """What is drawn inside leads to where the caller's link function says; no function, no link."""
        url = checked_url(link(key)) if link is not None else ""
        if url:
            self._linked = True
            self._parts.append(f'<a href="{escape(url)}">')
        yield
        if url:
            self._parts.append("</a>")

    def svg(self, box: Box, title: str, description: str, class_: str, unit: str = "") -> str:
        """The drawing, its view box as given, shown so large in ``unit``, pixels without one. A drawing with links is
        a group for assistive technology, since an image hides what is inside it."""
        width, height = box.x1 - box.x0, box.y1 - box.y0
        view = " ".join(num(v) for v in (box.x0, box.y0, width, height))
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing {escape(class_)}" viewBox="{view}" '
            f'width="{num(width)}{unit}" height="{num(height)}{unit}" role="{"group" if self._linked else "img"}" '
            f'aria-label="{escape(clean(title))}" font-family="{FONT}" fill="{INK}">'
            f"<title>{escape(clean(title))}</title><desc>{escape(clean(description))}</desc>"
            f'<rect class="paper" x="{num(box.x0)}" y="{num(box.y0)}" width="{num(width)}" height="{num(height)}" '
            f'fill="{PAPER}"/>' + "".join(self._parts) + "</svg>"
        )


def _attributes(values: dict[str, str | float | None]) -> str:
    out = []
    for name, value in values.items():
        if value is None:
            continue
        text = num(value) if isinstance(value, int | float) else clean(value)
        out.append(f' {name.rstrip("_").replace("_", "-")}="{escape(text)}"')
    return "".join(out)


# Insulation colours on screen for the letters of IEC 60757; the letters themselves always stand beside the line.
COLOUR_INK: dict[str, str] = {
    "BK": "#1a1a1a",
    "BN": "#7a4a21",
    "RD": "#c8202f",
    "OG": "#ee7d1b",
    "YE": "#f4cf1f",
    "GN": "#1f8a43",
    "BU": "#2159b5",
    "VT": "#7b3fa0",
    "GY": "#8c8c8c",
    "WH": "#ffffff",
    "PK": "#f19bbd",
    "GD": "#b8923a",
    "TQ": "#2aa7a7",
    "SR": "#c3c7cb",
}


def colour_pair(code: str) -> tuple[str, str]:
    """Base and tracer of a colour code such as "RDBK" or "RD/BK"; grey where the letters are not known, "" for no
    tracer."""
    letters = "".join(c for c in code.upper() if c.isalpha() and c.isascii())
    base = COLOUR_INK.get(letters[:2], "#8c8c8c")
    return base, COLOUR_INK.get(letters[2:4], "") if len(letters) >= 4 else ""
