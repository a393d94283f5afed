"""What was checked off at the bench, as rows that are only ever added."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.model.bench import Content, Entry, Stage, Verdict
from pinmap.store.base import checked, now, sought, table


def add(session: Session, job_id: int, values: dict[str, Any]) -> bool:
    """Adds an entry, for ever; False where the same form was taken already. ``last_of`` must have been asked first in
    this transaction, so that one form that arrives twice at once is seen as one."""
    c = table("check_off")
    row = checked(c, {"job_id": job_id, "at": now(), **values})
    if session.execute(sa.select(c.c.id).where(c.c.sent_sha256 == row["sent_sha256"])).first() is not None:
        return False
    session.execute(sa.insert(c).values(**row))
    return True


def last_of(session: Session, job_id: int, values: dict[str, Any]) -> Entry | None:
    """The last entry on the same line of the same loom; nobody else can add one until the transaction ends."""
    c, j = table("check_off"), table("job")
    session.execute(sa.select(j.c.id).where(j.c.id == job_id).with_for_update())
    same = [c.c[n] == sought(values[n]) for n in ("variant", "serial", "stage", "line")]
    found = session.execute(_entries().where(c.c.job_id == job_id, *same).order_by(c.c.id.desc()).limit(1)).first()
    return _entry(found) if found is not None else None


def entries(session: Session, job_id: int, variant: str, serial: str) -> tuple[Entry, ...]:
    """All that was written down of one loom of a variant, the oldest first. Raises NotFound for a serial number that no
    loom can have."""
    c = table("check_off")
    where = (c.c.job_id == job_id, c.c.variant == variant, c.c.serial == sought(serial))
    return tuple(_entry(row) for row in session.execute(_entries().where(*where).order_by(c.c.id)))


def _entries() -> sa.Select[Any]:
    c = table("check_off")
    return sa.select(
        c.c.id, c.c.stage, c.c.line, c.c.name, c.c.content, c.c.digest, c.c.verdict, c.c.value_ohm, c.c.note, c.c.who,
        c.c.at,
    )  # fmt: skip


def _entry(row: Sequence[Any]) -> Entry:
    number, stage, line, name, content, digest, verdict, value_ohm, note, who, at = row
    return Entry(
        id=number, stage=Stage(stage), line=line, name=name, content=_content(content), digest=digest,
        verdict=Verdict(verdict), value_ohm=value_ohm, note=note, who=who, at=at,
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
