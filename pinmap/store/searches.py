"""Searches for sizes as rows: whoever runs one tells here how far it is, and anybody may read that or end it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.store.base import checked, table, touched


@dataclass(frozen=True, slots=True)
class SearchRow:
    runner: str
    heard: datetime
    stop: bool
    progress: str
    result: str
    failure: str


def get(session: Session, job_id: int, question: str) -> SearchRow | None:
    t = table("size_search")
    columns = (t.c.runner, t.c.heard, t.c.stop, t.c.progress, t.c.result, t.c.failure)
    found = session.execute(sa.select(*columns).where(t.c.job_id == job_id, t.c.question == question)).one_or_none()
    return None if found is None else SearchRow(*found)


def begin(session: Session, job_id: int, question: str, runner: str, at: datetime) -> None:
    """Hands a question to a runner, whoever had it before."""
    t = table("size_search")
    session.execute(sa.delete(t).where(t.c.job_id == job_id, t.c.question == question))
    row = {"job_id": job_id, "question": question, "runner": runner, "heard": at, "stop": False, "progress": "",
           "result": "", "failure": ""}  # fmt: skip
    session.execute(sa.insert(t).values(**checked(t, row)))


def tell(session: Session, job_id: int, question: str, runner: str, what: dict[str, object]) -> bool:
    """Notes what a runner tells; False where the question is not in its hands any more."""
    t = table("size_search")
    mine = (t.c.job_id == job_id, t.c.question == question, t.c.runner == runner)
    return touched(session, sa.update(t).where(*mine).values(**checked(t, what))) == 1


def stop(session: Session, job_id: int, question: str) -> None:
    """Asks whoever runs it to end with what there is."""
    t = table("size_search")
    session.execute(sa.update(t).where(t.c.job_id == job_id, t.c.question == question).values(stop=True))


def forget_older(session: Session, job_id: int, than: datetime) -> None:
    """Clears away searches of a job of which nothing was heard since."""
    t = table("size_search")
    session.execute(sa.delete(t).where(t.c.job_id == job_id, t.c.heard < than))
