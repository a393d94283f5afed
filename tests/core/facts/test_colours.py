"""Colour marks."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.facts.colours import colour_words, cores, guess_family, join_codes, parse_colour, read_colour
from pinmap.core.model.words import COLOURS

letters = st.sampled_from(list(COLOURS))


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("RD", ("RD",)), ("rd", ("RD",)), ("RD/WH", ("RD", "WH")), ("WH-RD", ("WH", "RD")), ("RDWH", ("RD", "WH")),
        ("RD WH", ("RD", "WH")), ("GNYE", ("GN", "YE")), ("red", ("RD",)), ("Red with white stripe", ("RD", "WH")),
        ("dark blue", ("BU",)), ("LT GRN/BLK", ("GN", "BK")), ("SW/WS", ("BK", "WH")), ("braun", ("BN",)),
        ("Br/W", ("BN", "WH")), ("L/R", ("BU", "RD")), ("Red/BK", ("RD", "BK")), ("gray", ("GY",)), ("purple", ("VT",)),
        ("BN/GN/WH", ("BN", "GN", "WH")),
    ],
)  # fmt: skip
def test_marks(text: str, codes: tuple[str, ...]) -> None:
    assert parse_colour(text) == codes


@pytest.mark.parametrize("text", ["B", "V", "P", "N", "B/R", "G"])
def test_ambiguous_marks_are_said_to_be_so_and_not_guessed(text: str) -> None:
    reading = read_colour(text)
    assert reading.codes == ()
    assert reading.ambiguous
    assert len({codes for _, codes in reading.rivals}) > 1
    assert "ambiguous" in reading.note


def test_b_is_black_or_white() -> None:
    assert {codes for _, codes in read_colour("B").rivals} == {("BK",), ("WH",)}
    assert parse_colour("B", "Japanese") == ("BK",)
    assert parse_colour("B", "French") == ("WH",)


def test_a_second_mark_or_a_column_settles_the_family() -> None:
    assert parse_colour("B/W") == ("BK", "WH")
    assert guess_family(["B", "L/R", "Y"]) == "Japanese"
    assert guess_family(["RD", "BK/WH", ""]) == "IEC 60757"
    assert guess_family(["SW", "GE/RT"]) == "German"
    assert guess_family(["B"]) == ""
    assert guess_family([]) == ""
    assert guess_family(["RD", "nonsense"]) == ""


@pytest.mark.parametrize("text", ["", "  ", "xx", "RD/", "RD/xx", "reddish", "RD/WH/BK/BU", "<b>RD</b>", "\0"])
def test_what_is_no_mark_gives_nothing(text: str) -> None:
    reading = read_colour(text)
    assert (reading.codes == ()) or text == "RD/"
    assert not reading.ambiguous
    assert reading.note or not text.strip() or reading.codes


def test_lost_shades_are_noted() -> None:
    assert "one green" in read_colour("light green").note
    assert "tan" in read_colour("TAN").note


@given(letters, letters)
def test_iec_letters_join_in_the_order_of_the_table(a: str, b: str) -> None:
    """IEC 60757: red and blue are RDBU whichever is named first; green and yellow only as GNYE."""
    assert join_codes([a, b]) == join_codes([b, a])
    if a == b:
        assert join_codes([a, b]) == a
    else:
        assert set(parse_colour(join_codes([a, b]))) == {a, b}


def test_published_examples_of_iec_60757() -> None:
    assert join_codes(["RD", "BU"]) == join_codes(["BU", "RD"]) == "RDBU"
    assert join_codes(["YE", "GN"]) == "GNYE"
    assert cores("BK+BK+BN+BU+GNYE") == (("BK",), ("BK",), ("BN",), ("BU",), ("GN", "YE"))
    assert list(COLOURS)[:5] == ["BK", "BN", "RD", "OG", "YE"]


@given(st.lists(letters, min_size=1, max_size=3))
def test_what_is_written_is_read_back(codes: list[str]) -> None:
    assert parse_colour("/".join(codes)) == tuple(codes)
    assert colour_words("/".join(codes)) == "/".join(COLOURS[c] for c in codes)


@given(st.text(max_size=30))
def test_any_text_is_survived(text: str) -> None:
    reading = read_colour(text)
    assert all(code in COLOURS for code in reading.codes)


def test_a_huge_cell_is_no_colour() -> None:
    assert "characters" in read_colour("RD/" * 400_000).note
