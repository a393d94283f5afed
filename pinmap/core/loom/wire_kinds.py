"""Kinds of wire, as zones keep them out and as they keep apart from each other."""

from __future__ import annotations

from collections.abc import Iterable

from pinmap.core.model.jobs import Signal
from pinmap.core.model.pinouts import Pin
from pinmap.core.model.words import Kind

HEAVY_MM2 = 10.0  # from this size on a wire is a cable of battery, starter or alternator

WIRE_KINDS: dict[str, str] = {
    "sensor": "signals of sensors",
    "sensor pair": "sensor wires that are twisted or screened",
    "bus": "data buses",
    "ignition": "coil primaries",
    "injector": "boosted injectors",
    "motor": "motors and valves driven by pulses",
    "heavy": "cables of 10 mm² and more: battery, starter, alternator",
    "any": "every wire",
}
NOISY = frozenset({"ignition", "injector", "motor", "heavy"})  # common practice
SENSITIVE = frozenset({"sensor pair"})

_BY_KIND: dict[Kind, str] = {
    **dict.fromkeys(
        (
            Kind.INDUCTIVE, Kind.PIEZO, Kind.THERMOCOUPLE, Kind.LAMBDA, Kind.HALL, Kind.ANALOGUE_5V, Kind.NTC,
            Kind.RESISTIVE,
        ),
        "sensor",
    ),
    **dict.fromkeys(
        (
            Kind.CAN_H, Kind.CAN_L, Kind.LIN, Kind.K_LINE, Kind.L_LINE, Kind.J1850_PLUS, Kind.J1850_MINUS,
            Kind.J1708_PLUS, Kind.J1708_MINUS,
        ),
        "bus",
    ),
    Kind.COIL_PRIMARY: "ignition",
    Kind.INJECTOR_BOOSTED: "injector",
    Kind.PWM_HIGH_SIDE: "motor",
    Kind.PWM_LOW_SIDE: "motor",
    Kind.H_BRIDGE: "motor",
}  # fmt: skip


def wire_kinds(signal: Signal, pins: Iterable[Pin]) -> frozenset[str]:
    """Kinds of a signal's wires, keys of ``WIRE_KINDS``, from its pins and its treatment; "any" is always among
    them. A wire thick by hand or by the vehicle is heavy."""
    found = {"any"}
    mm2 = signal.mm2 or 0.0
    for pin in pins:
        name = _BY_KIND.get(pin.kind)
        if name is not None:
            found.add(name)
        mm2 = max(mm2, pin.wire_mm2 or 0.0)
    for member in signal.members:
        mm2 = max(mm2, member.mm2 or 0.0)
    if mm2 >= HEAVY_MM2:
        found.add("heavy")
    if "sensor" in found and (signal.twist or signal.screen):
        found.add("sensor pair")
    return frozenset(found)
