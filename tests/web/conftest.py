"""An app per test on a copy of one prepared database, with a client that is signed in as its owner."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from pinmap.services.shop import open_shop
from pinmap.settings import Settings
from pinmap.web.app import create_app
from tests.factories_people import sign_in
from tests.factories_web import Visitor, make_bench


@pytest.fixture(scope="session")
def demo_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the demo in it."""
    path = tmp_path_factory.mktemp("demo") / "demo.sqlite3"
    open_shop(Settings(database_url=f"sqlite:///{path}", demo=True)).close()
    return path


def _client(url: str) -> Iterator[TestClient]:
    app = create_app(Settings(database_url=url, demo=False, trusted_hosts="testserver"))
    with TestClient(app, follow_redirects=True) as client:
        sign_in(client, app.state.shop)
        yield client
    app.state.shop.close()


@pytest.fixture
def client(demo_file: Path, tmp_path: Path) -> Iterator[TestClient]:
    """The app with the demo."""
    shutil.copy(demo_file, tmp_path / "shop.sqlite3")
    yield from _client(f"sqlite:///{tmp_path / 'shop.sqlite3'}")


@pytest.fixture
def empty_client(tmp_path: Path) -> Iterator[TestClient]:
    """The app with nothing in it."""
    yield from _client(f"sqlite:///{tmp_path / 'empty.sqlite3'}")


@pytest.fixture(scope="session")
def bench_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the small jobs of ``make_bench``."""
    path = tmp_path_factory.mktemp("bench") / "bench.sqlite3"
    shop = open_shop(Settings(database_url=f"sqlite:///{path}", demo=False))
    make_bench(shop)
    shop.close()
    return path


@pytest.fixture
def bench(bench_file: Path, tmp_path: Path) -> Iterator[Visitor]:
    """Someone with a browser at the app with the small jobs."""
    shutil.copy(bench_file, tmp_path / "shop.sqlite3")
    for client in _client(f"sqlite:///{tmp_path / 'shop.sqlite3'}"):
        yield Visitor(client)


@pytest.fixture
def visitor(client: TestClient) -> Visitor:
    """Someone with a browser at the app with the demo."""
    return Visitor(client)
