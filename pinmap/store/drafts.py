"""Pinouts under import as rows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import NotFound
from pinmap.store.base import checked, now, table, touched
from pinmap.store.versions import claim


@dataclass(frozen=True, slots=True)
class DraftLine:
    """A line of the list of drafts."""

    id: int
    filename: str
    created: datetime


@dataclass(frozen=True, slots=True)
class StoredDraft:
    """A draft: the table as it came, and what the user has decided about it."""

    id: int
    platform_id: int
    filename: str
    created: datetime
    table: dict[str, Any]
    state: dict[str, Any]
    version: int


def add(session: Session, platform_id: int, filename: str, raw: dict[str, Any], state: dict[str, Any]) -> int:
    """Stores a draft and gives its id."""
    d = table("pinout_draft")
    row = checked(d, {"platform_id": platform_id, "filename": filename.replace("\x00", "")[:300], "version": 1})
    made = sa.insert(d).values(**row, created=now(), table=raw, state=state).returning(d.c.id)
    return int(session.execute(made).scalar_one())


def load(session: Session, draft_id: int) -> StoredDraft:
    """A draft. Raises NotFound."""
    d = table("pinout_draft")
    found = session.execute(
        sa.select(d.c.id, d.c.platform_id, d.c.filename, d.c.created, d.c.table, d.c.state, d.c.version).where(
            d.c.id == draft_id
        )
    ).first()
    if found is None:
        raise NotFound("this draft is gone; its rows were taken, or it was discarded")
    return StoredDraft(*found)


def save(session: Session, draft: StoredDraft, version: int, state: dict[str, Any]) -> StoredDraft:
    """Writes what the user has decided. Raises Conflict when somebody else saved since ``version``."""
    d = table("pinout_draft")
    new = claim(session, "pinout_draft", draft.id, version, "this draft")
    session.execute(sa.update(d).where(d.c.id == draft.id).values(state=state))
    return replace(draft, state=state, version=new)


def delete(session: Session, draft_id: int) -> None:
    """Deletes a draft. Raises NotFound."""
    d = table("pinout_draft")
    if touched(session, sa.delete(d).where(d.c.id == draft_id)) != 1:
        raise NotFound("this draft is gone")


def list_drafts(session: Session, platform_id: int) -> tuple[DraftLine, ...]:
    """Drafts of a platform, the newest first."""
    d = table("pinout_draft")
    found = session.execute(
        sa.select(d.c.id, d.c.filename, d.c.created).where(d.c.platform_id == platform_id).order_by(d.c.id.desc())
    )
    return tuple(DraftLine(*row) for row in found)
