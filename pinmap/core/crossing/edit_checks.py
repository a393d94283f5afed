"""What every edit of a job looks at before it changes anything."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from typing import Any, Protocol, TypeVar

from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Job
from pinmap.core.model.looms import DeviceEnd, End, Mating
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import DEVICE_TERMINALS, IN_LINE_TERMINALS

_KEY = re.compile(r"\w[\w.+-]{0,79}\Z")


class Keyed(Protocol):
    """A record of a job that is named by a key."""

    @property
    def key(self) -> str: ...


K = TypeVar("K", bound=Keyed)


def find(items: Iterable[K], key: str, field: str) -> K:
    """The record of this key. Raises InputError that lists what there is."""
    known = tuple(items)
    for item in known:
        if item.key == key:
            return item
    names = ", ".join(item.key for item in known[:12]) + (" ..." if len(known) > 12 else "")
    raise InputError(field, key, f"choose one of: {names}" if names else f"there is no {field} yet; add one first")


def new_key(items: Iterable[Keyed], key: str, field: str) -> None:
    """Refuses a key that is taken or that could not stand in an address or a wire id."""
    if not _KEY.match(key):
        raise InputError(
            field, key, "begin with a letter or digit and use only letters, digits and . + - _ (80 at most)"
        )
    if any(item.key == key for item in items):
        raise InputError(field, key, "it is taken; choose another or change the one that has it")


def swap(items: tuple[K, ...], new: K) -> tuple[K, ...]:
    """The same records with the one of this key replaced, in the same order."""
    return tuple(new if item.key == new.key else item for item in items)


def drop(items: tuple[K, ...], key: str) -> tuple[K, ...]:
    return tuple(item for item in items if item.key != key)


def text(value: str, field: str, remedy: str) -> str:
    """Text without its outer blanks. Raises InputError when nothing is left."""
    if not value.strip():
        raise InputError(field, value, remedy)
    return value.strip()


MOST_NUMBER = 1e9  # no quantity of a loom comes near, and products of such numbers stay finite


def free_key(taken: Iterable[str], stem: str) -> str:
    """The first of stem1, stem2 and so on that is not taken."""
    there = set(taken)
    return next(k for n in range(1, len(there) + 2) if (k := f"{stem}{n}") not in there)


def positive(value: float | None, field: str, unit: str, *, zero: bool = False) -> None:
    """Refuses a number that is not finite, not above zero, or so large that nothing could be computed with it; None
    means not given."""
    if value is None:
        return
    if not math.isfinite(value) or value < 0 or (value == 0 and not zero):
        raise InputError(field, value, f"give a number {'of 0 or more' if zero else 'above 0'} in {unit}")
    if value > MOST_NUMBER:
        raise InputError(field, value, f"give a number of at most {MOST_NUMBER:,.0f} in {unit}")


def half_of(job: Job, node: str) -> Mating | None:
    """The mating that this node is a half of."""
    return next((m for m in job.matings if node in (m.a, m.b)), None)


def refuse_led(job: Job, segment: str) -> None:
    """Refuses to lose a run that a signal is led through by hand."""
    for signal in job.signals:
        if segment in signal.via:
            raise InputError(
                "segment", segment, f"signal {signal.name!r} is led through it by hand; lead it another way first"
            )


def allowed(changes: dict[str, Any], fields: frozenset[str], what: str) -> None:
    """Refuses changes to fields that are not to be changed this way."""
    for name in changes:
        if name not in fields:
            raise InputError(
                name,
                changes[name],
                f"this field of a {what} cannot be changed here; these can: {', '.join(sorted(fields))}",
            )


def seated_platforms(job: Job) -> frozenset[str]:
    return frozenset(pick.platform for seat in job.seats for pick in seat.picks)


def ends_in_use(job: Job) -> dict[End, str]:
    """Every end that a signal has, in-line devices' terminals too, with the signal's key."""
    used: dict[End, str] = {}
    for signal in job.signals:
        for member in signal.members:
            used[member.end] = signal.key
        for end in in_line_ends(job, signal.inline):
            used[end] = signal.key
    return used


def in_line_ends(job: Job, inline: Iterable[str]) -> tuple[DeviceEnd, ...]:
    kinds = {d.key: d.kind for d in job.devices}
    return tuple(DeviceEnd(key, terminal) for key in inline for terminal in IN_LINE_TERMINALS[kinds[key]])


def check_end(job: Job, end: End, known: Iterable[PinKey] | None, used: dict[End, str]) -> None:
    """Refuses an end that does not exist, that a signal has already, or that has another fate.

    ``known`` are the pins of the job's platforms, a set or a mapping by PinKey; None leaves that check to the caller.
    """
    if end in used:
        names = {s.key: s.name for s in job.signals}
        raise InputError(
            "end", str(end), f"it is in signal {names[used[end]]!r} already; take it out there or add to that signal"
        )
    if isinstance(end, DeviceEnd):
        device = find(job.devices, end.device, "device")
        terminals = DEVICE_TERMINALS[device.kind]
        if end.terminal not in terminals:
            raise InputError("terminal", str(end), f"a {device.kind} has terminals {', '.join(terminals)}")
        return
    check_pin(job, end, known)
    for fate in job.fates:
        if fate.pin == end:
            raise InputError("end", str(end), f"it is {fate.fate} ({fate.reason}); clear that fate first")


def check_pin(job: Job, pin: PinKey, known: Iterable[PinKey] | None) -> None:
    """Refuses a pin of a platform that no seat picks, and one that the platforms do not have."""
    seated = seated_platforms(job)
    if job.seats and pin.platform not in seated:
        raise InputError(
            "pin", str(pin), f"no seat of the job picks this platform; picked: {', '.join(sorted(seated))}"
        )
    if known is not None and pin not in known:
        raise InputError("pin", str(pin), "no platform has this pin in this edition; choose from the pin list")
