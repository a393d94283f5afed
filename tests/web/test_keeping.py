"""An owner takes a backup from the app, and sees whether the database is sound."""

from __future__ import annotations

import errno
import logging
import os
import re
import tempfile
import zipfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from pinmap.core.errors import NotAllowed
from pinmap.core.model.people import RIGHTS, Actor, PersonRole
from pinmap.services import audit, backup, integrity, jobs, keeping
from pinmap.services.shop import Shop
from pinmap.store.audit import Query
from tests.factories_web import Visitor
from tests.services.test_integrity import unguarded

PAGE = "/shop/keeping"


def test_a_backup_is_taken_away_and_restores(
    bench: Visitor, new_db: Callable[..., str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:  # fmt: skip
    caplog.set_level(logging.DEBUG)
    (tmp_path / "temporary").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "temporary"))
    bench.open("/shop").follow("Backup and soundness")
    assert "None yet" in bench.text
    answer = bench.client.post(f"{PAGE}/backup")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/zip"
    assert answer.headers["cache-control"] == "no-store"
    assert int(answer.headers["content-length"]) == len(answer.content)
    found = re.fullmatch(
        r"attachment; filename=\"(pinmap-backup-[\d-]+Z\.zip)\"; filename\*=UTF-8''\1",
        answer.headers["content-disposition"],
    )
    assert found
    assert not list((tmp_path / "temporary").iterdir())
    (tmp_path / "b.zip").write_bytes(answer.content)
    target = new_db("sqlite")
    carried = backup.restore(target, tmp_path / "b.zip")
    assert integrity.check(target).faults == ()
    with closing(Shop(target)) as shop:
        assert {j.key for j in jobs.list_jobs(shop)} == {"bench", "bench-done"}
    bench.open(PAGE)
    assert carried.content in bench.text
    assert "A. Fitter" in bench.text
    (entry,) = audit.entries(bench.shop, Query(kind="shop", subject="backup")).entries
    assert (entry.who, entry.what) == ("A. Fitter", "backup taken")
    with zipfile.ZipFile(tmp_path / "b.zip") as archive:
        people = archive.read("rows/person.jsonl").decode()
    assert "A. Fitter" in people
    assert "A. Fitter" not in caplog.text
    assert str(bench.shop.engine.url) not in caplog.text


def test_the_server_has_no_room(bench: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "/some/where/secret")

    monkeypatch.setattr(backup, "backup", full)
    bench.open(PAGE).post(f"{PAGE}/backup", {})
    bench.refused("could not be written on the server", "No space left")
    assert "secret" not in bench.text
    assert not keeping.taken(bench.shop)


def test_a_reader_who_goes_away_leaves_nothing_open(bench: Visitor) -> None:
    def held() -> int:
        return len(os.listdir("/proc/self/fd"))

    keeping.take(bench.shop).chunks.close()
    before = held()
    for started in (False, True, False, True):
        made = keeping.take(bench.shop)
        if started:
            assert next(made.chunks).startswith(b"PK")
        made.chunks.close()
    assert held() == before


def test_whether_it_is_sound(bench: Visitor) -> None:
    bench.open(f"{PAGE}?look=now")
    assert "Nothing wrong" in bench.text
    assert "2 jobs" in bench.text
    with unguarded(bench.shop.engine.url.render_as_string(hide_password=False)) as connection:
        one = "(SELECT min(id) FROM member WHERE pin_id > 0)"
        connection.exec_driver_sql(f"UPDATE member SET pin_id = 99999 WHERE id = {one}")
    bench.open(f"{PAGE}?look=now")
    assert "points at pin id 99999, which is not there" in bench.text


@pytest.mark.parametrize("role", [PersonRole.BUILDER, PersonRole.TECHNICIAN])
def test_only_owners(bench: Visitor, role: PersonRole) -> None:
    """The service refuses by itself, whatever the route declares."""
    shop = bench.shop.acting_as(Actor("Bert", RIGHTS[role], 2))
    for deed in (keeping.take, keeping.taken, keeping.soundness):
        with pytest.raises(NotAllowed):
            deed(shop)
