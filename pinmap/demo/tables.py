"""Reads the demo's own tables, which are also sample files for whoever tries the import."""

from __future__ import annotations

import csv
from functools import cache
from importlib import resources

_DATA = resources.files("pinmap.demo").joinpath("data")


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """Rows of ``data/<name>.csv`` as text by column."""
    return tuple(csv.DictReader(_DATA.joinpath(f"{name}.csv").read_text(encoding="utf-8").splitlines()))
