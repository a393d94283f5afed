"""Table of what was checked off at the bench. Triggers refuse every update and delete; a later row supersedes."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.store.base import KEY_LENGTH, UtcDateTime, now


class CheckOffRow(SQLModel, table=True):
    """What somebody wrote down of one line of one loom of a variant, with what the line was then."""

    __tablename__ = "check_off"
    __table_args__ = (
        sa.Index(None, "job_id"),
        sa.Index(None, "person_id"),
        sa.UniqueConstraint("sent_sha256"),
        {"sqlite_autoincrement": True},
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", ondelete="RESTRICT")
    variant: str = Field(sa_type=sa.Text)
    serial: str = Field(max_length=KEY_LENGTH)  # of the loom on the bench, "" where there is only one
    stage: str = Field(max_length=20)
    line: str = Field(sa_type=sa.Text)
    name: str = Field(sa_type=sa.Text)
    content: list[Any] = Field(sa_type=sa.JSON)  # pairs of field and value
    digest: str = Field(max_length=64)  # SHA-256 of the content
    verdict: str = Field(max_length=20)
    value_ohm: float | None
    note: str = Field(sa_type=sa.Text)
    who: str = Field(max_length=KEY_LENGTH)
    person_id: int | None = Field(foreign_key="person.id", ondelete="RESTRICT")  # None: the command line
    at: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    sent_sha256: str = Field(max_length=64)  # of the form, so that one that is sent twice counts once
