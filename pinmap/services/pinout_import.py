"""Pinouts in by steps: a table is staged as it came, shown with its problems, corrected, and taken row by row.

A draft keeps every cell as it was read and every decision beside it, so nothing typed is lost until the user takes
the rows or discards the draft.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from pinmap.core.crossing.recognise import recognise_all
from pinmap.core.errors import Conflict, Difference, FileProblem, FileRejected, InputError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.pinouts import Connector, ConnectorKey, Pin, PinKey, Platform
from pinmap.exchange.columns import BY_NAME
from pinmap.exchange.pinout_in import (
    DraftRow,
    Headings,
    PinoutDraft,
    RawTable,
    guess_headings,
    parse_rows,
    read_pasted,
    read_table,
)
from pinmap.services import dictionary, platforms
from pinmap.services.remembered import all_housings, loaded
from pinmap.services.shop import Shop
from pinmap.services.stale import looked_at
from pinmap.store import drafts, platform_rows
from pinmap.store.drafts import DraftLine, StoredDraft
from pinmap.store.platform_rows import LoadedPlatform

KEEP, REPLACE = "keep", "replace"
_SURE = 0.85  # a function code is filled in from the words of a pin at this score, if nothing else fits as well


@dataclass(frozen=True)
class DraftView:
    """A draft as it stands. ``table`` has the user's corrections in it; ``draft`` holds the rows not yet taken.

    ``existing``: row number -> the pin on file that the row would replace; ``choices``: row number -> "keep" (the pin
    on file) or "replace". ``read_as``: column index -> pinout column.
    """

    id: int
    version: int
    platform: Platform
    filename: str
    created: datetime
    table: RawTable
    guesses: Headings
    read_as: Mapping[int, str]
    default_connector: str
    fill_connector: bool
    draft: PinoutDraft
    existing: Mapping[int, Pin]
    choices: Mapping[int, str]
    taken: int

    @property
    def open_rows(self) -> tuple[DraftRow, ...]:
        """Good rows that meet a pin on file and for which nobody has chosen yet."""
        return tuple(r for r in self.draft.rows if r.good and r.row in self.existing and r.row not in self.choices)

    @property
    def ready(self) -> tuple[DraftRow, ...]:
        """Rows that would be taken now."""
        return tuple(r for r in self.draft.rows if r.good and (r.row not in self.existing or r.row in self.choices))


@dataclass(frozen=True, slots=True)
class Taken:
    """What taking rows did; ``left`` rows stay in the draft, which is gone when none is left."""

    added: int
    replaced: int
    kept: int
    left: int


def stage(shop: Shop, platform_key: str, data: bytes, filename: str, *, sheet: str = "") -> int:
    """Reads a CSV or XLSX file into a new draft and gives its id. Raises FileRejected, NotFound."""
    return _stage(shop, platform_key, read_table(data, filename, sheet=sheet), filename)


def stage_text(shop: Shop, platform_key: str, text: str) -> int:
    """The same for a table pasted from a spreadsheet."""
    return _stage(shop, platform_key, read_pasted(text), "pasted table")


def list_drafts(shop: Shop, platform_key: str) -> tuple[DraftLine, ...]:
    """Drafts of a platform that wait for a decision, the newest first. Raises NotFound."""
    with shop.read() as session:
        platform_id, _ = platform_rows.find_platform(session, platform_key)
        return drafts.list_drafts(session, platform_id)


def get(shop: Shop, draft_id: int) -> DraftView:
    """A draft. Raises NotFound."""
    with shop.read() as session:
        return _view(shop, session, drafts.load(session, draft_id))


def remap(
    shop: Shop,
    draft_id: int,
    version: int,
    *,
    read_as: Mapping[int, str] | None = None,
    heading_row: int | None = None,
    default_connector: str | None = None,
    fill_connector: bool | None = None,
) -> DraftView:
    """Says which column is what; "" keeps a column as the user's own. Raises InputError, Conflict, NotFound."""
    with shop.write() as session:
        stored = drafts.load(session, draft_id)
        state = dict(stored.state)
        if heading_row is not None and heading_row != state["heading_row"]:
            table = _table(stored).with_heading_row(heading_row)
            state["heading_row"] = heading_row
            state["read_as"] = _plain_mapping(guess_headings(table.headings, table.rows[:50]).mapping)
        if read_as is not None:
            named = {i: column for i, column in read_as.items() if column}
            _check_mapping(named, _table(stored).width)
            state["read_as"] = _plain_mapping(named)
        if default_connector is not None:
            state["default_connector"] = default_connector.strip()
        if fill_connector is not None:
            state["fill_connector"] = fill_connector
        return _view(shop, session, _save(session, stored, version, state))


def edit_cell(shop: Shop, draft_id: int, version: int, row: int, column: int, text: str) -> DraftView:
    """Corrects one cell, by the row number that the spreadsheet shows and the column's index. Raises InputError,
    Conflict, NotFound."""
    with shop.write() as session:
        stored = drafts.load(session, draft_id)
        table = _table(stored)
        if row not in {number for number, _ in table.numbered_rows} or not 0 <= column < table.width:
            raise InputError("row", row, "this cell is not in the table")
        if len(text) > 10_000:
            raise InputError("cell", text, "shorten it to 10000 characters at most")
        state = dict(stored.state)
        state["edits"] = {**state["edits"], f"{row}:{column}": text}
        return _view(shop, session, _save(session, stored, version, state))


def choose(shop: Shop, draft_id: int, version: int, choices: Mapping[int, str]) -> DraftView:
    """Says for rows that meet a pin on file whether to keep that pin or to replace it. Raises InputError, Conflict."""
    for row, choice in choices.items():
        if choice not in (KEEP, REPLACE):
            raise InputError(f"row {row}", choice, "choose keep or replace")
    with shop.write() as session:
        stored = drafts.load(session, draft_id)
        state = dict(stored.state)
        state["choices"] = {**state["choices"], **{str(row): choice for row, choice in choices.items()}}
        return _view(shop, session, _save(session, stored, version, state))


def take_good_rows(shop: Shop, draft_id: int, version: int | None = None) -> Taken:
    """Takes the rows that have no problem left and need no choice any more; the others stay in the draft. Raises
    Conflict, InputError when there is no such row."""
    return _take(shop, draft_id, version, whole=False)


def take_all(shop: Shop, draft_id: int, version: int | None = None) -> Taken:
    """Takes every row, or none. Raises FileRejected naming each problem and each choice still to be made."""
    return _take(shop, draft_id, version, whole=True)


def discard(shop: Shop, draft_id: int, version: int) -> None:
    """Throws a draft away. Raises NotFound, and Conflict when somebody else has worked on it since."""
    with shop.write() as session:
        stored = drafts.load(session, draft_id)
        left = f"{len(_view(shop, session, stored).draft.rows)} rows"
        if stored.version != version:
            raise Conflict(
                "this draft", version, stored.version, changes=(Difference("the draft", "", left, "thrown away"),)
            )
        drafts.delete(session, draft_id)


def _stage(shop: Shop, platform_key: str, table: RawTable, filename: str) -> int:
    guesses = guess_headings(table.headings, table.rows[:50])
    state = {
        "heading_row": table.heading_row,
        "read_as": _plain_mapping(guesses.mapping),
        "default_connector": "",
        "fill_connector": False,
        "edits": {},
        "taken": [],
        "choices": {},
    }
    with shop.write() as session:
        platform_id, _ = platform_rows.find_platform(session, platform_key)
        return drafts.add(session, platform_id, filename, asdict(table), state)


def _take(shop: Shop, draft_id: int, version: int | None, *, whole: bool) -> Taken:
    with shop.write() as session:
        stored = drafts.load(session, draft_id)
        view = _view(shop, session, stored)
        if version is not None and version != stored.version:
            ready = f"{len(view.ready)} of {len(view.draft.rows)} rows would be stored"
            raise Conflict(
                "this draft", version, stored.version, changes=(Difference("the draft", "", "waits here", ready),)
            )
        if whole:
            _refuse_problems(view)
        elif not view.ready:
            raise InputError("rows", len(view.draft.rows), "correct a row first, or choose what to keep; none is ready")
        platform_version = platform_rows.find_platform(session, view.platform.key)[1]
        words = dictionary.entries_in(shop, session)
        taken = Taken(0, 0, 0, len(view.draft.rows) - len(view.ready))

        def act(session: Session, old: LoadedPlatform) -> Platform:
            nonlocal taken
            platform, taken = _merged(session, old, view, words)
            return platform

        platforms.change_in(shop, session, view.platform.key, platform_version, "pinout taken in", act)
        state = dict(stored.state)
        state["taken"] = sorted({*state["taken"], *(r.row for r in view.ready)})
        drafts.save(session, stored, stored.version if version is None else version, state)
        if not taken.left:
            drafts.delete(session, draft_id)
        return taken


def _merged(session: Session, old: LoadedPlatform, view: DraftView, words: Dictionary) -> tuple[Platform, Taken]:
    """The platform with the ready rows in it."""
    platform = old.platform
    names = [c.name for c in platform.connectors]
    rows = view.ready
    pins = with_codes([r.pin for r in rows if r.pin is not None], words)
    added = dict.fromkeys(p.connector for p in pins if p.connector not in names)
    connectors = (*platform.connectors, *(Connector(name=name) for name in added))
    replaced: dict[PinKey, Pin] = {}
    new: list[Pin] = []
    kept = 0
    for row, pin in zip(rows, pins, strict=True):
        on_file = view.existing.get(row.row)
        if on_file is None:
            new.append(pin)
        elif view.choices[row.row] == KEEP:
            kept += 1
        else:
            key = on_file.key(platform.key)
            if pin.key(platform.key) != key:  # same cavity, other editions: the entry stays joined where it is used
                connector_id = old.connector_ids[ConnectorKey(platform.key, pin.connector)]
                platform_rows.rename_pin(session, old.pin_ids[key], connector_id, pin.cavity, ";".join(pin.editions))
            replaced[key] = pin
    merged = tuple(replaced.get(p.key(platform.key), p) for p in platform.pins) + tuple(new)
    left = len(view.draft.rows) - len(rows)
    return replace(platform, connectors=connectors, pins=merged), Taken(len(new), len(replaced), kept, left)


def with_codes(pins: Sequence[Pin], words: Dictionary) -> tuple[Pin, ...]:
    """Pins with the code of the function that their words surely name; the others as they are."""
    return tuple(
        replace(pin, function_code=found.code)
        if found is not None and not pin.function_code and found.score >= _SURE and not found.rivals
        else pin
        for pin, found in zip(pins, recognise_all(pins, words), strict=True)
    )


def _refuse_problems(view: DraftView) -> None:
    problems = [
        FileProblem(r.row, p.column, p.value, p.reason) for r in view.draft.bad for p in r.problems if p.blocking
    ]
    problems += [FileProblem(0, "", "", text) for text in view.draft.problems]
    problems += [
        FileProblem(r.row, "cavity", r.pin.cavity, "a pin is on file here; choose whether to keep or to replace it")
        for r in view.open_rows
        if r.pin is not None
    ]
    if problems:
        raise FileRejected(f"{len(problems)} things must be settled before all rows can be taken", tuple(problems))


def _view(shop: Shop, session: Session, stored: StoredDraft) -> DraftView:
    platform_version = platform_rows.platform_version(session, stored.platform_id)
    platform = loaded(shop, session, stored.platform_id, platform_version).platform
    words = dictionary.entries_in(shop, session)
    housings = all_housings(shop, session)
    table = _table(stored)
    state = stored.state
    read_as = {int(i): column for i, column in state["read_as"].items()}
    taken = set(state["taken"])
    left = replace(table, lines=tuple(x for x in table.lines if x[0] not in taken))
    draft = parse_rows(
        left,
        read_as,
        platform,
        words,
        tuple(housings.values()),
        default_connector=state["default_connector"],
        fill_connector=state["fill_connector"],
    )
    return DraftView(
        id=stored.id,
        version=stored.version,
        platform=platform,
        filename=stored.filename,
        created=stored.created,
        table=table,
        guesses=guess_headings(table.headings, table.rows[:50]),
        read_as=read_as,
        default_connector=state["default_connector"],
        fill_connector=state["fill_connector"],
        draft=draft,
        existing=_existing(platform, draft.rows),
        choices={int(row): choice for row, choice in state["choices"].items()},
        taken=len(taken),
    )


def _existing(platform: Platform, rows: Sequence[DraftRow]) -> dict[int, Pin]:
    """The pin on file that each good row meets: the same cavity, and an edition in common."""
    at: dict[tuple[str, str], list[Pin]] = {}
    for pin in platform.pins:
        at.setdefault((pin.connector, pin.cavity), []).append(pin)
    found: dict[int, Pin] = {}
    for row in rows:
        if row.pin is None:
            continue
        here = at.get((row.pin.connector, row.pin.cavity), ())
        same = [p for p in here if p.editions == row.pin.editions]
        meeting = same or [p for p in here if _meet(p.editions, row.pin.editions)]
        if meeting:
            found[row.row] = meeting[0]
    return found


def _meet(a: Collection[str], b: Collection[str]) -> bool:
    return not a or not b or not set(a).isdisjoint(b)


def _save(session: Session, stored: StoredDraft, version: int, state: dict[str, Any]) -> StoredDraft:
    try:
        return drafts.save(session, stored, version, state)
    except Conflict as stale:
        raise looked_at(stale, lambda: _differences(stored, state)) from None


def _differences(stored: StoredDraft, state: Mapping[str, Any]) -> tuple[Difference, ...]:
    """What a decision would change in a draft as it is now."""
    old, out = stored.state, []
    before, after = _table(stored), _table(replace(stored, state=dict(state)))
    cells = dict(before.numbered_rows)
    for number, row in after.numbered_rows:
        for i, cell in enumerate(row):
            was = cells[number][i] if number in cells and i < len(cells[number]) else ""
            if cell != was:
                out.append(Difference(f"row {number}", after.headings[i], was, cell, "text"))
    for row in sorted(state["choices"], key=int):
        was, now = old["choices"].get(row, "not chosen"), state["choices"][row]
        if was != now:
            out.append(Difference(f"row {row}", "Pin on file", was, now, "choice"))
    for i in sorted({*old["read_as"], *state["read_as"]}, key=int):
        was, now = (s["read_as"].get(i, "as it stands") for s in (old, state))
        if was != now:
            out.append(Difference(f"column {int(i) + 1}", "Read as", was, now, f"column-{i}"))
    for name, words in (
        ("heading_row", "Headings stand in row"),
        ("default_connector", "Connector of all rows"),
        ("fill_connector", "Repeat the connector above"),
    ):
        if old[name] != state[name]:
            out.append(Difference("the draft", words, str(old[name]), str(state[name]), name))
    return tuple(out)


def _table(stored: StoredDraft) -> RawTable:
    """The table with the user's corrections in it."""
    plain = stored.table
    edits: dict[int, dict[int, str]] = {}
    for place, text in stored.state["edits"].items():
        row, column = place.split(":")
        edits.setdefault(int(row), {})[int(column)] = text
    lines = tuple((number, _edited(tuple(cells), edits.get(number, {}))) for number, cells in plain["lines"])
    return RawTable(
        lines=lines,
        heading_row=stored.state["heading_row"],
        encoding=plain["encoding"],
        delimiter=plain["delimiter"],
        sheet=plain["sheet"],
        sheets=tuple(plain["sheets"]),
        notes=tuple(FileProblem(**note) for note in plain["notes"]),
    )


def _edited(cells: tuple[str, ...], edits: Mapping[int, str]) -> tuple[str, ...]:
    if not edits:
        return cells
    width = max(len(cells), max(edits) + 1)
    padded = cells + ("",) * (width - len(cells))
    return tuple(edits.get(i, cell) for i, cell in enumerate(padded))


def _plain_mapping(read_as: Mapping[int, str]) -> dict[str, str]:
    return {str(i): column for i, column in read_as.items() if column}


def _check_mapping(read_as: Mapping[int, str], width: int) -> None:
    seen: set[str] = set()
    for index, column in read_as.items():
        if not 0 <= index < width:
            raise InputError("column", index, f"the table has {width} columns")
        if column not in BY_NAME:
            raise InputError("column", column, f"the columns are {', '.join(BY_NAME)}")
        if column in seen:
            raise InputError("column", column, "two columns are read as this one; choose one of them")
        seen.add(column)
