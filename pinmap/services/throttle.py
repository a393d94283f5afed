"""Slows down whoever tries secrets: after some vain tries each further one has to wait, longer every time.

The counts are in the database, so that several processes share them. A try is counted before the secret is looked
at and taken back when it was right, so that many tries at once are no way round.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from pinmap.core.errors import TooOften
from pinmap.core.model.people import Right
from pinmap.services.shop import Shop
from pinmap.store import throttle as rows
from pinmap.store.base import now

_FORGOTTEN_AFTER = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Limit:
    """Tries counted together: so many are free, then one waits 1, 2, 4 ... seconds up to the longest wait."""

    subject: str
    free: int
    longest_wait_s: int

    @property
    def fingerprint(self) -> str:
        return hashlib.sha256(self.subject.encode("utf-8", "surrogatepass")).hexdigest()

    def wait_s(self, tries: int) -> int:
        """Seconds until the next try after so many vain ones."""
        return min(2 ** min(tries - self.free, 30), self.longest_wait_s) if tries >= self.free else 0


def count(shop: Shop, limits: Sequence[Limit]) -> None:
    """Counts a try. Raises TooOften, and counts nothing, while one of the limits says wait."""
    with shop.write(Right.OPEN) as session:
        rows.forget_older(session, now() - _FORGOTTEN_AFTER)
        known = rows.tried(session, [limit.fingerprint for limit in limits])
        time = now()
        latest = max(t.until for t in known.values())
        if latest > time:
            raise TooOften(max(1, round((latest - time).total_seconds())))
        for limit in limits:
            tries = known[limit.fingerprint].tries + 1
            rows.write(session, limit.fingerprint, tries, time + timedelta(seconds=limit.wait_s(tries)))


def was_right(shop: Shop, limits: Sequence[Limit]) -> None:
    """Takes the try back: the first limit begins anew, the others, which count other people's tries too, count one
    less."""
    with shop.write(Right.OPEN) as session:
        rows.forget(session, limits[0].fingerprint)
        for limit in limits[1:]:
            rows.take_back(session, limit.fingerprint)
