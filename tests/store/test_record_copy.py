"""Backup and restore: whole copies only, under their name only when whole, and never over anything that somebody wants."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from borewright.errors import BorewrightError, StoreError, UseError
from borewright.store import Store
from borewright.store.record_check import check_record
from borewright.store.record_copy import back_up, restore

from .records import changed, content, octets, second, shop_record

NOON = 1_774_958_400.0  # 2026-03-31


@pytest.fixture
def record(tmp_path: Path) -> Path:
    (tmp_path / "shop").mkdir()
    (tmp_path / "stick").mkdir()
    return shop_record(tmp_path / "shop" / "shop.db")


@pytest.fixture
def target(tmp_path: Path) -> Path:
    return tmp_path / "stick" / "shop.db"


def names(path: Path) -> list[str]:
    return sorted(one.name for one in path.parent.iterdir())


def journal_mode(path: Path) -> int:
    return path.read_bytes()[18]  # SQLite file format, section 1.3.3: 1 for a journal beside it, 2 for WAL


def test_a_backup_is_one_file_with_all_that_is_in_the_record(record: Path, target: Path) -> None:
    before = octets(record)
    check = back_up(record, target)
    assert (check.sound, check.samples, check.path) == (True, 6000, record)
    assert content(target) == content(record)
    assert journal_mode(target) == 1  # so that it can be read from a disk that takes no writes
    assert (names(target), names(record), octets(record)) == (["shop.db"], ["shop.db"], before)


def test_a_backup_while_another_connection_records_is_of_one_moment(record: Path, target: Path) -> None:
    """Every second is one transaction: the copy holds the first ones, whole, and the recording never waits for it."""
    with Store.open(record, busy_s=0.0) as store:
        capture = store.begin_capture(1, 4, device_serial="S-1")
        for number in range(400):  # more pages than are copied at once
            store.append_chunk(capture, second(number % 7))
        written = 400

        def told(what: str, _done: int, _of: int) -> None:
            nonlocal written
            if what == "copy":
                store.append_chunk(capture, second(3))
                written += 1

        assert back_up(record, target, told=told).sound
        assert written > 401
    with Store.open(target) as copied:
        assert copied.get_capture(capture).state == "crashed"
        assert len(copied.load_columns(capture)) == 400_000


def test_a_name_that_is_taken_is_left_alone_unless_forced(record: Path, target: Path) -> None:
    back_up(record, target)
    with Store.open(record) as store:
        store.create_job("hill-climb 9", "before", 1)
    old = octets(target)
    with pytest.raises(UseError, match="is there already and was left alone"):
        back_up(record, target)
    assert octets(target) == old
    back_up(record, target, replace=True)
    assert content(target) == content(record)
    assert names(target) == ["shop.db"]


def test_what_is_no_backup_is_never_written_over(record: Path, target: Path) -> None:
    target.write_text("a letter to a customer " * 20)
    cases: list[tuple[Path, type[BorewrightError], str]] = [
        (target, StoreError, "is not a Borewright record file, so it was left alone"),
        (record, UseError, "is the record itself"),
        (target.parent, UseError, "is a folder; name a file in it"),
        (target.parent / "no" / "shop.db", UseError, "there is no folder"),
        (Path("/dev/null"), UseError, "is no plain file"),
    ]
    (target.parent / "link").symlink_to(record)
    cases.append((target.parent / "link", UseError, "is the record itself"))
    (target.parent / "left.db-wal").touch()
    cases.append((target.parent / "left.db", UseError, "is in use by a program, or was when it ended"))
    for where, kind, said in cases:
        with pytest.raises(kind, match=said):
            back_up(record, where, replace=True)
    assert target.read_text().startswith("a letter")
    assert names(target) == ["left.db-wal", "link", "shop.db"]


def test_no_backup_of_a_damaged_record_takes_the_place_of_a_sound_one(record: Path, target: Path) -> None:
    back_up(record, target)
    old = octets(target)
    changed(record, "UPDATE capture_chunks SET packed = x'00' WHERE number = 1")
    with pytest.raises(StoreError, match=r"shop.db is damaged \(part 1 of .* so no backup was made of it; keep a copy"):
        back_up(record, target, replace=True)
    assert (octets(target), names(target)) == (old, ["shop.db"])


@pytest.mark.parametrize("at", [("copy", 1), ("pages", 1), ("samples", 2)], ids=lambda at: at[0])
def test_ctrl_c_leaves_no_half_backup(record: Path, target: Path, at: tuple[str, int], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("borewright.store.record_copy._PAGES", 3)
    monkeypatch.setattr("borewright.store.record_check._INSTRUCTIONS", 100)
    left = at[1]

    def stop(what: str, _done: int, _of: int) -> None:
        nonlocal left
        left -= what == at[0]
        if left == 0:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        back_up(record, target, told=stop)
    assert names(target) == []
    assert check_record(record).sound


def test_a_full_disk_is_said_and_leaves_nothing(record: Path, target: Path) -> None:
    script = (
        "import resource, sys; from pathlib import Path; import borewright.store.store, borewright.store.packing\n"
        "from borewright.store.record_copy import back_up; from borewright.errors import StoreError\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))\n"
        "try: back_up(Path(sys.argv[1]), Path(sys.argv[2]))\n"
        "except StoreError as error: print(error)\n"
    )
    words = [sys.executable, "-c", script, str(record), str(target)]
    done = subprocess.run(words, capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.startswith(f"the disk did not take {target} (")
    assert "free space there, or name a file on another disk" in done.stdout
    assert names(target) == []


def test_a_restored_record_is_the_backup_and_the_old_one_is_kept(record: Path, target: Path) -> None:
    back_up(record, target)
    was = content(record)
    with Store.open(record) as store:
        store.delete_job(1, "by mistake")
    spoilt = content(record)
    done = restore(target, record, clock=lambda: NOON)
    assert content(record) == was
    assert done.kept is not None
    assert content(done.kept) == spoilt
    assert done.kept.name.startswith("shop-until-2026-03-31-")
    assert names(record) == sorted(["shop.db", done.kept.name])
    again = restore(target, record, clock=lambda: NOON)
    assert again.kept is not None
    assert again.kept.name == done.kept.name.replace(".db", "-2.db")
    with Store.open(record) as store:
        assert [job.name for job in store.list_jobs()] == ["hill-climb 7"]


def test_a_record_that_is_gone_or_empty_is_restored(record: Path, target: Path) -> None:
    back_up(record, target)
    was = content(record)
    record.unlink()
    assert restore(target, record).kept is None
    assert (content(record), names(record)) == (was, ["shop.db"])
    record.write_bytes(b"")
    assert restore(target, record).kept is not None
    assert content(record) == was


def test_what_a_crash_left_beside_a_record_is_not_taken_for_the_new_ones(record: Path, target: Path) -> None:
    """SQLite would write the old file's last pages over the new file."""
    back_up(record, target)
    was = content(record)
    with Store.open(record) as store:
        store.create_job("hill-climb 9", "before", 1)
        wal = record.with_name("shop.db-wal").read_bytes()
    record.unlink()
    record.with_name("shop.db-wal").write_bytes(wal)
    restore(target, record, clock=lambda: NOON)
    assert content(record) == was
    assert [name.partition("-until-")[0] for name in names(record)] == ["shop", "shop.db"]


def test_a_record_too_damaged_to_open_is_kept_as_it_is(record: Path, target: Path) -> None:
    back_up(record, target)
    was = content(record)
    broken = record.read_bytes()[:100] + b"\xff" * 5000
    record.write_bytes(broken)
    done = restore(target, record)
    assert content(record) == was
    assert done.kept is not None
    assert done.kept.read_bytes() == broken


@pytest.mark.parametrize("how", ["open", "recording"])
def test_a_record_that_another_program_has_open_is_left_alone(record: Path, target: Path, how: str) -> None:
    back_up(record, target)
    with Store.open(record) as store:
        store.list_jobs()
        if how == "recording":
            store.begin_capture(1, 4)
        with pytest.raises(StoreError, match=r"is open in another program; close|is recording into .*; end its test"):
            restore(target, record)
        store.create_job("hill-climb 9", "before", 1)
    with Store.open(record) as store:
        assert [job.name for job in store.list_jobs()] == ["hill-climb 7", "hill-climb 9"]
    assert names(record) == ["shop.db"]


def test_a_damaged_backup_is_not_put_in_place(record: Path, target: Path) -> None:
    back_up(record, target)
    before = octets(record)
    changed(target, "DELETE FROM capture_chunks WHERE number = 2")
    with pytest.raises(StoreError, match=r"stick/shop.db is damaged \(part 2 of .* was left as it was; take another backup"):
        restore(target, record)
    with pytest.raises(UseError, match="are one file"):
        restore(record, record)
    with pytest.raises(StoreError, match="there is no record file"):
        restore(target.with_name("no"), record)
    assert (octets(record), names(record)) == (before, ["shop.db"])


def test_ctrl_c_while_restoring_leaves_the_record_as_it_was(record: Path, target: Path) -> None:
    back_up(record, target)
    before, left = octets(record), 10**9

    def stop(_what: str, _done: int, _of: int) -> None:
        nonlocal left
        left -= 1
        if left == 0:
            raise KeyboardInterrupt

    restore(target, record.with_name("other.db"), told=stop)
    record.with_name("other.db").unlink()
    times = 10**9 - left
    for number in (1, times // 2, times):
        left = number
        with pytest.raises(KeyboardInterrupt):
            restore(target, record, told=stop)
        assert (octets(record), names(record)) == (before, ["shop.db"])


@pytest.mark.parametrize("links", [True, False], ids=["second names", "no second names"])
def test_whatever_fails_at_the_last_step_the_record_is_there(
    record: Path, target: Path, links: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    back_up(record, target)
    was = content(record)

    def refused(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    with monkeypatch.context() as disk:
        if not links:
            disk.setattr("os.link", refused)
        disk.setattr("os.replace", refused)
        with pytest.raises(StoreError, match="Operation not permitted"):
            restore(target, record)
    assert (content(record), names(record)) == (was, ["shop.db"])
    with monkeypatch.context() as disk:
        if not links:
            disk.setattr("os.link", refused)
        assert restore(target, record).kept is not None
    assert content(record) == was


def test_the_folder_is_never_without_a_record_for_those_who_look(record: Path, target: Path) -> None:
    back_up(record, target)
    missed, over = [], threading.Event()

    def look() -> None:
        while not over.is_set():
            if not record.exists():
                missed.append(1)

    watch = threading.Thread(target=look)
    watch.start()
    try:
        for _ in range(5):
            restore(target, record)
    finally:
        over.set()
        watch.join()
    assert not missed


def test_the_file_keeps_its_rights(record: Path, target: Path) -> None:
    record.chmod(0o640)
    back_up(record, target)
    restore(target, record)
    assert record.stat().st_mode & 0o777 == 0o640


def test_a_backup_of_a_read_only_copy_can_be_looked_through(record: Path, target: Path) -> None:
    back_up(record, target)
    target.chmod(0o444)
    target.parent.chmod(0o555)
    try:
        assert check_record(target).sound
        assert sqlite3.connect(f"{target.as_uri()}?mode=ro", uri=True).execute("PRAGMA user_version").fetchone()
    finally:
        target.parent.chmod(0o755)
