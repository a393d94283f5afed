"""Reading pinouts: what people's tables look like, and what is said about bad rows."""

import pytest

from pinmap.core.errors import FileRejected, InputError
from pinmap.core.facts.functions import dictionary
from pinmap.core.model.pinouts import Cavity, Connector, Edition, Housing, Pin, Platform
from pinmap.core.model.words import Direction, Evidence, Kind, Role
from pinmap.exchange.pinout_in import guess_headings, parse_rows, read_pasted, read_table
from pinmap.exchange.raw_table import Limits

HOST = Platform(
    key="brindle-6",
    name="Brindle 6",
    role=Role.HOST,
    editions=(Edition(key="early", name="Early 1998-2001"), Edition(key="late", name="Late 2002-2006")),
    connectors=(Connector(name="C101", housing="h4"), Connector(name="C102")),
    pins=(Pin(connector="C102", cavity="9", function="Old entry", editions=("late",)),),
)
H4 = Housing(key="h4", name="4-way", cavities=tuple(Cavity(name=str(i), column=float(i), row=0.0) for i in range(1, 5)))


def draft(text, platform=None, housings=(), **options):
    table = read_table(text.encode(), "pins.csv")
    mapping = guess_headings(table.headings, table.rows).mapping
    return parse_rows(table, mapping, platform, dictionary(), housings, **options)


def only(text, **options):
    (row,) = draft(text, **options).rows
    return row


def reasons(row, *, blocking=True):
    return [p.reason for p in row.problems if p.blocking is blocking]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"])
def test_any_separator_and_encoding(delimiter, encoding):
    text = "connector,cavity,function,note\r\nC1,7,Kühlmittel – Fühler,Größe\r\nC1,8,Masse,–\r\n".replace(
        ",", delimiter
    )
    table = read_table(text.encode(encoding), "a.csv")
    assert table.headings == ("connector", "cavity", "function", "note")
    assert table.rows[0] == ("C1", "7", "Kühlmittel – Fühler", "Größe")
    assert table.delimiter == delimiter


def test_separator_line_and_title_above_the_headings():
    table = read_table(b"sep=;\nPinout of the engine;;\n\nPin;Signal;Colour\n1;Feed, switched;RD\n", "a.csv")
    assert table.delimiter == ";"
    assert table.headings == ("Pin", "Signal", "Colour")
    assert table.heading_row == 4
    assert [cells[0] for _, cells in table.preamble] == ["Pinout of the engine"]
    assert table.numbered_rows == ((5, ("1", "Feed, switched", "RD")),)


def test_quoted_line_breaks_keep_the_row_number_of_the_next_row():
    table = read_table(b'pin,signal\n1,"two\nlines ""quoted"""\n2,x\n', "a.csv")
    assert table.rows[0] == ("1", 'two\nlines "quoted"')
    assert [n for n, _ in table.numbered_rows] == [2, 4]


@pytest.mark.parametrize(
    ("heading", "column"),
    [
        ("Pin No.", "cavity"), ("pin", "cavity"), ("Terminal", "cavity"), ("Way", "cavity"), ("Pos.", "cavity"),
        ("CAV", "cavity"), ("Circuit", "function"), ("Signal Name", "function"), ("Description", "function"),
        ("Wire gauge", "wire_mm2"), ("CSA (mm²)", "wire_mm2"), ("AWG", "wire_mm2"), ("Wire_Color", "wire_colour"),
        ("Col.", "wire_colour"), ("Plug", "connector"), ("Connector ID", "connector"), ("I/O", "direction"),
        ("Signal type", "kind"), ("Current [A]", "current_a"), ("Amps", "current_a"), ("Inrush", "peak_a"),
        ("Model year", "edition"), ("Source", "evidence"), ("Remarks", "note"), ("DIN", "function_code"),
        ("Conector", "connector"), ("Favourite biscuit", ""),
    ],
)  # fmt: skip
def test_headings_by_synonym(heading, column):
    (guess,) = guess_headings([heading]).guesses
    assert guess.column == column
    assert (0.4 <= guess.score <= 1) is bool(column)


def test_two_headings_for_one_column_the_surer_wins():
    guesses = guess_headings(["Description", "Function", "Pin", "Connector"]).mapping
    assert guesses == {0: "note", 1: "function", 2: "cavity", 3: "connector"}


def test_no_heading_row_is_read_by_its_values():
    table = read_pasted(
        "C1\t1\tLeft turn lamp\tYE\nC1\t2\tRear fog lamp\tBU\nC1\t3\tGround\tWH\nC1\t4\tRight turn\tGN\n"
    )
    guess = guess_headings(table.headings, table.rows)
    assert table.heading_row == 0
    assert table.headings == ("column A", "column B", "column C", "column D")
    assert guess.mapping == {0: "connector", 1: "cavity", 2: "function", 3: "wire_colour"}
    assert len(parse_rows(table, guess.mapping).pins) == 4


def test_everything_of_a_row():
    row = only(
        "connector,cavity,function,kind,direction,current_a,peak_a,wire_colour,wire_mm2,edition,evidence,component,note,"
        'shelf\nC101,2,Coolant sensor,ntc,out,"0,002",,GN/YE,"0,75 mm²",late,manual: p. 12,ECT,check,B7\n',
        platform=HOST,
        housings=(H4,),
    )
    assert row.pin == Pin(
        connector="C101", cavity="2", function="Coolant sensor", function_code=row.pin.function_code, kind=Kind.NTC,
        direction=Direction.OUT, current_a=0.002, wire_colour="GN/YE", wire_mm2=0.75, editions=("late",),
        evidence=Evidence.MANUAL, evidence_ref="p. 12", component="ECT", note="check", extra=(("shelf", "B7"),),
    )  # fmt: skip
    assert ("wire_mm2", "0,75 mm²") in row.values


@pytest.mark.parametrize(
    ("text", "amperes"),
    [("10A", 10), ("7.5", 7.5), ("0,5 A", 0.5), ("300 mA", 0.3), ("", None), ("-", None), ("n/a", None),
     ("1.234,5", 1234.5), ("1,234.5", 1234.5), (".5", 0.5), ("2e-3", 0.002), ("0", 0.0)],
)  # fmt: skip
def test_currents_as_people_write_them(text, amperes):
    assert only(f'pin,signal,current\n1,x,"{text}"\n', default_connector="C1").pin.current_a == amperes


@pytest.mark.parametrize(
    "text", ["NaN", "inf", "-5", "1e999", "99999", "2-3", "ten", "1,2,3", "1.2.3", "5 V", "1_0", "0x1F"]
)
def test_bad_currents_are_named_with_a_remedy(text):
    row = only(f'pin,signal,current\n1,x,"{text}"\n', default_connector="C1")
    assert row.pin is None
    (problem,) = row.problems
    assert (problem.column, problem.value) == ("current_a", text)
    assert "ampere" in problem.reason or "0 and 5000 A" in problem.reason
    assert ("current", text) in row.values


@pytest.mark.parametrize(
    ("heading", "text", "mm2", "converted"),
    [("size", "0.75", 0.75, False), ("size", "2,5mm²", 2.5, False), ("size", "18 AWG", 0.823, True),
     ("AWG", "18", 0.823, True), ("gauge", "4/0", 107.219, True), ("wire gauge", "0.35", 0.35, False),
     ("mm2", "18", 18.0, False), ("size", "#20", 0.518, True)],
)  # fmt: skip
def test_sizes_and_gauges(heading, text, mm2, converted):
    """Areas of gauges: ASTM B258."""
    row = only(f'pin,signal,{heading}\n1,x,"{text}"\n', default_connector="C1")
    assert row.pin.wire_mm2 == pytest.approx(mm2, abs=6e-4)
    assert any("AWG is" in r for r in reasons(row, blocking=False)) is converted


@pytest.mark.parametrize("text", ["0", "-1", "999", "41 AWG", "NaN"])
def test_bad_sizes(text):
    assert only(f"pin,signal,size\n1,x,{text}\n", default_connector="C1").pin is None


def test_unknown_words_name_the_nearest():
    row = only("pin,signal,kind,direction\n1,x,suply-30,sideways\n", default_connector="C1")
    assert [p.column for p in row.problems] == ["kind", "direction"]
    assert "supply-30" in row.problems[0].reason


def test_doubles_within_the_same_editions_only():
    text = "connector,cavity,function,edition\nC102,1,a,early\nC102,1,b,late\nC102,2,c,early\nC102,2,d,\nC102,3,e,\n"
    rows = draft(text, platform=HOST).rows
    assert [r.good for r in rows] == [True, True, False, False, True]
    assert "row 5" in reasons(rows[2])[0]
    assert "row 4" in reasons(rows[3])[0]


def test_editions_by_key_or_name_and_unknown_ones():
    text = "connector,cavity,function,edition\nC102,1,a,Early 1998-2001\nC102,2,b,early;LATE\nC102,3,c,middle\n"
    rows = draft(text, platform=HOST).rows
    assert rows[0].pin.editions == ("early",)
    assert rows[1].pin.editions == ("early", "late")
    assert "early, late" in reasons(rows[2])[0]


def test_cavity_not_in_the_housing():
    rows = draft("connector,cavity,function\nC101,4,a\nC101,5,b\nC101,04,c\n", platform=HOST, housings=(H4,)).rows
    assert [r.good for r in rows] == [True, False, False]
    assert "1 to 4" in reasons(rows[1])[0]
    assert 'did you mean "4"' in reasons(rows[2])[0]


def test_connector_and_cavity_are_needed():
    rows = draft("connector,cavity,function\nC1,,a\nC1,2,b\n,3,c\n").rows
    assert [r.good for r in rows] == [False, True, False]
    assert 'still "C1"' in reasons(rows[2])[0]
    filled = draft("connector,cavity,function\nC1,1,a\n,2,b\n", fill_connector=True)
    assert [p.connector for p in filled.pins] == ["C1", "C1"]


def test_missing_columns_are_said_once():
    found = draft("signal,colour\nx,RD\n")
    assert any("cavity" in p for p in found.problems)
    assert any("connector" in p for p in found.problems)
    assert not found.pins
    assert len(found.rows) == 1


def test_lookalikes_are_pointed_out():
    rows = draft("connector,cavity,function\nC1,А1,cyrillic\nC1,A1,latin\nC1,O1,letter\nC1,01,digit\n").rows
    assert "cyrillic capital letter a" in " ".join(reasons(rows[0], blocking=False))
    assert all(any("taken for" in r for r in reasons(row, blocking=False)) for row in rows)


def test_invisible_characters_do_not_part_what_belongs_together():
    rows = draft("connector,cavity,function\nC1\u200b,1,a\nC1,1\u00a0,b\n").rows
    assert not any(r.good for r in rows)
    assert "too" in reasons(rows[0])[0]


def test_a_pin_on_file_is_replaced_knowingly():
    row = only("connector,cavity,function,edition\nC102,9,New,late\n", platform=HOST)
    assert row.good
    assert "Old entry" in reasons(row, blocking=False)[0]


def test_a_new_connector_is_announced():
    found = draft("connector,cavity,function\nC10l,1,a\nC102,1,b\n", platform=HOST)
    assert found.new_connectors == ("C10l",)
    assert "C101" in reasons(found.rows[0], blocking=False)[0]


def test_007_stays_text():
    assert only("connector,cavity,function\nC1,007,a\n").pin.cavity == "007"


def test_a_heading_chosen_twice_is_refused():
    table = read_table(b"pin,signal\n1,x\n", "a.csv")
    with pytest.raises(InputError, match="two columns"):
        parse_rows(table, {0: "cavity", 1: "cavity"})
    with pytest.raises(InputError, match="the columns are"):
        parse_rows(table, {0: "nonsense"})


def test_five_thousand_rows():
    text = "connector,cavity,function,kind,direction,current_a,wire_colour,wire_mm2,evidence,note\n" + "".join(
        f"C{i // 60},{i % 60 + 1},Function {i},supply-15,in,{i % 30}.5,GN/YE,0.75,manual: p. {i},x{i}\n"
        for i in range(5000)
    )
    found = draft(text, platform=HOST, housings=(H4,))
    assert len(found.pins) == 5000


def test_limits_name_row_and_column():
    small = Limits(max_rows=2, max_columns=3, max_cell=10)
    with pytest.raises(FileRejected, match="row 2, column B: the cell holds 11 characters"):
        read_table(b"pin,signal\n1,aaaaaaaaaaa\n", "a.csv", limits=small)
    with pytest.raises(FileRejected, match="row 3: the row has 4 columns"):
        read_table(b"pin,signal\n1,a\n2,a,b,c\n", "a.csv", limits=small)
    with pytest.raises(FileRejected, match="row 3: the table has more than 2 rows"):
        read_table(b"pin,signal\n1,a\n2,b\n", "a.csv", limits=small)
