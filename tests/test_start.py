"""What the start of the app may cost: heavy libraries wait until somebody needs them."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from pinmap.settings import Settings
from pinmap.store import migrate
from pinmap.web import app as app_module
from pinmap.web.app import create_app
from tests.factories_people import sign_in

_HEAVY = (
    "numpy", "scipy", "networkx", "rapidfuzz", "alembic", "typst", "xlsxwriter", "python_calamine", "argon2", "zxcvbn",
)  # fmt: skip
_START = """
import sys
from pinmap.settings import Settings
from pinmap.web.app import create_app
import uvicorn
create_app(Settings(), later=True)
print(" ".join(name for name in sys.argv[1:] if name in sys.modules))
"""


def _environment(folder: Path) -> dict[str, str]:
    url = f"sqlite:///{folder / 'shop.sqlite3'}"
    return {**os.environ, "PINMAP_DATABASE_URL": url, "PYTHONPATH": str(Path(__file__).parents[1])}


def _start(folder: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-c", _START, *_HEAVY], env=_environment(folder), capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


@pytest.fixture
def second_start(tmp_path: Path) -> Path:
    """A folder with a database from an earlier start, with the demo."""
    _start(tmp_path)
    return tmp_path


def test_a_start_loads_nothing_heavy(second_start: Path) -> None:
    assert _start(second_start) == ""


def test_screens_loaded_later_answer_the_first_request_for_one(tmp_path: Path) -> None:
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'shop.sqlite3'}", demo=False, trusted_hosts="testserver")
    app = create_app(settings, later=True)
    client = TestClient(app)
    sign_in(client, app.state.shop)
    assert client.get("/").status_code == 200
    before = len(app.openapi()["paths"])
    assert client.get("/guide").status_code == 200
    assert client.get("/nowhere").status_code == 404
    assert len(app.openapi()["paths"]) > before
    assert app.openapi()["paths"].keys() == create_app(settings, app.state.shop).openapi()["paths"].keys()


def test_screens_load_by_themselves_once_the_app_is_idle(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(app_module, "IDLE_S", 0.0)
    app = create_app(Settings(database_url=f"sqlite:///{tmp_path / 'shop.sqlite3'}", demo=False), later=True)
    few = len(app.routes)
    with TestClient(app):
        until = time.monotonic() + 20
        while len(app.routes) == few and time.monotonic() < until:
            time.sleep(0.01)
    assert len(app.routes) > few


def test_names_of_migrations_begin_with_their_revision() -> None:
    """``migrate.newest`` stands on it."""
    assert (migrate.newest(),) == migrate.heads()
