"""Columns of a pinout that say how a load, a source or a resistor behind a pin behaves; read with errors that name
the column."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from pinmap.core.errors import InputError
from pinmap.core.facts.functions import STATES
from pinmap.core.model.pinouts import Pin


@dataclass(frozen=True, slots=True)
class TypedColumn:
    """A column that the electrical checks understand. ``unit`` "" marks a text."""

    name: str
    unit: str
    help: str


LOAD_COLUMNS: tuple[TypedColumn, ...] = (
    TypedColumn("load_model", "", "amperes, watts, ohms, duty, coil, injector, pump, motor, glow plug or lamp"),
    TypedColumn(
        "load_value", "A, W or ohm",
        "amperes for amperes, duty and motor; watts for watts, glow plug and lamp; ohms for ohms and injector",
    ),
    TypedColumn("load_at_v", "V", "voltage at which load_value holds; 13.5 where nothing is said (27 at 24 V)"),
    TypedColumn("load_states", "", f"letters of the load cases in which it is on: {STATES}"),
    TypedColumn("load_duty_pct", "%", "duty: share of the time for which the output is on"),
    TypedColumn("load_rpm", "1/min", "coil and injector: engine speed"),
    TypedColumn("load_per_turn", "1", "coil and injector: pulses for each turn of the crank; 0.5 when not said"),
    TypedColumn("load_pulse_ms", "ms", "injector: pulse width"),
    TypedColumn("load_dwell_ms", "ms", "coil: time for which the primary is charged"),
    TypedColumn("load_peak_a", "A", "coil: current at the end of the dwell"),
    TypedColumn("load_mh", "mH", "coil: primary inductance, with load_ohm, in place of dwell or peak"),
    TypedColumn("load_ohm", "ohm", "coil: primary resistance"),
    TypedColumn("load_flow_l_h", "l/h", "pump: flow"),
    TypedColumn("load_pressure_bar", "bar", "pump: pressure"),
    TypedColumn("load_efficiency_pct", "%", "pump: hydraulic power by electrical power"),
    TypedColumn("load_inrush_a", "A", "motor, glow plug, lamp: starting, stall or cold current"),
    TypedColumn("load_inrush_s", "s", "how long that lasts"),
    TypedColumn("load_least_v", "V", "least voltage at which it works, in place of the shop's per cent of supply"),
    TypedColumn("load_on_s", "s", "how long it stays on each time; without it the load counts as steady"),
    TypedColumn("load_period_s", "s", "from one switching on to the next; without it, on once"),
)  # fmt: skip

SOURCE_COLUMNS: tuple[TypedColumn, ...] = (
    TypedColumn("battery_ohm", "ohm", "host supply: internal resistance; without it the load case's voltage is held"),
    TypedColumn("battery_v", "V", "host supply: rest voltage, which helps an overloaded alternator"),
    TypedColumn("battery_charge_pct", "%", "host supply: state of charge, in place of battery_v"),
    TypedColumn("alternator_max_a", "A", "alternator's output: its limit, in place of the pin's current"),
    TypedColumn("chassis_ohm", "ohm", "ground that is a way back: resistance from here to battery minus"),
    TypedColumn("pull_up_ohm", "ohm", "control unit's input: resistor inside to pull_up_v"),
    TypedColumn("pull_up_v", "V", "voltage of that resistor: 5 where nothing is said, 12 the unit's own supply"),
    TypedColumn("terminator_ohm", "ohm", "bus pin: terminator inside the platform to the other line of the pair"),
)  # fmt: skip

_BY_NAME: Mapping[str, TypedColumn] = MappingProxyType({c.name: c for c in (*LOAD_COLUMNS, *SOURCE_COLUMNS)})
_NUMBER = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,2})?)\s*(.*)")
_SHORT = 80  # characters; no number is longer
_MOST = 1e9


@dataclass(frozen=True, slots=True)
class Typed:
    """What one component's pins say in those columns."""

    values: Mapping[str, str]

    def __bool__(self) -> bool:
        return bool(self.values)

    def text(self, name: str) -> str:
        return self.values.get(name, "")

    def number(self, name: str, state: str = "", *, default: float | None = None, zero: bool = False) -> float:
        """A number that holds in ``state``, above 0 or also 0. Raises InputError that names the column."""
        found = self.by_state(name, zero=zero)
        value = found.get(state, found.get(""))
        if value is None:
            value = default
        if value is None:
            raise InputError(name, self.text(name), f"this load model needs it, in {_BY_NAME[name].unit}")
        return value

    def given(self, name: str) -> bool:
        return name in self.values

    def states_named(self) -> str:
        """Letters of the cases that any column gives a value of its own, in the usual order."""
        named: set[str] = set()
        for name in self.values:
            if _BY_NAME[name].unit and "=" in self.values[name]:
                named |= set(self.by_state(name, zero=True))
        return "".join(s for s in STATES if s in named)

    def by_state(self, name: str, *, zero: bool = False) -> dict[str, float]:
        """Case letter -> number; "" stands for every case. Written ``5.5`` or ``I=2; F=8.5``."""
        text = self.text(name)
        if not text:
            return {}
        if "=" not in text:
            return {"": _number(name, text, zero)}
        out: dict[str, float] = {}
        for part in filter(None, (p.strip() for p in text.split(";"))):
            letters, _, number = part.partition("=")
            letters = letters.strip().upper()
            if not letters or set(letters) - set(STATES):
                raise InputError(name, text, f"write one number, or numbers by load case such as I=2; F=8.5 ({STATES})")
            for letter in letters:
                out[letter] = _number(name, number.strip(), zero)
        return out


def typed(*pins: Pin) -> Typed:
    """What these pins say in the columns above; the first that says something counts. Headings differ in case and
    spacing only."""
    values: dict[str, str] = {}
    for pin in pins:
        for heading, text in pin.extra:
            name = heading.strip().casefold().replace(" ", "_")
            if name in _BY_NAME and text.strip():
                values.setdefault(name, text.strip())
    return Typed(values)


def _number(name: str, text: str, zero: bool) -> float:
    unit = _BY_NAME[name].unit
    found = _NUMBER.fullmatch(text) if len(text) <= _SHORT else None
    units = {u.casefold() for u in re.split(r", | or ", unit)} | ({"ω", "ohms"} if "ohm" in unit else set())
    if found is None or (found[2] and found[2].casefold() not in units):
        raise InputError(name, text, f"write one number in {unit}, such as 5.5")
    value = float(found[1].replace(",", "."))
    if value < 0 or (value == 0 and not zero):
        raise InputError(name, text, "it must not be below 0" if zero else "it must be above 0")
    if not value <= _MOST:
        raise InputError(name, text, "that is beyond anything in a vehicle")
    return value


def number_or_none(pin_values: Typed, name: str) -> float | None:
    """A number that may be left out; "none" says so in words. Raises InputError."""
    text = pin_values.text(name)
    if not text or text.casefold() in {"none", "no", "-"}:
        return None
    return pin_values.number(name, zero=True)
