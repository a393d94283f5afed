"""Tables of people: who they are, how they come in, and how often somebody tried to."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.core.model.people import PersonRole
from pinmap.store.base import KEY_LENGTH, UtcDateTime, now, words


class PersonRow(SQLModel, table=True):
    """Somebody of the shop. Never deleted, since their name stands beside what they did; disabled instead."""

    __tablename__ = "person"
    __table_args__ = (sa.UniqueConstraint("sign_in"), {"sqlite_autoincrement": True})
    id: int | None = Field(default=None, primary_key=True)
    sign_in: str = Field(max_length=KEY_LENGTH)  # normalised, see services.people
    name: str = Field(sa_type=sa.Text)
    role: PersonRole = Field(sa_type=words(PersonRole, "person_role"))
    password: str | None = Field(sa_type=sa.Text)  # Argon2id with its parameters; None until the first one is chosen
    created: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    disabled: datetime | None = Field(sa_type=UtcDateTime)
    version: int = Field(default=1)


class OneTimeLinkRow(SQLModel, table=True):
    """A link that lets its bearer choose a password, once; without a person it makes the first owner. Only the
    token's SHA-256 is kept."""

    __tablename__ = "one_time_link"
    __table_args__ = (sa.UniqueConstraint("token_sha256"), sa.Index(None, "person_id"))
    id: int | None = Field(default=None, primary_key=True)
    token_sha256: str = Field(max_length=64)
    person_id: int | None = Field(foreign_key="person.id", ondelete="CASCADE")
    created: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    expires: datetime = Field(sa_type=UtcDateTime)
    used: datetime | None = Field(sa_type=UtcDateTime)


class PersonSessionRow(SQLModel, table=True):
    """A browser in which a person is signed in. Only the token's SHA-256 is kept."""

    __tablename__ = "person_session"
    __table_args__ = (sa.UniqueConstraint("token_sha256"), sa.Index(None, "person_id"))
    id: int | None = Field(default=None, primary_key=True)
    token_sha256: str = Field(max_length=64)
    person_id: int = Field(foreign_key="person.id", ondelete="CASCADE")
    device: str = Field(sa_type=sa.Text)
    created: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    last_used: datetime = Field(sa_type=UtcDateTime)
    expires: datetime = Field(sa_type=UtcDateTime)


class ThrottleRow(SQLModel, table=True):
    """How often something secret was tried in vain, by a fingerprint of what or who it was tried on."""

    __tablename__ = "throttle"
    subject_sha256: str = Field(max_length=64, primary_key=True)
    tries: int
    last: datetime = Field(sa_type=UtcDateTime)
    until: datetime = Field(sa_type=UtcDateTime)  # refused before this time
