"""Table of who is looking at which job."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.store.base import UtcDateTime


class PresenceRow(SQLModel, table=True):
    """A person who had a page of a job open when last heard of."""

    __tablename__ = "presence"
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    person_id: int = Field(foreign_key="person.id", ondelete="CASCADE", primary_key=True)
    page: str = Field(sa_type=sa.Text)
    seen: datetime = Field(sa_type=UtcDateTime)
