"""A table on its way out: the same rows for CSV, XLSX and PDF."""

from __future__ import annotations

from dataclasses import dataclass

Value = str | float | int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TableColumn:
    """``width`` in characters, for spreadsheets; ``number``: values stand to the right."""

    heading: str
    width: float = 12
    number: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows as wide as the columns; None is an empty cell."""

    name: str
    title: str
    columns: tuple[TableColumn, ...]
    rows: tuple[tuple[Value, ...], ...]

    @property
    def headings(self) -> tuple[str, ...]:
        return tuple(c.heading for c in self.columns)


def text_of(value: Value) -> str:
    """A cell as text; numbers as the shortest that reads back the same."""
    if value is None:
        return ""
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    return str(value)
