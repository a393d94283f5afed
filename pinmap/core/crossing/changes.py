"""What differs between two states of a job or of a platform, field by field: from what, to what, at which pin.

The one comparison behind the record of changes, and behind what a late save is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from pinmap.core.crossing.field_words import JobNames, field_words, value_words
from pinmap.core.errors import Difference
from pinmap.core.model.jobs import Acceptance, Job, PinFate, Signal, as_plain
from pinmap.core.model.pinouts import Housing, Pin, PinKey, Platform

ADDED, REMOVED, ORDER, JOINS = "added", "removed", "order", "joins"
NOTHING = "–"


@dataclass(frozen=True, slots=True)
class Change:
    """One field of one thing; "" stands for what was not there. ``pin`` is the pin concerned, if it is one."""

    subject: str
    field: str
    old: str
    new: str
    pin: PinKey | None = None

    @property
    def mirrored(self) -> Change:
        """The change back."""
        field = {ADDED: REMOVED, REMOVED: ADDED}.get(self.field, self.field)
        return Change(self.subject, field, self.new, self.old, self.pin)


def job_changes(before: Job, after: Job, platforms: Iterable[Platform] = ()) -> tuple[Change, ...]:
    """Everything that differs between two states of a job, in the order in which a job is made; none for equal states
    only. ``platforms`` give their pins' names."""
    platforms = tuple(platforms)
    said = _Said(JobNames(before, platforms).value, JobNames(after, platforms).value)
    found = said.fields("the job", before, after, ("key", "name", "customer", "note", "next_number"))
    found += said.fields("the shop's practice", before.practice, after.practice)
    for part, called in _PARTS.items():
        old, new = getattr(before, part), getattr(after, part)
        if old != new:
            found += said.records(old, new, _key, called)
    if before.signals != after.signals:
        found += said.records(before.signals, after.signals, _key, _signal, without=("members",))
        found += _memberships(before, after, platforms)
    if before.fates != after.fates:
        ends = JobNames(after, platforms).end
        found += said.records(before.fates, after.fates, _pin_of, lambda f: f"pin {ends(f.pin)}", pin=_pin_of)
    if before.acceptances != after.acceptances:
        found += _acceptances(said, before.acceptances, after.acceptances)
    return tuple(found)


def platform_changes(before: Platform | None, after: Platform | None) -> tuple[Change, ...]:
    """Everything that differs between two states of a platform; None for one that is not there."""
    old, new = before or after, after or before
    if old is None or new is None:
        return ()

    def part(name: str) -> tuple[Any, Any]:
        return (getattr(before, name) if before else (), getattr(after, name) if after else ())

    def pin(record: Pin) -> PinKey:
        return record.key(new.key)

    found = _PLAIN.fields("the platform", old, new, ("name", "role", "nominal_v", "note", "source"))
    found += _PLAIN.records(*part("editions"), _key, lambda e: f"edition {e.key}")
    found += _PLAIN.records(*part("connectors"), lambda c: c.name, lambda c: f"connector {c.name}")
    found += _PLAIN.records(*part("pins"), pin, _pin_called, pin=pin)
    return tuple(found)


def housing_changes(before: Housing | None, after: Housing | None) -> tuple[Change, ...]:
    """Everything that differs between two states of a housing."""
    old, new = (before,) if before else (), (after,) if after else ()
    return tuple(_PLAIN.records(old, new, _key, lambda h: f"housing {h.key}"))


def plain_changes(subject: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Change, ...]:
    """What differs between two mappings of field names to values."""
    return tuple(
        Change(subject, name, value_words(name, before.get(name)), value_words(name, after.get(name)))
        for name in dict.fromkeys((*after, *before))
        if before.get(name) != after.get(name)
    )


def differences(changes: Iterable[Change]) -> tuple[Difference, ...]:
    """Changes as whoever saved too late reads them, what is counted for wire ids left out."""
    return tuple(
        Difference(
            c.subject,
            "" if c.field in _WHOLE else field_words(c.field),
            c.old or ("not there" if c.field == ADDED else NOTHING),
            c.new or ("taken out" if c.field == REMOVED else NOTHING),
            c.field,
        )
        for c in changes
        if c.field != "next_number"
    )


Said = Callable[[str, Any], str]


@dataclass(frozen=True, slots=True)
class _Said:
    """How values of the two states read."""

    before: Said
    after: Said

    def fields(
        self, subject: str, old: Any, new: Any, names: Iterable[str] = (), pin: PinKey | None = None
    ) -> list[Change]:
        """What differs between two states of one record; all fields where no ``names`` are given."""
        return [
            Change(subject, n, self.before(n, getattr(old, n)), self.after(n, getattr(new, n)), pin)
            for n in names or (f.name for f in fields(old))
            if getattr(old, n) != getattr(new, n)
        ]

    def records(
        self,
        old: Sequence[Any],
        new: Sequence[Any],
        key: Callable[[Any], Any],
        subject: Callable[[Any], str],
        *,
        without: Sequence[str] = (),
        pin: Callable[[Any], PinKey] | None = None,
    ) -> list[Change]:
        """Records that come, go, change in a field, or stand in another order."""
        before, after = {key(r): r for r in old}, {key(r): r for r in new}
        found: list[Change] = []
        for name in dict.fromkeys((*after, *before)):
            was, becomes = before.get(name), after.get(name)
            at = pin(becomes or was) if pin is not None else None
            if was is None:
                found.append(Change(subject(becomes), ADDED, "", _summary(becomes, without, self.after), at))
            elif becomes is None:
                found.append(Change(subject(was), REMOVED, _summary(was, without, self.before), "", at))
            elif was != becomes:
                names = [f.name for f in fields(was) if f.name not in without]
                found += self.fields(subject(was), was, becomes, names, at)
        return found + _order(subject(new[0]).partition(" ")[0] + "s" if new else "", list(before), list(after))


_PLAIN = _Said(value_words, value_words)
_WHOLE = (ADDED, REMOVED)
_PARTS: Mapping[str, Callable[[Any], str]] = {
    "seats": lambda s: f"seat {s.name}",
    "looms": lambda x: f"loom {x.name}",
    "nodes": lambda n: f"{n.kind} {n.name or n.key}",
    "segments": lambda s: f"run {s.key}",
    "fixings": lambda x: f"{x.kind} {x.key}",
    "matings": lambda m: f"mating {m.key}",
    "zones": lambda z: f"zone {z.name}",
    "devices": lambda d: f"{d.kind} {d.key}",
    "load_cases": lambda c: f"operating state {c.name}",
}


def _key(record: Any) -> Any:
    return record.key


def _pin_of(fate: PinFate) -> PinKey:
    return fate.pin


def _pin_called(pin: Pin) -> str:
    return f"pin {pin.connector}-{pin.cavity}" + (f" ({', '.join(pin.editions)})" if pin.editions else "")


def _signal(signal: Signal) -> str:
    return f"signal {signal.number} {signal.name}".rstrip()


def _acceptances(said: _Said, old: Sequence[Acceptance], new: Sequence[Acceptance]) -> list[Change]:
    """All of an acceptance tells it apart; a file made elsewhere may even hold one twice."""

    def whole(a: Acceptance) -> tuple[str, str, str]:
        return (a.finding, a.by, a.reason)

    def several(acceptances: Sequence[Acceptance]) -> str:
        return "; ".join(", ".join(whole(a)) for a in acceptances)

    found = said.records(old, new, whole, lambda a: f"finding {a.finding}")
    return found or [Change("findings accepted", ORDER, several(old), several(new))]


def _summary(record: Any, without: Sequence[str], said: Said) -> str:
    """Every field that is not at its default."""
    plain = as_plain(record)
    shown = ((f.name, getattr(record, f.name)) for f in fields(record) if f.name in plain and f.name not in without)
    return "; ".join(f"{field_words(name)} {said(name, value)}" for name, value in shown)


def _order(subject: str, old: Sequence[Any], new: Sequence[Any]) -> list[Change]:
    """Whether what stands in both states stands there in another order."""
    stay_old, stay_new = [k for k in old if k in set(new)], [k for k in new if k in set(old)]
    if stay_old == stay_new:
        return []
    return [Change(subject, ORDER, "; ".join(map(str, stay_old)), "; ".join(map(str, stay_new)))]


def _memberships(before: Job, after: Job, platforms: Sequence[Platform]) -> list[Change]:
    """Which ends came to a signal or left it, and what was changed at one."""
    was_called, called = JobNames(before, platforms).member, JobNames(after, platforms).member
    was_there, there = ({s.key: s for s in job.signals} for job in (before, after))
    found: list[Change] = []
    for key in dict.fromkeys((*there, *was_there)):
        was, becomes = was_there.get(key), there.get(key)
        subject = _signal(was or there[key])
        was_ends = {m.end: m for m in was.members} if was is not None else {}
        ends = {m.end: m for m in becomes.members} if becomes is not None else {}
        for end in dict.fromkeys((*ends, *was_ends)):
            old, new = was_ends.get(end), ends.get(end)
            if old != new:
                pin = end if isinstance(end, PinKey) else None
                found.append(Change(subject, JOINS, was_called(old) if old else "", called(new) if new else "", pin))
        found += _order(f"{subject}, its ends", list(was_ends), list(ends))
    return found
