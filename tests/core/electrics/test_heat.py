"""The heat balance against textbook air, the `ht` library and published ampacities."""

import ht
import numpy as np
import pytest
from ht.conv_free_immersed import Nu_horizontal_cylinder_Churchill_Chu
from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.electrics import heat
from pinmap.core.electrics.heat import WireHeat, ampacity_a, bundle_factors, temperature_c, wire_heat


def one(*values: float) -> np.ndarray:
    return np.array(values, dtype=float)


@pytest.mark.parametrize("rayleigh", [0.01, 1.0, 7.0, 700.0, 7070.0, 1.8e9])
def test_nusselt_is_churchill_chu_of_the_ht_library(rayleigh: float) -> None:
    assert heat.nusselt(one(rayleigh))[0] == pytest.approx(
        Nu_horizontal_cylinder_Churchill_Chu(0.707, rayleigh / 0.707), rel=1e-9
    )


@pytest.mark.parametrize(
    ("kelvin", "k", "nu"),  # Incropera table A.4
    [(300, 26.3e-3, 15.89e-6), (350, 30.0e-3, 20.92e-6), (400, 33.8e-3, 26.41e-6), (450, 37.3e-3, 32.39e-6)],
)
def test_air_against_textbook(kelvin: float, k: float, nu: float) -> None:
    found_k, found_nu = heat.air(one(kelvin))
    assert found_k[0] == pytest.approx(k, rel=0.015)
    assert found_nu[0] == pytest.approx(nu, rel=0.025)  # the table's own density is 1.3 % below the ideal gas


def test_surface_heat_is_the_sum_of_two_ht_results() -> None:
    d, ts, ta = 3e-3, 120.0, 40.0
    film_k = (ts + ta) / 2 + 273.15
    k, nu = (float(x[0]) for x in heat.air(one(film_k)))
    grashof = 9.80665 / film_k * (ts - ta) * d**3 / nu**2
    h = Nu_horizontal_cylinder_Churchill_Chu(0.707, grashof) * k / d
    expected = np.pi * d * (h * (ts - ta) + ht.q_rad(0.9, ts + 273.15, ta + 273.15))
    assert heat.given_off_w_per_m(one(d), one(ts), one(ta))[0] == pytest.approx(expected, rel=1e-6)


def test_free_air_14_awg_of_the_aircraft_curve() -> None:
    """AC 43.13-1B par. 11-67: No. 14, 200 °C conductor in 50 °C air carries 47 A."""
    wire = WireHeat(one(1.75e-3), one(2.6e-3), one(3.06e-3 / 0.3048), one(0.2), one(200.0))
    assert ampacity_a(wire, one(50.0), one(1.0))[0] == pytest.approx(47, rel=0.06)


@pytest.mark.parametrize(("conductor", "od", "ohm_kft", "published"), [(1.75, 2.6, 3.06, 35), (1.2, 2.1, 6.23, 20)])
def test_105_degree_wires_of_the_boat_tables(conductor: float, od: float, ohm_kft: float, published: float) -> None:
    """33 CFR 183.425 and ABYC E-11 at 30 °C; the tables allow for two wires together, so they lie lower."""
    wire = WireHeat(one(conductor / 1000), one(od / 1000), one(ohm_kft / 1000 / 0.3048), one(0.2), one(105.0))
    assert ampacity_a(wire, one(30.0), one(1.0))[0] == pytest.approx(published, rel=0.12)


@given(
    st.sampled_from([0.35, 0.5, 1.0, 2.5, 6.0, 16.0, 50.0]),
    st.sampled_from(["thin-wall-A", "thin-wall-B", "thin-wall-C", "thin-wall-D"]),
    st.floats(-40, 80),
    st.sampled_from([1.0, 0.7, 0.4]),
)
def test_ampacity_and_temperature_are_inverse(mm2: float, key: str, ambient: float, factor: float) -> None:
    wires = wire_heat([(mm2, key)])
    amps = ampacity_a(wires, one(ambient), one(factor))
    assert temperature_c(wires, amps, one(ambient), one(factor))[0] == pytest.approx(wires.max_temp_c[0], abs=0.1)


@given(st.lists(st.tuples(st.floats(0, 40), st.floats(-40, 120)), min_size=1, max_size=20))
def test_temperature_solves_the_balance(cases: list[tuple[float, float]]) -> None:
    wires = wire_heat([(2.5, "thin-wall-C")] * len(cases))
    amps, ambient = np.array([c[0] for c in cases]), np.array([c[1] for c in cases])
    temp = temperature_c(wires, amps, ambient, np.ones(len(cases)))
    assert np.all(temp >= ambient - 1e-9)
    watts = amps**2 * wires.r20_ohm_per_m * (1 + 0.00393 * (temp - 20))
    surface = temp - watts * wires.wall_k_m_per_w
    off = heat.given_off_w_per_m(wires.outside_m, surface, ambient)
    assert off == pytest.approx(watts, rel=1e-3, abs=2e-3)


def test_absurd_current_ends_at_melting_copper_and_not_at_nan() -> None:
    wires = wire_heat([(0.5, "thin-wall-C")])
    assert temperature_c(wires, one(1e5), one(20.0), one(1.0))[0] == pytest.approx(1084.6)


def test_no_rating_in_air_as_hot_as_the_insulation() -> None:
    wires = wire_heat([(0.5, "thin-wall-A")])
    assert ampacity_a(wires, one(90.0), one(1.0))[0] == 0


def test_bundle_factors_of_e11() -> None:
    assert bundle_factors(np.array([0, 1, 2, 3, 4, 6, 7, 24, 25, 300])).tolist() == [
        1.0, 1.0, 1.0, 0.7, 0.6, 0.6, 0.5, 0.5, 0.4, 0.4,
    ]  # fmt: skip
