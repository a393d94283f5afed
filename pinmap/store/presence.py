"""Who is looking at which job, as rows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.store.base import checked, table


@dataclass(frozen=True, slots=True)
class Present:
    """Somebody who has a page of a job open; ``page`` is what the page is called."""

    name: str
    page: str
    seen: datetime


def note(session: Session, job_id: int, person_id: int, page: str, seen: datetime) -> None:
    """Notes that a person has a page of a job open."""
    t = table("presence")
    row = checked(t, {"job_id": job_id, "person_id": person_id, "page": page, "seen": seen})
    again = {"page": page, "seen": seen}
    keys = ["job_id", "person_id"]
    if session.get_bind().dialect.name == "postgresql":
        from sqlalchemy.dialects.postgresql import insert as pg_insert

        session.execute(pg_insert(t).values(**row).on_conflict_do_update(index_elements=keys, set_=again))
    else:
        from sqlalchemy.dialects.sqlite import insert as sqlite_insert

        session.execute(sqlite_insert(t).values(**row).on_conflict_do_update(index_elements=keys, set_=again))


def forget_older(session: Session, job_id: int, than: datetime) -> None:
    """Clears away who has not been heard of since."""
    t = table("presence")
    session.execute(sa.delete(t).where(t.c.job_id == job_id, t.c.seen < than))


def others(session: Session, job_id: int, person_id: int, since: datetime) -> tuple[Present, ...]:
    """Everybody else who was heard of since, by name."""
    t, p = table("presence"), table("person")
    found = session.execute(
        sa.select(p.c.name, t.c.page, t.c.seen)
        .select_from(t.join(p, p.c.id == t.c.person_id))
        .where(t.c.job_id == job_id, t.c.person_id != person_id, t.c.seen >= since, p.c.disabled.is_(None))
        .order_by(p.c.name, p.c.id)
    )
    return tuple(Present(*row) for row in found)
