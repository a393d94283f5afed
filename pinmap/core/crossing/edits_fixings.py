"""Edits of clips, grommets and backshell clamps; see ``edits`` for the rules they keep."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pinmap.core.crossing.edit_checks import allowed, drop, find, new_key, positive, swap
from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Job
from pinmap.core.model.looms import Fixing, Segment

_FIELDS = frozenset({"segment", "kind", "at_m", "inner_mm", "part"})
_DUST_M = 1e-4  # lengths are kept to a tenth of a millimetre


def add_fixing(job: Job, fixing: Fixing) -> Job:
    """Raises InputError for a place that the segment has not."""
    new_key(job.fixings, fixing.key, "key")
    _check(job, fixing)
    return replace(job, fixings=(*job.fixings, fixing))


def update_fixing(job: Job, key: str, **changes: Any) -> Job:
    """Changes anything but the key."""
    fixing = find(job.fixings, key, "fixing")
    allowed(changes, _FIELDS, "fixing")
    new = replace(fixing, **changes)
    _check(job, new)
    return replace(job, fixings=swap(job.fixings, new))


def remove_fixing(job: Job, key: str) -> Job:
    find(job.fixings, key, "fixing")
    return replace(job, fixings=drop(job.fixings, key))


def with_fixings(job: Job, segment: str, fixings: tuple[Fixing, ...]) -> Job:
    """These and no others on a segment. Raises InputError."""
    job = replace(job, fixings=tuple(f for f in job.fixings if f.segment != segment))
    for fixing in fixings:
        job = add_fixing(job, fixing)
    return job


def move_fixings(job: Job, places: Mapping[str, tuple[str, float]]) -> Job:
    """Fixings, by key, on the segment and at the distance where an edit of the topology has brought them."""
    moved = (replace(f, segment=places[f.key][0], at_m=round(places[f.key][1], 4)) if f.key in places else f
             for f in job.fixings)  # fmt: skip
    return replace(job, fixings=tuple(moved))


def fixings_on(job: Job, segment: str) -> tuple[Fixing, ...]:
    return tuple(f for f in job.fixings if f.segment == segment)


def refuse_held(job: Job, segment: str) -> None:
    """Refuses to lose a run that something is fixed to."""
    held = fixings_on(job, segment)
    if held:
        names = ", ".join(f"{f.kind.value} {f.key}" for f in held)
        raise InputError("segment", segment, f"{names} is fixed to it; remove or move that first")


def refuse_beyond(job: Job, segment: Segment) -> None:
    """Refuses to make a run so short that a fixing would lie beyond its end."""
    for fixing in fixings_on(job, segment.key):
        if fixing.at_m > segment.length_m + _DUST_M:
            raise InputError(
                "length_m", segment.length_m,
                f"{fixing.kind.value} {fixing.key} sits {fixing.at_m * 1000:g} mm along {segment.key}; move that first",
            )  # fmt: skip


def _check(job: Job, fixing: Fixing) -> None:
    segment = find(job.segments, fixing.segment, "segment")
    positive(fixing.inner_mm, "inner_mm", "mm")
    if ";" in fixing.part:
        raise InputError("part", fixing.part, "leave out the semicolon; it parts the fixings of a run in lists")
    if not (math.isfinite(fixing.at_m) and 0 <= fixing.at_m <= segment.length_m + _DUST_M):
        raise InputError(
            "at_m", fixing.at_m, f"run {segment.key} is {segment.length_m * 1000:g} mm long; name a place on it"
        )
