"""Comma, semicolon and tab separated text, from a file or a clipboard."""

from __future__ import annotations

import codecs
import csv
import io
import re

from pinmap.core.errors import FileRejected
from pinmap.exchange.headings import heading_row_of, recognised
from pinmap.exchange.raw_table import LIMITS, Limits, RawTable, checked_lines, rejected

# The csv module stops at 128 kB a cell with an error that names no row; our own limit names it.
csv.field_size_limit(64_000_000)

_DELIMITERS = (",", ";", "\t", "|")
_BOMS = (
    (codecs.BOM_UTF32_LE, "utf-32"),  # before UTF-16, whose mark is the beginning of this one
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_APOSTROPHE = re.compile(r"'+[=+\-@\t\r\n＝＋－＠]")


def read_csv(data: bytes, *, limits: Limits = LIMITS) -> RawTable:
    """A table from a text file's bytes. Raises FileRejected with row number and remedy."""
    if not data.strip(b" \t\r\n\x00\xef\xbb\xbf\xff\xfe"):
        raise FileRejected("the file is empty")
    text, encoding = decode(data)
    return read_text(text, encoding=encoding, limits=limits)


def read_text(text: str, *, encoding: str = "", limits: Limits = LIMITS) -> RawTable:
    """A table from text, such as one pasted from a spreadsheet."""
    if "\0" in text:
        row = text.count("\n", 0, text.index("\0")) + 1
        raise rejected(
            "there is a NUL byte in the text, so this is not a plain table; save it as CSV in UTF-8, or as XLSX", row
        )
    first, _, rest = text.partition("\n")
    skipped, delimiter = 0, ""
    if re.fullmatch(r"sep=.\r?", first):  # some spreadsheets state the separator in the first line
        delimiter, text, skipped = first[4], rest, 1
    if not text.strip():
        raise FileRejected("the table is empty: there is not one cell with text in it")
    delimiter = delimiter or sniff(text)
    lines = [(number + skipped, [unguarded(cell) for cell in cells]) for number, cells in _records(text, delimiter)]
    table = RawTable(lines=checked_lines(lines, limits), encoding=encoding, delimiter=delimiter)
    return table.with_heading_row(heading_row_of(table.lines))


def decode(data: bytes) -> tuple[str, str]:
    """(text, encoding) of a text file. Raises FileRejected."""
    for mark, encoding in _BOMS:
        if data.startswith(mark):
            return _decoded(data, encoding), encoding
    sample = data[:4000]
    if len(sample) >= 4:  # UTF-16 without its mark: every other byte of Latin text is zero
        zeros = [sample[i::2].count(0) / len(sample[i::2]) for i in (0, 1)]
        for share, other, encoding in ((zeros[1], zeros[0], "utf-16-le"), (zeros[0], zeros[1], "utf-16-be")):
            if share > 0.6 and other < 0.1:
                return _decoded(data, encoding), encoding
    try:
        return data.decode("utf-8"), "utf-8"
    except UnicodeDecodeError as error:
        shown = data.decode("utf-8", errors="replace")
        whole = sum(ord(c) > 127 for c in shown.replace("�", ""))
        if whole > 2 * shown.count("�"):
            row = data.count(b"\n", 0, error.start) + 1
            raise rejected("the text is UTF-8 but damaged here; save the file again as CSV in UTF-8", row) from error
    return _decoded(data, "cp1252"), "cp1252"


def _decoded(data: bytes, encoding: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as error:
        row = data.count(b"\n", 0, error.start) + 1
        raise rejected(
            f"the text is not in an encoding that Pinmap knows (tried last: {encoding}); save the file as CSV in UTF-8",
            row,
        ) from error


def sniff(text: str) -> str:
    """The separator: the one that gives the most known headings, then the steadiest and widest columns."""
    sample = text[:60_000]
    best, best_score = ",", (-1.0, -1.0, 0)
    for delimiter in _DELIMITERS:
        rows = [r for r in csv.reader(io.StringIO(sample, newline=""), delimiter=delimiter) if any(r)][:40]
        widths = [len(r) for r in rows]
        usual = max(set(widths), key=lambda w: (widths.count(w), w), default=0)
        if usual < 2:
            continue
        known = max(recognised(r) for r in rows[:10])
        score = (float(known), widths.count(usual) / len(widths), usual)
        if score > best_score:
            best, best_score = delimiter, score
    return best


def _records(text: str, delimiter: str) -> list[tuple[int, list[str]]]:
    """(number of the record's first line, cells)."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    out: list[tuple[int, list[str]]] = []
    begins = 1
    try:
        for cells in reader:
            out.append((begins, cells))
            begins = reader.line_num + 1
    except csv.Error as error:
        if "unexpected end of data" in str(error):
            reason = "a quotation mark opens a cell here and is never closed; close it, or double it if it is meant"
        elif "expected after" in str(error):
            reason = "text follows a closing quotation mark; double the marks that are meant as part of the text"
        else:
            reason = f"the row cannot be read ({error})"
        raise rejected(reason, begins) from error
    return out


def unguarded(cell: str) -> str:
    """Takes off the apostrophe that ``pinmap.exchange.tables_csv.guarded`` put before a formula sign."""
    return cell[1:] if _APOSTROPHE.match(cell) else cell
