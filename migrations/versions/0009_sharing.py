"""What a link includes, readers' questions, the shop's card."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("share_link", sa.Column("includes", sa.JSON(), nullable=True))
    op.create_table(
        "question",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("link_id", sa.Integer(), nullable=False),
        sa.Column("pin", sa.String(length=120), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("asked", sa.DateTime(timezone=True), nullable=False),
        sa.Column("settled", sa.DateTime(timezone=True), nullable=True),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("answered_by", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["link_id"], ["share_link.id"], name=op.f("fk_question_link_id"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_question")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_question_link_id"), "question", ["link_id"])
    op.create_table(
        "shop_card",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("line", sa.Text(), nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("mark", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_shop_card_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shop_card")),
    )
    card = sa.table(
        "shop_card",
        *(sa.column(n, sa.Integer) for n in ("id", "version")),
        *(sa.column(n, sa.Text) for n in ("name", "line", "contact", "mark")),
    )
    op.bulk_insert(card, [{"id": 1, "version": 1, "name": "", "line": "", "contact": "", "mark": ""}])


def downgrade() -> None:
    op.drop_table("shop_card")
    op.drop_index(op.f("ix_question_link_id"), "question")
    op.drop_table("question")
    op.drop_column("share_link", "includes")
