"""The whole shop out and in again, between all engines, without loss."""

from __future__ import annotations

import hashlib
import json
import stat
import threading
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from pinmap.core.crossing import edits
from pinmap.core.errors import FileRejected, InputError, NotFound, PinmapError, StructureError
from pinmap.core.facts.functions import FunctionEntry
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Loom, Node, Segment
from pinmap.core.model.people import PersonRole
from pinmap.core.model.words import NodeKind, Role
from pinmap.exchange import job_json
from pinmap.services import backup, dictionary, integrity, jobs, people, platforms, revisions, sessions, sharing
from pinmap.services.shop import Shop
from pinmap.store import drafts, migrate, platform_rows, releases, transfer
from pinmap.store import jobs as job_rows
from pinmap.store.engine import make_engine
from pinmap.store.shapes import shapes
from tests.factories_people import OWNER, session_of
from tests.factories_store import big_snapshot

BIG = "big"
NewDb = Callable[..., str]


def fill(url: str) -> None:
    """A shop with something in every kind of cell, and with numbers that were given and are gone."""
    snapshot = big_snapshot(100, 30)
    with closing(Shop(url)) as shop:
        with shop.write() as session:
            jobs.store_snapshot(shop, session, snapshot)
            frozen = {"content_hash": snapshot.content_hash, "snapshot": job_json.dump(snapshot).decode()}
            job_id = job_rows.versions(session, BIG).job_id
            releases.add_revision(
                session, job_id, {"letter": "A", "author": "A. Fitter", "note": "", "functions": [], **frozen}
            )
        dictionary.add(shop, FunctionEntry(code="ΩX", name="Größe “x” \u2028", synonyms=("ä",)))
        sharing.create_link(shop, BIG, "A", days=7, label="Kundin", passphrase="not a secret")
        gone = jobs.create_job(shop, "gone", "Gone")
        jobs.delete(shop, "gone", gone.version)
        platforms.create(shop, name="Bench", role=Role.HOST)
        layout = jobs.get(shop, BIG)
        for change in (_laid_out, lambda job, _: edits.update_job(job, note="Ω\n")):
            layout = jobs.edit(shop, BIG, layout.version, change)
        with shop.write() as session:
            number, _ = platform_rows.find_platform(session, "bench")
            drafts.add(session, number, "a.csv", {"rows": [["\ud83d\ude00", None, 1e-300, {"z": 1, "a": 2}]]}, {})


def _laid_out(job: Job, _: Snapshot) -> Job:
    job = edits.add_loom(job, Loom(key="main", name="Main"))
    for key in ("j1", "j2"):
        job = edits.add_node(job, Node(key=key, loom="main", kind=NodeKind.JUNCTION))
    return edits.add_segment(job, Segment(key="r1", loom="main", a="j1", b="j2", length_m=0.1 + 0.2))


@pytest.fixture(scope="session")
def full_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite database with everything in it."""
    path = tmp_path_factory.mktemp("full") / "full.sqlite3"
    url = f"sqlite:///{path}"
    engine = make_engine(url)
    migrate.upgrade(engine)
    engine.dispose()
    fill(url)
    return path


@pytest.fixture
def full_url(full_file: Path) -> str:
    """The same; nobody writes into it."""
    return f"sqlite:///{full_file}"


@pytest.fixture
def full_backup(full_url: str, tmp_path: Path) -> Path:
    backup.backup(full_url, tmp_path / "full.zip")
    return tmp_path / "full.zip"


def next_job_id(url: str) -> int:
    with closing(Shop(url)) as shop:
        jobs.create_job(shop, "next", "Next")
        with shop.read() as session:
            return job_rows.versions(session, "next").job_id


def test_the_file_says_what_it_is(full_url: str, tmp_path: Path) -> None:
    path = tmp_path / "b.zip"
    carried = backup.backup(full_url, path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with zipfile.ZipFile(path) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        assert manifest["migration"] == migrate.newest()
        assert "passwords" in manifest["note"]
        for entry in manifest["tables"]:
            lines = archive.read(f"rows/{entry['name']}.jsonl").splitlines()
            assert len(lines) == entry["rows"]
            assert all(len(json.loads(line)) == len(entry["columns"]) for line in lines)
    assert {t.table for t in carried.tables} == {e["name"] for e in manifest["tables"]}
    assert sum(e["rows"] for e in manifest["tables"]) == carried.rows > 400
    assert not list(tmp_path.glob("*.part*"))


def test_a_file_is_never_written_over(full_url: str, tmp_path: Path) -> None:
    path = tmp_path / "b.zip"
    path.write_text("precious")
    with pytest.raises(InputError, match="another name"):
        backup.backup(full_url, path)
    assert path.read_text() == "precious"


def test_no_database_is_no_backup(tmp_path: Path, empty_db_url: str) -> None:
    with pytest.raises(PinmapError, match="no database at"):
        backup.backup(f"sqlite:///{tmp_path / 'nowhere.sqlite3'}", tmp_path / "b.zip")
    assert not (tmp_path / "nowhere.sqlite3").exists()
    with pytest.raises(PinmapError, match=r"no database at|no tables"):
        backup.backup(empty_db_url, tmp_path / "b.zip")
    assert not list(tmp_path.glob("*.zip*"))


def test_restored_is_what_was_backed_up(full_url: str, full_backup: Path, empty_db_url: str, tmp_path: Path) -> None:
    restored = backup.restore(empty_db_url, full_backup)
    again = backup.backup(empty_db_url, tmp_path / "again.zip")
    assert restored == again == backup.backup(full_url, tmp_path / "once-more.zip")
    found = integrity.check(empty_db_url)
    assert found.faults == ()
    assert (found.jobs, found.revisions) == (1, 1)
    with closing(Shop(empty_db_url)) as shop, closing(Shop(full_url)) as first:
        assert jobs.get(shop, BIG).snapshot == jobs.get(first, BIG).snapshot
        assert revisions.get(shop, BIG, "A") == revisions.get(first, BIG, "A")
        assert dictionary.own(shop) == dictionary.own(first)


def test_sessions_do_not_come_back(new_db: NewDb, db_url: str, tmp_path: Path) -> None:
    """They may have been ended since; moving the shop keeps them."""
    source = new_db("sqlite")
    with closing(Shop(source)) as shop:
        token = session_of(shop)
        _, link = people.invite(shop, "Bert", "bert", PersonRole.BUILDER)
    backup.backup(source, tmp_path / "b.zip")
    moved = new_db("sqlite")
    backup.move(source, moved)
    backup.restore(db_url, tmp_path / "b.zip")
    with closing(Shop(moved)) as shop:
        assert sessions.find(shop, token) is not None
        assert people.look_at(shop, link).name == "Bert"
    with closing(Shop(db_url)) as shop:
        assert sessions.find(shop, token) is None
        with pytest.raises(NotFound):
            people.look_at(shop, link)
        assert [line.person.name for line in people.list_people(shop)] == [OWNER, "Bert"]


def test_restored_revisions_cannot_change_either(full_backup: Path, db_url: str) -> None:
    backup.restore(db_url, full_backup)
    engine = make_engine(db_url)
    for deed in ("UPDATE revision SET note = 'other'", "DELETE FROM revision"):
        with pytest.raises(sa.exc.DBAPIError, match="cannot change"), engine.begin() as connection:
            connection.exec_driver_sql(deed)
    engine.dispose()


@pytest.mark.parametrize(
    ("source", "target"),
    [
        ("sqlite", "sqlite"),
        pytest.param("sqlite", "postgres", marks=pytest.mark.postgres),
        pytest.param("postgres", "sqlite", marks=pytest.mark.postgres),
        pytest.param("postgres", "postgres", marks=pytest.mark.postgres),
    ],
)
def test_move_between_engines(source: str, target: str, full_backup: Path, new_db: NewDb, tmp_path: Path) -> None:
    from_url, to_url = new_db(source), new_db(target)
    backup.restore(from_url, full_backup)
    moved = backup.move(from_url, to_url)
    assert moved == backup.backup(from_url, tmp_path / "from.zip") == backup.backup(to_url, tmp_path / "to.zip")
    # job 2 was given and deleted; its number is not given again, since other processes may remember it
    assert next_job_id(to_url) == next_job_id(from_url) == 3
    assert integrity.check(to_url).faults == ()


def test_a_database_with_rows_is_refused_and_stays(full_backup: Path, db_url: str) -> None:
    with closing(Shop(db_url)) as shop:
        platforms.create(shop, name="Mine", role=Role.HOST)
    with pytest.raises(StructureError, match=r"not empty \(rows: platform 1"):
        backup.restore(db_url, full_backup)
    with closing(Shop(db_url)) as shop:
        assert [p.name for p in platforms.list_platforms(shop)] == ["Mine"]
    backup.restore(db_url, full_backup, replace=True)
    with closing(Shop(db_url)) as shop:
        assert "Mine" not in [p.name for p in platforms.list_platforms(shop)]
        assert len(jobs.list_jobs(shop)) == 1


def test_a_full_database_can_be_replaced_by_another(full_backup: Path, db_url: str) -> None:
    """Though its revisions cannot be deleted one by one."""
    backup.restore(db_url, full_backup)
    assert backup.restore(db_url, full_backup, replace=True).rows > 400
    assert integrity.check(db_url).faults == ()


def test_a_database_in_use_is_refused(full_backup: Path, db_url: str) -> None:
    with closing(Shop(db_url)) as shop:
        assert jobs.list_jobs(shop) == ()
        with pytest.raises(StructureError, match="stop every Pinmap"):
            backup.restore(db_url, full_backup)
        assert jobs.list_jobs(shop) == ()
    backup.restore(db_url, full_backup)


def test_the_database_itself_is_no_goal(full_url: str, full_file: Path) -> None:
    with pytest.raises(InputError, match="another database"):
        backup.move(full_url, f"sqlite:///{full_file.parent / '.' / full_file.name}")


def test_an_older_backup_is_brought_up_to_date(empty_db_url: str, new_db: NewDb, tmp_path: Path) -> None:
    """Rows of the first migration, one in a table that later got columns."""
    old = new_db("sqlite", empty=True)
    engine = make_engine(old)
    migrate.upgrade(engine, "0001")
    with engine.begin() as connection:
        connection.exec_driver_sql(
            "INSERT INTO job (id, key, name, customer, note, practice, next_number, version, created, changed) VALUES "
            "(7, 'old', 'Old', '', '', '{}', 1, 1, '2020-01-01 00:00:00.000000', '2020-01-01 00:00:00.000000')"
        )
        connection.exec_driver_sql(
            "INSERT INTO zone (job_id, key, position, name, ambient_c, wet, moving, hot) "
            "VALUES (7, 'z', 0, 'Bay', 90.0, 1, 0, 1)"
        )
    engine.dispose()
    carried = backup.backup(old, tmp_path / "old.zip")
    assert carried.migration == "0001"
    assert backup.restore(empty_db_url, tmp_path / "old.zip") == carried
    found = integrity.check(empty_db_url)
    assert (found.migration, found.faults) == (migrate.newest(), ())
    with closing(Shop(empty_db_url)) as shop:
        zone = jobs.get(shop, "old").snapshot.job.zones[0]
        assert (zone.name, zone.hot, zone.no_splice, zone.avoid) == ("Bay", True, False, ())


def test_a_backup_of_tomorrow_is_refused(full_backup: Path, db_url: str, tmp_path: Path) -> None:
    other = altered(full_backup, tmp_path / "new.zip", manifest=lambda m: m | {"migration": "9999"})
    with pytest.raises(PinmapError, match=r"newer Pinmap \(migration 9999"):
        backup.restore(db_url, other)


def altered(
    path: Path,
    new: Path,
    *,
    manifest: Callable[[dict[str, Any]], dict[str, Any]] = lambda m: m,
    rows: dict[str, Callable[[list[Any]], list[Any]]] | None = None,
) -> Path:
    """A copy of a backup with other content, whose manifest fits it."""
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(new, "w", zipfile.ZIP_DEFLATED) as out:
        head = json.loads(old.read("manifest.json"))
        for entry in head["tables"]:
            data = old.read(f"rows/{entry['name']}.jsonl")
            if rows and entry["name"] in rows:
                values = rows[entry["name"]]([json.loads(line) for line in data.splitlines()])
                data = b"".join(json.dumps(row, separators=(",", ":")).encode() + b"\n" for row in values)
                entry |= {"rows": len(values), "size_bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
            out.writestr(f"rows/{entry['name']}.jsonl", data)
        out.writestr("manifest.json", json.dumps(manifest(head)))
    return new


def with_cell(column: str, value: object, names: list[str]) -> Callable[[list[Any]], list[Any]]:
    def change(found: list[Any]) -> list[Any]:
        found[0][names.index(column)] = value
        return found

    return change


@pytest.mark.parametrize(
    ("name", "column", "value", "says"),
    [
        ("job", "version", "one", "table job, row 1, column version: this is no integer"),
        ("job", "version", None, "table job, row 1, column version: this may not be empty"),
        ("job", "key", "", "table job, row 1: the database refuses this row"),
        ("platform", "role", "spaceship", "table platform, row 1: the database refuses this row"),
        ("segment", "a", "nowhere", "the database refuses this row|rows point at others"),
    ],
)
def test_a_bad_row_is_named_and_nothing_is_stored(
    name: str, column: str, value: object, says: str, full_backup: Path, db_url: str, tmp_path: Path
) -> None:
    with zipfile.ZipFile(full_backup) as archive:
        entry = next(t for t in json.loads(archive.read("manifest.json"))["tables"] if t["name"] == name)
    change = with_cell(column, value, [c for c, _ in entry["columns"]])
    other = altered(full_backup, tmp_path / "bad.zip", rows={name: change})
    with pytest.raises(FileRejected, match=says) as caught:
        backup.restore(db_url, other)
    assert caught.value.problems[0].column.startswith(name)
    engine = make_engine(db_url)
    with engine.connect() as connection:
        assert transfer.occupied(connection, shapes(connection)) == ()
    engine.dispose()


@pytest.mark.parametrize("change", ["rows", "sha256", "columns", "table"])
def test_a_manifest_that_does_not_fit_is_refused(change: str, full_backup: Path, db_url: str, tmp_path: Path) -> None:
    def lie(head: dict[str, Any]) -> dict[str, Any]:
        entry = next(t for t in head["tables"] if t["name"] == "pin")
        match change:
            case "rows":
                entry["rows"] -= 1
            case "sha256":
                entry["sha256"] = "0" * 64
            case "columns":
                entry["columns"] = entry["columns"][1:]
            case "table":
                head["tables"].remove(entry)
        return head

    other = altered(full_backup, tmp_path / "lie.zip", manifest=lie)
    with pytest.raises(FileRejected):
        backup.restore(db_url, other)


def test_a_backup_is_of_one_moment(db_url: str, tmp_path: Path) -> None:
    """Somebody writes while it is read: what was begun later is in none of the tables."""
    fill(db_url)
    with closing(Shop(db_url)) as shop:
        stood = jobs.get(shop, BIG)
        in_between = threading.Event()
        found = []

        def lines(connection: sa.Connection, shape: Any) -> Any:
            if shape.name == "seat" and not in_between.is_set():
                jobs.edit(shop, BIG, stood.version, lambda job, _: edits.update_job(job, note="later"))
                in_between.set()
            found.append(shape.name)
            return original(connection, shape)

        original = transfer.lines
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(transfer, "lines", lines)
            backup.backup(db_url, tmp_path / "b.zip")
        assert in_between.is_set()
        assert jobs.get(shop, BIG).job.note == "later"
    other = f"sqlite:///{tmp_path / 'restored.sqlite3'}"
    backup.restore(other, tmp_path / "b.zip")
    with closing(Shop(other)) as shop:
        assert jobs.get(shop, BIG).snapshot == stood.snapshot
