"""First tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "function_entry",
        sa.Column("code", sa.String(length=120), nullable=False),
        sa.Column("entry", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("code", name=op.f("pk_function_entry")),
    )
    op.create_table(
        "housing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column(
            "gender",
            sa.Enum("pin", "socket", "unknown", name="gender", native_enum=False, create_constraint=True, length=40),
            nullable=False,
        ),
        sa.Column("family", sa.Text(), nullable=False),
        sa.Column("keying", sa.Text(), nullable=False),
        sa.Column("sealed", sa.Boolean(), nullable=False),
        sa.Column("terminal", sa.Text(), nullable=False),
        sa.Column("shape", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("lock", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.CheckConstraint("key <> ''", name=op.f("ck_housing_key_not_empty")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_housing")),
        sa.UniqueConstraint("key", name=op.f("uq_housing_key")),
    )
    op.create_table(
        "job",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("practice", sa.JSON(), nullable=False),
        sa.Column("next_number", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("changed", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("key <> ''", name=op.f("ck_job_key_not_empty")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
        sa.UniqueConstraint("key", name=op.f("uq_job_key")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "platform",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column(
            "role",
            sa.Enum(
                "donor",
                "host",
                "control unit",
                "accessory",
                name="role",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("nominal_v", sa.Float(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("changed", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint("key <> ''", name=op.f("ck_platform_key_not_empty")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_platform")),
        sa.UniqueConstraint("key", name=op.f("uq_platform_key")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "stamp",
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_stamp")),
    )
    op.create_table(
        "acceptance",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("finding", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_acceptance_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "position", name=op.f("pk_acceptance")),
    )
    op.create_table(
        "cavity",
        sa.Column("housing_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("column", sa.Float(), nullable=False),
        sa.Column("row", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["housing_id"], ["housing.id"], name=op.f("fk_cavity_housing_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("housing_id", "position", name=op.f("pk_cavity")),
    )
    op.create_table(
        "connector",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("platform_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("housing", sa.String(length=120), nullable=False),
        sa.Column(
            "gender",
            sa.Enum("pin", "socket", "unknown", name="gender", native_enum=False, create_constraint=True, length=40),
            nullable=False,
        ),
        sa.Column("sealed", sa.Boolean(), nullable=False),
        sa.Column("terminal", sa.Text(), nullable=False),
        sa.Column("editions", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["platform_id"], ["platform.id"], name=op.f("fk_connector_platform_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_connector")),
        sa.UniqueConstraint("platform_id", "name", name=op.f("uq_connector_platform_id_name")),
    )
    op.create_table(
        "edition",
        sa.Column("platform_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("from_year", sa.Integer(), nullable=True),
        sa.Column("to_year", sa.Integer(), nullable=True),
        sa.Column("market", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["platform_id"], ["platform.id"], name=op.f("fk_edition_platform_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("platform_id", "key", name=op.f("pk_edition")),
    )
    op.create_table(
        "load_case",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("supply_v", sa.Float(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_load_case_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "key", name=op.f("pk_load_case")),
    )
    op.create_table(
        "loom",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_loom_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "key", name=op.f("pk_loom")),
    )
    op.create_table(
        "pinout_draft",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("platform_id", sa.Integer(), nullable=False),
        sa.Column("filename", sa.Text(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("table", sa.JSON(), nullable=False),
        sa.Column("state", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["platform_id"], ["platform.id"], name=op.f("fk_pinout_draft_platform_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pinout_draft")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("pinout_draft", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_pinout_draft_platform_id"), ["platform_id"], unique=False)

    op.create_table(
        "revision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("letter", sa.String(length=120), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("content_hash", sa.String(length=64), nullable=False),
        sa.Column("snapshot", sa.Text(), nullable=False),
        sa.Column("functions", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_revision_job_id"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_revision")),
        sa.UniqueConstraint("job_id", "letter", name=op.f("uq_revision_job_id_letter")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "seat",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column(
            "role",
            sa.Enum(
                "donor",
                "host",
                "control unit",
                "accessory",
                name="role",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_seat_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "key", name=op.f("pk_seat")),
    )
    op.create_table(
        "signal",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("function_code", sa.String(length=120), nullable=False),
        sa.Column("mm2", sa.Float(), nullable=True),
        sa.Column("colour", sa.Text(), nullable=False),
        sa.Column("insulation", sa.Text(), nullable=False),
        sa.Column("twist", sa.Text(), nullable=False),
        sa.Column("screen", sa.Text(), nullable=False),
        sa.Column("confirmed", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_signal_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "key", name=op.f("pk_signal")),
        sa.UniqueConstraint("job_id", "number", name=op.f("uq_signal_job_id_number")),
    )
    op.create_table(
        "zone",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("ambient_c", sa.Float(), nullable=False),
        sa.Column("wet", sa.Boolean(), nullable=False),
        sa.Column("moving", sa.Boolean(), nullable=False),
        sa.Column("hot", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_zone_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "key", name=op.f("pk_zone")),
    )
    op.create_table(
        "node",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("loom", sa.String(length=120), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "connector", "junction", "place", name="kind", native_enum=False, create_constraint=True, length=40
            ),
            nullable=False,
        ),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("mates_id", sa.Integer(), nullable=True),
        sa.Column("housing", sa.String(length=120), nullable=False),
        sa.Column(
            "gender",
            sa.Enum("pin", "socket", "unknown", name="gender", native_enum=False, create_constraint=True, length=40),
            nullable=False,
        ),
        sa.Column("terminal", sa.Text(), nullable=False),
        sa.Column("plugged", sa.Boolean(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id", "loom"],
            ["loom.job_id", "loom.key"],
            name=op.f("fk_node_job_id_loom"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_node_job_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["mates_id"], ["connector.id"], name=op.f("fk_node_mates_id"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("job_id", "key", name=op.f("pk_node")),
        sa.UniqueConstraint("job_id", "mates_id", name=op.f("uq_node_job_id_mates_id")),
    )
    with op.batch_alter_table("node", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_node_mates_id"), ["mates_id"], unique=False)

    op.create_table(
        "pick",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("seat", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("platform_id", sa.Integer(), nullable=False),
        sa.Column("edition", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id", "seat"], ["seat.job_id", "seat.key"], name=op.f("fk_pick_job_id_seat"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["platform_id"], ["platform.id"], name=op.f("fk_pick_platform_id"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("job_id", "seat", "position", name=op.f("pk_pick")),
    )
    with op.batch_alter_table("pick", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_pick_platform_id"), ["platform_id"], unique=False)

    op.create_table(
        "pin",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("connector_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("cavity", sa.String(length=120), nullable=False),
        sa.Column("edition", sa.String(length=400), nullable=False),
        sa.Column("function", sa.Text(), nullable=False),
        sa.Column("function_code", sa.String(length=120), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "supply-30",
                "supply-15",
                "supply-75",
                "supply-50",
                "supply-87",
                "reference-5v",
                "ground-31",
                "sensor-ground",
                "screen",
                "high-side",
                "low-side",
                "pwm-high-side",
                "pwm-low-side",
                "h-bridge",
                "injector-boosted",
                "coil-primary",
                "excitation",
                "logic-12v",
                "switch-to-ground",
                "analogue-5v",
                "resistive",
                "ntc",
                "inductive",
                "hall",
                "pulse",
                "piezo",
                "thermocouple",
                "lambda",
                "can-h",
                "can-l",
                "lin",
                "k-line",
                "l-line",
                "j1850-plus",
                "j1850-minus",
                "j1708-plus",
                "j1708-minus",
                "restraint",
                "transponder",
                "high-voltage",
                "unknown",
                name="kind",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column(
            "direction",
            sa.Enum(
                "out", "in", "both", "passive", name="direction", native_enum=False, create_constraint=True, length=40
            ),
            nullable=False,
        ),
        sa.Column("current_a", sa.Float(), nullable=True),
        sa.Column("peak_a", sa.Float(), nullable=True),
        sa.Column("wire_colour", sa.Text(), nullable=False),
        sa.Column("wire_mm2", sa.Float(), nullable=True),
        sa.Column(
            "evidence",
            sa.Enum(
                "assumed", "manual", "measured", name="evidence", native_enum=False, create_constraint=True, length=40
            ),
            nullable=False,
        ),
        sa.Column("evidence_ref", sa.Text(), nullable=False),
        sa.Column("component", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("extra", sa.JSON(none_as_null=True), nullable=True),
        sa.CheckConstraint("cavity <> ''", name=op.f("ck_pin_cavity_not_empty")),
        sa.ForeignKeyConstraint(
            ["connector_id"], ["connector.id"], name=op.f("fk_pin_connector_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pin")),
        sa.UniqueConstraint("connector_id", "cavity", "edition", name=op.f("uq_pin_connector_id_cavity_edition")),
    )
    with op.batch_alter_table("pin", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_pin_function_code"), ["function_code"], unique=False)

    op.create_table(
        "share_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=False),
        sa.Column("variant", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("passphrase", sa.Text(), nullable=True),
        sa.Column("created", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires", sa.DateTime(timezone=True), nullable=False),
        sa.Column("revoked", sa.DateTime(timezone=True), nullable=True),
        sa.Column("views", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["revision_id"], ["revision.id"], name=op.f("fk_share_link_revision_id"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_share_link")),
        sa.UniqueConstraint("token_sha256", name=op.f("uq_share_link_token_sha256")),
    )
    with op.batch_alter_table("share_link", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_share_link_revision_id"), ["revision_id"], unique=False)

    op.create_table(
        "device",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "fuse",
                "relay",
                "resistor",
                "diode",
                "converter",
                "stud",
                "switch",
                name="kind",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("place", sa.String(length=120), nullable=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("rating_a", sa.Float(), nullable=True),
        sa.Column("resistance_ohm", sa.Float(), nullable=True),
        sa.Column("coil_ohm", sa.Float(), nullable=True),
        sa.Column("suppressed", sa.Boolean(), nullable=False),
        sa.Column("only_with", sa.String(length=120), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id", "place"],
            ["node.job_id", "node.key"],
            name=op.f("fk_device_job_id_place"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_device_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "key", name=op.f("pk_device")),
    )
    op.create_table(
        "pin_fate",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("pin_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column(
            "fate",
            sa.Enum(
                "joined",
                "parked",
                "capped",
                "retained",
                "deleted",
                "deferred",
                "undecided",
                name="fate",
                native_enum=False,
                create_constraint=True,
                length=40,
            ),
            nullable=False,
        ),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("owner", sa.Text(), nullable=False),
        sa.Column("due", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_pin_fate_job_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["pin_id"], ["pin.id"], name=op.f("fk_pin_fate_pin_id"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("job_id", "pin_id", name=op.f("pk_pin_fate")),
    )
    with op.batch_alter_table("pin_fate", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_pin_fate_pin_id"), ["pin_id"], unique=False)

    op.create_table(
        "point",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=260), nullable=False),
        sa.Column("pin_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_point_job_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["pin_id"], ["pin.id"], name=op.f("fk_point_pin_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "name", name=op.f("pk_point")),
    )
    with op.batch_alter_table("point", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_point_pin_id"), ["pin_id"], unique=False)

    op.create_table(
        "segment",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("loom", sa.String(length=120), nullable=False),
        sa.Column("a", sa.String(length=120), nullable=False),
        sa.Column("b", sa.String(length=120), nullable=False),
        sa.Column("length_m", sa.Float(), nullable=False),
        sa.Column("zone", sa.String(length=120), nullable=True),
        sa.Column("covering", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id", "a"],
            ["node.job_id", "node.key"],
            name=op.f("fk_segment_job_id_a"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["job_id", "b"],
            ["node.job_id", "node.key"],
            name=op.f("fk_segment_job_id_b"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["job_id", "loom"],
            ["loom.job_id", "loom.key"],
            name=op.f("fk_segment_job_id_loom"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["job_id", "zone"],
            ["zone.job_id", "zone.key"],
            name=op.f("fk_segment_job_id_zone"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_segment_job_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("job_id", "key", name=op.f("pk_segment")),
    )
    op.create_table(
        "edge",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("a", sa.String(length=260), nullable=False),
        sa.Column("b", sa.String(length=260), nullable=False),
        sa.Column(
            "kind",
            sa.Enum(
                "wire", "face", "contact", "load", name="kind", native_enum=False, create_constraint=True, length=40
            ),
            nullable=False,
        ),
        sa.Column("signal", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id", "a"], ["point.job_id", "point.name"], name=op.f("fk_edge_job_id_a"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["job_id", "b"], ["point.job_id", "point.name"], name=op.f("fk_edge_job_id_b"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("job_id", "a", "b", "kind", name=op.f("pk_edge")),
    )
    with op.batch_alter_table("edge", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_edge_job_id_b"), ["job_id", "b"], unique=False)

    op.create_table(
        "in_line",
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("signal", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("device", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id", "device"],
            ["device.job_id", "device.key"],
            name=op.f("fk_in_line_job_id_device"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["job_id", "signal"],
            ["signal.job_id", "signal.key"],
            name=op.f("fk_in_line_job_id_signal"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("job_id", "signal", "position", name=op.f("pk_in_line")),
    )
    op.create_table(
        "member",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("signal", sa.String(length=120), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("section", sa.Integer(), nullable=False),
        sa.Column("pin_id", sa.Integer(), nullable=True),
        sa.Column("device", sa.String(length=120), nullable=True),
        sa.Column("terminal", sa.String(length=120), nullable=True),
        sa.Column("mm2", sa.Float(), nullable=True),
        sa.Column("colour", sa.Text(), nullable=False),
        sa.CheckConstraint("(device IS NULL) = (terminal IS NULL)", name=op.f("ck_member_terminal_of_device")),
        sa.CheckConstraint("(pin_id IS NULL) <> (device IS NULL)", name=op.f("ck_member_one_end")),
        sa.ForeignKeyConstraint(
            ["job_id", "device"],
            ["device.job_id", "device.key"],
            name=op.f("fk_member_job_id_device"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.ForeignKeyConstraint(
            ["job_id", "signal"],
            ["signal.job_id", "signal.key"],
            name=op.f("fk_member_job_id_signal"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(["pin_id"], ["pin.id"], name=op.f("fk_member_pin_id"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_member")),
        sa.UniqueConstraint("job_id", "device", "terminal", name=op.f("uq_member_job_id_device_terminal")),
        sa.UniqueConstraint("job_id", "pin_id", name=op.f("uq_member_job_id_pin_id")),
    )
    with op.batch_alter_table("member", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_member_job_id_signal"), ["job_id", "signal"], unique=False)
        batch_op.create_index(batch_op.f("ix_member_pin_id"), ["pin_id"], unique=False)

    stamp = sa.table("stamp", sa.column("name", sa.String), sa.column("count", sa.Integer))
    op.bulk_insert(stamp, [{"name": "housings", "count": 0}, {"name": "functions", "count": 0}])
    if op.get_bind().dialect.name == "sqlite":
        for deed in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER revision_no_{deed.lower()} BEFORE {deed} ON revision BEGIN "
                "SELECT RAISE(ABORT, 'a released revision cannot change'); END"
            )
    else:
        op.execute(
            "CREATE FUNCTION revision_stays() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'a released revision cannot change'; END $$"
        )
        op.execute(
            "CREATE TRIGGER revision_stays BEFORE UPDATE OR DELETE ON revision "
            "FOR EACH ROW EXECUTE FUNCTION revision_stays()"
        )
        op.execute(
            "CREATE TRIGGER revision_all_stay BEFORE TRUNCATE ON revision "
            "FOR EACH STATEMENT EXECUTE FUNCTION revision_stays()"
        )


def downgrade() -> None:
    if op.get_bind().dialect.name != "sqlite":
        op.execute("DROP TRIGGER revision_stays ON revision")
        op.execute("DROP TRIGGER revision_all_stay ON revision")
        op.execute("DROP FUNCTION revision_stays()")
    with op.batch_alter_table("member", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_member_pin_id"))
        batch_op.drop_index(batch_op.f("ix_member_job_id_signal"))

    op.drop_table("member")
    op.drop_table("in_line")
    with op.batch_alter_table("edge", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_edge_job_id_b"))

    op.drop_table("edge")
    op.drop_table("segment")
    with op.batch_alter_table("point", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_point_pin_id"))

    op.drop_table("point")
    with op.batch_alter_table("pin_fate", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pin_fate_pin_id"))

    op.drop_table("pin_fate")
    op.drop_table("device")
    with op.batch_alter_table("share_link", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_share_link_revision_id"))

    op.drop_table("share_link")
    with op.batch_alter_table("pin", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pin_function_code"))

    op.drop_table("pin")
    with op.batch_alter_table("pick", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pick_platform_id"))

    op.drop_table("pick")
    with op.batch_alter_table("node", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_node_mates_id"))

    op.drop_table("node")
    op.drop_table("zone")
    op.drop_table("signal")
    op.drop_table("seat")
    op.drop_table("revision")
    with op.batch_alter_table("pinout_draft", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pinout_draft_platform_id"))

    op.drop_table("pinout_draft")
    op.drop_table("loom")
    op.drop_table("load_case")
    op.drop_table("edition")
    op.drop_table("connector")
    op.drop_table("cavity")
    op.drop_table("acceptance")
    op.drop_table("stamp")
    op.drop_table("platform")
    op.drop_table("job")
    op.drop_table("housing")
    op.drop_table("function_entry")
