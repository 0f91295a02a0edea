"""Engines of the library: checked as engine files are, changed by new versions, and written as TOML that reads the same."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from borewright.errors import UseError
from borewright.service.engine_library import add_engine, changed, copy_engine, edit_engine
from borewright.service.engines import find_engine
from borewright.service.toml_text import toml_text
from borewright.store import Store
from hypothesis import given
from hypothesis import strategies as st

VECTORS = Path(__file__).resolve().parents[2] / "firmware_protocol" / "vectors"
FOUR = VECTORS / "engine_accept" / "inline_four.toml"
NAME = tomllib.loads(FOUR.read_text("utf-8"))["name"]

TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=8)  # a lone surrogate is no text of a file
VALUES = st.recursive(
    st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False, allow_infinity=False) | TEXTS,
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=4,
)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "shop.db") as opened:
        yield opened


@given(st.dictionaries(TEXTS, VALUES | st.dictionaries(TEXTS, VALUES, max_size=3), max_size=4))
def test_what_is_written_as_toml_reads_the_same_and_can_be_shown(document: dict[str, object]) -> None:
    text = toml_text(document)
    assert tomllib.loads(text) == document
    assert all(letter.isprintable() or letter == "\n" for letter in text)


def test_every_engine_file_that_is_accepted_comes_back_from_the_library(store: Store) -> None:
    for path in sorted((VECTORS / "engine_accept").glob("*.toml")):
        document = tomllib.loads(path.read_text("utf-8"))
        document["name"] = f"{path.stem} = {document['name']}"[:80]
        file = store.path.with_name(path.name)
        file.write_text(toml_text(document), encoding="utf-8")
        assert add_engine(store, file).document == document
        assert find_engine(document["name"], store)[1] == document


def test_an_edit_is_a_new_version_and_a_job_keeps_the_one_it_was_begun_with(store: Store) -> None:
    first = add_engine(store, FOUR)
    job = store.create_job("climb", "before", first.engine_id)
    second = edit_engine(store, NAME, changes=["bore_mm=81.6", "cooling=air", "maker_limits.leakage_percent=12"])
    assert (second.document["bore_mm"], second.document["cooling"]) == (81.6, "air")
    assert second.document["maker_limits"] == {"leakage_percent": 12}
    assert store.get_engine(store.get_job(job).engine_id).document == first.document
    assert [entry.engine_id for entry in store.library_versions(NAME)] == [first.engine_id, second.engine_id]
    assert edit_engine(store, NAME, changes=["bore_mm = 81.6"]) == second
    back = edit_engine(store, NAME, file=FOUR)
    assert (back.engine_id, back.document) == (first.engine_id, first.document)


@pytest.mark.parametrize(
    ("changes", "without", "said"),
    [
        (["bore_mm=eighty"], [], "bore_mm: must be a number, not 'eighty'"),
        (["bore_mm=90\nrod_mm=1"], [], "bore_mm: must be a text of characters that can be printed"),
        (["clearance_cm3=50"], [], "compression_ratio: give either"),
        (["firing_order=[1, 3]"], [], "firing_order: must name each cylinder"),
        (["name=another"], [], "an engine keeps its name"),
        (["bore_mm"], [], "is no change"),
        (["bore_mm.x=1"], [], "is no table"),
        ([], ["notes"], "no key 'notes'"),
        ([], ["bore_mm"], "bore_mm: must be given"),
        (["bore_mm=" + "[" * 50_000], [], "too deeply"),
        (["bore_mm=" + "9" * 5000], [], "too many digits"),
        (["a." * 20_000 + "a=1"], [], "a key of 20001 parts leads too deep"),
        (["wheels=4"], [], "wheels: is not a key"),
        (["\x1b[2J=4"], [], r"\?\[2J: is not a key"),
    ],
)
def test_what_would_be_no_engine_changes_nothing(store: Store, changes: list[str], without: list[str], said: str) -> None:
    kept = add_engine(store, FOUR)
    with pytest.raises(UseError, match=said) as refused:
        edit_engine(store, NAME, changes=changes, without=without)
    assert str(refused.value).isprintable()
    assert store.list_library() == (kept,)


def test_a_ratio_gives_way_to_a_volume_when_it_is_left_out(store: Store) -> None:
    add_engine(store, FOUR)
    assert edit_engine(store, NAME, changes=["clearance_cm3=50.0"], without=["compression_ratio"]).document["clearance_cm3"] == 50.0


def test_a_name_in_the_library_is_taken_until_it_is_removed(store: Store, tmp_path: Path) -> None:
    kept = add_engine(store, FOUR)
    assert add_engine(store, FOUR) == kept
    other = tmp_path / "other.toml"
    other.write_text(FOUR.read_text("utf-8").replace("11.0", "10.0"), encoding="utf-8")
    with pytest.raises(UseError, match=r"another engine .* is in the library"):
        add_engine(store, other)
    with pytest.raises(UseError, match="in the library already"):
        copy_engine(store, NAME, f" {NAME} ")
    with pytest.raises(UseError, match="1 to 80 characters"):
        copy_engine(store, NAME, "a\nb")
    copied = copy_engine(store, NAME, "../=four; DROP TABLE")
    assert copied.document == {**kept.document, "name": "../=four; DROP TABLE"}
    store.remove_from_library(NAME)
    assert add_engine(store, other).document["compression_ratio"] == 10.0


def test_a_file_goes_before_the_library_and_what_is_neither_is_said(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    add_engine(store, FOUR)
    assert find_engine(str(FOUR), store)[1] == find_engine(f" {NAME} ", store)[1]
    for text in ("no such engine", "x" * 5000, "nul\0", ""):
        with pytest.raises(UseError, match=r"no engine file .* and no engine of that name"):
            find_engine(text, store)
    with pytest.raises(UseError, match=r"gone\.toml: the engine file cannot be read"):
        find_engine("gone.toml", None)
    monkeypatch.chdir(store.path.parent)
    Path(NAME).write_text(FOUR.read_text("utf-8").replace("11.0", "9.5"), encoding="utf-8")
    assert find_engine(NAME, store)[1]["compression_ratio"] == 9.5


def test_changes_do_not_reach_into_what_they_are_made_from() -> None:
    document = {"valve_events": {"a": 1}}
    assert changed(document, ["valve_events.a=2"]) == {"valve_events": {"a": 2}}
    assert document == {"valve_events": {"a": 1}}
