from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.errors import InputError
from pinmap.drawings.svg import Box, Sheet, checked_url, clean, clip, colour_pair, num, text_width, wrap
from tests.factories_svg import NS, parse


def _drawn(text: str, width: float | None = None) -> str:
    sheet = Sheet()
    sheet.text(0, 10, text, 11, width=width)
    with sheet.group("g", text, data_key=text):
        sheet.circle(1, 1, 1)
    return sheet.svg(Box(0, 0, 100, 20), text or "t", text or "d", "test")


@given(st.text(alphabet=st.characters()))
def test_any_text_gives_well_formed_xml(text: str) -> None:
    root = parse(_drawn(text + "x", 60))
    assert root.get("viewBox") == "0 0 100 20"


@given(st.text(alphabet=st.characters()))
def test_what_is_clean_stays_so(text: str) -> None:
    assert clean(clean(text)) == clean(text)


def test_markup_in_text_stays_text() -> None:
    text = "<script>alert(1)</script> \"&' <b onclick='x'>"
    root = parse(_drawn(text))
    assert [e.text for e in root.iter(f"{NS}text")] == [text]


def test_direction_overrides_and_control_characters_go() -> None:
    assert clean("a\u202eb\x00c\nd\ud800") == "ab c d\ufffd"


@given(st.text(min_size=1), st.floats(20, 300))
def test_clipped_text_fits(text: str, width: float) -> None:
    assert text_width(clip(text, width, 11), 11) <= width + 1e-9


def test_clipped_text_keeps_its_full_words_as_title() -> None:
    root = parse(_drawn("W" * 300, 60))
    titles = [e.text for e in root.iter(f"{NS}title")]
    assert "W" * 300 in titles
    (shown,) = [e.text for e in root.iter(f"{NS}text")]
    assert shown is not None
    assert shown.endswith("…")


@given(st.text(max_size=200), st.integers(1, 4))
def test_wrapped_text_loses_nothing_unless_it_says_so(text: str, lines: int) -> None:
    rows = wrap(text, 80, 11)
    assert "".join("".join(rows).split()) == "".join(clean(text).split())
    few = wrap(text, 80, 11, lines)
    assert len(few) <= lines
    assert few == rows or few[-1].endswith("…")


@pytest.mark.parametrize(
    ("text", "plain", "bold"),
    [
        ("Battery feed", 539.2, 578.0),
        ("X-C101 · 5 wires", 744.7, 767.0),
        ("Readings: Key on, engine off", 1282.4, 1377.9),
        ("WWWiiilll@%&", 673.6, 707.6),
        ("температура", 594.9, 632.4),
        ("水温センサー", 450.0, 450.0),
        ("مرحبا بالعالم", 523.5, 523.5),
    ],
)
def test_widths_are_those_of_a_browser_or_on_the_safe_side(text: str, plain: float, bold: float) -> None:
    """Liberation Sans at 100 px, measured in Chromium 156."""
    assert text_width(text, 100) >= plain * 0.998
    assert text_width(text, 100, True) >= bold * 0.998
    if text.isascii():
        assert text_width(text, 100) == pytest.approx(plain, rel=0.002)


def test_a_huge_cell() -> None:
    """With work that grew with the square of the length this would not end."""
    text = "W" * 300_000 + " " + "x " * 100_000
    rows = wrap(text, 200, 12, 3)
    assert clip(clean(text), 200, 12).endswith("…")
    assert len(rows) == 3


def test_addresses_of_other_schemes_are_refused() -> None:
    assert checked_url("/jobs/1?pin=a:b") == "/jobs/1?pin=a:b"
    assert checked_url("#pin:host:C1:4") == "#pin:host:C1:4"
    for bad in ("javascript:alert(1)", "data:text/html,x", "JavaScript:alert(1)//"):
        with pytest.raises(InputError):
            checked_url(bad)


def test_a_drawing_with_links_is_a_group_not_an_image() -> None:
    sheet = Sheet()
    with sheet.linked(lambda key: f"/pins/{key}", "pin:a"):
        sheet.circle(0, 0, 1)
    root = parse(sheet.svg(Box(0, 0, 1, 1), "t", "d", "x"))
    assert root.get("role") == "group"
    assert [e.get("href") for e in root.iter(f"{NS}a")] == ["/pins/pin:a"]


def test_numbers_are_short() -> None:
    assert [num(v) for v in (1.0, -0.001, 2.346, 10)] == ["1", "0", "2.35", "10"]


def test_colours_by_their_letters() -> None:
    assert colour_pair("RD/BK") == colour_pair("rdbk") == ("#c8202f", "#1a1a1a")
    assert colour_pair("") == colour_pair("no such") or colour_pair("")[1] == ""
