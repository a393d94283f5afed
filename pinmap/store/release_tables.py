"""Tables of what a release leaves: immutable revisions, jobs branched from them, drafts they took the place of."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.store.base import KEY_LENGTH, UtcDateTime, now


class RevisionRow(SQLModel, table=True):
    """A job as released. Triggers refuse every update and delete; hence a job with revisions cannot be deleted."""

    __tablename__ = "revision"
    __table_args__ = (sa.UniqueConstraint("job_id", "letter"), {"sqlite_autoincrement": True})
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", ondelete="RESTRICT")
    letter: str = Field(max_length=KEY_LENGTH)
    author: str = Field(sa_type=sa.Text)
    note: str = Field(sa_type=sa.Text)
    created: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    content_hash: str = Field(max_length=64)
    snapshot: str = Field(sa_type=sa.Text)  # the job file
    functions: list[dict[str, Any]] = Field(sa_type=sa.JSON)  # the shop's own dictionary entries at that time
    # what was checked and what was found; NULL in revisions older than this column
    checks: dict[str, Any] | None = Field(sa_type=sa.JSON(none_as_null=True), nullable=True)


class JobOriginRow(SQLModel, table=True):
    """From which revision a job was branched."""

    __tablename__ = "job_origin"
    __table_args__ = (sa.Index(None, "revision_id"),)
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    revision_id: int = Field(foreign_key="revision.id", ondelete="RESTRICT")
    who: str = Field(sa_type=sa.Text)
    note: str = Field(sa_type=sa.Text)
    created: datetime = Field(default_factory=now, sa_type=UtcDateTime)


class KeptDraftRow(SQLModel, table=True):
    """A draft put aside when a revision took its place, so that this can be undone."""

    __tablename__ = "kept_draft"
    __table_args__ = (sa.Index(None, "job_id"), {"sqlite_autoincrement": True})
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE")
    who: str = Field(sa_type=sa.Text)
    why: str = Field(sa_type=sa.Text)
    created: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    content_hash: str = Field(max_length=64)
    snapshot: str = Field(sa_type=sa.Text)  # the job file
