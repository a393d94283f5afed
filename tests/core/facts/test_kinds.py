"""Kinds, what meets what, and other people's words."""

from itertools import product

import pytest

from pinmap.core.facts import kinds
from pinmap.core.facts.kinds import kind_facts, meets, parse_direction, parse_evidence, parse_kind
from pinmap.core.model.words import Direction, Evidence, Kind

NEVER = {Kind.RESTRAINT, Kind.HIGH_VOLTAGE}
SUPPLIES = [k for k in Kind if k.value.startswith("supply-")]


def test_every_kind_has_facts_in_the_order_of_the_vocabulary() -> None:
    assert list(kinds.all_kind_facts()) == list(Kind)
    assert all(kind_facts(kind).name and kind_facts(kind).description for kind in Kind)


def test_any_two_kinds_are_judged_alike_both_ways_and_in_words() -> None:
    for a, b in product(Kind, Kind):
        meeting = meets(a, b)
        assert meeting == meets(b, a)
        assert meeting.isolator_ok or not meeting.ok
        assert meeting.why
        assert "{" not in meeting.why


def test_a_kind_meets_itself_except_where_nothing_may_be_joined() -> None:
    assert {kind for kind in Kind if not meets(kind, kind).ok} == NEVER


@pytest.mark.parametrize(
    ("a", "b", "isolator_ok"),
    [
        (Kind.INDUCTIVE, Kind.HALL, True),
        (Kind.NTC, Kind.ANALOGUE_5V, True),
        (Kind.PWM_LOW_SIDE, Kind.SWITCH_TO_GROUND, True),
        (Kind.PWM_LOW_SIDE, Kind.LOW_SIDE, True),
        (Kind.SUPPLY_30, Kind.ANALOGUE_5V, False),
        (Kind.SUPPLY_87, Kind.REFERENCE_5V, True),
        (Kind.SUPPLY_30, Kind.SUPPLY_15, True),
        (Kind.SUPPLY_15, Kind.SUPPLY_75, True),
        (Kind.SUPPLY_30, Kind.SUPPLY_87, True),
        (Kind.SUPPLY_15, Kind.EXCITATION, True),
        (Kind.HIGH_SIDE, Kind.LOW_SIDE, True),
        (Kind.LOGIC_12V, Kind.SWITCH_TO_GROUND, True),
        (Kind.INJECTOR_BOOSTED, Kind.LOW_SIDE, False),
        (Kind.COIL_PRIMARY, Kind.LOW_SIDE, True),
        (Kind.SENSOR_GROUND, Kind.GROUND, False),
        (Kind.CAN_H, Kind.CAN_L, False),
        (Kind.CAN_H, Kind.LIN, True),
        (Kind.SUPPLY_30, Kind.GROUND, False),
        (Kind.RESTRAINT, Kind.UNKNOWN, False),
        (Kind.PIEZO, Kind.INDUCTIVE, False),
    ],
)
def test_what_a_plain_wire_must_not_join(a: Kind, b: Kind, isolator_ok: bool) -> None:
    assert not meets(a, b).ok
    assert meets(a, b).isolator_ok is isolator_ok


@pytest.mark.parametrize(
    ("a", "b"),
    [
        (Kind.SUPPLY_15, Kind.HIGH_SIDE),
        (Kind.SUPPLY_15, Kind.LOGIC_12V),
        (Kind.SUPPLY_50, Kind.LOGIC_12V),
        (Kind.HALL, Kind.PULSE),
        (Kind.LOW_SIDE, Kind.SWITCH_TO_GROUND),
        (Kind.SENSOR_GROUND, Kind.SCREEN),
        (Kind.UNKNOWN, Kind.CAN_H),
    ],
)
def test_what_it_may_join(a: Kind, b: Kind) -> None:
    assert meets(a, b).ok


def test_no_two_different_supplies_are_one() -> None:
    """DIN 72552: 15, 30, 50, 75 and 87 stay apart unless something parts them."""
    for a, b in product(SUPPLIES, SUPPLIES):
        assert meets(a, b).ok is (a is b)


def test_nothing_made_for_5_v_meets_a_battery_supply() -> None:
    small = [k for k in Kind if (kind_facts(k).max_v or 99) <= 5.5]
    assert {Kind.REFERENCE_5V, Kind.ANALOGUE_5V, Kind.NTC, Kind.LAMBDA, Kind.CAN_H} <= set(small)
    assert all(not meets(supply, kind).ok for supply, kind in product(SUPPLIES, small))


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("supply-30", Kind.SUPPLY_30), ("SUPPLY_30", Kind.SUPPLY_30), ("KL15", Kind.SUPPLY_15),
        ("Kl. 30", Kind.SUPPLY_30),
        ("Terminal 31", Kind.GROUND), ("50", Kind.SUPPLY_50), ("5V Ref", Kind.REFERENCE_5V),
        ("0-5 V", Kind.ANALOGUE_5V),
        ("Hall effect", Kind.HALL), ("open collector", Kind.HALL), ("VR", Kind.INDUCTIVE), ("thermistor", Kind.NTC),
        ("CAN-H", Kind.CAN_H), ("can low", Kind.CAN_L), ("shield", Kind.SCREEN), ("low side", Kind.LOW_SIDE),
        ("Low-Side", Kind.LOW_SIDE), ("airbag", Kind.RESTRAINT), ("PWM", Kind.PWM_LOW_SIDE),
        ("J1708 +", Kind.J1708_PLUS),
        ("", None), ("banana", None), ("3", None),
    ],
)  # fmt: skip
def test_kinds_in_other_words(text: str, kind: Kind | None) -> None:
    assert parse_kind(text) is kind


def test_the_vocabulary_reads_itself() -> None:
    assert all(parse_kind(kind.value) is kind for kind in Kind)
    assert all(parse_direction(d.value) is d for d in Direction)
    assert all(parse_evidence(e.value) == (e, "") for e in Evidence)


@pytest.mark.parametrize(
    ("text", "direction"),
    [("Output", Direction.OUT), ("I", Direction.IN), ("I/O", Direction.BOTH), ("bi-directional", Direction.BOTH),
     ("n/a", Direction.PASSIVE), ("sideways", None), ("", None)],
)  # fmt: skip
def test_directions_in_other_words(text: str, direction: Direction | None) -> None:
    assert parse_direction(text) is direction


@pytest.mark.parametrize(
    ("text", "evidence", "ref"),
    [
        ("manual p. 12-34", Evidence.MANUAL, "p. 12-34"),
        ("Workshop manual: 303-14, page 7", Evidence.MANUAL, "303-14, page 7"),
        ("measured (bench, 3 May)", Evidence.MEASURED, "bench, 3 May"),
        ("Continuity-verified by AB", Evidence.MEASURED, "by AB"),
        ("not measured", Evidence.ASSUMED, ""),
        ("not measured yet", Evidence.ASSUMED, "yet"),
        ("unverified", Evidence.ASSUMED, ""),
        ("303-14", Evidence.ASSUMED, "303-14"),
        ("measurement pending", Evidence.ASSUMED, "measurement pending"),
        ("", Evidence.ASSUMED, ""),
    ],
)
def test_evidence_is_never_better_than_it_says(text: str, evidence: Evidence, ref: str) -> None:
    assert parse_evidence(text) == (evidence, ref)


def test_huge_cells_are_no_words_and_evidence_loses_nothing() -> None:
    huge = "a " * 500_000
    assert parse_kind(huge) is None
    assert parse_direction(huge) is None
    assert parse_evidence("manual " + huge) == (Evidence.MANUAL, huge.strip())
