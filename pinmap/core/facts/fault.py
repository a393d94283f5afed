"""Figures of short circuits and overloads: what feeds them, what wires stand, how far a fuse may be away."""

from __future__ import annotations

from typing import Final

from pinmap.core.facts.conductors import insulation
from pinmap.core.facts.constants import Constant

BATTERY_OHM: Final = Constant(0.010, "ohm", "common practice: 12 V starter battery in middling state, with its clamps")
RETURN_OHM: Final = Constant(0.005, "ohm", "FAA-H-8083-31: structure return, battery ground to any device ground")
WEAK_V: Final = Constant(12.0, "V", "common practice: 12 V battery at rest, half charged")
STRONG_V: Final = Constant(14.4, "V", "common practice: charging voltage of a 12 V system")
OPENS_WITHIN_S: Final = Constant(5.0, "s", "IEC 60364-4-41: disconnection time of distribution circuits; also the "
                                           "longest time of the adiabatic formula")  # fmt: skip
OVERLOAD_K: Final = Constant(50.0, "K", "ISO 6722-1 thermal overload, 6 h at 50 K above the class (from memory)")
LONG_OVERLOAD_K: Final = Constant(
    25.0, "K", "ISO 6722-1 short-term ageing, 240 h at 25 K above the class (from memory)"
)
INRUSH_S: Final = Constant(0.1, "s", "common practice: an inrush whose duration nobody gave")
STEADY_DROP_V: Final = Constant(1.0, "V", "steady-drop limits after SAE as quoted in workshop manuals: always a fault")
BARE_FUSE_M: Final = Constant(0.178, "m", "33 CFR 183.455: 7 in from the source")
COVERED_FUSE_M: Final = Constant(1.016, "m", "33 CFR 183.455: 40 in where sheathed or enclosed all the way")
ISO_FUSE_M: Final = Constant(0.200, "m", "ISO 10133 clause 8.1 (from memory)")
COPPER_KG_PER_M3: Final = Constant(8890.0, "kg/m³", "IEC 60028, annealed copper")

_SHORT_END_C: Final = (("PVC", 160.0), ("silicone", 350.0))
_OTHER_END_C: Final = 250.0
SHORT_END_SOURCE: Final = (
    "IEC 60364-4-43 table 43A: PVC 160 °C, silicone 350 °C, cross-linked 250 °C; others taken as cross-linked"
)


def short_circuit_end_c(insulation_key: str) -> float:
    """Highest conductor temperature at the end of a short circuit [°C]. Raises TableGap."""
    name = insulation(insulation_key).name
    return next((end for word, end in _SHORT_END_C if word in name), _OTHER_END_C)
