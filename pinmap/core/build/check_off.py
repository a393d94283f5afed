"""What is checked off at the bench: each piece cut, each end crimped and inserted, each test of the ring-out; and where
each of these lines stands after what was written down of it.

What was written down names what it was about. A line that has changed since is to be done again, and says what changed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from operator import itemgetter

from pinmap.core.build.comparison import Difference, FieldChange, Thing
from pinmap.core.build.cut_list import cut_list
from pinmap.core.build.described import end_place, length_words, size_words
from pinmap.core.build.ends import EndWords, end_words
from pinmap.core.build.ring_out import RingOut
from pinmap.core.build.table import BuildRow
from pinmap.core.loom.results import Routing, Wire, WireEnd
from pinmap.core.model.bench import Content, Entry, Stage, Verdict, digest
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import natural_key


class Standing(StrEnum):
    """Where a line stands now."""

    OPEN = "to do"
    AGAIN = "to do again"
    FAILED = "failed"
    DONE = "done"
    PASSED = "passed"

    @property
    def good(self) -> bool:
        return self in (Standing.DONE, Standing.PASSED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One thing to check off. ``key`` names it within its stage for as long as it is the same thing; ``place`` is what
    the list is grouped by; a continuity test reads limit_ohm at most, one of isolation at least [ohm]."""

    stage: Stage
    key: str
    name: str
    place: str
    loom: str
    signal_name: str
    content: Content
    limit_ohm: float | None = None
    pin: PinKey | None = None

    @property
    def ref(self) -> str:
        """Short name for addresses and forms."""
        return line_ref(self.stage, self.key)

    @property
    def digest(self) -> str:
        return digest(self.content)


@dataclass(frozen=True)
class LineState:
    """A line with all that was written down of it, the oldest first. ``line`` is None for what is no longer part of the
    loom but was checked off."""

    line: Line | None
    history: tuple[Entry, ...] = ()

    @property
    def last(self) -> Entry | None:
        return self.history[-1] if self.history else None

    @property
    def stage(self) -> Stage:
        return self.line.stage if self.line is not None else self.history[-1].stage

    @property
    def name(self) -> str:
        return self.line.name if self.line is not None else self.history[-1].name

    @property
    def ref(self) -> str:
        return self.line.ref if self.line is not None else line_ref(self.stage, self.history[-1].line)

    @property
    def content(self) -> Content:
        return self.line.content if self.line is not None else self.history[-1].content

    @property
    def digest(self) -> str:
        return self.line.digest if self.line is not None else self.history[-1].digest

    @cached_property
    def standing(self) -> Standing:
        last = self.last
        if last is None or last.verdict is Verdict.TAKEN_BACK:
            return Standing.OPEN
        if self.line is None or last.digest != self.line.digest:
            return Standing.AGAIN
        return Standing(last.verdict.value)

    def content_words(self, units: str) -> tuple[tuple[str, str], ...]:
        """What the line is about, as the bench reads it; of what is no longer there, as it was."""
        return content_words(self.content, units)

    def changes(self, units: str) -> tuple[FieldChange, ...]:
        """What differs between the line as it was checked off last and as it is now, in words."""
        if self.standing is not Standing.AGAIN or self.last is None or self.line is None:
            return ()
        then, now = (Thing(self.name, content_words(c, units)) for c in (self.last.content, self.line.content))
        return Difference(self.line.key, then, now).changes


@dataclass(frozen=True, slots=True)
class Progress:
    """How many lines stand how."""

    total: int
    good: int
    failed: int
    again: int

    @property
    def open(self) -> int:
        return self.total - self.good - self.failed - self.again

    @property
    def complete(self) -> bool:
        return self.good == self.total > 0

    def words(self, good: str) -> str:
        """Such as "41 of 96 passed, 2 failed, 3 to do again"."""
        more = [f"{n} {word}" for n, word in ((self.failed, "failed"), (self.again, "to do again")) if n]
        return ", ".join((f"{self.good} of {self.total} {good}", *more))


def line_ref(stage: Stage, key: str) -> str:
    return hashlib.sha256(f"{stage}\n{key}".encode("utf-8", "surrogatepass")).hexdigest()[:16]


def lines(snapshot: Snapshot, routing: Routing, rows: Sequence[BuildRow], plan: RingOut) -> tuple[Line, ...]:
    """Everything to check off on one loom of a variant, stage by stage, each in the order of the work."""
    by_wire = {row.wire: row for row in rows}
    looms = {w.id: _loom(snapshot, w.a) for w in routing.wires}
    found: list[Line] = []
    for spool in cut_list(rows):
        for cut in spool.cuts:
            row = by_wire[cut.wire]
            laid = (("twisted_in", row.twist), ("screened_in", row.screen))
            found.append(
                Line(
                    stage=Stage.CUT,
                    key=row.wire,
                    name=f"wire {row.wire}",
                    place=" ".join(x for x in (f"{spool.mm2:g} mm²", spool.colour, spool.insulation) if x),
                    loom=looms[row.wire],
                    signal_name=row.signal_name,
                    content=(*_piece(row), *laid),
                )
            )
    order = {x.key: number for number, x in enumerate(snapshot.job.looms)}
    ends = [
        (
            (order.get(_loom(snapshot, wire_end), len(order)), natural_key(end.place), natural_key(end.cavity)),
            Line(
                stage=Stage.ENDS,
                key=f"{row.wire} {side}",
                name=f"wire {row.wire} at {end_place(end)}",
                place=end.place,
                loom=_loom(snapshot, wire_end),
                signal_name=row.signal_name,
                content=(*_piece(row), *_end(end)),
                pin=wire_end.pin,
            ),
        )
        for row in rows
        for side, (end, wire_end) in zip("ab", _sides(row, routing.wire[row.wire]), strict=True)
    ]
    found += [line for _, line in sorted(ends, key=itemgetter(0))]
    found += _tests(snapshot, plan, by_wire, looms)
    return tuple(found)


def _sides(row: BuildRow, wire: Wire) -> list[tuple[EndWords, WireEnd]]:
    """Both ends in an order that does not depend on which of them is called the first."""
    return sorted(((row.start, wire.a), (row.end, wire.b)), key=lambda side: natural_key(side[1].point))


def _tests(
    snapshot: Snapshot, plan: RingOut, by_wire: Mapping[str, BuildRow], looms: Mapping[str, str]
) -> Iterable[Line]:
    for test in plan.continuity:
        ways = tuple((f"wire {w}", _wire_words(by_wire[w])) for w in test.wires)
        most_ohm = round(test.limit_ohm, 3)  # as lists print it, so that a reading equal to what is printed passes
        yield Line(
            stage=Stage.CONTINUITY,
            key=f"{test.at.point} {test.to.point}",
            name=f"{test.start} to {test.end}",
            place=end_words(snapshot, test.at).place,
            loom=looms[test.wires[0]] if test.wires else _loom(snapshot, test.at),
            signal_name=test.signal_name,
            content=(("from", test.start), ("to", test.end), ("at_most_ohm", most_ohm), *ways),
            limit_ohm=most_ohm,
            pin=test.at.pin,
        )
    for insulation in plan.isolation:
        # A net that joins the loom later is tested against this one by its own line, so the others do not count here.
        yield Line(
            stage=Stage.ISOLATION,
            key=insulation.at.point,
            name=f"{insulation.point} against {insulation.against}",
            place=end_words(snapshot, insulation.at).place,
            loom=_loom(snapshot, insulation.at),
            signal_name=insulation.signal_name,
            content=(("points", ", ".join(insulation.points)), ("at_least_ohm", insulation.least_ohm)),
            limit_ohm=insulation.least_ohm,
            pin=insulation.at.pin,
        )


def _loom(snapshot: Snapshot, end: WireEnd) -> str:
    node = snapshot.node.get(end.node)
    return node.loom if node is not None else ""


def _piece(row: BuildRow) -> Content:
    """What makes a piece of wire another one; lengths are rounded as they are cut, so that float noise is no change."""
    return (
        ("mm2", row.mm2),
        ("colour", row.colour),
        ("insulation", row.insulation),
        ("cut_m", round(row.cut_m, 6)),
    )


def _end(end: EndWords) -> Content:
    return (("place", end_place(end)), ("terminal", end.terminal))


def _wire_words(row: BuildRow) -> str:
    """A wire on the way of a test: re-cut or re-crimped, it is to be measured again."""
    ends = " to ".join(f"{end_place(e)} ({e.terminal})" if e.terminal else end_place(e) for e in (row.start, row.end))
    kind = " ".join(x for x in (f"{row.mm2:g} mm²", row.colour, row.insulation) if x)
    return f"{kind}, {row.cut_m * 1000:.0f} mm, {ends}"


def content_words(content: Content, units: str) -> tuple[tuple[str, str], ...]:
    """The fields of a line as the bench reads them."""
    return tuple(_field_words(name, value, units) for name, value in content)


def _field_words(name: str, value: str | float, units: str) -> tuple[str, str]:
    if isinstance(value, str):
        return name.replace("_", " "), value
    if name == "mm2":
        return "size", size_words(value, units)
    if name == "cut_m":
        return "cut", length_words(value, units)
    return name.removesuffix("_ohm").replace("_", " "), ohm_words(value)


def ohm_words(value_ohm: float) -> str:
    """Such as "0.062 Ω" or "10 MΩ"."""
    return f"{value_ohm / 1e6:g} MΩ" if value_ohm >= 1e6 else f"{value_ohm:.4g} Ω"


def told(verdict: Verdict, value_ohm: float | None, note: str) -> str:
    """What is written down, such as "passed; 0.048 Ω; second try"."""
    return "; ".join(x for x in (verdict.value, ohm_words(value_ohm) if value_ohm is not None else "", note) if x)


def entry_words(entry: Entry) -> str:
    return told(entry.verdict, entry.value_ohm, entry.note)


def states(found: Iterable[Line], entries: Iterable[Entry]) -> tuple[LineState, ...]:
    """Every line with what was written down of it, in the order of the lines; at the end what was cut or crimped and is
    no longer part of the loom. A test that is no longer asked for leaves nothing to do."""
    histories: dict[tuple[Stage, str], list[Entry]] = {}
    for entry in sorted(entries, key=lambda e: e.id):
        histories.setdefault((entry.stage, entry.line), []).append(entry)
    known = [LineState(line, tuple(histories.pop((line.stage, line.key), ()))) for line in found]
    gone = [LineState(None, tuple(history)) for history in histories.values()]
    return (*known, *(s for s in gone if s.standing is Standing.AGAIN and not s.stage.measured))


def progress(found: Iterable[LineState]) -> Progress:
    """How far these lines are; what is no longer part of the loom counts as to be done again."""
    standings = [s.standing for s in found]
    return Progress(
        len(standings),
        sum(s.good for s in standings),
        standings.count(Standing.FAILED),
        standings.count(Standing.AGAIN),
    )
