"""The whole shop out and in: backup of a running database, restore, and the move to another engine."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import sqlalchemy as sa

from pinmap import __version__
from pinmap.core.errors import FileProblem, FileRejected, InputError, PinmapError, StructureError
from pinmap.exchange import backup_file
from pinmap.exchange.backup_file import Manifest, TableEntry
from pinmap.store import integrity, migrate, people, transfer
from pinmap.store.base import now
from pinmap.store.engine import is_missing, make_engine, others_connected, same_database, shown_url
from pinmap.store.shapes import Shape, shapes
from pinmap.store.transfer import Tally, Tallying


@dataclass(frozen=True, slots=True)
class TableLine:
    """A table that was carried over: how many rows, and the SHA-256 of their lines."""

    table: str
    rows: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Carried:
    """What was carried over. ``content`` is one hash over all tables, the same for the same content everywhere;
    ``migration`` the state of the tables it came from."""

    tables: tuple[TableLine, ...]
    migration: str
    content: str

    @property
    def rows(self) -> int:
        return sum(t.rows for t in self.tables)


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A table on its way: its columns as they come, its last number, its lines, and what these should amount to."""

    name: str
    kinds: tuple[tuple[str, str], ...]
    last_id: int
    lines: Callable[[], Iterable[bytes]]
    announced: Tally | None


def backup(database_url: str, path: Path) -> Carried:
    """Writes the database as it stands at one moment into a new file, while others go on working. Raises InputError
    when there is such a file, PinmapError when there is no database."""
    with _opened(database_url, existing=True) as engine, backup_file.writing(path) as file:
        with transfer.one_state(engine) as connection:
            migration, known = _found(connection)
            numbers = transfer.last_ids(connection, known)
            tallies: list[tuple[Shape, Tally]] = []
            for shape in known:
                passing = Tallying(transfer.lines(connection, shape))
                file.table(shape.name, passing)
                tallies.append((shape, passing.tally))
        carried = _carried(migration, [(shape.name, tally) for shape, tally in tallies])
        entries = [
            TableEntry(
                name=shape.name,
                columns=list(shape.kinds),
                rows=tally.rows,
                size_bytes=tally.size_bytes,
                sha256=tally.sha256,
                last_id=numbers.get(shape.name),
            )
            for shape, tally in tallies
        ]
        file.manifest(
            Manifest(
                made_with=__version__,
                made=now().isoformat(timespec="seconds"),
                migration=migration,
                content=carried.content,
                tables=entries,
            )
        )
    return carried


def restore(database_url: str, path: Path, *, replace: bool = False) -> Carried:
    """Puts a backup into an empty database, or with ``replace`` in place of what is there: all of it or nothing, every
    count and hash compared with what then stands in the database. Brings the tables up to date last, and ends all
    sessions and one-time links, some of which may have been revoked since. Raises FileRejected, and StructureError for
    a database that is not empty or in use."""
    with backup_file.reading(path) as file, _opened(database_url) as engine:
        sheets = [
            _Sheet(
                entry.name,
                tuple(entry.columns),
                entry.last_id or 0,
                partial(file.lines, entry),
                Tally(entry.rows, entry.size_bytes, entry.sha256),
            )
            for entry in file.manifest.tables
        ]
        return _pour(engine, file.manifest.migration, sheets, replace=replace, then=people.end_all_access)


def move(from_url: str, to_url: str, *, replace: bool = False) -> Carried:
    """Copies a database as it stands at one moment into another one of either engine; counts and hashes of each table
    are compared. The first stays as it is. Raises what ``restore`` raises."""
    if same_database(from_url, to_url):
        raise InputError("to", shown_url(to_url), "give the address of another database")
    with (
        _opened(from_url, existing=True) as source,
        _opened(to_url) as target,
        transfer.one_state(source) as connection,
    ):
        migration, known = _found(connection)
        numbers = transfer.last_ids(connection, known)
        sheets = [
            _Sheet(s.name, s.kinds, numbers.get(s.name, 0), partial(transfer.lines, connection, s), None) for s in known
        ]
        return _pour(target, migration, sheets, replace=replace)


@contextmanager
def _opened(database_url: str, *, existing: bool = False) -> Iterator[sa.Engine]:
    if existing and is_missing(database_url):
        raise PinmapError(f"there is no database at {shown_url(database_url)}")
    engine = make_engine(database_url)
    try:
        yield engine
    finally:
        engine.dispose()


def _found(connection: sa.Connection) -> tuple[str, tuple[Shape, ...]]:
    migration = migrate.standing(connection)
    if migration is None:
        raise PinmapError("the database has no tables of Pinmap yet; there is nothing to carry over")
    return migration, shapes(connection)


def _carried(migration: str, tallies: Iterable[tuple[str, Tally]]) -> Carried:
    tables = tuple(sorted((TableLine(name, t.rows, t.sha256) for name, t in tallies), key=lambda line: line.table))
    told = "".join(f"{t.table} {t.rows} {t.sha256}\n" for t in tables)
    return Carried(tables, migration, hashlib.sha256(f"{migration}\n{told}".encode()).hexdigest())


def _pour(
    engine: sa.Engine,
    migration: str,
    sheets: Sequence[_Sheet],
    *,
    replace: bool,
    then: Callable[[sa.Connection], None] = lambda _: None,
) -> Carried:
    """Makes the tables as they were at the migration, fills them, compares, brings them up to date, and does ``then``
    with them; all in one transaction."""
    if others_connected(engine):
        # A process keeps what it has read by number and version, which other content may bear as well.
        raise StructureError("others are using the database that would be filled; stop every Pinmap on it first")
    with migrate.rebuilding(engine) as connection:
        holding = transfer.occupied(connection, shapes(connection))
        if holding and not replace:
            told = ", ".join(f"{name} {count:,}" for name, count in holding[:6])
            raise StructureError(
                f"the database is not empty (rows: {told}); give an empty one, or have its content replaced"
            )
        if holding or migrate.standing(connection) != migration:
            transfer.drop_all(connection)  # not row by row, which revisions refuse
            migrate.make_tables(connection, migration)
        known = shapes(connection)
        _compare_shapes(known, sheets)
        transfer.clear_seeds(connection, known)
        by_name = {sheet.name: sheet for sheet in sheets}
        tallies = [(shape.name, _fill(connection, shape, by_name[shape.name])) for shape in known]
        transfer.set_last_ids(connection, known, {sheet.name: sheet.last_id for sheet in sheets})
        if dangling := tuple(integrity.dangling(connection, known)):
            problems = tuple(FileProblem(0, f.table, f.row, f"{f.row} {f.what}") for f in dangling)
            raise FileRejected("rows point at others that are not there; nothing was stored", problems)
        if migration != migrate.newest():
            migrate.make_tables(connection)
        then(connection)
    return _carried(migration, tallies)


def _compare_shapes(known: Sequence[Shape], sheets: Sequence[_Sheet]) -> None:
    wanted = {shape.name: shape.kinds for shape in known}
    given = {sheet.name: sheet.kinds for sheet in sheets}
    if wanted != given:
        differing = sorted({*wanted.items()} ^ {*given.items()})
        raise FileRejected(
            f"the tables are not those of their migration: {', '.join(sorted({n for n, _ in differing}))}"
        )


def _fill(connection: sa.Connection, shape: Shape, sheet: _Sheet) -> Tally:
    passing = Tallying(sheet.lines())
    transfer.fill(connection, shape, passing)
    if sheet.announced is not None and sheet.announced != passing.tally:
        raise FileRejected(f"table {shape.name} is not what the manifest says; nothing was stored")
    stands = transfer.tally(connection, shape)
    if stands != passing.tally:
        raise FileRejected(
            f"table {shape.name} came out of the database otherwise than it went in "
            f"({passing.tally.rows:,} rows went in, {stands.rows:,} came out); nothing was stored"
        )
    return stands
