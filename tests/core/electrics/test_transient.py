"""Heating over time: its two limits, and IEC 60949 in between."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.core.electrics import transient as t
from pinmap.core.electrics.adiabatic import adiabatic_rise_k, iec60949_a, iec60949_heat_loss_factor
from pinmap.core.electrics.heat import ampacity_a, temperature_c, wire_heat

ONE = np.ones(1)


def metal_area_mm2(mm2: float, key: str = "thin-wall-C") -> float:
    return float(1 / 58 / wire_heat([(mm2, key)]).r20_ohm_per_m[0])


@pytest.mark.parametrize("mm2", [0.5, 2.5, 16.0])
def test_a_very_short_pulse_is_adiabatic(mm2: float) -> None:
    wire = wire_heat([(mm2, "thin-wall-C")])
    area = metal_area_mm2(mm2)
    amps, seconds = 900.0 * area, 0.002
    rise = t.heating(wire, amps * ONE, 25 * ONE, seconds).core_c[-1, 0] - 25
    assert rise == pytest.approx(adiabatic_rise_k(area, amps, seconds, 25), rel=0.03)


@given(st.sampled_from([0.5, 1.0, 4.0, 25.0]), st.floats(2, 2000), st.floats(0.01, 100))
@settings(deadline=None, max_examples=30)
def test_no_pulse_heats_more_than_adiabatically(mm2: float, density: float, seconds: float) -> None:
    wire = wire_heat([(mm2, "thin-wall-C")])
    area = metal_area_mm2(mm2)
    found = t.heating(wire, density * area * ONE, 25 * ONE, seconds).core_c[:, 0]
    assert np.all(np.isfinite(found))
    assert np.all(np.diff(found) > -1e-6)
    assert found[-1] - 25 <= adiabatic_rise_k(area, density * area, seconds, 25) * 1.02 + 0.01


@pytest.mark.parametrize("amps", [5.0, 20.0, 35.0])
def test_for_ever_is_the_steady_balance(amps: float) -> None:
    wire = wire_heat([(2.5, "thin-wall-C")])
    steady = temperature_c(wire, amps * ONE, 40 * ONE, ONE)[0]
    assert t.heating(wire, amps * ONE, 40 * ONE, 36000).core_c[-1, 0] == pytest.approx(steady, abs=0.05)


@pytest.mark.parametrize("seconds", [0.5, 1.0, 5.0])
def test_heat_into_the_wall_as_in_iec_60949(seconds: float) -> None:
    wire = wire_heat([(4.0, "pvc-A")])
    area = metal_area_mm2(4.0, "pvc-A")
    factor = iec60949_heat_loss_factor(area, seconds, 0.002, 0.17)
    amps = factor * iec60949_a(area, seconds, 70, 160)
    assert t.heating(wire, amps * ONE, 70 * ONE, seconds).core_c[-1, 0] == pytest.approx(160, abs=5)


def test_printed_x_and_y_of_iec_60949() -> None:
    """PVC up to 3 kV on copper: X 0.29 (mm²/s)^½, Y 0.06 mm²/s; volumetric heat 1.7e-3, 5 K·m/W."""
    one_second = iec60949_heat_loss_factor(1.0, 1.0, 0.0017, 0.2) ** 2 - 1
    hundred = iec60949_heat_loss_factor(1.0, 100.0, 0.0017, 0.2) ** 2 - 1
    y = (hundred - 10 * one_second) / 90
    assert y == pytest.approx(0.06, abs=0.002)
    assert one_second - y == pytest.approx(0.29, abs=0.005)


def test_time_to_reach() -> None:
    wires = wire_heat([(1.0, "thin-wall-C")] * 4)
    amps = np.array([10.0, 40.0, 80.0, 400.0])
    start, limit = np.full(4, 60.0), np.full(4, 150.0)
    found = t.time_to_reach_s(wires, amps, start, limit)
    assert np.isinf(found[0])
    assert found[1] > found[2] > found[3] > 0
    for amp, seconds in zip(amps[1:], found[1:], strict=True):
        one = t.heating(wires.take(np.array([0])), amp * ONE, 60 * ONE, float(seconds))
        assert one.core_c[-1, 0] == pytest.approx(150, abs=3)
    assert t.time_to_reach_s(wires, amps, start, limit, start_c=np.full(4, 151.0)).tolist() == [0, 0, 0, 0]


def test_melting_metal_stays_at_its_melting_point() -> None:
    wire = wire_heat([(0.5, "thin-wall-C")])
    found = t.heating(wire, 5000 * ONE, 20 * ONE, 1000)
    assert np.all(np.isfinite(found.core_c))
    assert found.core_c[-1, 0] == pytest.approx(1084.6)


def test_pulses() -> None:
    tau = 40 * ONE
    assert t.pulse_share(40 * ONE, np.inf * ONE, tau)[0] == pytest.approx(1 - np.exp(-1))
    assert t.pulse_share(10 * ONE, 10 * ONE, tau)[0] == pytest.approx(1)
    fast = t.lasting_current_a(10 * ONE, 0.0025 * ONE, 0.01 * ONE, tau)[0]
    assert fast == pytest.approx(10 * np.sqrt(0.25), rel=1e-3)  # root mean square of 25 % duty
    assert t.lasting_current_a(10 * ONE, 4000 * ONE, np.inf * ONE, tau)[0] == pytest.approx(10)


@pytest.mark.parametrize("mm2", [0.5, 2.5, 6.0, 25.0])
@pytest.mark.parametrize("on_s", [0.1, 1.0, 10.0, 60.0, 600.0])
def test_the_one_body_estimate_of_a_pulse_is_on_the_safe_side(mm2: float, on_s: float) -> None:
    """The current that the time constant allows for one pulse must not overheat the wire when solved ring by ring."""
    wire = wire_heat([(mm2, "thin-wall-C")])
    tau = t.time_constant_s(wire, 30 * ONE, wire.max_temp_c, on_s=on_s)
    amps = ampacity_a(wire, 30 * ONE, ONE) / np.sqrt(t.pulse_share(on_s * ONE, np.inf * ONE, tau))
    hottest = t.heating(wire, amps, 30 * ONE, on_s).core_c[-1, 0]
    assert 100 < hottest <= 125.5
