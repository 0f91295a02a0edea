"""Files that cannot be the record: each is refused in one sentence and left as it was."""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from borewright.errors import StoreError
from borewright.store import Store
from borewright.store.schema import APPLICATION_ID, SCHEMA_VERSION

NOBODY = 65534


def pragma(path: Path, name: str) -> object:
    connection = sqlite3.connect(path)
    try:
        return connection.execute(f"PRAGMA {name}").fetchone()[0]
    finally:
        connection.close()


def refusal(path: Path, **options: object) -> str:
    with pytest.raises(StoreError) as refused:
        Store.open(path, **options)  # type: ignore[arg-type]
    words = str(refused.value)
    assert "\n" not in words
    assert str(path) in words
    return words


def test_a_new_file_is_ours_durable_and_at_this_version(tmp_path: Path) -> None:
    path = tmp_path / "new.borewright"
    with Store.open(path) as store, store._read() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar_one() == 2  # FULL
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1
    assert (pragma(path, "application_id"), pragma(path, "user_version")) == (APPLICATION_ID, SCHEMA_VERSION)
    assert pragma(path, "journal_mode") == "wal"
    assert [p.name for p in tmp_path.iterdir()] == ["new.borewright"]


def test_a_missing_file_is_not_made_unless_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "missing"
    assert "there is no record file" in refusal(path, create=False)
    assert not path.exists()


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"there is no folder .*no to put the record file in; make it first"):
        Store.open(tmp_path / "no" / "jobs")


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    assert "is a folder" in refusal(tmp_path)


def test_an_empty_file_becomes_a_record(tmp_path: Path) -> None:
    path = tmp_path / "empty"
    path.touch()
    with Store.open(path) as store:
        assert store.list_jobs() == ()


@pytest.mark.parametrize(
    "content", [b"x", b"just text\n" * 50, b"SQLite format 3\x00", b"\x00" * 4096], ids=["x", "text", "cut", "zeros"]
)
def test_a_file_of_another_kind_is_left_as_it_was(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "thesis.doc"
    path.write_bytes(content)
    assert "is not a Borewright record file, so it was left alone" in refusal(path)
    assert path.read_bytes() == content
    assert list(tmp_path.iterdir()) == [path]


def test_a_database_of_another_program_is_left_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "recipes.db"
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE recipes (name TEXT)")
    other.commit()
    other.close()
    before = path.read_bytes()
    assert "is not a Borewright record file" in refusal(path)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_of_a_newer_program_is_left_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "future.borewright"
    Store.open(path).close()
    other = sqlite3.connect(path)
    other.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    other.close()
    before = path.read_bytes()
    words = refusal(path)
    assert f"record version {SCHEMA_VERSION + 1}, this program knows {SCHEMA_VERSION}" in words
    assert "update this program" in words
    assert path.read_bytes() == before


def test_a_damaged_file_of_ours_is_said(tmp_path: Path) -> None:
    path = tmp_path / "shop.borewright"
    with Store.open(path) as store:
        store.save_engine("four", {"text": "x" * 9000})
    whole = path.read_bytes()
    path.write_bytes(whole[:100] + b"\xff" * (len(whole) - 100))
    assert "keep a copy of it" in refusal(path)


@pytest.mark.parametrize("seed", range(12))
def test_a_file_with_flipped_bytes_is_refused_in_one_sentence_or_read(tmp_path: Path, seed: int) -> None:
    path = tmp_path / "shop.borewright"
    with Store.open(path) as store:
        engine = store.save_engine("four", {"text": "x" * 9000})
        for number in range(20):
            store.add_declared(store.create_job(f"climb {number}", "before", engine), 1, result={}, declared={}, laws={}, marks=[])
    whole, chance = bytearray(path.read_bytes()), random.Random(seed)
    for _ in range(300):
        whole[chance.randrange(4096, len(whole))] = chance.randrange(256)
    path.write_bytes(whole)
    try:
        with Store.open(path) as store:
            store.list_jobs()
            store.list_captures()
            store.get_engine(engine)
    except StoreError as error:
        words = str(error)
        assert words.startswith(str(path))
        assert words.isprintable()
        assert "keep a copy of it" in words


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("details", b"{\xff}"),
        ("details", "{"),
        ("details", "[" * 100_000),
        ("details", f'{{"hours": {"9" * 5000}}}'),
        ("details", '{"hours": NaN}'),
        ("details", "7"),
        ("details", 7),
        ("details", '{"hours": 7}' + " \t" * 16),
        ("stage", "befora"),
        ("technician", b"\xff"),
    ],
    ids=[
        "no text",
        "cut",
        "nested",
        "digits",
        "no number",
        "a number",
        "no text at all",
        "another seal",
        "another word",
        "a name that is no text",
    ],
)
def test_a_value_that_nobody_has_written_is_called_damage(tmp_path: Path, column: str, value: bytes | str | int) -> None:
    path = tmp_path / "shop.borewright"
    with Store.open(path) as store:
        job = store.create_job("climb", "before", store.save_engine("four", {}))
    other = sqlite3.connect(path)
    other.execute("PRAGMA ignore_check_constraints = ON")
    text = isinstance(value, bytes)
    other.execute(f"UPDATE jobs SET {column} = {'CAST(? AS TEXT)' if text else '?'} WHERE id = ?", (value, job))
    other.commit()
    other.close()
    with Store.open(path) as store:
        for read in (store.list_jobs, lambda: store.get_job(job)):
            with pytest.raises(StoreError, match=r"is damaged \([a-z0-9 ,-]+\); keep a copy of it and go on with your last backup"):
                read()


def test_a_value_of_an_older_program_has_no_seal_and_is_read(tmp_path: Path) -> None:
    path = tmp_path / "shop.borewright"
    with Store.open(path) as store:
        job = store.create_job("climb", "before", store.save_engine("four", {}))
    other = sqlite3.connect(path)
    other.execute("UPDATE jobs SET details = ?", ('{"hours":"7 h"}',))
    other.commit()
    other.close()
    with Store.open(path) as store:
        assert store.get_job(job).details == {"hours": "7 h"}


@pytest.mark.parametrize(
    ("version", "said"),
    [(-1, "is damaged (there is no record version -1)"), (0, "does not go together"), (1, "does not go together")],
)
def test_a_record_version_that_is_not_that_of_the_tables_is_said(tmp_path: Path, version: int, said: str) -> None:
    path = tmp_path / "shop.borewright"
    with Store.open(path) as store:
        store.create_job("climb", "before", store.save_engine("four", {}))
    other = sqlite3.connect(path)
    other.execute(f"PRAGMA user_version = {version}")
    other.close()
    before = path.read_bytes()
    words = refusal(path)
    assert said in words
    assert "keep a copy of it" in words
    assert path.read_bytes() == before


def test_a_file_locked_by_another_program_is_said_after_waiting(tmp_path: Path) -> None:
    path = tmp_path / "shop.borewright"
    with Store.open(path, busy_s=0.01) as store:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN EXCLUSIVE")
        try:
            assert "is locked by another program" in refusal(path, busy_s=0.01)
            with pytest.raises(StoreError, match="is locked by another program; close that program"):
                store.save_engine("four", {})
            assert store.list_jobs() == ()  # reading goes on
        finally:
            other.close()
        assert store.save_engine("four", {}) == 1


UNPRIVILEGED = """
import os, sys
from pathlib import Path
import borewright.core.rig, borewright.store.packing
from borewright.errors import StoreError
from borewright.store import Store
if os.geteuid() == 0:
    os.setgroups([]); os.setgid({nobody}); os.setuid({nobody})  # rights bind everybody but root
try:
    Store.open(Path(sys.argv[1]))
except StoreError as error:
    print(error)
"""


def opened_without_rights(path: Path) -> str:
    script = UNPRIVILEGED.format(nobody=NOBODY)
    done = subprocess.run([sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True, timeout=60)
    assert done.stderr == ""
    return done.stdout


@pytest.fixture
def open_way() -> Iterator[Path]:
    """A folder that anybody can get to: those of tmp_path are for their owner alone."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder


LOOKS = """
import os, sys
from pathlib import Path
import importlib.readers, numpy
import borewright.core.rig, borewright.store.packing, borewright.store.record_check
import sqlalchemy.dialects.sqlite.pysqlite
from borewright.errors import StoreError
from borewright.store import Store
if os.geteuid() == 0:
    os.setgroups([]); os.setgid({nobody}); os.setuid({nobody})
path = Path(sys.argv[1])
print(borewright.store.record_check.check_record(path).sound)
with Store.open(path, create=False) as store:
    print([job.name for job in store.list_jobs()], [capture.state for capture in store.list_captures()])
    try:
        store.create_job("climb", "after", 1)
    except StoreError as error:
        print(error)
"""


@pytest.mark.parametrize(("of_file", "of_folder"), [(0o444, 0o555), (0o644, 0o555), (0o444, 0o777)])
def test_a_record_that_may_not_be_written_can_be_looked_at(open_way: Path, of_file: int, of_folder: int) -> None:
    """As it is: a test that was running when the copy was made is no test that this program may close."""
    folder = open_way / "archive"
    folder.mkdir()
    path = folder / "shop.borewright"
    with Store.open(path) as store:
        store.begin_capture(store.create_job("climb", "before", store.save_engine("four", {})), 1)
    path.chmod(of_file)
    folder.chmod(of_folder)
    try:
        script = LOOKS.format(nobody=NOBODY)
        done = subprocess.run([sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=False, timeout=60)
    finally:
        folder.chmod(0o755)
    assert done.stderr == ""
    sound, held, refused = done.stdout.splitlines()
    assert (sound, held) == ("True", "['climb'] ['running']")
    assert "cannot be opened for writing" in refused


@pytest.mark.parametrize("there_already", [False, True], ids=["to be made", "there already"])
def test_a_read_only_folder_is_said(open_way: Path, there_already: bool) -> None:
    folder = open_way / "archive"
    folder.mkdir()
    path = folder / "shop.borewright"
    if there_already:
        Store.open(path).close()
        path.chmod(0o444)
    folder.chmod(0o555)
    try:
        assert opened_without_rights(path).strip().endswith("choose a folder that you may write to")
        assert [p.name for p in folder.iterdir()] == (["shop.borewright"] if there_already else [])
    finally:
        folder.chmod(0o755)


def test_a_file_that_may_not_be_read_is_said(open_way: Path) -> None:
    path = open_way / "shop.borewright"
    Store.open(path).close()
    path.chmod(0o000)
    assert "choose a folder that you may write to" in opened_without_rights(path)


def test_two_stores_see_each_other_s_work(tmp_path: Path) -> None:
    path = tmp_path / "shop.borewright"
    with Store.open(path) as one, Store.open(path) as two:
        engine = one.save_engine("four", {})
        two.create_job("climb", "before", engine)
        assert [job.name for job in one.list_jobs()] == ["climb"]
