"""What is wrong in a database, by table and row: the engine's own check, the tables, each cell, each reference."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import sqlalchemy as sa

from pinmap.store import tables
from pinmap.store.shapes import BadValue, Link, Shape, plain
from pinmap.store.transfer import raw_rows

# Tables whose rows never change once they are there; triggers see to it.
UNCHANGING = ("revision", "audit", "audit_change", "check_off")
_SHOWN = 100  # of one kind in one table


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong: in which table, in which row ("" for the whole table), and what."""

    table: str
    row: str
    what: str


def readable(connection: sa.Connection, table: str, faults: Iterable[Fault]) -> Iterator[Fault]:
    """The faults, and one more where the database cannot even be read."""
    try:
        with connection.begin_nested():
            yield from faults
    except sa.exc.DBAPIError as error:
        yield Fault(table, "", f"the database is damaged and cannot be read here: {str(error.orig).splitlines()[0]}")


def of_engine(connection: sa.Connection) -> Iterator[Fault]:
    """What SQLite itself says of the file; PostgreSQL is asked for rules that it was told not to enforce."""
    if connection.dialect.name == "sqlite":
        for told in connection.exec_driver_sql(f"PRAGMA integrity_check({_SHOWN})").scalars():
            if told != "ok":
                yield Fault("", "", f"the database is damaged: {told}")
        return
    query = (
        "SELECT c.conrelid::regclass::text, c.conname FROM pg_constraint c "
        "WHERE NOT c.convalidated AND c.connamespace = current_schema()::regnamespace"
    )
    for table, name in connection.exec_driver_sql(query):
        yield Fault(table, "", f"rule {name} was never checked on the rows that were there before it")


def of_tables(connection: sa.Connection, known: Sequence[Shape]) -> Iterator[Fault]:
    """Tables and columns that are missing, and tables that have lost what keeps their rows unchanged."""
    standing = {shape.name: {c.name for c in shape.columns} for shape in known}
    for name, table in tables.metadata.tables.items():
        if name not in standing:
            yield Fault(name, "", "the table is missing")
        else:
            for column in sorted({c.name for c in table.c} - standing[name]):
                yield Fault(name, "", f"column {column} is missing")
    for name in UNCHANGING:
        if name in standing and not _guarded(connection, name):
            yield Fault(name, "", "nothing keeps its rows from being changed: its triggers are missing")


def _guarded(connection: sa.Connection, name: str) -> bool:
    if connection.dialect.name == "sqlite":
        query = "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = :name"
    else:
        query = (
            "SELECT pg_get_triggerdef(t.oid) FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "WHERE c.relname = :name AND c.relnamespace = current_schema()::regnamespace "
            "AND NOT t.tgisinternal AND t.tgenabled <> 'D'"
        )
    told = " ".join(connection.execute(sa.text(query), {"name": name}).scalars())
    return "UPDATE" in told and "DELETE" in told


def of_cells(connection: sa.Connection, shape: Shape) -> Iterator[Fault]:
    """Cells that hold something else than their column is for."""
    found = 0
    for key, values in raw_rows(connection, shape):
        for column, value in zip(shape.columns, values, strict=True):
            try:
                plain(column, value)
            except BadValue as bad:
                yield Fault(shape.name, key, f"column {column.name}: {bad}")
                found += 1
        if found >= _SHOWN:
            yield Fault(shape.name, "", "and perhaps more; mend these first")
            return


def dangling(connection: sa.Connection, known: Sequence[Shape]) -> Iterator[Fault]:
    """Rows that point at others that are not there."""
    by_name = {shape.name: shape for shape in known}
    for shape in known:
        for link in shape.links:
            if link.table in by_name:
                yield from _dangling(connection, shape, link, by_name[link.table])


def _dangling(connection: sa.Connection, shape: Shape, link: Link, parent: Shape) -> Iterator[Fault]:
    own, other = shape.table.alias("own"), parent.table.alias("other")
    meeting = sa.and_(*(own.c[a] == other.c[b] for a, b in zip(link.columns, link.targets, strict=True)))
    pointing = sa.and_(*(own.c[a].is_not(None) for a in link.columns))
    missing = ~sa.exists(sa.select(sa.literal(1)).select_from(other).where(meeting))
    shown = [*shape.key, *link.columns]
    query = sa.select(*(own.c[n].label(f"c{i}") for i, n in enumerate(shown))).where(pointing, missing).limit(_SHOWN)
    for values in connection.execute(query):
        key = ", ".join(f"{n} {v}" for n, v in zip(shape.key, values, strict=False))
        goal = ", ".join(f"{b} {v}" for b, v in zip(link.targets, values[len(shape.key) :], strict=True))
        yield Fault(shape.name, key, f"points at {link.table} {goal}, which is not there")
