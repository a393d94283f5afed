"""How much a load draws, from what people know of it.

Each model gives one of three laws: a constant current, a constant resistance, or a constant power. Formulas: Joule's
and Ohm's laws; pump P = Q·Δp/η; coil charge I(t) = U/R·(1 - e^(-tR/L)); a coil's mean supply current is half its peak
over the dwell (linear ramp), an injector's and a pulse-width output's the full current times its duty.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from pinmap.core.electrics.typed import Typed
from pinmap.core.errors import InputError
from pinmap.core.facts.circuit import FILAMENT_COLD_RATIO, FILAMENT_INRUSH_S
from pinmap.core.facts.functions import STATES

PA_PER_BAR, L_PER_M3, S_PER_H = 1e5, 1e3, 3600.0


class Law(StrEnum):
    """What stays the same while the voltage changes."""

    CURRENT = "constant current"
    RESISTANCE = "constant resistance"
    POWER = "constant power"


@dataclass(frozen=True, slots=True)
class Draw:
    """What a load draws in one state: ``value`` [A, ohm or W by law]; ``rms_factor`` is the root-mean-square over the
    mean current of a pulsed load; ``formula`` in words and numbers. On for on_s in every period_s [s]; on_s 0 is a
    steady load."""

    law: Law
    value: float
    formula: str = ""
    rms_factor: float = 1.0
    on_s: float = 0.0
    period_s: float = math.inf

    def current_a(self, volts: float) -> float:
        """Mean current at this voltage [A]."""
        if self.law is Law.CURRENT:
            return self.value
        return volts / self.value if self.law is Law.RESISTANCE else self.value / volts


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadModel:
    """A load as typed. ``draws`` by case letter, "" where one holds in all; inrush_a for inrush_s on switching on."""

    name: str
    draws: Mapping[str, Draw] = field(default_factory=dict)
    states: str = ""
    computed: bool = False  # else the very value was typed
    at_v: float = 13.5
    inrush_a: float | None = None
    inrush_s: float | None = None
    inrush_from: str = ""


def pump_w(flow_l_h: float, pressure_bar: float, efficiency: float) -> float:
    """Electrical power of a pump [W]: P = Q·Δp/η."""
    return flow_l_h / L_PER_M3 / S_PER_H * pressure_bar * PA_PER_BAR / efficiency


def coil_dwell_s(inductance_h: float, resistance_ohm: float, peak_a: float, supply_v: float) -> float:
    """Time to charge a coil to a current [s]: -(L/R)·ln(1 - I·R/U). Raises InputError if it never gets there."""
    share = peak_a * resistance_ohm / supply_v
    if share >= 1:
        most = supply_v / resistance_ohm
        raise InputError(
            "load_peak_a", f"{peak_a:g}", f"{supply_v:g} V through {resistance_ohm:g} ohm gives {most:.3g} A"
        )
    return -inductance_h / resistance_ohm * math.log1p(-share)


def coil_peak_a(inductance_h: float, resistance_ohm: float, dwell_s: float, supply_v: float) -> float:
    """Current at the end of the dwell [A]: U/R·(1 - e^(-tR/L))."""
    return supply_v / resistance_ohm * -math.expm1(-dwell_s * resistance_ohm / inductance_h)


def coil_mean_a(peak_a: float, dwell_s: float, pulses_per_s: float) -> tuple[float, float]:
    """Mean and root-mean-square supply current of a coil charged in a linear ramp [A]. Raises InputError if one dwell
    begins before the last has ended."""
    duty = _duty(dwell_s, pulses_per_s, "load_dwell_ms")
    return 0.5 * peak_a * duty, peak_a * math.sqrt(duty / 3)


def pulses_per_s(rpm: float, per_turn: float = 0.5) -> float:
    """Pulses a second at an engine speed; one for every two turns of a four-stroke's crank."""
    return rpm / 60 * per_turn


def pulse_duty(pulse_s: float, rate: float) -> float:
    """Share of the time that pulses of this width fill. Raises InputError above 1."""
    return _duty(pulse_s, rate, "load_pulse_ms")


def _duty(width_s: float, rate: float, column: str) -> float:
    duty = width_s * rate
    if duty > 1 + 1e-9:
        raise InputError(
            column, f"{width_s * 1000:g}", f"at {rate:.3g} pulses a second a pulse has {1000 / rate:.3g} ms"
        )
    return min(duty, 1.0)


def read_model(said: Typed, nominal_v: float) -> LoadModel | None:
    """The load model that a component's pins name, None where they name none. Raises InputError that names the
    column."""
    name = said.text("load_model").casefold().replace("_", " ").replace("-", " ")
    if not name:
        stray = next((c for c in said.values if c.startswith("load_") and c not in _ALONE), None)
        if stray is not None:
            raise InputError(
                "load_model", "", f"{stray} is given, so say which model it belongs to: {', '.join(MODELS)}"
            )
        return None
    if name not in MODELS:
        raise InputError("load_model", said.text("load_model"), f"choose one of {', '.join(MODELS)}")
    states = typed_states(said)
    at_v = said.number("load_at_v", default=13.5 * nominal_v / 12)
    named = said.states_named()
    draws = {letter: _paused(MODELS[name](said, letter, at_v), said, letter) for letter in (named or ("",))}
    model = LoadModel(name=name, draws=draws, states=states or named, computed=name in _COMPUTED, at_v=at_v)
    return _with_inrush(model, said)


def _paused(draw: Draw, said: Typed, state: str) -> Draw:
    """With the rhythm of an intermittent load, where one was typed."""
    if not said.given("load_on_s"):
        if said.given("load_period_s"):
            raise InputError("load_on_s", "", "load_period_s says how often it comes on; say for how long")
        return draw
    on_s = said.number("load_on_s", state)
    period_s = said.number("load_period_s", state, default=math.inf)
    if period_s < on_s:
        raise InputError("load_period_s", said.text("load_period_s"), f"it is on for {on_s:g} s; the period is longer")
    every = "once" if math.isinf(period_s) else f"in every {period_s:g} s"
    return replace(draw, on_s=on_s, period_s=period_s, formula=f"{draw.formula}; on for {on_s:g} s {every}")


def typed_states(said: Typed) -> str:
    """Letters of the load cases that a component's pins name; "" for none. Raises InputError for any other letter."""
    states = "".join(dict.fromkeys(said.text("load_states").upper().replace(" ", "").replace(",", "")))
    if set(states) - set(STATES):
        raise InputError("load_states", said.text("load_states"), f"use letters of {STATES}")
    return states


def _with_inrush(model: LoadModel, said: Typed) -> LoadModel:
    if said.given("load_inrush_a"):
        amps = said.number("load_inrush_a")
        usual = max(d.current_a(model.at_v) for d in model.draws.values())
        if amps < usual:
            raise InputError("load_inrush_a", said.text("load_inrush_a"), f"it is below the {usual:.3g} A of running")
        return replace(model, inrush_a=amps, inrush_s=said.number("load_inrush_s", default=1.0), inrush_from="typed")
    if said.given("load_inrush_s"):
        raise InputError("load_inrush_a", "", "load_inrush_s says how long an inrush lasts; say how great it is")
    if model.name == "lamp":
        hot = max(d.current_a(model.at_v) for d in model.draws.values())
        return replace(
            model, inrush_a=hot * FILAMENT_COLD_RATIO.value, inrush_s=FILAMENT_INRUSH_S.value,
            inrush_from=f"{FILAMENT_COLD_RATIO.value:g} times the hot current ({FILAMENT_COLD_RATIO.source})",
        )  # fmt: skip
    return model


def _amperes(said: Typed, state: str, _: float) -> Draw:
    amps = said.number("load_value", state, zero=True)
    return Draw(Law.CURRENT, amps, f"{amps:g} A")


def _watts(said: Typed, state: str, _: float) -> Draw:
    watts = said.number("load_value", state)
    return Draw(Law.POWER, watts, f"I = P/U with P = {watts:g} W")


def _ohms(said: Typed, state: str, _: float) -> Draw:
    ohm = said.number("load_value", state)
    return Draw(Law.RESISTANCE, ohm, f"I = U/R with R = {ohm:g} ohm")


def _heated(said: Typed, state: str, at_v: float) -> Draw:
    watts = said.number("load_value", state)
    return Draw(Law.RESISTANCE, at_v**2 / watts, f"R = U²/P = ({at_v:g} V)²/{watts:g} W = {at_v**2 / watts:.4g} ohm")


def _pulse_width(said: Typed, state: str, at_v: float) -> Draw:
    amps, duty = said.number("load_value", state), said.number("load_duty_pct", state) / 100
    if duty > 1:
        raise InputError("load_duty_pct", said.text("load_duty_pct"), "a duty is at most 100 %")
    return Draw(
        Law.RESISTANCE, at_v / (amps * duty),
        f"mean of {amps:g} A at {at_v:g} V, {100 * duty:g} % of the time: {amps * duty:.4g} A", 1 / math.sqrt(duty),
    )  # fmt: skip


def _injector(said: Typed, state: str, _: float) -> Draw:
    ohm, width = said.number("load_value", state), said.number("load_pulse_ms", state) / 1000
    rate = pulses_per_s(said.number("load_rpm", state), said.number("load_per_turn", state, default=0.5))
    duty = pulse_duty(width, rate)
    words = f"mean of U/{ohm:g} ohm, {1000 * width:g} ms at {rate:.4g} pulses a second: duty {100 * duty:.3g} %"
    return Draw(Law.RESISTANCE, ohm / duty, words, 1 / math.sqrt(duty))


def _coil(said: Typed, state: str, at_v: float) -> Draw:
    rate = pulses_per_s(said.number("load_rpm", state), said.number("load_per_turn", state, default=0.5))
    if said.given("load_peak_a") and said.given("load_dwell_ms"):
        peak, dwell = said.number("load_peak_a", state), said.number("load_dwell_ms", state) / 1000
    else:
        henry, ohm = said.number("load_mh", state) / 1000, said.number("load_ohm", state)
        if said.given("load_peak_a"):
            peak = said.number("load_peak_a", state)
            dwell = coil_dwell_s(henry, ohm, peak, at_v)
        else:
            dwell = said.number("load_dwell_ms", state) / 1000
            peak = coil_peak_a(henry, ohm, dwell, at_v)
    mean, rms = coil_mean_a(peak, dwell, rate)
    words = f"½·{peak:.3g} A·{1000 * dwell:.3g} ms·{rate:.4g}/s = {mean:.4g} A, root mean square {rms:.4g} A"
    return Draw(Law.CURRENT, mean, words, rms / mean)


def _pump(said: Typed, state: str, _: float) -> Draw:
    flow, bar = said.number("load_flow_l_h", state), said.number("load_pressure_bar", state)
    share = said.number("load_efficiency_pct", state) / 100
    if share > 1:
        raise InputError("load_efficiency_pct", said.text("load_efficiency_pct"), "an efficiency is at most 100 %")
    watts = pump_w(flow, bar, share)
    return Draw(Law.POWER, watts, f"P = Q·Δp/η = {flow:g} l/h · {bar:g} bar / {100 * share:g} % = {watts:.4g} W")


MODELS = {
    "amperes": _amperes,
    "watts": _watts,
    "ohms": _ohms,
    "duty": _pulse_width,
    "coil": _coil,
    "injector": _injector,
    "pump": _pump,
    "motor": _amperes,
    "glow plug": _heated,
    "lamp": _heated,
}
_ALONE = frozenset({"load_states", "load_least_v"})  # columns that need no load model
_COMPUTED = frozenset({"duty", "coil", "injector", "pump", "glow plug", "lamp"})
