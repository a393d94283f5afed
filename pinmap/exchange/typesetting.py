"""Printed documents: the build packet and the customer's pin table, black on white, A4.

typst sets them in a process of its own from a fixed template; text goes in as data and is never read as markup.
"""

from __future__ import annotations

import datetime
import json
import re
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pinmap.core.errors import DrawingFailed, InputError
from pinmap.exchange.tables import Value, text_of
from pinmap.resources import resource_dir

_HERE = Path(__file__).parent
_SECONDS = 120.0
MOST_ROWS = 20_000  # of a job of 3,000 wires; about 110 MB of memory a thousand rows
# Beyond this a document is set without a screen reader's tags, which would make a file of many megabytes, and its
# tables in short parts: the time to set a table grows with the square of its rows.
_LARGE_ROWS = 1_500
_PART_ROWS = 300
_SHORT_PART_ROWS = 80
MOST_CHARACTERS = 300

Cell = str | dict[str, Any]

_UNSEEN = re.compile("[\u00ad\u061c\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]")
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_LONG_WORD = re.compile(r"[^\s\u200b]{19,}")
_FONT = re.compile(r"""font-family(\s*[:=]\s*)("[^"]*"|'[^']*'|[^;"'}<>]+)""")


@dataclass(frozen=True, slots=True, kw_only=True)
class TitleBlock:
    """What stands on every page. ``revision`` is "" for a draft; ``date`` is printed as given."""

    job: str
    variant: str
    revision: str = ""
    content_hash: str = ""
    date: str = ""
    customer: str = ""
    made_by: str = ""

    @property
    def revision_words(self) -> str:
        return f"Revision {self.revision}" if self.revision else "DRAFT"


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A drawing as SVG text."""

    title: str
    svg: str
    caption: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A printed column; ``width`` is its share of the page, 0 as wide as its text needs."""

    heading: str
    width: float = 1
    right: bool = False
    mono: bool = False


def printable(text: str) -> str:
    """Text as it can be printed: no control, direction or invisible signs, breaks allowed in long words, length cut."""
    text = _CONTROL.sub("\ufffd", _UNSEEN.sub("", text))
    if len(text) > MOST_CHARACTERS:
        text = f"{text[:MOST_CHARACTERS]} … (cut, {len(text):,} characters)"
    return _LONG_WORD.sub(lambda m: "\u200b".join(re.findall(r".{1,8}", m.group())), text)


def lines(first: str, *more: str) -> Cell:
    """A cell with a bold first line and small ones below."""
    return {"lines": [printable(first), *(printable(m) for m in more if m)]}


def mark(text: str) -> Cell:
    """A cell in bold."""
    return {"mark": printable(text)}


TICK: Cell = {"tick": True}


def group(text: str) -> dict[str, Any]:
    """A row that heads the rows below it."""
    return {"group": printable(text)}


def row(*cells: Cell | Value) -> dict[str, Any]:
    return {"cells": [cell if isinstance(cell, dict) else printable(text_of(cell)) for cell in cells]}


def table_section(
    title: str, columns: Sequence[Column], rows: Sequence[dict[str, Any]], *, intro: str = "", size: float = 8
) -> dict[str, Any]:
    """A table on pages of its own."""
    heads = [{"heading": c.heading, "width": c.width, "right": c.right, "mono": c.mono} for c in columns]
    return {
        "kind": "table", "title": printable(title), "intro": intro, "columns": heads, "size": size,
        "rows": list(rows),
    }  # fmt: skip


def _parted(rows: Sequence[dict[str, Any]], most: int) -> list[list[dict[str, Any]]]:
    """Rows in parts that are set as tables of their own, from a new page; a part never ends with a group's head."""
    parts: list[list[dict[str, Any]]] = [[]] if rows else []
    for item in rows:
        if len(parts[-1]) >= most and "group" not in parts[-1][-1]:
            parts.append([])
        parts[-1].append(item)
    return parts


def figure_section(
    title: str, figures: Sequence[Figure], *, columns: int, height_mm: float, intro: str = "", paper: str = "a4"
) -> dict[str, Any]:
    """Drawings side by side, or one a page; ``paper`` is larger where a drawing would be too small to read."""
    return {
        "kind": "figures", "title": printable(title), "intro": intro, "columns": columns, "height": height_mm,
        "paper": paper,
        "figures": [
            {"title": printable(f.title), "svg": print_fonts(f.svg), "caption": printable(f.caption)} for f in figures
        ],
    }  # fmt: skip


def print_fonts(svg: str) -> str:
    """A drawing in the fonts that go with the program."""

    def swap(match: re.Match[str]) -> str:
        family = "Liberation Mono" if "mono" in match.group(2).lower() else "Liberation Sans"
        quote = match.group(2)[0] if match.group(2)[0] in "\"'" else ""
        return f"font-family{match.group(1)}{quote}{family}{quote}"

    return _FONT.sub(swap, svg)


def set_document(
    title: str,
    block: TitleBlock,
    sections: Sequence[dict[str, Any]],
    *,
    facts: Sequence[tuple[str, str]] = (),
    remarks: Sequence[str] = (),
    cautions: Sequence[tuple[str, str]] = (),
    foot: str = "Reference data: verify on the vehicle before connecting anything.",
    landscape: bool = True,
) -> bytes:
    """The PDF of a document; the same input gives the same bytes. Raises InputError for too many rows, DrawingFailed
    when setting fails."""
    count = sum(len(s["rows"]) for s in sections if s["kind"] == "table")
    if count > MOST_ROWS:
        raise InputError("rows", count, f"a document holds at most {MOST_ROWS:,} rows; take the tables as CSV or XLSX")
    large = count > _LARGE_ROWS
    part_rows = _SHORT_PART_ROWS if large else _PART_ROWS
    known = [("Job", block.job), ("Revision", block.revision_words), ("Variant", block.variant), ("Date", block.date),
             ("Customer", block.customer), ("Content", block.content_hash[:12]), ("Made by", block.made_by),
             ("Checked by", ""), *facts]  # fmt: skip
    if len(known) % 2:
        known.append(("", ""))
    data = {
        "title": printable(title),
        "job": printable(block.job)[:120],
        "variant": printable(block.variant)[:160],
        "revision": printable(block.revision_words)[:40],
        "hash": printable(block.content_hash[:12]),
        "date": printable(block.date),
        "landscape": landscape,
        "repeat": not large,
        "foot": foot,
        "block": [[name, printable(value)] for name, value in known],
        "remarks": [printable(r) for r in remarks],
        "cautions": [[printable(head), printable(text)] for head, text in cautions],
        "sections": [
            s | {"rows": [], "parts": _parted(s["rows"], part_rows)} if s["kind"] == "table" else s for s in sections
        ],
    }
    return typeset("packet.typ", data, tags=not large, timestamp=block_timestamp(block))


def typeset(template: str, data: dict[str, Any], *, tags: bool, timestamp: int) -> bytes:
    """The PDF of one of our templates, set in a process of its own. Raises DrawingFailed."""
    order = {
        "template": str(_HERE / "typeset" / template),
        "fonts": str(resource_dir("static") / "fonts"),
        "data": data,
        "tags": tags,
        "timestamp": timestamp,
    }
    return _run(json.dumps(order).encode())


def block_timestamp(block: TitleBlock) -> int:
    """UNIX seconds of the block's date, which the file bears as its making; 0 for a text that is no ISO date."""
    try:
        return int(datetime.datetime.fromisoformat(block.date[:10]).replace(tzinfo=datetime.UTC).timestamp())
    except ValueError:
        return 0


def _run(order: bytes) -> bytes:
    command = [sys.executable, "-I", str(_HERE / "pdf_worker.py")]
    try:
        done = subprocess.run(  # noqa: S603  # our own script; the data goes in by standard input
            command, input=order, capture_output=True, timeout=_SECONDS, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise DrawingFailed(f"the document was not set within {_SECONDS:g} s; print fewer rows at a time") from error
    if done.returncode != 0 or not done.stdout.startswith(b"%PDF"):
        lines_ = done.stderr.decode("utf-8", errors="replace").strip().splitlines()
        raise DrawingFailed(f"the document could not be set: {lines_[-1] if lines_ else 'the process ended early'}")
    return done.stdout
