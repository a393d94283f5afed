"""Tables as a workbook: text stays text, headings stay in sight and on every printed page."""

from __future__ import annotations

import datetime
import io
import re
from collections.abc import Sequence

from pinmap.exchange.tables import Table

_MOST_CHARACTERS = 32_767  # of one cell, a limit of the format
_CUT = "… (cut here)"
_NOT_IN_NAMES = re.compile(r"[\[\]:*?/\\']")
# A date of its own would make every file differ from the one before.
_EPOCH = datetime.datetime(2000, 1, 1)


def write_xlsx(tables: Sequence[Table], *, title: str = "", footer: str = "") -> bytes:
    """One sheet a table. ``footer`` is printed on each page beside its number. The same input gives the same bytes."""
    import xlsxwriter  # imported where it is used: it loads for long, and the app can start without

    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    with xlsxwriter.Workbook(out, options) as book:
        book.set_properties({"title": title[:255], "created": _EPOCH})
        head = book.add_format({"bold": True, "bottom": 2, "text_wrap": True, "valign": "top"})
        text = book.add_format({"num_format": "@", "text_wrap": True, "valign": "top", "bottom": 4})
        number = book.add_format({"valign": "top", "bottom": 4})
        for name, table in zip(_sheet_names(tables), tables, strict=True):
            sheet = book.add_worksheet(name)
            for i, column in enumerate(table.columns):
                sheet.set_column(i, i, column.width)
                sheet.write_string(0, i, _fitting(column.heading), head)
            for r, row in enumerate(table.rows, start=1):
                for i, value in enumerate(row):
                    if isinstance(value, str):
                        if value:
                            sheet.write_string(r, i, _fitting(value), text)
                    elif value is not None:
                        # A workbook keeps 15 digits; what needs more stays exact as text.
                        if float(f"{value:.15g}") == value:
                            sheet.write_number(r, i, value, number)
                        else:
                            sheet.write_string(r, i, repr(value), text)
            if table.columns and table.rows:
                sheet.autofilter(0, 0, len(table.rows), len(table.columns) - 1)
            sheet.freeze_panes(1, 0)
            sheet.repeat_rows(0)
            sheet.set_landscape()
            sheet.set_paper(9)  # A4
            sheet.fit_to_pages(1, 0)
            sheet.set_margins(left=0.4, right=0.4, top=0.6, bottom=0.6)
            sheet.set_header(f'&L&"Arial,Bold"{_printable(table.title)}')
            sheet.set_footer(f"&L{_printable(footer)}&R&P/&N")
    return out.getvalue()


def _fitting(text: str) -> str:
    return text if len(text) <= _MOST_CHARACTERS else text[: _MOST_CHARACTERS - len(_CUT)] + _CUT


def _printable(text: str) -> str:
    """Text for a header line, where & begins a command and 255 characters are the most."""
    return text.replace("&", "&&")[:120].rstrip("&")


def _sheet_names(tables: Sequence[Table]) -> list[str]:
    """Names that workbooks allow: 31 characters, no brackets or slashes, each once."""
    names: list[str] = []
    for table in tables:
        base = _NOT_IN_NAMES.sub(" ", table.name).strip()[:31] or "Table"
        if base.casefold() == "history":  # kept by spreadsheets for themselves
            base += " 1"
        name, count = base, 1
        while name.casefold() in {n.casefold() for n in names}:
            count += 1
            name = f"{base[:27]} {count}"
        names.append(name)
    return names
