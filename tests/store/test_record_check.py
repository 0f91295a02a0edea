"""A record file looked through: what is sound is called so, each kind of damage is named, and looking changes nothing."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from borewright.errors import StoreError
from borewright.store import Store
from borewright.store.record_check import check_record
from borewright.store.schema import SCHEMA_VERSION

from .records import changed, octets, second, shop_record


@pytest.fixture
def record(tmp_path: Path) -> Path:
    return shop_record(tmp_path / "shop.borewright")


def test_a_sound_file_is_called_so_and_stays_as_it_was(record: Path) -> None:
    before = octets(record)
    check = check_record(record)
    assert (check.troubles, check.sound, check.version) == ((), True, SCHEMA_VERSION)
    assert (check.jobs, check.tests, check.chunks, check.samples) == (2, {"complete": 2, "void": 1}, 6, 6000)
    assert check.photos == 1
    assert octets(record) == before
    assert [path.name for path in record.parent.iterdir()] == [record.name]


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE capture_chunks SET packed = x'00' WHERE capture_id = 1 AND number = 2", "part 2 of the samples of test 1 cannot"),
        ("UPDATE capture_chunks SET packed = 7 WHERE capture_id = 1 AND number = 2", "part 2 of the samples of test 1 cannot"),
        ("UPDATE capture_chunks SET sample_count = 999 WHERE number = 3", "part 3 of the samples of test 1 holds 1000 samples"),
        ("DELETE FROM capture_chunks WHERE capture_id = 2 AND number = 2", "part 2 of the samples of test 2 is missing"),
        ("DELETE FROM capture_chunks WHERE capture_id = 2 AND number = 1", "part 1 of the samples of test 2 is missing"),
        ("DELETE FROM capture_chunks WHERE capture_id = 1", "test 1 is complete, and no samples of it are there"),
        ("DELETE FROM jobs WHERE id = 1", "row 1 of captures belongs to a row of jobs that is not there"),
        ("UPDATE captures SET result = '{\"a\": NaN}' WHERE id = 1", "result in row 1 of captures cannot be read"),
        ("UPDATE captures SET laws = CAST(x'ff' AS TEXT) WHERE id = 1", "laws in row 1 of captures cannot be read"),
        ("UPDATE jobs SET name = CAST(x'ff' AS TEXT) WHERE id = 1", "name in row 1 of jobs cannot be read"),
        ("UPDATE engines SET document = 7", "document in row 1 of engines cannot be read"),
        ("UPDATE rig_checks SET kind = 'zerp'", "kind in row 1 of rig_checks cannot be read"),
        ("UPDATE rig_checks SET result = replace(result, '12.5', '72.5')", "result in row 1 of rig_checks cannot be read"),
        ("UPDATE photos SET data = x'00'", "photo 1 is not the one that was kept"),
    ],
)
def test_damage_is_named(record: Path, statement: str, said: str) -> None:
    troubles = check_record(changed(record, statement)).troubles
    assert any(trouble.startswith(said) for trouble in troubles), troubles


def test_guards_that_another_program_took_away_are_missed(record: Path) -> None:
    with sqlite3.connect(record) as raw:
        raw.execute("DROP TRIGGER keep_events_delete")
    raw.close()
    (trouble,) = check_record(record).troubles
    assert "the guards that keep what was recorded are not all there (keep_events_delete)" in trouble


def test_a_page_that_was_written_over_is_found(record: Path) -> None:
    whole = bytearray(record.read_bytes())
    pages = sqlite3.connect(record).execute("SELECT rootpage FROM sqlite_schema WHERE name = 'ix_captures_state'").fetchone()
    whole[(pages[0] - 1) * 4096 + 8 : pages[0] * 4096] = bytes(4096 - 8)
    record.write_bytes(whole)
    troubles = check_record(record).troubles
    assert troubles
    assert all(trouble.startswith("the file itself: ") and trouble.isprintable() for trouble in troubles)


def test_long_damage_is_told_in_few_words(record: Path) -> None:
    with Store.open(record) as store:
        capture = store.begin_capture(1, 4, device_serial="S-1")
        for number in range(50):
            store.append_chunk(capture, second(number))
        store.finish_capture(capture, {})
    assert len(check_record(changed(record, "UPDATE capture_chunks SET packed = x'00'")).troubles) == 20


def test_while_another_program_records_nothing_is_wrong(record: Path) -> None:
    with Store.open(record) as store:
        store.append_chunk(store.begin_capture(1, 4, device_serial="S-1"), second(1))
        check = check_record(record)
        assert (check.sound, check.tests["running"]) == (True, 1)


def test_what_is_no_record_is_left_alone(tmp_path: Path) -> None:
    other = tmp_path / "thesis"
    other.write_text("text " * 99)
    for path, said in ((other, "is not a Borewright record"), (tmp_path / "no", "there is no record"), (tmp_path, "is a folder")):
        with pytest.raises(StoreError, match=said):
            check_record(path)


@pytest.mark.parametrize(("version", "said"), [(SCHEMA_VERSION + 1, "newer Borewright"), (0, "damaged"), (-3, "damaged")])
def test_a_version_that_cannot_be_is_said(record: Path, version: int, said: str) -> None:
    with sqlite3.connect(record) as raw:
        raw.execute(f"PRAGMA user_version = {version}")
    raw.close()
    with pytest.raises(StoreError, match=said):
        check_record(record)


def test_how_far_it_is_can_be_heard(record: Path) -> None:
    heard: list[tuple[str, int, int]] = []
    check_record(record, lambda *how_far: heard.append(how_far))
    assert ("samples", 5, 6) in heard
    assert ("photos", 0, 1) in heard


def test_ctrl_c_ends_a_long_look(record: Path) -> None:
    def stop(_what: str, _done: int, _of: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        check_record(record, stop)
    assert check_record(record).sound
