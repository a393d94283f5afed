"""Gives every signal a colour of its own in each connector it enters, so that no two wires there can be exchanged."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping

from pinmap.core.crossing import edits
from pinmap.core.model.jobs import Job, Signal
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import Kind

# Tracers in the order in which they are easiest told from their base by lamp light.
_TRACERS = ("WH", "BK", "YE", "GN", "BU", "RD", "GY", "VT", "OG", "PK", "BN")
_BASE = {
    Kind.SUPPLY_30: "RD",
    Kind.SUPPLY_87: "RD",
    Kind.HIGH_SIDE: "RD",
    Kind.REFERENCE_5V: "RD",
    Kind.SUPPLY_15: "BK",
    Kind.SUPPLY_50: "VT",
    Kind.GROUND: "BN",
    Kind.SENSOR_GROUND: "BN",
    Kind.LOW_SIDE: "GY",
    Kind.PWM_LOW_SIDE: "GY",
}


def colour(job: Job, pins: Mapping[PinKey, Pin]) -> Job:
    """Keeps the colour a signal's donor or first pin has where it is free in all its connectors, else the next free
    one of the same base."""
    used: dict[tuple[str, str], set[frozenset[str]]] = defaultdict(set)
    for signal in job.signals:
        ends = [m.end for m in signal.members if isinstance(m.end, PinKey)]
        places = {(end.platform, end.connector) for end in ends}
        for code in _candidates(signal, [pins[end] for end in ends]):
            mark = frozenset(code.split("/"))
            if not any(mark in used[place] for place in places):
                break
        else:
            raise LookupError(f"no colour is left for {signal.name}")
        for place in places:
            used[place].add(mark)
        job = edits.update_signal(job, signal.key, colour=code)
    return job


def _candidates(signal: Signal, pins: list[Pin]) -> Iterator[str]:
    if signal.colour:
        yield signal.colour
    own = next((pin.wire_colour for pin in pins if pin.wire_colour), "")
    if own:
        yield own
    first = own.partition("/")[0] or (_BASE.get(pins[0].kind, "GN") if pins else "RD")
    for base in (first, "BU", "WH", "GN", "VT", "YE", "GY", "OG"):
        yield from (f"{base}/{tracer}" for tracer in _TRACERS if tracer != base and {base, tracer} != {"GN", "YE"})
