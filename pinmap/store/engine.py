"""Makes the database engine from an address."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.pool import StaticPool
from sqlmodel import Session

from pinmap.core.errors import InputError


def normalised(url: str) -> str:
    """The address with the driver named; postgres:// and postgresql:// mean psycopg. Raises InputError."""
    for prefix in ("postgres://", "postgresql://"):
        if url.startswith(prefix):
            return "postgresql+psycopg://" + url.removeprefix(prefix)
    if url.startswith(("sqlite:", "postgresql+psycopg://")):
        return url
    raise InputError("database_url", url.partition(":")[0], "give a sqlite:/// or a postgresql:// address")


def make_engine(url: str) -> sa.Engine:
    """An engine for SQLite or PostgreSQL; makes the folder of a SQLite file. What a statement was executed with does
    not appear in errors, and so not in logs."""
    parsed = sa.make_url(normalised(url))
    if parsed.get_backend_name() == "sqlite":
        return _sqlite(parsed)
    return sa.create_engine(parsed, pool_size=20, max_overflow=20, pool_pre_ping=True, hide_parameters=True)


def writing(engine: sa.Engine) -> sa.Engine:
    """The same engine whose transactions take SQLite's write lock at their begin, because a read that turns into a
    write later is refused at once when somebody else wrote in between."""
    return engine.execution_options(write=True)


def wait_turn(session: Session) -> None:
    """Waits until no other process does what must be done once, and keeps others out until the transaction ends. On
    SQLite a writing transaction is alone anyway."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(sa.text("SELECT pg_advisory_xact_lock(460872)"))


def _sqlite(url: sa.URL) -> sa.Engine:
    in_memory = url.database in (None, "", ":memory:")
    if in_memory:
        engine = sa.create_engine(
            url, poolclass=StaticPool, connect_args={"check_same_thread": False}, hide_parameters=True
        )
    else:
        Path(str(url.database)).parent.mkdir(parents=True, exist_ok=True)
        engine = sa.create_engine(url, pool_size=20, max_overflow=20, hide_parameters=True)

    @sa.event.listens_for(engine, "connect")
    def _connected(connection: Any, _record: object) -> None:
        connection.isolation_level = None  # the driver must not begin transactions of its own
        cursor = connection.cursor()
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.execute("PRAGMA busy_timeout = 15000")
        if not in_memory:
            cursor.execute("PRAGMA journal_mode = WAL")
            cursor.execute("PRAGMA synchronous = NORMAL")
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begun(connection: sa.Connection) -> None:
        write = connection.get_execution_options().get("write")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine
