"""What is in memory after a quick command: of ours only what it needs, of others only what a bare program of its kind has."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from borewright.store import Store

# a program that knows argparse and no more; one that knows the database and no more
BARE = """import argparse, collections.abc, contextlib, io, typing
with contextlib.suppress(SystemExit):
    argparse.ArgumentParser(formatter_class=argparse.RawDescriptionHelpFormatter).parse_args(["--help"])
"""
DATABASE = """import dataclasses, gc, json, secrets, sqlalchemy
with sqlalchemy.create_engine("sqlite://").connect() as connection:
    connection.exec_driver_sql("SELECT 1").scalar_one()
"""
START = {"borewright", "borewright.cli", "borewright.cli.exits", "borewright.cli.main", "borewright.errors"}
LIST = START | {
    "borewright.cli.job",
    "borewright.cli.job_cut_off",
    "borewright.cli.job_list",
    "borewright.cli.output",
    "borewright.cli.record_file",
    "borewright.cli.subcommands",
    "borewright.service",
    "borewright.service.cut_off",
    "borewright.service.time_words",
    "unicodedata",  # how a search finds letters in either case
}
# the record: not what packs samples (numpy), writes behind a queue, or brings older files up (Alembic)
RECORD = {"borewright.store"} | {
    f"borewright.store.{name}"
    for name in (
        "captures",
        "database",
        "errors",
        "export",
        "findings",
        "job_file",
        "jobs",
        "json_text",
        "lease",
        "library",
        "opening",
        "reading",
        "records",
        "rigs",
        "rows",
        "schema",
        "search",
        "still_there",
        "store",
        "transfer",
        "word",
    )
}


def loaded(program: str) -> set[str]:
    """The names of all modules at the end of a program in a process of its own."""
    told = f"{program}\nimport sys\nprint('\\x1e', *sys.modules)"
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True, timeout=60)
    return set(done.stdout.partition("\x1e")[2].split())


def borewright(*words: str) -> str:
    return f"""import contextlib
from borewright.cli.main import main
with contextlib.suppress(SystemExit):
    main({list(words)!r})
"""


def test_help_and_version_load_what_a_bare_program_does_and_five_modules_of_ours() -> None:
    bare = loaded(BARE)
    for word in ("--help", "--version"):
        found = loaded(borewright(word)) - bare
        assert found >= START, "the program did not run, so nothing is shown of what it loads"
        assert sorted(found - START) == [], f"borewright {word} loads these too; import them where they are used"


def test_the_list_of_jobs_loads_what_the_database_does_and_the_record(tmp_path: Path) -> None:
    record = tmp_path / "shop.db"
    with Store.open(record) as store:
        store.create_job("hill-climb 7", "before", store.save_engine("demo four", {"bore_mm": 86.0}))
    found = loaded(borewright("job", "list", "--db", str(record))) - loaded(BARE) - loaded(DATABASE)
    assert LIST - {"unicodedata"} <= found, "the list was not made, so nothing is shown of what it loads"
    assert sorted(found - LIST - RECORD) == [], "borewright job list loads these too; import them where they are used"
