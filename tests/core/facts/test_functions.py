"""The function dictionary."""

from collections import defaultdict

import pytest

from pinmap.core.errors import InputError
from pinmap.core.facts import sources
from pinmap.core.facts.colours import parse_colour
from pinmap.core.facts.functions import STATES, Dictionary, FunctionEntry, dictionary
from pinmap.core.facts.kinds import plain
from pinmap.core.model.words import Direction, Kind


def named(words: str) -> set[str]:
    """Codes of all functions that are called exactly this."""
    return {e.code for e in dictionary().entries if plain(words) in {plain(w) for w in e.words}}


def test_size_and_shape() -> None:
    entries = dictionary().entries
    assert len(sources.rows("functions")) >= 170
    assert len(entries) == len(dictionary().by_code)
    assert {e.group for e in entries} >= {
        "supply", "ground", "engine sensor", "engine actuator", "injection", "ignition", "starting and charging",
        "fuel", "cooling", "air conditioning", "chassis", "transmission", "instruments", "lighting", "trailer",
        "body", "bus", "diagnostics", "relay", "restraint", "unassigned",
    }  # fmt: skip


def test_every_entry_is_usable() -> None:
    for e in dictionary().entries:
        assert e.code, e
        assert e.code == e.code.strip()
        assert e.name, e.code
        assert e.source, e.code
        assert set(e.states) <= set(STATES), e.code
        assert not e.colour or parse_colour(e.colour), (e.code, e.colour)
        assert e.current_a is None or 0 <= e.current_a <= 200, e.code
        if e.peak_a is not None and e.current_a is not None:
            assert e.current_a <= e.peak_a <= 400, e.code
        assert e.min_v is None or 4 < e.min_v <= 12, e.code
        if e.kind is Kind.UNKNOWN:
            assert e.code in {"SPARE", "MAKER", "TRL_SENSE", "FLEX_P", "FLEX_M"}


def test_no_wording_belongs_to_two_functions() -> None:
    owners: dict[str, set[str]] = defaultdict(set)
    for e in dictionary().entries:
        for words in e.words:
            owners[plain(words)].add(e.code)
    assert {words: codes for words, codes in owners.items() if len(codes) > 1} == {}


@pytest.mark.parametrize(
    ("words", "code"),
    [  # DIN 72552 designations
        ("15", "IGN"), ("30", "PERM"), ("31", "GND"), ("50", "START"), ("75", "ACC"), ("87", "RUN87"), ("54", "STOP"),
        ("58L", "TAIL_L"), ("58R", "TAIL_R"), ("58", "TAIL"), ("L", "TURN_L"), ("R", "TURN_R"), ("61", "ALT_L"),
        ("D+", "ALT_L"), ("B+", "ALT_B+"), ("85", "RLY_85"), ("86", "RLY_86"), ("87a", "RLY_87A"), ("56a", "HIGH_BEAM"),
        ("56b", "LOW_BEAM"), ("55", "FOG"), ("53", "WIPER1"), ("49a", "FLASHER_OUT"), ("W", "ALT_W"), ("1", "COIL-"),
        ("54g", "REAR_FOG"), ("58d", "ILLUM"), ("31b", "GND_SW"), ("L54", "STOP_TURN_L"), ("DF", "ALT_DF"),
        # marks of before 1952 in the old-to-new list of the same standard
        ("VL", "TURN_L"), ("VR", "TURN_R"), ("D+/61", "ALT_L"), ("30/51", "PERM"), ("15/54", "IGN"),
        # SAE J1930 terms and abbreviations
        ("crankshaft position", "CKP"), ("engine coolant temperature", "ECT"), ("accelerator pedal position 1", "APP1"),
        ("fuel rail pressure", "FRP"), ("mass air flow", "MAF"), ("malfunction indicator", "MIL"),
        ("torque converter clutch", "TCC"), ("idle air control", "IAC"), ("evaporative emission", "EVAP"),
        ("knock sensor 2", "KS2+"), ("HO2S 1/1", "HO2S11"), ("vehicle speed sensor", "VSS"), ("fuel pump", "FP"),
        # ends of components
        ("MAP sensor ground", "MAP_RTN"), ("crank sensor supply", "CKP_FEED"), ("injector 8 -", "INJ8-"),
        ("APP sensor 2 5 V", "APP2_REF"), ("glow plug 4", "GLOW4"), ("coil 6 trigger", "COIL6"),
    ],
)  # fmt: skip
def test_real_wordings(words: str, code: str) -> None:
    assert named(words) == {code}


def test_every_designation_of_din_72552_that_a_pinout_may_carry_is_known() -> None:
    marks = [
        "1", "4", "15", "15a", "19", "30", "30a", "31", "31a", "31b", "33", "45", "48", "49", "49a", "49b", "50",
        "50a", "53", "53a", "53b", "53c", "53e", "54", "54g", "55", "56", "56a", "56b", "56d", "57", "57a", "57L",
        "57R", "58", "58b", "58d", "58L", "58R", "61", "71", "75", "82", "85", "86", "87", "87a", "87b", "B+", "C",
        "C2", "C3", "D+", "D-", "DF", "L", "R", "L54", "R54", "W",
    ]  # fmt: skip
    assert {mark: named(mark) for mark in marks if len(named(mark)) != 1} == {}


def test_permanent_ignition_and_start_are_three_things() -> None:
    """DIN 72552: 15 and 30 are no synonyms."""
    kinds = [dictionary().by_code[c].kind for c in ("PERM", "IGN", "ACC", "START", "GND")]
    assert kinds == [Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50, Kind.GROUND]


def test_numbered_families_and_their_ends() -> None:
    book = dictionary()
    for n in range(1, 9):
        assert book.by_code[f"INJ{n}+"].kind is book.by_code[f"INJ{n}-"].kind is Kind.INJECTOR_BOOSTED
        assert book.by_code[f"INJ{n}+"].twist
        assert book.by_code[f"GLOW{n}"].states == "KCI"
        assert book.by_code[f"COIL{n}_FEED"].kind is Kind.SUPPLY_87
    assert book.get("INJ9+") is None
    assert book.get("INJ{n}") is None
    assert book.by_code["KS2-"].screen
    ends = {c: book.by_code[f"MAP{c}"] for c in ("", "_REF", "_RTN")}
    assert [e.kind for e in ends.values()] == [Kind.ANALOGUE_5V, Kind.REFERENCE_5V, Kind.SENSOR_GROUND]
    assert [e.direction for e in ends.values()] == [Direction.OUT, Direction.IN, Direction.IN]


def test_buses_are_pairs() -> None:
    book = dictionary()
    for code in ("CAN_H", "CAN_L", "CAN2_H", "CAN2_L", "TRL_CAN_H", "IBUS_L", "J1708+", "J1708-"):
        assert book.by_code[code].twist, code
        assert book.by_code[code].direction is Direction.BOTH, code


def test_restraint_functions_carry_the_restraint_kind_and_nothing_else_does() -> None:
    groups = {e.group for e in dictionary().entries if e.kind is Kind.RESTRAINT}
    kinds = {e.kind for e in dictionary().entries if e.group == "restraint"}
    assert groups == {"restraint"}
    assert kinds == {Kind.RESTRAINT}


def test_users_add_and_replace() -> None:
    mine = FunctionEntry(code="WINCH", name="Winch motor", kind=Kind.SUPPLY_30, current_a=150.0, states="IF")
    louder = FunctionEntry(code="HORN", name="Air horn", kind=Kind.HIGH_SIDE, current_a=18.0)
    more = dictionary().with_entries([mine, louder])
    assert more.get("WINCH") is mine
    assert more.by_code["HORN"].current_a == 18.0
    assert len(more.entries) == len(dictionary().entries) + 1
    assert [e.code for e in more.entries].index("HORN") == [e.code for e in dictionary().entries].index("HORN")
    assert dictionary().get("WINCH") is None


@pytest.mark.parametrize(
    ("entry", "field"),
    [(FunctionEntry(code=" ", name="x"), "code"), (FunctionEntry(code="X", name="x", states="KZ"), "states")],
)
def test_users_entries_are_checked(entry: FunctionEntry, field: str) -> None:
    with pytest.raises(InputError) as caught:
        Dictionary().with_entries([entry])
    assert caught.value.field == field
