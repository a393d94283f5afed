"""An app per test on a copy of one prepared database, with a client that is signed in as its owner."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing

import pytest
from fastapi.testclient import TestClient

from pinmap.services import size_search
from pinmap.services.shop import Shop
from pinmap.settings import Settings
from pinmap.web.app import create_app
from tests.factories_databases import Prepared
from tests.factories_people import sign_in
from tests.factories_web import Visitor, make_bench


@pytest.fixture(autouse=True)
def _patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """A page waits for its search to end, however busy the machine is."""
    monkeypatch.setattr(size_search, "PATIENCE_S", 600.0)


def _client(url: str) -> Iterator[TestClient]:
    app = create_app(Settings(database_url=url, demo=False, trusted_hosts="testserver"))
    with TestClient(app, follow_redirects=True) as client:
        sign_in(client, app.state.shop)
        yield client
    app.state.shop.close()


@pytest.fixture
def client(demo_copy: Callable[[], AbstractContextManager[str]]) -> Iterator[TestClient]:
    """The app with the demo."""
    with demo_copy() as url:
        yield from _client(url)


@pytest.fixture
def empty_client(empty_url: str) -> Iterator[TestClient]:
    """The app with nothing in it."""
    yield from _client(empty_url)


def _fill_bench(url: str) -> None:
    with closing(Shop(url)) as shop:
        make_bench(shop)


@pytest.fixture(scope="session")
def bench_copy(prepared: Prepared) -> Callable[[], AbstractContextManager[str]]:
    """Makes databases with the small jobs of ``make_bench``."""
    return lambda: prepared.copy("bench", _fill_bench)


@pytest.fixture(scope="session")
def empty_copy(prepared: Prepared) -> Callable[[], AbstractContextManager[str]]:
    """Makes databases with nothing in them."""
    return lambda: prepared.copy("empty", lambda _: None)


@pytest.fixture
def bench(bench_copy: Callable[[], AbstractContextManager[str]]) -> Iterator[Visitor]:
    """Someone with a browser at the app with the small jobs."""
    with bench_copy() as url:
        for client in _client(url):
            yield Visitor(client)


@pytest.fixture
def visitor(client: TestClient) -> Visitor:
    """Someone with a browser at the app with the demo."""
    return Visitor(client)
