"""The test record that goes along with a link."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("share_link", sa.Column("record_serial", sa.String(length=120), nullable=True))


def downgrade() -> None:
    op.drop_column("share_link", "record_serial")
