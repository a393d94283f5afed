"""Whether a job's records fit together, before they are written; the database's own constraints come after."""

from __future__ import annotations

from collections.abc import Hashable, Iterable

from pinmap.core.errors import StructureError
from pinmap.core.loom.wire_kinds import WIRE_KINDS
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import DeviceEnd
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import DEVICE_TERMINALS


def check_snapshot(snapshot: Snapshot) -> None:
    """Raises StructureError naming everything that points nowhere or stands twice."""
    wrong: list[tuple[str, str]] = []  # (part, what is wrong)
    job = snapshot.job
    _unique(wrong, "seat", (s.key for s in job.seats))
    _unique(wrong, "loom", (x.key for x in job.looms))
    _unique(wrong, "zone", (x.key for x in job.zones))
    _unique(wrong, "node", (x.key for x in job.nodes))
    _unique(wrong, "segment", (x.key for x in job.segments))
    _unique(wrong, "fixing", (x.key for x in job.fixings))
    _unique(wrong, "mating", (x.key for x in job.matings))
    _unique(wrong, "half of a mating", (node for x in job.matings for node in (x.a, x.b)))
    _unique(wrong, "device", (x.key for x in job.devices))
    _unique(wrong, "signal", (x.key for x in job.signals))
    _unique(wrong, "signal number", (x.number for x in job.signals))
    _unique(wrong, "load case", (x.key for x in job.load_cases))
    _unique(wrong, "fate of pin", (x.pin for x in job.fates))
    _unique(wrong, "loom connector that mates with", (x.mates for x in job.nodes if x.mates is not None))
    _unique(wrong, "end", (m.end for s in job.signals for m in s.members))
    _check_seats(snapshot, wrong)
    _check_loom(snapshot, wrong)
    _check_fixings(snapshot, wrong)
    _check_matings(snapshot, wrong)
    _check_signals(snapshot, wrong)
    wrong.extend(
        (str(fate.pin), f"a fate is given for pin {fate.pin}, which no picked platform has")
        for fate in job.fates
        if fate.pin not in snapshot.pin
    )
    if wrong:
        shown = "; ".join(text for _, text in wrong[:10])
        more = f"; and {len(wrong) - 10} more" if len(wrong) > 10 else ""
        raise StructureError(f"the job contradicts itself: {shown}{more}", tuple(part for part, _ in wrong))


def _check_seats(snapshot: Snapshot, wrong: list[tuple[str, str]]) -> None:
    for seat in snapshot.job.seats:
        if not seat.picks:
            wrong.append((seat.key, f"seat {seat.name!r} has no pick; choose a platform or remove the seat"))
        for pick in seat.picks:
            platform = snapshot.platform.get(pick.platform)
            if platform is None:
                wrong.append((seat.key, f"seat {seat.name!r} picks platform {pick.platform!r}, which does not exist"))
            elif pick.edition and pick.edition not in {e.key for e in platform.editions}:
                wrong.append(
                    (seat.key, f"seat {seat.name!r} picks edition {pick.edition!r}, unknown to {platform.name}")
                )
    picked = {pick.platform for seat in snapshot.job.seats for pick in seat.picks}
    wrong.extend(
        (p.key, f"platform {p.key} is carried along but not picked") for p in snapshot.platforms if p.key not in picked
    )


def _check_loom(snapshot: Snapshot, wrong: list[tuple[str, str]]) -> None:
    job = snapshot.job
    looms = {x.key for x in job.looms}
    for node in job.nodes:
        if node.loom not in looms:
            wrong.append((node.key, f"node {node.key} belongs to loom {node.loom!r}, which does not exist"))
        if node.mates is not None and node.mates not in snapshot.connector:
            wrong.append((node.key, f"node {node.key} mates with {':'.join(node.mates)}, which no picked platform has"))
    for zone in job.zones:
        wrong.extend(
            (zone.key, f"zone {zone.name!r} keeps out wires of kind {kind!r}, which is not a kind of wire")
            for kind in (*zone.avoid, *zone.forbid)
            if kind not in WIRE_KINDS
        )
    for segment in job.segments:
        if segment.loom not in looms:
            wrong.append((segment.key, f"segment {segment.key} belongs to loom {segment.loom!r}, which does not exist"))
        if segment.zone and segment.zone not in snapshot.zone:
            wrong.append((segment.key, f"segment {segment.key} lies in zone {segment.zone!r}, which does not exist"))
        wrong.extend(
            (segment.key, f"segment {segment.key} ends at node {end!r}, which does not exist")
            for end in (segment.a, segment.b)
            if end not in snapshot.node
        )
    wrong.extend(
        (device.key, f"device {device.key} sits at node {device.place!r}, which does not exist")
        for device in job.devices
        if device.place and device.place not in snapshot.node
    )


def _check_fixings(snapshot: Snapshot, wrong: list[tuple[str, str]]) -> None:
    segments = {s.key for s in snapshot.job.segments}
    wrong.extend(
        (x.key, f"{x.kind.value} {x.key} is fixed to {x.segment!r}, which is no segment")
        for x in snapshot.job.fixings
        if x.segment not in segments
    )


def _check_matings(snapshot: Snapshot, wrong: list[tuple[str, str]]) -> None:
    for mating in snapshot.job.matings:
        wrong.extend(
            (mating.key, f"mating {mating.key} has its half at node {node!r}, which does not exist")
            for node in (mating.a, mating.b)
            if node not in snapshot.node
        )
        seen: set[tuple[str, int]] = set()
        for kept in mating.cavities:
            if kept.signal not in snapshot.signal:
                wrong.append(
                    (mating.key, f"mating {mating.key} keeps a cavity for {kept.signal!r}, which is no signal")
                )
            if not kept.cavity:
                wrong.append((mating.key, f"mating {mating.key} keeps a cavity without a name"))
            if (kept.signal, kept.section) in seen:
                wrong.append((mating.key, f"mating {mating.key} keeps two cavities for signal {kept.signal}"))
            seen.add((kept.signal, kept.section))


def _check_signals(snapshot: Snapshot, wrong: list[tuple[str, str]]) -> None:
    segments = {s.key for s in snapshot.job.segments}
    for signal in snapshot.job.signals:
        for member in signal.members:
            end = member.end
            if isinstance(end, PinKey) and end not in snapshot.pin:
                wrong.append((signal.key, f"signal {signal.name!r} joins pin {end}, which no picked platform has"))
            elif isinstance(end, DeviceEnd):
                device = snapshot.device.get(end.device)
                if device is None or end.terminal not in DEVICE_TERMINALS[device.kind]:
                    wrong.append((signal.key, f"signal {signal.name!r} joins terminal {end}, which does not exist"))
        wrong.extend(
            (signal.key, f"signal {signal.name!r} runs through device {device!r}, which does not exist")
            for device in signal.inline
            if device not in snapshot.device
        )
        wrong.extend(
            (signal.key, f"signal {signal.name!r} is led through segment {segment!r}, which does not exist")
            for segment in signal.via
            if segment not in segments
        )


def _unique(wrong: list[tuple[str, str]], what: str, keys: Iterable[Hashable]) -> None:
    seen: set[Hashable] = set()
    for key in keys:
        shown = ":".join(key) if isinstance(key, tuple) and not isinstance(key, PinKey | DeviceEnd) else str(key)
        if key in seen:
            wrong.append((shown, f"{what} {shown} stands twice"))
        elif shown == "":
            wrong.append((shown, f"a {what} has no key"))
        seen.add(key)
