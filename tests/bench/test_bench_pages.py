"""Pages and files of the largest sizes that are promised; run with --benchmark-only."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from pytest_benchmark.fixture import BenchmarkFixture

from pinmap.core.model.words import Role
from pinmap.services import jobs, platforms
from pinmap.services.shop import Shop
from pinmap.settings import Settings
from pinmap.web.app import create_app
from tests.factories_looms import big_snapshot
from tests.factories_people import sign_in

_PINS = 5000


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """The app with a 3,000-wire job and an empty platform."""
    shop = Shop(f"sqlite:///{tmp_path_factory.mktemp('bench') / 'shop.sqlite3'}")
    shop.upgrade()
    snapshot = big_snapshot()
    with shop.write() as session:
        jobs.store_snapshot(shop, session, snapshot)
    platforms.create(shop, key="bench", name="Bench", role=Role.ACCESSORY)
    app = create_app(Settings(trusted_hosts="testserver"), shop)
    with TestClient(app) as found:
        sign_in(found, shop)
        found.job = snapshot.job.key  # type: ignore[attr-defined]  # carried along for the tests
        yield found
    shop.close()


def _list() -> bytes:
    rows = ["connector,cavity,function,kind,direction,current_a,wire_colour,wire_mm2,evidence"]
    rows += [
        f"C{n // 50:03},{n % 50 + 1},Injector {n % 8 + 1} +,low-side,in,1.2,RD/YE,0.75,manual p. {n}"
        for n in range(_PINS)
    ]
    return "\n".join(rows).encode()


def test_preview_of_5000_pins(benchmark: BenchmarkFixture, client: TestClient) -> None:
    """From the upload to the page that shows every row with its problems."""
    data = _list()

    def preview() -> str:
        answer = client.post("/platforms/bench/import", files={"file": ("pins.csv", data)})
        assert answer.status_code == 200
        return answer.text

    assert f"<b>{_PINS}</b> rows" in benchmark.pedantic(preview, rounds=3, warmup_rounds=1)


@pytest.mark.parametrize("page", ["build", "check", "check/wires", "decide/ledger", "build/cut", ""])
def test_pages_of_a_3000_wire_job(benchmark: BenchmarkFixture, client: TestClient, page: str) -> None:
    """Served from a job that was looked at before."""
    address = f"/jobs/{client.job}/{page}".rstrip("/")  # type: ignore[attr-defined]  # set by the fixture
    assert client.get(address).status_code == 200
    benchmark.pedantic(lambda: client.get(address), rounds=5)


def _until_ready(folder: Path) -> float:
    """Seconds from the command to the first answer, with a database from an earlier start."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    environment = {**os.environ, "PINMAP_DATABASE_URL": f"sqlite:///{folder / 'shop.sqlite3'}"}
    began = time.perf_counter()
    server = subprocess.Popen(
        [sys.executable, "-m", "pinmap", "serve", "--port", str(port)], env=environment, stdout=subprocess.DEVNULL
    )
    try:
        while time.perf_counter() - began < 60:
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5)
                return time.perf_counter() - began
            except OSError:
                time.sleep(0.02)
        raise AssertionError("the app did not answer within a minute")
    finally:
        server.terminate()
        server.wait(10)


def test_start_to_first_answer(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    _until_ready(tmp_path)
    benchmark.pedantic(lambda: _until_ready(tmp_path), rounds=3)


def test_start_of_the_frameworks_alone(benchmark: BenchmarkFixture) -> None:
    """What the start is to be compared with: the bare import of what any such app stands on."""
    command = [sys.executable, "-c", "import fastapi, sqlmodel, jinja2, uvicorn"]
    benchmark.pedantic(lambda: subprocess.run(command, check=True), rounds=3)
