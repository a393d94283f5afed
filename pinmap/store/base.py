"""What all tables share: constraint names, column types, the guard at the way in."""

import enum
import math
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session, SQLModel

from pinmap.core.errors import InputError, NotFound

# Set before the first table, so that every constraint has the same name on every engine.
SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}

# Indexed text is short, because PostgreSQL's index rows are limited to a third of a page.
KEY_LENGTH = 120
EDITIONS_LENGTH = 400


def touched(session: Session, statement: sa.Update | sa.Delete) -> int:
    """Runs it; how many rows it changed or deleted."""
    done = session.execute(statement)
    assert isinstance(done, sa.CursorResult)  # which a change or deletion always gives
    return done.rowcount


class UtcDateTime(sa.types.TypeDecorator[datetime]):
    """A point in time. Refuses naive values; always gives back UTC, which SQLite alone would not."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:  # noqa: ARG002  (interface)
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without a zone cannot be stored")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:  # noqa: ARG002  (interface)
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Names(sa.types.TypeDecorator[tuple[str, ...]]):
    """A short list of names in one cell."""

    impl = sa.JSON
    cache_ok = True

    def process_bind_param(self, value: tuple[str, ...] | None, dialect: sa.Dialect) -> list[str] | None:  # noqa: ARG002  (interface)
        return None if value is None else list(value)

    def process_result_value(self, value: list[str] | None, dialect: sa.Dialect) -> tuple[str, ...] | None:  # noqa: ARG002  (interface)
        return None if value is None else tuple(value)


def words(vocabulary: type[enum.StrEnum], name: str) -> sa.Enum:
    """A closed vocabulary as text with a named CHECK, the same on both engines."""
    return sa.Enum(
        vocabulary,
        name=name,
        native_enum=False,
        create_constraint=True,
        length=40,
        values_callable=lambda members: [m.value for m in members],
    )


def now() -> datetime:
    """The present, with its zone."""
    return datetime.now(UTC)


def table(name: str) -> sa.Table:
    """The table of this name; queries that fill big records select its columns instead of entities."""
    from pinmap.store.tables import metadata  # here, because the modules of the tables import this one

    return metadata.tables[name]


def sound(column: sa.Column[Any], value: Any) -> Any:
    """The value, if every engine can hold it. Raises InputError naming the column."""
    if isinstance(value, str):
        if "\x00" in value:
            raise InputError(column.name, value, "take out the NUL characters")
        try:
            value.encode()
        except UnicodeEncodeError:
            raise InputError(column.name, value, "take out the half characters (lone surrogates)") from None
        length = getattr(column.type, "length", None)
        if length is not None and len(value) > length:
            raise InputError(column.name, value, f"shorten it to {length} characters at most")
    elif isinstance(value, tuple):
        for item in value:
            sound(column, item)
    elif isinstance(value, float) and not math.isfinite(value):
        raise InputError(column.name, value, "give a finite number")
    elif isinstance(value, int) and not isinstance(value, bool) and not -(2**31) <= value < 2**31:
        raise InputError(column.name, value, "give a number of nine digits at most")
    return value


def checked(of: sa.Table, values: dict[str, Any]) -> dict[str, Any]:
    """The values of a row, if every engine can hold them. Raises InputError naming the column."""
    return {name: sound(of.c[name], value) for name, value in values.items()}


def sought(text: str) -> str:
    """Text to look a row up by. Raises NotFound for text that no engine could hold, since nothing bears it."""
    if "\x00" in text or any("\ud800" <= sign <= "\udfff" for sign in text):
        raise NotFound("there is nothing by that name")
    return text
