"""What to heed before a meter or a hand goes near a circuit. Common practice, in neutral words."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from pinmap.core.model.pinouts import Pin
from pinmap.core.model.words import Kind


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution; ``stop`` means: do not probe here at all."""

    about: str
    text: str
    stop: bool = False


BATTERY = Caution("Battery", "Minus terminal off before you unplug or cut anything; back on last.")
RESTRAINT = Caution(
    "Airbag and belt circuits",
    "Do not probe, splice or lengthen. Isolate as that vehicle's own manual says, waiting time included.",
    stop=True,
)
HIGH_VOLTAGE = Caution(
    "High voltage", "Over 60 V DC or 30 V AC: stop. Work for trained persons with the system made dead.", stop=True
)
BOOSTED = Caution(
    "Injector driver",
    "Boosted to 50 to 200 V while running. Key off before you touch it; no test lamp, no jumper.",
)
COIL = Caution("Ignition coil", "Some 400 V at the primary, over 30 kV beyond. Key off before you touch it.")
FUEL = Caution("Fuel", "Relieve pressure, air the place, no sparks, extinguisher at hand; pump for seconds only.")
STARTER = Caution("Starter", "The engine may turn without warning: neutral verified, wheels chocked, hands clear.")
FAN = Caution("Fan", "May start by itself with the key off: keep clear, or pull its fuse first.")
GLOW = Caution("Glow plugs", "High current and hot parts: fused leads only, no long energising on the bench.")

# Where no computed voltage is shown, so that nobody looks for it with a meter.
NOT_TO_PROBE = frozenset({Kind.RESTRAINT, Kind.HIGH_VOLTAGE, Kind.INJECTOR_BOOSTED, Kind.COIL_PRIMARY})

_BY_KIND = {
    Kind.RESTRAINT: RESTRAINT,
    Kind.HIGH_VOLTAGE: HIGH_VOLTAGE,
    Kind.INJECTOR_BOOSTED: BOOSTED,
    Kind.COIL_PRIMARY: COIL,
    Kind.SUPPLY_50: STARTER,
}
_BY_WORD = (
    (re.compile(r"\b(airbag|srs|pretensioner|restraint)", re.I), RESTRAINT),
    (re.compile(r"\bfuel\b", re.I), FUEL),
    (re.compile(r"\bstarter\b", re.I), STARTER),
    (re.compile(r"\bfan\b", re.I), FAN),
    (re.compile(r"\bglow\b", re.I), GLOW),
)


def cautions_for(pins: Iterable[Pin], words: Iterable[str] = ()) -> tuple[Caution, ...]:
    """Cautions for the pins of a path and for words that name its functions, the ones that say stop first; the
    battery's always."""
    pins = tuple(pins)
    found = {BATTERY: None} | {_BY_KIND[pin.kind]: None for pin in pins if pin.kind in _BY_KIND}
    for text in (*words, *(f"{pin.function} {pin.component}" for pin in pins)):
        found |= {caution: None for pattern, caution in _BY_WORD if pattern.search(text)}
    return tuple(sorted(found, key=lambda c: not c.stop))
