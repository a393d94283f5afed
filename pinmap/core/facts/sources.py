"""Reads the reference tables, each CSV beside its source sidecar."""

from __future__ import annotations

import csv
import hashlib
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources

from pinmap.core.errors import TableGap

_TABLES = resources.files("pinmap.core.facts").joinpath("tables")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a table's numbers come from. ``read`` is how they were read: "primary", "public copy", "corroborated",
    "common practice", "from memory" or "computed"."""

    table: str
    title: str
    publisher: str = ""
    edition: str = ""
    clause: str = ""
    read: str = ""
    note: str = ""
    sha256: str = ""
    columns: tuple[tuple[str, str], ...] = ()  # (column, unit or meaning)

    def __str__(self) -> str:
        head = ", ".join(part for part in (self.title, self.edition, self.clause) if part)
        return f"{head} ({self.read})" if self.read else head


@cache
def table_names() -> tuple[str, ...]:
    """Names of all reference tables."""
    return tuple(sorted(p.name.removesuffix(".csv") for p in _TABLES.iterdir() if p.name.endswith(".csv")))


@cache
def rows(table: str) -> tuple[dict[str, str], ...]:
    """A table's rows as text by column; an empty cell means not given, never 0. Raises TableGap."""
    if table not in table_names():
        raise TableGap("the list of tables", table, ", ".join(table_names()))
    path = _TABLES.joinpath(f"{table}.csv")
    return tuple(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


@cache
def source(table: str) -> Source:
    """The sidecar of a table. Raises TableGap."""
    if table not in table_names():
        raise TableGap("the list of sources", table, ", ".join(table_names()))
    path = _TABLES.joinpath(f"{table}.source.toml")
    raw = tomllib.loads(path.read_text(encoding="utf-8"))
    columns = tuple((k, str(v)) for k, v in raw.pop("columns", {}).items())
    return Source(table=table, columns=columns, **{k: str(v) for k, v in raw.items()})


def digest(table: str) -> str:
    """SHA-256 of the CSV as it stands, to be compared with the sidecar's."""
    return hashlib.sha256(_TABLES.joinpath(f"{table}.csv").read_bytes()).hexdigest()


def stale() -> tuple[tuple[str, str], ...]:
    """Tables whose CSV no longer is the one that the sidecar describes, each with the digest it has now."""
    return tuple((name, digest(name)) for name in table_names() if digest(name) != source(name).sha256)


if __name__ == "__main__":  # after a table was edited on purpose: says which sidecars want which sha256
    import sys

    wrong = stale()
    sys.stdout.writelines(f'{name}.source.toml: sha256 = "{now}"\n' for name, now in wrong)
    sys.exit(1 if wrong else 0)
