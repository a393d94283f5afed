"""Processes of the app, ended with the test."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator

import pytest

from tests.factories_processes import FULL, Nursery, Server


@pytest.fixture(scope="session")
def nursery(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    made = Nursery(tmp_path_factory.mktemp("processes") / "log")
    yield made
    made.close()


@pytest.fixture
def start(nursery: Nursery) -> Iterator[Callable[..., list[Server]]]:
    """Starts processes on one database, together. None of them may have failed at anything."""
    started: list[Server] = []
    at = nursery.log.stat().st_size

    def begin(url: str, count: int = 1) -> list[Server]:
        mine = [nursery.begin(url) for _ in range(count)]
        started.extend(mine)
        return [server.wait() for server in mine]

    yield begin
    for server in started:
        server.kill()
    said = nursery.log.read_text()[at:]
    assert "Traceback" not in said, said[-4000:]


@pytest.fixture
def figures(record_property: Callable[[str, object], None], capsys: pytest.CaptureFixture[str]) -> Callable[..., None]:
    """Tells the figures of a run, in the report and on the screen where a full run was asked for."""

    def tell(text: str) -> None:
        record_property("figures", text)
        if os.environ.get(FULL):
            with capsys.disabled():
                os.write(1, f"\n{text}\n".encode())

    return tell
