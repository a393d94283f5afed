"""Databases for tests, as copies of prepared ones."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path

import psycopg
import pytest

NAMES = count(1)


@contextmanager
def postgres_database(server: str, template: str = "") -> Iterator[str]:
    """A database for a while, a copy of another one where that is named."""
    name = f"t{next(NAMES)}"
    how = f"TEMPLATE {template} STRATEGY=FILE_COPY" if template else ""
    with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} {how}".encode())
        yield f"{server}/{name}"
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())


class Prepared:
    """Databases for tests of pages, each a copy of one that was filled once. They stand on SQLite, because a page does
    not know the engine under it and tests of data and services run on both anyway; a second run with
    PINMAP_TEST_ENGINE=postgres has them on PostgreSQL."""

    def __init__(self, request: pytest.FixtureRequest, folder: Path) -> None:
        self.engine = os.environ.get("PINMAP_TEST_ENGINE", "sqlite")
        self._request, self._folder = request, folder
        self._filled: dict[str, str] = {}  # name -> file or database

    @contextmanager
    def copy(self, name: str, fill: Callable[[str], object]) -> Iterator[str]:
        """Address of a new copy of the database of this name, for a while."""
        if self.engine == "sqlite":
            if name not in self._filled:
                path = self._folder / f"{name}.sqlite3"
                shutil.copy(self._request.getfixturevalue("sqlite_template"), path)
                fill(f"sqlite:///{path}")
                self._filled[name] = str(path)
            mine = self._folder / f"copy-{next(NAMES)}.sqlite3"
            shutil.copy(self._filled[name], mine)
            yield f"sqlite:///{mine}"
            for left in self._folder.glob(f"{mine.name}*"):
                left.unlink()
            return
        server = self._request.getfixturevalue("postgres_server")
        if name not in self._filled:
            template = self._request.getfixturevalue("postgres_template")
            with psycopg.connect(f"{server}/postgres", autocommit=True) as connection:
                connection.execute(f"CREATE DATABASE filled_{name} TEMPLATE {template} STRATEGY=FILE_COPY".encode())
            fill(f"{server}/filled_{name}")
            self._filled[name] = f"filled_{name}"
        with postgres_database(server, self._filled[name]) as url:
            yield url
