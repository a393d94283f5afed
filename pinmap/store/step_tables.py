"""Table of what can be undone."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.store.base import UtcDateTime, now


class JobStepRow(SQLModel, table=True):
    """One change of a job: the parts of it that changed, as they were before and after, in the job file's words."""

    __tablename__ = "job_step"
    __table_args__ = (sa.Index(None, "job_id"), {"sqlite_autoincrement": True})
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE")
    what: str = Field(sa_type=sa.Text)
    before: str = Field(sa_type=sa.Text)
    after: str = Field(sa_type=sa.Text)
    undone: bool
    created: datetime = Field(default_factory=now, sa_type=UtcDateTime)
