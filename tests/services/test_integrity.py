"""What is wrong in a database is said by table and row. Each fault is put in behind the rules' back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa

from pinmap.core.errors import FileRejected, PinmapError
from pinmap.services import backup, integrity, jobs
from pinmap.services.shop import Shop
from pinmap.store import jobs as job_rows
from pinmap.store import migrate, releases
from pinmap.store.engine import make_engine
from tests.factories_store import big_snapshot


@pytest.fixture
def url(db_url: str) -> str:
    """A shop with one job of two signals, and a revision of it."""
    with closing(Shop(db_url)) as shop, shop.write() as session:
        snapshot = big_snapshot(100, 2)
        jobs.store_snapshot(shop, session, snapshot)
        releases.add_revision(
            session,
            job_rows.versions(session, "big").job_id,
            {
                "letter": "A", "author": "A. Fitter", "note": "", "functions": [],
                "content_hash": snapshot.content_hash, "snapshot": "{}",
            },
        )  # fmt: skip
    return db_url


@contextmanager
def unguarded(url: str) -> Iterator[sa.Connection]:
    """A connection on which no rule is enforced."""
    engine = make_engine(url)
    with engine.connect() as connection:
        raw = connection.connection.dbapi_connection
        assert raw is not None
        if engine.dialect.name == "sqlite":
            raw.execute("PRAGMA foreign_keys = OFF")
            raw.execute("PRAGMA ignore_check_constraints = ON")
        else:
            connection.exec_driver_sql("SET session_replication_role = replica")
        yield connection
        connection.commit()
    engine.dispose()


def told(url: str) -> list[tuple[str, str, str]]:
    return [(f.table, f.row, f.what) for f in integrity.check(url).faults]


def test_a_sound_shop_has_only_the_fault_that_was_put_in(url: str) -> None:
    """The revision of the fixture holds no job file."""
    found = integrity.check(url)
    assert (found.platforms, found.jobs, found.revisions) == (2, 1, 1)
    assert [(f.table, f.row) for f in found.faults] == [("revision", "id 1 (big A)")]


def test_a_row_that_points_nowhere(url: str) -> None:
    with unguarded(url) as connection:
        connection.exec_driver_sql("UPDATE member SET pin_id = 99999 WHERE signal = 's0001' AND position = 0")
        number = connection.exec_driver_sql("SELECT id FROM member WHERE pin_id = 99999").scalar_one()
    assert ("member", f"id {number}", "points at pin id 99999, which is not there") in told(url)


def test_a_job_that_contradicts_itself(url: str) -> None:
    with unguarded(url) as connection:
        connection.exec_driver_sql("DELETE FROM pick WHERE seat = 'host'")
    assert any(table == "job" and row == "id 1 (big)" for table, row, _ in told(url))


def test_a_graph_that_is_not_its_jobs(url: str) -> None:
    with unguarded(url) as connection:
        connection.exec_driver_sql("UPDATE edge SET signal = 's0002'")
    assert any(table == "job" and "graph (edge)" in what for table, _, what in told(url))


def test_a_revision_whose_content_is_not_what_its_hash_says(url: str) -> None:
    with unguarded(url) as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("DROP TRIGGER revision_no_update")
        connection.exec_driver_sql("UPDATE revision SET content_hash = 'other'")
    assert any(table == "revision" for table, _, _ in told(url))


def test_lost_triggers(url: str) -> None:
    with unguarded(url) as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("DROP TRIGGER revision_no_delete")
        else:
            connection.exec_driver_sql("ALTER TABLE revision DISABLE TRIGGER revision_stays")
    assert ("revision", "", "nothing keeps its rows from being changed: its triggers are missing") in told(url)


def test_lost_tables_and_columns(url: str) -> None:
    with unguarded(url) as connection:
        connection.exec_driver_sql("DROP TABLE acceptance")
        connection.exec_driver_sql("ALTER TABLE loom DROP COLUMN note")
    found = told(url)
    assert ("acceptance", "", "the table is missing") in found
    assert ("loom", "", "column note is missing") in found


def test_cells_of_another_kind(tmp_path: Path) -> None:
    """PostgreSQL takes none; SQLite takes anything."""
    url = f"sqlite:///{tmp_path / 'x.sqlite3'}"
    engine = make_engine(url)
    migrate.upgrade(engine)
    engine.dispose()
    with unguarded(url) as connection:
        connection.exec_driver_sql(
            "INSERT INTO job (id, key, name, customer, note, practice, next_number, version, created, changed) "
            "VALUES (5, 'j', 'J', '', '', '{', 'many', 1, 'yesterday', '2020-01-01 00:00:00.000000')"
        )
    found = told(url)
    assert ("job", "id 5", "column created: this is no time") in found
    assert ("job", "id 5", "column next_number: a column for integer holds str") in found
    assert any(row == "id 5" and what.startswith("column practice: this is no JSON") for _, row, what in found)
    with pytest.raises(FileRejected, match="table job has a damaged row id 5"):
        backup.backup(url, tmp_path / "b.zip")


def test_a_damaged_file(tmp_path: Path) -> None:
    url, path = f"sqlite:///{tmp_path / 'x.sqlite3'}", tmp_path / "x.sqlite3"
    engine = make_engine(url)
    migrate.upgrade(engine)
    with engine.connect() as connection:
        page = connection.exec_driver_sql("SELECT rootpage FROM sqlite_master WHERE name = 'ix_pin_function_code'")
        at = (page.scalar_one() - 1) * 4096
    engine.dispose()
    data = bytearray(path.read_bytes())
    data[at] = 0xFF
    path.write_bytes(data)
    assert any(what.startswith("the database is damaged") for _, _, what in told(url))


def test_tables_of_an_older_version_are_looked_at_as_far_as_they_go(empty_db_url: str) -> None:
    engine = make_engine(empty_db_url)
    migrate.upgrade(engine, "0001")
    engine.dispose()
    found = integrity.check(empty_db_url)
    assert (found.migration, found.newest, found.faults) == ("0001", migrate.newest(), ())


def test_no_database(tmp_path: Path) -> None:
    with pytest.raises(PinmapError, match="no database"):
        integrity.check(f"sqlite:///{tmp_path / 'nowhere.sqlite3'}")
    assert not list(tmp_path.iterdir())
