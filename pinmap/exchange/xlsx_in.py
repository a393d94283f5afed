"""Workbooks in. The reader runs in a process of its own with limits on memory and time."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

from pinmap.core.errors import FileProblem, FileRejected
from pinmap.exchange.headings import heading_row_of
from pinmap.exchange.raw_table import LIMITS, Limits, RawTable, checked_lines, letters

_WORKER = Path(__file__).with_name("xlsx_worker.py")
_MOST_UNPACKED = 100_000_000
_SECONDS = 30.0
_DAMAGED = "the workbook is too large or damaged; save it again as XLSX with only the table in it, or as CSV"


def is_zip(data: bytes) -> bool:
    return data.startswith((b"PK\x03\x04", b"PK\x05\x06"))


def read_xlsx(data: bytes, *, sheet: str = "", limits: Limits = LIMITS) -> RawTable:
    """A table from one sheet, the first with text unless named. Raises FileRejected."""
    _look_inside(data)
    answer = _ask(data, sheet, limits)
    match answer.get("error"):
        case None:
            pass
        case "no-sheet":
            raise FileRejected(f"the workbook has no sheet {sheet!r}; it has {', '.join(answer['sheets'])}")
        case "too-large":
            raise FileRejected(
                f"sheet {answer['sheet']!r} spans {answer['rows']:,} rows and {answer['columns']:,} columns; at most "
                f"{limits.max_rows:,} and {limits.max_columns:,} are read. Delete cells far from the table."
            )
        case "PasswordError":
            raise FileRejected("the workbook has a password; save it without one")
        case _:
            raise FileRejected(_DAMAGED)
    lines = checked_lines([(number, cells) for number, cells in answer["lines"]], limits)
    notes = tuple(
        FileProblem(row, letters(column), "", "the spreadsheet keeps a date here; if a name such as 1-2 was meant, "
                    "format the column as text and type it again")
        for row, column in answer["dates"]
    )  # fmt: skip
    table = RawTable(lines=lines, encoding="xlsx", sheet=answer["sheet"], sheets=tuple(answer["sheets"]), notes=notes)
    return table.with_heading_row(heading_row_of(lines))


def _look_inside(data: bytes) -> None:
    """Refuses what is not a workbook, and one that unpacks to far more than a table needs."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            infos = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError) as error:
        # what zipfile raises for a table of contents that is damaged, of an unknown kind, or points outside the file
        raise FileRejected(_DAMAGED) from error
    if not any(i.filename.lower() == "xl/workbook.xml" for i in infos):
        raise FileRejected("this archive is not an XLSX workbook; save the table as XLSX or CSV")
    total = sum(i.file_size for i in infos)
    if total > _MOST_UNPACKED:
        raise FileRejected(
            f"the workbook unpacks to {total / 1e6:,.0f} MB; at most {_MOST_UNPACKED / 1e6:g} MB are read. "
            "Save only the table, as XLSX or CSV."
        )


def _ask(data: bytes, sheet: str, limits: Limits) -> dict[str, Any]:
    command = [sys.executable, "-I", str(_WORKER), sheet, str(limits.max_rows * 2), str(limits.max_columns)]
    try:
        done = subprocess.run(  # noqa: S603  # our own script; the file goes in by standard input
            command, input=data, capture_output=True, timeout=_SECONDS, check=False
        )
    except subprocess.TimeoutExpired as error:
        raise FileRejected(_DAMAGED) from error
    except ValueError as error:  # a NUL in the sheet's name
        raise FileRejected(f"the workbook has no sheet {sheet!r}") from error
    if done.returncode != 0:
        raise FileRejected(_DAMAGED)
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer
