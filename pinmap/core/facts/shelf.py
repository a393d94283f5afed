"""The shelf: pinouts of standard connectors, as platforms that anybody can check."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from pinmap.core.facts import sources
from pinmap.core.facts.parts import mate_of
from pinmap.core.model.pinouts import Cavity, Connector, Housing, Pin, Platform
from pinmap.core.model.words import Direction, Evidence, Gender, Kind, Role

FROM_MEMORY = "from memory"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfEntry:
    """A standard connector. ``source`` says how its pin list was read, ``caution`` what can hurt."""

    key: str
    title: str
    standard: str
    source: str
    platform: Platform
    housings: tuple[Housing, ...]
    caution: str


@cache
def standard_housings() -> Mapping[str, Housing]:
    """Housings of standard connectors by key: the vehicle's or unit's half, and its mate with ``-mate`` behind."""
    faces: dict[str, list[Cavity]] = {}
    for row in sources.rows("standard_cavities"):
        faces.setdefault(row["housing"], []).append(
            Cavity(name=row["cavity"], column=float(row["column"]), row=float(row["row"]))
        )
    found: dict[str, Housing] = {}
    for row in sources.rows("standard_housings"):
        half = Housing(
            key=row["key"],
            name=row["name"],
            cavities=tuple(faces[row["key"]]),
            gender=Gender(row["gender"]),
            family=row["family"],
            keying=row["keying"],
            sealed=row["sealed"] == "yes",
            terminal=row["terminal"],
            shape=row["shape"],
            source=row["geometry"],
        )
        mate = mate_of(half, f"{half.key}-mate", f"{half.name}: its mate")
        found |= {half.key: half, mate.key: mate}
    return found


@cache
def shelf() -> tuple[ShelfEntry, ...]:
    """All standard connectors, in the table's order."""
    blocks: dict[str, list[dict[str, str]]] = {}
    for row in sources.rows("shelf_connectors"):
        blocks.setdefault(row["key"], []).append(row)
    pins: dict[str, list[dict[str, str]]] = {}
    for row in sources.rows("shelf_pins"):
        pins.setdefault(row["shelf"], []).append(row)
    return tuple(_entry(group, pins[key]) for key, group in blocks.items())


def _entry(blocks: list[dict[str, str]], pins: list[dict[str, str]]) -> ShelfEntry:
    head = blocks[0]
    halves = tuple(standard_housings()[block["housing"]] for block in blocks)
    platform = Platform(
        key=head["key"],
        name=f"{head['standard']}: {head['title']}",
        role=Role(head["role"]),
        connectors=tuple(
            Connector(
                name=block["connector"],
                description=head["title"],
                housing=half.key,
                gender=half.gender,
                sealed=half.sealed,
                terminal=half.terminal,
                note=half.source,
            )
            for block, half in zip(blocks, halves, strict=True)
        ),
        pins=tuple(_pin(head, row) for row in pins),
        nominal_v=float(head["nominal_v"]),
        note=head["note"],
        source=f"{head['standard']} ({head['read']})",
    )
    mates = tuple(standard_housings()[f"{half.key}-mate"] for half in halves)
    return ShelfEntry(
        key=head["key"],
        title=head["title"],
        standard=head["standard"],
        source=head["source"],
        platform=platform,
        housings=(*halves, *mates),
        caution=head["caution"],
    )


def _pin(head: Mapping[str, str], row: Mapping[str, str]) -> Pin:
    """What was only remembered counts as assumed, so that a build table shows it as unproven."""
    remembered = head["read"] == FROM_MEMORY
    return Pin(
        connector=row["connector"],
        cavity=row["cavity"],
        function=row["function"],
        function_code=row["function_code"],
        kind=Kind(row["kind"]),
        direction=Direction(row["direction"]),
        current_a=float(row["current_a"]) if row["current_a"] else None,
        wire_colour=row["wire_colour"],
        wire_mm2=float(row["wire_mm2"]) if row["wire_mm2"] else None,
        evidence=Evidence.ASSUMED if remembered else Evidence.MANUAL,
        evidence_ref=f"{head['standard']}, {FROM_MEMORY}" if remembered else head["standard"],
        note=row["note"],
    )
