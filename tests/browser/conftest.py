"""A real Chromium against a real server on loopback."""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from pinmap.settings import Settings
from pinmap.web.app import create_app
from tests.factories_people import COOKIE, session_of

_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
_TOKEN = "a-browser-signed-in-as-owner"


def signed_in(context: BrowserContext) -> BrowserContext:
    """The context with the owner's cookie, which is good for every site here."""
    context.add_cookies([{"name": COOKIE, "value": _TOKEN, "domain": "127.0.0.1", "path": "/", "httpOnly": True}])
    return context


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    chromium = next((p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n))), None)
    if chromium is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing; .ci/run installs it")
        pytest.skip("Chromium is not installed")
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=chromium, args=_FLAGS)
        yield opened
        opened.close()


def serve(url: str, *, with_owner: bool = True) -> Iterator[str]:
    """The address of a server on this database, for as long as it is asked for."""
    app = create_app(Settings(database_url=url, demo=False))
    if with_owner:
        session_of(app.state.shop, token=_TOKEN)
    listener = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    deadline = time.monotonic() + 30
    while not server.started:
        assert time.monotonic() < deadline, "the server did not start"
        time.sleep(0.02)
    yield f"http://127.0.0.1:{listener.getsockname()[1]}"
    server.should_exit = True
    thread.join(10)
    app.state.shop.close()


@pytest.fixture(scope="session")
def demo_site(demo_copy: Callable[[], AbstractContextManager[str]]) -> Iterator[str]:
    """The app with the demo; tests that change it choose ``empty_site``."""
    with demo_copy() as url:
        yield from serve(url)


@pytest.fixture
def empty_site(empty_url: str) -> Iterator[str]:
    yield from serve(empty_url)


@pytest.fixture
def nobodys_site(empty_url: str) -> Iterator[str]:
    """A site that has no owner yet; its database is at ``empty_url``."""
    yield from serve(empty_url, with_owner=False)


class Watched:
    """A page that remembers what went wrong on it."""

    def __init__(self, context: BrowserContext) -> None:
        self.page: Page = context.new_page()
        self.wrongs: list[str] = []
        self.page.on("console", lambda m: self.wrongs.append(m.text) if m.type == "error" else None)
        self.page.on("pageerror", lambda e: self.wrongs.append(str(e)))
        self.page.on(
            "requestfailed",
            lambda r: (
                self.wrongs.append(f"{r.url} {r.failure}")
                if "download" not in str(r.failure) and "ERR_ABORTED" not in str(r.failure)
                else None
            ),
        )


@pytest.fixture
def watched(browser: Browser) -> Iterator[Watched]:
    context = browser.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    found = Watched(signed_in(context))
    yield found
    context.close()
    assert not found.wrongs, found.wrongs


@pytest.fixture
def phone(browser: Browser) -> Iterator[Watched]:
    context = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True)
    found = Watched(signed_in(context))
    yield found
    context.close()
    assert not found.wrongs, found.wrongs
