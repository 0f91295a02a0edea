"""The first schema. A file made anew gets the same tables from store.schema; a test holds the two together."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make every table, index and guard of version 1, and mark the file as ours."""
    op.create_table(
        "rigs",
        sa.Column("device_serial", sa.Text, nullable=False),
        sa.Column("setup", sa.JSON, nullable=False),
        sa.Column("saved_at_unix_s", sa.Float, nullable=False),
        sa.PrimaryKeyConstraint("device_serial", name="pk_rigs"),
    )
    op.create_table(
        "engines",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("document", sa.JSON, nullable=False),
        sa.Column("saved_at_unix_s", sa.Float, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_engines"),
        sa.UniqueConstraint("sha256", name="uq_engines_sha256"),
    )
    op.create_table(
        "jobs",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("stage", sa.Text, nullable=False),
        sa.Column("engine_id", sa.Integer, nullable=False),
        sa.Column("customer_reference", sa.Text, nullable=False),
        sa.Column("technician", sa.Text, nullable=False),
        sa.Column("created_at_unix_s", sa.Float, nullable=False),
        sa.Column("deleted_at_unix_s", sa.Float),
        sa.Column("deleted_reason", sa.Text),
        sa.CheckConstraint("stage IN ('before', 'after', 'routine')", name=op.f("ck_jobs_stage")),
        sa.ForeignKeyConstraint(["engine_id"], ["engines.id"], name="fk_jobs_engine_id"),
        sa.PrimaryKeyConstraint("id", name="pk_jobs"),
    )
    op.create_index("uq_jobs_living", "jobs", ["name", "stage"], unique=True, sqlite_where=sa.text("deleted_at_unix_s IS NULL"))
    op.create_table(
        "captures",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("job_id", sa.Integer),
        sa.Column("purpose", sa.Text, nullable=False),
        sa.Column("cylinder", sa.Integer, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("started_at_unix_s", sa.Float, nullable=False),
        sa.Column("ended_at_unix_s", sa.Float),
        sa.Column("void_reason", sa.Text),
        sa.Column("marks", sa.JSON, nullable=False),
        sa.Column("declared", sa.JSON, nullable=False),
        sa.Column("result", sa.JSON),
        sa.Column("laws", sa.JSON, nullable=False),
        sa.Column("versions", sa.JSON, nullable=False),
        sa.Column("readiness", sa.JSON, nullable=False),
        sa.Column("device_serial", sa.Text, nullable=False),
        sa.Column("deleted_at_unix_s", sa.Float),
        sa.Column("deleted_reason", sa.Text),
        sa.CheckConstraint("purpose IN ('test', 'sealed', 'restrictor')", name=op.f("ck_captures_purpose")),
        sa.CheckConstraint("state IN ('running', 'complete', 'void', 'crashed')", name=op.f("ck_captures_state")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_captures_job_id"),
        sa.PrimaryKeyConstraint("id", name="pk_captures"),
    )
    op.create_index("ix_captures_job_id", "captures", ["job_id"])
    op.create_index("ix_captures_state", "captures", ["state"])
    op.create_table(
        "capture_chunks",
        sa.Column("capture_id", sa.Integer, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("sample_count", sa.Integer, nullable=False),
        sa.Column("packed", sa.LargeBinary, nullable=False),
        sa.ForeignKeyConstraint(["capture_id"], ["captures.id"], name="fk_capture_chunks_capture_id"),
        sa.PrimaryKeyConstraint("capture_id", "number", name="pk_capture_chunks"),
    )
    op.create_table(
        "events",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("capture_id", sa.Integer),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("tick", sa.Integer),
        sa.Column("monotonic_s", sa.Float, nullable=False),
        sa.Column("detail", sa.JSON, nullable=False),
        sa.ForeignKeyConstraint(["capture_id"], ["captures.id"], name="fk_events_capture_id"),
        sa.PrimaryKeyConstraint("id", name="pk_events"),
    )
    op.create_index("ix_events_capture_id", "events", ["capture_id"])
    op.create_table(
        "rig_checks",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("made_at_unix_s", sa.Float, nullable=False),
        sa.Column("made_by", sa.Text, nullable=False),
        sa.Column("device_serial", sa.Text, nullable=False),
        sa.Column("passed", sa.Boolean, nullable=False),
        sa.Column("result", sa.JSON, nullable=False),
        sa.Column("capture_id", sa.Integer),
        sa.ForeignKeyConstraint(["capture_id"], ["captures.id"], name="fk_rig_checks_capture_id"),
        sa.PrimaryKeyConstraint("id", name="pk_rig_checks"),
    )
    op.create_index("ix_rig_checks_serial_kind", "rig_checks", ["device_serial", "kind", "made_at_unix_s"])
    guarded = {
        "capture_chunks": ("UPDATE", "DELETE"),
        "events": ("UPDATE", "DELETE"),
        "rig_checks": ("UPDATE", "DELETE"),
        "engines": ("UPDATE", "DELETE"),
        "captures": ("DELETE",),
        "jobs": ("DELETE",),
    }
    for table, verbs in guarded.items():
        for verb in verbs:
            op.execute(
                f"CREATE TRIGGER keep_{table}_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} are kept as they were recorded'); END"
            )
    op.execute(f"PRAGMA application_id = {0x42_57_4C_44}")
