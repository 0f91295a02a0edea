"""Bringing an older record file up to this program's schema, by Alembic's scripts, in the transaction that the caller has begun.

The number in SQLite's user_version is the number of the newest script that the file has seen: revision "0001" is version 1.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import sqlalchemy as sa
from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from alembic.script import Script, ScriptDirectory

from borewright.store import migrations

__all__ = ["migrate", "newest", "revision_of"]


def revision_of(version: int) -> str:
    """The name of the script that leads to a version.

    >>> revision_of(1)
    '0001'
    """
    return f"{version:04d}"


def newest() -> int:
    """The version that the newest script leads to."""
    head = _scripts().get_current_head()
    return int(head) if head is not None else 0


def migrate(connection: sa.Connection, version: int) -> None:
    """Run every script after version and write down the version reached; 0 stands for an empty file."""
    context = MigrationContext.configure(connection)
    with Operations.context(context):
        for script in _after(version):
            script.module.upgrade()
            connection.exec_driver_sql(f"PRAGMA user_version = {int(script.revision)}")


def _after(version: int) -> Iterator[Script]:
    lower = revision_of(version) if version else "base"
    steps = list(_scripts().iterate_revisions("head", lower))
    return iter([script for script in reversed(steps) if script.revision != lower])


def _scripts() -> ScriptDirectory:
    folder = Path(migrations.__path__[0])
    return ScriptDirectory(str(folder), version_locations=[str(folder / "versions")])
