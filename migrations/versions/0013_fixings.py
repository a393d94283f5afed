"""Clips, grommets and backshell clamps on segments."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "fixing",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("segment", sa.String(length=120), nullable=False),
        sa.Column(
            "kind",
            sa.Enum("clip", "grommet", "backshell", name="kind", native_enum=False, create_constraint=True, length=40),
            nullable=False,
        ),
        sa.Column("at_m", sa.Float(), nullable=False),
        sa.Column("inner_mm", sa.Float(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id", "segment"],
            ["segment.job_id", "segment.key"],
            name=op.f("fk_fixing_job_id_segment"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_fixing_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "key", name=op.f("pk_fixing")),
    )


def downgrade() -> None:
    op.drop_table("fixing")
