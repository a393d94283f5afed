"""The last changes of a job, to be undone and done again; the oldest are forgotten."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.store.base import checked, now, table

KEPT = 100


@dataclass(frozen=True, slots=True)
class Step:
    """One change: what it was in words, and the job's changed parts before and after."""

    id: int
    what: str
    before: str
    after: str


def add(session: Session, job_id: int, what: str, before: str, after: str) -> None:
    """A change that was just made. What had been undone can no longer be done again."""
    t = table("job_step")
    session.execute(sa.delete(t).where(t.c.job_id == job_id, t.c.undone))
    row = {"job_id": job_id, "what": what, "before": before, "after": after, "undone": False, "created": now()}
    made = session.execute(sa.insert(t).values(**checked(t, row)).returning(t.c.id)).scalar_one()
    oldest = sa.select(t.c.id).where(t.c.job_id == job_id, t.c.id <= made).order_by(t.c.id.desc()).offset(KEPT)
    gone = session.execute(oldest.limit(1)).scalar_one_or_none()
    if gone is not None:
        session.execute(sa.delete(t).where(t.c.job_id == job_id, t.c.id <= gone))


def to_undo(session: Session, job_id: int) -> Step | None:
    """The last change that stands."""
    t = table("job_step")
    return _first(session, sa.select(t).where(t.c.job_id == job_id, ~t.c.undone).order_by(t.c.id.desc()))


def to_redo(session: Session, job_id: int) -> Step | None:
    """The change that was undone last."""
    t = table("job_step")
    return _first(session, sa.select(t).where(t.c.job_id == job_id, t.c.undone).order_by(t.c.id))


def mark(session: Session, step_id: int, *, undone: bool) -> None:
    t = table("job_step")
    session.execute(sa.update(t).where(t.c.id == step_id).values(undone=undone))


def words(session: Session, job_id: int) -> tuple[str, str]:
    """What could be undone and what done again, in words; "" for nothing."""
    t = table("job_step")
    chosen = sa.select(t.c.what).where(t.c.job_id == job_id).limit(1)
    undo = session.execute(chosen.where(~t.c.undone).order_by(t.c.id.desc())).scalar_one_or_none()
    redo = session.execute(chosen.where(t.c.undone).order_by(t.c.id)).scalar_one_or_none()
    return undo or "", redo or ""


def _first(session: Session, chosen: sa.Select[tuple[object, ...]]) -> Step | None:
    row = session.execute(chosen.limit(1)).mappings().one_or_none()
    return None if row is None else Step(row["id"], row["what"], row["before"], row["after"])
