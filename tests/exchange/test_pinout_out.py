"""What goes out comes back the same."""

import csv
import io
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pinmap.core.facts.functions import dictionary
from pinmap.core.model.pinouts import Connector, Edition, Pin, Platform
from pinmap.core.model.words import Direction, Evidence, Kind, Role
from pinmap.exchange.columns import NAMES
from pinmap.exchange.csv_in import unguarded
from pinmap.exchange.pinout_in import guess_headings, parse_rows, read_table
from pinmap.exchange.pinout_out import pinout_csv, pinout_xlsx, sorted_pins
from pinmap.exchange.tables_csv import guarded

# Anything that a cell may hold once blanks at its ends and control characters are off.
cell = st.text(st.characters(exclude_categories=["Cc", "Cs"]), max_size=30).map(str.strip)
filled = cell.filter(bool)
name = st.text("ABCXYZ0123456789-_./=+@'", min_size=1, max_size=6)
number = st.none() | st.floats(0, 5000)
codes = st.sampled_from(["", *list(dictionary().by_code)[:50]])


def pin(**fixed):
    return st.builds(
        Pin,
        connector=st.sampled_from(["C1", "=C2", "'C3", "C-4"]),
        cavity=name,
        function=cell,
        function_code=codes,
        kind=st.sampled_from(Kind),
        direction=st.sampled_from(Direction),
        current_a=number,
        peak_a=number,
        wire_colour=cell,
        wire_mm2=st.none() | st.floats(0.01, 300),
        editions=st.sampled_from([(), ("early",), ("late",), ("early", "late")]),
        evidence=st.sampled_from(Evidence),
        evidence_ref=cell,
        component=cell,
        note=cell,
        extra=st.lists(st.tuples(st.sampled_from(["Own", "Shelf, bin", "pin", "=x"]), filled), max_size=3).map(tuple),
        **fixed,
    )


def platform(pins):
    kept = {}
    for p in pins:
        kept.setdefault((p.connector, p.cavity), p)
    return Platform(
        key="quern-q24",
        name="Quern Q24",
        role=Role.DONOR,
        editions=(Edition(key="early", name="Early"), Edition(key="late", name="Late")),
        connectors=tuple(Connector(name=n) for n in ("C1", "=C2", "'C3", "C-4")),
        pins=tuple(kept.values()),
    )


def read_back(data, there):
    table = read_table(data, "x")
    bare = Platform(
        key=there.key, name=there.name, role=there.role, editions=there.editions, connectors=there.connectors
    )
    found = parse_rows(table, guess_headings(table.headings, table.rows).mapping, bare, dictionary())
    assert not found.bad, found.bad
    return found.pins


def same(a, b):
    """Own columns stand in the order of the file, which is no property of a pin."""
    sides = [[replace(p, extra=tuple(sorted(p.extra))) for p in pins] for pins in (a, b)]
    assert sides[0] == sides[1]


@given(st.lists(pin(), min_size=1, max_size=8))
@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow])
def test_csv_round_trip(pins):
    there = platform(pins)
    same(read_back(pinout_csv(there), there), sorted_pins(there))


@given(st.lists(pin(), min_size=1, max_size=8))
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_xlsx_round_trip(pins):
    there = platform(pins)
    same(read_back(pinout_xlsx(there), there), sorted_pins(there))


@given(st.text())
def test_guarding_is_undone_exactly_and_leaves_no_formula(text):
    safe = guarded(text)
    assert unguarded(safe) == text
    assert not safe or safe[0] not in "=+-@\t\r\n"


def test_no_cell_of_a_csv_begins_a_formula():
    there = platform(
        [Pin(connector="=C2", cavity="+1", function="=cmd|' /C calc'!A0", note="@x", extra=(("=x", "-2"),))]
    )
    rows = list(csv.reader(io.StringIO(pinout_csv(there).decode("utf-8-sig"))))
    assert all(c[:1] not in ("=", "+", "-", "@") for row in rows for c in row)
    assert rows[1][:3] == ["'=C2", "'+1", "'=cmd|' /C calc'!A0"]


def test_the_file_is_what_a_spreadsheet_expects():
    data = pinout_csv(platform([Pin(connector="C1", cavity="1", function="Kühler")]))
    assert data.startswith(b"\xef\xbb\xbfconnector,cavity,function,")
    assert data.split(b"\r\n")[0].decode("utf-8-sig") == ",".join(NAMES)


def test_order_is_as_people_sort():
    there = platform([Pin(connector=c, cavity=v) for c, v in [("C-4", "1"), ("C1", "10"), ("C1", "9"), ("C1", "A2")]])
    assert [(p.connector, p.cavity) for p in sorted_pins(there)] == [
        ("C1", "9"),
        ("C1", "10"),
        ("C1", "A2"),
        ("C-4", "1"),
    ]


@pytest.mark.parametrize("write", [pinout_csv, pinout_xlsx])
def test_the_same_bytes_every_time(write):
    there = platform([Pin(connector="C1", cavity="1", function="x", current_a=0.1)])
    assert write(there) == write(there)
