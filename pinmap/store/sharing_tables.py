"""Tables of what is shown outside the shop: links to revisions, the shop's card on them, readers' questions."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.store.base import KEY_LENGTH, Names, UtcDateTime, now


class ShareLinkRow(SQLModel, table=True):
    """A link to one revision and variant. Only the token's SHA-256 is kept, so a stolen database opens nothing."""

    __tablename__ = "share_link"
    __table_args__ = (sa.UniqueConstraint("token_sha256"), sa.Index(None, "revision_id"))
    id: int | None = Field(default=None, primary_key=True)
    token_sha256: str = Field(max_length=64)
    revision_id: int = Field(foreign_key="revision.id", ondelete="RESTRICT")
    variant: str = Field(sa_type=sa.Text)
    label: str = Field(sa_type=sa.Text)  # for whom it is
    passphrase: str | None = Field(sa_type=sa.Text)  # salt and derived key, hexadecimal
    created: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    expires: datetime = Field(sa_type=UtcDateTime)
    revoked: datetime | None = Field(sa_type=UtcDateTime)
    views: int
    # what of the revision it shows, see services.sharing.Part; NULL in links older than this column
    includes: tuple[str, ...] | None = Field(sa_type=Names, nullable=True)
    # serial number of the loom whose test record goes along, "" for the one without; NULL for none
    record_serial: str | None = Field(max_length=KEY_LENGTH)


class QuestionRow(SQLModel, table=True):
    """What a reader of a link asks about a pin, and what the shop answers. Plain text both."""

    __tablename__ = "question"
    __table_args__ = (sa.Index(None, "link_id"), {"sqlite_autoincrement": True})
    id: int | None = Field(default=None, primary_key=True)
    link_id: int = Field(foreign_key="share_link.id", ondelete="RESTRICT")
    pin: str = Field(max_length=KEY_LENGTH)  # as the pin table calls it; "" for the whole
    name: str = Field(sa_type=sa.Text)
    text: str = Field(sa_type=sa.Text)
    asked: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    settled: datetime | None = Field(sa_type=UtcDateTime)  # answered, or set aside; new until then
    answer: str = Field(sa_type=sa.Text)
    answered_by: str = Field(sa_type=sa.Text)
    version: int


class ShopCardRow(SQLModel, table=True):
    """How the shop shows itself on what it shares; one row, made by the migration."""

    __tablename__ = "shop_card"
    __table_args__ = (sa.CheckConstraint("id = 1", name="only_one"),)
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(sa_type=sa.Text)
    line: str = Field(sa_type=sa.Text)
    contact: str = Field(sa_type=sa.Text)
    mark: str = Field(sa_type=sa.Text)  # a PNG that Pinmap itself has written, in base64; "" for none
    version: int
