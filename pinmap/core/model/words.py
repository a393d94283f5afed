"""The closed vocabularies of a job, and the order in which people sort names."""

from __future__ import annotations

import re
from enum import StrEnum


class Role(StrEnum):
    """What a platform is to a job."""

    DONOR = "donor"
    HOST = "host"
    CONTROL = "control unit"
    ACCESSORY = "accessory"


class Kind(StrEnum):
    """Electrical kind of a pin; digits are DIN 72552 terminal designations."""

    SUPPLY_30 = "supply-30"  # battery, permanent
    SUPPLY_15 = "supply-15"  # ignition, live in ON and START
    SUPPLY_75 = "supply-75"  # accessory, drops while cranking
    SUPPLY_50 = "supply-50"  # start
    SUPPLY_87 = "supply-87"  # relay output
    REFERENCE_5V = "reference-5v"
    GROUND = "ground-31"
    SENSOR_GROUND = "sensor-ground"
    SCREEN = "screen"
    HIGH_SIDE = "high-side"  # switches or takes battery plus
    LOW_SIDE = "low-side"  # switches or takes battery minus
    PWM_HIGH_SIDE = "pwm-high-side"
    PWM_LOW_SIDE = "pwm-low-side"
    H_BRIDGE = "h-bridge"
    INJECTOR_BOOSTED = "injector-boosted"  # two-wire, 50 to 200 V
    COIL_PRIMARY = "coil-primary"
    EXCITATION = "excitation"  # charge lamp line, D+ or L
    LOGIC_12V = "logic-12v"
    SWITCH_TO_GROUND = "switch-to-ground"
    ANALOGUE_5V = "analogue-5v"
    RESISTIVE = "resistive"  # sender against ground
    NTC = "ntc"
    INDUCTIVE = "inductive"  # variable reluctance, two-wire AC
    HALL = "hall"  # open collector, pulses
    PULSE = "pulse"  # frequency or duty signal, driven
    PIEZO = "piezo"
    THERMOCOUPLE = "thermocouple"
    LAMBDA = "lambda"
    CAN_H = "can-h"
    CAN_L = "can-l"
    LIN = "lin"
    K_LINE = "k-line"
    L_LINE = "l-line"
    J1850_PLUS = "j1850-plus"
    J1850_MINUS = "j1850-minus"
    J1708_PLUS = "j1708-plus"
    J1708_MINUS = "j1708-minus"
    RESTRAINT = "restraint"  # airbag and belt circuits: not to be touched
    TRANSPONDER = "transponder"
    HIGH_VOLTAGE = "high-voltage"  # over 60 V DC or 30 V AC
    UNKNOWN = "unknown"


class Direction(StrEnum):
    """Who gives: the platform (out), the other side (in), both, or neither (a return, a screen, a bare terminal)."""

    OUT = "out"
    IN = "in"
    BOTH = "both"
    PASSIVE = "passive"


class Evidence(StrEnum):
    """How well a pin's entry is known; only a measured one looks proven on a build table."""

    ASSUMED = "assumed"
    MANUAL = "manual"
    MEASURED = "measured"


class Gender(StrEnum):
    """Gender of a connector's contacts."""

    PIN = "pin"
    SOCKET = "socket"
    UNKNOWN = "unknown"


class View(StrEnum):
    """From where a connector face is seen."""

    MATING = "mating side"
    WIRE = "wire side"


class Fate(StrEnum):
    """What becomes of a pin."""

    JOINED = "joined"
    PARKED = "parked"  # insulated, labelled, dead
    CAPPED = "capped"  # cavity closed with a plug
    RETAINED = "retained"  # stays in service on its own side
    DELETED = "deleted"  # terminal taken out
    DEFERRED = "deferred"  # owner and date named, still open
    UNDECIDED = "undecided"


class DeviceKind(StrEnum):
    """Parts that sit in the loom between wires."""

    FUSE = "fuse"
    RELAY = "relay"
    RESISTOR = "resistor"
    DIODE = "diode"
    CONVERTER = "converter"
    STUD = "stud"  # ring terminals on one bolt
    SWITCH = "switch"


DEVICE_TERMINALS: dict[DeviceKind, tuple[str, ...]] = {
    DeviceKind.FUSE: ("1", "2"),
    DeviceKind.RELAY: ("30", "87", "87a", "85", "86"),
    DeviceKind.RESISTOR: ("1", "2"),
    DeviceKind.DIODE: ("A", "K"),
    DeviceKind.CONVERTER: ("IN", "OUT", "15", "31"),
    DeviceKind.STUD: ("1",),
    DeviceKind.SWITCH: ("1", "2"),
}

# Terminals by which a device stands in line in a signal: (upstream, downstream).
IN_LINE_TERMINALS: dict[DeviceKind, tuple[str, str]] = {
    DeviceKind.FUSE: ("1", "2"),
    DeviceKind.RELAY: ("30", "87"),
    DeviceKind.RESISTOR: ("1", "2"),
    DeviceKind.DIODE: ("A", "K"),
    DeviceKind.CONVERTER: ("IN", "OUT"),
    DeviceKind.SWITCH: ("1", "2"),
}


class NodeKind(StrEnum):
    """What a node of the loom is."""

    CONNECTOR = "connector"
    JUNCTION = "junction"
    PLACE = "place"  # where devices sit: fuse box, relay carrier, stud


class FixingKind(StrEnum):
    """What a bundle is held by or passes through."""

    CLIP = "clip"
    GROMMET = "grommet"
    BACKSHELL = "backshell"  # its clamp


class Joint(StrEnum):
    """How three and more ends of a net meet."""

    SPLICE = "splice"
    CHAIN = "daisy chain"  # from end to end; the cavities on the way take two wires
    CRIMP = "double crimp"  # all wires meet in the terminal of one end


class Severity(StrEnum):
    """How grave a finding is: do not build; mend before release; worth knowing."""

    STOP = "stop"
    FIX = "fix"
    NOTE = "note"


# IEC 60757:2021 colour letter codes, in the order of its table 1.
COLOURS: dict[str, str] = {
    "BK": "black",
    "BN": "brown",
    "RD": "red",
    "OG": "orange",
    "YE": "yellow",
    "GN": "green",
    "BU": "blue",
    "VT": "violet",
    "GY": "grey",
    "WH": "white",
    "PK": "pink",
    "GD": "gold",
    "TQ": "turquoise",
    "SR": "silver",
}

_RUNS = re.compile(r"(\d+)")


def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts A2 before A10 and 9 before 10, as people do; letters ignore case, ties go by code point."""
    parts: list[tuple[int, int, str]] = []
    for run in _RUNS.split(name):
        if run.isdecimal():
            parts.append((0, int(run), ""))
        elif run:
            parts.append((1, 0, run.casefold()))
    parts.append((-1, 0, name))  # the shorter name first: 1 before 1A
    return tuple(parts)
