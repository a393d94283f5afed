"""Tables of the shop's library: platforms and their pins, housings, functions, pinouts under import."""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.core.model.words import Direction, Evidence, Gender, Kind, Role
from pinmap.store.base import EDITIONS_LENGTH, KEY_LENGTH, UtcDateTime, now, words


class PlatformRow(SQLModel, table=True):
    """A platform; ``version`` counts every change of it, of its editions, connectors and pins."""

    __tablename__ = "platform"
    __table_args__ = (
        sa.UniqueConstraint("key"),
        sa.CheckConstraint("key <> ''", name="key_not_empty"),
        {"sqlite_autoincrement": True},
    )
    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(max_length=KEY_LENGTH)
    name: str = Field(sa_type=sa.Text)
    role: Role = Field(sa_type=words(Role, "role"))
    nominal_v: float
    note: str = Field(sa_type=sa.Text)
    source: str = Field(sa_type=sa.Text)
    version: int
    changed: datetime = Field(default_factory=now, sa_type=UtcDateTime)


class EditionRow(SQLModel, table=True):
    """An edition of a platform."""

    __tablename__ = "edition"
    platform_id: int = Field(foreign_key="platform.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    name: str = Field(sa_type=sa.Text)
    from_year: int | None
    to_year: int | None
    market: str = Field(sa_type=sa.Text)
    note: str = Field(sa_type=sa.Text)


class ConnectorRow(SQLModel, table=True):
    """A connector of a platform. ``editions`` are edition keys joined by ";". ``housing`` names a built-in housing or
    one of the shop's, so it is no foreign key."""

    __tablename__ = "connector"
    __table_args__ = (sa.UniqueConstraint("platform_id", "name"),)
    id: int | None = Field(default=None, primary_key=True)
    platform_id: int = Field(foreign_key="platform.id", ondelete="CASCADE")
    position: int
    name: str = Field(max_length=KEY_LENGTH)
    description: str = Field(sa_type=sa.Text)
    housing: str = Field(max_length=KEY_LENGTH)
    gender: Gender = Field(sa_type=words(Gender, "gender"))
    sealed: bool
    terminal: str = Field(sa_type=sa.Text)
    editions: str = Field(sa_type=sa.Text)
    place: str = Field(sa_type=sa.Text)
    note: str = Field(sa_type=sa.Text)


class PinRow(SQLModel, table=True):
    """What a platform has in one cavity, once for each set of editions that differs. ``position`` counts over the
    whole platform."""

    __tablename__ = "pin"
    __table_args__ = (
        sa.UniqueConstraint("connector_id", "cavity", "edition"),
        sa.CheckConstraint("cavity <> ''", name="cavity_not_empty"),
        sa.Index(None, "function_code"),
    )
    id: int | None = Field(default=None, primary_key=True)
    connector_id: int = Field(foreign_key="connector.id", ondelete="CASCADE")
    position: int
    cavity: str = Field(max_length=KEY_LENGTH)
    edition: str = Field(max_length=EDITIONS_LENGTH)
    function: str = Field(sa_type=sa.Text)
    function_code: str = Field(max_length=KEY_LENGTH)
    kind: Kind = Field(sa_type=words(Kind, "kind"))
    direction: Direction = Field(sa_type=words(Direction, "direction"))
    current_a: float | None
    peak_a: float | None
    wire_colour: str = Field(sa_type=sa.Text)
    wire_mm2: float | None
    evidence: Evidence = Field(sa_type=words(Evidence, "evidence"))
    evidence_ref: str = Field(sa_type=sa.Text)
    component: str = Field(sa_type=sa.Text)
    note: str = Field(sa_type=sa.Text)
    extra: Any = Field(sa_type=sa.JSON(none_as_null=True), nullable=True)


class HousingRow(SQLModel, table=True):
    """A housing the shop has added to the built-in ones."""

    __tablename__ = "housing"
    __table_args__ = (sa.UniqueConstraint("key"), sa.CheckConstraint("key <> ''", name="key_not_empty"))
    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(max_length=KEY_LENGTH)
    name: str = Field(sa_type=sa.Text)
    gender: Gender = Field(sa_type=words(Gender, "gender"))
    family: str = Field(sa_type=sa.Text)
    keying: str = Field(sa_type=sa.Text)
    sealed: bool
    terminal: str = Field(sa_type=sa.Text)
    shape: str = Field(sa_type=sa.Text)
    source: str = Field(sa_type=sa.Text)
    lock: str = Field(sa_type=sa.Text)
    version: int


class CavityRow(SQLModel, table=True):
    """One position of a housing; column and row in contact pitches, seen from the mating side."""

    __tablename__ = "cavity"
    housing_id: int = Field(foreign_key="housing.id", ondelete="CASCADE", primary_key=True)
    position: int = Field(primary_key=True)
    name: str = Field(max_length=KEY_LENGTH)
    column: float
    row: float


class FunctionRow(SQLModel, table=True):
    """A function the shop has added to the dictionary; ``entry`` holds its fields by name."""

    __tablename__ = "function_entry"
    code: str = Field(max_length=KEY_LENGTH, primary_key=True)
    entry: dict[str, Any] = Field(sa_type=sa.JSON)
    version: int


class StampRow(SQLModel, table=True):
    """Counts changes of a set as a whole, so that a process knows when its cached copy is old."""

    __tablename__ = "stamp"
    name: str = Field(max_length=KEY_LENGTH, primary_key=True)
    count: int


class PinoutDraftRow(SQLModel, table=True):
    """A pinout under import: the table as it came, and everything the user has decided about it since."""

    __tablename__ = "pinout_draft"
    __table_args__ = (sa.Index(None, "platform_id"), {"sqlite_autoincrement": True})
    id: int | None = Field(default=None, primary_key=True)
    platform_id: int = Field(foreign_key="platform.id", ondelete="CASCADE")
    filename: str = Field(sa_type=sa.Text)
    created: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    table: dict[str, Any] = Field(sa_type=sa.JSON)  # headings, rows, encoding, sheet: as read
    state: dict[str, Any] = Field(sa_type=sa.JSON)  # mapping, edits, taken, choices
    version: int
