"""Workbooks as people have them."""

import datetime
import io

import pytest
import xlsxwriter

from pinmap.core.errors import FileRejected
from pinmap.exchange.pinout_in import guess_headings, read_table


@pytest.fixture(scope="module")
def data():
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        book.add_worksheet("Cover")
        sheet = book.add_worksheet("Engine")
        sheet.write_row(1, 0, ["Title of the list"])
        sheet.write_row(3, 0, ["Pin", "Signal", "Amps", "CSA", "Note"])
        sheet.write_string(4, 0, "007")
        sheet.write_row(4, 1, ["Feed", 3.0, 0.75, True])
        sheet.write_number(6, 0, 3.0)
        sheet.write_row(6, 1, ["=literal"], None)
        sheet.write_number(6, 2, 0.1 + 0.2)
        sheet.write_datetime(6, 4, datetime.datetime(2026, 2, 1), book.add_format({"num_format": "yyyy-mm-dd"}))
        other = book.add_worksheet("Body")
        other.write_row(0, 0, ["Pin", "Signal"])
        other.write_row(1, 0, ["A1", "Lamp"])
    return out.getvalue()


def test_first_sheet_with_text_and_numbers_as_shown(data):
    table = read_table(data, "pins.xlsx")
    assert (table.sheet, table.sheets, table.heading_row) == ("Engine", ("Cover", "Engine", "Body"), 4)
    assert table.headings == ("Pin", "Signal", "Amps", "CSA", "Note")
    rows = dict(table.numbered_rows)
    assert rows[5] == ("007", "Feed", "3", "0.75", "TRUE")
    assert rows[7][0] == "3"
    assert rows[7][2] == "0.3"
    assert guess_headings(table.headings).mapping == {
        0: "cavity",
        1: "function",
        2: "current_a",
        3: "wire_mm2",
        4: "note",
    }


def test_a_date_is_pointed_out(data):
    (note,) = read_table(data, "pins.xlsx").notes
    assert (note.row, note.column) == (7, "E")
    assert "format the column as text" in note.reason


def test_choosing_a_sheet(data):
    assert read_table(data, "pins.xlsx", sheet="Body").rows == (("A1", "Lamp"),)
    with pytest.raises(FileRejected, match="Cover, Engine, Body"):
        read_table(data, "pins.xlsx", sheet="Gearbox")
    with pytest.raises(FileRejected, match="no sheet"):
        read_table(data, "pins.xlsx", sheet="a\0b")
    with pytest.raises(FileRejected, match="no sheet"):
        read_table(data, "pins.xlsx", sheet="--help")


def test_the_bytes_count_not_the_name(data):
    assert read_table(data, "pins.csv").sheet == "Engine"
