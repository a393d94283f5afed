"""The columns of a pinout table, one list for reading and writing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

from pinmap.core.errors import InputError
from pinmap.core.facts.colours import read_colour
from pinmap.core.facts.functions import Dictionary
from pinmap.core.facts.kinds import parse_direction, parse_evidence, parse_kind
from pinmap.core.model.pinouts import Pin, Platform
from pinmap.core.model.words import Direction, Evidence, Kind
from pinmap.exchange import numbers_in
from pinmap.exchange.nearest import nearest


@dataclass(frozen=True)
class Context:
    """What a cell is read against: the platform's editions, the function dictionary, the column's own heading."""

    platform: Platform | None = None
    dictionary: Dictionary | None = None
    heading: str = ""

    @cached_property
    def edition_keys(self) -> Mapping[str, str]:
        """Edition key and name, as typed without regard to case -> key."""
        if self.platform is None:
            return {}
        by_name = {e.name.casefold(): e.key for e in self.platform.editions}
        return by_name | {e.key.casefold(): e.key for e in self.platform.editions}

    @cached_property
    def function_codes(self) -> Mapping[str, str]:
        """Code, name and synonyms of the dictionary -> code; words that two entries share are left out."""
        found: dict[str, str] = {}
        if self.dictionary is not None:
            for entry in self.dictionary.entries:
                for word in (entry.name, *entry.synonyms):
                    key = word.casefold()
                    found[key] = entry.code if found.get(key, entry.code) == entry.code else ""
            found |= {entry.code.casefold(): entry.code for entry in self.dictionary.entries}
        return {word: code for word, code in found.items() if code}


_WORDS = 120  # characters; a longer cell of a word column is no word, and is kept out of the caches
# A table of thousands of rows has a few dozen different words.
_parse_kind = lru_cache(4096)(parse_kind)
_parse_direction = lru_cache(4096)(parse_direction)
_parse_evidence = lru_cache(4096)(parse_evidence)


@lru_cache(4096)
def _colour_note(value: str) -> str:
    reading = read_colour(value)
    return "" if reading.codes else reading.note


Parsed = tuple[Any, str]  # (value, a note for the user or "")
Parser = Callable[[str, Context], Parsed]


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: ``name`` is its heading in files that Pinmap writes, ``field`` the pin's attribute. Synonyms are
    other people's headings, each with how sure it is (0 to 1)."""

    name: str
    title: str
    field: str
    parse: Parser
    format: Callable[[Pin], str]
    help: str
    synonyms: Mapping[str, float]


def _text(value: str, _context: Context) -> Parsed:
    return value, ""


def _kind(value: str, _context: Context) -> Parsed:
    if not value:
        return Kind.UNKNOWN, ""
    found = _parse_kind(value) if len(value) <= _WORDS else None
    if found is None:
        hint = nearest(value, [k.value for k in Kind])
        raise InputError("kind", value, f"write one of Pinmap's kinds{hint}, or leave it empty if it is not known")
    return found, ""


def _direction(value: str, _context: Context) -> Parsed:
    if not value:
        return Direction.PASSIVE, ""
    found = _parse_direction(value) if len(value) <= _WORDS else None
    if found is None:
        raise InputError("direction", value, "write out (this side gives), in (it needs), both or passive")
    return found, ""


def _evidence(value: str, _context: Context) -> Parsed:
    """(evidence, reference); our own spelling "manual: page 12" first, so that it reads back exactly."""
    if not value:
        return (Evidence.ASSUMED, ""), ""
    word, colon, ref = value.partition(":")
    if word.casefold() in set(Evidence) and (colon or not ref):
        return (Evidence(word.casefold()), ref.strip()), ""
    evidence, ref = _parse_evidence(value) if len(value) <= _WORDS else (Evidence.ASSUMED, value)
    return (evidence, ref), f"read as {evidence.value}" + (f" ({ref[:_WORDS]})" if ref else "")


def _colour(value: str, _context: Context) -> Parsed:
    """Kept as typed: what is written on a wire is evidence. A note says when it cannot be read as a colour."""
    if len(value) > _WORDS:
        return value, "too long to be a colour"
    return value, _colour_note(value) if value else ""


def _editions(value: str, context: Context) -> Parsed:
    if not value or value.casefold() in ("all", "every", "any", "*"):
        return (), ""
    known = context.edition_keys
    if not known:
        if context.platform is not None:
            raise InputError("edition", value, "this platform has no editions; add the edition first or leave it empty")
        return tuple(dict.fromkeys(part.strip() for part in value.split(";") if part.strip())), ""
    if value.casefold() in known:
        return (known[value.casefold()],), ""
    parts = [p.strip() for p in value.replace(",", ";").replace("+", ";").split(";") if p.strip()]
    wrong = [p for p in parts if p.casefold() not in known]
    if wrong:
        names = ", ".join(sorted(set(known.values())))
        raise InputError("edition", wrong[0], f"this platform's editions are {names}; several are parted by ;")
    return tuple(dict.fromkeys(known[p.casefold()] for p in parts)), ""


def _code(value: str, context: Context) -> Parsed:
    if not value or not context.function_codes:
        return value, ""
    found = context.function_codes.get(value.casefold())
    if found is None:
        return value, "not in the function dictionary; the text is kept and the function is left to be recognised"
    return found, ""


def _current(field_name: str) -> Parser:
    return lambda value, _context: numbers_in.current(field_name, value)


def _area(value: str, context: Context) -> Parsed:
    heading = context.heading.casefold()
    return numbers_in.area("wire_mm2", value, gauge="awg" in heading or ("gauge" in heading and "mm" not in heading))


def _evidence_text(pin: Pin) -> str:
    return f"{pin.evidence.value}: {pin.evidence_ref}" if pin.evidence_ref else pin.evidence.value


COLUMNS: tuple[Column, ...] = (
    Column(
        name="connector", title="Connector", field="connector", parse=_text, format=lambda p: p.connector,
        help="the connector's name or number, such as C101",
        synonyms={"conn": 1, "connector no": 1, "connector name": 1, "connector id": 1, "plug": 0.9, "plug no": 0.9,
                  "socket": 0.7, "housing": 0.6, "unit connector": 0.9, "con": 0.8, "stecker": 1, "block": 0.5},
    ),
    Column(
        name="cavity", title="Cavity", field="cavity", parse=_text, format=lambda p: p.cavity,
        help="the cavity as it is numbered on the connector: 7, B2, 007",
        synonyms={"pin": 1, "pin no": 1, "pin number": 1, "pin id": 0.9, "pin nr": 1, "terminal": 0.8, "term": 0.8,
                  "terminal no": 0.9, "terminal number": 0.9, "way": 0.9, "way no": 0.9, "pos": 0.9, "position": 0.9,
                  "cav": 1, "cavity no": 1, "cavity number": 1, "contact": 0.9, "contact no": 0.9, "hole": 0.6,
                  "no": 0.5, "number": 0.5, "nr": 0.5, "chamber": 0.6, "#": 0.6, "kontakt": 0.9},
    ),
    Column(
        name="function", title="Function", field="function", parse=_text, format=lambda p: p.function,
        help="what the pin does, in the words of its source",
        synonyms={"signal": 0.95, "signal name": 1, "circuit": 0.8, "circuit name": 0.95, "circuit description": 0.95,
                  "description": 0.9, "function description": 1, "pin function": 1, "pin name": 0.9, "designation": 0.8,
                  "name": 0.7, "purpose": 0.8, "use": 0.6, "used for": 0.7, "label": 0.6, "connected to": 0.5,
                  "funktion": 1, "belegung": 0.9, "bezeichnung": 0.8},
    ),
    Column(
        name="function_code", title="Function code", field="function_code", parse=_code,
        format=lambda p: p.function_code, help="code of the function dictionary, where it is known",
        synonyms={"code": 0.6, "din": 0.9, "din 72552": 1, "din designation": 1, "din code": 1, "sae": 0.7,
                  "j1930": 0.9, "function id": 0.9},
    ),
    Column(
        name="kind", title="Kind", field="kind", parse=_kind, format=lambda p: p.kind.value,
        help="electrical kind, such as supply-30, ground-31, can-h",
        synonyms={"electrical kind": 1, "type": 0.8, "signal type": 0.95, "pin type": 0.9, "electrical type": 1,
                  "signal kind": 1, "level": 0.5},
    ),
    Column(
        name="direction", title="Direction", field="direction", parse=_direction, format=lambda p: p.direction.value,
        help="out: this side gives; in: it needs; both; passive",
        synonyms={"dir": 1, "in/out": 1, "in out": 1, "i/o": 1, "io": 1, "input/output": 1, "input output": 1,
                  "in or out": 1},
    ),
    Column(
        name="current_a", title="Current (A)", field="current_a", parse=_current("current_a"),
        format=lambda p: numbers_in.shown(p.current_a), help="steady current in amperes; empty means not known",
        synonyms={"current": 1, "amps": 0.9, "amp": 0.9, "ampere": 0.9, "amperes": 0.9, "a": 0.6, "load": 0.6,
                  "rated current": 0.95, "nominal current": 0.95, "continuous current": 1, "steady current": 1,
                  "load a": 0.8, "strom": 0.9},
    ),
    Column(
        name="peak_a", title="Peak (A)", field="peak_a", parse=_current("peak_a"),
        format=lambda p: numbers_in.shown(p.peak_a), help="short-time current in amperes; empty means not known",
        synonyms={"peak": 1, "peak current": 1, "inrush": 0.95, "inrush current": 1, "inrush a": 1, "surge": 0.9,
                  "max current": 0.8, "maximum current": 0.8, "stall current": 0.9, "peak amps": 1},
    ),
    Column(
        name="wire_colour", title="Wire colour", field="wire_colour", parse=_colour, format=lambda p: p.wire_colour,
        help="colour of the wire that is there now",
        synonyms={"colour": 1, "color": 1, "wire color": 1, "col": 0.9, "cable colour": 1, "cable color": 1,
                  "colour code": 0.9, "color code": 0.9, "clr": 0.8, "wire": 0.5, "farbe": 1},
    ),
    Column(
        name="wire_mm2", title="Wire (mm²)", field="wire_mm2", parse=_area,
        format=lambda p: numbers_in.shown(p.wire_mm2), help="size of the wire that is there now; 18 AWG is understood",
        synonyms={"mm2": 1, "mm²": 1, "gauge": 0.9, "csa": 1, "awg": 1, "wire size": 1, "wire gauge": 1, "size": 0.8,
                  "cross section": 1, "cross-section": 1, "section": 0.7, "area": 0.7, "wire awg": 1, "wire csa": 1,
                  "cable size": 1, "querschnitt": 1},
    ),
    Column(
        name="edition", title="Edition", field="editions", parse=_editions, format=lambda p: ";".join(p.editions),
        help="editions that have this pin, parted by ; (empty: all)",
        synonyms={"editions": 1, "model year": 0.9, "year": 0.8, "years": 0.8, "variant": 0.8, "market": 0.7,
                  "option": 0.6, "model": 0.6},
    ),
    Column(
        name="evidence", title="Evidence", field="evidence", parse=_evidence, format=_evidence_text,
        help="assumed, manual: <page>, or measured: <by whom, when>",
        synonyms={"source": 0.9, "proof": 0.9, "verified": 0.8, "reference": 0.7, "ref": 0.6, "confirmed": 0.8,
                  "status": 0.5, "page": 0.6},
    ),
    Column(
        name="component", title="Component", field="component", parse=_text, format=lambda p: p.component,
        help="the part whose end this pin is; pins with the same component belong together",
        synonyms={"part": 0.6, "device": 0.7, "belongs to": 0.8, "component name": 1, "goes to": 0.5, "actuator": 0.6,
                  "sensor": 0.6},
    ),
    Column(
        name="note", title="Note", field="note", parse=_text, format=lambda p: p.note, help="anything else",
        synonyms={"notes": 1, "remark": 1, "remarks": 1, "comment": 1, "comments": 1, "description": 0.5,
                  "info": 0.6, "bemerkung": 1},
    ),
)  # fmt: skip

BY_NAME: Mapping[str, Column] = {c.name: c for c in COLUMNS}
NAMES: tuple[str, ...] = tuple(BY_NAME)
