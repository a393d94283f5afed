"""Versions of rows and stamps of sets: by them a stale change is refused and a stale copy is noticed."""

from __future__ import annotations

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import Conflict, NotFound
from pinmap.store.base import now, table, touched


def claim(session: Session, name: str, row_id: int, version: int, what: str = "") -> int:
    """Raises a row's version from the expected one, in one statement. Raises Conflict or NotFound."""
    t = table(name)
    stamped = {"changed": now()} if "changed" in t.c else {}
    mine = sa.and_(t.c.id == row_id, t.c.version == version)
    if touched(session, sa.update(t).where(mine).values(version=version + 1, **stamped)) != 1:
        found = session.execute(sa.select(t.c.version).where(t.c.id == row_id)).scalar_one_or_none()
        if found is None:
            raise NotFound(f"this {name} has been deleted in the meantime")
        raise Conflict(what or f"this {name}", version, found)
    return version + 1


def stamp(session: Session, name: str) -> int:
    """How often a set was changed."""
    s = table("stamp")
    return session.execute(sa.select(s.c.count).where(s.c.name == name)).scalar_one_or_none() or 0


def raise_stamp(session: Session, name: str) -> None:
    """Counts a change of a set; the migrations made its row."""
    s = table("stamp")
    session.execute(sa.update(s).where(s.c.name == name).values(count=s.c.count + 1))
