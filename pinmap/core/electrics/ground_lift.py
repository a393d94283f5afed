"""How far sensors' returns and control units' grounds lie above each other and above the engine's metal."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.constants import CRANK_JOINT_DROP_V, Constant
from pinmap.core.loom.results import pin_point
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Direction, Kind, Role

LOOK_V = Constant(0.1, "V", "common practice, workshop reports: ground drop under load worth a look")
FAIL_V = Constant(0.2, "V", "common practice, workshop reports: ground drop under load that is a fault")


@dataclass(frozen=True, slots=True, kw_only=True)
class GroundLift:
    """One ground in one load case [V against battery minus]: a sensor's return or a control unit's own ground. ``unit``
    is the ground pin of the control unit that reads the sensor, ``block`` a pin on the engine's metal; None where there
    is none or it hangs on nothing."""

    pin: PinKey
    sensor: bool
    case: str
    volts: float
    block: PinKey | None = None
    block_v: float = 0.0
    unit: PinKey | None = None
    unit_v: float = 0.0

    @property
    def over_block_v(self) -> float | None:
        return None if self.block is None else self.volts - self.block_v

    @property
    def over_unit_v(self) -> float | None:
        return None if self.unit is None else self.volts - self.unit_v

    @property
    def judged_v(self) -> float:
        """What spoils a reading: a sensor's return above the unit that reads it, any other ground above the metal."""
        found = self.over_block_v if self.over_unit_v is None else self.over_unit_v
        return abs(found or 0.0)


def limit_v(code: str) -> float:
    """What a ground may be lifted in a load case of this letter [V]."""
    return CRANK_JOINT_DROP_V.value if code == "C" else FAIL_V.value


def ground_lifts(snapshot: Snapshot, variant: Variant, report: ElectricalReport) -> tuple[GroundLift, ...]:
    """Every return of a sensor that a signal joins, and every control unit's ground (one pin for each unit, they are
    one inside it), in every load case in which it has a voltage; in platform order, the cases in the job's."""
    pins = snapshot.active_pins(variant)
    joined = [k for k in pins if k in snapshot.signal_of]
    blocks = [
        k for k in joined
        if pins[k].kind is Kind.GROUND and pins[k].direction is Direction.OUT
        and snapshot.role_of(k.platform) is Role.DONOR
    ]  # fmt: skip
    own: dict[str, PinKey] = {}
    for key in joined:
        pin = pins[key]
        is_unit = snapshot.role_of(key.platform) is Role.CONTROL
        if is_unit and pin.kind is Kind.GROUND and pin.direction is Direction.IN and not pin.component:
            own.setdefault(key.platform, key)
    asked: list[tuple[PinKey, bool, PinKey | None]] = [(key, False, None) for key in own.values()]
    for key in joined:
        if pins[key].kind is Kind.SENSOR_GROUND and pins[key].direction is Direction.IN:
            ends = [m.end for m in snapshot.signal_of[key].members if isinstance(m.end, PinKey) and m.end in pins]
            readers = [e.platform for e in ends if pins[e].direction is Direction.OUT and e.platform in own]
            asked.append((key, True, own[readers[0]] if readers else None))
    out = []
    for key, sensor, unit in asked:
        for case in snapshot.job.load_cases:
            volts = report.voltage_v.get(case.key, {})
            here = volts.get(pin_point(key))
            if here is None:
                continue
            near = [b for b in blocks if b.platform == key.platform] or blocks
            block = next((b for b in near if pin_point(b) in volts), None)
            reader = unit if unit is not None and pin_point(unit) in volts else None
            out.append(
                GroundLift(
                    pin=key, sensor=sensor, case=case.key, volts=here, block=block,
                    block_v=volts[pin_point(block)] if block is not None else 0.0, unit=reader,
                    unit_v=volts[pin_point(reader)] if reader is not None else 0.0,
                )
            )  # fmt: skip
    return tuple(out)
