"""What to do to a loom that was built to an older state, so that it becomes the newer one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from pinmap.core.build.comparison import Described, Difference, Thing, Turn, compare
from pinmap.core.build.described import end_place, length_words, size_words
from pinmap.core.build.ends import EndWords
from pinmap.core.build.table import BuildRow
from pinmap.core.model.words import natural_key

_LENGTH_M = 1e-6  # lengths are rounded to the cutting step; what differs by less is float noise


class Deed(StrEnum):
    """What a builder does, in the order in which it is done at the bench."""

    REMOVE = "remove"
    RECUT = "re-cut"  # a new piece of wire instead of the old one
    ADD = "add"
    RECRIMP = "re-crimp"  # the piece stays, an end gets a new terminal
    RESPLICE = "re-splice"
    MOVE = "move"  # the terminal goes into another cavity
    RELAY = "re-lay"  # twist, screen or way
    EXCHANGE = "exchange"  # a part that is not wire
    RELABEL = "re-label"


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to do: such as re-cut, "wire 14B", "0.75 mm² → 1 mm²; to D3-7 → D3-8"."""

    deed: Deed
    what: str
    how: str


@dataclass(frozen=True, slots=True)
class State:
    """What of a state the bench works by; ``ways`` are those of its wires, ``described`` its other parts."""

    rows: Sequence[BuildRow]
    ways: Mapping[str, str]
    described: Described


def rework(old: State, new: State, units: str) -> tuple[Task, ...]:
    """Tasks in the order of the bench, then in natural order of what they are done to. Equal states give none."""
    found = [*_wires(old, new, units), *_others(old.described, new.described)]
    order = list(Deed)
    return tuple(sorted(found, key=lambda t: (order.index(t.deed), natural_key(t.what))))


def counts(tasks: Iterable[Task]) -> dict[Deed, int]:
    """How many tasks of each deed, in the order of the bench; deeds without a task are left out."""
    found = Counter(t.deed for t in tasks)
    return {deed: found[deed] for deed in Deed if found[deed]}


def _wires(old: State, new: State, units: str) -> Iterable[Task]:
    before, after = {r.wire: r for r in old.rows}, {r.wire: r for r in new.rows}
    for wire in before.keys() | after.keys():
        was, becomes = before.get(wire), after.get(wire)
        if becomes is None:
            assert was is not None
            yield Task(Deed.REMOVE, f"wire {wire}", _piece(was, units))
        elif was is None:
            yield Task(Deed.ADD, f"wire {wire}", _piece(becomes, units))
        else:
            yield from _changed(_facing(was, becomes), becomes, old.ways.get(wire, ""), new.ways.get(wire, ""), units)


def _piece(row: BuildRow, units: str) -> str:
    kind = " ".join(x for x in (size_words(row.mm2, units), row.colour, row.insulation) if x)
    return f"{kind}, {length_words(row.cut_m, units)}, from {end_place(row.start)} to {end_place(row.end)}"


def _facing(was: BuildRow, becomes: BuildRow) -> BuildRow:
    """The older wire in the direction in which more of its ends stay where they are."""

    def stay(start: EndWords, end: EndWords) -> int:
        return (end_place(start) == end_place(becomes.start)) + (end_place(end) == end_place(becomes.end))

    return replace(was, start=was.end, end=was.start) if stay(was.end, was.start) > stay(was.start, was.end) else was


def _changed(was: BuildRow, becomes: BuildRow, old_way: str, new_way: str, units: str) -> Iterable[Task]:
    deeds: list[Deed] = []
    how: list[str] = []

    def note(deed: Deed, text: str) -> None:
        deeds.append(deed)
        how.append(text)

    if was.mm2 != becomes.mm2:
        note(Deed.RECUT, f"{size_words(was.mm2, units)} → {size_words(becomes.mm2, units)}")
    for word, a, b in (("", was.colour, becomes.colour), ("insulation ", was.insulation, becomes.insulation)):
        if a != b:
            note(Deed.RECUT, f"{word}{a or 'any colour'} → {b or 'any colour'}")
    longer_m = becomes.cut_m - was.cut_m
    if abs(longer_m) > _LENGTH_M:
        lengths = f"{length_words(was.cut_m, units)} → {length_words(becomes.cut_m, units)}"
        if longer_m > 0:
            note(Deed.RECUT, f"longer, {lengths}")
        else:
            note(Deed.RECRIMP, f"shorten one end, {lengths}")
    for side, left, goes in (("from", was.start, becomes.start), ("to", was.end, becomes.end)):
        if deed := _end_deed(left, goes):
            terminal = f" with {goes.terminal}" if left.terminal != goes.terminal and goes.cavity else ""
            places = end_place(goes) if end_place(left) == end_place(goes) else f"{end_place(left)} → {end_place(goes)}"
            note(deed, f"{side} {places}{terminal}")
    for word, a, b in (
        ("twisted in", was.twist, becomes.twist),
        ("screened in", was.screen, becomes.screen),
    ):
        if a != b:
            note(Deed.RELAY, f"{word} {a or 'none'} → {b or 'none'}")
    if old_way != new_way:
        note(Deed.RELAY, f"by way of {old_way} → {new_way}")
    if not deeds and was.label != becomes.label:
        note(Deed.RELABEL, f"{was.label} → {becomes.label}")
    if deeds:
        order = list(Deed)
        yield Task(min(deeds, key=order.index), f"wire {becomes.wire}", "; ".join(how))


def _end_deed(was: EndWords, becomes: EndWords) -> Deed | None:
    if end_place(was) == end_place(becomes) and was.terminal == becomes.terminal:
        return None
    if not was.cavity or not becomes.cavity:  # a splice has none
        return Deed.RESPLICE
    return Deed.MOVE if was.terminal == becomes.terminal else Deed.RECRIMP


# What of the other subjects is seen on the finished loom, and what is done when it differs.
_SEEN: dict[str, tuple[Deed, frozenset[str]]] = {
    "Splices": (Deed.RESPLICE, frozenset({"where", "joins wires"})),
    "Connectors and devices": (
        Deed.EXCHANGE,
        frozenset({"housing", "value", "place", "part", "empty cavities plugged"}),
    ),
    "Lengths": (Deed.EXCHANGE, frozenset({"covering"})),
}


def _others(old: Described, new: Described) -> Iterable[Task]:
    kept_old, kept_new = ({s: _only_seen(d.get(s, {}), names) for s, (_, names) in _SEEN.items()} for d in (old, new))
    for section in compare(kept_old, kept_new):
        changed, _ = _SEEN[section.subject]
        for difference in section.differences:
            deed = {Turn.ADDED: Deed.ADD, Turn.REMOVED: Deed.REMOVE, Turn.CHANGED: changed}[difference.turn]
            if {c.field for c in difference.changes} == {"name"}:
                deed = Deed.RELABEL
            if how := _how(difference):
                yield Task(deed, difference.name, how)


def _only_seen(things: Mapping[str, Thing], names: frozenset[str]) -> dict[str, Thing]:
    return {key: replace(t, fields=tuple(f for f in t.fields if f[0] in names)) for key, t in things.items()}


def _how(difference: Difference) -> str:
    if difference.turn is Turn.CHANGED:
        return "; ".join(f"{c.field} {c.old or 'none'} → {c.new or 'none'}" for c in difference.changes)
    return "; ".join(f"{c.field} {c.old or c.new}" for c in difference.changes if c.old or c.new)
