"""The migrations make the tables that the models describe, forwards and backwards, on both engines."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from pinmap.core.errors import PinmapError
from pinmap.resources import resource_dir
from pinmap.store import migrate
from pinmap.store.engine import make_engine
from pinmap.store.tables import metadata


def _described(engine: sa.Engine) -> dict[str, Any]:
    """Tables as the database itself tells them."""
    inspector = sa.inspect(engine)
    found: dict[str, Any] = {}
    for name in inspector.get_table_names():
        if name == "alembic_version":
            continue
        found[name] = {
            "columns": [
                (c["name"], str(c["type"]), c["nullable"], str(c["default"])) for c in inspector.get_columns(name)
            ],
            "primary key": (
                inspector.get_pk_constraint(name)["name"],
                inspector.get_pk_constraint(name)["constrained_columns"],
            ),
            "unique": sorted((u["name"], u["column_names"]) for u in inspector.get_unique_constraints(name)),
            "checks": sorted((c["name"], c["sqltext"]) for c in inspector.get_check_constraints(name)),
            "foreign keys": sorted(
                (
                    f["name"],
                    f["constrained_columns"],
                    f["referred_table"],
                    f["referred_columns"],
                    sorted(f["options"].items()),
                )
                for f in inspector.get_foreign_keys(name)
            ),
            "indexes": sorted((i["name"], i["column_names"], bool(i["unique"])) for i in inspector.get_indexes(name)),
        }
    return found


def test_there_is_one_head() -> None:
    assert len(migrate.heads()) == 1


def test_up_down_up(empty_db_url: str) -> None:
    engine = make_engine(empty_db_url)
    assert migrate.current(engine) is None
    migrate.upgrade(engine)
    assert migrate.current(engine) == migrate.heads()[0]
    first = _described(engine)
    migrate.downgrade(engine, "base")
    assert _described(engine) == {}
    migrate.upgrade(engine)
    assert _described(engine) == first
    engine.dispose()


def test_migrated_tables_equal_the_models(empty_db_url: str, db_url: str) -> None:
    migrated, made = make_engine(db_url), make_engine(empty_db_url)
    metadata.create_all(made)
    assert _described(migrated) == _described(made)
    migrated.dispose()
    made.dispose()


def test_alembic_finds_no_drift(db_url: str) -> None:
    """In a process of its own, because this one has imported every model already."""
    code = (
        "from pinmap.store import migrate; from pinmap.store.engine import make_engine; import os; "
        "migrate.check(make_engine(os.environ['PINMAP_DATABASE_URL']))"
    )
    environment = {**os.environ, "PINMAP_DATABASE_URL": db_url, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_env_works_without_a_connection_given(empty_db_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PINMAP_DATABASE_URL", empty_db_url)
    from alembic import command

    command.upgrade(migrate.config(), "head")
    engine = make_engine(empty_db_url)
    assert migrate.current(engine) == migrate.heads()[0]
    engine.dispose()


def test_a_newer_database_is_refused(db_url: str) -> None:
    engine = make_engine(db_url)
    with engine.begin() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = 'from-tomorrow'")
    with pytest.raises(PinmapError, match="newer"):
        migrate.upgrade(engine)
    engine.dispose()


def test_upgrade_switches_foreign_keys_on_again(tmp_path: Any) -> None:
    engine = make_engine(f"sqlite:///{tmp_path / 'x.sqlite3'}")
    migrate.upgrade(engine)
    with engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    engine.dispose()


# What a later release no longer needs: migration -> (table, column), "" for the whole table.
CONTRACTED: dict[str, set[tuple[str, str]]] = {}


def test_a_release_only_expands(tmp_path: Path) -> None:
    """Processes of the version before go on while the new one upgrades: what they read is there, and a row that names
    only the columns they know can be stored."""
    steps = sorted(p.name.partition("_")[0] for p in (resource_dir("migrations") / "versions").glob("[0-9]*.py"))
    engine = make_engine(f"sqlite:///{tmp_path / 'x.sqlite3'}")
    # the first three were made before the rule
    migrate.upgrade(engine, steps[2])
    before = _described(engine)
    for step in steps[3:]:
        migrate.upgrade(engine, step)
        after = _described(engine)
        for name, old in before.items():
            gone = CONTRACTED.get(step, set())
            if (name, "") in gone:
                continue
            assert name in after, f"{step} drops table {name}"
            columns = {c[0]: c for c in after[name]["columns"]}
            known = {c[0] for c in old["columns"]}
            lost = {c for c in known - columns.keys() if (name, c) not in gone}
            assert not lost, f"{step} drops {lost} of {name}"
            for column, _, nullable, default in (columns[c] for c in columns.keys() - known):
                assert nullable or default != "None", f"{step}: {name}.{column} needs a server default or NULL"
        before = after
    engine.dispose()


def test_processes_that_start_together_upgrade_once(empty_db_url: str) -> None:
    """Each has seen the old tables before it gets its turn."""
    engine = make_engine(empty_db_url)
    migrate.upgrade(engine, "0001")
    ready = threading.Barrier(3)

    def start() -> str | None:
        own = make_engine(empty_db_url)
        assert migrate.current(own) == "0001"
        ready.wait(60)
        migrate.upgrade(own)
        own.dispose()
        return migrate.current(engine)

    with ThreadPoolExecutor(3) as pool:
        found = [pool.submit(start) for _ in range(3)]
    assert {f.result() for f in found} == {migrate.newest()}
    engine.dispose()


@pytest.mark.parametrize("deed", ["UPDATE revision SET note = 'other'", "DELETE FROM revision"])
def test_a_revision_cannot_change(db_url: str, deed: str) -> None:
    engine = make_engine(db_url)
    with engine.begin() as connection:
        job = {"key": "j", "name": "", "customer": "", "note": "", "practice": {}, "next_number": 1, "version": 1}
        at = {"created": sa.func.now(), "changed": sa.func.now()}
        connection.execute(sa.insert(metadata.tables["job"]).values(id=1, **job, **at))
        row = {"letter": "A", "author": "", "note": "", "content_hash": "", "snapshot": "", "functions": []}
        connection.execute(sa.insert(metadata.tables["revision"]).values(job_id=1, created=sa.func.now(), **row))
    with pytest.raises(sa.exc.DBAPIError, match="cannot change"), engine.begin() as connection:
        connection.exec_driver_sql(deed)
    with engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT note FROM revision").scalars().all() == [""]
    engine.dispose()
