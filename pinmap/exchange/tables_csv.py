"""Tables as CSV that a spreadsheet opens without running anything in it."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterable, Sequence

from pinmap.exchange.tables import Table, Value, text_of

# Spreadsheets take a cell that begins with one of these for a formula, full-width forms included (OWASP, CSV
# injection). An apostrophe before it keeps it text; cells that look guarded already get one more, so that taking one
# off gives every text back exactly.
_FORMULA = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")


def guarded(text: str) -> str:
    """Text that no spreadsheet takes for a formula; ``pinmap.exchange.csv_in.unguarded`` is the way back."""
    return "'" + text if _FORMULA.match(text) else text


def csv_text(headings: Sequence[str], rows: Iterable[Sequence[Value]]) -> str:
    """CSV with commas and CRLF after RFC 4180; numbers are not guarded."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow([guarded(h) for h in headings])
    writer.writerows([[guarded(v) if isinstance(v, str) else text_of(v) for v in row] for row in rows])
    return out.getvalue()


def write_csv(table: Table, *, mark: bool = True) -> bytes:
    """UTF-8, with the byte order mark by which spreadsheets know it unless ``mark`` is off."""
    text = csv_text(table.headings, table.rows).encode("utf-8")
    return codecs.BOM_UTF8 + text if mark else text
