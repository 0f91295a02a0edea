"""What a whole job needs: its details, archive and identity, findings with photos, the library of engines, two more purposes.

Captures and jobs are made anew, because SQLite changes neither a check nor a column that must not be empty. The caller has the
foreign keys off meanwhile, so that what points to the old tables points to the new ones afterwards.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

NEW_UID = "lower(hex(randomblob(16)))"


def upgrade() -> None:
    """Bring a file of version 1 to version 2; every row is kept with its id."""
    _jobs()
    _captures()
    _findings()
    _photos()
    _library()
    for table in ("jobs", "captures"):
        _guard(table, "DELETE")
    _guard("photos", "UPDATE")
    _guard("photos", "DELETE")
    _guard("findings", "UPDATE OF id, uid, job_id, cylinder, kind, place, detail, said_by, at_unix_s, capture_id")
    _guard("findings", "DELETE")
    _guard("library", "UPDATE OF id, name, engine_id, saved_at_unix_s")
    _guard("library", "DELETE")


def _jobs() -> None:
    op.create_table(
        "new_jobs",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("uid", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("stage", sa.Text, nullable=False),
        sa.Column("engine_id", sa.Integer, nullable=False),
        sa.Column("customer_reference", sa.Text, nullable=False),
        sa.Column("technician", sa.Text, nullable=False),
        sa.Column("details", sa.JSON, nullable=False),
        sa.Column("created_at_unix_s", sa.Float, nullable=False),
        sa.Column("archived_at_unix_s", sa.Float),
        sa.Column("deleted_at_unix_s", sa.Float),
        sa.Column("deleted_reason", sa.Text),
        sa.CheckConstraint("stage IN ('before', 'after', 'routine')", name=op.f("ck_jobs_stage")),
        sa.ForeignKeyConstraint(["engine_id"], ["engines.id"], name="fk_jobs_engine_id"),
        sa.PrimaryKeyConstraint("id", name="pk_jobs"),
        sa.UniqueConstraint("uid", name="uq_jobs_uid"),
    )
    kept = "id, name, stage, engine_id, customer_reference, technician, created_at_unix_s, deleted_at_unix_s, deleted_reason"
    op.execute(f"INSERT INTO new_jobs ({kept}, uid, details) SELECT {kept}, {NEW_UID}, '{{}}' FROM jobs ORDER BY id")
    op.drop_table("jobs")
    op.rename_table("new_jobs", "jobs")
    op.create_index("uq_jobs_living", "jobs", ["name", "stage"], unique=True, sqlite_where=sa.text("deleted_at_unix_s IS NULL"))


def _captures() -> None:
    op.create_table(
        "new_captures",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("uid", sa.Text, nullable=False),
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
        sa.CheckConstraint("purpose IN ('test', 'stop_off', 'wet', 'sealed', 'restrictor')", name=op.f("ck_captures_purpose")),
        sa.CheckConstraint("state IN ('running', 'complete', 'void', 'crashed')", name=op.f("ck_captures_state")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_captures_job_id"),
        sa.PrimaryKeyConstraint("id", name="pk_captures"),
        sa.UniqueConstraint("uid", name="uq_captures_uid"),
    )
    kept = (
        "id, job_id, purpose, cylinder, state, started_at_unix_s, ended_at_unix_s, void_reason, marks, declared, result, laws, "
        "versions, readiness, device_serial, deleted_at_unix_s, deleted_reason"
    )
    op.execute(f"INSERT INTO new_captures ({kept}, uid) SELECT {kept}, {NEW_UID} FROM captures ORDER BY id")
    op.drop_table("captures")
    op.rename_table("new_captures", "captures")
    op.create_index("ix_captures_of_job", "captures", ["job_id", "deleted_at_unix_s"])
    op.create_index("ix_captures_state", "captures", ["state"])


def _findings() -> None:
    op.create_table(
        "findings",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("uid", sa.Text, nullable=False),
        sa.Column("job_id", sa.Integer, nullable=False),
        sa.Column("cylinder", sa.Integer, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("place", sa.Text),
        sa.Column("detail", sa.JSON, nullable=False),
        sa.Column("said_by", sa.Text, nullable=False),
        sa.Column("at_unix_s", sa.Float, nullable=False),
        sa.Column("capture_id", sa.Integer),
        sa.Column("deleted_at_unix_s", sa.Float),
        sa.Column("deleted_reason", sa.Text),
        sa.CheckConstraint("kind IN ('heard', 'flow', 'stop_gauge', 'note')", name=op.f("ck_findings_kind")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_findings_job_id"),
        sa.ForeignKeyConstraint(["capture_id"], ["captures.id"], name="fk_findings_capture_id"),
        sa.PrimaryKeyConstraint("id", name="pk_findings"),
        sa.UniqueConstraint("uid", name="uq_findings_uid"),
    )
    op.create_index("ix_findings_job_id", "findings", ["job_id"])


def _photos() -> None:
    op.create_table(
        "photos",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("finding_id", sa.Integer, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("media_type", sa.Text, nullable=False),
        sa.Column("width_px", sa.Integer, nullable=False),
        sa.Column("height_px", sa.Integer, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
        sa.ForeignKeyConstraint(["finding_id"], ["findings.id"], name="fk_photos_finding_id"),
        sa.PrimaryKeyConstraint("id", name="pk_photos"),
    )
    op.create_index("ix_photos_finding_id", "photos", ["finding_id"])


def _library() -> None:
    op.create_table(
        "library",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("engine_id", sa.Integer, nullable=False),
        sa.Column("saved_at_unix_s", sa.Float, nullable=False),
        sa.Column("deleted_at_unix_s", sa.Float),
        sa.Column("deleted_reason", sa.Text),
        sa.ForeignKeyConstraint(["engine_id"], ["engines.id"], name="fk_library_engine_id"),
        sa.PrimaryKeyConstraint("id", name="pk_library"),
    )
    op.create_index("uq_library_living", "library", ["name"], unique=True, sqlite_where=sa.text("deleted_at_unix_s IS NULL"))


def _guard(table: str, act: str) -> None:
    verb = act.split(maxsplit=1)[0].lower()
    op.execute(
        f"CREATE TRIGGER keep_{table}_{verb} BEFORE {act} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} are kept as they were recorded'); END"
    )
