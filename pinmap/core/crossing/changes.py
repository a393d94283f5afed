"""What differs between two states of a job or of a platform, field by field: from what, to what, at which pin."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from pinmap.core.model.jobs import Acceptance, Job, Signal, as_plain
from pinmap.core.model.looms import End
from pinmap.core.model.pinouts import Connector, Edition, Housing, Pin, PinKey, Platform

ADDED, REMOVED, ORDER = "added", "removed", "order"


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


def in_words(value: Any) -> str:
    """A field's value as text; lists one item after the other, nothing as ""."""
    plain = as_plain(value)
    if plain is None:
        return ""
    if isinstance(plain, bool):
        return "yes" if plain else "no"
    if isinstance(plain, float):
        return repr(plain)
    if isinstance(value, PinKey):
        return str(value)
    if isinstance(plain, Mapping):
        return ", ".join(f"{k} {in_words(v)}" for k, v in plain.items())
    if isinstance(plain, list):
        items = value if isinstance(value, tuple | list) else plain
        return "; ".join(in_words(item) for item in items)
    return str(plain)


def job_changes(before: Job, after: Job) -> tuple[Change, ...]:
    """Everything that differs between two states of a job, in the order in which a job is made. None only for equal
    states."""
    found: list[Change] = []
    found += _fields("job", before, after, ("key", "name", "customer", "note", "next_number"))
    found += _fields("practice", before.practice, after.practice)
    for part in ("seats", "looms", "nodes", "segments", "zones", "devices", "load_cases"):
        old, new = getattr(before, part), getattr(after, part)
        if old != new:
            found += _records(old, new, lambda r: r.key, _called(part.removesuffix("s").replace("_", " ")))
    if before.signals != after.signals:
        found += _records(
            before.signals, after.signals, lambda s: s.key, lambda s: f"signal {s.number}", without=("members",)
        )
        found += _memberships(before.signals, after.signals)
    if before.fates != after.fates:
        found += _records(before.fates, after.fates, lambda f: f.pin, lambda f: f"pin {f.pin}", pin=lambda f: f.pin)
    if before.acceptances != after.acceptances:
        found += _acceptances(before.acceptances, after.acceptances)
    return tuple(found)


def platform_changes(before: Platform | None, after: Platform | None) -> tuple[Change, ...]:
    """Everything that differs between two states of a platform; None for one that is not there."""
    old, new = before or after, after or before
    if old is None or new is None:
        return ()
    found = _fields("platform", old, new, ("name", "role", "nominal_v", "note", "source"))

    def part(name: str) -> tuple[Any, Any]:
        return (getattr(before, name) if before else (), getattr(after, name) if after else ())

    key = new.key
    edition: Callable[[Edition], str] = lambda e: e.key  # noqa: E731  (a key function)
    connector: Callable[[Connector], str] = lambda c: c.name  # noqa: E731
    found += _records(*part("editions"), edition, lambda e: f"edition {e.key}")
    found += _records(*part("connectors"), connector, lambda c: f"connector {c.name}")

    def pin(record: Pin) -> PinKey:
        return record.key(key)

    found += _records(*part("pins"), pin, lambda p: f"pin {pin(p)}", pin=pin)
    return tuple(found)


def housing_changes(before: Housing | None, after: Housing | None) -> tuple[Change, ...]:
    """Everything that differs between two states of a housing."""
    return tuple(
        _records((before,) if before else (), (after,) if after else (), lambda h: h.key, lambda h: f"housing {h.key}")
    )


def plain_changes(subject: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Change, ...]:
    """What differs between two mappings of field names to values."""
    return tuple(
        Change(subject, name, in_words(before.get(name)), in_words(after.get(name)))
        for name in dict.fromkeys((*after, *before))
        if before.get(name) != after.get(name)
    )


def _called(noun: str) -> Callable[[Any], str]:
    return lambda record: f"{noun} {record.key}"


def _acceptances(old: Sequence[Acceptance], new: Sequence[Acceptance]) -> list[Change]:
    """All of an acceptance tells it apart; a file made elsewhere may even hold one twice."""

    def whole(a: Acceptance) -> tuple[str, str, str]:
        return (a.finding, a.by, a.reason)

    found = _records(old, new, whole, lambda a: f"finding {a.finding}")
    return found or [Change("findings accepted", ORDER, in_words(tuple(old)), in_words(tuple(new)))]


def _fields(subject: str, old: Any, new: Any, names: Iterable[str] = (), pin: PinKey | None = None) -> list[Change]:
    return [
        Change(subject, name, in_words(getattr(old, name)), in_words(getattr(new, name)), pin)
        for name in names or (f.name for f in fields(old))
        if getattr(old, name) != getattr(new, name)
    ]


def _summary(record: Any, without: Sequence[str]) -> str:
    """Every field that is not at its default."""
    shown = {f.name: getattr(record, f.name) for f in fields(record) if f.name not in without}
    plain = as_plain(record)
    return "; ".join(f"{name} {in_words(value)}" for name, value in shown.items() if name in plain)


def _records(
    old: Sequence[Any],
    new: Sequence[Any],
    key: Callable[[Any], Any],
    subject: Callable[[Any], str],
    *,
    without: Sequence[str] = (),
    pin: Callable[[Any], PinKey] | None = None,
) -> list[Change]:
    before, after = {key(r): r for r in old}, {key(r): r for r in new}
    found: list[Change] = []
    for name in dict.fromkeys((*after, *before)):
        was, becomes = before.get(name), after.get(name)
        at = pin(becomes or was) if pin is not None else None
        if was is None:
            found.append(Change(subject(becomes), ADDED, "", _summary(becomes, without), at))
        elif becomes is None:
            found.append(Change(subject(was), REMOVED, _summary(was, without), "", at))
        elif was != becomes:
            names = [f.name for f in fields(was) if f.name not in without]
            found += _fields(subject(becomes), was, becomes, names, at)
    found += _order(subject(new[0]).partition(" ")[0] + "s" if new else "", list(before), list(after))
    return found


def _order(subject: str, old: Sequence[Any], new: Sequence[Any]) -> list[Change]:
    """Whether what stands in both states stands there in another order."""
    stay_old, stay_new = [k for k in old if k in set(new)], [k for k in new if k in set(old)]
    if stay_old == stay_new:
        return []
    return [Change(subject, ORDER, "; ".join(map(str, stay_old)), "; ".join(map(str, stay_new)))]


def _memberships(old: Sequence[Signal], new: Sequence[Signal]) -> list[Change]:
    """Which ends came to a signal or left it, and what was changed at one."""
    before, after = {s.key: s for s in old}, {s.key: s for s in new}
    found: list[Change] = []
    for key in dict.fromkeys((*after, *before)):
        was, becomes = before.get(key), after.get(key)
        signal = becomes or was
        assert signal is not None
        subject = f"signal {signal.number}"
        was_ends = {m.end: m for m in was.members} if was is not None else {}
        ends = {m.end: m for m in becomes.members} if becomes is not None else {}
        for end in dict.fromkeys((*ends, *was_ends)):
            at = _pin(end)
            if end not in was_ends:
                found.append(Change(subject, "joins", "", _joined(ends[end]), at))
            elif end not in ends:
                found.append(Change(subject, "joins", _joined(was_ends[end]), "", at))
            elif was_ends[end] != ends[end]:
                found.append(Change(subject, "joins", _joined(was_ends[end]), _joined(ends[end]), at))
        found += _order(f"{subject}, its ends", list(was_ends), list(ends))
    return found


def _pin(end: End) -> PinKey | None:
    return end if isinstance(end, PinKey) else None


def _joined(member: Any) -> str:
    more = [
        f"{name} {in_words(getattr(member, name))}" for name in ("section", "mm2", "colour") if getattr(member, name)
    ]
    return "; ".join((str(member.end), *more))
