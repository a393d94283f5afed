"""Loads the demo into a shop."""

from __future__ import annotations

from pinmap import demo
from pinmap.core.model.jobs import Snapshot
from pinmap.services import jobs
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
        platforms = demo.demo_platforms()
        for platform in platforms:
            platform_rows.add_platform(session, platform)
        for job in (demo.half_way_job(), demo.finished_job()):
            picked = {pick.platform for seat in job.seats for pick in seat.picks}
            carried = tuple(p for p in platforms if p.key in picked)
            jobs.store_snapshot(shop, session, Snapshot(job, carried))
