"""Short-circuit limits against published values."""

import pytest

from pinmap.core.electrics import adiabatic as a
from pinmap.core.electrics.aircraft import estimated_temperature_c, pressure_pa, shortened_run
from pinmap.core.errors import InputError, TableGap
from pinmap.core.facts.conductors import awg_area_mm2


@pytest.mark.parametrize(("start", "end", "k"), [(70, 160, 115), (90, 250, 143), (60, 200, 141), (85, 220, 134)])
def test_k_of_iec_60364_5_54(start: float, end: float, k: float) -> None:
    assert a.k_factor(start, end) == pytest.approx(k, rel=0.005)


@pytest.mark.parametrize(
    ("start", "end", "k"), [(105, 160, 87.4), (105, 250, 134.6), (125, 250, 123.3), (20, 1083, 289.4)]
)
def test_k_between_other_temperatures(start: float, end: float, k: float) -> None:
    assert a.k_factor(start, end) == pytest.approx(k, rel=0.005)


def test_k_of_aluminium() -> None:
    assert a.k_factor(90, 250, "aluminium") == pytest.approx(94, rel=0.01)


def test_time_and_current_are_inverse() -> None:
    seconds = a.withstands_s(1.5, 200, 70, 160)
    assert seconds == pytest.approx((115 * 1.5 / 200) ** 2, rel=0.01)  # 0.744 s
    assert a.withstands_a(1.5, seconds, 70, 160) == pytest.approx(200)
    assert a.adiabatic_rise_k(1.5, 200, seconds, 70) == pytest.approx(90)


def test_iec_60949() -> None:
    assert a.iec60949_a(10, 1, 90, 250) == pytest.approx(a.withstands_a(10, 1, 90, 250), rel=0.002)


def test_onderdonk_has_the_right_sign() -> None:
    cmil = a.area_cmil(awg_area_mm2("16"))
    assert cmil == pytest.approx(2583, rel=0.001)
    assert a.onderdonk_a(2581, 5) == pytest.approx(168.9, rel=0.001)  # a copied form prints 178
    assert a.onderdonk_a(a.area_cmil(awg_area_mm2("10")), 0.032) == pytest.approx(8491, rel=0.002)


def test_preece() -> None:
    assert a.preece_a(0.0508 * 25.4) == pytest.approx(117.4, rel=0.002)
    assert a.preece_a(0.0524 * 25.4) == pytest.approx(123, rel=0.002)


def test_refusals() -> None:
    with pytest.raises(InputError, match="above the 70"):
        a.k_factor(70, 60)
    with pytest.raises(TableGap, match="copper"):
        a.k_factor(70, 160, "gold")
    with pytest.raises(InputError, match="altitude"):
        pressure_pa(90000)


def test_rules_of_ac_43_13() -> None:
    """Example 2: 182 °C and 9.47 ft; US Standard Atmosphere at 20 000 and 60 000 ft."""
    warm = estimated_temperature_c(50, 200, 20, 26)
    assert warm == pytest.approx(181.6, abs=0.1)
    assert shortened_run(15.5, 182) == pytest.approx(9.47, abs=0.01)
    assert shortened_run(10, 20, "aluminium") == pytest.approx(10)
    assert pressure_pa(0) == pytest.approx(101325)
    assert pressure_pa(20000) == pytest.approx(46563, rel=0.002)
    assert pressure_pa(60000) == pytest.approx(7172, rel=0.005)
