"""Pinouts in: a table becomes pins, row by row, each with its problems; nothing is stored here and nothing is lost."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pinmap.core.errors import FileRejected, InputError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.pinouts import Housing, Pin, Platform
from pinmap.exchange.columns import BY_NAME, COLUMNS, Column, Context
from pinmap.exchange.csv_in import read_csv, read_text
from pinmap.exchange.headings import HeadingGuess, Headings, guess_headings
from pinmap.exchange.lookalikes import clean, clean_name, skeleton
from pinmap.exchange.nearest import nearest
from pinmap.exchange.raw_table import LIMITS, Limits, RawTable
from pinmap.exchange.xlsx_in import is_zip, read_xlsx

__all__ = [
    "DraftRow", "HeadingGuess", "Headings", "PinoutDraft", "RawTable", "RowProblem", "guess_headings", "parse_rows",
    "read_pasted", "read_table",
]  # fmt: skip

_MAGIC = (
    (b"\xd0\xcf\x11\xe0", "an old XLS workbook, or one with a password; save it as XLSX without a password"),
    (b"%PDF", "a PDF; copy the table out of it and paste it, or save it as CSV"),
    (b"\x89PNG", "a picture; type the table or paste it"),
    (b"\xff\xd8\xff", "a picture; type the table or paste it"),
    (b"GIF8", "a picture; type the table or paste it"),
    (b"\x1f\x8b", "a compressed file; unpack it first"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RowProblem:
    """One thing about one cell. ``blocking`` ones keep the row from becoming a pin; the others are worth a look.
    ``column`` is a pinout column."""

    column: str
    value: str
    reason: str
    blocking: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftRow:
    """One row: what stood in the file (heading, text), what came of it, and what is wrong with it. ``pin`` is None
    while a blocking problem stands."""

    row: int
    values: tuple[tuple[str, str], ...]
    pin: Pin | None = None
    problems: tuple[RowProblem, ...] = ()

    @property
    def good(self) -> bool:
        return self.pin is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class PinoutDraft:
    """All rows in file order, good and bad. ``new_connectors`` are named in the table and not yet on the platform."""

    rows: tuple[DraftRow, ...]
    new_connectors: tuple[str, ...] = ()
    own_columns: tuple[str, ...] = ()
    problems: tuple[str, ...] = field(default=())  # about the whole table

    @property
    def pins(self) -> tuple[Pin, ...]:
        """Pins of the good rows."""
        return tuple(r.pin for r in self.rows if r.pin is not None)

    @property
    def bad(self) -> tuple[DraftRow, ...]:
        return tuple(r for r in self.rows if r.pin is None)


def read_table(data: bytes, filename: str = "", *, sheet: str = "", limits: Limits = LIMITS) -> RawTable:
    """A table from a CSV or XLSX file; what the file is shows in its bytes, not in its name. ``sheet`` chooses one
    of several. Raises FileRejected."""
    if len(data) > limits.max_bytes:
        raise FileRejected(f"the file has {len(data) / 1e6:.0f} MB; at most {limits.max_bytes / 1e6:g} MB are read")
    if not data:
        raise FileRejected("the file is empty")
    if is_zip(data):
        return read_xlsx(data, sheet=sheet, limits=limits)
    for magic, what in _MAGIC:
        if data.startswith(magic):
            raise FileRejected(f"this is {what}")
    if filename.lower().endswith((".xlsx", ".xlsm")):
        raise FileRejected("the name ends in .xlsx, but the file is not a workbook or is damaged; save it again")
    return read_csv(data, limits=limits)


def read_pasted(text: str, *, limits: Limits = LIMITS) -> RawTable:
    """A table pasted from a spreadsheet, as tab separated text, or typed as CSV. Raises FileRejected."""
    if len(text) > limits.max_bytes:
        raise FileRejected(f"the text has {len(text):,} characters; at most {limits.max_bytes:,} are read")
    return read_text(text, encoding="pasted", limits=limits)


def parse_rows(
    table: RawTable,
    mapping: Mapping[int, str],
    platform: Platform | None = None,
    dictionary: Dictionary | None = None,
    housings: Sequence[Housing] = (),
    *,
    default_connector: str = "",
    fill_connector: bool = False,
) -> PinoutDraft:
    """Pins from a table's rows.

    ``mapping``: column index -> pinout column, as ``guess_headings`` gives it and the user corrects it; columns that it
    leaves out are kept in ``Pin.extra``. ``default_connector`` stands in where the table has no connector column;
    ``fill_connector`` repeats the connector above where the cell is empty, as in merged cells. Against ``platform``
    editions and connectors are checked, against ``housings`` the cavities.
    """
    unknown = sorted(set(mapping.values()) - set(BY_NAME))
    if unknown:
        raise InputError("column", unknown[0], f"the columns are {', '.join(BY_NAME)}")
    doubled = [name for name, count in Counter(mapping.values()).items() if count > 1]
    if doubled:
        raise InputError("column", doubled[0], "two columns of the table are read as this one; choose one of them")
    reader = _Reader(table, mapping, platform, dictionary, housings, default_connector, fill_connector)
    drafts = [reader.read(number, cells) for number, cells in table.numbered_rows]
    reader.mark_doubles(drafts)
    problems = []
    if "cavity" not in mapping.values():
        problems.append("no column is read as the cavity; choose the column that numbers the pins")
    if "connector" not in mapping.values() and not default_connector:
        problems.append("no column is read as the connector; choose one, or name the connector that all rows belong to")
    known = {c.name for c in platform.connectors} if platform is not None else set()
    named = dict.fromkeys(d.fields.get("connector", "") for d in drafts)
    return PinoutDraft(
        rows=tuple(d.finished() for d in drafts),
        new_connectors=tuple(name for name in named if name and name not in known),
        own_columns=reader.own_headings,
        problems=tuple(problems),
    )


@dataclass(slots=True)
class _Draft:
    """A row while it is being read."""

    row: int
    values: tuple[tuple[str, str], ...]
    fields: dict[str, Any]
    problems: list[RowProblem]

    def add(self, column: str, value: str, reason: str, *, blocking: bool = True) -> None:
        self.problems.append(RowProblem(column=column, value=value[:200], reason=reason, blocking=blocking))

    def finished(self) -> DraftRow:
        pin = None if any(p.blocking for p in self.problems) else Pin(**self.fields)
        return DraftRow(row=self.row, values=self.values, pin=pin, problems=tuple(self.problems))


class _Reader:
    """Reads rows of one table; everything that does not change from row to row is worked out once."""

    def __init__(
        self,
        table: RawTable,
        mapping: Mapping[int, str],
        platform: Platform | None,
        dictionary: Dictionary | None,
        housings: Sequence[Housing],
        default_connector: str,
        fill_connector: bool,
    ) -> None:
        headings = table.headings
        self.headings = headings
        index_of = {name: index for index, name in mapping.items()}
        # In the order of the column list, so that problems stand in the same order in every row.
        self.columns: list[tuple[int, Column, Context]] = [
            (index_of[c.name], c, Context(platform, dictionary, headings[index_of[c.name]]))
            for c in COLUMNS
            if c.name in index_of and index_of[c.name] < len(headings)
        ]
        self.own = [(i, heading) for i, heading in enumerate(headings) if i not in mapping]
        self.own_headings = tuple(heading for _, heading in self.own)
        self.default_connector = default_connector.strip()
        self.fill_connector = fill_connector
        self.above = ""
        self.codes = (
            {} if dictionary is None or "function_code" in index_of else Context(platform, dictionary).function_codes
        )
        by_key = {h.key: h for h in housings}
        connectors = platform.connectors if platform is not None else ()
        self.cavities = {
            c.name: by_key[c.housing].cavity_names
            for c in connectors
            if c.housing in by_key and by_key[c.housing].cavities
        }
        self.connector_names = [c.name for c in connectors]
        self.present = defaultdict(list)
        for pin in platform.pins if platform is not None else ():
            self.present[pin.connector, pin.cavity].append(pin)

    def read(self, number: int, cells: tuple[str, ...]) -> _Draft:
        width = len(cells)
        values = tuple((h, cells[i] if i < width else "") for i, h in enumerate(self.headings))
        draft = _Draft(number, values, {}, [])
        fields = draft.fields
        extra = [(h, text) for i, h in self.own if i < width and (text := clean(cells[i])[0])]
        for index, column, context in self.columns:
            name = column.name in ("connector", "cavity")
            raw = cells[index] if index < width else ""
            text, taken_out = clean_name(raw) if name else clean(raw)
            if taken_out:
                draft.add(column.name, raw, taken_out, blocking=False)
            try:
                value, note = column.parse(text, context)
            except InputError as error:
                draft.add(column.name, text, error.remedy)
                continue
            if note:
                draft.add(column.name, text, note, blocking=False)
            if column.name == "evidence":
                fields["evidence"], fields["evidence_ref"] = value
            elif column.name == "function_code" and note:
                extra.append((column.name, text))
            else:
                fields[column.field] = value
        if extra:
            fields["extra"] = tuple(extra)
        if self.codes and (code := self.codes.get(fields.get("function", "").casefold())):
            fields["function_code"] = code
        self._place(draft)
        return draft

    def _place(self, draft: _Draft) -> None:
        """Checks where the pin sits."""
        fields = draft.fields
        connector = fields.setdefault("connector", self.default_connector) or self.default_connector
        if not connector and self.above:
            if self.fill_connector:
                connector = self.above
            else:
                draft.add("connector", "", f'the connector is empty; is it still "{self.above}", as in the row above?')
        elif not connector:
            draft.add("connector", "", "the connector is empty; write its name, such as C101")
        fields["connector"] = connector
        self.above = connector or self.above
        cavity = fields.setdefault("cavity", "")
        if not cavity:
            draft.add("cavity", "", "the cavity is empty; write its number or letter as on the connector")
            return
        names = self.cavities.get(connector)
        if names is not None and cavity not in names:
            like = [n for n in names if skeleton(n).lstrip("0") == skeleton(cavity).lstrip("0")]
            hint = f' (did you mean "{like[0]}"?)' if like else ""
            reason = f"the housing of {connector} has no cavity {cavity}{hint}; it has {names[0]} to {names[-1]}"
            draft.add("cavity", cavity, reason)
        if self.connector_names and connector and connector not in self.connector_names:
            hint = nearest(connector, self.connector_names, least=75)
            draft.add("connector", connector, f"not on this platform yet; it will be added{hint}", blocking=False)
        edition = fields.get("editions", ())
        for pin in self.present.get((connector, cavity), ()):
            if _meet(edition, pin.editions):
                was = pin.function or pin.function_code or "without a function"
                reason = f"{connector}-{cavity} is on file ({was}); this row replaces it"
                draft.add("cavity", cavity, reason, blocking=False)

    @staticmethod
    def mark_doubles(drafts: Sequence[_Draft]) -> None:
        """The same cavity twice for one edition, and cavities that only look the same."""
        at: dict[tuple[str, str], list[_Draft]] = defaultdict(list)
        alike: dict[tuple[str, str], dict[tuple[str, str], _Draft]] = defaultdict(dict)
        for draft in drafts:
            connector, cavity = draft.fields.get("connector", ""), draft.fields.get("cavity", "")
            if connector and cavity:
                at[connector, cavity].append(draft)
                alike[skeleton(connector), skeleton(cavity)].setdefault((connector, cavity), draft)
        for (connector, cavity), group in at.items():
            by_edition: dict[tuple[str, ...], list[_Draft]] = defaultdict(list)
            for draft in group:
                by_edition[draft.fields.get("editions", ())].append(draft)
            for draft in group if len(group) > 1 else ():
                mine = draft.fields.get("editions", ())
                others = [o.row for e, rows in by_edition.items() if _meet(mine, e) for o in rows[:4] if o is not draft]
                if others:
                    where = ", ".join(map(str, sorted(others)[:3])) + (" and more" if len(others) > 3 else "")
                    reason = f"{connector}-{cavity} stands in row {where} too, for the same edition; keep one of them"
                    draft.add("cavity", cavity, reason)
        for names in alike.values():
            if len(names) > 1:
                for (connector, cavity), draft in names.items():
                    other = next(f"{c}-{v} (row {d.row})" for (c, v), d in names.items() if d is not draft)
                    reason = f"{connector}-{cavity} can be taken for {other}; make sure that both exist"
                    draft.add("cavity", cavity, reason, blocking=False)


def _meet(a: Sequence[str], b: Sequence[str]) -> bool:
    """Whether two sets of editions share one; an empty set is all of them."""
    return not a or not b or not set(a).isdisjoint(b)
