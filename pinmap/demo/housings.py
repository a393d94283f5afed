"""The connector bodies of the demo, invented, each in two halves that mate."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from pinmap.core.model.pinouts import Cavity, Housing
from pinmap.core.model.words import Gender

_SOURCE = "invented for the demo"
_HALF = {Gender.PIN: "pins", Gender.SOCKET: "sockets"}


@dataclass(frozen=True, slots=True)
class _Family:
    """What all bodies of a family share. ``rows`` is the greatest number of rows."""

    name: str
    terminal: str
    sealed: bool
    rows: int = 2


_FAMILIES = {
    "t15": _Family("Sealed sensor plug, 1.5 mm contacts", "blade-1.5-sealed", True),
    "t28": _Family("Sealed plug, 2.8 mm contacts", "blade-2.8-sealed", True),
    "t63": _Family("Sealed power plug, 6.3 mm contacts", "blade-6.3-sealed", True),
    "cu": _Family("Control unit plug", "blade-1.5-sealed", True, 4),
    "ou": _Family("Control unit header", "blade-1.5-sealed", True, 3),
    "bh": _Family("Bulkhead plug", "blade-2.8-sealed", True, 4),
    "abs": _Family("Brake unit plug", "blade-4.8-sealed", True),
    "ch": _Family("Chassis plug", "blade-2.8-sealed", True),
}
_RINGS = {"stud-m5": 5, "stud-m6": 6, "stud-m8": 8, "stud-m10": 10}
_NAMED = {"t15-3abc": ("L", "S", "DFM")}
_KEYS = (
    *("t15-2", "t15-3", "t15-3abc", "t15-4", "t15-5", "t15-6", "t15-6b", "t15-6k"),
    *("t28-1", "t28-2a", "t28-2b", "t28-2c", "t28-2d", "t28-5", "t28-5k", "t28-6"),
    *("t63-2", "t63-3", "t63-4", "t63-5", "t63-8"),
    *("cu-48", "cu-56", "ou-48a", "ou-48b", "bh-36", "bh-40", "abs-18", "ch-20"),
)


def half(key: str, gender: Gender) -> str:
    """Key of one half of a body."""
    return f"{key}-{_HALF[gender]}"


@cache
def demo_housings() -> tuple[Housing, ...]:
    """Every body of the demo, pins and sockets."""
    bodies = [_plug(key, gender) for key in _KEYS for gender in _HALF]
    rings = [_ring(key, size, gender) for key, size in _RINGS.items() for gender in _HALF]
    return (*bodies, *rings, *(_service(gender) for gender in _HALF))


def _plug(key: str, gender: Gender) -> Housing:
    found = re.fullmatch(r"([a-z]+\d*)-(\d+)([a-z]*)", key)
    assert found is not None
    family, ways, keying = _FAMILIES[found[1]], int(found[2]), found[3]
    names = _NAMED.get(key, tuple(str(n) for n in range(1, ways + 1)))
    columns = -(-ways // min(family.rows, 1 if ways <= 3 else family.rows))
    cavities = tuple(
        Cavity(name=name, column=float(_seen(i % columns, columns, gender)), row=float(i // columns))
        for i, name in enumerate(names)
    )
    coding = f", coding {keying.upper()}" if keying else ""
    return Housing(
        key=half(key, gender),
        name=f"{family.name}, {ways}-way{coding}, {_HALF[gender]}",
        cavities=cavities,
        gender=gender,
        family=key,
        keying=keying.upper(),
        sealed=family.sealed,
        terminal=family.terminal,
        source=_SOURCE,
        lock="top",
    )


def _seen(column: int, columns: int, gender: Gender) -> int:
    """Cavity 1 is at the left on the face of the pins, so at the right on the face of the sockets."""
    return column if gender is Gender.PIN else columns - 1 - column


def _ring(key: str, size: int, gender: Gender) -> Housing:
    return Housing(
        key=half(key, gender),
        name=f"M{size} stud" if gender is Gender.PIN else f"Ring terminal for an M{size} stud",
        cavities=(Cavity(name="1", column=0.0, row=0.0),),
        gender=gender,
        family=key,
        terminal=f"ring-M{size}",
        shape="circle",
        source=_SOURCE,
    )


def _service(gender: Gender) -> Housing:
    """Nine cavities in a ring of eight around A, as SAE J1939-13 has them."""
    places = {"A": (1, 1), "B": (1, 0), "C": (0, 0), "D": (0, 1), "E": (0, 2), "F": (1, 2), "G": (2, 2), "H": (2, 1)}
    places["J"] = (2, 0)
    return Housing(
        key=half("round-9", gender),
        name=f"Round service connector, 9-way, {_HALF[gender]}",
        cavities=tuple(
            Cavity(name=name, column=float(_seen(column, 3, gender)), row=float(row))
            for name, (column, row) in places.items()
        ),
        gender=gender,
        family="round-9",
        sealed=True,
        terminal="blade-1.5-sealed",
        shape="circle",
        source="SAE J1939-13, letters; positions simplified",
    )
