"""The loom's runs brought in as a list: looked at first, then what can be taken is taken."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.crossing.edits_run_list import RunLine, Taken, take_runs
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.exchange import loom_list
from pinmap.exchange.pinout_in import read_pasted, read_table
from pinmap.exchange.tables_csv import csv_text, write_csv
from pinmap.services import jobs
from pinmap.services.jobs import JobView
from pinmap.services.shop import Shop


@dataclass(frozen=True, slots=True)
class Read:
    """A list as read against a job. ``text`` is the list itself, ``left`` what of it cannot be taken yet, to be
    corrected."""

    text: str
    lines: tuple[Taken, ...]

    @property
    def good(self) -> int:
        return sum(not line.problem for line in self.lines)

    @property
    def left(self) -> str:
        return _as_text([t.line for t in self.lines if t.problem], self.text)


def text_of_file(data: bytes, filename: str) -> str:
    """A CSV or XLSX file as text for the form. Raises FileRejected."""
    table = loom_list.headed(read_table(data, filename))
    return csv_text(table.headings, table.rows)


def read(view: JobView, text: str) -> Read:
    """What would become of each line. Raises FileRejected when it is no list of runs."""
    return Read(text, take_runs(view.snapshot, _lines(text))[1])


def take(shop: Shop, key: str, version: int, text: str) -> Read:
    """Takes all lines that can be taken, as one change. Raises FileRejected, Conflict, NotFound."""
    lines = _lines(text)
    found: list[Taken] = []

    def change(_: Job, snapshot: Snapshot) -> Job:
        job, taken = take_runs(snapshot, lines)
        found[:] = taken
        return job

    jobs.edit(shop, key, version, change, f"list of {len(lines)} runs")
    return Read(text, tuple(found))


def as_csv(job: Job) -> bytes:
    """The list of all runs, which can be brought in again."""
    return write_csv(loom_list.table_of(job))


def _lines(text: str) -> tuple[RunLine, ...]:
    return loom_list.read_runs(read_pasted(text))


def _as_text(lines: list[RunLine], text: str) -> str:
    """Those lines of the text, under its headings."""
    rows = {line.row for line in lines}
    table = loom_list.headed(read_pasted(text))
    return csv_text(table.headings, [cells for number, cells in table.numbered_rows if number in rows]) if rows else ""
