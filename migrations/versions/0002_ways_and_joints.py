"""Where kinds of wire and splices may not be; ways led by hand; how the ends of a net meet."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_JOINTS = ("splice", "daisy chain", "double crimp")


def upgrade() -> None:
    joint = sa.Enum(*_JOINTS, name="joint", native_enum=False, create_constraint=True, length=40)
    with op.batch_alter_table("zone") as zone:
        zone.add_column(sa.Column("no_splice", sa.Boolean(), nullable=False, server_default=sa.false()))
        zone.add_column(sa.Column("avoid", sa.JSON(), nullable=False, server_default="[]"))
        zone.add_column(sa.Column("forbid", sa.JSON(), nullable=False, server_default="[]"))
    with op.batch_alter_table("signal") as signal:
        signal.add_column(sa.Column("via", sa.JSON(), nullable=False, server_default="[]"))
        signal.add_column(sa.Column("joint", joint, nullable=False, server_default="splice"))
    # The defaults served the rows that were there; new rows name every column.
    with op.batch_alter_table("zone") as zone:
        for name in ("no_splice", "avoid", "forbid"):
            zone.alter_column(name, server_default=None)
    with op.batch_alter_table("signal") as signal:
        for name in ("via", "joint"):
            signal.alter_column(name, server_default=None)


def downgrade() -> None:
    with op.batch_alter_table("signal") as signal:
        signal.drop_constraint(op.f("ck_signal_joint"), type_="check")
        signal.drop_column("joint")
        signal.drop_column("via")
    with op.batch_alter_table("zone") as zone:
        for name in ("forbid", "avoid", "no_splice"):
            zone.drop_column(name)
