"""The tables. A change here needs a migration in store/migrations/versions and the next SCHEMA_VERSION; a test compares the two."""

from __future__ import annotations

import sqlalchemy as sa

from borewright.store.word import Word

__all__ = [
    "APPLICATION_ID",
    "CHECK_KINDS",
    "GUARDED_TABLES",
    "SCHEMA_VERSION",
    "capture_chunks",
    "captures",
    "engines",
    "events",
    "findings",
    "guard_statements",
    "jobs",
    "library",
    "metadata",
    "photos",
    "rig_checks",
    "rigs",
]

APPLICATION_ID = 0x42_57_4C_44  # "BWLD", in the header of the file
CHECK_KINDS = ("zero", "span", "sealed", "restrictor", "tdc", "volumes", "acceptance")  # of core.rig, which loads numpy
SCHEMA_VERSION = 2  # SQLite's user_version, and the number of the newest migration

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

rigs = sa.Table(
    "rigs",
    metadata,
    sa.Column("device_serial", sa.Text, primary_key=True),
    sa.Column("setup", sa.JSON, nullable=False),
    sa.Column("saved_at_unix_s", sa.Float, nullable=False),
)

engines = sa.Table(
    "engines",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("sha256", sa.Text, nullable=False, unique=True),
    sa.Column("document", sa.JSON, nullable=False),
    sa.Column("saved_at_unix_s", sa.Float, nullable=False),
)

jobs = sa.Table(
    "jobs",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("uid", sa.Text, nullable=False, unique=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column(
        "stage",
        Word("before", "after", "routine"),
        sa.CheckConstraint("stage IN ('before', 'after', 'routine')", name="stage"),
        nullable=False,
    ),
    sa.Column("engine_id", sa.Integer, sa.ForeignKey("engines.id"), nullable=False),
    sa.Column("customer_reference", sa.Text, nullable=False),
    sa.Column("technician", sa.Text, nullable=False),
    sa.Column("details", sa.JSON, nullable=False),
    sa.Column("created_at_unix_s", sa.Float, nullable=False),
    sa.Column("archived_at_unix_s", sa.Float),
    sa.Column("deleted_at_unix_s", sa.Float),
    sa.Column("deleted_reason", sa.Text),
)
sa.Index("uq_jobs_living", jobs.c.name, jobs.c.stage, unique=True, sqlite_where=jobs.c.deleted_at_unix_s.is_(None))

captures = sa.Table(
    "captures",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("uid", sa.Text, nullable=False, unique=True),
    sa.Column("job_id", sa.Integer, sa.ForeignKey("jobs.id")),
    sa.Column(
        "purpose",
        Word("test", "stop_off", "wet", "sealed", "restrictor"),
        sa.CheckConstraint("purpose IN ('test', 'stop_off', 'wet', 'sealed', 'restrictor')", name="purpose"),
        nullable=False,
    ),
    sa.Column("cylinder", sa.Integer, nullable=False),
    sa.Column(
        "state",
        Word("running", "complete", "void", "crashed"),
        sa.CheckConstraint("state IN ('running', 'complete', 'void', 'crashed')", name="state"),
        nullable=False,
        index=True,
    ),
    sa.Column("started_at_unix_s", sa.Float, nullable=False),
    sa.Column("ended_at_unix_s", sa.Float),
    sa.Column("void_reason", sa.Text),
    sa.Column("marks", sa.JSON, nullable=False),
    sa.Column("declared", sa.JSON, nullable=False),
    sa.Column("result", sa.JSON(none_as_null=True)),
    sa.Column("laws", sa.JSON, nullable=False),
    sa.Column("versions", sa.JSON, nullable=False),
    sa.Column("readiness", sa.JSON, nullable=False),
    sa.Column("device_serial", sa.Text, nullable=False),
    sa.Column("deleted_at_unix_s", sa.Float),
    sa.Column("deleted_reason", sa.Text),
)
# with the tombstone in it, the tests of every job are counted without walking over the rows, which are long
sa.Index("ix_captures_of_job", captures.c.job_id, captures.c.deleted_at_unix_s)

# the blobs stand apart, so that lists of captures never walk over them
capture_chunks = sa.Table(
    "capture_chunks",
    metadata,
    sa.Column("capture_id", sa.Integer, sa.ForeignKey("captures.id"), primary_key=True),
    sa.Column("number", sa.Integer, primary_key=True),
    sa.Column("sample_count", sa.Integer, nullable=False),
    sa.Column("packed", sa.LargeBinary, nullable=False),
)

events = sa.Table(
    "events",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("capture_id", sa.Integer, sa.ForeignKey("captures.id"), index=True),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("tick", sa.Integer),
    sa.Column("monotonic_s", sa.Float, nullable=False),
    sa.Column("detail", sa.JSON, nullable=False),
)

rig_checks = sa.Table(
    "rig_checks",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("kind", Word(*CHECK_KINDS), nullable=False),
    sa.Column("made_at_unix_s", sa.Float, nullable=False),
    sa.Column("made_by", sa.Text, nullable=False),
    sa.Column("device_serial", sa.Text, nullable=False),
    sa.Column("passed", sa.Boolean, nullable=False),
    sa.Column("result", sa.JSON, nullable=False),
    sa.Column("capture_id", sa.Integer, sa.ForeignKey("captures.id")),
)
sa.Index("ix_rig_checks_serial_kind", rig_checks.c.device_serial, rig_checks.c.kind, rig_checks.c.made_at_unix_s)

findings = sa.Table(
    "findings",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("uid", sa.Text, nullable=False, unique=True),
    sa.Column("job_id", sa.Integer, sa.ForeignKey("jobs.id"), nullable=False, index=True),
    sa.Column("cylinder", sa.Integer, nullable=False),
    sa.Column(
        "kind",
        Word("heard", "flow", "stop_gauge", "note"),
        sa.CheckConstraint("kind IN ('heard', 'flow', 'stop_gauge', 'note')", name="kind"),
        nullable=False,
    ),
    sa.Column("place", sa.Text),
    sa.Column("detail", sa.JSON, nullable=False),
    sa.Column("said_by", sa.Text, nullable=False),
    sa.Column("at_unix_s", sa.Float, nullable=False),
    sa.Column("capture_id", sa.Integer, sa.ForeignKey("captures.id")),
    sa.Column("deleted_at_unix_s", sa.Float),
    sa.Column("deleted_reason", sa.Text),
)

photos = sa.Table(
    "photos",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("finding_id", sa.Integer, sa.ForeignKey("findings.id"), nullable=False, index=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("media_type", sa.Text, nullable=False),
    sa.Column("width_px", sa.Integer, nullable=False),
    sa.Column("height_px", sa.Integer, nullable=False),
    sa.Column("sha256", sa.Text, nullable=False),
    sa.Column("size", sa.Integer, nullable=False),
    sa.Column("data", sa.LargeBinary, nullable=False),  # the last column: what stands before it is read without it
)

# one row for each version of an engine of the library; the older ones carry a tombstone
library = sa.Table(
    "library",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("engine_id", sa.Integer, sa.ForeignKey("engines.id"), nullable=False),
    sa.Column("saved_at_unix_s", sa.Float, nullable=False),
    sa.Column("deleted_at_unix_s", sa.Float),
    sa.Column("deleted_reason", sa.Text),
)
sa.Index("uq_library_living", library.c.name, unique=True, sqlite_where=library.c.deleted_at_unix_s.is_(None))

GUARDED_TABLES = {
    "capture_chunks": ("UPDATE", "DELETE"),
    "events": ("UPDATE", "DELETE"),
    "rig_checks": ("UPDATE", "DELETE"),
    "engines": ("UPDATE", "DELETE"),
    "photos": ("UPDATE", "DELETE"),
    "findings": ("UPDATE", "DELETE"),
    "library": ("UPDATE", "DELETE"),
    "captures": ("DELETE",),
    "jobs": ("DELETE",),
}
_TOMBSTONE = ("deleted_at_unix_s", "deleted_reason")


def guard_statements() -> tuple[str, ...]:
    """The triggers by which the file itself refuses that raw data or the log be rewritten, whichever program tries.

    Of a table with a tombstone, the tombstone may change and nothing else.
    """
    return tuple(
        f"CREATE TRIGGER keep_{table}_{verb.lower()} BEFORE {verb}{_guarded_columns(table, verb)} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} are kept as they were recorded'); END"
        for table, verbs in GUARDED_TABLES.items()
        for verb in verbs
    )


def _guarded_columns(table: str, verb: str) -> str:
    columns = [column.name for column in metadata.tables[table].columns]
    if verb != "UPDATE" or not set(_TOMBSTONE) <= set(columns):
        return ""
    return " OF " + ", ".join(name for name in columns if name not in _TOMBSTONE)
