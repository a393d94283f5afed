"""What was checked off at the bench, as rows that are only ever added."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.model.bench import Content, Entry, Stage, Verdict
from pinmap.store.base import checked, now, table


def add(session: Session, job_id: int, values: dict[str, Any]) -> bool:
    """Adds an entry, for ever; False where the same form was taken already. Waits for others who write to the job, so
    that one form that arrives twice at once is seen as one."""
    c, j = table("check_off"), table("job")
    session.execute(sa.select(j.c.id).where(j.c.id == job_id).with_for_update())
    row = checked(c, {"job_id": job_id, "at": now(), **values})
    if session.execute(sa.select(c.c.id).where(c.c.sent_sha256 == row["sent_sha256"])).first() is not None:
        return False
    session.execute(sa.insert(c).values(**row))
    return True


def entries(session: Session, job_id: int, variant: str, serial: str) -> tuple[Entry, ...]:
    """All that was written down of one loom of a variant, the oldest first."""
    c = table("check_off")
    found = session.execute(
        sa.select(
            c.c.id, c.c.stage, c.c.line, c.c.name, c.c.content, c.c.digest, c.c.verdict, c.c.value_ohm, c.c.note,
            c.c.who, c.c.at,
        )
        .where(c.c.job_id == job_id, c.c.variant == variant, c.c.serial == serial)
        .order_by(c.c.id)
    )  # fmt: skip
    return tuple(
        Entry(
            id=number, stage=Stage(stage), line=line, name=name, content=_content(content), digest=digest,
            verdict=Verdict(verdict), value_ohm=value_ohm, note=note, who=who, at=at,
        )
        for number, stage, line, name, content, digest, verdict, value_ohm, note, who, at in found
    )  # fmt: skip


def _content(stored: Iterable[Any]) -> Content:
    return tuple((str(name), value if isinstance(value, str) else float(value)) for name, value in stored)


def looms(session: Session, job_id: int) -> tuple[tuple[str, str], ...]:
    """(variant, serial) of every loom of a job that something was written down of."""
    c = table("check_off")
    found = session.execute(
        sa.select(c.c.variant, c.c.serial).where(c.c.job_id == job_id).distinct().order_by(c.c.variant, c.c.serial)
    )
    return tuple((variant, serial) for variant, serial in found)


def count(session: Session, job_id: int) -> int:
    """How many entries a job has."""
    c = table("check_off")
    return int(session.execute(sa.select(sa.func.count()).where(c.c.job_id == job_id)).scalar_one())


def contents(session: Session) -> Iterable[tuple[int, Content, str]]:
    """Number, content and digest of every entry."""
    c = table("check_off")
    for number, content, digest in session.execute(sa.select(c.c.id, c.c.content, c.c.digest).order_by(c.c.id)):
        yield number, _content(content), digest
