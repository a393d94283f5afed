"""Rules about returns, screens and studs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pinmap.core.electrics.ground_lift import FAIL_V, LOOK_V, GroundLift, ground_lifts, limit_v
from pinmap.core.loom.results import Wire, device_point
from pinmap.core.model.looms import DeviceEnd
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import DeviceKind, Direction, Fate, Kind, Role, Severity
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.finding import Working
from pinmap.core.rules.meeting import LOW_SIDES
from pinmap.core.rules.net_parts import NetPin, pin_refs

_WORKSHOP = "common practice, workshop reports"
_STUD_RINGS = 4
STARTER_POST = "STARTER_B+"  # function code of the starter's battery post


def _parted(pins: tuple[NetPin, ...]) -> tuple[list[NetPin], list[NetPin], list[NetPin]]:
    """Sensor grounds, ways back to battery minus, and returns of loads among the pins of a conductor."""
    sensor = [p for p in pins if p.pin.kind is Kind.SENSOR_GROUND]
    chassis = [p for p in pins if p.pin.kind is Kind.GROUND and p.pin.direction is Direction.OUT]
    loads = [
        p for p in pins if p.pin.direction is Direction.IN and (p.pin.kind is Kind.GROUND or p.pin.kind in LOW_SIDES)
    ]
    return sensor, chassis, loads


@rule(
    "R18",
    Severity.STOP,
    "A load returns through the sensor ground",
    explanation="The sensor ground is the zero that all sensors are measured against. A load's current lifts it, so "
    "that every sensor lies, and can burn the track inside the control unit.",
    limit="no length shared with a load's return",
    source=_WORKSHOP,
)
def load_on_sensor_ground(context: Context) -> Iterator[Hit]:
    for pins in context.group_pins:
        sensor, chassis, loads = _parted(pins)
        if not sensor or chassis or not loads:
            continue
        current = sum(p.pin.current_a or 0.0 for p in loads)
        yield Hit(
            where=(*context.pins_words(loads), context.pin_full(sensor[0].key)),
            refs=pin_refs(loads),
            numbers=(("return current", current, 0.0, "A"),) if current else (),
            why=f"the return of {len(loads)} load(s) stands on the same conductor as the sensor ground",
            way_out="give the load a return of its own to the engine block or the body's ground point",
        )


@rule(
    "R19",
    Severity.STOP,
    "Sensor ground tied to the chassis",
    explanation="The sensor ground meets battery minus in one place only, inside the control unit. Tied to the chassis "
    "outside, starter and alternator current finds its way through the unit.",
    limit="no joint outside the control unit",
    source=_WORKSHOP,
)
def sensor_ground_on_chassis(context: Context) -> Iterator[Hit]:
    for pins in context.group_pins:
        sensor, chassis, _ = _parted(pins)
        if not sensor or not chassis:
            continue
        at_unit = any(p.pin.direction is Direction.OUT for p in sensor)
        yield Hit(
            where=(*context.pins_words(sensor), context.pin_full(chassis[0].key)),
            refs=pin_refs((*sensor, *chassis)),
            severity=Severity.STOP if at_unit else Severity.FIX,
            why="the control unit's sensor ground is joined to battery minus outside the unit"
            if at_unit
            else "this sensor returns to the chassis and not to the control unit that reads it, so that every ground "
            "drop is added to its signal",
            way_out="take the sensors' returns to the control unit's sensor ground pin only",
        )


@rule(
    "R20",
    Severity.FIX,
    "Ground lifted under load",
    explanation="What the wires of a return lose lifts the zero that a control unit or a sensor measures from. Each "
    "sensor's return is held against the ground of the unit that reads it, or else the engine's metal, and each "
    "control unit's ground against the engine's metal, in every operating state. What a plain load's return "
    "loses is judged by R15.",
    limit="0.2 V, while cranking 0.5 V; 0.1 V at a sensor is worth a look",
    source=FAIL_V.source,
)
def lifted_ground(context: Context) -> Iterator[Hit]:
    codes = {c.key: c.code for c in context.snapshot.job.load_cases}
    worst: dict[PinKey, GroundLift] = {}
    for lift in ground_lifts(context.snapshot, context.variant, context.report):
        before = worst.get(lift.pin)
        if before is None or _by_limit(lift, codes) > _by_limit(before, codes):
            worst[lift.pin] = lift
    for key, lift in worst.items():
        fails = lift.judged_v > limit_v(codes[lift.case])
        looks = lift.sensor and codes[lift.case] != "C" and lift.judged_v > LOOK_V.value
        if not fails and not looks:
            continue
        case = context.case_name(lift.case)
        over = {"engine's metal": lift.over_block_v, "control unit's ground": lift.over_unit_v}
        yield Hit(
            where=(context.pin_full(key),),
            refs=(f"pin:{key}",),
            numbers=tuple(
                (f"above the {what}", volts, limit_v(codes[lift.case]), "V")
                for what, volts in over.items() if volts is not None
            ),
            severity=Severity.FIX if fails else Severity.NOTE,
            title="" if fails else "Ground lifted a little under load",
            why=f"in the case {case} it lies {lift.volts:.2f} V above battery minus",
            way_out="thicker or shorter ground wires, more ground pins of the unit in use, or the heavy loads' returns "
            "on a ground of their own",
            workings=tuple(
                Working(
                    what=f"above the {what}", formula="difference of two node voltages of the solved network",
                    inputs=(("load case", case), ("the ground", f"{lift.volts:.3f} V above battery minus"),
                            (f"the {what}", f"{lift.volts - volts:.3f} V above battery minus")),
                    source=FAIL_V.source,
                )
                for what, volts in over.items() if volts is not None
            ),
        )  # fmt: skip


def _by_limit(lift: GroundLift, codes: Mapping[str, str]) -> float:
    return lift.judged_v / limit_v(codes[lift.case])


@rule(
    "R28",
    Severity.FIX,
    "Screen grounded at both ends",
    explanation="A screen is grounded at one end, at the control unit. Grounded at both it carries current and brings "
    "in what it should keep out.",
    limit="one end",
    source="common practice",
)
def screen_both_ends(context: Context) -> Iterator[Hit]:
    for pins in context.group_pins:
        screens = [p for p in pins if p.pin.kind is Kind.SCREEN]
        grounds = [
            p
            for p in pins
            if p.pin.kind in {Kind.GROUND, Kind.SENSOR_GROUND}
            and p.pin.direction is Direction.OUT
            and not any(s.key.platform == p.key.platform for s in screens)
        ]
        if screens and grounds:
            found = [*screens, *grounds]
            yield Hit(
                where=context.pins_words(found),
                refs=pin_refs(found),
                numbers=(("grounded ends", 2.0, 1.0, ""),),
                why="the screen has a drain at the unit and meets a ground elsewhere as well",
                way_out="keep the drain at the control unit; insulate the screen at the far end",
            )


@rule(
    "R81",
    Severity.STOP,
    "Engine strap missing or too thin",
    explanation="The starter's whole current comes back through the strap between engine and body or battery. Without "
    "it, or with a thin one, it finds throttle cables, screens and sensor grounds.",
    limit="at least the section of the starter's supply cable, straps in parallel added",
    source="common practice",
)
def engine_strap(context: Context) -> Iterator[Hit]:
    for key, pin in context.pins.items():
        if pin.function_code != STARTER_POST or pin.direction is not Direction.IN or not context.wired(key):
            continue
        feed = sum(w.mm2 for w in context.routing.wires if key in {w.a.pin, w.b.pin})
        metal = [
            k
            for k, p in context.pins.items()
            if k.platform == key.platform and p.kind is Kind.GROUND and p.direction is Direction.OUT
        ]
        if not feed or not metal or any(context.fate(k) is Fate.RETAINED for k in metal):
            continue
        straps = [w for w in context.routing.wires if _is_strap(context, w, metal)]
        section = sum(w.mm2 for w in straps)
        if section < feed * 0.999:
            yield Hit(
                where=(context.platform_name(key.platform), *(f"wire {w.id}" for w in straps)),
                refs=tuple(f"wire:{w.id}" for w in straps) or pin_refs([NetPin(key, pin)]),
                numbers=(("strap", section, feed, "mm²"),),
                why=f"{section:g} mm² join the engine's metal to battery minus, the starter's cable has {feed:g} mm²"
                if straps
                else "no wire of the loom joins the engine's metal to a ground of the host, and no strap is retained",
                way_out="fit a strap as thick as the starter's cable between the engine and battery minus, or enter "
                "that the vehicle's own strap stays in service",
            )  # fmt: skip


def _is_strap(context: Context, wire: Wire, metal: list[PinKey]) -> bool:
    """One end on the engine's metal, the other on a host's way back to battery minus."""
    ends = [wire.a.pin, wire.b.pin]
    far = [k for k in ends if k is not None and k not in metal and k in context.pins]
    if not any(k in metal for k in ends) or not far:
        return False
    pin = context.pins[far[0]]
    return context.role(far[0]) is Role.HOST and pin.kind is Kind.GROUND and pin.direction is Direction.OUT


@rule(
    "R80",
    Severity.FIX,
    "Crowded ground stud",
    explanation="More than four rings on one stud do not all sit flat, and the joint works loose.",
    limit="4 rings",
    source="common practice",
)
def crowded_stud(context: Context) -> Iterator[Hit]:
    for device in context.devices.values():
        if device.kind is not DeviceKind.STUD:
            continue
        rings = len(context.routing.wires_at.get(device_point(DeviceEnd(device.key, "1")), ()))
        if rings > _STUD_RINGS:
            yield Hit(
                where=(context.device_words(device),),
                refs=(f"device:{device.key}",),
                numbers=(("rings", float(rings), float(_STUD_RINGS), ""),),
                why=f"{rings} wires end on this stud",
                way_out="crimp two wires into one larger ring where the sizes allow it, or use a second stud",
            )
