"""Pinouts of published standards and small platforms for the crossing's tests."""

from __future__ import annotations

from pinmap.core.model.pinouts import Connector, Pin, Platform
from pinmap.core.model.words import Role


def bare(key: str, rows: dict[str, dict[str, str]], role: Role = Role.DONOR) -> Platform:
    """A platform from nothing but connector -> cavity -> words, as a three-column CSV gives it."""
    return Platform(
        key=key,
        name=key,
        role=role,
        connectors=tuple(Connector(name=name) for name in rows),
        pins=tuple(
            Pin(connector=name, cavity=cavity, function=words)
            for name, cavities in rows.items()
            for cavity, words in cavities.items()
        ),
    )


# ISO 1724 (12N), ISO 3732 (12S, European use since 1999), ISO 11446: functions as their pin lists print them.
ISO_1724 = {
    "1": "Left turn",
    "2": "Rear fog",
    "3": "Ground",
    "4": "Right turn",
    "5": "Right tail, clearance, plate",
    "6": "Stop",
    "7": "Left tail, clearance, plate",
}
ISO_1724_MARKS = {"1": "L", "2": "54G", "3": "31", "4": "R", "5": "58R", "6": "54", "7": "58L"}
ISO_3732 = {
    "1": "Reversing lamp",
    "2": "Spare",
    "3": "Ground for pin 4",
    "4": "+12 V permanent",
    "5": "Spare / sensing",
    "6": "+12 V ignition-on, refrigerator",
    "7": "Ground for pin 6",
}
ISO_3732_CHARGING = ISO_3732 | {"2": "+12 V ignition, battery charging"}
ISO_11446 = {
    "1": "Left turn",
    "2": "Rear fog",
    "3": "Ground for pins 1-8",
    "4": "Right turn",
    "5": "Right tail, clearance, plate",
    "6": "Stop",
    "7": "Left tail, clearance, plate",
    "8": "Reversing / surge-brake block",
    "9": "+12 V permanent",
    "10": "+12 V ignition",
    "11": "Ground for 10",
    "12": "Reserved / trailer detection",
    "13": "Ground for 9",
}
# SAE J560, SAE J1939-13 and SAE J1962 / ISO 15031-3.
SAE_J560 = {
    "1": "Ground",
    "2": "Clearance, side marker, identification",
    "3": "Left turn",
    "4": "Stop",
    "5": "Right turn",
    "6": "Tail, plate",
    "7": "Auxiliary (ABS constant power)",
}
SAE_J1939_13 = {
    "A": "Battery -",
    "B": "Battery +",
    "C": "CAN_H",
    "D": "CAN_L",
    "E": "CAN shield",
    "F": "J1708 +",
    "G": "J1708 -",
    "H": "Maker (or implement bus CAN_H)",
    "J": "Maker (or implement bus CAN_L)",
}
SAE_J1962 = {
    "1": "Maker",
    "2": "J1850 bus +",
    "3": "Maker",
    "4": "Chassis ground",
    "5": "Signal ground",
    "6": "CAN_H (ISO 15765-4)",
    "7": "K line",
    "8": "Maker",
    "9": "Maker",
    "10": "J1850 bus - (PWM)",
    "11": "Maker",
    "12": "Maker",
    "13": "Maker",
    "14": "CAN_L",
    "15": "L line",
    "16": "Battery +",
}
