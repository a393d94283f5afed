"""Searches for sizes: how far they are, and what they found."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "size_search",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("question", sa.String(length=64), nullable=False),
        sa.Column("runner", sa.String(length=64), nullable=False),
        sa.Column("heard", sa.DateTime(timezone=True), nullable=False),
        sa.Column("stop", sa.Boolean(), nullable=False),
        sa.Column("progress", sa.Text(), nullable=False),
        sa.Column("result", sa.Text(), nullable=False),
        sa.Column("failure", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_size_search_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "question", name=op.f("pk_size_search")),
    )


def downgrade() -> None:
    op.drop_table("size_search")
