"""What the runs of the overview may be coloured by: temperature, zone, function. Every colour has a dash pattern of
its own, so that black and white loses nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Snapshot

# (fill, dashes of the dark line along the middle, "" for none): from pale to dark, told apart by both.
COOL_TO_HOT = (
    ("#d9e7f2", ""), ("#a9cbe3", "2 10"), ("#f5e2a0", "2 5"), ("#f2b35c", "8 6"), ("#dd6b3a", "14 5"),
    ("#a3202c", "none"),
)  # fmt: skip
KINDS = (
    ("#bcd9ec", ""), ("#f2c46d", "2 8"), ("#9ccf9c", "8 6"), ("#e3a3b5", "2 4"), ("#c3b1de", "14 5"),
    ("#d8d2a8", "14 4 2 4"), ("#8fb8b4", "8 3 2 3 2 3"), ("#c9c9c9", "none"),
)  # fmt: skip
_BANDS_C = (40.0, 60.0, 85.0, 105.0, 125.0)  # upper ends of the bands; the last band is open


@dataclass(frozen=True, slots=True)
class Colouring:
    """Colours of segments and what each means: (fill, dashes, words). A segment that is not in ``of`` has none."""

    title: str
    legend: tuple[tuple[str, str, str], ...]
    of: Mapping[str, int]


def by_temperature(routing: Routing, report: ElectricalReport) -> Colouring:
    """By the hottest wire in each segment in its worst load case [°C]."""
    hottest: dict[str, float] = {}
    for wire in routing.wires:
        worst = report.worst(wire.id)
        if worst is not None:
            for segment in wire.segments:
                hottest[segment] = max(hottest.get(segment, worst.temp_c), worst.temp_c)
    of = {key: sum(temp_c > end for end in _BANDS_C) for key, temp_c in hottest.items()}
    words = [f"up to {_BANDS_C[0]:g} °C"]
    words += [f"{low:g} to {high:g} °C" for low, high in pairwise(_BANDS_C)]
    words.append(f"over {_BANDS_C[-1]:g} °C")
    return _used("Hottest wire in the run, worst load case", COOL_TO_HOT, words, of)


def by_zone(snapshot: Snapshot) -> Colouring:
    """By what surrounds each segment; zones beyond the colours share the last."""
    keys = list(snapshot.zone)
    of = {s.key: min(keys.index(s.zone), len(KINDS) - 1) for s in snapshot.job.segments if s.zone in snapshot.zone}
    names = [f"{z.name or z.key}, {z.ambient_c:g} °C" for z in snapshot.zone.values()]
    return _used("Zone", KINDS, _shared(names), of)


def by_function(snapshot: Snapshot, routing: Routing, dictionary: Dictionary) -> Colouring:
    """By the function group that most wires of a segment belong to; the rarer groups share the last colour."""
    found: dict[str, Counter[str]] = {}
    for wire in routing.wires:
        signal = snapshot.signal[wire.signal]
        entry = dictionary.get(signal.function_code) if signal.function_code else None
        for segment in wire.segments:
            found.setdefault(segment, Counter())[entry.group if entry is not None else "no function named"] += 1
    most = {key: max(count, key=lambda group: (count[group], group)) for key, count in found.items()}
    ranked = [group for group, _ in sorted(Counter(most.values()).items(), key=lambda x: (-x[1], x[0]))]
    of = {key: min(ranked.index(group), len(KINDS) - 1) for key, group in most.items()}
    return _used("Function of most wires in the run", KINDS, _shared(ranked), of)


def _shared(names: Sequence[str]) -> list[str]:
    """One name a colour; those left over stand together at the last."""
    last = len(KINDS) - 1
    return list(names) if len(names) <= last + 1 else [*names[:last], "others: " + ", ".join(names[last:])]


def _used(title: str, colours: Sequence[tuple[str, str]], words: Sequence[str], of: Mapping[str, int]) -> Colouring:
    """The colouring with only those colours in its legend that occur."""
    there = sorted(set(of.values()))
    legend = tuple((*colours[i], words[i]) for i in there)
    return Colouring(title, legend, {key: there.index(i) for key, i in of.items()})
