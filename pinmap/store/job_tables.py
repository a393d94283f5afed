"""Tables of a job. Its parts are named by the job and their own key; pins and connectors of the library by id, so that
a rename there changes names and nothing else.

Parts own nothing but what cascades from them; references between parts are deferred to the end of the transaction,
so that a change may come in any order.
"""

from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from pinmap.core.model.words import DeviceKind, Fate, FixingKind, Gender, Joint, NodeKind, Role
from pinmap.store.base import KEY_LENGTH, Names, UtcDateTime, now, words


def _key_of(part: str, column: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["job_id", column], [f"{part}.job_id", f"{part}.key"], deferrable=True, initially="DEFERRED"
    )


def _owned_by(part: str, column: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["job_id", column], [f"{part}.job_id", f"{part}.key"], ondelete="CASCADE")


class JobRow(SQLModel, table=True):
    """A job; ``version`` counts every change of it and of its parts."""

    __tablename__ = "job"
    __table_args__ = (
        sa.UniqueConstraint("key"),
        sa.CheckConstraint("key <> ''", name="key_not_empty"),
        {"sqlite_autoincrement": True},
    )
    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(max_length=KEY_LENGTH)
    name: str = Field(sa_type=sa.Text)
    customer: str = Field(sa_type=sa.Text)
    note: str = Field(sa_type=sa.Text)
    practice: dict[str, Any] = Field(sa_type=sa.JSON)
    next_number: int
    version: int
    created: datetime = Field(default_factory=now, sa_type=UtcDateTime)
    changed: datetime = Field(default_factory=now, sa_type=UtcDateTime)


class SeatRow(SQLModel, table=True):
    """An axis of choice."""

    __tablename__ = "seat"
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    name: str = Field(sa_type=sa.Text)
    role: Role = Field(sa_type=words(Role, "role"))


class PickRow(SQLModel, table=True):
    """One choice for a seat."""

    __tablename__ = "pick"
    __table_args__ = (_owned_by("seat", "seat"), sa.Index(None, "platform_id"))
    job_id: int = Field(primary_key=True)
    seat: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int = Field(primary_key=True)
    platform_id: int = Field(foreign_key="platform.id", ondelete="RESTRICT")
    edition: str = Field(max_length=KEY_LENGTH)


class LoomRow(SQLModel, table=True):
    """One loom."""

    __tablename__ = "loom"
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    name: str = Field(sa_type=sa.Text)
    note: str = Field(sa_type=sa.Text)


class ZoneRow(SQLModel, table=True):
    """What surrounds a segment."""

    __tablename__ = "zone"
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    name: str = Field(sa_type=sa.Text)
    ambient_c: float
    wet: bool
    moving: bool
    hot: bool
    no_splice: bool
    avoid: tuple[str, ...] = Field(sa_type=Names)
    forbid: tuple[str, ...] = Field(sa_type=Names)


class NodeRow(SQLModel, table=True):
    """A connector of the loom, a branch point, or a place for devices."""

    __tablename__ = "node"
    __table_args__ = (
        _key_of("loom", "loom"),
        sa.UniqueConstraint("job_id", "mates_id"),
        sa.Index(None, "mates_id"),
    )
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    loom: str = Field(max_length=KEY_LENGTH)
    kind: NodeKind = Field(sa_type=words(NodeKind, "kind"))
    name: str = Field(sa_type=sa.Text)
    mates_id: int | None = Field(foreign_key="connector.id", ondelete="RESTRICT")
    housing: str = Field(max_length=KEY_LENGTH)
    gender: Gender = Field(sa_type=words(Gender, "gender"))
    terminal: str = Field(sa_type=sa.Text)
    plugged: bool
    note: str = Field(sa_type=sa.Text)


class SegmentRow(SQLModel, table=True):
    """The run between two nodes; length_m in metres."""

    __tablename__ = "segment"
    __table_args__ = (_key_of("loom", "loom"), _key_of("node", "a"), _key_of("node", "b"), _key_of("zone", "zone"))
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    loom: str = Field(max_length=KEY_LENGTH)
    a: str = Field(max_length=KEY_LENGTH)
    b: str = Field(max_length=KEY_LENGTH)
    length_m: float
    zone: str | None = Field(max_length=KEY_LENGTH)
    covering: str = Field(sa_type=sa.Text)


class FixingRow(SQLModel, table=True):
    """A clip, grommet or backshell clamp on a segment."""

    __tablename__ = "fixing"
    __table_args__ = (_key_of("segment", "segment"),)
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    segment: str = Field(max_length=KEY_LENGTH)
    kind: FixingKind = Field(sa_type=words(FixingKind, "kind"))
    at_m: float
    inner_mm: float
    part: str = Field(sa_type=sa.Text)


class MatingRow(SQLModel, table=True):
    """Two in-line connectors of different looms that plug into each other."""

    __tablename__ = "mating"
    __table_args__ = (_key_of("node", "a"), _key_of("node", "b"))
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    a: str = Field(max_length=KEY_LENGTH)
    b: str = Field(max_length=KEY_LENGTH)
    note: str = Field(sa_type=sa.Text)


class MatedCavityRow(SQLModel, table=True):
    """A cavity of a mating kept for one section of a signal."""

    __tablename__ = "mated_cavity"
    __table_args__ = (_owned_by("mating", "mating"), _key_of("signal", "signal"))
    job_id: int = Field(primary_key=True)
    mating: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int = Field(primary_key=True)
    cavity: str = Field(sa_type=sa.Text)
    signal: str = Field(max_length=KEY_LENGTH)
    section: int


class DeviceRow(SQLModel, table=True):
    """A part between wires."""

    __tablename__ = "device"
    __table_args__ = (_key_of("node", "place"),)
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    kind: DeviceKind = Field(sa_type=words(DeviceKind, "kind"))
    place: str | None = Field(max_length=KEY_LENGTH)
    name: str = Field(sa_type=sa.Text)
    rating_a: float | None
    resistance_ohm: float | None
    coil_ohm: float | None
    suppressed: bool
    only_with: str = Field(max_length=KEY_LENGTH)
    part: str = Field(sa_type=sa.Text)
    note: str = Field(sa_type=sa.Text)


class SignalRow(SQLModel, table=True):
    """One electrical net."""

    __tablename__ = "signal"
    __table_args__ = (sa.UniqueConstraint("job_id", "number"),)
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    number: int
    name: str = Field(sa_type=sa.Text)
    function_code: str = Field(max_length=KEY_LENGTH)
    mm2: float | None
    colour: str = Field(sa_type=sa.Text)
    insulation: str = Field(sa_type=sa.Text)
    twist: str = Field(sa_type=sa.Text)
    screen: str = Field(sa_type=sa.Text)
    confirmed: bool
    note: str = Field(sa_type=sa.Text)
    via: tuple[str, ...] = Field(sa_type=Names)
    joint: Joint = Field(sa_type=words(Joint, "joint"))


class MemberRow(SQLModel, table=True):
    """One end of a signal: a pin of the library, or a device's terminal. An end belongs to one signal at most."""

    __tablename__ = "member"
    __table_args__ = (
        _owned_by("signal", "signal"),
        _key_of("device", "device"),
        sa.UniqueConstraint("job_id", "pin_id"),
        sa.UniqueConstraint("job_id", "device", "terminal"),
        sa.CheckConstraint("(pin_id IS NULL) <> (device IS NULL)", name="one_end"),
        sa.CheckConstraint("(device IS NULL) = (terminal IS NULL)", name="terminal_of_device"),
        sa.Index(None, "job_id", "signal"),
        sa.Index(None, "pin_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int
    signal: str = Field(max_length=KEY_LENGTH)
    position: int
    section: int
    pin_id: int | None = Field(foreign_key="pin.id", ondelete="RESTRICT")
    device: str | None = Field(max_length=KEY_LENGTH)
    terminal: str | None = Field(max_length=KEY_LENGTH)
    mm2: float | None
    colour: str = Field(sa_type=sa.Text)


class InLineRow(SQLModel, table=True):
    """A device in line, between section ``position`` and the next."""

    __tablename__ = "in_line"
    __table_args__ = (_owned_by("signal", "signal"), _key_of("device", "device"))
    job_id: int = Field(primary_key=True)
    signal: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int = Field(primary_key=True)
    device: str = Field(max_length=KEY_LENGTH)


class PinFateRow(SQLModel, table=True):
    """What becomes of a pin that no signal has."""

    __tablename__ = "pin_fate"
    __table_args__ = (sa.Index(None, "pin_id"),)
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    pin_id: int = Field(foreign_key="pin.id", ondelete="RESTRICT", primary_key=True)
    position: int
    fate: Fate = Field(sa_type=words(Fate, "fate"))
    reason: str = Field(sa_type=sa.Text)
    owner: str = Field(sa_type=sa.Text)
    due: str = Field(sa_type=sa.Text)


class LoadCaseRow(SQLModel, table=True):
    """An operating state; supply_v in volts."""

    __tablename__ = "load_case"
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    key: str = Field(max_length=KEY_LENGTH, primary_key=True)
    position: int
    code: str = Field(sa_type=sa.Text)
    name: str = Field(sa_type=sa.Text)
    supply_v: float
    source: str = Field(sa_type=sa.Text)
    profile: str = Field(sa_type=sa.Text, sa_column_kwargs={"server_default": sa.text("''")})
    phase: str = Field(sa_type=sa.Text, sa_column_kwargs={"server_default": sa.text("''")})


class AcceptanceRow(SQLModel, table=True):
    """A finding accepted by a named person."""

    __tablename__ = "acceptance"
    job_id: int = Field(foreign_key="job.id", ondelete="CASCADE", primary_key=True)
    position: int = Field(primary_key=True)
    finding: str = Field(sa_type=sa.Text)
    by: str = Field(sa_type=sa.Text)
    reason: str = Field(sa_type=sa.Text)
