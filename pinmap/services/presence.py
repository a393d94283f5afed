"""Who else is in a job, for a live note on its pages. Kept in the database, so that it holds over several processes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from pinmap.core.model.people import Right
from pinmap.services.shop import Shop
from pinmap.store import jobs as rows
from pinmap.store import presence
from pinmap.store.base import now
from pinmap.store.presence import Present

BEAT = timedelta(seconds=15)  # a page tells so often that it is open
GONE_AFTER = 3 * BEAT  # a page that was not heard of for so long is closed
_PAGE_LENGTH = 80


@dataclass(frozen=True, slots=True)
class InJob:
    """Everybody else in a job, and the version that the job has now."""

    others: tuple[Present, ...]
    version: int


def here(shop: Shop, key: str, page: str) -> InJob:
    """Notes that whoever asks has this page of a job open, and gives who else is there. Raises NotFound."""
    at = now()
    me = shop.actor.person
    with shop.write(Right.READ) as session:
        stands = rows.versions(session, key)
        if me is not None:
            presence.forget_older(session, stands.job_id, at - GONE_AFTER)
            presence.note(session, stands.job_id, me, page[:_PAGE_LENGTH].replace("\x00", ""), at)
        found = presence.others(session, stands.job_id, me or 0, at - GONE_AFTER)
    return InJob(found, stands.version)
