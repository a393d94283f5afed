"""Revisions as rows; what was branched from them, and the drafts that they took the place of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import NotFound
from pinmap.store.base import checked, now, sought, table


@dataclass(frozen=True, slots=True)
class RevisionLine:
    """A revision without its snapshot."""

    id: int
    job: str
    letter: str
    author: str
    note: str
    created: datetime
    content_hash: str


@dataclass(frozen=True, slots=True)
class StoredRevision:
    """A revision with the job file as it was, and the shop's own functions of that time."""

    line: RevisionLine
    snapshot: str
    functions: list[dict[str, Any]]
    checks: dict[str, Any] | None


@dataclass(frozen=True, slots=True)
class Origin:
    """From which revision a job was branched, by whom and why."""

    job: str
    job_name: str
    letter: str
    who: str
    note: str
    created: datetime


@dataclass(frozen=True, slots=True)
class KeptDraft:
    """A draft put aside, without its content."""

    id: int
    who: str
    why: str
    created: datetime
    content_hash: str


def counts(session: Session) -> dict[int, int]:
    """Job id -> number of revisions."""
    r = table("revision")
    return {row[0]: row[1] for row in session.execute(sa.select(r.c.job_id, sa.func.count()).group_by(r.c.job_id))}


def count(session: Session, job_id: int) -> int:
    """Number of revisions of a job."""
    r = table("revision")
    return int(session.execute(sa.select(sa.func.count()).where(r.c.job_id == job_id)).scalar_one())


def add_revision(session: Session, job_id: int, values: dict[str, Any]) -> int:
    """Stores a revision for ever and gives its id."""
    r = table("revision")
    row = checked(r, {"job_id": job_id, "created": now(), **values})
    return int(session.execute(sa.insert(r).values(**row).returning(r.c.id)).scalar_one())


def list_revisions(session: Session, job_id: int) -> tuple[RevisionLine, ...]:
    """All revisions of a job, the first released first."""
    r = table("revision")
    found = session.execute(_lines().where(r.c.job_id == job_id).order_by(r.c.id))
    return tuple(RevisionLine(*row[:7]) for row in found)


def letter_of(session: Session, job_id: int, content_hash: str) -> str:
    """The last revision that froze this content; "" for none."""
    r = table("revision")
    same = sa.select(r.c.letter).where(r.c.job_id == job_id, r.c.content_hash == content_hash)
    return session.execute(same.order_by(r.c.id.desc()).limit(1)).scalar() or ""


def get_revision(session: Session, *, revision_id: int = 0, job: str = "", letter: str = "") -> StoredRevision:
    """One revision, by id or by job and letter. Raises NotFound."""
    r, j = table("revision"), table("job")
    where = r.c.id == revision_id if revision_id else sa.and_(j.c.key == sought(job), r.c.letter == sought(letter))
    found = session.execute(_lines().add_columns(r.c.snapshot, r.c.functions, r.c.checks).where(where)).first()
    if found is None:
        raise NotFound(f"there is no revision {letter} of job {job!r}" if job else "there is no such revision")
    return StoredRevision(RevisionLine(*found[:7]), *found[7:])


def _lines() -> sa.Select[Any]:
    r, j = table("revision"), table("job")
    return sa.select(r.c.id, j.c.key, r.c.letter, r.c.author, r.c.note, r.c.created, r.c.content_hash).select_from(
        r.join(j)
    )


def add_origin(session: Session, values: dict[str, Any]) -> None:
    """Stores from which revision a job was branched."""
    o = table("job_origin")
    session.execute(sa.insert(o).values(**checked(o, {"created": now(), **values})))


def origin_of(session: Session, job_id: int) -> Origin | None:
    """From which revision a job was branched, None for one that was not."""
    o, r, j = table("job_origin"), table("revision"), table("job")
    found = session.execute(
        sa.select(j.c.key, j.c.name, r.c.letter, o.c.who, o.c.note, o.c.created)
        .select_from(o.join(r, r.c.id == o.c.revision_id).join(j, j.c.id == r.c.job_id))
        .where(o.c.job_id == job_id)
    ).first()
    return None if found is None else Origin(*found)


def branches_of(session: Session, job_id: int) -> tuple[tuple[str, str, str], ...]:
    """(revision's letter, job's key, job's name) of all that was branched from this job's revisions."""
    o, r, j = table("job_origin"), table("revision"), table("job")
    found = session.execute(
        sa.select(r.c.letter, j.c.key, j.c.name)
        .select_from(o.join(r, r.c.id == o.c.revision_id).join(j, j.c.id == o.c.job_id))
        .where(r.c.job_id == job_id)
        .order_by(o.c.job_id)
    )
    return tuple((row[0], row[1], row[2]) for row in found)


def keep_draft(session: Session, job_id: int, values: dict[str, Any]) -> None:
    """Puts a draft aside."""
    k = table("kept_draft")
    session.execute(sa.insert(k).values(**checked(k, {"job_id": job_id, "created": now(), **values})))


def kept_drafts(session: Session, job_id: int) -> tuple[KeptDraft, ...]:
    """The drafts put aside, the newest first."""
    k = table("kept_draft")
    found = session.execute(
        sa.select(k.c.id, k.c.who, k.c.why, k.c.created, k.c.content_hash)
        .where(k.c.job_id == job_id)
        .order_by(k.c.id.desc())
    )
    return tuple(KeptDraft(*row) for row in found)


def kept_draft(session: Session, job_id: int, draft_id: int) -> str:
    """The job file of a draft put aside. Raises NotFound."""
    k = table("kept_draft")
    found = session.execute(sa.select(k.c.snapshot).where(k.c.job_id == job_id, k.c.id == draft_id)).first()
    if found is None:
        raise NotFound("there is no such draft")
    return str(found[0])


def newest_letter(session: Session, revision_id: int) -> str:
    """Letter of the newest revision of the job that a revision belongs to."""
    r = table("revision")
    of_job = sa.select(r.c.job_id).where(r.c.id == revision_id).scalar_subquery()
    found = session.execute(sa.select(r.c.letter).where(r.c.job_id == of_job).order_by(r.c.id.desc()).limit(1))
    return str(found.scalar_one())
