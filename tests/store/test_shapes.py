"""Values between a database and a line of text."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinmap.store.engine import make_engine
from pinmap.store.shapes import BadValue, Column, Kind, plain, shapes, stored
from pinmap.store.tables import metadata


def column(kind: Kind, **more: Any) -> Column:
    return Column("c", kind, nullable=True, **more)


def test_every_table_and_column_is_carried(db_url: str) -> None:
    engine = make_engine(db_url)
    with engine.connect() as connection:
        found = {shape.name: {c.name for c in shape.columns} for shape in shapes(connection)}
    engine.dispose()
    assert found == {name: {c.name for c in t.c} for name, t in metadata.tables.items()}


def test_both_engines_describe_their_tables_alike(new_db: Any) -> None:
    described = []
    for name in ("sqlite", "postgres"):
        engine = make_engine(new_db(name))
        with engine.connect() as connection:
            described.append({s.name: s for s in shapes(connection)})
        engine.dispose()
    assert described[0] == described[1]


def test_parents_come_before_children(db_url: str) -> None:
    engine = make_engine(db_url)
    with engine.connect() as connection:
        order = shapes(connection)
    engine.dispose()
    names = [s.name for s in order]
    for shape in order:
        for link in shape.links:
            assert names.index(link.table) <= names.index(shape.name)


@pytest.mark.parametrize(
    ("kind", "value", "text"),
    [
        (Kind.BOOLEAN, 1, True),
        (Kind.BOOLEAN, False, False),
        (Kind.NUMBER, 3, 3.0),
        (Kind.NUMBER, 0.1, 0.1),
        (Kind.TIME, "2026-03-01 12:00:00.000001", "2026-03-01T12:00:00.000001+00:00"),
        (Kind.TIME, datetime(2026, 3, 1, 12, tzinfo=timezone(timedelta(hours=2))), "2026-03-01T10:00:00.000000+00:00"),
        (Kind.JSON, '{"b": [1.0, "\\ud800"], "a": null}', '{"b": [1.0, "\\ud800"], "a": null}'),
        (Kind.BYTES, b"\x00\xff", "AP8="),
        (Kind.TEXT, "Ω", "Ω"),
        (Kind.INTEGER, -5, -5),
    ],
)
def test_a_cell_in_plain_form(kind: Kind, value: object, text: object) -> None:
    assert plain(column(kind), value) == text


def test_a_negative_zero_is_zero() -> None:
    assert str(plain(column(Kind.NUMBER), -0.0)) == "0.0"


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (Kind.BOOLEAN, 2),
        (Kind.BOOLEAN, "true"),
        (Kind.NUMBER, "1"),
        (Kind.NUMBER, float("nan")),
        (Kind.TIME, "yesterday"),
        (Kind.TIME, 12),
        (Kind.JSON, "{"),
        (Kind.JSON, "NaN"),
        (Kind.JSON, "[" * 100_000),
        (Kind.BYTES, "text"),
        (Kind.TEXT, 1),
        (Kind.INTEGER, 1.0),
        (Kind.INTEGER, True),
    ],
)
def test_a_cell_of_another_kind_is_named(kind: Kind, value: object) -> None:
    with pytest.raises(BadValue):
        plain(column(kind), value)


@pytest.mark.parametrize(
    ("kind", "value"),
    [
        (Kind.INTEGER, 2**31),
        (Kind.INTEGER, -(2**31) - 1),
        (Kind.INTEGER, True),
        (Kind.INTEGER, 1.5),
        (Kind.NUMBER, 1),
        (Kind.NUMBER, float("inf")),
        (Kind.NUMBER, "1.0"),
        (Kind.BOOLEAN, 1),
        (Kind.TIME, "2026-03-01T12:00:00"),
        (Kind.TIME, "0001-01-01T00:00:00+14:00"),
        (Kind.TIME, 5),
        (Kind.TEXT, "a\x00b"),
        (Kind.TEXT, "\ud800"),
        (Kind.TEXT, ["x"]),
        (Kind.JSON, {"a": 1}),
        (Kind.JSON, "{'a': 1}"),
        (Kind.JSON, "1" * 5000),
        (Kind.BYTES, "***"),
        (Kind.BYTES, 1),
    ],
)
def test_a_value_that_no_database_should_get_is_refused(kind: Kind, value: object) -> None:
    with pytest.raises(BadValue):
        stored(column(kind), value)


def test_too_long_text_and_empty_cells_are_refused() -> None:
    assert stored(column(Kind.TEXT, length=3), "abc") == "abc"
    with pytest.raises(BadValue, match="longer than 3"):
        stored(column(Kind.TEXT, length=3), "abcd")
    with pytest.raises(BadValue, match="empty"):
        stored(Column("c", Kind.TEXT, nullable=False), None)


_TEXT = st.text(st.characters(blacklist_categories=("Cs",), blacklist_characters="\x00"))
_CELLS = st.one_of(
    st.tuples(st.just(Kind.INTEGER), st.integers(-(2**31), 2**31 - 1)),
    st.tuples(st.just(Kind.NUMBER), st.floats(allow_nan=False, allow_infinity=False)),
    st.tuples(st.just(Kind.TEXT), _TEXT),
    st.tuples(st.just(Kind.BOOLEAN), st.booleans()),
    st.tuples(st.just(Kind.TIME), st.datetimes(timezones=st.just(UTC))),
    st.tuples(st.just(Kind.BYTES), st.binary()),
    st.tuples(st.just(Kind.JSON), st.lists(st.one_of(_TEXT, st.integers(), st.none())).map(json.dumps)),
)


@given(_CELLS)
def test_what_goes_out_comes_in(cell: tuple[Kind, Any]) -> None:
    kind, value = cell
    line = json.dumps(plain(column(kind), value))
    assert stored(column(kind), json.loads(line)) == value
