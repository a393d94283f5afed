"""Published tables: how near the model comes, and a reason wherever it does not."""

import re

import pytest

from pinmap.core.electrics.agreement import agreements
from pinmap.core.electrics.agreement_fault import seen_ohm
from pinmap.core.electrics.agreement_points import LARGE_PCT, Agreement

TABLES = {a.key: a for a in agreements()}


@pytest.mark.parametrize("table", TABLES.values(), ids=TABLES)
def test_every_large_deviation_has_its_reason_and_every_reason_is_used(table: Agreement) -> None:
    letters = dict(table.notes)
    assert all(p.note in letters for p in table.points if p.large)
    assert not any(p.note for p in table.points if not p.large)
    assert {p.note for p in table.points if p.note} == set(letters)
    assert table.points
    assert all(len(row) == len(table.columns) for _, row in table.rows)
    assert table.source
    assert not re.search(r"\bfit\b", table.method)


@pytest.mark.parametrize(
    ("key", "count", "within_pct"),
    [
        ("awg", 24, 0.6), ("iso6722", 15, 5.2), ("iec60228", 68, 14.5), ("warm", 21, 0.6), ("nec310", 41, 15),
        ("ambient", 17, 8), ("as50881", 4, 7), ("ac43-example-2", 10, 5), ("k", 14, 0.8), ("short-circuit", 10, 0.5),
        ("slow-short-circuit", 9, 3), ("terminations", 6, 2),
    ],
)  # fmt: skip
def test_tables_that_the_model_meets(key: str, count: int, within_pct: float) -> None:
    assert len(TABLES[key].points) == count
    assert max(abs(p.deviation_pct) for p in TABLES[key].points) < within_pct


@pytest.mark.parametrize(("key", "count"), [("33cfr183", 105), ("iso10133", 84), ("abyc-e11", 56), ("ac43-11-9", 51)])
def test_whole_tables_are_there(key: str, count: int) -> None:
    assert len(TABLES[key].points) == count


def test_heat_columns_of_33_cfr_are_met_where_heat_decides() -> None:
    """60, 80, 90, 105 and 125 °C from 10 AWG up: the columns that follow heat, not rules."""
    rows = dict(TABLES["33cfr183"].rows)
    for label in ("10 AWG", "6 AWG", "4 AWG", "2 AWG", "1 AWG", "4/0 AWG"):
        for column in (0, 2, 4):
            point = rows[label][column]
            assert point is not None
            assert abs(point.deviation_pct) < LARGE_PCT


def test_pair_and_single_bracket_e11() -> None:
    """E-11 holds for up to two together: the model alone lies above, two that touch lie below."""
    for label, (alone, pair, warm, warm_pair) in TABLES["abyc-e11"].rows:
        assert alone
        assert pair
        assert warm
        assert warm_pair
        assert pair.model < pair.published < alone.model, label
        assert warm_pair.model < warm_pair.published < warm.model, label


def test_the_reasons_say_what_the_tables_say() -> None:
    """What a reason claims of a printed table is read in that table."""
    cfr = dict(TABLES["33cfr183"].rows)
    for name in ("18", "16", "14", "12", "10"):
        row = cfr[f"{name} AWG"]
        assert row[0]
        assert row[1]
        assert row[0].published == row[1].published
    iso, e11 = dict(TABLES["iso10133"].rows), dict(TABLES["abyc-e11"].rows)
    for mm2, awg in (("1", "18"), ("1.5", "16"), ("2.5", "14"), ("4", "12"), ("6", "10")):
        printed, gauge = iso[f"{mm2} mm²"][3], e11[f"{awg} AWG"][0]
        assert printed
        assert gauge
        assert printed.published == gauge.published
    for row in iso.values():
        assert row[0]
        assert row[1]
        assert 0.5 <= row[0].published / row[1].published <= 0.68
    for row in cfr.values():
        assert row[5]
        assert row[6]
        assert 1.0 <= row[6].published / row[5].published <= 1.17
        assert row[5].model * 1.25 < row[6].model < row[5].model * 1.35


def test_nodal_equations_against_star_and_delta() -> None:
    """An unbalanced bridge of 1, 2, 3, 4 and 5 ohm."""
    edges = [("a", "c", 1.0), ("c", "b", 2.0), ("a", "d", 3.0), ("d", "b", 4.0), ("c", "d", 5.0)]
    assert seen_ohm(edges, "a", "b") == pytest.approx(_bridge(1, 2, 3, 4, 5))


def _bridge(r1: float, r2: float, r3: float, r4: float, r5: float) -> float:
    """a-c r1, c-b r2, a-d r3, d-b r4, c-d r5: the delta a, c, d turned into a star."""
    total = r1 + r3 + r5
    ra, rc, rd = r1 * r3 / total, r1 * r5 / total, r3 * r5 / total
    return ra + 1 / (1 / (rc + r2) + 1 / (rd + r4))
