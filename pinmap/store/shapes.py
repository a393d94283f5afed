"""Tables as they stand in a database, whatever its migration, and their values in a form that both engines share.

A value leaves as plain JSON: times as ISO 8601 in UTC with microseconds, JSON cells as the text that is stored, bytes
as base64. So one row gives one line of text, the same from SQLite and from PostgreSQL.
"""

from __future__ import annotations

import base64
import enum
import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

import sqlalchemy as sa

from pinmap.core.errors import PinmapError
from pinmap.store.base import UtcDateTime

# Alembic's own table says where the others stand; it is no content.
BOOKKEEPING = "alembic_version"


class Kind(enum.StrEnum):
    """What a column holds."""

    INTEGER = "integer"
    NUMBER = "number"
    TEXT = "text"
    BOOLEAN = "boolean"
    TIME = "time"
    JSON = "json"
    BYTES = "bytes"


_KINDS: tuple[tuple[type[sa.types.TypeEngine[Any]], Kind], ...] = (
    (sa.Boolean, Kind.BOOLEAN),
    (sa.JSON, Kind.JSON),
    (sa.DateTime, Kind.TIME),
    (sa.Integer, Kind.INTEGER),
    (sa.Float, Kind.NUMBER),
    (sa.LargeBinary, Kind.BYTES),
    (sa.String, Kind.TEXT),
)


class _JsonText(sa.types.UserDefinedType[str]):
    """JSON as its text: no library of ours reads and rewrites it on the way."""

    cache_ok = True

    def get_col_spec(self, **_: Any) -> str:
        return "JSON"


_STORED: dict[Kind, Callable[[], sa.types.TypeEngine[Any]]] = {
    Kind.INTEGER: sa.BigInteger,
    Kind.NUMBER: sa.Double,
    Kind.TEXT: sa.Text,
    Kind.BOOLEAN: sa.Boolean,
    Kind.TIME: UtcDateTime,
    Kind.JSON: _JsonText,
    Kind.BYTES: sa.LargeBinary,
}


@dataclass(frozen=True, slots=True)
class Column:
    """A column; ``length`` is the most signs that its text may have, ``bits`` the size of its integers."""

    name: str
    kind: Kind
    nullable: bool
    length: int | None = None
    bits: int = 32


@dataclass(frozen=True, slots=True)
class Link:
    """A foreign key: columns, and the table and columns they point to."""

    columns: tuple[str, ...]
    table: str
    targets: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Shape:
    """A table: its columns by name, its key, its foreign keys."""

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    links: tuple[Link, ...]

    @property
    def kinds(self) -> tuple[tuple[str, str], ...]:
        """Name and kind of each column, as a file declares them."""
        return tuple((c.name, c.kind.value) for c in self.columns)

    @property
    def counted(self) -> bool:
        """Whether the engine numbers the rows."""
        return self.key == ("id",) and any(c.name == "id" and c.kind is Kind.INTEGER for c in self.columns)

    @property
    def table(self) -> sa.Table:
        """The table for queries that move raw values."""
        return _table(self)


@lru_cache(256)
def _table(shape: Shape) -> sa.Table:
    return sa.Table(shape.name, sa.MetaData(), *(sa.Column(c.name, _STORED[c.kind]()) for c in shape.columns))


def shapes(connection: sa.Connection) -> tuple[Shape, ...]:
    """Every table of the database, parents before children. Raises PinmapError for a column that it cannot carry."""
    found = sa.MetaData()
    found.reflect(connection)
    return tuple(_shape(t) for t in found.sorted_tables if t.name != BOOKKEEPING)


def _shape(table: sa.Table) -> Shape:
    links = (
        Link(
            tuple(c.name for c in key.columns),
            key.referred_table.name,
            tuple(e.column.name for e in key.elements),
        )
        for key in table.foreign_key_constraints
    )
    return Shape(
        table.name,
        tuple(sorted((_column(table.name, c) for c in table.columns), key=lambda c: c.name)),
        tuple(c.name for c in table.primary_key.columns),
        tuple(sorted(links, key=lambda link: link.columns)),
    )


def _column(table: str, column: sa.Column[Any]) -> Column:
    kind = next((kind for made, kind in _KINDS if isinstance(column.type, made)), None)
    if kind is None:
        raise PinmapError(f"column {table}.{column.name} is of type {column.type}, which cannot be carried over")
    length = getattr(column.type, "length", None) if kind is Kind.TEXT else None
    bits = 64 if isinstance(column.type, sa.BigInteger) else 32
    return Column(column.name, kind, bool(column.nullable), length, bits)


class BadValue(ValueError):
    """A value that its column cannot hold; the text says why."""

    def __init__(self, column: Column, value: object, why: str) -> None:
        self.column, self.value = column.name, value
        super().__init__(why)


def selected(shape: Shape) -> list[sa.ColumnElement[Any]]:
    """The columns as a query asks for them, so that no driver interprets them first."""
    table = shape.table
    return [
        sa.cast(table.c[c.name], sa.Text)
        if c.kind is Kind.JSON
        else sa.type_coerce(table.c[c.name], sa.types.NullType())
        for c in shape.columns
    ]


def plain(column: Column, value: Any) -> Any:
    """What a driver gave, as it stands in a line. Raises BadValue where the cell holds something else than its column
    is for, which SQLite allows."""
    if value is None:
        return None
    match column.kind:
        case Kind.BOOLEAN:
            if isinstance(value, int) and value in (0, 1):
                return bool(value)
        case Kind.NUMBER:
            if isinstance(value, float | int) and not isinstance(value, bool) and math.isfinite(value):
                return float(value) + 0.0  # SQLite keeps no negative zero
        case Kind.TIME:
            return _time(column, value)
        case Kind.BYTES:
            if isinstance(value, bytes | memoryview):
                return base64.b64encode(value).decode()
        case Kind.JSON:
            return _json(column, value)
        case Kind.INTEGER:
            if isinstance(value, int) and not isinstance(value, bool):
                return value
        case Kind.TEXT:
            if isinstance(value, str):
                return value
    raise BadValue(column, value, f"a column for {column.kind} holds {type(value).__name__}")


def _time(column: Column, value: Any) -> str:
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            raise BadValue(column, value, "this is no time") from None
    if not isinstance(value, datetime):
        raise BadValue(column, value, "this is no time")
    # SQLite keeps no zone; what is stored is UTC
    value = value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
    return str(value.isoformat(timespec="microseconds"))


def _json(column: Column, value: Any) -> str:
    try:
        json.loads(value, parse_constant=_no_constant)
    except (ValueError, TypeError, RecursionError) as error:
        raise BadValue(column, value, f"this is no JSON: {error}") from None
    return str(value)


def _no_constant(name: str) -> None:
    raise ValueError(f"{name} is not a JSON number")


def stored(column: Column, value: Any) -> Any:
    """A value out of a line, checked, as it is handed to the driver. Raises BadValue."""
    if value is None:
        if not column.nullable:
            raise BadValue(column, value, "this may not be empty")
        return None
    match column.kind:
        case Kind.INTEGER:
            if (
                isinstance(value, int)
                and not isinstance(value, bool)
                and -(2 ** (column.bits - 1)) <= value < 2 ** (column.bits - 1)
            ):
                return value
        case Kind.NUMBER:
            if isinstance(value, float) and math.isfinite(value):
                return value
        case Kind.BOOLEAN:
            if isinstance(value, bool):
                return value
        case Kind.TIME:
            return _moment(column, value)
        case Kind.TEXT:
            if isinstance(value, str) and "\x00" not in value and not _broken(value):
                if column.length is not None and len(value) > column.length:
                    raise BadValue(column, value, f"this is longer than {column.length} signs")
                return value
        case Kind.JSON:
            if isinstance(value, str) and "\x00" not in value and not _broken(value):
                return _json(column, value)
        case Kind.BYTES:
            return _bytes(column, value)
    raise BadValue(column, value, f"this is no {column.kind} that a database can hold")


def _moment(column: Column, value: Any) -> datetime:
    try:
        moment = datetime.fromisoformat(value)
        if moment.tzinfo is not None:
            return moment.astimezone(UTC)
    except (ValueError, TypeError, OverflowError):
        pass
    raise BadValue(column, value, "give a time with its zone in ISO 8601")


def _bytes(column: Column, value: Any) -> bytes:
    try:
        return base64.b64decode(value, validate=True)
    except (ValueError, TypeError):
        raise BadValue(column, value, "this is no base64") from None


def _broken(text: str) -> bool:
    """Whether text has half characters, which UTF-8 cannot say."""
    return any("\ud800" <= sign <= "\udfff" for sign in text)
