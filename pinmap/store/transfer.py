"""Whole tables out of a database and into one: read in one state, a line of JSON a row, counted and hashed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from pinmap.core.errors import FileProblem, FileRejected
from pinmap.store.shapes import BadValue, Shape, plain, selected, stored

# Rows fetched and written at a time: few, since one row of a revision holds a whole job.
_FETCHED = 20
_WRITTEN_ROWS = 500
_WRITTEN_BYTES = 4_000_000
# Rows that migrations themselves put into a new database.
_SEEDED = frozenset({"shop_card", "stamp"})


@dataclass(frozen=True, slots=True)
class Tally:
    """How many rows a table has, and the SHA-256 of their lines in the order of its key."""

    rows: int
    size_bytes: int
    sha256: str


class Tallying:
    """Passes lines on and counts them."""

    def __init__(self, lines: Iterable[bytes]) -> None:
        self._lines, self._hash, self._rows, self._size = lines, hashlib.sha256(), 0, 0

    def __iter__(self) -> Iterator[bytes]:
        for line in self._lines:
            self._hash.update(line)
            self._rows += 1
            self._size += len(line)
            yield line

    @property
    def tally(self) -> Tally:
        return Tally(self._rows, self._size, self._hash.hexdigest())


@contextmanager
def one_state(engine: sa.Engine) -> Iterator[sa.Connection]:
    """A connection whose queries all see the database as it was at the first of them, while others go on writing. On
    SQLite a transaction that reads does so by itself, and in WAL mode holds up nobody."""
    several = engine.dialect.name == "postgresql"
    options = {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True} if several else {}
    with engine.connect().execution_options(**options) as connection, connection.begin():
        yield connection


def lines(connection: sa.Connection, shape: Shape) -> Iterator[bytes]:
    """The rows of a table by its key, each as one line. Raises FileRejected naming a row that holds something else
    than its columns are for."""
    for key, values in raw_rows(connection, shape):
        try:
            row = [plain(column, value) for column, value in zip(shape.columns, values, strict=True)]
        except BadValue as bad:
            problem = FileProblem(0, f"{shape.name}.{bad.column}", repr(bad.value)[:80], f"row {key}: {bad}")
            raise FileRejected(
                f"table {shape.name} has a damaged row {key}: {bad}; pinmap integrity lists all", (problem,)
            ) from None
        yield json.dumps(row, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"


def raw_rows(connection: sa.Connection, shape: Shape) -> Iterator[tuple[str, tuple[Any, ...]]]:
    """Each row's key in words, and its values as the driver gives them; by the key, in the same order everywhere."""
    table = shape.table
    names = [c.name for c in shape.columns]
    places = [names.index(name) for name in shape.key]
    binary = "C" if connection.dialect.name == "postgresql" else "BINARY"
    texts = {c.name for c in shape.columns if c.kind == "text"}
    order = [sa.collate(table.c[k], binary) if k in texts else table.c[k] for k in shape.key]
    query = sa.select(*selected(shape)).order_by(*order).execution_options(yield_per=_FETCHED)
    for values in connection.execute(query):
        yield ", ".join(f"{shape.key[i]} {values[place]}" for i, place in enumerate(places)), tuple(values)


def tally(connection: sa.Connection, shape: Shape) -> Tally:
    """Counts and hashes a table."""
    passing = Tallying(lines(connection, shape))
    for _ in passing:
        pass
    return passing.tally


def fill(connection: sa.Connection, shape: Shape, given: Iterable[bytes]) -> None:
    """Writes lines into a table. Raises FileRejected naming the first row and column that will not do."""
    rows: list[dict[str, Any]] = []
    size = start = 0
    for number, line in enumerate(given, 1):
        rows.append(_row(shape, number, line))
        size += len(line)
        if len(rows) >= _WRITTEN_ROWS or size >= _WRITTEN_BYTES:
            _write(connection, shape, rows, start)
            start, rows, size = number, [], 0
    if rows:
        _write(connection, shape, rows, start)


def _row(shape: Shape, number: int, line: bytes) -> dict[str, Any]:
    try:
        values = json.loads(line)
    except (ValueError, RecursionError):
        raise _rejected(shape, number, "", line[:60], "this line is no JSON") from None
    if not isinstance(values, list) or len(values) != len(shape.columns):
        reason = f"a row of this table has {len(shape.columns)} values"
        raise _rejected(shape, number, "", line[:60], reason)
    try:
        return {c.name: stored(c, value) for c, value in zip(shape.columns, values, strict=True)}
    except BadValue as bad:
        raise _rejected(shape, number, bad.column, bad.value, str(bad)) from None


def _write(connection: sa.Connection, shape: Shape, rows: list[dict[str, Any]], before: int) -> None:
    insert = shape.table.insert()
    try:
        with connection.begin_nested():
            connection.execute(insert, rows)
        return
    except sa.exc.DBAPIError as error:
        refused = error
    for number, row in enumerate(rows, before + 1):  # to say which row it was
        try:
            with connection.begin_nested():
                connection.execute(insert, row)
        except sa.exc.DBAPIError as error:
            reason = f"the database refuses this row: {str(error.orig).splitlines()[0]}"
            raise _rejected(shape, number, "", "", reason) from None
    raise refused


def _rejected(shape: Shape, number: int, column: str, value: object, reason: str) -> FileRejected:
    shown = repr(value)[:80] if value != "" else ""
    where = f"table {shape.name}, row {number}" + (f", column {column}" if column else "")
    return FileRejected(
        f"{where}: {reason}; nothing was stored", (FileProblem(number, f"{shape.name}.{column}", shown, reason),)
    )


def occupied(connection: sa.Connection, known: Iterable[Shape]) -> tuple[tuple[str, int], ...]:
    """Tables that hold rows, with their number, apart from what every new database has."""
    counts = (
        (shape.name, int(connection.execute(sa.select(sa.func.count()).select_from(shape.table)).scalar_one()))
        for shape in known
        if shape.name not in _SEEDED
    )
    return tuple((name, count) for name, count in counts if count)


def drop_all(connection: sa.Connection) -> None:
    """Takes every table out, with its triggers and what these call."""
    found = sa.MetaData()
    found.reflect(connection)
    called: list[str] = []
    if connection.dialect.name == "postgresql":
        functions = sa.text(
            "SELECT DISTINCT t.tgfoid::regprocedure::text FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "WHERE NOT t.tgisinternal AND c.relnamespace = current_schema()::regnamespace"
        )
        called = list(connection.execute(functions).scalars())
    found.drop_all(connection)
    for function in called:
        connection.exec_driver_sql(f"DROP FUNCTION {function}")


def clear_seeds(connection: sa.Connection, known: Iterable[Shape]) -> None:
    """Empties the tables that migrations have put rows into."""
    for shape in known:
        if shape.name in _SEEDED:
            connection.execute(shape.table.delete())


def last_ids(connection: sa.Connection, known: Iterable[Shape]) -> dict[str, int]:
    """The number that the last row of each numbered table got, which may be gone since: numbers are not given twice."""
    found: dict[str, int] = {}
    for shape in known:
        if shape.counted:
            highest = connection.execute(sa.select(sa.func.max(shape.table.c.id))).scalar_one()
            found[shape.name] = max(int(highest or 0), _given(connection, shape.name))
    return found


def _given(connection: sa.Connection, name: str) -> int:
    if connection.dialect.name == "postgresql":
        sequence = _sequence(connection, name)
        if sequence is None:
            return 0
        last, called = connection.exec_driver_sql(f"SELECT last_value, is_called FROM {sequence}").one()  # noqa: S608 - named by the server
        return int(last) if called else 0
    if not sa.inspect(connection).has_table("sqlite_sequence"):
        return 0
    query = sa.text("SELECT seq FROM sqlite_sequence WHERE name = :name")
    return int(connection.execute(query, {"name": name}).scalar_one_or_none() or 0)


def _sequence(connection: sa.Connection, name: str) -> str | None:
    """The sequence behind a table's ids, quoted by the server."""
    query = sa.text("SELECT pg_get_serial_sequence(quote_ident(:name), 'id')")
    return connection.execute(query, {"name": name}).scalar_one_or_none()


def set_last_ids(connection: sa.Connection, known: Iterable[Shape], given: Mapping[str, int]) -> None:
    """Makes the next row of each numbered table get the number behind the last one given."""
    present = last_ids(connection, known)
    for name, highest in present.items():
        last = max(highest, given.get(name, 0))
        if connection.dialect.name == "postgresql":
            sequence = _sequence(connection, name)
            if sequence is not None:
                setting = sa.text("SELECT setval(CAST(:sequence AS regclass), :last, :called)")
                connection.execute(setting, {"sequence": sequence, "last": max(last, 1), "called": last > 0})
        elif sa.inspect(connection).has_table("sqlite_sequence") and last > 0 and _autoincrement(connection, name):
            values = {"name": name, "last": last}
            connection.execute(sa.text("DELETE FROM sqlite_sequence WHERE name = :name"), values)
            connection.execute(sa.text("INSERT INTO sqlite_sequence (name, seq) VALUES (:name, :last)"), values)


def _autoincrement(connection: sa.Connection, name: str) -> bool:
    query = sa.text("SELECT sql FROM sqlite_master WHERE type = 'table' AND name = :name")
    return "AUTOINCREMENT" in str(connection.execute(query, {"name": name}).scalar_one()).upper()
