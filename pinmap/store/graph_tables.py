"""Tables of the electrical graph of each job, derived from it whenever it changes."""

import enum

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.store.base import words

POINT_LENGTH = 260  # room for a device's key and a terminal


class EdgeKind(enum.StrEnum):
    """What joins two points."""

    WIRE = "wire"
    FACE = "face"  # the mated halves of one cavity
    CONTACT = "contact"  # through a device in line: fuse, relay contact, diode
    LOAD = "load"  # through a component or a relay's coil


class PointRow(SQLModel, table=True):
    """A cavity on the platform's or the loom's side ("pin:<id>", "loom:<id>"), a device's terminal, or a splice. Pins
    stand by their id, so that a rename touches nothing here."""

    __tablename__ = "point"
    __table_args__ = (sa.Index(None, "pin_id"),)
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    name: str = Field(max_length=POINT_LENGTH, primary_key=True)
    pin_id: int | None = Field(foreign_key="pin.id", ondelete="CASCADE")


class EdgeRow(SQLModel, table=True):
    """Joins two points, a < b by name; ``signal`` is the signal's key, "" for a load."""

    __tablename__ = "edge"
    __table_args__ = (
        sa.ForeignKeyConstraint(["job_id", "a"], ["point.job_id", "point.name"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["job_id", "b"], ["point.job_id", "point.name"], ondelete="CASCADE"),
        sa.Index(None, "job_id", "b"),
    )
    job_id: int = Field(primary_key=True)
    a: str = Field(max_length=POINT_LENGTH, primary_key=True)
    b: str = Field(max_length=POINT_LENGTH, primary_key=True)
    kind: EdgeKind = Field(sa_type=words(EdgeKind, "kind"), primary_key=True)
    signal: str = Field(sa_type=sa.Text)
