"""Edits of a job, each a pure function from job to job.

A whole job can be made through these. An edit refuses nonsense with InputError (field, value, remedy) and overwrites
or loses nothing silently. Edits of devices and the loom's layout are in ``edits_parts``, those of matings between
looms in ``edits_matings``, those of seats, practice and acceptances in ``edits_setup``; all can be imported from here.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace
from typing import Any, Protocol

from pinmap.core.crossing.edit_checks import (
    allowed,
    check_end,
    check_pin,
    drop,
    ends_in_use,
    find,
    in_line_ends,
    new_key,
    positive,
    swap,
    text,
)
from pinmap.core.crossing.edits_fixings import add_fixing, remove_fixing, update_fixing
from pinmap.core.crossing.edits_matings import (
    free_cavity,
    keep_cavity,
    mate_connectors,
    move_kept,
    part_loom,
    unplug,
    update_mating,
)
from pinmap.core.crossing.edits_parts import (
    add_device,
    add_loom,
    add_node,
    add_segment,
    add_zone,
    remove_device,
    remove_loom,
    remove_node,
    remove_segment,
    remove_zone,
    update_device,
    update_loom,
    update_node,
    update_segment,
    update_zone,
)
from pinmap.core.crossing.edits_setup import (
    accept_finding,
    add_load_case,
    add_pick,
    add_seat,
    new_job,
    remove_load_case,
    remove_pick,
    remove_seat,
    update_job,
    update_load_case,
    update_practice,
    update_seat,
    withdraw_acceptance,
)
from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Job, Member, PinFate, Signal
from pinmap.core.model.looms import End
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import IN_LINE_TERMINALS, Fate

__all__ = [
    "accept_finding",
    "accept_proposals",
    "add_device",
    "add_fixing",
    "add_load_case",
    "add_loom",
    "add_member",
    "add_node",
    "add_pick",
    "add_seat",
    "add_segment",
    "add_zone",
    "clear_fate",
    "dissolve",
    "free_cavity",
    "join",
    "keep_cavity",
    "mate_connectors",
    "merge",
    "new_job",
    "part_loom",
    "put_in_line",
    "remove_device",
    "remove_fixing",
    "remove_load_case",
    "remove_loom",
    "remove_member",
    "remove_node",
    "remove_pick",
    "remove_seat",
    "remove_segment",
    "remove_zone",
    "set_fate",
    "take_out_of_line",
    "unplug",
    "update_device",
    "update_fixing",
    "update_job",
    "update_load_case",
    "update_loom",
    "update_mating",
    "update_member",
    "update_node",
    "update_practice",
    "update_seat",
    "update_segment",
    "update_signal",
    "update_zone",
    "withdraw_acceptance",
]

_SIGNAL_FIELDS = frozenset(
    {"name", "function_code", "mm2", "colour", "insulation", "twist", "screen", "confirmed", "note", "via", "joint"}
)
_MEMBER_FIELDS = frozenset({"section", "mm2", "colour"})


class Joinable(Protocol):
    """A proposal that can become a signal."""

    @property
    def name(self) -> str: ...
    @property
    def function_code(self) -> str: ...
    @property
    def members(self) -> tuple[PinKey, ...]: ...


def join(
    job: Job,
    ends: Iterable[End],
    *,
    name: str,
    function_code: str = "",
    key: str = "",
    mm2: float | None = None,
    colour: str = "",
    insulation: str = "",
    twist: str = "",
    screen: str = "",
    confirmed: bool = True,
    note: str = "",
    known: Collection[PinKey] | None = None,
) -> Job:
    """A new signal of these ends, all in section 0, with the job's next number. ``key`` is made from the number when
    not given. Raises InputError for fewer than two ends and for an end that ``check_end`` refuses."""
    ends = tuple(ends)
    if len(ends) < 2:
        raise InputError("ends", ", ".join(map(str, ends)), "a signal joins at least two ends; choose another")
    positive(mm2, "mm2", "mm²")
    used = ends_in_use(job)
    for index, end in enumerate(ends):
        if end in ends[:index]:
            raise InputError("ends", str(end), "it is named twice; name each end once")
        check_end(job, end, known, used)
    number = max([job.next_number, *(s.number + 1 for s in job.signals)])
    key = key or f"s{number:03d}"
    new_key(job.signals, key, "key")
    signal = Signal(
        key=key,
        number=number,
        name=text(name, "name", "give the signal a name, such as what the pin's function says"),
        function_code=function_code,
        members=tuple(Member(end=end) for end in ends),
        mm2=mm2,
        colour=colour,
        insulation=insulation,
        twist=twist,
        screen=screen,
        confirmed=confirmed,
        note=note,
    )
    return replace(job, signals=(*job.signals, signal), next_number=number + 1)


def accept_proposals(job: Job, proposals: Iterable[Joinable], *, known: Collection[PinKey] | None = None) -> Job:
    """Each proposal becomes a confirmed signal. Refuses all of them when one cannot be joined."""
    for proposal in proposals:
        job = join(
            job,
            proposal.members,
            name=proposal.name,
            function_code=proposal.function_code,
            twist=getattr(proposal, "twist", ""),
            screen=getattr(proposal, "screen", ""),
            known=known,
        )
    return job


def update_signal(job: Job, key: str, **changes: Any) -> Job:
    """Changes anything but key, number, members and devices in line."""
    signal = find(job.signals, key, "signal")
    allowed(changes, _SIGNAL_FIELDS, "signal")
    if "name" in changes:
        changes["name"] = text(changes["name"], "name", "a signal needs a name")
    positive(changes.get("mm2"), "mm2", "mm²")
    via = changes.get("via", ())
    for index, segment in enumerate(via):
        find(job.segments, segment, "via")
        if segment in via[:index]:
            raise InputError("via", segment, "it is named twice; name each run once, in the order of the way")
    return replace(job, signals=swap(job.signals, replace(signal, **changes)))


def dissolve(job: Job, key: str) -> Job:
    """Takes a signal apart: its pins are undecided again, its devices stay in the job; its number is not reused, and
    cavities of matings that were kept for it are free."""
    find(job.signals, key, "signal")
    return move_kept(replace(job, signals=drop(job.signals, key)), key, lambda _: None)


def merge(job: Job, key: str, other: str, *, section: int = 0) -> Job:
    """Moves all members of ``other`` into a section of signal ``key``; ``other`` is gone. Raises InputError when
    devices stand in line in ``other``."""
    keep, gone = find(job.signals, key, "signal"), find(job.signals, other, "signal")
    if key == other:
        raise InputError("other", other, "choose a second signal")
    if gone.inline:
        raise InputError(
            "other", other, f"take {', '.join(gone.inline)} out of line first, or merge the other way round"
        )
    _check_section(keep, section)
    members = keep.members + tuple(replace(m, section=section) for m in gone.members)
    job = replace(job, signals=swap(drop(job.signals, other), replace(keep, members=members)))
    return move_kept(job, other, lambda _: section, to=key)


def add_member(
    job: Job,
    key: str,
    end: End,
    *,
    section: int = 0,
    mm2: float | None = None,
    colour: str = "",
    known: Collection[PinKey] | None = None,
) -> Job:
    """One more end for a signal, in the given section."""
    signal = find(job.signals, key, "signal")
    check_end(job, end, known, ends_in_use(job))
    _check_section(signal, section)
    positive(mm2, "mm2", "mm²")
    member = Member(end=end, section=section, mm2=mm2, colour=colour)
    return replace(job, signals=swap(job.signals, replace(signal, members=(*signal.members, member))))


def update_member(job: Job, key: str, end: End, **changes: Any) -> Job:
    """Changes section, mm2 or colour of one member."""
    signal = find(job.signals, key, "signal")
    _member(signal, end)
    allowed(changes, _MEMBER_FIELDS, "member")
    if "section" in changes:
        _check_section(signal, changes["section"])
    positive(changes.get("mm2"), "mm2", "mm²")
    members = tuple(replace(m, **changes) if m.end == end else m for m in signal.members)
    return replace(job, signals=swap(job.signals, replace(signal, members=members)))


def remove_member(job: Job, key: str, end: End) -> Job:
    """Takes one end out of a signal; a pin is undecided again. Raises InputError for the last end."""
    signal = find(job.signals, key, "signal")
    _member(signal, end)
    if len(signal.members) == 1:
        raise InputError("end", str(end), "it is the signal's last end; dissolve the signal instead")
    members = tuple(m for m in signal.members if m.end != end)
    return replace(job, signals=swap(job.signals, replace(signal, members=members)))


def put_in_line(job: Job, key: str, device: str, *, downstream: Iterable[End] = (), at: int | None = None) -> Job:
    """Cuts section ``at`` of a signal in two and stands a device between the halves.

    ``downstream`` are the ends of that section that come after the device; later sections come after it anyway.
    Without ``at`` it is the earliest section that a downstream end is in.
    """
    signal = find(job.signals, key, "signal")
    kind = find(job.devices, device, "device").kind
    if kind not in IN_LINE_TERMINALS:
        raise InputError("device", device, f"a {kind} does not stand in line; add its terminal as a member")
    used = ends_in_use(job)
    for terminal in in_line_ends(job, (device,)):
        if terminal in used:
            raise InputError(
                "device",
                device,
                f"its terminal {terminal.terminal} is in signal {used[terminal]} already; "
                "take it out there or choose another device",
            )
    after = tuple(downstream)
    sections = [_member(signal, end).section for end in after]
    if at is None:
        if not after:
            raise InputError("downstream", (), "name the ends that come after the device, or the section to cut")
        at = min(sections)
    _check_section(signal, at)
    for end, section in zip(after, sections, strict=True):
        if section < at:
            raise InputError("downstream", str(end), f"it is in section {section}, before the cut in section {at}")
    if at == 0 and all(m.section > 0 or m.end in after for m in signal.members):
        raise InputError("downstream", ", ".join(map(str, after)), "leave at least one end before the device")
    if at == len(signal.inline) and not after:
        raise InputError("downstream", (), "name at least one end that comes after the device")
    members = tuple(
        replace(m, section=m.section + 1) if m.section > at or (m.section == at and m.end in after) else m
        for m in signal.members
    )
    inline = (*signal.inline[:at], device, *signal.inline[at:])
    job = replace(job, signals=swap(job.signals, replace(signal, members=members, inline=inline)))
    return move_kept(job, key, lambda section: section + (section > at))


def take_out_of_line(job: Job, key: str, device: str) -> Job:
    """Takes a device out of line; the sections on its two sides become one. The device stays in the job."""
    signal = find(job.signals, key, "signal")
    if device not in signal.inline:
        raise InputError("device", device, f"in line stand: {', '.join(signal.inline) or 'none'}")
    at = signal.inline.index(device)
    members = tuple(replace(m, section=m.section - 1) if m.section > at else m for m in signal.members)
    inline = signal.inline[:at] + signal.inline[at + 1 :]
    job = replace(job, signals=swap(job.signals, replace(signal, members=members, inline=inline)))
    return move_kept(job, key, lambda section: section - (section > at))


def set_fate(
    job: Job,
    pin: PinKey,
    fate: Fate,
    reason: str,
    *,
    owner: str = "",
    due: str = "",
    replacing: bool = False,
    known: Collection[PinKey] | None = None,
) -> Job:
    """What becomes of a pin that no signal has. ``replacing`` says that an earlier fate is meant to go."""
    if fate in (Fate.JOINED, Fate.UNDECIDED):
        way = "join it to a signal" if fate == Fate.JOINED else "clear its fate"
        raise InputError("fate", fate.value, f"{way} instead")
    check_pin(job, pin, known)
    signal = next((s for s in job.signals for m in s.members if m.end == pin), None)
    if signal is not None:
        raise InputError("pin", str(pin), f"it is joined in signal {signal.name!r}; take it out there first")
    reason = text(reason, "reason", f"say why the pin is {fate}")
    if fate == Fate.DEFERRED:
        owner = text(owner, "owner", "a deferred pin needs the name of who will decide")
        due = text(due, "due", "a deferred pin needs the date by which it is decided")
    earlier = next((f for f in job.fates if f.pin == pin), None)
    new = PinFate(pin=pin, fate=fate, reason=reason, owner=owner.strip(), due=due.strip())
    if earlier is None:
        return replace(job, fates=(*job.fates, new))
    if not replacing:
        raise InputError("pin", str(pin), f"it is {earlier.fate} already ({earlier.reason}); clear that or replace it")
    return replace(job, fates=tuple(new if f.pin == pin else f for f in job.fates))


def clear_fate(job: Job, pin: PinKey) -> Job:
    """Makes a pin undecided again."""
    if all(f.pin != pin for f in job.fates):
        raise InputError("pin", str(pin), "it has no fate to clear")
    return replace(job, fates=tuple(f for f in job.fates if f.pin != pin))


def _member(signal: Signal, end: End) -> Member:
    for member in signal.members:
        if member.end == end:
            return member
    raise InputError("end", str(end), f"signal {signal.name!r} has: {', '.join(str(m.end) for m in signal.members)}")


def _check_section(signal: Signal, section: int) -> None:
    last = len(signal.inline)
    if not 0 <= section <= last:
        raise InputError(
            "section", section, f"signal {signal.name!r} has {last} devices in line, so sections 0 to {last}"
        )
