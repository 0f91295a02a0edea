"""What the findings page asks of the record: answers that go from process to process, and say no more than the record does."""

from __future__ import annotations

import io
import pickle
from collections.abc import Iterator
from pathlib import Path

import pytest
from boresim.scenario import load_scenario
from borewright.core.heard import Heard
from borewright.errors import StoreError, UseError
from borewright.service.place_notes import add_photos, drop_finding, keep_findings, restore_finding
from borewright.service.view_findings import noted_of, paths_of, photo_in_file, picture_of, place_tests_of, wet_words
from borewright.store import Store
from PIL import Image


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A record with a job of a four-cylinder engine."""
    with Store.open(tmp_path / "shop.db") as opened:
        document = load_scenario("hillclimb-before").engine_document
        opened.create_job("Larch", "before", opened.save_engine(str(document["name"]), document))
        yield opened


def picture(path: Path, width: int, height: int) -> Path:
    Image.new("RGB", (width, height), (120, 60, 30)).save(path)
    return path


def test_what_was_noted_is_told_newest_first_and_the_last_word_counts(store: Store) -> None:
    keep_findings(store, 1, 3, (Heard("exhaust", "strong"), Heard("neighbours", "steady", 2)), None, (), "Ada")
    keep_findings(store, 1, 3, (Heard("exhaust", "faint"),), "seat\u2028looks burnt", (), "Ada")
    keep_findings(store, 1, 0, (), "of the whole engine", (), "Ben")
    noted = pickle.loads(pickle.dumps(noted_of(store, 1)))
    assert dict(noted.strengths[3]) == {"exhaust": "faint", "neighbours": "steady"}
    assert dict(noted.neighbours[3]) == {2: "steady"}
    assert [line.words for line in noted.of(3)] == [
        "“seat?looks burnt”",
        "exhaust faint",
        "neighbours steady at cylinder 2",
        "exhaust strong",
    ]
    assert [line.said_by for line in noted.of(0)] == ["Ben"]
    assert noted.of(1) == ()


def test_a_dropped_finding_is_told_as_such_and_counts_no_more(store: Store) -> None:
    (kept,) = keep_findings(store, 1, 3, (Heard("exhaust", "strong"),), None, (), "Ada")
    drop_finding(store, kept.finding)
    noted = noted_of(store, 1)
    assert (dict(noted.strengths[3]), noted.of(3)[0].dropped) == ({}, True)
    with pytest.raises(UseError, match="was dropped before"):
        drop_finding(store, kept.finding)
    restore_finding(store, kept.finding)
    with pytest.raises(UseError, match="was not dropped"):
        restore_finding(store, kept.finding)
    assert dict(noted_of(store, 1).strengths[3]) == {"exhaust": "strong"}


def test_photos_come_with_their_findings_and_as_small_as_they_are_shown(store: Store, tmp_path: Path) -> None:
    photo = photo_in_file(store, picture(tmp_path / "valve.jpg", 3000, 1500))
    (kept,) = keep_findings(store, 1, 3, (Heard("exhaust", "strong"),), None, (pickle.loads(pickle.dumps(photo)),), "Ada")
    add_photos(store, kept.finding, (photo_in_file(store, picture(tmp_path / "seat.png", 30, 40)),))
    first, second = noted_of(store, 1).of(3)[0].photos
    with Image.open(io.BytesIO(picture_of(store, first.id, 96))) as small:
        assert (small.width, small.height) == (96, 48)
    with Image.open(io.BytesIO(picture_of(store, second.id, 96))) as small:
        assert (small.format, small.width, small.height) == ("PNG", 30, 40)  # never made larger
    with pytest.raises(StoreError, match="there is no photo 99"):
        picture_of(store, 99, 96)


def test_without_a_test_the_paths_say_so_and_the_orifices_are_for_the_most_that_can_come(store: Store) -> None:
    path = pickle.loads(pickle.dumps(paths_of(store, 1)))
    assert "No test of this cylinder yet" in path.cylinders[1].words
    known = pickle.loads(pickle.dumps(place_tests_of(store, 1, 1)))
    assert (known.cylinder, known.captures, known.dry) == (1, (), None)
    assert set(known.orifices) == {"intake", "exhaust", "breather", "neighbours"}
    assert all(orifice.least_area_m2 > 0.0 for orifice in known.orifices.values())
    assert [test.method for test in known.plan] == ["repeat"]
    with pytest.raises(StoreError):
        wet_words(store, 1, 2)
