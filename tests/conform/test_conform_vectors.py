"""The copy of the vectors' frames that the suite carries with it."""

from __future__ import annotations

from .vector_frames_file import FILE, text


def test_the_suite_carries_the_frames_of_the_vectors_as_they_are() -> None:
    # run `python tests/conform/vector_frames_file.py` after a change of the vectors
    assert FILE.read_text("utf-8") == text()
