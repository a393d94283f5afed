"""Whether everything that a snapshot names is in it, and each name only once."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator

from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.pinouts import PinKey

Problem = tuple[str, str, str]  # path, value, reason


def reference_problems(snapshot: Snapshot) -> list[Problem]:
    """Every double name and every name of something that is not there, with its path in the file."""
    return [*_doubles(snapshot), *_platforms(snapshot), *_job(snapshot)]


def _twice(path: str, keys: Iterable[Hashable]) -> Iterator[Problem]:
    seen: set[Hashable] = set()
    for i, key in enumerate(keys):
        if key in seen:
            yield f"{path}[{i}]", str(key), "this name stands twice"
        seen.add(key)


def _doubles(snapshot: Snapshot) -> Iterator[Problem]:
    job = snapshot.job
    yield from _twice("platforms", (p.key for p in snapshot.platforms))
    yield from _twice("housings", (h.key for h in snapshot.housings))
    yield from _twice("job.seats", (s.key for s in job.seats))
    yield from _twice("job.signals", (s.key for s in job.signals))
    yield from _twice("job.signals", (s.number for s in job.signals))
    yield from _twice("job.devices", (d.key for d in job.devices))
    yield from _twice("job.looms", (x.key for x in job.looms))
    yield from _twice("job.nodes", (n.key for n in job.nodes))
    yield from _twice("job.nodes", (n.mates or i for i, n in enumerate(job.nodes)))
    yield from _twice("job.segments", (s.key for s in job.segments))
    yield from _twice("job.fixings", (f.key for f in job.fixings))
    yield from _twice("job.matings", (m.key for m in job.matings))
    yield from _twice("job.matings (halves)", (node for m in job.matings for node in (m.a, m.b)))
    yield from _twice("job.zones", (z.key for z in job.zones))
    yield from _twice("job.load_cases", (c.key for c in job.load_cases))
    yield from _twice("job.fates", (f.pin for f in job.fates))
    yield from _twice("job.signals (members)", (m.end for s in job.signals for m in s.members))
    for i, platform in enumerate(snapshot.platforms):
        yield from _twice(f"platforms[{i}].editions", (e.key for e in platform.editions))
        yield from _twice(f"platforms[{i}].connectors", (c.name for c in platform.connectors))
        yield from _twice(f"platforms[{i}].pins", (p.key(platform.key) for p in platform.pins))
    for i, housing in enumerate(snapshot.housings):
        yield from _twice(f"housings[{i}].cavities", housing.cavity_names)
    if job.signals and job.next_number <= max(s.number for s in job.signals):
        yield "job.next_number", str(job.next_number), "it has to be above every signal's number"


def _platforms(snapshot: Snapshot) -> Iterator[Problem]:
    for i, platform in enumerate(snapshot.platforms):
        editions = {e.key for e in platform.editions}
        connectors = {c.name for c in platform.connectors}
        for j, connector in enumerate(platform.connectors):
            path = f"platforms[{i}].connectors[{j}]"
            yield from _missing(f"{path}.housing", connector.housing, snapshot.housing, "housing", optional=True)
            for edition in connector.editions:
                yield from _missing(f"{path}.editions", edition, editions, "edition")
        for j, pin in enumerate(platform.pins):
            path = f"platforms[{i}].pins[{j}]"
            yield from _missing(f"{path}.connector", pin.connector, connectors, "connector")
            for edition in pin.editions:
                yield from _missing(f"{path}.editions", edition, editions, "edition")


def _job(snapshot: Snapshot) -> Iterator[Problem]:
    job = snapshot.job
    for i, seat in enumerate(job.seats):
        if not seat.picks:
            yield f"job.seats[{i}].picks", "", "a seat needs one pick at least"
        for j, pick in enumerate(seat.picks):
            path = f"job.seats[{i}].picks[{j}]"
            platform = snapshot.platform.get(pick.platform)
            if platform is None:
                yield f"{path}.platform", pick.platform, "there is no such platform in the file"
            elif pick.edition:
                yield from _missing(f"{path}.edition", pick.edition, {e.key for e in platform.editions}, "edition")
    for i, signal in enumerate(job.signals):
        for j, member in enumerate(signal.members):
            path = f"job.signals[{i}].members[{j}].end"
            if isinstance(member.end, PinKey):
                yield from _missing(path, member.end, snapshot.pin, "pin")
            else:
                yield from _missing(path, member.end.device, snapshot.device, "device")
        for j, key in enumerate(signal.inline):
            yield from _missing(f"job.signals[{i}].inline[{j}]", key, snapshot.device, "device")
    for i, fate in enumerate(job.fates):
        yield from _missing(f"job.fates[{i}].pin", fate.pin, snapshot.pin, "pin")
    looms = {loom.key for loom in job.looms}
    for i, node in enumerate(job.nodes):
        yield from _missing(f"job.nodes[{i}].loom", node.loom, looms, "loom")
        if node.mates is not None:
            yield from _missing(f"job.nodes[{i}].mates", node.mates, snapshot.connector, "connector")
    for i, segment in enumerate(job.segments):
        for name in ("a", "b"):
            yield from _missing(f"job.segments[{i}].{name}", getattr(segment, name), snapshot.node, "node")
        yield from _missing(f"job.segments[{i}].zone", segment.zone, snapshot.zone, "zone", optional=True)
    segments = {s.key: s for s in job.segments}
    for i, fixing in enumerate(job.fixings):
        yield from _missing(f"job.fixings[{i}].segment", fixing.segment, segments, "segment")
    for i, mating in enumerate(job.matings):
        for name in ("a", "b"):
            yield from _missing(f"job.matings[{i}].{name}", getattr(mating, name), snapshot.node, "node")
        yield from _twice(f"job.matings[{i}].cavities", ((c.signal, c.section) for c in mating.cavities))
        for j, kept in enumerate(mating.cavities):
            yield from _missing(f"job.matings[{i}].cavities[{j}].signal", kept.signal, snapshot.signal, "signal")
            yield from _missing(f"job.matings[{i}].cavities[{j}].cavity", kept.cavity, {kept.cavity} - {""}, "cavity")
    for i, device in enumerate(job.devices):
        yield from _missing(f"job.devices[{i}].place", device.place, snapshot.node, "node", optional=True)


def _missing(
    path: str, name: Hashable, there: Iterable[Hashable], what: str, *, optional: bool = False
) -> Iterator[Problem]:
    if name not in there and not (optional and not name):
        yield path, str(name), f"there is no such {what} in the file"
