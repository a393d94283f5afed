"""Small records and words that the context and the rules share."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from pinmap.core.model.looms import Device
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import Direction, Kind

SUPPLIES = frozenset({Kind.SUPPLY_30, Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50, Kind.SUPPLY_87})
RUN_SOURCES = frozenset({Kind.SUPPLY_15, Kind.SUPPLY_75, Kind.SUPPLY_50})  # go off with the key


class NetPin(NamedTuple):
    """A pin of a net with its entry."""

    key: PinKey
    pin: Pin


class Link(NamedTuple):
    """A device through which two nets pass current; a diode only from a to b."""

    device: Device
    a: int
    b: int


def pin_ref(key: PinKey) -> str:
    tail = f"@{key.edition}" if key.edition else ""
    return f"pin:{key.platform}:{key.connector}:{key.cavity}{tail}"


def pin_refs(pins: Iterable[NetPin]) -> tuple[str, ...]:
    return tuple(pin_ref(p.key) for p in pins)


def is_supply_out(pin: Pin) -> bool:
    """A pin that offers battery plus."""
    return pin.direction is Direction.OUT and pin.kind in SUPPLIES
