"""A table as a file or a clipboard gave it: text cells with the row numbers that the user's spreadsheet shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from pinmap.core.errors import FileProblem, FileRejected


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How much is taken from one file; a cell's length is in characters."""

    max_bytes: int = 20_000_000
    max_rows: int = 20_000
    max_columns: int = 200
    max_cell: int = 10_000


LIMITS = Limits()


@dataclass(frozen=True, slots=True, kw_only=True)
class RawTable:
    """``lines`` are all rows of the source that are not blank, each with its row number; headings and rows are cut
    from them at ``heading_row`` (0: the source has no headings; they are then the spreadsheet's column letters)."""

    lines: tuple[tuple[int, tuple[str, ...]], ...]
    heading_row: int = 0
    encoding: str = ""
    delimiter: str = ""
    sheet: str = ""
    sheets: tuple[str, ...] = ()
    notes: tuple[FileProblem, ...] = ()

    @property
    def width(self) -> int:
        return max((len(cells) for _, cells in self.lines), default=0)

    @property
    def headings(self) -> tuple[str, ...]:
        """One heading a column, never empty."""
        found = next((cells for number, cells in self.lines if number == self.heading_row), ())
        given = [cell.strip() for cell in found] + [""] * (self.width - len(found))
        return tuple(name or f"column {letters(i)}" for i, name in enumerate(given))

    @property
    def rows(self) -> tuple[tuple[str, ...], ...]:
        return tuple(cells for _, cells in self.numbered_rows)

    @property
    def numbered_rows(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """(row number, cells) below the headings."""
        return tuple(line for line in self.lines if line[0] > self.heading_row)

    @property
    def preamble(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """Lines above the headings, such as a title; not read as pins, but shown."""
        return tuple(line for line in self.lines if line[0] < self.heading_row)

    def with_heading_row(self, number: int) -> RawTable:
        """The same table read with other headings; 0 for none."""
        if number and number not in {n for n, _ in self.lines}:
            raise FileRejected(f"row {number} is not in the table, so it cannot hold the headings")
        return replace(self, heading_row=number)


def letters(index: int) -> str:
    """Column letters as spreadsheets count: 0 is A, 26 is AA."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(65 + rest) + text
    return text


def checked_lines(
    lines: Sequence[tuple[int, Sequence[str]]], limits: Limits
) -> tuple[tuple[int, tuple[str, ...]], ...]:
    """Drops blank rows and holds the rest against the limits. Raises FileRejected naming row and column."""
    kept: list[tuple[int, tuple[str, ...]]] = []
    for number, cells in lines:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) > limits.max_columns:
            reason = f"the row has {len(cells)} columns; at most {limits.max_columns} are read"
            raise rejected(reason + ". Is this the right file, and its separator the right one?", number)
        for i, cell in enumerate(cells):
            if len(cell) > limits.max_cell:
                reason = f"the cell holds {len(cell):,} characters; at most {limits.max_cell:,} are read"
                raise rejected(reason + ". Shorten it in the file and read it again.", number, letters(i), cell)
        kept.append((number, tuple(cells)))
        if len(kept) > limits.max_rows:
            raise rejected(f"the table has more than {limits.max_rows:,} rows; split it and read the parts", number)
    if not kept:
        raise FileRejected("the table is empty: there is not one cell with text in it")
    return tuple(kept)


def rejected(reason: str, row: int = 0, column: str = "", value: str = "") -> FileRejected:
    """A refusal that says where; long values are cut."""
    where = f"row {row}" + (f", column {column}" if column else "") + ": " if row else ""
    return FileRejected(where + reason, (FileProblem(row, column, value[:80], reason),))
