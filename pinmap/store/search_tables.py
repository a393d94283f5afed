"""Table of searches for sizes, under way and ended."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.store.base import UtcDateTime


class SizeSearchRow(SQLModel, table=True):
    """One question about one state of a job. ``runner`` names who works on it and was heard of at ``heard``;
    ``progress`` and ``result`` are JSON, "" while there is none."""

    __tablename__ = "size_search"
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    question: str = Field(max_length=64, primary_key=True)
    runner: str = Field(max_length=64)
    heard: datetime = Field(sa_type=UtcDateTime)
    stop: bool
    progress: str = Field(sa_type=sa.Text)
    result: str = Field(sa_type=sa.Text)
    failure: str = Field(sa_type=sa.Text)
