"""What was checked off at the bench: a table that only grows."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

_SAYS = "what was checked off is only added to"


def upgrade() -> None:
    op.create_table(
        "check_off",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("variant", sa.Text(), nullable=False),
        sa.Column("serial", sa.String(length=120), nullable=False),
        sa.Column("stage", sa.String(length=20), nullable=False),
        sa.Column("line", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("verdict", sa.String(length=20), nullable=False),
        sa.Column("value_ohm", sa.Float(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=120), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("sent_sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_check_off_job_id"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_check_off_person_id"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_off")),
        sa.UniqueConstraint("sent_sha256", name=op.f("uq_check_off_sent_sha256")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_check_off_job_id"), "check_off", ["job_id"])
    op.create_index(op.f("ix_check_off_person_id"), "check_off", ["person_id"])
    if op.get_bind().dialect.name == "sqlite":
        for deed in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER check_off_no_{deed.lower()} BEFORE {deed} ON check_off BEGIN "
                f"SELECT RAISE(ABORT, '{_SAYS}'); END"
            )
        # SQLite's INSERT OR REPLACE deletes a row without its delete trigger.
        op.execute(
            "CREATE TRIGGER check_off_no_replace BEFORE INSERT ON check_off WHEN EXISTS "
            "(SELECT 1 FROM check_off WHERE id = NEW.id OR sent_sha256 = NEW.sent_sha256) BEGIN "
            "SELECT RAISE(ABORT, 'what was checked off is only added to'); END"
        )
        return
    op.execute(
        "CREATE FUNCTION check_off_stays() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{_SAYS}'; END $$"
    )
    op.execute(
        "CREATE TRIGGER check_off_stays BEFORE UPDATE OR DELETE ON check_off "
        "FOR EACH ROW EXECUTE FUNCTION check_off_stays()"
    )
    op.execute(
        "CREATE TRIGGER check_off_all_stay BEFORE TRUNCATE ON check_off "
        "FOR EACH STATEMENT EXECUTE FUNCTION check_off_stays()"
    )


def downgrade() -> None:
    op.drop_index(op.f("ix_check_off_person_id"), "check_off")
    op.drop_index(op.f("ix_check_off_job_id"), "check_off")
    op.drop_table("check_off")
    if op.get_bind().dialect.name != "sqlite":
        op.execute("DROP FUNCTION check_off_stays()")
