"""Load models against published worked values; errors that name the column."""

import pytest

from pinmap.core.electrics.check import check
from pinmap.core.electrics.load_models import (
    Law,
    coil_dwell_s,
    coil_mean_a,
    coil_peak_a,
    pulse_duty,
    pulses_per_s,
    pump_w,
    read_model,
)
from pinmap.core.electrics.typed import Typed
from pinmap.core.errors import InputError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.words import Direction, Kind
from tests.factories_electrics import bench_loom, say


def test_published_worked_values() -> None:
    assert pump_w(255, 2.757903, 0.30) / 13.5 == pytest.approx(4.82, rel=5e-3)  # 40 psi
    assert pump_w(100, 3, 0.25) / 12 == pytest.approx(2.78, rel=5e-3)
    assert coil_dwell_s(7.5e-3, 0.45, 5.5, 12) == pytest.approx(3.85e-3, rel=1e-3)
    assert coil_dwell_s(3e-3, 0.5, 6, 14) == pytest.approx(1.447e-3, rel=1e-3)
    assert coil_peak_a(3e-3, 0.5, coil_dwell_s(3e-3, 0.5, 6, 14), 14) == pytest.approx(6)
    mean, rms = coil_mean_a(6, 3e-3, pulses_per_s(6000))
    assert (4 * mean, rms) == (pytest.approx(1.80), pytest.approx(1.342, rel=1e-3))
    assert pytest.approx(14 / (12 / pulse_duty(0.016, pulses_per_s(6000))), rel=1e-9) == 14 / 12 * 0.80


@pytest.mark.parametrize(
    ("said", "law", "value"),
    [
        ({"load_model": "amperes", "load_value": "2,5 A"}, Law.CURRENT, 2.5),
        ({"load_model": "watts", "load_value": "40"}, Law.POWER, 40),
        ({"load_model": "Ohms", "load_value": "8 Ω"}, Law.RESISTANCE, 8),
        ({"load_model": "lamp", "load_value": "55", "load_at_v": "13.2"}, Law.RESISTANCE, 3.168),
        ({"load_model": "duty", "load_value": "6", "load_duty_pct": "50"}, Law.RESISTANCE, 4.5),
    ],
)
def test_laws(said: dict[str, str], law: Law, value: float) -> None:
    model = read_model(Typed(said), 12.0)
    assert model is not None
    assert (model.draws[""].law, model.draws[""].value) == (law, pytest.approx(value))


@pytest.mark.parametrize(
    ("said", "column"),
    [
        ({"load_model": "magic"}, "load_model"),
        ({"load_value": "3"}, "load_model"),
        ({"load_model": "watts", "load_value": "-3"}, "load_value"),
        ({"load_model": "watts", "load_value": "nan"}, "load_value"),
        ({"load_model": "amperes", "load_value": "Q=3"}, "load_value"),
        ({"load_model": "watts"}, "load_value"),
        ({"load_model": "watts", "load_value": "3", "load_states": "KX"}, "load_states"),
        ({"load_model": "duty", "load_value": "3", "load_duty_pct": "130"}, "load_duty_pct"),
        ({"load_model": "pump", "load_flow_l_h": "1", "load_pressure_bar": "1", "load_efficiency_pct": "120"},
         "load_efficiency_pct"),
        ({"load_model": "coil", "load_peak_a": "6", "load_dwell_ms": "30", "load_rpm": "6000"}, "load_dwell_ms"),
        ({"load_model": "coil", "load_peak_a": "60", "load_mh": "3", "load_ohm": "0.5", "load_rpm": "600"},
         "load_peak_a"),
        ({"load_model": "motor", "load_value": "7", "load_inrush_a": "2"}, "load_inrush_a"),
        ({"load_model": "motor", "load_value": "7", "load_inrush_s": "2"}, "load_inrush_a"),
    ],
)  # fmt: skip
def test_errors_name_the_column(said: dict[str, str], column: str) -> None:
    with pytest.raises(InputError) as error:
        read_model(Typed(said), 12.0)
    assert error.value.field == column


def report_of(**said: str):  # type: ignore[no-untyped-def]  # test helper
    m = bench_loom()
    m.pin("h:C1-1", Kind.SUPPLY_30, Direction.OUT, mm2=1.0)
    m.pin("h:C1-2", Kind.GROUND, Direction.OUT, mm2=1.0)
    m.pin("d:C1-1", Kind.HIGH_SIDE, Direction.IN, component="part")
    m.pin("d:C1-2", Kind.GROUND, Direction.IN, component="part")
    say(m, "d:C1-1", **said)
    m.signal("h:C1-1", "d:C1-1", mm2=1.0)
    m.signal("d:C1-2", "h:C1-2", mm2=1.0)
    s = m.snapshot()
    v = s.variants[0]
    return check(s, v, route(s, v, Dictionary()), Dictionary())


def test_the_report_tells_the_origins_apart_and_gives_what_flows() -> None:
    typed = report_of(load_model="watts", load_value="60")
    state = next(x for x in typed.loads if x.case == "idle")
    assert state.origin == "typed"
    assert state.current_a * state.voltage_v == pytest.approx(60, rel=1e-6)
    lamp = report_of(load_model="lamp", load_value="55").loads[0]
    assert lamp.origin == "computed"
    assert lamp.current_a == pytest.approx(lamp.voltage_v / (13.5**2 / 55))
    assert lamp.inrush_a is not None
    by_case = {x.case: x.current_a for x in report_of(load_model="amperes", load_value="I=2; F=8").loads}
    assert by_case == {"idle": 2.0, "full-load": 8.0}


@pytest.mark.parametrize("law", ["watts", "amperes"])
def test_a_load_that_the_way_cannot_carry_is_named(law: str) -> None:
    report = report_of(load_model=law, load_value="2000")
    assert not report.loads
    assert {u.load for u in report.unfed} == {"d:part"}
    assert all(("collapses" if law == "watts" else "cannot carry") in u.why for u in report.unfed)
    assert all(v == v for points in report.voltage_v.values() for v in points.values())


def test_what_cannot_be_read_is_said_and_stops_nothing() -> None:
    report = report_of(load_model="watts", load_value="many")
    assert report.unknown == ("d:part",)
    assert "load_value" in report.problems[0][1]
