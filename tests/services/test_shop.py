"""Opening a shop: at first, again, by several processes at once."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
import sqlalchemy as sa

from pinmap.core.errors import StructureError
from pinmap.core.model.words import Role
from pinmap.services import jobs, platforms
from pinmap.services.shop import Shop, open_shop
from pinmap.settings import Settings


def test_empty_shop_stays_empty_without_demo(empty_db_url: str) -> None:
    shop = open_shop(Settings(database_url=empty_db_url, demo=False))
    assert shop.is_empty()
    shop.close()


def test_demo_is_loaded_into_an_empty_database_only(empty_db_url: str) -> None:
    shop = open_shop(Settings(database_url=empty_db_url, demo=False))
    platforms.create(shop, name="Mine", role=Role.HOST)
    shop.close()
    shop = open_shop(Settings(database_url=empty_db_url, demo=True))
    assert [p.name for p in platforms.list_platforms(shop)] == ["Mine"]
    shop.close()


def test_several_processes_start_at_once(empty_db_url: str) -> None:
    code = "from pinmap.services.shop import open_shop; from pinmap.settings import Settings; open_shop(Settings())"
    environment = {**os.environ, "PINMAP_DATABASE_URL": empty_db_url, "PYTHONPATH": os.pathsep.join(sys.path)}
    started = [
        subprocess.Popen([sys.executable, "-c", code], env=environment, stderr=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    for process in started:
        _, said = process.communicate(timeout=120)
        assert process.returncode == 0, said
    shop = open_shop(Settings(database_url=empty_db_url, demo=True))
    assert len(jobs.list_jobs(shop)) == 2
    shop.close()


@pytest.mark.parametrize("when", ["IMMEDIATE", "DEFERRED"])
def test_what_a_newer_process_stored_is_not_cut_off(shop: Shop, when: str) -> None:
    """While processes are brought up to date one by one, an older one meets rows of tables that it does not know."""
    platforms.create(shop, key="box", name="Box", role=Role.CONTROL)
    with shop.write() as session:
        session.execute(
            sa.text(
                "CREATE TABLE later (platform_id INTEGER NOT NULL REFERENCES platform (id) "
                f"DEFERRABLE INITIALLY {when})"
            )
        )
        session.execute(sa.text("INSERT INTO later SELECT id FROM platform"))
    with pytest.raises(sa.exc.IntegrityError):  # our own mistake stays one
        platforms.delete(shop, "box", 1)
    with shop.write() as session:
        session.execute(sa.text("UPDATE alembic_version SET version_num = 'from-tomorrow'"))
    with pytest.raises(StructureError, match="newer Pinmap"):
        platforms.delete(shop, "box", 1)
    assert [p.name for p in platforms.list_platforms(shop)] == ["Box"]
