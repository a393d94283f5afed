"""Makes the database engine from an address."""

from __future__ import annotations

import logging
import os
import sqlite3
import time
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
    # psycopg warns of every pipeline that an error ends; the error itself says it.
    logging.getLogger("psycopg").setLevel(logging.ERROR)
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


def shown_url(url: str) -> str:
    """The address without its password."""
    return sa.make_url(normalised(url)).render_as_string(hide_password=True)


def same_database(url: str, other: str) -> bool:
    """Whether two addresses name one database, as far as addresses tell."""
    a, b = sa.make_url(normalised(url)), sa.make_url(normalised(other))
    files = _file(a), _file(b)
    if None not in files:
        return files[0] == files[1]
    return (a.get_backend_name(), a.host, a.port, a.database) == (b.get_backend_name(), b.host, b.port, b.database)


def is_missing(url: str) -> bool:
    """Whether the address names a SQLite file that is not there."""
    file = _file(sa.make_url(normalised(url)))
    return file is not None and not file.exists()


def _file(url: sa.URL) -> Path | None:
    in_file = url.get_backend_name() == "sqlite" and url.database not in (None, "", ":memory:")
    return Path(str(url.database)).resolve() if in_file else None


def others_connected(engine: sa.Engine, patience_s: float = 2.0) -> bool:
    """Whether another process, or another engine of this one, has the database open. Waits a little, because a server
    takes notice of an end with delay."""
    deadline = time.monotonic() + patience_s
    while _others_connected(engine):
        if time.monotonic() > deadline:
            return True
        time.sleep(0.05)
    return False


def _others_connected(engine: sa.Engine) -> bool:
    if engine.dialect.name == "postgresql":
        query = (
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
            "AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
        )
        with engine.connect() as connection:
            return bool(connection.exec_driver_sql(query).scalar_one())
    file = _file(engine.url)
    if file is None or not file.exists():
        return False
    engine.dispose()
    # SQLite leaves WAL mode only for a connection that has the file to itself.
    own = sqlite3.connect(file, timeout=0)
    try:
        return bool(own.execute("PRAGMA journal_mode = DELETE").fetchone()[0] != "delete")
    except sqlite3.OperationalError as error:
        if "locked" in str(error):
            return True
        raise
    finally:
        own.close()


def _sqlite(url: sa.URL) -> sa.Engine:
    in_memory = url.database in (None, "", ":memory:")
    if in_memory:
        engine = sa.create_engine(
            url, poolclass=StaticPool, connect_args={"check_same_thread": False}, hide_parameters=True
        )
    else:
        path = Path(str(url.database))
        path.parent.mkdir(parents=True, exist_ok=True)
        # For its owner alone, since hashes of passwords are in it; the files beside it take over its mode.
        os.close(os.open(path, os.O_RDONLY | os.O_CREAT, 0o600))
        engine = sa.create_engine(url, pool_size=20, max_overflow=20, hide_parameters=True)

    @sa.event.listens_for(engine, "connect")
    def _connected(connection: Any, _record: object) -> None:
        connection.isolation_level = None  # the driver must not begin transactions of its own
        cursor = connection.cursor()
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.execute("PRAGMA busy_timeout = 15000")
        if not in_memory:
            cursor.execute("PRAGMA journal_mode = WAL")
            # An answer promises that the write is on the disk; NORMAL would keep it through the end of the process,
            # but a power cut could take the last ones back.
            cursor.execute("PRAGMA synchronous = FULL")
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begun(connection: sa.Connection) -> None:
        write = connection.get_execution_options().get("write")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine
