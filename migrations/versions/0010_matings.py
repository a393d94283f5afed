"""Looms that plug into each other."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "mating",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("a", sa.String(length=120), nullable=False),
        sa.Column("b", sa.String(length=120), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        *(
            sa.ForeignKeyConstraint(
                ["job_id", half],
                ["node.job_id", "node.key"],
                name=op.f(f"fk_mating_job_id_{half}"),
                initially="DEFERRED",
                deferrable=True,
            )
            for half in ("a", "b")
        ),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_mating_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "key", name=op.f("pk_mating")),
    )
    op.create_table(
        "mated_cavity",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("mating", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("cavity", sa.Text(), nullable=False),
        sa.Column("signal", sa.String(length=120), nullable=False),
        sa.Column("section", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id", "mating"],
            ["mating.job_id", "mating.key"],
            name=op.f("fk_mated_cavity_job_id_mating"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["job_id", "signal"],
            ["signal.job_id", "signal.key"],
            name=op.f("fk_mated_cavity_job_id_signal"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("job_id", "mating", "position", name=op.f("pk_mated_cavity")),
    )


def downgrade() -> None:
    op.drop_table("mated_cavity")
    op.drop_table("mating")
