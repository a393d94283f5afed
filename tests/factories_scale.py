"""A big job in four variants, with loads of every law."""

from __future__ import annotations

from dataclasses import replace

from pinmap.core.model.jobs import Pick, Snapshot
from pinmap.core.model.pinouts import Edition, Pin, Platform
from pinmap.core.model.words import Direction, Kind
from tests.factories_looms import big_snapshot

_MODELS = (
    {},  # the pinout's plain current
    {"load_model": "ohms", "load_value": "12"},
    {"load_model": "watts", "load_value": "9"},
    {"load_model": "duty", "load_value": "0.8", "load_duty_pct": "40", "load_states": "IF"},
)


def big_variants(n_blocks: int = 96) -> Snapshot:
    """``big_snapshot`` in four variants of 3,000 wires and more: host early and late, donor with and without an option.
    Of each block's four loads one draws a current, one is a resistance, one a power, one a pulse width; the last runs
    with the engine only. A pin in sixteen exists in one edition only."""
    made = big_snapshot(n_blocks=n_blocks)
    platforms, seats = [], []
    for platform, seat in zip(made.platforms, made.job.seats, strict=True):
        if platform.key in "hd":
            editions = (Edition(key="e1", name="first"), Edition(key="e2", name="second"))
            seats.append(replace(seat, picks=tuple(Pick(platform.key, e.key) for e in editions)))
            platforms.append(replace(platform, editions=editions, pins=_pins(platform)))
        else:
            seats.append(seat)
            platforms.append(platform)
    keys = {p.key(q.key).connector + p.cavity + q.key: p.key(q.key) for q in platforms for p in q.pins}
    job = replace(made.job, seats=tuple(seats))
    signals = tuple(
        replace(s, members=tuple(
            replace(m, end=keys[m.end.connector + m.end.cavity + m.end.platform]) if hasattr(m.end, "cavity") else m
            for m in s.members
        ))
        for s in job.signals
    )  # fmt: skip
    return Snapshot(replace(job, signals=signals), tuple(platforms))


def _pins(platform: Platform) -> tuple[Pin, ...]:
    out, sensors, loads = [], 0, 0
    for pin in platform.pins:
        if pin.kind is Kind.ANALOGUE_5V:
            sensors += 1
            if sensors % 16 == 0:
                pin = replace(pin, editions=("e2",))
        elif pin.kind is Kind.HIGH_SIDE and pin.direction is Direction.IN:
            pin = replace(pin, extra=tuple(_MODELS[loads % len(_MODELS)].items()))
            loads += 1
        out.append(pin)
    return tuple(out)
