"""Every reference table: it has a source, and the source describes exactly this table."""

import csv
import re
from importlib import resources

import pytest

from pinmap.core.errors import TableGap
from pinmap.core.facts import sources

TABLES = resources.files("pinmap.core.facts").joinpath("tables")
READ = {"primary", "public copy", "corroborated", "common practice", "from memory", "computed"}


def test_every_table_has_a_source_and_every_source_a_table() -> None:
    names = [path.name for path in TABLES.iterdir()]
    with_csv = {name.removesuffix(".csv") for name in names if name.endswith(".csv")}
    with_source = {name.removesuffix(".source.toml") for name in names if name.endswith(".source.toml")}
    assert with_csv == with_source == set(sources.table_names())
    assert len(names) == 2 * len(with_csv), "nothing else lies among the tables"


@pytest.mark.parametrize("table", sources.table_names())
def test_table_is_the_one_its_source_describes(table: str) -> None:
    source = sources.source(table)
    text = TABLES.joinpath(f"{table}.csv").read_text(encoding="utf-8")
    head, *body = csv.reader(text.splitlines())
    assert [column for column, _ in source.columns] == head
    assert all(meaning for _, meaning in source.columns)
    assert body
    assert {len(row) for row in body} == {len(head)}, "a comma is missing or too many"
    assert source.title
    assert source.read in READ
    assert source.sha256 == sources.digest(table), "after a wanted change run python -m pinmap.core.facts.sources"


@pytest.mark.parametrize("table", sources.table_names())
def test_cells_are_clean(table: str) -> None:
    for row in sources.rows(table):
        for column, cell in row.items():
            assert cell == cell.strip(), (column, cell)
            assert not re.search(r"[\x00-\x1f\x7f\u200b-\u200f]", cell), (column, cell)


@pytest.mark.parametrize(
    ("table", "column"),
    [("functions", "code"), ("kinds", "kind"), ("terminals", "key"), ("coverings", "key"), ("housings", "key")],
)
def test_keys_are_given_once(table: str, column: str) -> None:
    keys = [row[column] for row in sources.rows(table)]
    assert len(keys) == len(set(keys))


def test_an_unknown_table_is_a_gap_that_names_the_others() -> None:
    with pytest.raises(TableGap, match="functions"):
        sources.rows("no-such-table")
    with pytest.raises(TableGap):
        sources.source("no-such-table")


def test_stale_names_a_table_whose_source_describes_another(monkeypatch: pytest.MonkeyPatch) -> None:
    assert sources.stale() == ()
    true_digest = sources.digest
    monkeypatch.setattr(sources, "digest", lambda name: "0" * 64 if name == "kinds" else true_digest(name))
    assert sources.stale() == (("kinds", "0" * 64),)
