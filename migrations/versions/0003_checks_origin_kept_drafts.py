"""What a revision was checked for, from which revision a job was branched, drafts put aside."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Not in a batch: SQLite would rebuild the table, and the triggers that keep revisions as they are would be lost.
    op.add_column("revision", sa.Column("checks", sa.JSON(), nullable=True))
    op.create_table(
        "job_origin",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_job_origin_job_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(
            ["revision_id"], ["revision.id"], name=op.f("fk_job_origin_revision_id"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("job_id", name=op.f("pk_job_origin")),
    )
    op.create_index(op.f("ix_job_origin_revision_id"), "job_origin", ["revision_id"])
    op.create_table(
        "kept_draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("content_hash", sa.String(length=64), nullable=False),
        sa.Column("snapshot", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_kept_draft_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_kept_draft")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_kept_draft_job_id"), "kept_draft", ["job_id"])


def downgrade() -> None:
    op.drop_index(op.f("ix_kept_draft_job_id"), "kept_draft")
    op.drop_table("kept_draft")
    op.drop_index(op.f("ix_job_origin_revision_id"), "job_origin")
    op.drop_table("job_origin")
    op.drop_column("revision", "checks")
