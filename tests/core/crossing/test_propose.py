"""Published adapters come out exactly; sides, names and order of rows do not matter."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.core.crossing.edits import accept_proposals, add_seat, new_job, set_fate
from pinmap.core.crossing.ledger import ledger
from pinmap.core.crossing.propose import Crossing, cross, propose_signals
from pinmap.core.facts.functions import dictionary
from pinmap.core.facts.shelf import shelf
from pinmap.core.model.jobs import Pick, Seat, Snapshot
from pinmap.core.model.pinouts import Connector, Edition, Pin, PinKey, Platform
from pinmap.core.model.words import Direction, Fate, Kind, Role
from tests import factories_crossing as standard
from tests.factories_crossing import bare

DICTIONARY = dictionary()
Rows = dict[str, dict[str, str]]


def crossed(a: Rows, b: Rows) -> Crossing:
    return cross(bare("a", a), bare("b", b), DICTIONARY)


def pairs(crossing: Crossing, *levels: str) -> set[tuple[str, str]]:
    return {
        (f"{p.a.connector}-{p.a.cavity}", f"{p.b.connector}-{p.b.cavity}")
        for p in crossing.pairs
        if not levels or p.level in levels
    }


SEVEN = {(f"N-{n}", f"P-{n}") for n in range(1, 8)}
EXTRA = {("S-1", "P-8"), ("S-4", "P-9"), ("S-6", "P-10"), ("S-7", "P-11"), ("S-3", "P-13")}


@pytest.mark.parametrize("words", [standard.ISO_1724, standard.ISO_1724_MARKS])
def test_iso_1724_to_iso_11446(words: dict[str, str]) -> None:
    found = crossed({"N": words}, {"P": standard.ISO_11446})
    assert pairs(found) == pairs(found, "high") == SEVEN
    assert [key.cavity for key in found.left_b] == ["8", "9", "10", "11", "12", "13"]


def test_iso_1724_and_iso_3732_to_iso_11446_keep_their_grounds_apart() -> None:
    found = crossed({"N": standard.ISO_1724, "S": standard.ISO_3732}, {"P": standard.ISO_11446})
    assert pairs(found) == pairs(found, "high") == SEVEN | EXTRA
    assert [str(key) for key in found.left_a] == ["a:S-2", "a:S-5"]


def test_a_second_use_of_a_spare_pin_is_a_conflict_and_not_silently_chosen() -> None:
    found = crossed({"N": standard.ISO_1724, "S": standard.ISO_3732_CHARGING}, {"P": standard.ISO_11446})
    assert pairs(found, "high") <= SEVEN | EXTRA
    assert not any(a == "S-2" for a, _ in pairs(found, "high"))
    ten = next(p for p in found.pairs if p.b.cavity == "10")
    assert PinKey("a", "S", "2") in dict(ten.rivals)


def test_sae_j1939_13_to_sae_j1962() -> None:
    found = crossed({"J": standard.SAE_J1939_13}, {"D": standard.SAE_J1962})
    assert pairs(found) == pairs(found, "high") == {("J-A", "D-4"), ("J-B", "D-16"), ("J-C", "D-6"), ("J-D", "D-14")}
    assert [key.cavity for key in found.left_a] == ["E", "F", "G", "H", "J"]
    ground = next(p for p in found.pairs if p.a.cavity == "A")
    assert PinKey("b", "D", "5") in dict(ground.rivals)


def test_the_same_adapter_in_other_words() -> None:
    truck = {
        "A": "Battery (-) unswitched",
        "B": "Battery (+) unswitched",
        "C": "CAN_H, J1939 network #1",
        "D": "CAN_L, J1939 network #1",
        "E": "CAN_SHLD",
        "F": "J1708(+)",
        "G": "J1708(-)",
        "H": "CAN_H, network #2",
        "J": "CAN_L, network #2",
    }
    socket = {
        "2": "SAE J1850 Bus+",
        "4": "Chassis GND",
        "5": "Signal GND",
        "6": "CAN High (J-2284)",
        "7": "K-Line (ISO 9141-2)",
        "10": "SAE J1850 Bus-",
        "14": "CAN Low (J-2284)",
        "15": "ISO 9141-2 L-Line",
        "16": "Vehicle battery voltage",
    }
    assert pairs(crossed({"J": truck}, {"D": socket})) == {
        ("J-A", "D-4"),
        ("J-B", "D-16"),
        ("J-C", "D-6"),
        ("J-D", "D-14"),
    }


def test_power_signal_and_shield_grounds_are_told_apart() -> None:
    found = crossed({"A": {"1": "Power ground", "2": "Screen"}}, {"B": {"1": "Ground", "2": "Shield ground"}})
    assert pairs(found, "high") == {("A-1", "B-1"), ("A-2", "B-2")}


@pytest.mark.parametrize("words", [standard.ISO_1724, standard.ISO_1724_MARKS])
def test_sae_j560_to_iso_1724_goes_by_function_not_by_place(words: dict[str, str]) -> None:
    found = crossed({"J": standard.SAE_J560}, {"N": words})
    assert pairs(found, "high") == {("J-1", "N-3"), ("J-3", "N-1"), ("J-4", "N-6"), ("J-5", "N-4")}
    tail = next(p for p in found.pairs if p.a.cavity == "6")
    assert tail.level != "high"
    assert {tail.b.cavity, *(key.cavity for key, _ in tail.rivals)} >= {"5", "7"}
    assert any("choose" in reason for reason in tail.reasons)


def test_relay_numerals_to_designations() -> None:
    numerals = {"1": "86", "2": "85", "3": "30", "4": "87a", "5": "87"}
    found = crossed({"R": numerals}, {"K": {mark: mark for mark in ("30", "85", "86", "87", "87a")}})
    assert pairs(found, "high") == {(f"R-{n}", f"K-{mark}") for n, mark in numerals.items()}


def test_what_only_looks_alike_is_not_joined() -> None:
    one = {"1": "J1850 bus +", "2": "+12 V permanent", "3": "Injector 1 +", "4": "CAN high", "5": "Left turn"}
    other = {"1": "CAN_H", "2": "+12 V ignition", "3": "Injector 2 +", "4": "CAN low", "5": "Right turn"}
    found = crossed({"A": one}, {"B": other})
    assert pairs(found) == {("A-4", "B-1")}


def test_colours_are_never_looked_at() -> None:
    def coloured(key: str, words: str, colours: str) -> Platform:
        pins = tuple(
            Pin(connector="X", cavity=str(n), function=w, wire_colour=c)
            for n, (w, c) in enumerate(zip(words.split("|"), colours.split(), strict=True))
        )
        return Platform(key=key, name=key, role=Role.DONOR, connectors=(Connector(name="X"),), pins=pins)

    plain = cross(coloured("a", "Stop|Left turn", "RD YE"), coloured("b", "Left turn|Stop", "YE RD"), DICTIONARY)
    misled = cross(coloured("a", "Stop|Left turn", "RD YE"), coloured("b", "Left turn|Stop", "RD YE"), DICTIONARY)
    assert plain == misled


def one_pin(key: str, **fields: object) -> Platform:
    pin = replace(Pin(connector="X", cavity="1", function="Fuel pump supply"), **fields)  # type: ignore[arg-type]  # any field
    return Platform(key=key, name=key, role=Role.DONOR, connectors=(Connector(name="X"),), pins=(pin,))


def confidence(a: Platform, b: Platform) -> float:
    return max((p.confidence for p in cross(a, b, DICTIONARY).pairs), default=0.0)


def test_kinds_directions_currents_and_voltages_speak_for_or_against() -> None:
    given = one_pin("a", kind=Kind.SUPPLY_87, direction=Direction.OUT, current_a=10.0)
    fits = one_pin("b", kind=Kind.SUPPLY_87, direction=Direction.IN, current_a=8.0)
    assert confidence(given, fits) >= 0.9
    assert confidence(given, one_pin("b", kind=Kind.SUPPLY_87, direction=Direction.OUT)) < 0.8
    assert confidence(fits, one_pin("b", kind=Kind.SUPPLY_87, direction=Direction.IN)) < 0.8
    assert confidence(given, one_pin("b", kind=Kind.CAN_H)) < 0.5
    assert confidence(given, one_pin("b", kind=Kind.SUPPLY_87, current_a=0.1)) < confidence(given, fits)
    assert confidence(given, replace(fits, nominal_v=24.0)) < 0.8


def test_two_that_fit_equally_are_said_to_compete() -> None:
    found = crossed({"A": {"1": "Battery +"}}, {"B": {"1": "Battery +", "2": "Battery +"}})
    (pair,) = found.pairs
    assert pair.level != "high"
    assert [key.cavity for key, _ in pair.rivals] == ["2"]
    assert len(found.left_b) == 1


WORDS = st.sampled_from(
    [
        "Ground", "Battery +", "CAN_H", "CAN low", "Left turn", "Right turn", "turn", "Tail", "58L", "58R", "54",
        "Injector 1 +", "Injector 1 -", "Injector 2 +", "CKP sensor", "CKP +", "Ground for pin 1", "Ground for 2-3",
        "coolant temp", "ECT sensor", "ECT sensor ground", "Fan relay 1", "Fan relay", "K line", "odd thing", "30", "L",
        "spare",
    ]
)  # fmt: skip
SIDES = st.dictionaries(
    st.sampled_from("PQR"), st.dictionaries(st.sampled_from("123456"), WORDS, max_size=6), max_size=3
)


def confidences(crossing: Crossing) -> dict[tuple[PinKey, PinKey], float]:
    return {(p.a, p.b): p.confidence for p in crossing.pairs}


@given(SIDES, SIDES)
@settings(deadline=None)
def test_exchanged_sides_give_the_mirror_image(a: Rows, b: Rows) -> None:
    there, back = crossed(a, b), cross(bare("b", b), bare("a", a), DICTIONARY)
    assert confidences(there) == {(x, y): c for (y, x), c in confidences(back).items()}
    assert {(p.a, p.b): (p.function_code, set(p.reasons)) for p in there.pairs} == {
        (p.b, p.a): (p.function_code, set(p.reasons)) for p in back.pairs
    }
    assert (set(there.left_a), set(there.left_b)) == (set(back.left_b), set(back.left_a))


@given(SIDES, SIDES, st.randoms(use_true_random=False))
@settings(deadline=None)
def test_the_order_of_rows_is_irrelevant(a: Rows, b: Rows, random: object) -> None:
    shuffle = getattr(random, "shuffle")  # noqa: B009  # hypothesis types it as an opaque object
    side_a, side_b = bare("a", a), bare("b", b)
    pins_a, pins_b = list(side_a.pins), list(side_b.pins)
    shuffle(pins_a)
    shuffle(pins_b)
    mixed = cross(replace(side_a, pins=tuple(pins_a)), replace(side_b, pins=tuple(pins_b)), DICTIONARY)
    assert confidences(mixed) == confidences(cross(side_a, side_b, DICTIONARY))


@given(SIDES, SIDES, st.permutations("XYZ"))
@settings(deadline=None)
def test_new_names_change_names_and_nothing_else(a: Rows, b: Rows, letters: list[str]) -> None:
    names = dict(zip("PQR", letters, strict=True))
    if len({tuple(sorted(rows.items())) for rows in a.values()}) < len(a):
        return  # two connectors that differ in nothing but their names can only be told apart by these
    renamed = crossed({names[c]: rows for c, rows in a.items()}, b)
    plain = crossed(a, b)
    assert confidences(renamed) == {
        (x._replace(connector=names[x.connector]), y): c for (x, y), c in confidences(plain).items()
    }


@given(SIDES, SIDES)
@settings(deadline=None)
def test_each_pin_is_in_one_pair_or_left(a: Rows, b: Rows) -> None:
    found = crossed(a, b)
    for side, pins in ((0, [*bare("a", a).pins]), (1, [*bare("b", b).pins])):
        paired = [p.members[side] for p in found.pairs]
        left = (found.left_a, found.left_b)[side]
        assert sorted([*paired, *left]) == sorted(pin.key("ab"[side]) for pin in pins)
    assert all(0.0 < p.confidence < 1.0 for p in found.pairs)


def test_no_pair_of_the_shelf_joins_two_functions_surely() -> None:
    entries = shelf()
    for one, other in combinations(entries, 2):
        for pair in cross(one.platform, other.platform, DICTIONARY).pairs:
            if pair.level != "high":
                continue
            codes = {
                pin.function_code
                for platform, key in ((one.platform, pair.a), (other.platform, pair.b))
                for pin in platform.pins
                if pin.key(platform.key) == key
            } - {"TRL_PERM", "TRL_IGN", "GND_LAMPS", "GND_PERM", "GND_IGN", ""}
            assert len(codes) <= 1, (one.key, other.key, pair)


# Signals over all sides


def side(key: str, role: Role, words: Rows, direction: Direction, editions: dict[str, str] | None = None) -> Platform:
    made = bare(key, words, role)
    pins = tuple(
        replace(pin, direction=direction, editions=(editions[pin.connector],) if editions else ()) for pin in made.pins
    )
    years = tuple(Edition(key=e, name=e) for e in sorted(set((editions or {}).values())))
    return replace(made, pins=pins, editions=years)


DONOR = side("donor", Role.DONOR, {"E1": {"1": "CKP sensor +", "2": "ECT sensor", "3": "Tachometer"}}, Direction.OUT)
SEALED = side("sealed", Role.CONTROL, {"A": {"10": "Crank sensor +", "11": "Coolant temperature"}}, Direction.IN)
OPEN = side("open", Role.CONTROL, {"P": {"7": "CKP +", "8": "ECT", "9": "Spare"}}, Direction.IN)
HOST = side(
    "host",
    Role.HOST,
    {"C1": {"4": "Tachometer signal"}, "C2": {"9": "Tach"}},
    Direction.IN,
    {"C1": "early", "C2": "late"},
)


def snapshot() -> Snapshot:
    job = new_job("job", "Job")
    for key, role, picks in (
        ("donor", Role.DONOR, (Pick("donor"),)),
        ("control", Role.CONTROL, (Pick("sealed"), Pick("open"))),
        ("host", Role.HOST, (Pick("host", "early"), Pick("host", "late"))),
    ):
        job = add_seat(job, Seat(key=key, name=key, role=role, picks=picks))
    return Snapshot(job, (DONOR, SEALED, OPEN, HOST))


def test_signals_span_every_control_unit_and_every_edition() -> None:
    found = {s.function_code: s for s in propose_signals(snapshot(), DICTIONARY)}
    assert {str(m) for m in found["CKP+"].members} == {"donor:E1-1", "sealed:A-10", "open:P-7"}
    assert {str(m) for m in found["ECT"].members} == {"donor:E1-2", "sealed:A-11", "open:P-8"}
    assert {str(m) for m in found["TACH"].members} == {"donor:E1-3", "host:C1-4@early", "host:C2-9@late"}
    assert {s.level for s in found.values()} == {"high"}
    assert found["CKP+"].twist == "CKP"


def test_only_undecided_pins_are_proposed_and_accepting_them_fills_the_ledger() -> None:
    start = snapshot()
    parked = set_fate(start.job, PinKey("host", "C1", "4", "early"), Fate.PARKED, "no gauge")
    start = replace(start, job=parked)
    proposals = propose_signals(start, DICTIONARY)
    assert not any("early" in str(m) for s in proposals for m in s.members)
    done = replace(start, job=accept_proposals(start.job, proposals, known=start.pin))
    assert [str(key) for key in ledger(done).open_pins] == ["open:P-9"]
    assert propose_signals(done, DICTIONARY) == ()


def test_two_sources_of_one_signal_are_a_choice() -> None:
    start = snapshot()
    rival = side("host", Role.HOST, {"C1": {"1": "CKP sensor +"}}, Direction.OUT)
    job = replace(start.job, seats=(*start.job.seats[:2], replace(start.job.seats[2], picks=(Pick("host"),))))
    found = propose_signals(Snapshot(job, (DONOR, SEALED, OPEN, rival)), DICTIONARY)
    crank = [s for s in found if s.function_code == "CKP+"]
    assert all(s.level != "high" for s in crank)
    assert not any({"donor", "host"} <= {m.platform for m in s.members} for s in crank)
    assert any("choose" in reason for s in crank for reason in s.reasons)


def test_several_supplies_of_one_platform_join_only_with_a_reason() -> None:
    donor = side("donor", Role.DONOR, {"E1": {"1": "Control unit main supply"}}, Direction.OUT)
    unit = side("sealed", Role.CONTROL, {"A": {"1": "ECU main supply", "2": "ECU main supply"}}, Direction.IN)
    start = snapshot()
    seats = (start.job.seats[0], replace(start.job.seats[1], picks=(Pick("sealed"),)))
    (signal,) = propose_signals(Snapshot(replace(start.job, seats=seats), (donor, unit)), DICTIONARY)
    assert len(signal.members) == 3
    assert signal.level != "high"
    assert any("one more pin" in reason for reason in signal.reasons)


@pytest.mark.benchmark(group="crossing")
def test_bench_five_thousand_pins_a_side(benchmark: object) -> None:
    names = [entry.name for entry in DICTIONARY.entries]
    sides = [
        bare(key, {f"X{n}": {str(m): f"{names[(n * 50 + m) % len(names)]} {n}" for m in range(50)} for n in range(100)})
        for key in "ab"
    ]
    assert callable(benchmark)
    found = benchmark(cross, *sides, DICTIONARY)
    assert len(found.pairs) > 4000
