"""Who changed what: two tables that only grow."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

_TABLES = ("audit", "audit_change")
# SQLite's INSERT OR REPLACE deletes a row without its delete trigger; these refuse to insert what is there already.
_SAME = {
    "audit": ("id = NEW.id", "the record of changes is only added to"),
    "audit_change": ("audit_id = NEW.audit_id AND position = NEW.position", "the record of changes is only added to"),
    "revision": (
        "id = NEW.id OR (job_id = NEW.job_id AND letter = NEW.letter)",
        "a released revision cannot change",
    ),
}


def upgrade() -> None:
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=120), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("subject", sa.String(length=120), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_audit_person_id"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_audit_kind_subject"), "audit", ["kind", "subject"])
    op.create_index(op.f("ix_audit_who"), "audit", ["who"])
    op.create_index(op.f("ix_audit_person_id"), "audit", ["person_id"])
    op.create_table(
        "audit_change",
        sa.Column("audit_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("field", sa.Text(), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("new", sa.Text(), nullable=False),
        sa.Column("platform", sa.String(length=120), nullable=True),
        sa.Column("connector", sa.String(length=120), nullable=True),
        sa.Column("cavity", sa.String(length=120), nullable=True),
        sa.ForeignKeyConstraint(["audit_id"], ["audit.id"], name=op.f("fk_audit_change_audit_id"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("audit_id", "position", name=op.f("pk_audit_change")),
    )
    op.create_index(
        op.f("ix_audit_change_platform_connector_cavity"), "audit_change", ["platform", "connector", "cavity"]
    )
    if op.get_bind().dialect.name == "sqlite":
        for table in _TABLES:
            for deed in ("UPDATE", "DELETE"):
                op.execute(
                    f"CREATE TRIGGER {table}_no_{deed.lower()} BEFORE {deed} ON {table} BEGIN "
                    "SELECT RAISE(ABORT, 'the record of changes is only added to'); END"
                )
        for table, (same, message) in _SAME.items():
            there = f"EXISTS (SELECT 1 FROM {table} WHERE {same})"  # noqa: S608 - our own words
            op.execute(
                f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} WHEN {there} BEGIN "
                f"SELECT RAISE(ABORT, '{message}'); END"
            )
        return
    op.execute(
        "CREATE FUNCTION audit_stays() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the record of changes is only added to'; END $$"
    )
    for table in _TABLES:
        op.execute(
            f"CREATE TRIGGER {table}_stays BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION audit_stays()"
        )
        op.execute(
            f"CREATE TRIGGER {table}_all_stay BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION audit_stays()"
        )


def downgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        op.execute("DROP TRIGGER revision_no_replace")
    op.drop_index(op.f("ix_audit_change_platform_connector_cavity"), "audit_change")
    op.drop_table("audit_change")
    op.drop_index(op.f("ix_audit_person_id"), "audit")
    op.drop_index(op.f("ix_audit_who"), "audit")
    op.drop_index(op.f("ix_audit_kind_subject"), "audit")
    op.drop_table("audit")
    if op.get_bind().dialect.name != "sqlite":
        op.execute("DROP FUNCTION audit_stays()")
