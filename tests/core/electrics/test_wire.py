"""The bench worksheet against published tables and worked examples."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.core.electrics.wire import STANDARDS, size_wire
from pinmap.core.errors import InputError

FT = 0.3048

# ABYC E-11 table IX, 12 V, 3 %: amperes -> size by feet there and back.
FEET = (10, 15, 20, 25, 30, 40, 50, 60, 70, 80, 90, 100, 110, 120, 130, 140, 150, 160, 170)
TABLE_IX = {
    5: "18 16 14 12 12 10 10 10 8 8 8 6 6 6 6 6 6 6 6",
    10: "14 12 10 10 10 8 6 6 6 6 4 4 4 4 2 2 2 2 2",
}
CELLS = [(a, ft, s) for a, line in TABLE_IX.items() for ft, s in zip(FEET, line.split(), strict=True)]


@pytest.mark.parametrize(("amps", "feet", "size"), [c for c in CELLS if c[:2] != (5, 170)])
def test_e11_table_ix(amps: int, feet: int, size: str) -> None:
    assert size_wire(amps, feet * FT, supply_v=12, drop_pct=3, standard="abyc-e11").size == f"{size} AWG"


def test_e11_table_ix_departs_from_its_own_formula_in_one_of_these_cells() -> None:
    assert size_wire(5, 170 * FT, supply_v=12, drop_pct=3, standard="abyc-e11").size == "4 AWG"  # printed: 6


@pytest.mark.parametrize(("pct", "size", "cmil"), [(3, "10 AWG", 6271), (10, "16 AWG", 1881)])
def test_bilge_pump_of_the_chandlers(pct: float, size: str, cmil: int) -> None:
    sheet = size_wire(10, 21 * FT, supply_v=12, drop_pct=pct, standard="abyc-e11")
    assert sheet.size == size
    assert f"{cmil} circular mils" in {s.name: s.text for s in sheet.steps}["area for the drop"]


@pytest.mark.parametrize(("amps", "feet", "size"), [(20, 50, "4 AWG"), (15, 100, "2 AWG")])
def test_more_e11(amps: float, feet: float, size: str) -> None:
    assert size_wire(amps, feet * FT, supply_v=12, drop_pct=3, standard="abyc-e11").size == size


def test_iso_10133_drop_formula_and_table() -> None:
    sheet = size_wire(10, 20, supply_v=12, drop_pct=1.312 / 12 * 100 + 1e-9, standard="iso10133")
    assert (sheet.size, sheet.limit) == ("2.5 mm²", "drop")
    assert sheet.drop_v == pytest.approx(1.312)
    assert sheet.ampacity_a == 35  # 105 °C
    warm = size_wire(10, 20, supply_v=12, drop_pct=11, ambient_c=50, bundle=10, standard="iso10133")
    assert warm.ampacity_a == pytest.approx(35 * 0.86 * 0.6)


def test_33_cfr_183() -> None:
    sheet = size_wire(35, 5, standard="33cfr183")
    assert (sheet.size, sheet.ampacity_a, sheet.limit) == ("14 AWG", 35, "heat")
    warm = size_wire(29, 5, ambient_c=50, standard="33cfr183")
    assert (warm.size, warm.ampacity_a) == ("14 AWG", pytest.approx(29.75))
    assert size_wire(1, 5, standard="33cfr183").size == "16 AWG"


@pytest.mark.parametrize(
    ("volts", "feet", "size", "drop"),  # AC 43.13-1B tables 11-7 and 11-8, 20 A
    [(1, 107, "6", 0.9416), (4, 88, "12", 3.555), (7, 100, "14", 6.12), (1, 39, "10", 0.983), (0.5, 19.5, "10", 0.491),
     (4, 156, "10", 3.931), (7, 273, "10", 6.880)],
)  # fmt: skip
def test_ac_43_13_tables_11_7_and_11_8(volts: float, feet: float, size: str, drop: float) -> None:
    sheet = size_wire(20, feet * FT, supply_v=28, drop_pct=volts / 28 * 100, standard="ac43-13")
    assert sheet.size == f"{size} AWG"
    assert sheet.drop_v == pytest.approx(drop, rel=0.001)


def test_ac_43_13_first_example() -> None:
    """50 ft, 20 A, 28 V, continuous: No. 8."""
    assert size_wire(20, 50 * FT, supply_v=28, standard="ac43-13").size == "8 AWG"


def test_ac_43_13_bundled() -> None:
    sheet = size_wire(7, 1, supply_v=28, bundle=33, ambient_c=70, insulation_key="thin-wall-D", standard="ac43-13")
    assert (sheet.size, sheet.ampacity_a) == ("20 AWG", 7)


def test_model_uses_resistance_at_temperature() -> None:
    sheet = size_wire(10, 6.4, supply_v=12, drop_pct=3)
    assert sheet.temp_c is not None
    assert sheet.drop_v == pytest.approx(10 * 6.4 * 0.00471 * (1 + 0.00393 * (sheet.temp_c - 20)))
    assert (sheet.size, sheet.limit) == ("4 mm²", "drop")


@settings(deadline=None)  # the first example reads the tables
@given(st.sampled_from(STANDARDS), st.floats(0.1, 60), st.floats(0.1, 20), st.floats(2, 15), st.integers(1, 30))
def test_answers_hold_what_they_promise(standard: str, amps: float, loop: float, pct: float, bundle: int) -> None:
    try:
        sheet = size_wire(amps, loop, drop_pct=pct, bundle=bundle, standard=standard)
    except InputError as refused:
        if "large enough" in str(refused):
            return
        raise
    assert sheet.ampacity_a >= amps - 1e-6
    assert sheet.drop_v <= 12 * pct / 100 + 1e-6
    more = size_wire(amps * 0.5, loop, drop_pct=pct, bundle=bundle, standard=standard)
    assert more.area_mm2 <= sheet.area_mm2


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf, 1e9])
def test_bad_current(bad: float) -> None:
    with pytest.raises(InputError, match="current_a"):
        size_wire(bad, 5)


def test_refusals_name_the_remedy() -> None:
    with pytest.raises(InputError, match="use the model"):
        size_wire(5, 5, ambient_c=85, standard="abyc-e11")
    with pytest.raises(InputError, match="choose one of"):
        size_wire(5, 5, standard="none")
    with pytest.raises(InputError, match="large enough for the current"):
        size_wire(1900, 1, standard="iso10133")
