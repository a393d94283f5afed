"""The platforms of the demo: donor, its glow module, two control units, a service socket and the host."""

from __future__ import annotations

from functools import cache

from pinmap.core.model.pinouts import Connector, Edition, Housing, Pin, Platform
from pinmap.core.model.words import Direction, Evidence, Gender, Kind, Role
from pinmap.demo.housings import demo_housings, half
from pinmap.demo.tables import rows

DONOR, GLOW, SEALED, OPEN, SERVICE, HOST = "quern-q24", "quern-qg4", "quern-qf2", "ou-48", "service-socket", "brindle-6"
EARLY, LATE = "early", "late"
_EXTRA = (
    "fuse_a", "terminator_ohm", "load_model", "load_value", "load_inrush_a", "load_inrush_s", "load_on_s",
    "load_period_s", "load_least_v",
)  # fmt: skip
_INVENTED = "invented for the demo"


@cache
def demo_platforms() -> tuple[Platform, ...]:
    """Every platform of the demo, donor first."""
    return (
        _platform(DONOR, "Quern Q24", Role.DONOR, note="2.4 l four-cylinder common-rail diesel, 105 kW"),
        _platform(GLOW, "Quern QG-4 glow module", Role.ACCESSORY, note="Carried over with the engine"),
        _platform(SEALED, "Quern QF-2", Role.CONTROL, note="The donor's own control unit, closed software"),
        _platform(OPEN, "OU-48", Role.CONTROL, note="Open control unit, programmed by the shop; fewer functions"),
        _platform(SERVICE, "Service socket J1939-13", Role.ACCESSORY, note="For the shop's tester"),
        _platform(
            HOST,
            "Brindle 6",
            Role.HOST,
            editions=(
                Edition(key=EARLY, name="1998 to 2001", from_year=1998, to_year=2001, note="Gauges and lamps by wire"),
                Edition(key=LATE, name="2002 to 2006", from_year=2002, to_year=2006, note="Cluster on the CAN bus"),
            ),
            note="Utility truck with part-time four-wheel drive; its old engine and front loom are taken out as one",
        ),
    )


def _platform(key: str, name: str, role: Role, *, editions: tuple[Edition, ...] = (), note: str) -> Platform:
    return Platform(
        key=key,
        name=name,
        role=role,
        editions=editions,
        connectors=tuple(_connector(row) for row in rows("connectors") if row["platform"] == key),
        pins=tuple(_pin(row) for row in rows(key)),
        note=note,
        source=_INVENTED,
    )


def _connector(row: dict[str, str]) -> Connector:
    housing = _housings()[half(row["housing"], Gender.PIN)]
    return Connector(
        name=row["connector"],
        description=row["description"],
        housing=housing.key,
        gender=Gender.PIN,
        sealed=housing.sealed,
        terminal=housing.terminal,
        editions=_list(row["edition"]),
        place=row["place"],
        note=row["note"],
    )


def _pin(row: dict[str, str]) -> Pin:
    evidence, _, reference = row["evidence"].partition(": ")
    return Pin(
        connector=row["connector"],
        cavity=row["cavity"],
        function=row["function"],
        function_code=row["function_code"],
        kind=Kind(row["kind"]),
        direction=Direction(row["direction"]),
        current_a=_number(row["current_a"]),
        peak_a=_number(row["peak_a"]),
        wire_colour=row["wire_colour"],
        wire_mm2=_number(row["wire_mm2"]),
        editions=_list(row["edition"]),
        evidence=Evidence(evidence),
        evidence_ref=reference,
        component=row["component"],
        note=row["note"],
        extra=tuple((name, row[name]) for name in _EXTRA if row.get(name)),
    )


@cache
def _housings() -> dict[str, Housing]:
    return {housing.key: housing for housing in demo_housings()}


def _list(text: str) -> tuple[str, ...]:
    return tuple(part for part in text.split(";") if part)


def _number(text: str) -> float | None:
    return float(text) if text else None
