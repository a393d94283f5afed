"""The words of a pin find their function, and ambiguity is said."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.crossing.recognise import recognise, recognise_all, unambiguous
from pinmap.core.crossing.wording import read
from pinmap.core.facts.functions import FunctionEntry, dictionary
from pinmap.core.model.pinouts import Pin
from pinmap.core.model.words import Kind

DICTIONARY = dictionary()


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ("CKP sensor +", "CKP+"),
        ("crank sensor neg.", "CKP-"),
        ("Kurbelwellensensor", "CKP"),
        ("B+ perm", "PERM"),
        ("B+", "PERM"),
        ("Kl. 15", "IGN"),
        ("54G", "REAR_FOG"),
        ("58R", "TAIL_R"),
        ("tail lamp L/H", "TAIL_L"),
        ("Left direction indicator", "TURN_L"),
        ("indicator, R.H.", "TURN_R"),
        ("batt neg", "GND"),
        ("CAN High", "CAN_H"),
        ("can-l", "CAN_L"),
        ("ISO 9141 K line", "K_LINE"),
        ("K-Line", "K_LINE"),
        ("ISO 9141-2 L line", "L_LINE"),
        ("ground for pins 1-8", "GND"),
        ("Injector #3 +", "INJ3+"),
        ("inj no. 4 (-)", "INJ4-"),
        ("Accelerator pedal pos. 2 ground", "APP2_RTN"),
        ("Coolnt temperature sensor", "ECT"),
        ("D+", "ALT_L"),
        ("J1850 bus -", "J1850-"),
    ],
)
def test_words_of_the_trade(words: str, code: str) -> None:
    found = recognise(words, DICTIONARY)
    assert found is not None
    assert found.code == code
    assert found.why


@pytest.mark.parametrize("entry", DICTIONARY.entries, ids=lambda entry: entry.code)
def test_every_entry_is_found_by_its_own_name(entry: FunctionEntry) -> None:
    found = recognise(entry.name, DICTIONARY)
    if read(entry.name).serves:
        return  # which pins a ground serves is read from the connector, not from the dictionary
    assert found is not None
    assert entry.code == found.code or entry.code in dict(found.rivals)


@pytest.mark.parametrize("words", ["turn lamp", "left", "lamp relay", "position sensor"])
def test_ambiguous_words_report_their_rivals(words: str) -> None:
    found = recognise(words, DICTIONARY)
    assert found is None or not unambiguous(found)


@pytest.mark.parametrize("words", ["", " ", "qwertz", "???", "\x00", "<b>", "=1+1"])
def test_words_that_name_nothing(words: str) -> None:
    found = recognise(words, DICTIONARY)
    assert found is None or found.score < 0.75


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Injector 1 +", "Injector 2 +"),
        ("CKP +", "CKP -"),
        ("CAN high", "CAN low"),
        ("left turn", "right turn"),
        ("wheel speed front left +", "wheel speed rear left +"),
        ("permanent supply", "ignition supply"),
        ("oxygen sensor bank 1 sensor 1", "oxygen sensor bank 1 sensor 2"),
    ],
)
def test_numbers_sides_and_poles_tell_functions_apart(one: str, other: str) -> None:
    a, b = recognise(one, DICTIONARY), recognise(other, DICTIONARY)
    assert a is not None
    assert b is not None
    assert (a.code, a.marks) != (b.code, b.marks)


def test_the_kind_supports_or_vetoes() -> None:
    agreed = recognise("Coolant temperature sensor", DICTIONARY, kind=Kind.NTC)
    contradicted = recognise("Coolant temperature sensor", DICTIONARY, kind=Kind.CAN_H)
    assert agreed is not None
    assert agreed.score >= 0.95
    assert contradicted is None or contradicted.score < 0.75


def test_neighbours_decide_what_a_letter_means() -> None:
    def code(words: str, *others: str) -> str:
        pins = [Pin(connector="X", cavity=str(n), function=w) for n, w in enumerate((words, *others))]
        found = recognise_all(pins, DICTIONARY)[0]
        return found.code if found is not None and not found.rivals else "?"

    assert code("L", "58L", "58R", "54", "31") == "TURN_L"
    assert code("30", "85", "86", "87a") == "RLY_30"
    assert code("30", "15", "31", "50") == "PERM"
    assert code("B+", "D+", "alternator W", "alternator sense") == "ALT_B+"


def test_a_given_code_holds() -> None:
    pin = Pin(connector="X", cavity="1", function="whatever", function_code="ECT")
    (found,) = recognise_all([pin], DICTIONARY)
    assert found is not None
    assert (found.code, found.score) == ("ECT", 1.0)


def test_users_entries_are_recognised() -> None:
    own = DICTIONARY.with_entries([FunctionEntry(code="WINCH_UP", name="Winch up", synonyms=("winch in",))])
    found = recognise("Winch, in", own)
    assert found is not None
    assert found.code == "WINCH_UP"
    assert recognise("winch in", DICTIONARY) is None


@pytest.mark.parametrize(
    ("words", "cavities"),
    [
        ("Ground for pins 1-8", tuple("12345678")),
        ("Ground for 10", ("10",)),
        ("Earth (for contact 9)", ("9",)),
        ("Common return for contacts 1 to 3 and 5", ("1", "2", "3", "5")),
        ("ground (pins 2, 4)", ("2", "4")),
        ("Ground 1", ()),
        ("Ground for lamps", ()),
    ],
)
def test_a_ground_says_which_pins_it_serves(words: str, cavities: tuple[str, ...]) -> None:
    assert read(words).serves == cavities


@given(st.text(max_size=600))
def test_reading_never_fails(words: str) -> None:
    read(words)
    recognise(words, DICTIONARY)


@pytest.mark.parametrize("words", ["(" * 50_000, "a " * 50_000, "(a," * 30_000, "+-" * 50_000])
def test_long_nonsense_is_no_function(words: str) -> None:
    """With work that grew with the square of the length this would not end."""
    assert recognise(words, DICTIONARY) is None


def test_a_function_is_seen_before_long_nonsense() -> None:
    assert recognise("ground for " + "1-" * 50_000, DICTIONARY) is not None
