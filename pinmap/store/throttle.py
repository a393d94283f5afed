"""Counts of vain tries as rows."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.store.base import now, table


@dataclass(frozen=True, slots=True)
class Tried:
    """How often a subject was tried, and until when it is refused."""

    tries: int
    until: datetime


def tried(session: Session, subjects: Collection[str]) -> dict[str, Tried]:
    """What is known of these subjects; a new one begins at none. Nobody else can count them until the transaction
    ends."""
    t = table("throttle")
    blank = [{"subject_sha256": s, "tries": 0, "last": now(), "until": now()} for s in sorted(subjects)]
    if session.get_bind().dialect.name == "postgresql":
        from sqlalchemy.dialects.postgresql import insert as pg_insert

        session.execute(pg_insert(t).on_conflict_do_nothing(), blank)
    else:
        from sqlalchemy.dialects.sqlite import insert as sqlite_insert

        session.execute(sqlite_insert(t).on_conflict_do_nothing(), blank)
    found = session.execute(
        sa.select(t.c.subject_sha256, t.c.tries, t.c.until)
        .where(t.c.subject_sha256.in_(sorted(subjects)))
        .order_by(t.c.subject_sha256)
        .with_for_update()
    )
    return {subject: Tried(tries, until) for subject, tries, until in found}


def write(session: Session, subject: str, tries: int, until: datetime) -> None:
    """Counts a try."""
    t = table("throttle")
    session.execute(sa.update(t).where(t.c.subject_sha256 == subject).values(tries=tries, until=until, last=now()))


def take_back(session: Session, subject: str) -> None:
    """Counts one try less, since it was not in vain; the waiting ends with it."""
    t = table("throttle")
    fewer = sa.case((t.c.tries > 0, t.c.tries - 1), else_=0)
    session.execute(sa.update(t).where(t.c.subject_sha256 == subject).values(tries=fewer, until=now()))


def forget(session: Session, subject: str) -> None:
    """Begins anew."""
    t = table("throttle")
    session.execute(sa.delete(t).where(t.c.subject_sha256 == subject))


def forget_older(session: Session, than: datetime) -> None:
    """Clears away what nobody tried since, except what somebody is just counting."""
    t = table("throttle")
    old = sa.select(t.c.subject_sha256).where(t.c.last < than).with_for_update(skip_locked=True)
    session.execute(sa.delete(t).where(t.c.subject_sha256.in_(old)))
