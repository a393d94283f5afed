"""Standard connectors against the published pin lists."""

import re

import pytest

from pinmap.core.facts.colours import parse_colour
from pinmap.core.facts.functions import dictionary
from pinmap.core.facts.parts import terminals
from pinmap.core.facts.shelf import ShelfEntry, shelf
from pinmap.core.model.pinouts import Pin
from pinmap.core.model.words import Direction, Evidence, Gender

BY_KEY = {entry.key: entry for entry in shelf()}


def codes(key: str) -> dict[str, str]:
    return {pin.cavity: pin.function_code for pin in BY_KEY[key].platform.pins}


def pins(key: str) -> dict[str, Pin]:
    return {pin.cavity: pin for pin in BY_KEY[key].platform.pins}


def test_the_shelf_has_the_standards_asked_for() -> None:
    have = " ".join(entry.standard for entry in shelf())
    for standard in ("ISO 1724", "ISO 3732", "ISO 11446", "SAE J560", "SAE J1962 / ISO 15031-3", "SAE J1939-13",
                     "ISO 7588", "ISO 1185", "ISO 3731", "ISO 12098", "ISO 7638", "SAE J2863"):  # fmt: skip
        assert standard in have


@pytest.mark.parametrize("entry", shelf(), ids=lambda entry: entry.key)
def test_every_entry_is_whole(entry: ShelfEntry) -> None:
    platform = entry.platform
    houses = {h.key: h for h in entry.housings}
    assert platform.source
    assert entry.source
    assert len({pin.key(platform.key) for pin in platform.pins}) == len(platform.pins)
    for connector in platform.connectors:
        house = houses[connector.housing]
        mate = houses[f"{connector.housing}-mate"]
        assert {p.cavity for p in platform.pins if p.connector == connector.name} == set(house.cavity_names)
        assert house.terminal in terminals()
        assert house.family == mate.family
        assert (house.gender, mate.gender) in {
            (Gender.PIN, Gender.SOCKET), (Gender.SOCKET, Gender.PIN), (Gender.UNKNOWN, Gender.UNKNOWN),
        }  # fmt: skip
        places = [(c.column, c.row) for c in house.cavities]
        gaps = [((a - c) ** 2 + (b - d) ** 2) ** 0.5 for i, (a, b) in enumerate(places) for c, d in places[:i]]
        assert min(gaps) > 0.6, "cavities overlap"
    for pin in platform.pins:
        known = dictionary().by_code[pin.function_code]
        assert pin.kind is known.kind, pin
        assert pin.function, pin
        assert not pin.wire_colour or parse_colour(pin.wire_colour), pin
        on_a_bus = re.search("can-[hl]|line|j1850|j1708", pin.kind.value) is not None
        assert pin.direction is (Direction.BOTH if on_a_bus else Direction.PASSIVE), pin
        assert platform.source.split(" (")[0] in pin.evidence_ref


def test_what_was_only_remembered_does_not_look_proven() -> None:
    for entry in shelf():
        remembered = "(from memory)" in entry.platform.source
        for pin in entry.platform.pins:
            assert pin.evidence is (Evidence.ASSUMED if remembered else Evidence.MANUAL), entry.key
            assert ("from memory" in pin.evidence_ref) is remembered


def test_iso_1724() -> None:
    assert codes("iso-1724") == {
        "1": "TURN_L", "2": "REAR_FOG", "3": "GND", "4": "TURN_R", "5": "TAIL_R", "6": "STOP", "7": "TAIL_L",
    }  # fmt: skip
    assert [pins("iso-1724")[str(n)].wire_colour for n in range(1, 8)] == ["YE", "BU", "WH", "GN", "BN", "RD", "BK"]
    assert [pins("iso-1724")[str(n)].wire_mm2 for n in range(1, 8)] == [1.5, 1.5, 2.5, 1.5, 1.5, 1.5, 1.5]


def test_iso_11446() -> None:
    assert codes("iso-11446") == codes("iso-1724") | {
        "8": "REV", "9": "PERM", "10": "IGN", "11": "GND_IGN", "12": "TRL_DETECT", "13": "GND_PERM",
    }  # fmt: skip
    thick = {c for c, pin in pins("iso-11446").items() if pin.wire_mm2 == 2.5}
    assert thick == {"3", "9", "10", "11", "13"}
    assert {pin.wire_mm2 for c, pin in pins("iso-11446").items() if c not in thick | {"12"}} == {1.5}


def test_iso_3732_meets_iso_11446_as_published_and_keeps_its_grounds_apart() -> None:
    s, thirteen = codes("iso-3732"), codes("iso-11446")
    for small, large in {"1": "8", "4": "9", "6": "10", "7": "11", "3": "13"}.items():
        assert s[small] == thirteen[large]
    assert len({codes("iso-1724")["3"], s["3"], s["7"]}) == 3
    assert not {s["2"], s["5"]} & set(thirteen.values())


def test_sae_j560_shares_colours_with_iso_1724_but_not_their_meaning() -> None:
    assert codes("sae-j560") == {
        "1": "GND", "2": "MARKER", "3": "TURN_L", "4": "STOP", "5": "TURN_R", "6": "TAIL", "7": "TRL_AUX",
    }  # fmt: skip
    ours = {pin.wire_colour: pin.function_code for pin in pins("sae-j560").values()}
    theirs = {pin.wire_colour: pin.function_code for pin in pins("iso-1724").values()}
    assert set(ours) == set(theirs)
    assert {c for c in ours if ours[c] != theirs[c]} == {"BK", "BN", "BU"}


@pytest.mark.parametrize(("key", "volts", "amperes"), [("sae-j1962-a", 12, 4), ("sae-j1962-b", 24, 2)])
def test_sae_j1962(key: str, volts: float, amperes: float) -> None:
    assert codes(key) == dict.fromkeys(("1", "3", "8", "9", "11", "12", "13"), "MAKER") | {
        "2": "J1850+", "10": "J1850-", "4": "GND", "5": "SIG_GND", "6": "CAN_H", "14": "CAN_L",
        "7": "K_LINE", "15": "L_LINE", "16": "PERM",
    }  # fmt: skip
    assert BY_KEY[key].platform.nominal_v == volts
    assert pins(key)["16"].current_a == amperes
    keyings = {h.keying for h in BY_KEY[key].housings}
    assert keyings == {key[-1].upper()}, "a 24 V plug must not fit a 12 V socket"


def test_sae_j1939_13_meets_sae_j1962_in_four_signals() -> None:
    nine, sixteen = codes("sae-j1939-13-1"), codes("sae-j1962-a")
    by_code = {code: cavity for cavity, code in sixteen.items() if code != "MAKER"}
    assert {c: by_code[code] for c, code in nine.items() if code in by_code} == {
        "A": "4",
        "B": "16",
        "C": "6",
        "D": "14",
    }
    assert {c for c, code in nine.items() if code not in by_code} == set("EFGHJ")


def test_bus_rates_are_kept() -> None:
    assert "250 kbit/s" in pins("sae-j1939-13-1")["C"].note
    assert "500 kbit/s" in pins("sae-j1939-13-2")["C"].note


@pytest.mark.parametrize("key", ["iso-7588-1", "iso-7588-3"])
def test_iso_7588_numerals(key: str) -> None:
    marks = {c: code.removeprefix("RLY_").lower() for c, code in codes(key).items()}
    assert marks == {"1": "86", "2": "85", "3": "30", "4": "87a", "5": "87"}


def test_24n_and_24s_together_are_the_15_pin() -> None:
    """ISO 12098 annex A foresees adapters from ISO 1185 and ISO 3731; by function nothing of those two is lost but
    the trailer brake line and the spare pins."""
    both = set(codes("iso-1185").values()) | set(codes("iso-3731").values())
    assert both - set(codes("iso-12098").values()) == {"TRL_BRAKE_CTL", "SPARE", "IGN"}
