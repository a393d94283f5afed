"""Runs migrations on the connection that is handed over, or on the address in PINMAP_DATABASE_URL."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import context

from pinmap.settings import Settings
from pinmap.store.base import UtcDateTime
from pinmap.store.engine import make_engine
from pinmap.store.migrate import TURN
from pinmap.store.tables import metadata


def _plain_type(kind: str, item: object, _autogenerate: object) -> Any:
    """Own column types are written as plain ones, so that an old migration never needs today's code."""
    if kind == "type" and isinstance(item, UtcDateTime):
        return "sa.DateTime(timezone=True)"
    if kind == "type" and type(item).__name__ == "AutoString":
        length = getattr(item, "length", None)
        return f"sa.String(length={length})" if length else "sa.String()"
    return False


def _run(connection: sa.Connection) -> None:
    sqlite = connection.dialect.name == "sqlite"
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=sqlite,
        compare_type=True,
        compare_server_default=True,
        render_item=_plain_type,
    )
    with context.begin_transaction():
        if not sqlite:  # several processes may start at once
            connection.execute(sa.text(f"SELECT pg_advisory_xact_lock({TURN})"))
        context.run_migrations()


given = context.config.attributes.get("connection")
if given is not None:
    _run(given)
else:
    engine = make_engine(Settings().database_url)
    with engine.connect() as own:
        _run(own)
    engine.dispose()
