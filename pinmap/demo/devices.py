"""Fuses, relays and terminators of the demo's loom."""

from __future__ import annotations

from pinmap.core.model.looms import Device
from pinmap.core.model.words import DeviceKind

_BOLTED_OHM, _CONTACT_OHM = 0.0008, 0.003  # cold, common practice


def _bolted(key: str, name: str, rating_a: float) -> Device:
    return Device(
        key=key,
        kind=DeviceKind.FUSE,
        place="BF",
        name=name,
        rating_a=rating_a,
        resistance_ohm=_BOLTED_OHM,
        part="bolt-in strip fuse, M5",
    )


def _blade(key: str, name: str, rating_a: float, place: str = "BF") -> Device:
    return Device(
        key=key,
        kind=DeviceKind.FUSE,
        place=place,
        name=name,
        rating_a=rating_a,
        resistance_ohm=round(0.07 / rating_a, 5),  # about 70 mV at the rating
        part="blade fuse, ISO 8820-3",
    )


def _relay(key: str, name: str, rating_a: float) -> Device:
    return Device(
        key=key,
        kind=DeviceKind.RELAY,
        place="PB",
        name=name,
        rating_a=rating_a,
        resistance_ohm=_CONTACT_OHM,
        coil_ohm=90.0,
        suppressed=True,
        part="relay ISO 7588-1, 12 V, with resistor",
    )


def _terminator(key: str, place: str, name: str) -> Device:
    return Device(
        key=key,
        kind=DeviceKind.RESISTOR,
        place=place,
        name=name,
        resistance_ohm=120.0,
        rating_a=0.05,
        part="120 ohm, 0.5 W, in a sealed plug",
    )


DEVICES: tuple[Device, ...] = (
    _bolted("FL2", "Alternator", 150.0),
    _bolted("FL3", "Glow module", 80.0),
    _blade("F1", "Main relay", 30.0),
    _blade("F2", "Control unit 1", 15.0, "PB"),
    _blade("F3", "Control unit 2", 10.0, "PB"),
    _blade("F4", "Valves", 7.5, "PB"),
    _blade("F5", "Sensors and relay coils", 5.0, "PB"),
    _blade("F6", "Fan low stage", 25.0),
    _blade("F7", "Fan high stage", 25.0),
    _blade("F8", "Starter solenoid", 20.0),
    _blade("F9", "Fuel pump", 15.0),
    _blade("F10", "Compressor clutch", 7.5),
    _blade("F11", "After-run pump", 5.0),
    _blade("F12", "Fuel heater", 15.0),
    _blade("F13", "Diagnostic sockets", 7.5),
    _blade("F14", "Alternator sense", 5.0),
    _relay("K1", "Main relay", 40.0),
    _relay("K2", "Starter relay", 40.0),
    _relay("K3", "Fuel pump relay", 20.0),
    _relay("K4", "Fan low stage relay", 40.0),
    _relay("K5", "Fan high stage relay", 40.0),
    _relay("K6", "Compressor clutch relay", 20.0),
    _relay("K7", "Fuel heater relay", 30.0),
    _relay("K8", "After-run pump relay", 20.0),
    _terminator("RT1", "T1", "CAN end at the control unit"),
    _terminator("RT2", "T2", "CAN end in the cab"),
)
