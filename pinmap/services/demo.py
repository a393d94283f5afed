"""Loads the demo into a shop."""

from __future__ import annotations

from pinmap import demo
from pinmap.core.crossing.changes import housing_changes, platform_changes
from pinmap.core.model.jobs import Snapshot
from pinmap.services import audit, jobs
from pinmap.services.audit import Subject
from pinmap.services.remembered import all_housings
from pinmap.services.shop import Shop
from pinmap.store import housings as stored_housings
from pinmap.store import platform_rows
from pinmap.store.engine import wait_turn


def load(shop: Shop) -> None:
    """Stores the demo's platforms, housings and jobs, all or nothing; nothing when somebody stored something first."""
    with shop.write() as session:
        wait_turn(session)
        if not shop.is_empty(session):
            return
        have = all_housings(shop, session)
        for housing in demo.demo_housings():
            if housing.key not in have:
                stored_housings.save_housing(session, housing, None)
                audit.record(shop, session, Subject.HOUSING, housing.key, "demo loaded", housing_changes(None, housing))
        platforms = demo.demo_platforms()
        for platform in platforms:
            platform_rows.add_platform(session, platform)
            audit.record(shop, session, Subject.PLATFORM, platform.key, "demo loaded", platform_changes(None, platform))
        for job in (demo.half_way_job(), demo.finished_job()):
            picked = {pick.platform for seat in job.seats for pick in seat.picks}
            carried = tuple(p for p in platforms if p.key in picked)
            jobs.store_snapshot(shop, session, Snapshot(job, carried), "demo loaded")
