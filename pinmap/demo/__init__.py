"""The demo: a Quern Q24 diesel into a Brindle 6 truck, once finished and once half-way. All of it is invented."""

from __future__ import annotations

from functools import cache

from pinmap.core.model.jobs import Job, Snapshot
from pinmap.demo.finished import build_finished
from pinmap.demo.half_way import build_half_way
from pinmap.demo.housings import demo_housings
from pinmap.demo.platforms import demo_platforms

__all__ = [
    "demo_housings",
    "demo_platforms",
    "finished_job",
    "finished_snapshot",
    "half_way_job",
    "half_way_snapshot",
]


@cache
def finished_job() -> Job:
    """The finished conversion: every pin decided, in four variants."""
    return build_finished()


@cache
def half_way_job() -> Job:
    """The same conversion at an earlier stage, with undecided pins and honest findings."""
    return build_half_way()


@cache
def finished_snapshot() -> Snapshot:
    return Snapshot(job=finished_job(), platforms=demo_platforms(), housings=demo_housings())


@cache
def half_way_snapshot() -> Snapshot:
    return Snapshot(job=half_way_job(), platforms=demo_platforms(), housings=demo_housings())
