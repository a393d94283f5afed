"""Starting profiles as the supply of a load case."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for name in ("profile", "phase"):
        op.add_column("load_case", sa.Column(name, sa.Text(), nullable=False, server_default=sa.text("''")))


def downgrade() -> None:
    for name in ("phase", "profile"):
        op.drop_column("load_case", name)
