"""The wheel holds what the app needs, and runs where there is no checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

# The client's worker threads end a moment after it; an interpreter that shuts down under one ends with status 120.
RUN = """
import threading
from fastapi.testclient import TestClient
from pinmap.resources import resource_dir
from pinmap.services import people
from pinmap.settings import Settings
from pinmap.web.app import create_app
assert "_bundled" in str(resource_dir("templates")), resource_dir("templates")
app = create_app(Settings(trusted_hosts="testserver"))
token = people.first_link(app.state.shop)
password = "brindle truck loom"
typed = {"name": "Olive Owner", "sign_in": "olive", "password": password, "password_again": password}
with TestClient(app) as client:
    assert client.post(f"/welcome/{token}", data=typed).status_code == 200
    for address in ("/", "/jobs/q24-brindle", "/static/app.css", "/guide/sources"):
        answer = client.get(address)
        assert answer.status_code == 200, (address, answer.status_code)
    pdf = client.get("/jobs/q24-brindle/build/files/build-table.pdf")
    assert pdf.content.startswith(b"%PDF"), pdf.text[:300]
for thread in threading.enumerate():
    if thread is not threading.main_thread():
        thread.join(timeout=30)
print("runs")
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("wheel")
    command = [
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "-q",
        "--no-deps",
        "--no-build-isolation",
        "-w",
        str(out),
        str(ROOT),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    return next(out.glob("pinmap-*.whl"))


def test_the_wheel_holds_everything(wheel: Path) -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split()
    inside = set(zipfile.ZipFile(wheel).namelist())
    wanted = {name for name in tracked if name.startswith("pinmap/")}
    wanted |= {f"pinmap/_bundled/{n}" for n in tracked if n.split("/")[0] in {"templates", "static", "migrations"}}
    assert not sorted(wanted - inside)


def test_the_wheel_runs_without_a_checkout(wheel: Path, tmp_path: Path) -> None:
    """Unpacked elsewhere, started from /, with an empty data folder: pages, static files, migrations, typesetting."""
    home = tmp_path / "site"
    zipfile.ZipFile(wheel).extractall(home)
    environment = {
        **os.environ,
        "PYTHONPATH": str(home),
        "PINMAP_DATABASE_URL": f"sqlite:///{tmp_path / 'shop.sqlite3'}",
    }
    script = tmp_path / "run.py"
    script.write_text(RUN)
    done = subprocess.run(
        [sys.executable, "-W", "ignore", str(script)], cwd="/", env=environment, capture_output=True, text=True,
        timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    assert done.stdout.strip() == "runs"
