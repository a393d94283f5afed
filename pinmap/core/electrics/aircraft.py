"""Rules of AC 43.13-1B for wire: altitude, estimated conductor temperature, run shortened by temperature."""

from __future__ import annotations

import math

from pinmap.core.errors import InputError
from pinmap.core.facts.constants import AIR_PRESSURE_PA, FOOT_M

# AC 43.13-1B paragraph 11-66: inferred temperature of no resistance [°C below zero] by metal.
_INFERRED_ZERO_C = {"copper": 234.5, "aluminium": 238.1}


def pressure_pa(feet: float) -> float:
    """Pressure of the US Standard Atmosphere 1976 [Pa], to 65 600 ft. Raises InputError beyond."""
    height_m = feet * FOOT_M.value
    if not -500 <= height_m <= 20000:
        raise InputError("altitude", feet, "give -1600 to 65 600 ft")
    if height_m <= 11000:
        return AIR_PRESSURE_PA.value * math.pow(1 - 0.0065 * height_m / 288.15, 5.25588)
    return 22632.1 * math.exp(-9.80665 * (height_m - 11000) / (287.053 * 216.65))


def estimated_temperature_c(ambient_c: float, rated_c: float, current_a: float, allowed_a: float) -> float:
    """T2 = T1 + (TR - T1)·√(I2/Imax), paragraph 11-66; it says of itself that it is conservative."""
    return ambient_c + (rated_c - ambient_c) * math.sqrt(current_a / allowed_a)


def shortened_run(run: float, conductor_c: float, metal_key: str = "copper") -> float:
    """L2 = 254.5·L1/(234.5 + T2) for copper, 258.1 and 238.1 for aluminium; the unit is the run's own."""
    zero = _INFERRED_ZERO_C[metal_key]
    return (zero + 20) * run / (zero + conductor_c)
