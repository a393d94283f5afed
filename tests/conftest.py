"""Databases for tests: every test that asks for ``db_url`` runs on SQLite and on a throwaway PostgreSQL server."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack
from pathlib import Path

import psycopg
import pytest
from hypothesis import settings

from pinmap.services.shop import Shop, open_shop
from pinmap.settings import Settings
from pinmap.store import migrate
from pinmap.store.engine import make_engine
from tests.factories_databases import NAMES, Prepared, postgres_database

# How long an example takes is for the benchmarks to say: a machine busy with other work must not fail a test.
settings.register_profile("pinmap", deadline=None)
settings.load_profile("pinmap")


def _postgres_bin() -> Path | None:
    found = shutil.which("initdb")
    if found:
        return Path(found).parent
    newest = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    return newest[-1].parent if newest else None


def _free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """Address of a server of one's own, without database name; ended with the test session."""
    binaries = _postgres_bin()
    if binaries is None:
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL's server programs are missing, and CI must run the tests on both engines")
        pytest.skip("PostgreSQL's server programs are not installed")
    folder = Path(tempfile.mkdtemp(prefix="pinmap-pg-"))
    data = folder / "data"
    other: dict[str, object] = {"cwd": "/", "check": True, "stdout": subprocess.DEVNULL}
    if os.geteuid() == 0:  # the server refuses to run as root
        other |= {"user": "postgres", "group": "postgres", "extra_groups": []}
        shutil.chown(folder, "postgres", "postgres")
    port = _free_port()
    options = (
        f"-c listen_addresses=127.0.0.1 -c port={port} -c unix_socket_directories= -c fsync=off "
        "-c synchronous_commit=off -c full_page_writes=off -c max_connections=100"
    )

    def run(program: str, *arguments: str) -> None:
        subprocess.run([str(binaries / program), *arguments], **other)  # type: ignore[call-overload]  # options above

    try:
        run("initdb", "-D", str(data), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-locale", "-N")
        run("pg_ctl", "-D", str(data), "-o", options, "-l", str(folder / "log"), "-w", "start")
        try:
            yield f"postgresql://postgres@127.0.0.1:{port}"
        finally:
            run("pg_ctl", "-D", str(data), "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def postgres_template(postgres_server: str) -> str:
    """Name of a migrated database that others are copied from."""
    with psycopg.connect(f"{postgres_server}/postgres", autocommit=True) as connection:
        connection.execute("CREATE DATABASE migrated")
    engine = make_engine(f"{postgres_server}/migrated")
    migrate.upgrade(engine)
    engine.dispose()
    return "migrated"


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated SQLite file that others are copied from."""
    path = tmp_path_factory.mktemp("sqlite") / "migrated.sqlite3"
    engine = make_engine(f"sqlite:///{path}")
    migrate.upgrade(engine)
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    return path


@pytest.fixture(scope="session")
def prepared(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Prepared:
    return Prepared(request, tmp_path_factory.mktemp("prepared"))


@pytest.fixture
def empty_url(prepared: Prepared) -> Iterator[str]:
    """Address of a database with nothing in it."""
    with prepared.copy("empty", lambda _: None) as url:
        yield url


@pytest.fixture(scope="session")
def demo_copy(prepared: Prepared) -> Callable[[], AbstractContextManager[str]]:
    """Makes databases with the demo in them."""
    return lambda: prepared.copy("demo", lambda url: open_shop(Settings(database_url=url, demo=True)).close())


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def engine_name(request: pytest.FixtureRequest) -> str:
    """Each engine in turn."""
    return str(request.param)


@pytest.fixture
def new_db(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[..., str]]:
    """Makes databases, each with tables but without rows, or with ``empty`` without any table; gives the address."""
    with ExitStack() as ended:

        def make(engine: str, *, empty: bool = False) -> str:
            if engine == "sqlite":
                path = tmp_path / f"shop-{next(NAMES)}.sqlite3"
                if not empty:
                    shutil.copy(request.getfixturevalue("sqlite_template"), path)
                return f"sqlite:///{path}"
            template = "" if empty else request.getfixturevalue("postgres_template")
            return ended.enter_context(postgres_database(request.getfixturevalue("postgres_server"), template))

        yield make


@pytest.fixture
def empty_db_url(engine_name: str, new_db: Callable[..., str]) -> str:
    """Address of a database without any table."""
    return new_db(engine_name, empty=True)


@pytest.fixture
def db_url(engine_name: str, new_db: Callable[..., str]) -> str:
    """Address of a migrated database without rows."""
    return new_db(engine_name)


@pytest.fixture
def new_shop(db_url: str) -> Iterator[Callable[[], Shop]]:
    """Opens the same database again, as another process would."""
    opened: list[Shop] = []

    def make() -> Shop:
        opened.append(Shop(db_url))
        return opened[-1]

    yield make
    for shop in opened:
        shop.close()


@pytest.fixture
def shop(new_shop: Callable[[], Shop]) -> Shop:
    """An empty shop, on each engine in turn."""
    return new_shop()
