"""The schema made anew and the schema reached by migrations are one and the same."""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from borewright.errors import StoreError
from borewright.store import Store, migrations
from borewright.store.migrate import migrate, newest
from borewright.store.opening import _engine
from borewright.store.schema import APPLICATION_ID, SCHEMA_VERSION


def migrated(path: Path) -> None:
    engine = _engine(path, 1.0)
    with engine.execution_options(writes=True).begin() as connection:
        migrate(connection, 0)
    engine.dispose()


def described(path: Path) -> dict[str, object]:
    """Everything that a table is to SQLite: columns, keys, indexes, checks and triggers, whatever the SQL looks like."""
    connection = sqlite3.connect(path)
    tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    found: dict[str, object] = {
        "application_id": connection.execute("PRAGMA application_id").fetchone(),
        "user_version": connection.execute("PRAGMA user_version").fetchone(),
        "triggers": sorted(connection.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")),
    }
    for table in sorted(tables):
        (sql,) = connection.execute("SELECT sql FROM sqlite_schema WHERE name = ?", (table,)).fetchone()
        indexes = connection.execute(f"PRAGMA index_list({table})").fetchall()
        found[table] = {
            "columns": sorted(row[1:] for row in connection.execute(f"PRAGMA table_info({table})")),
            "keys": sorted(row[2:] for row in connection.execute(f"PRAGMA foreign_key_list({table})")),
            "indexes": sorted(
                (name, unique, partial, tuple(connection.execute(f"PRAGMA index_info({name})")))
                for _, name, unique, _, partial in indexes
            ),
            "checks": sorted(re.findall(r"CONSTRAINT (\w+) CHECK \((.*)\)", sql)),
        }
    connection.close()
    return found


def test_a_new_file_and_a_migrated_one_have_the_same_schema(tmp_path: Path) -> None:
    Store.open(tmp_path / "new").close()
    migrated(tmp_path / "migrated")
    new = described(tmp_path / "new")
    assert new == described(tmp_path / "migrated")
    assert (new["application_id"], new["user_version"]) == ((APPLICATION_ID,), (SCHEMA_VERSION,))
    assert {"rigs", "engines", "jobs", "captures", "capture_chunks", "events", "rig_checks"} <= new.keys()


def test_the_newest_script_leads_to_the_version_that_this_program_writes() -> None:
    assert newest() == SCHEMA_VERSION


def test_a_migrated_file_works(tmp_path: Path) -> None:
    migrated(tmp_path / "migrated")
    with Store.open(tmp_path / "migrated") as store:
        store.create_job("climb", "before", store.save_engine("four", {}))
        assert [job.name for job in store.list_jobs()] == ["climb"]


STEP = """
import sqlalchemy as sa
from alembic import op

revision = "{revision}"
down_revision = {down!r}


def upgrade():
    op.add_column("jobs", sa.Column("{column}", sa.Text))
    {then}
"""


@pytest.fixture
def two_versions_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A program two schema versions later; its scripts stand in a folder of their own. Returns where the last script stands."""
    versions = tmp_path / "migrations" / "versions"
    versions.mkdir(parents=True)
    down = None
    for number in range(1, SCHEMA_VERSION + 1):  # what has run already is not run again
        done = f"revision = '{number:04d}'\ndown_revision = {down!r}\n\n\ndef upgrade():\n    raise RuntimeError\n"
        (versions / f"v{number:04d}.py").write_text(done)
        down = f"{number:04d}"
    later = [f"{SCHEMA_VERSION + 1:04d}", f"{SCHEMA_VERSION + 2:04d}"]
    (versions / "first.py").write_text(STEP.format(revision=later[0], down=down, column="bay", then="pass"))
    (versions / "second.py").write_text(STEP.format(revision=later[1], down=later[0], column="lift", then="pass"))
    monkeypatch.setattr(migrations, "__path__", [str(versions.parent)])
    monkeypatch.setattr("borewright.store.schema.SCHEMA_VERSION", SCHEMA_VERSION + 2)
    return versions / "second.py"


@pytest.fixture
def old_file(tmp_path: Path) -> Path:
    path = tmp_path / "old.borewright"
    with Store.open(path) as store:
        store.create_job("climb", "before", store.save_engine("four", {}))
    return path


def columns(path: Path) -> set[str]:
    connection = sqlite3.connect(path)
    try:
        return {name for (name,) in connection.execute("SELECT name FROM pragma_table_info('jobs')")}
    finally:
        connection.close()


def test_an_old_file_is_brought_up_step_by_step_with_what_is_in_it(old_file: Path, two_versions_on: Path) -> None:
    assert two_versions_on.exists()
    assert columns(old_file).isdisjoint({"bay", "lift"})
    with Store.open(old_file) as store:
        assert [job.name for job in store.list_jobs()] == ["climb"]
    assert {"bay", "lift"} <= columns(old_file)


def test_a_migration_that_fails_in_the_middle_leaves_the_file_as_it_was(old_file: Path, two_versions_on: Path) -> None:
    before = described(old_file)
    two_versions_on.write_text(two_versions_on.read_text().replace("pass", "op.execute('no SQL at all')"))
    with pytest.raises(StoreError, match="keep a copy"):
        Store.open(old_file)
    assert described(old_file) == before


def test_alembic_is_not_loaded_while_the_version_is_right(tmp_path: Path) -> None:
    script = (
        "import sys; from borewright.store import Store; s = Store.open(sys.argv[1]); s.list_jobs(); s.list_captures(); s.close(); "
        "print(*sorted({'alembic', 'numpy', 'sqlalchemy'} & set(sys.modules)))"
    )
    for _made_then_opened in range(2):
        done = subprocess.run([sys.executable, "-c", script, str(tmp_path / "new")], capture_output=True, text=True, check=True)
        assert done.stdout.split() == ["sqlalchemy"]
