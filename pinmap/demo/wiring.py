"""Which ends make one signal, in the short hand of the demo.

A letter names the platform (q engine, g glow module, f QF-2, o OU-48, s service socket, b Brindle), then connector and
cavity: ``b:C101-1``, with ``@early`` where one cavity has an entry for each edition. ``F1.2`` is a device's terminal.
``A B | K1 | C`` puts K1 in line between A, B and C. ``=4`` behind an end is the size of its wire in mm².
"""

from __future__ import annotations

from dataclasses import dataclass

ENGINE_INSULATION = "thin-wall-D"  # 150 °C, for all that goes onto the engine
GAUGE_SENDER = "C131"  # the host's, in the thermostat housing


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """One signal to be made. ``mates`` says that the control units' pins of the same function words belong to it."""

    ends: str
    name: str = ""
    mm2: float | None = None
    twist: str = ""
    screen: str = ""
    note: str = ""
    mates: bool = False


def _w(ends: str, name: str = "", *, mm2: float | None = None, twist: str = "", note: str = "") -> Wiring:
    return Wiring(ends=ends, name=name, mm2=mm2, twist=twist, note=note)


def _unit(ends: str, *, twist: str = "", screen: str = "", note: str = "") -> Wiring:
    """A signal between an engine part and whichever control unit is fitted."""
    return Wiring(ends=ends, twist=twist, screen=screen, note=note, mates=True)


CRANK_AND_CAM = (
    _unit("q:B1-1", twist="crank", screen="crank"),
    _unit("q:B1-2", twist="crank", screen="crank"),
    _unit("q:B1-3", note="Drain of the screened pair; grounded at the control unit only, open inside the sensor"),
    _unit("q:B2-1"),
    _unit("q:B2-2"),
    _unit("q:B2-3"),
)
_QF2_ONLY = "Only the QF-2 reads it; with the OU-48 no wire is laid and the plug on the engine gets a sealed dummy"
SENSORS = tuple(
    _unit(f"q:{connector}-{cavity}", note=_QF2_ONLY if connector in ("B8", "B12") else "")
    for connector, cavities in {
        "B3": "12", "B4": "2345", "B5": "1234", "B6": "123", "B8": "12", "B9": "12", "B12": "123",
        "Y10": "345", "M2": "345", "B11": "123456",
    }.items()
    for cavity in cavities
)  # fmt: skip
INJECTORS = tuple(
    _unit(f"q:Y{n}-{cavity}", twist=f"injector-{n}", note="About 80 V; not to be shared, spliced or probed with a lamp")
    for n in range(1, 5)
    for cavity in (1, 2)
)
DRIVERS = (
    *(_unit(f"q:Y{n}-2") for n in range(5, 10)),
    *(_unit(f"q:Y10-{cavity}", twist="egr-motor") for cavity in (1, 2)),
    *(_unit(f"q:M2-{cavity}", twist="throttle-motor") for cavity in (1, 2)),
    _unit("g:C-2"),
    _unit("g:C-3"),
    *(_w(f"g:P-{n} q:R{n}-1") for n in range(1, 5)),
)
SWITCHES = (
    _unit("q:B7-1 b:C102-6@early", note="Lamp and control unit watch the same switch; each has its own pull-up"),
    _unit("q:B10-2"),
    _unit("q:S1-1"),
    _unit("q:G1B-DFM"),
    _w("q:G1B-L b:C102-5", note="The cluster's lamp or resistor gives the exciting current in both editions"),
)
BATTERY = (
    _w("b:BT1-1 q:M1A-1", "Starter cable", mm2=50.0, note="Double insulated; kept 50 mm away from all other wires"),
    _w("b:BT5-1 q:X3-1", "Engine strap", mm2=50.0, note="As large as the starter cable"),
    _w("q:G1A-1 | FL2 | b:BT3-1", "Alternator charging cable", mm2=35.0),
    _w("b:BT4-1 | FL3 | g:S-1", "Glow module feed"),
    _w(
        "b:BT2-1 F1.1=10 F6.1=6 F7.1=6 F8.1=4 F9.1=2.5 F10.1=1.5 F11.1=1 F12.1=2.5 F13.1=1 F14.1=1",
        "Battery fuse carrier 30",
        mm2=25.0,
        note="Bar of the fuse carrier on the battery clamp, nothing of it longer than 0.15 m",
    ),
)
MAIN_RELAY = (
    _w(
        "F1.2 | K1 | F2.1=6 F3.1=6 F4.1=6 F5.1=6",
        "Main relay output 87",
        mm2=10.0,
        note="Bar in the loom box behind the relay",
    ),
    _w("K1.86=0.75 b:C102-4=1.5 f:B-4 o:P2-3=0.75 q:A5-1=0.75", "Permanent supply control unit"),
    _w("K1.85=0.75 f:B-9 o:P2-8", "Main relay control", mm2=0.75),
    _w("F2.2=2.5 f:B-1 f:B-2 o:P2-1=2.5", "Control unit supply 1", mm2=2.5),
    _w("F3.2=2.5 f:B-3 o:P2-2=2.5", "Control unit supply 2"),
    _w("F4.2=4 q:Y5-1=2.5 q:Y6-1 q:Y7-1 q:Y8-1 q:Y9-1 q:E2-1", "Valve supply 87"),
    _w("F5.2=1.5 q:B4-1 q:B10-1 K4.86=0.75 K5.86=0.75 K6.86=0.75 K8.86=0.75", "Sensor supply 87"),
    _w("b:C102-1=1.5 f:B-5 o:P2-4=0.75 q:A5-2=0.75 g:C-1=0.75 K7.86=0.75", "Ignition supply 15"),
)
RELAYS = (
    _w("F8.2=4 | K2 | q:M1B-1", "Starter solenoid 50", mm2=4.0),
    _w("K2.86=0.75 b:C102-24", "Start through the clutch switch"),
    _w("K2.85=0.75 f:B-10 o:P2-9", "Starter relay control", mm2=0.75),
    _w("b:C102-2=0.75 f:B-11 o:P2-10", "Start request", mm2=0.75),
    _w("F6.2=6 | K4 | b:C122-1 b:C123-1", "Fan low stage", mm2=6.0),
    _w("K4.85=0.75 f:B-12 o:P2-11", "Fan low speed relay control", mm2=0.75),
    _w("F7.2=6 | K5 | b:C122-2 b:C123-2", "Fan high stage", mm2=6.0),
    _w("K5.85=0.75 f:B-13 o:P2-12", "Fan high speed relay control", mm2=0.75),
    _w("F9.2=2.5 | K3 | b:C140-13", "Fuel pump feed", mm2=2.5),
    _w("K3.86=0.75 b:C102-29", "Fuel pump relay coil through the inertia switch"),
    _w("K3.85=0.75 f:B-14 o:P2-13", "Fuel pump relay control", mm2=0.75),
    _w("F10.2=1.5 | K6 | q:Y11-1 b:C102-19", "Compressor clutch feed", mm2=1.5),
    _w("K6.85=0.75 f:B-15 o:P2-14", "Air conditioning clutch relay control", mm2=0.75),
    _w("F11.2=1 | K8 | q:M3-1", "After-run coolant pump feed", mm2=1.0),
    _w("K8.85=0.75 f:B-16 o:P2-15", "After-run coolant pump relay control", mm2=0.75),
    _w("F12.2=2.5 | K7 | q:E1-1", "Fuel filter heater feed", mm2=2.5),
    _w("F13.2=1 b:C102-15 s:X9-B", "Diagnostic supply"),
    _w("F14.2=1 q:G1B-S", "Alternator voltage sense", mm2=1.0),
)
ENGINE_GROUNDS = (
    _w("q:X1-1=16 f:B-6 f:B-7 f:B-8 o:P2-5=2.5 o:P2-6=2.5 o:P2-7=1.5 g:C-4=1.5", "Power ground at the block"),
    _w("q:X2-1=6 q:E1-2 q:E2-2 q:Y11-2 q:M3-2 q:B10-3", "Auxiliary ground at the front cover"),
)
CONTROLS = (
    _w("b:C102-21 f:B-25 o:P2-23 b:C119-14", "Brake switch normally open"),
    _w("b:C102-22 f:B-26 o:P2-24", "Brake switch normally closed"),
    _w("b:C102-23 f:B-27 o:P2-25", "Clutch pedal switch"),
    _w("b:C126-1 f:B-28", "Neutral switch"),
    *(_w(f"b:C102-{25 + n} f:B-{29 + n}") for n in range(4)),
    _w("b:C102-20 f:B-43", "Heavy electrical load"),
    _w("b:C102-18 b:C124-1", "Air conditioning request to the pressure switch"),
    _w("b:C124-2 f:B-17 o:P2-16", "Air conditioning request"),
    _w("b:C124-3 f:B-18", "Air conditioning pressure medium stage"),
    _w("b:C130-1 f:B-42 o:P2-33 b:C102-32@early", "Coolant level switch"),
    _w("b:C127-1 b:C150-5", "Vehicle speed sensor supply"),
    _w("b:C127-2 b:C102-11 f:B-33 o:P2-26", "Vehicle speed signal"),
    _w("b:C102-7@early f:B-34 o:P2-27", "Tachometer"),
    _w("b:C102-8@early f:B-35 o:P2-28", "Malfunction indicator lamp"),
    _w("b:C102-9@early f:B-36 o:P2-29", "Glow plug indicator lamp"),
    _w("b:C102-31@early f:B-37 o:P2-46", "Water in fuel lamp"),
    _w("b:C102-10@early b:C131-1", "Coolant temperature gauge"),
)
DATA = (
    _w("f:B-38 o:P2-30 s:X9-C b:C102-13@late RT1.1 RT2.1", "CAN high", mm2=0.75, twist="can"),
    _w("f:B-39 o:P2-31 s:X9-D b:C102-14@late RT1.2 RT2.2", "CAN low", mm2=0.75, twist="can"),
    _w("b:C102-12 f:B-40 b:C119-15", "Diagnostic K-line"),
    _w("q:A5-4 f:B-41 o:P2-32", "Immobiliser data line"),
)
LAMPS = (
    *(_w(f"b:C101-{n} b:{end}") for n, end in enumerate(("C110-1", "C111-1", "C110-2", "C111-2"), 1)),
    _w("b:C101-5 b:C110-3 b:C111-3", "Front side lamps"),
    _w("b:C101-6 b:C110-4"),
    _w("b:C101-7 b:C111-4"),
    _w("b:C101-8 b:C112-1 b:C113-1", "Front fog lamps"),
    *(_w(f"b:C101-{18 + n} b:C140-{1 + n}") for n in range(5)),
    _w("b:C101-23 b:C140-7", "Rear fog lamp"),
    _w("b:C101-17 b:C125-1"),
    _w("b:C125-2 b:C140-6", "Reversing lamp"),
    _w("b:C101-32 b:C140-9"),
    _w("b:C150-4 b:C140-8", "Trailer permanent supply"),
)
BODY = (
    _w("b:C101-9 b:C114-1"),
    _w("b:C101-10 b:C115-1"),
    _w("b:C101-11 b:C116-1"),
    *(_w(f"b:C101-{12 + n} b:C117-{1 + n}") for n in range(4)),
    _w("b:C101-16 b:C118-1"),
    _w("b:C101-24 b:C128-1", twist="shift-motor"),
    _w("b:C101-25 b:C128-2", twist="shift-motor"),
    *(_w(f"b:C101-{26 + n} b:C128-{3 + n}") for n in range(3)),
    _w("b:C101-29 b:C128-6 b:C119-17", "Four wheel drive engaged"),
    _w("b:C101-30 b:C140-15"),
    _w("b:C101-31 b:C140-16"),
)
BRAKES = (
    _w("b:C150-1 b:C119-1", "ABS pump motor supply"),
    _w("b:C150-2 b:C119-2", "ABS valve supply"),
    _w("b:C150-3 b:C119-3", "ABS ignition supply"),
    _w("b:C119-16 b:C102-30", "ABS warning lamp"),
    *(_w(f"b:C120-{1 + n} b:C119-{6 + n}", twist="wheel-fl") for n in range(2)),
    *(_w(f"b:C121-{1 + n} b:C119-{8 + n}", twist="wheel-fr") for n in range(2)),
    *(_w(f"b:C140-{17 + n} b:C119-{10 + n}", twist="wheel-rl") for n in range(2)),
    *(_w(f"b:C140-{19 + n} b:C119-{12 + n}", twist="wheel-rr") for n in range(2)),
)
BODY_GROUNDS = (
    _w("b:GL1-1=6 b:C110-5 b:C112-2 b:C114-2 b:C115-2 b:C116-2 K7.85=0.75", "Left wing ground"),
    _w("b:GR1-1=4 b:C111-5 b:C113-2 b:C124-4 b:C130-2", "Right wing ground"),
    _w("b:GL2-1 b:C122-3", "Left fan ground"),
    _w("b:GR2-1 b:C123-3", "Right fan ground"),
    _w("b:GL3-1=6 b:C119-4 b:C119-5", "ABS ground"),
    _w("b:GW1-1=4 b:C117-5 b:C118-2 b:C102-16 b:C102-17 q:A5-3 s:X9-A", "Bulkhead ground"),
    _w("b:GC1-1=6 b:C140-10 b:C140-14 b:C126-2 b:C127-3", "Chassis ground"),
    _w("b:GC2-1 b:C140-11", "Trailer permanent ground", note="Apart from the lamps' ground, as ISO 11446 asks"),
    _w("b:GC3-1 b:C140-12", "Trailer ignition ground", note="Apart from the lamps' ground, as ISO 11446 asks"),
)
ALL: tuple[Wiring, ...] = (
    *BATTERY,
    *MAIN_RELAY,
    *CRANK_AND_CAM,
    *SENSORS,
    *INJECTORS,
    *DRIVERS,
    *SWITCHES,
    *RELAYS,
    *ENGINE_GROUNDS,
    *CONTROLS,
    *DATA,
    *LAMPS,
    *BODY,
    *BRAKES,
    *BODY_GROUNDS,
)
