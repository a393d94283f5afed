"""People, one-time links, sessions, counts of vain tries."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

_ROLES = ("owner", "builder", "technician")


def upgrade() -> None:
    role = sa.Enum(*_ROLES, name="person_role", native_enum=False, create_constraint=True, length=40)
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sign_in", sa.String(length=120), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", role, nullable=False),
        sa.Column("password", sa.Text(), nullable=True),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("disabled", sa.DateTime(timezone=True), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("sign_in", name=op.f("uq_person_sign_in")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "throttle",
        sa.Column("subject_sha256", sa.String(length=64), nullable=False),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("last", sa.DateTime(timezone=True), nullable=False),
        sa.Column("until", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("subject_sha256", name=op.f("pk_throttle")),
    )
    op.create_table(
        "one_time_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_one_time_link_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_one_time_link")),
        sa.UniqueConstraint("token_sha256", name=op.f("uq_one_time_link_token_sha256")),
    )
    op.create_index(op.f("ix_one_time_link_person_id"), "one_time_link", ["person_id"])
    op.create_table(
        "person_session",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_used", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_person_session_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person_session")),
        sa.UniqueConstraint("token_sha256", name=op.f("uq_person_session_token_sha256")),
    )
    op.create_index(op.f("ix_person_session_person_id"), "person_session", ["person_id"])


def downgrade() -> None:
    for name in ("person_session", "one_time_link", "throttle", "person"):
        op.drop_table(name)
