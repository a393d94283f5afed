"""In what two states of a job or of a platform differ, in the words of those who build the loom."""

from __future__ import annotations

import enum
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from typing import Any, TypeVar

from pinmap.core.errors import Difference
from pinmap.core.model.jobs import Job, Member, Pick, PinFate, Seat, Signal
from pinmap.core.model.looms import Device, DeviceEnd, End, Node, Segment, Zone
from pinmap.core.model.pinouts import ConnectorKey, Edition, PinKey, Platform

NOTHING = "–"

# What a field is called where people type it.
WORDS: Mapping[str, str] = {
    "a": "From",
    "ambient_c": "Hottest steady air",
    "b": "To",
    "by": "Accepted by",
    "cavity": "Cavity",
    "coil_ohm": "Coil",
    "colour": "Wire colour",
    "component": "Component",
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
    "joint": "How ends meet",
    "max_untwisted_m": "Most untwisted",
    "members": "Ends",
    "min_mm2": "Least wire size",
    "min_v": "Least voltage",
    "mm2": "Wire size",
    "length_m": "Length",
    "length_mm": "Length mm",
    "mates": "Mates with",
    "nominal_v": "Supply",
    "only_with": "Only with",
    "peak_a": "Peak",
    "picks": "Picks",
    "rating_a": "Rating",
    "screen": "Screen group",
    "service_loop_m": "Service loop",
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
_UNITS = {"mm2": "mm²", "a": "A", "v": "V", "ohm": "Ω", "c": "°C", "pct": "%", "g": "g"}

R = TypeVar("R")
K = TypeVar("K")


def field_words(name: str) -> str:
    """What a field is called on the screen."""
    return WORDS.get(name) or name.replace("_", " ").strip().capitalize()


def job_differences(before: Job, after: Job, platforms: Iterable[Platform] = ()) -> tuple[Difference, ...]:
    """What differs between two states of one job, part by part. ``platforms`` give their pins' names."""
    names = _Names(before, after, platforms)
    out = _fields("the job", before, after, ("name", "customer", "note"), names.value)
    out += _fields("the shop's practice", before.practice, after.practice, _all(before.practice), names.value)
    kinds: tuple[tuple[str, Callable[[Any], Any], Callable[[Any], str], Callable[[Any], str]], ...] = (
        ("seats", _key, lambda s: f"seat {s.name}", names.seat),
        ("signals", _key, lambda s: f"signal {s.number} {s.name}", names.signal),
        ("devices", _key, lambda d: f"{d.kind} {d.key}", names.device),
        ("looms", _key, lambda x: f"loom {x.name}", lambda x: x.name),
        ("nodes", _key, lambda n: f"{n.kind} {n.name or n.key}", names.node),
        ("segments", _key, lambda s: f"run {s.key}", names.segment),
        ("zones", _key, lambda z: f"zone {z.name}", names.zone),
        ("load_cases", _key, lambda c: f"operating state {c.name}", lambda c: f"{c.supply_v:g} V"),
    )
    for name, key, where, summary in kinds:
        out += _records(getattr(before, name), getattr(after, name), key, where, summary, names.value)
    old, new = ({f.pin: names.fate(f) for f in job.fates} for job in (before, after))
    out += _words(old, new, lambda pin: f"pin {names.end(pin)}", "Fate", "undecided, or joined")
    had, has = ({a.finding: f"{a.by}: {a.reason}" for a in job.acceptances} for job in (before, after))
    out += _words(had, has, lambda finding: f"finding {finding}", "Accepted by", NOTHING)
    return tuple(out)


def _words(
    before: Mapping[K, str], after: Mapping[K, str], where: Callable[[K], str], what: str, without: str
) -> list[Difference]:
    """What is said of things in one line each, ``without`` where nothing is said."""
    pairs = ((k, before.get(k, without), after.get(k, without)) for k in {**before, **after})
    return [Difference(where(k), what, old, new) for k, old, new in pairs if old != new]


def platform_differences(before: Platform, after: Platform) -> tuple[Difference, ...]:
    """What differs between two states of one platform."""
    out = _fields("the platform", before, after, ("name", "role", "nominal_v", "note", "source"), _plain)
    out += _records(
        before.editions, after.editions, _key, lambda e: f"edition {e.key}", lambda e: _years(e) or e.name, _plain
    )
    out += _records(
        before.connectors,
        after.connectors,
        lambda c: c.name,
        lambda c: f"connector {c.name}",
        lambda c: c.description or c.housing or c.name,
        _plain,
    )
    out += _records(
        before.pins,
        after.pins,
        lambda p: p.key(""),
        lambda p: f"pin {p.connector}-{p.cavity}" + (f" ({', '.join(p.editions)})" if p.editions else ""),
        lambda p: ", ".join(x for x in (p.function, p.kind.value, p.direction.value, p.wire_colour) if x),
        _plain,
    )
    return tuple(out)


def record_differences(where: str, before: R, after: R) -> tuple[Difference, ...]:
    """What differs between two states of one record, field by field."""
    return tuple(_fields(where, before, after, _all(before), _plain))


def _key(record: Any) -> Any:
    return record.key


def _all(record: Any) -> tuple[str, ...]:
    return tuple(f.name for f in fields(record))


def _years(edition: Edition) -> str:
    return f"{edition.from_year}–{edition.to_year or ''}" if edition.from_year else ""


def _records(
    before: Sequence[R],
    after: Sequence[R],
    key: Callable[[R], Any],
    where: Callable[[R], str],
    summary: Callable[[R], str],
    value: Callable[[str, Any], str],
) -> list[Difference]:
    """Records that are gone, new, or changed in a field."""
    old, new = {key(r): r for r in before}, {key(r): r for r in after}
    out = [Difference(where(r), "", summary(r) or "there", "taken out") for k, r in old.items() if k not in new]
    out += [Difference(where(r), "", "not there", summary(r) or "there") for k, r in new.items() if k not in old]
    for k, r in old.items():
        if k in new and r != new[k]:
            out += _fields(where(r), r, new[k], _all(r), value)
    return out


def _fields(
    where: str, before: object, after: object, names: Iterable[str], value: Callable[[str, Any], str]
) -> list[Difference]:
    out = []
    for name in names:
        old, new = getattr(before, name), getattr(after, name)
        if old != new:
            out.append(Difference(where, field_words(name), value(name, old), value(name, new), name))
    return out


def _plain(name: str, value: Any) -> str:
    """A value as it reads on the screen, its unit from the field's name."""
    if value is None or value == "" or value == ():
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, enum.Enum):
        return str(value.value)
    if isinstance(value, int | float):
        stem, _, unit = name.rpartition("_")
        if unit == "m" and stem:
            return f"{value * 1000:.6g} mm"
        unit = _UNITS.get(unit if stem else name, "")
        return f"{value:.6g} {unit}".strip()
    if isinstance(value, tuple):
        return ", ".join(": ".join(map(str, v)) if isinstance(v, tuple) else _plain(name, v) for v in value)
    return str(value)


class _Names:
    """How the parts of a job are called, from both of its states."""

    def __init__(self, before: Job, after: Job, platforms: Iterable[Platform]) -> None:
        self.platforms = {p.key: p.name for p in platforms}
        self.nodes = {n.key: n.name or n.key for job in (before, after) for n in job.nodes}
        self.zones = {z.key: z.name for job in (before, after) for z in job.zones}

    def end(self, end: End) -> str:
        if isinstance(end, DeviceEnd):
            return f"{end.device} {end.terminal}"
        edition = f" ({end.edition})" if end.edition else ""
        return f"{self.platforms.get(end.platform, end.platform)} {end.connector}-{end.cavity}{edition}"

    def pick(self, pick: Pick) -> str:
        name = self.platforms.get(pick.platform, pick.platform)
        return f"{name}, {pick.edition}" if pick.edition else name

    def value(self, name: str, value: Any) -> str:
        if isinstance(value, PinKey | DeviceEnd):
            return self.end(value)
        if isinstance(value, ConnectorKey):
            return f"{self.platforms.get(value.platform, value.platform)} {value.connector}"
        if name == "members":
            return ", ".join(self._member(m) for m in value) or NOTHING
        if name == "picks":
            return ", ".join(map(self.pick, value)) or NOTHING
        if name == "only_with":
            return self.platforms.get(value, value) or "all variants"
        if name in ("place", "a", "b"):
            return self.nodes.get(value, value) or NOTHING
        if name == "zone":
            return self.zones.get(value, value) or NOTHING
        return _plain(name, value)

    def _member(self, m: Member) -> str:
        own = [x for x in (_plain("mm2", m.mm2) if m.mm2 else "", m.colour) if x]
        section = f", section {m.section}" if m.section else ""
        return self.end(m.end) + section + (f" ({', '.join(own)})" if own else "")

    def seat(self, seat: Seat) -> str:
        return self.value("picks", seat.picks)

    def signal(self, signal: Signal) -> str:
        return self.value("members", signal.members)

    def fate(self, fate: PinFate) -> str:
        who = " by ".join(x for x in (fate.owner, fate.due) if x)
        return f"{fate.fate}: {fate.reason}" + (f" ({who})" if who else "")

    def device(self, device: Device) -> str:
        parts = [device.name, *(_plain(f, getattr(device, f)) for f in ("rating_a", "resistance_ohm", "coil_ohm"))]
        return ", ".join(p for p in parts if p and p != NOTHING)

    def node(self, node: Node) -> str:
        return f"mates with {self.value('mates', node.mates)}" if node.mates else node.name or node.key

    def segment(self, run: Segment) -> str:
        return f"{self.value('a', run.a)} to {self.value('b', run.b)}, {_plain('length_m', run.length_m)}"

    def zone(self, zone: Zone) -> str:
        return _plain("ambient_c", zone.ambient_c)
