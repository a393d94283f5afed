"""Brings a database up to date, or back; needs no alembic.ini."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import sqlalchemy as sa

from pinmap.core.errors import PinmapError
from pinmap.resources import resource_dir

if TYPE_CHECKING:
    from alembic.config import Config

# The advisory lock of PostgreSQL under which tables are made and changed.
TURN = 460871

# Alembic is imported where it is used: it loads for long, and a database that is up to date needs none of it.


def config(connection: sa.Connection | None = None) -> Config:
    """Alembic's configuration, made in code; with a connection, migrations run on it."""
    from alembic.config import Config

    made = Config()
    made.set_main_option("script_location", str(resource_dir("migrations")).replace("%", "%%"))
    if connection is not None:
        made.attributes["connection"] = connection
    return made


def heads() -> tuple[str, ...]:
    """The newest migrations; there must be exactly one."""
    from alembic.script import ScriptDirectory

    return tuple(ScriptDirectory.from_config(config()).get_heads())


def newest() -> str:
    """The newest migration by the number that its file's name begins with."""
    return max(path.name.partition("_")[0] for path in (resource_dir("migrations") / "versions").glob("[0-9]*.py"))


def current(engine: sa.Engine) -> str | None:
    """The migration a database stands at, None when it is empty."""
    with engine.connect() as connection:
        return standing(connection)


def standing(connection: sa.Connection) -> str | None:
    """The migration that a database stands at in this transaction, None when it is empty."""
    if not sa.inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar_one_or_none()


def upgrade(engine: sa.Engine, target: str = "head") -> None:
    """Upgrades; does nothing when the database is up to date. Raises PinmapError when it is newer than this program,
    or when an upgrade would leave rows that point nowhere."""
    at = current(engine)
    if target == "head" and at == newest():
        return
    with rebuilding(engine) as connection:
        make_tables(connection, target)


def make_tables(connection: sa.Connection, target: str = "head") -> None:
    """Upgrades in a transaction that is open. Raises PinmapError when the database or the target is newer than this
    program."""
    from alembic import command
    from alembic.script import ScriptDirectory

    known = {s.revision for s in ScriptDirectory.from_config(config()).walk_revisions()} | {"head"}
    for migration in (standing(connection), target):
        if migration is not None and migration not in known:
            raise PinmapError(
                f"this was made by a newer Pinmap (migration {migration}; this one knows up to {newest()}); "
                "install that one to open it"
            )
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql("SET CONSTRAINTS ALL IMMEDIATE")  # no table can change while checks are due
    command.upgrade(config(connection), target)


def downgrade(engine: sa.Engine, target: str) -> None:
    """Goes back to a migration, or to "base"."""
    from alembic import command

    with rebuilding(engine) as connection:
        command.downgrade(config(connection), target)


def check(engine: sa.Engine) -> None:
    """Raises alembic's CommandError when tables and migrations differ."""
    from alembic import command

    with rebuilding(engine) as connection:
        command.check(config(connection))


@contextmanager
def rebuilding(engine: sa.Engine) -> Iterator[sa.Connection]:
    """One transaction in which tables may be made and rebuilt; only one process at a time is in it. All is undone when
    an error comes through, or when rows would be left that point nowhere, which raises PinmapError."""
    with engine.connect() as connection:
        if connection.dialect.name != "sqlite":
            with connection.begin():
                connection.execute(sa.text(f"SELECT pg_advisory_xact_lock({TURN})"))
                yield connection
            return
        raw = connection.connection.dbapi_connection
        assert raw is not None
        connection.rollback()
        # While keys are enforced, rebuilding a parent table would delete its children. The switch works only outside
        # a transaction.
        raw.execute("PRAGMA foreign_keys = OFF")
        try:
            with connection.execution_options(write=True).begin():
                yield connection
                if lost := connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall():
                    raise PinmapError(f"all was undone, because {len(lost)} rows would have pointed nowhere")
        finally:
            raw.execute("PRAGMA foreign_keys = ON")
