"""How fields of a job, a platform or a part are called on the screen, and how their values read there."""

from __future__ import annotations

import enum
from collections.abc import Iterable, Mapping
from typing import Any

from pinmap.core.model.jobs import Job, Member, Pick, as_plain
from pinmap.core.model.looms import DeviceEnd, End, MatedCavity
from pinmap.core.model.pinouts import ConnectorKey, PinKey, Platform

# What a field is called where people type it.
WORDS: Mapping[str, str] = {
    "a": "From",
    "ambient_c": "Hottest steady air",
    "b": "To",
    "at_m": "Along the run",
    "by": "Accepted by",
    "cavities": "Cavities kept",
    "cavity": "Cavity",
    "coil_ohm": "Coil",
    "colour": "Wire colour",
    "component": "Component",
    "contact": "How to reach it",
    "confirmed": "Checked",
    "connector": "Connector",
    "covering": "Covering",
    "current_a": "Current",
    "cut_step_m": "Cut step",
    "drop_critical_pct": "Drop, critical loads",
    "drop_other_pct": "Drop, other loads",
    "due": "Due",
    "editions": "Editions",
    "evidence_ref": "Where from",
    "extra": "Other columns",
    "function": "Function",
    "function_code": "Function code",
    "gender": "Contacts",
    "hot": "Near exhaust",
    "inline": "In line",
    "label": "For whom",
    "inner_mm": "Clear diameter",
    "joint": "How ends meet",
    "max_untwisted_m": "Most untwisted",
    "members": "Ends",
    "min_mm2": "Least wire size",
    "min_v": "Least voltage",
    "mm2": "Wire size",
    "length_m": "Length",
    "line": "Line below the name",
    "length_mm": "Length mm",
    "mates": "Mates with",
    "nominal_v": "Supply",
    "only_with": "Only with",
    "peak_a": "Peak",
    "picks": "Picks",
    "rating_a": "Rating",
    "screen": "Screen group",
    "segment": "Run",
    "service_loop_m": "Service loop",
    "splice_apart_m": "Splices apart",
    "splice_overlap_m": "Splice overlap",
    "stock_mm2": "Sizes in stock",
    "strip_m": "Strip",
    "supply_v": "Supply",
    "twist": "Twist group",
    "twist_take_up_pct": "Twist take-up",
    "units": "Show sizes in",
    "via": "Led through",
    "wire_mm2": "Wire size",
}
_UNITS = {"mm2": "mm²", "a": "A", "v": "V", "ohm": "Ω", "c": "°C", "pct": "%", "g": "g", "mm": "mm"}


def field_words(name: str) -> str:
    """What a field is called on the screen."""
    return WORDS.get(name) or name.replace("_", " ").strip().capitalize()


def value_words(name: str, value: Any) -> str:
    """A value as it reads on the screen, its unit from the field's name; "" for nothing."""
    if value is None or value == "" or value == ():
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, enum.Enum):
        return str(value.value)
    if isinstance(value, int | float):
        return _quantity(name, value)
    if isinstance(value, PinKey | ConnectorKey | DeviceEnd):
        return str(value)
    if isinstance(value, tuple | list):
        return ", ".join(": ".join(map(str, v)) if isinstance(v, tuple | list) else value_words(name, v) for v in value)
    if isinstance(value, Mapping):
        return ", ".join(f"{k} {value_words(k, v)}" for k, v in value.items())
    plain = as_plain(value)
    return value_words(name, plain) if isinstance(plain, Mapping) else str(plain)


def _quantity(name: str, value: float) -> str:
    """Twelve digits, so that no two values that anybody typed read alike."""
    stem, _, unit = name.rpartition("_")
    if unit == "m" and stem:
        return f"{value * 1000:.12g} mm"
    return f"{value:.12g} {_UNITS.get(unit, '') if stem or unit == 'mm2' else ''}".strip()


class JobNames:
    """How the parts of one state of a job are called."""

    def __init__(self, job: Job, platforms: Iterable[Platform] = ()) -> None:
        self.platforms = {p.key: p.name for p in platforms}
        nodes = {n.key: n.name or n.key for n in job.nodes}
        zones = {z.key: z.name for z in job.zones}
        self._signals = {s.key: s.name for s in job.signals}
        looms = {x.key: x.name for x in job.looms}
        self._named = {
            "loom": looms,
            "only_with": self.platforms,
            "place": nodes,
            "a": nodes,
            "b": nodes,
            "zone": zones,
        }

    def end(self, end: End) -> str:
        if isinstance(end, DeviceEnd):
            return f"{end.device} {end.terminal}"
        edition = f" ({end.edition})" if end.edition else ""
        return f"{self.platforms.get(end.platform, end.platform)} {end.connector}-{end.cavity}{edition}"

    def member(self, member: Member) -> str:
        own = [x for x in (value_words("mm2", member.mm2), member.colour) if x]
        section = f", section {member.section}" if member.section else ""
        return self.end(member.end) + section + (f" ({', '.join(own)})" if own else "")

    def value(self, name: str, value: Any) -> str:
        """As ``value_words``, with the names of the job's own parts."""
        if isinstance(value, PinKey | DeviceEnd):
            return self.end(value)
        if isinstance(value, ConnectorKey):
            return f"{self.platforms.get(value.platform, value.platform)} {value.connector}"
        if name == "picks":
            return ", ".join(map(self._pick, value))
        if name == "cavities":
            return ", ".join(map(self._kept, value))
        if name in self._named:
            return self._named[name].get(value, str(value))
        return value_words(name, value)

    def _kept(self, kept: MatedCavity) -> str:
        section = f", section {kept.section}" if kept.section else ""
        return f"{kept.cavity} {self._signals.get(kept.signal, kept.signal)}{section}"

    def _pick(self, pick: Pick) -> str:
        name = self.platforms.get(pick.platform, pick.platform)
        return f"{name}, {pick.edition}" if pick.edition else name
