"""The command line's way in: list, add, reset; and what a start says."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from pinmap.core.errors import InputError
from pinmap.settings import Settings
from tests.cli.test_main import pinmap


def test_list_add_reset(tmp_path: Path) -> None:
    added = pinmap(tmp_path, "people", "add", "ann", "--name", "Ann Owner", "--role", "owner", "--json")
    assert added.returncode == 0, added.stderr
    first = json.loads(added.stdout)
    assert first["link"].startswith("http://127.0.0.1:8460/welcome/")
    again = pinmap(tmp_path, "people", "add", "ANN")
    assert again.returncode == 2
    assert "already" in again.stderr
    reset = pinmap(tmp_path, "people", "reset", "Ann")
    assert reset.returncode == 0, reset.stderr
    link = re.search(r"http://127\.0\.0\.1:8460/welcome/[\w-]+", reset.stdout)
    assert link is not None
    assert link[0] != first["link"]
    assert pinmap(tmp_path, "people", "reset", "nobody").returncode == 2
    listed = json.loads(pinmap(tmp_path, "people", "list", "--json").stdout)
    assert listed == [{"sign_in": "ann", "name": "Ann Owner", "role": "owner", "state": "invited"}]
    assert "ann" in pinmap(tmp_path, "people", "list").stdout


def _started(tmp_path: Path, **more: str) -> tuple[dict[str, str], subprocess.Popen[str]]:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    url = f"sqlite:///{tmp_path / 'shop.sqlite3'}"
    environment = {**os.environ, "PINMAP_DATABASE_URL": url, "PINMAP_DEMO": "false", **more}
    command = [sys.executable, "-m", "pinmap", "serve", "--port", str(port), "--json"]
    process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    return json.loads(process.stdout.readline()), process


def _read(address: str) -> str:
    """A page of a server that has yet to listen."""
    deadline = time.monotonic() + 60
    while True:
        try:
            return str(urllib.request.urlopen(address, timeout=10).read().decode())
        except OSError:
            assert time.monotonic() < deadline, "the app did not answer within a minute"
            time.sleep(0.05)


def test_a_start_prints_a_new_link_until_there_is_an_owner(tmp_path: Path) -> None:
    links = []
    for _ in range(2):
        said, process = _started(tmp_path)
        try:
            links.append(said["owner_link"])
            assert said["owner_link"].startswith(said["address"] + "/welcome/")
            page = _read(said["owner_link"])
            assert "Make yourself the owner" in page
        finally:
            process.terminate()
            process.wait(10)
    assert links[0].rpartition("/")[2] != links[1].rpartition("/")[2]
    assert pinmap(tmp_path, "people", "add", "ann", "--role", "owner").returncode == 0
    said, process = _started(tmp_path)
    process.terminate()
    process.wait(10)
    assert "owner_link" not in said


def test_it_does_not_start_beyond_this_machine_unguarded(tmp_path: Path) -> None:
    done = pinmap(tmp_path, "serve", "--host", "0.0.0.0", "--port", "1")
    assert done.returncode == 2
    assert "PINMAP_TLS_CERT" in done.stderr
    assert not (tmp_path / "shop.sqlite3").exists()


@pytest.mark.parametrize(
    ("given", "named"),
    [
        ({"host": "0.0.0.0"}, "PINMAP_HOST"),
        ({"host": "::"}, "PINMAP_HOST"),
        ({"host": "0.0.0.0", "plain_http": True}, "PINMAP_TRUSTED_HOSTS"),
        ({"tls_cert": "a.pem"}, "PINMAP_TLS_KEY"),
        ({"host": "0.0.0.0", "tls_key": "a.pem", "trusted_hosts": "shop.example"}, "PINMAP_TLS_KEY"),
    ],
)
def test_settings_that_expose_it_are_refused(given: dict[str, object], named: str) -> None:
    with pytest.raises(InputError) as refused:
        Settings.model_validate(given).check_exposure()
    assert refused.value.field == named


@pytest.mark.parametrize(
    ("given", "address"),
    [
        ({}, "http://127.0.0.1:8460"),
        ({"host": "::1"}, "http://[::1]:8460"),
        (
            {"host": "0.0.0.0", "plain_http": True, "trusted_hosts": "127.0.0.1,shop.example"},
            "http://shop.example:8460",
        ),
        (
            {"host": "0.0.0.0", "tls_cert": "a", "tls_key": "b", "trusted_hosts": "shop.example", "port": 443},
            "https://shop.example:443",
        ),
    ],
)
def test_settings_say_where_people_find_it(given: dict[str, object], address: str) -> None:
    settings = Settings.model_validate(given)
    settings.check_exposure()
    assert settings.address == address
