"""Build tables as CSV, XLSX and PDF, read back and compared."""

import csv
import io
import re

import pypdf
import pytest
from python_calamine import CalamineWorkbook

from pinmap.core.build.cut_list import cut_list, label_list
from pinmap.core.build.parts_list import parts_list
from pinmap.core.build.pin_table import pin_table
from pinmap.core.build.ring_out import ring_out
from pinmap.core.build.splice_table import splice_table
from pinmap.core.build.table import build_table
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.errors import DrawingFailed, InputError
from pinmap.core.loom.route import route
from pinmap.demo import finished_snapshot
from pinmap.exchange import build_tables as bt
from pinmap.exchange.pdf import Figure, TitleBlock, build_pdf, pin_table_pdf
from pinmap.exchange.tables import Table, TableColumn, text_of
from pinmap.exchange.tables_csv import write_csv
from pinmap.exchange.tables_xlsx import write_xlsx
from pinmap.exchange.typesetting import Column, printable, row, set_document, table_section

BLOCK = TitleBlock(
    job="Quern Q24 into Brindle 6", variant="Quern QF-2 · early", content_hash="0123456789abcdef", date="2026-11-25"
)
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 100" font-family="Arial, sans-serif">'
    '<rect x="5" y="5" width="190" height="90" fill="none" stroke="black"/>'
    '<text x="20" y="50">cavity twelve</text></svg>'
)


@pytest.fixture(scope="module")
def made():
    snapshot = finished_snapshot()
    variant = snapshot.variants[0]
    routing = route(snapshot, variant)
    rows = build_table(snapshot, variant, routing, ElectricalReport())
    return snapshot, variant, routing, rows


@pytest.fixture(scope="module")
def tables(made):
    snapshot, variant, routing, rows = made
    plan = ring_out(snapshot, routing)
    return [
        bt.build_rows_table(rows), bt.cut_table(cut_list(rows)), bt.splices_table(splice_table(snapshot, routing)),
        bt.parts_table(parts_list(snapshot, variant, routing)), bt.labels_table(label_list(rows)),
        bt.continuity_table(plan), bt.isolation_table(plan),
    ]  # fmt: skip


def pages(pdf):
    return [p.extract_text().replace("\u200b", "") for p in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def squeezed(text):
    """Without blanks and breaks, which a page sets as it likes."""
    return re.sub(r"[\s\u200b]+", "", text)


def test_rows_are_as_wide_as_the_columns(tables):
    for table in tables:
        assert table.rows
        assert {len(r) for r in table.rows} == {len(table.columns)}


def test_csv_holds_every_value(tables):
    for table in tables:
        read = list(csv.reader(io.StringIO(write_csv(table).decode("utf-8-sig"), newline="")))
        assert read[0] == list(table.headings)
        for written, cells in zip(read[1:], table.rows, strict=True):
            assert [w.removeprefix("'") for w in written] == [text_of(c) for c in cells]


def test_xlsx_holds_every_value_and_its_kind(tables):
    data = write_xlsx(tables, title="Build", footer="Revision A")
    assert data == write_xlsx(tables, title="Build", footer="Revision A")
    book = CalamineWorkbook.from_filelike(io.BytesIO(data))
    assert book.sheet_names == [t.name for t in tables]
    for table in tables:
        read = book.get_sheet_by_name(table.name).to_python(skip_empty_area=False)
        assert read[0][: len(table.columns)] == list(table.headings)
        for cells, written in zip(table.rows, read[1:], strict=True):
            expected = ["" if c is None else c for c in cells]
            assert [float(w) if isinstance(w, int) else w for w in written] == [
                float(e) if isinstance(e, int) else e for e in expected
            ]


def test_xlsx_keeps_hostile_text_as_text_and_names_sheets_within_the_rules():
    hostile = ("=1+1", "http://x.example", "{=A1}", "x" * 40_000, "a_x0041_b", "007", "<b>&amp;</b>")
    columns = tuple(TableColumn(heading=h) for h in "abcdefg")
    odd = [Table(name="[a]/b:*?" + "n" * 40, title="&P &[Date] " + "t" * 400, columns=columns, rows=(hostile,))] * 2
    book = CalamineWorkbook.from_filelike(io.BytesIO(write_xlsx(odd, footer="&D" * 300)))
    assert len(set(book.sheet_names)) == 2
    assert all(len(n) <= 31 for n in book.sheet_names)
    read = book.get_sheet_by_index(1).to_python()[1]
    assert read[:3] == list(hostile[:3])
    assert read[3].endswith("(cut here)")
    assert read[4:] == list(hostile[4:])


@pytest.fixture(scope="module")
def packet(made):
    snapshot, variant, routing, rows = made
    return build_pdf(
        BLOCK, rows, splices=splice_table(snapshot, routing), cuts=cut_list(rows),
        parts=parts_list(snapshot, variant, routing), labels=label_list(rows), ring_out=ring_out(snapshot, routing),
        faces=[Figure(title="Face of X1", svg=SVG)], plans=[Figure(title="The plan", svg=SVG, caption="at scale")],
        gaps=["Signal 9: no run"], open_findings=["R14 wire 17A"],
    )  # fmt: skip


def test_packet_pages_bear_job_revision_hash_date_and_number(packet):
    found = pages(packet)
    for number, text in enumerate(found, start=1):
        flat = squeezed(text)
        assert squeezed(BLOCK.job) in flat
        assert "DRAFT" in flat
        assert "0123456789ab" in flat
        assert "2026-11-25" in flat
        assert f"page{number}/{len(found)}" in flat
        assert "verifyonthevehicle" in flat
    reader = pypdf.PdfReader(io.BytesIO(packet))
    assert all(p.mediabox.width > p.mediabox.height for p in reader.pages)
    assert reader.metadata.title == "Build packet, Quern Q24 into Brindle 6"


def test_packet_begins_with_cautions_and_what_is_open(packet):
    first = squeezed(pages(packet)[0])
    for words in (
        "Disconnect battery negative first", "DRAFT: the job may still change", "are not measured",
        "NOT ROUTED, so not on the build table (1): Signal 9: no run", "Open findings (1): R14 wire 17A",
    ):  # fmt: skip
        assert squeezed(words) in first


def test_packet_holds_every_line_of_every_list(packet, made):
    snapshot, _, routing, rows = made
    whole = squeezed(" ".join(pages(packet)))
    for r in rows:
        assert squeezed(r.wire + r.signal_name) in whole
        assert squeezed(r.start.label) in whole
        assert squeezed(r.label) in whole
        assert f"{r.cut_m:.3f}" in whole
    for s in splice_table(snapshot, routing):
        assert squeezed(f"{s.splice} {s.signal_name} {s.where}") in whole
    assert "cavitytwelve" in whole  # the drawing's own text


def test_table_heads_repeat_on_every_page(packet, made):
    heads = [t for t in pages(packet) if "Fuse" in t and "Evidence" in t and "Tested" in t]
    assert len(heads) > 5
    assert sum(f"{r.wire}" in " ".join(heads) for r in made[3]) == len(made[3])


def test_same_input_same_bytes_and_released_says_so(made):
    rows = made[3][:5]
    block = TitleBlock(job="J", variant="V", revision="B", content_hash="ff", date="2026-11-25")
    one, two = build_pdf(block, rows), build_pdf(block, rows)
    assert one == two
    text = " ".join(pages(one))
    assert "Revision B" in text
    assert "DRAFT" not in text


def test_pin_table(made):
    snapshot, variant, _, rows = made
    table = pin_table(snapshot, variant, rows)
    pdf = pin_table_pdf(BLOCK, table, expires="2027-01-31")
    whole = squeezed(" ".join(pages(pdf)))
    assert "Validuntil2027-01-31" in whole
    for r in table:
        assert squeezed(r.cavity + r.signal) in whole
        assert squeezed(f"{r.connector}, plugs into {r.mates}") in whole
    assert pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox.width < 600


HOSTILE = [
    "#panic()", "$x^2$", "= Heading", "*bold* _it_ `raw`", '#read("/etc/passwd")', "<label> @ref", "\\ \\u{41}",
    "// comment", "/* open", '#import "@preview/x:1.0.0"', "[bracket", "]", "{", "<script>alert(1)</script>",
    "a & b < c", "%PDF-1.4",
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_markup_is_printed_as_it_stands(text):
    section = table_section(text, [Column(heading=text)], [row(text)])
    block = TitleBlock(job=text, variant=text, revision=text, customer=text, made_by=text, date=text)
    whole = squeezed(" ".join(pages(set_document(text, block, [section], remarks=[text], facts=[(text, text)]))))
    # hyphens and ligatures apart, the text stands there literally, several times
    assert whole.count(squeezed(text)) >= 6


@pytest.mark.parametrize(
    "text",
    ["x" * 10_000, "\u202egnp.exe", "שלום עולם", "😀 漢字", "\x07\x1b[31m", "\ud800", "a\nb\r\nc", "\u200b" * 500, ""],
)
def test_odd_characters_do_not_break_a_document(text):
    section = table_section("T", [Column(heading="h"), Column(heading="i", width=0)], [row(text, text), row("end", "")])
    found = pages(set_document("T", TitleBlock(job="J", variant="V"), [section], facts=[("f", text)]))
    assert "end" in " ".join(found)


def test_very_long_text_is_cut_and_says_so():
    cut = printable("x" * 10_000)
    assert cut.endswith("… (cut, 10,000 characters)")
    assert len(cut) < 450
    assert "\u202e" not in printable("a\u202eb")


def test_a_long_word_stays_in_its_column():
    section = table_section("T", [Column(heading="a"), Column(heading="b")], [row("W" * 280, "right neighbour")])
    text = " ".join(pages(set_document("T", TitleBlock(job="J", variant="V"), [section])))
    assert squeezed(text).count("W") >= 280


def test_too_many_rows_and_a_drawing_that_is_none():
    section = table_section("T", [Column(heading="a")], [row("x")] * 20_001)
    with pytest.raises(InputError, match="20,000 rows"):
        set_document("T", TitleBlock(job="J", variant="V"), [section])
    with pytest.raises(DrawingFailed):
        build_pdf(TitleBlock(job="J", variant="V"), [], plans=[Figure(title="x", svg="<svg")])


def test_a_drawing_cannot_reach_files():
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="0 0 9 9">'
        '<image xlink:href="file:///etc/hostname" width="9" height="9"/><image href="../pdf.py" width="9"/></svg>'
    )
    try:
        pdf = build_pdf(TitleBlock(job="J", variant="V"), [], plans=[Figure(title="x", svg=svg)])
    except DrawingFailed:
        return
    assert b"/etc/hostname" not in pdf
