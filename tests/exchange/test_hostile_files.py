"""Files meant to do harm, or merely broken: each a clear refusal or a harmless table."""

import io
import zipfile

import pytest
import xlsxwriter

from pinmap.core.errors import FileRejected
from pinmap.exchange.pinout_in import guess_headings, parse_rows, read_pasted, read_table
from pinmap.exchange.raw_table import Limits


def workbook(cells, *, sheets=("Sheet1",)):
    """A real workbook with {(row, column): value} in its last sheet."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False}) as book:
        for name in sheets:
            sheet = book.add_worksheet(name)
        for (row, column), value in cells.items():
            sheet.write(row, column, value)
    return out.getvalue()


def rewritten(data, member, change):
    """The same archive with one member's bytes changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            body = old.read(info)
            new.writestr(info.filename, change(body) if info.filename == member else body)
    return out.getvalue()


SMALL = {(0, 0): "pin", (0, 1): "signal", (1, 0): "7", (1, 1): "Feed"}


@pytest.mark.parametrize(
    ("data", "filename", "says"),
    [
        (b"", "a.csv", "empty"),
        (b"\n \n,,,\n", "a.csv", "empty"),
        (b"\xef\xbb\xbf", "a.csv", "empty"),
        (b"\xff\xfe", "a.csv", "empty"),
        (b"pin,signal\n1,a\n2,b\x00c\n", "a.csv", "row 3: there is a NUL byte"),
        (b"pin,signal\n1,\x81\x8d\x8f\n", "a.csv", "row 2: .*not in an encoding"),
        ("pin,signal\n1,äöü ßäöü\n2,".encode() + b"\xff\n", "a.csv", "row 3: the text is UTF-8 but damaged"),
        (b"\xff\xfep\x00i\x00n", "a.csv", None),
        (b"\xff\xfep\x00i\x00n\x00,", "a.csv", "not in an encoding"),
        (b'pin,signal\n1,a\n2,"b\n3,c\n', "a.csv", "row 3: a quotation mark opens .* never closed"),
        (b'pin,signal\n1,"a" b\n', "a.csv", "row 2: text follows a closing quotation mark"),
        (b"pin,signal\n1,a\nnot a workbook", "a.xlsx", "not a workbook"),
        (b"PK\x03\x04 and nonsense", "a.xlsx", "too large or damaged"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1rest", "a.xls", "old XLS"),
        (b"%PDF-1.7 x", "a.csv", "a PDF"),
        (b"\x89PNG\r\n\x1a\n", "a.csv", "a picture"),
        (b"\x1f\x8b\x08", "a.csv", "compressed"),
        (b"pin,signal\n1," + b"x" * 1_000_000 + b"\n", "a.csv", "row 2, column B: the cell holds 1,000,000 characters"),
    ],
)  # fmt: skip
def test_refused_with_a_reason(data, filename, says):
    if says is None:
        says = "not in an encoding"
    with pytest.raises(FileRejected, match=says) as caught:
        read_table(data, filename)
    assert len(str(caught.value)) < 400


def test_a_file_over_the_limit_is_not_looked_at():
    with pytest.raises(FileRejected, match="at most 1 MB"):
        read_table(b"x" * 1_000_001, "a.csv", limits=Limits(max_bytes=1_000_000))
    with pytest.raises(FileRejected, match="characters"):
        read_pasted("x" * 11, limits=Limits(max_bytes=10))


def test_markup_and_formulas_stay_text():
    hostile = [
        "<script>alert(1)</script>", '=HYPERLINK("http://x")', "{{7*7}}", "'; DROP TABLE pins;--", "\u202egnp.exe",
        "@SUM(A1)", "+1", "-1+2", "#panic", "$x$", "${jndi:x}", "../../etc/passwd", "%n%s", "😀", "שלום",
    ]  # fmt: skip
    quoted = [text.replace('"', '""') for text in hostile]
    text = "connector\tcavity\tfunction\n" + "".join(f'C1\t{i}\t"{q}"\n' for i, q in enumerate(quoted))
    table = read_pasted(text)
    pins = parse_rows(table, guess_headings(table.headings).mapping).pins
    assert [p.function for p in pins] == hostile


def test_a_workbook_of_two_far_corners_is_refused_and_the_process_lives():
    """A known bomb: the reader asks for a table of all cells between the corners."""
    bomb = rewritten(
        workbook({(0, 0): "a", (1, 1): "b"}),
        "xl/worksheets/sheet1.xml",
        lambda xml: xml.replace(b'r="B2"', b'r="XFD1048576"').replace(b'<row r="2"', b'<row r="1048576"'),
    )
    assert len(bomb) < 10_000
    with pytest.raises(FileRejected, match=r"too large or damaged|spans"):
        read_table(bomb, "a.xlsx")


def test_a_wide_sheet_is_refused_with_its_size():
    with pytest.raises(FileRejected, match="spans 2 rows and 501 columns"):
        read_table(workbook({(0, 0): "a", (1, 500): "b"}), "a.xlsx")


def test_a_zip_bomb_is_refused_before_it_is_unpacked():
    bomb = rewritten(workbook(SMALL), "xl/sharedStrings.xml", lambda _xml: b"0" * 300_000_000)
    with pytest.raises(FileRejected, match="unpacks to"):
        read_table(bomb, "a.xlsx")


def test_a_zip_that_lies_about_its_size_is_refused():
    big = rewritten(workbook(SMALL), "xl/sharedStrings.xml", lambda xml: xml.replace(b"Feed", b"F" * 60_000_000))
    size = next(
        i for i in zipfile.ZipFile(io.BytesIO(big)).infolist() if i.filename.endswith("sharedStrings.xml")
    ).file_size
    lying = big.replace(size.to_bytes(4, "little"), (100).to_bytes(4, "little"))
    assert lying != big
    with pytest.raises(FileRejected):
        read_table(lying, "a.xlsx")


@pytest.mark.parametrize("name", ["word/document.xml", "readme.txt"])
def test_an_archive_that_is_no_workbook(name):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(name, "x")
    with pytest.raises(FileRejected, match="not an XLSX"):
        read_table(out.getvalue(), "a.xlsx")


@pytest.mark.parametrize("member", ["xl/workbook.xml", "xl/worksheets/sheet1.xml", "xl/sharedStrings.xml"])
@pytest.mark.parametrize("damage", [b"", b"<x", b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><x>&b;</x>'])
def test_damaged_members(member, damage):
    broken = rewritten(workbook(SMALL), member, lambda _xml: damage)
    try:
        table = read_table(broken, "a.xlsx")
    except FileRejected:
        return
    assert all(isinstance(cell, str) for _, cells in table.lines for cell in cells)


def test_a_truncated_workbook():
    data = workbook(SMALL)
    with pytest.raises(FileRejected, match="damaged"):
        read_table(data[: len(data) // 2], "a.xlsx")


def test_an_empty_workbook():
    with pytest.raises(FileRejected, match="empty"):
        read_table(workbook({}), "a.xlsx")
