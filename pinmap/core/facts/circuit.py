"""Figures of batteries, alternators, diodes and filaments, and starting profiles, each with its source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from pinmap.core.errors import TableGap
from pinmap.core.facts.constants import Constant

THERMAL_V: Final = Constant(8.617333262e-5 * 300.15, "V", "kT/q at 27 °C, CODATA 2018")
DIODE_IDEALITY: Final = Constant(1.7, "1", "common practice: silicon rectifier")
DIODE_SATURATION_A: Final = Constant(1.2537e-8, "A", "chosen so that the junction has 0.8 V at 1 A and 27 °C")
DIODE_SERIES_OHM: Final = Constant(0.01, "ohm", "common practice: bulk resistance of a rectifier of a few amperes")
JUNCTION_LEAK_S: Final = Constant(1e-12, "S", "common practice in circuit solvers: least conductance of a junction")

REGULATOR_OHM: Final = Constant(0.005, "ohm", "common practice: droop of an alternator's regulator")
ALTERNATOR_RISE_SHARE: Final = Constant(
    1 / 6, "1", "common practice: 16 V, to which a 12 V regulator may rise, over the 14 V of the battery's post"
)
REFERENCE_V: Final = Constant(5.0, "V", "common practice: sensor reference of a control unit")
REFERENCE_OHM: Final = Constant(0.05, "ohm", "common practice: output resistance of a sensor reference")
BUS_REST_V: Final = Constant(2.5, "V", "ISO 11898-2, recessive level of both lines")
BUS_BIAS_OHM: Final = Constant(
    30e3, "ohm", "from memory: ISO 11898-2, input resistance of a node between 5 and 50 kilohm"
)
RELAY_HOLD_SHARE: Final = Constant(
    0.3, "1", "common practice: a coil below this share of its nominal voltage does not hold its contact"
)
POWER_FLOOR_SHARE: Final = Constant(
    0.4, "1", "common practice: below this share of the supply a constant-power load counts as a resistance"
)
FILAMENT_COLD_RATIO: Final = Constant(10.0, "1", "common practice: cold inrush of a filament by its hot current")
FILAMENT_INRUSH_S: Final = Constant(0.05, "s", "common practice: a filament is hot after some tens of milliseconds")

CHARGE_OHM_RATIO: Final = Constant(
    20.0, "1", "common practice: a well charged battery takes a few amperes from the regulator's voltage"
)

BATTERY_FULL_V: Final = Constant(12.65, "V", "common practice: rest voltage of a full lead-acid battery, 12 V")
BATTERY_EMPTY_V: Final = Constant(11.9, "V", "common practice: rest voltage of an empty lead-acid battery, 12 V")


def battery_rest_v(charge_pct: float, nominal_v: float = 12.0) -> float:
    """Rest voltage of a lead-acid battery by its state of charge, linear between empty and full [V]."""
    share = min(max(charge_pct / 100, 0.0), 1.0)
    return (BATTERY_EMPTY_V.value + share * (BATTERY_FULL_V.value - BATTERY_EMPTY_V.value)) * nominal_v / 12


@dataclass(frozen=True, slots=True)
class StartingProfile:
    """Supply while the engine is cranked: lowest_v in the first dip, plateau_v after it for plateau_s."""

    nominal_v: float
    level: str
    lowest_v: float
    plateau_v: float
    plateau_s: float
    source: str = "from memory: ISO 16750-2, starting profile"


STARTING_PROFILES: Final[tuple[StartingProfile, ...]] = (
    StartingProfile(12.0, "I", 8.0, 9.5, 1.0),
    StartingProfile(12.0, "II", 4.5, 6.5, 10.0),
    StartingProfile(12.0, "III", 3.0, 5.0, 1.0),
    StartingProfile(12.0, "IV", 6.0, 6.5, 10.0),
    StartingProfile(24.0, "I", 10.0, 20.0, 1.0),
    StartingProfile(24.0, "II", 8.0, 15.0, 10.0),
    StartingProfile(24.0, "III", 6.0, 10.0, 1.0),
)


def starting_profile(level: str, nominal_v: float = 12.0) -> StartingProfile:
    """The profile of a level I to IV. Raises TableGap."""
    wanted = level.strip().upper()
    for profile in STARTING_PROFILES:
        if profile.level == wanted and profile.nominal_v == nominal_v:
            return profile
    known = ", ".join(f"{p.level} at {p.nominal_v:g} V" for p in STARTING_PROFILES)
    raise TableGap("ISO 16750-2 starting profiles", f"{level} at {nominal_v:g} V", known)
