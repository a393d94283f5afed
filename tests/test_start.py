"""What the start of the app may cost: heavy libraries wait until somebody needs them."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from pinmap.store import migrate

_HEAVY = ("scipy", "networkx", "alembic", "typst", "wasmtime", "xlsxwriter", "python_calamine")
_START = """
import sys
from pinmap.settings import Settings
from pinmap.web.app import create_app
import uvicorn
create_app(Settings())
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


def test_names_of_migrations_begin_with_their_revision() -> None:
    """``migrate.newest`` stands on it."""
    assert (migrate.newest(),) == migrate.heads()
