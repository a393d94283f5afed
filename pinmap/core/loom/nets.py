"""Cuts each signal into nets: what is joined together in one variant."""

from __future__ import annotations

from collections.abc import Mapping

from pinmap.core.loom.results import MatedEnd, Net, NetEnd, device_point, mated_point, pin_point
from pinmap.core.model.jobs import Signal, Snapshot, Variant
from pinmap.core.model.looms import Device, DeviceEnd, End
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import IN_LINE_TERMINALS


def end_point(end: NetEnd) -> str:
    """The electrical point of an end; one cavity is one point whatever the edition of its entry."""
    if isinstance(end, MatedEnd):
        return mated_point(end)
    return pin_point(end) if isinstance(end, PinKey) else device_point(end)


def nets(snapshot: Snapshot, variant: Variant) -> tuple[Net, ...]:
    """Nets of all signals in a variant, in the order of signals and sections.

    A member whose pin or device does not exist in the variant is left out. Where an in-line device does not exist,
    the sections on its two sides are one net, numbered as the lower. A net may have a single end; it needs no wire.
    """
    pins = snapshot.active_pins(variant)
    devices = snapshot.active_devices(variant)
    out: list[Net] = []
    for signal in snapshot.job.signals:
        out.extend(_cut(signal, pins, devices))
    return tuple(out)


def _cut(signal: Signal, pins: Mapping[PinKey, Pin], devices: dict[str, Device]) -> list[Net]:
    ends_of: dict[int, list[End]] = {}
    first_of: list[int] = [0]  # section -> the section that its net is numbered by
    for place, key in enumerate(signal.inline):
        device = devices.get(key)
        terminals = IN_LINE_TERMINALS.get(device.kind) if device is not None else None
        if terminals is None:
            first_of.append(first_of[place])
            continue
        first_of.append(place + 1)
        ends_of.setdefault(place + 1, []).append(DeviceEnd(key, terminals[1]))
    last = len(first_of) - 1
    has_member = False
    for member in signal.members:
        end = member.end
        if (end in pins) if isinstance(end, PinKey) else (end.device in devices):
            has_member = True
            ends_of.setdefault(first_of[min(max(member.section, 0), last)], []).append(end)
    if not has_member:
        return []
    for place, key in enumerate(signal.inline):
        if first_of[place + 1] == place + 1:
            terminals = IN_LINE_TERMINALS[devices[key].kind]
            ends_of.setdefault(first_of[place], []).append(DeviceEnd(key, terminals[0]))
    out = []
    for section in sorted(ends_of):
        seen: dict[str, End] = {}
        for end in ends_of[section]:
            seen.setdefault(end_point(end), end)
        out.append(Net(signal.key, section, tuple(seen.values())))
    return out
