"""Tables of who changed what. Triggers refuse every update and delete, and nothing refers to what may be deleted."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.store.base import KEY_LENGTH, UtcDateTime, now


class AuditRow(SQLModel, table=True):
    """One deed of one person on one thing of the shop. Things are named by key, since they may be gone by now."""

    __tablename__ = "audit"
    __table_args__ = (
        sa.Index(None, "kind", "subject"),
        sa.Index(None, "who"),
        sa.Index(None, "person_id"),
        {"sqlite_autoincrement": True},
    )
    id: int | None = Field(default=None, primary_key=True)
    at: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    who: str = Field(max_length=KEY_LENGTH)
    person_id: int | None = Field(foreign_key="person.id", ondelete="RESTRICT")  # None: the command line, a visitor
    kind: str = Field(max_length=20)  # job, platform, function, housing, person, shop
    subject: str = Field(max_length=KEY_LENGTH)
    what: str = Field(sa_type=sa.Text)


class AuditChangeRow(SQLModel, table=True):
    """One field that a deed changed, from what to what; with the pin where it concerns one."""

    __tablename__ = "audit_change"
    __table_args__ = (sa.Index(None, "platform", "connector", "cavity"),)
    audit_id: int = Field(foreign_key="audit.id", ondelete="RESTRICT", primary_key=True)
    position: int = Field(primary_key=True)
    subject: str = Field(sa_type=sa.Text)
    field: str = Field(sa_type=sa.Text)
    old: str = Field(sa_type=sa.Text)
    new: str = Field(sa_type=sa.Text)
    platform: str | None = Field(max_length=KEY_LENGTH)
    connector: str | None = Field(max_length=KEY_LENGTH)
    cavity: str | None = Field(max_length=KEY_LENGTH)
