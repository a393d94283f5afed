"""Who is looking at which job."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "presence",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("page", sa.Text(), nullable=False),
        sa.Column("seen", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_presence_job_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_presence_person_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "person_id", name=op.f("pk_presence")),
    )


def downgrade() -> None:
    op.drop_table("presence")
