"""The function dictionary: what a pin is for, in whose words, and what it usually needs.

The table holds one row per function. Two columns keep it short:

``numbers``  a range such as ``1-8``; the row stands for one entry per number, ``{n}`` in its texts being the number;
``ends``     further pins that the same component usually has, each an entry of its own:
             ``ref`` 5 V reference, ``feed`` switched 12 V supply, ``rtn`` own signal return, ``gnd`` power ground,
             ``scr`` screen; the code gets ``_REF``, ``_FEED``, ``_RTN``, ``_GND`` or ``_SCR``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property

from pinmap.core.errors import InputError
from pinmap.core.facts import sources
from pinmap.core.model.words import Direction, Kind

TABLE = "functions"
UNASSIGNED = "unassigned"  # group of the entries that stand for no function: spare, left to the maker
STATES = "KCIFA"
_NUMBER = "{n}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FunctionEntry:
    """One function. ``kind`` and ``direction`` are those at the component: sensor, actuator, load or bus node.

    current_a is the usual steady and peak_a the usual short-time current [A], None where none is known; ``states``
    names the load cases in which a load is on (K key-on, C cranking, I idle, F full load, A after-run); min_v is the
    least voltage at which the component still works [V]; ``colour`` is the usual loom colour, base/tracer.
    """

    code: str
    name: str
    group: str = "user"
    synonyms: tuple[str, ...] = ()
    kind: Kind = Kind.UNKNOWN
    direction: Direction = Direction.PASSIVE
    current_a: float | None = None
    peak_a: float | None = None
    twist: bool = False
    screen: bool = False
    own_return: bool = False
    pull_up: bool = False
    critical: bool = False
    required: bool = False
    states: str = ""
    min_v: float | None = None
    colour: str = ""
    source: str = ""

    @property
    def words(self) -> tuple[str, ...]:
        """Everything it is called: code, name, synonyms."""
        return (self.code, self.name, *self.synonyms)


@dataclass(frozen=True)
class Dictionary:
    """Functions by code. A later entry with the same code replaces the earlier one, in its place."""

    entries: tuple[FunctionEntry, ...] = ()

    @cached_property
    def by_code(self) -> Mapping[str, FunctionEntry]:
        return {entry.code: entry for entry in self.entries}

    def get(self, code: str) -> FunctionEntry | None:
        return self.by_code.get(code)

    def with_entries(self, more: Iterable[FunctionEntry]) -> Dictionary:
        """A dictionary with more entries; one with a known code replaces it. Raises InputError for an empty code."""
        merged = dict(self.by_code)
        for entry in more:
            if not entry.code.strip():
                raise InputError("code", entry.code, f"give the function {entry.name!r} a code, such as ECT")
            if set(entry.states) - set(STATES):
                raise InputError(
                    "states", entry.states, f"use letters of {STATES}: key-on, cranking, idle, full, after"
                )
            merged[entry.code] = entry
        return Dictionary(tuple(merged.values()))


@cache
def dictionary() -> Dictionary:
    """The built-in dictionary, read once."""
    return Dictionary(tuple(entry for row in sources.rows(TABLE) for entry in _entries(row)))


def _entries(row: Mapping[str, str]) -> Iterator[FunctionEntry]:
    for number in _numbers(row["numbers"]):
        base = _entry({column: text.replace(_NUMBER, number) for column, text in row.items()})
        yield base
        ends = row["ends"].split()
        for end in ends:
            yield _end(base, end, bare_ground="rtn" not in ends)


def _numbers(text: str) -> tuple[str, ...]:
    if not text:
        return ("",)
    first, _, last = text.partition("-")
    return tuple(str(n) for n in range(int(first), int(last) + 1))


def _entry(row: Mapping[str, str]) -> FunctionEntry:
    needs = set(row["needs"].split())
    return FunctionEntry(
        code=row["code"],
        name=row["name"],
        group=row["group"],
        synonyms=_split(row["synonyms"]),
        kind=Kind(row["kind"]),
        direction=Direction(row["direction"]),
        current_a=_number(row["current_a"]),
        peak_a=_number(row["peak_a"]),
        twist="twist" in needs,
        screen="screen" in needs,
        own_return="own-return" in needs,
        pull_up="pull-up" in needs,
        critical="critical" in needs,
        required="required" in needs,
        states=row["states"],
        min_v=_number(row["min_v"]),
        colour=row["colour"],
        source=row["source"],
    )


@dataclass(frozen=True, slots=True)
class _End:
    name: str
    kind: Kind
    direction: Direction
    words: tuple[str, ...]  # put behind each of the component's names
    colour: str


_ENDS = {
    "ref": _End("5 V reference", Kind.REFERENCE_5V, Direction.IN, ("5 V", "5V", "reference", "5 V supply"), "RD/WH"),
    "feed": _End("supply", Kind.SUPPLY_87, Direction.IN, ("supply", "feed", "12 V", "power"), "RD"),
    "rtn": _End("return", Kind.SENSOR_GROUND, Direction.IN, ("return", "ground", "signal ground"), "BN"),
    "gnd": _End("ground", Kind.GROUND, Direction.IN, ("ground", "earth", "power ground", "31"), "BK"),
    "scr": _End("screen", Kind.SCREEN, Direction.PASSIVE, ("screen", "shield", "drain"), "BK"),
}


def _end(base: FunctionEntry, end: str, *, bare_ground: bool) -> FunctionEntry:
    """``bare_ground``: plain "ground" means the power ground, as there is no signal return to mean instead."""
    shape = _ENDS[end]
    plain_words = bare_ground or end != "gnd"
    words = shape.words if plain_words else shape.words[1:]
    stem = _bare(base.name)
    names = dict.fromkeys((stem, *(_bare(text) for text in (base.code, *base.synonyms) if len(text) > 2)))
    carries = shape.kind in {Kind.SUPPLY_87, Kind.GROUND}
    return FunctionEntry(
        code=f"{base.code}_{end.upper()}",
        name=f"{stem} {'' if plain_words else 'power '}{shape.name}",
        group=base.group,
        synonyms=tuple(dict.fromkeys(f"{name} {word}" for name in names for word in words)),
        kind=shape.kind,
        direction=shape.direction,
        current_a=base.current_a if carries else 0.0 if shape.kind is Kind.SCREEN else 0.01,
        peak_a=base.peak_a if carries else None,
        twist=base.twist,
        screen=base.screen,
        critical=base.critical and shape.kind is not Kind.SCREEN,
        required=base.required and shape.kind is not Kind.SCREEN,
        states=base.states,
        colour=shape.colour,
        source=base.source,
    )


def _bare(name: str) -> str:
    """The component's name: "Rail pressure sensor signal" is of the rail pressure sensor."""
    return re.sub(r"\s+(signal|control|output)$", "", name)


def _split(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split("|") if part.strip())


def _number(text: str) -> float | None:
    return float(text) if text else None
