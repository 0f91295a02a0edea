"""What the engine page asks of the record and does to it."""

from __future__ import annotations

import pickle
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from borewright.errors import StoreError, UseError
from borewright.service.view_engine import (
    engine_of,
    list_engines,
    read_engine_file,
    remove_engine,
    restore_engine,
    save_engine,
    write_engine_file,
)
from borewright.store import Store

FOUR = Path(__file__).resolve().parents[2] / "firmware_protocol" / "vectors" / "engine_accept" / "inline_four.toml"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "shop.db") as opened:
        yield opened


@pytest.fixture
def four() -> dict[str, Any]:
    return tomllib.loads(FOUR.read_text("utf-8")) | {"name": "four"}


def test_versions_are_counted_and_the_newest_counts(store: Store, four: dict[str, Any]) -> None:
    assert list_engines(store) == ()
    first = save_engine(store, four, None)
    second = save_engine(store, four | {"bore_mm": 81.6}, "four")
    assert ([version.number for version in second.versions], second.newest.document["bore_mm"]) == ([1, 2], 81.6)
    assert second.versions[0] == first.versions[0]
    assert save_engine(store, four | {"bore_mm": 81.6}, "four") == second  # nothing new is no version
    assert [line.name for line in list_engines(store, "OU")] == ["four"]
    assert pickle.loads(pickle.dumps(engine_of(store, "four"))) == second


def test_a_name_that_is_taken_is_refused_also_by_one_that_was_removed(store: Store, four: dict[str, Any]) -> None:
    save_engine(store, four, None)
    save_engine(store, four | {"name": "other"}, "four")
    with pytest.raises(UseError, match="another engine 'four' is in the library"):
        save_engine(store, four | {"bore_mm": 70}, "other")
    remove_engine(store, "four")
    with pytest.raises(UseError, match="was removed from the library; bring it back"):
        save_engine(store, four | {"bore_mm": 70}, None)
    assert engine_of(store, "four").newest.document == four


def test_what_is_removed_can_be_brought_back_with_all_its_versions(store: Store, four: dict[str, Any]) -> None:
    save_engine(store, four, None)
    kept = save_engine(store, four | {"bore_mm": 81.6}, "four")
    remove_engine(store, "four")
    assert (list_engines(store), [line.name for line in list_engines(store, removed=True)]) == ((), ["four"])
    assert engine_of(store, "four").removed
    restore_engine(store, "four")
    assert engine_of(store, "four") == kept
    with pytest.raises(StoreError):
        restore_engine(store, "four")
    with pytest.raises(UseError, match="there is no engine"):
        engine_of(store, "nobody's")


def test_what_is_no_engine_is_not_kept(store: Store, four: dict[str, Any]) -> None:
    with pytest.raises(UseError, match="bore_mm: must be more than 5"):
        save_engine(store, four | {"bore_mm": 2}, None)
    assert list_engines(store) == ()


def test_a_file_comes_back_as_it_was_written(store: Store, four: dict[str, Any], tmp_path: Path) -> None:
    path = tmp_path / "four.toml"
    assert write_engine_file(store, path, four) == path
    assert read_engine_file(store, path) == four


def test_files_that_cannot_be_read_or_written_say_why(store: Store, four: dict[str, Any], tmp_path: Path) -> None:
    (tmp_path / "not.toml").write_text("bore_mm = ", encoding="utf-8")
    (tmp_path / "octets.toml").write_bytes(b"\xff\xfe")
    (tmp_path / "large.toml").write_bytes(b"#" * 1_000_001)
    for name, words in (
        ("not.toml", "this is not TOML"),
        ("octets.toml", "not UTF-8"),
        ("large.toml", "too large"),
        ("none.toml", "cannot be read"),
    ):
        with pytest.raises(UseError, match=words):
            read_engine_file(store, tmp_path / name)
    with pytest.raises(UseError, match="cannot be written there"):
        write_engine_file(store, tmp_path / "no folder" / "four.toml", four)
