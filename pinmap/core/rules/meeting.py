"""Which rule, if any, speaks about two pins on one conductor: every bad pair belongs to exactly one rule."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING

from pinmap.core.facts.kinds import kind_facts, meets
from pinmap.core.model.words import Direction, Kind
from pinmap.core.rules.net_parts import SUPPLIES, NetPin

if TYPE_CHECKING:
    from pinmap.core.rules.context import Context

TWELVE_VOLT = SUPPLIES | {
    Kind.HIGH_SIDE,
    Kind.PWM_HIGH_SIDE,
    Kind.LOGIC_12V,
    Kind.EXCITATION,
    Kind.INJECTOR_BOOSTED,
    Kind.COIL_PRIMARY,
}
LOW_SIDES = frozenset({Kind.LOW_SIDE, Kind.PWM_LOW_SIDE})
HIGH_SIDES = frozenset({Kind.HIGH_SIDE, Kind.PWM_HIGH_SIDE})
GROUNDS = frozenset({Kind.GROUND, Kind.SENSOR_GROUND, Kind.SCREEN})
FIVE_VOLT_LIMIT_V = 5.5
_LEFT_TO_OTHERS = frozenset({Kind.UNKNOWN, Kind.RESTRAINT, Kind.HIGH_VOLTAGE})


@cache
def five_volt(kind: Kind) -> bool:
    """A kind that must not see more than 5.5 V."""
    if kind in GROUNDS:
        return False
    highest = kind_facts(kind).max_v
    return kind is Kind.REFERENCE_5V or (highest is not None and highest <= FIVE_VOLT_LIMIT_V)


@cache
def claim(giver: Kind, taker: Kind) -> str:
    """The rule that speaks about an output of kind ``giver`` wired to an input of kind ``taker``; "" where they fit."""
    if giver in _LEFT_TO_OTHERS or taker in _LEFT_TO_OTHERS:
        return ""
    if {giver, taker} == {Kind.CAN_H, Kind.CAN_L}:
        return "R26"
    if taker is Kind.SUPPLY_15 and giver in {Kind.SUPPLY_75, Kind.SUPPLY_30}:
        return "R77" if giver is Kind.SUPPLY_75 else "R78"
    if giver in GROUNDS and taker in GROUNDS:
        return "R19" if giver is Kind.GROUND else "R18"
    if giver in TWELVE_VOLT and five_volt(taker):
        return "R04"
    if (giver in HIGH_SIDES | SUPPLIES and taker in LOW_SIDES) or (
        giver in LOW_SIDES | {Kind.GROUND} and taker in HIGH_SIDES
    ):
        return "R57"
    return "" if meets(giver, taker).ok else "R03"


def claims(context: Context) -> Mapping[str, tuple[tuple[NetPin, NetPin], ...]]:
    """Rule -> the pairs (giver, taker) that it speaks about, one for each pair of kinds on one conductor."""
    out: dict[str, list[tuple[NetPin, NetPin]]] = defaultdict(list)
    for pins in context.group_pins:
        if len(pins) < 2:
            continue
        givers: dict[Kind, NetPin] = {}
        takers: dict[Kind, NetPin] = {}
        for p in pins:
            if p.pin.direction in {Direction.OUT, Direction.BOTH}:
                givers.setdefault(p.pin.kind, p)
            if p.pin.direction in {Direction.IN, Direction.BOTH}:
                takers.setdefault(p.pin.kind, p)
        said: set[frozenset[Kind]] = set()
        for giver in givers.values():
            for taker in takers.values():
                kinds = frozenset({giver.pin.kind, taker.pin.kind})
                rule = claim(giver.pin.kind, taker.pin.kind)
                if rule and giver is not taker and kinds not in said:
                    said.add(kinds)
                    out[rule].append((giver, taker))
    return {rule: tuple(pairs) for rule, pairs in out.items()}
