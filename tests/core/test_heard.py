"""Words typed of what is heard: places and strengths, in any order that people write them, and never a wrong guess."""

from __future__ import annotations

import pytest
from borewright.core.heard import STRENGTHS, heard, is_heard
from hypothesis import given
from hypothesis import strategies as st

FOUR = ("intake", "exhaust", "breather", "coolant", "neighbours", "outside")
TWO = ("exhaust_port", "crankcase", "other_chambers")


@given(
    st.lists(st.tuples(st.sampled_from(FOUR + TWO), st.sampled_from(STRENGTHS)), min_size=1),
    st.sampled_from(("=", " ", " = ")),
    st.sampled_from((" ", ", ", "; ")),
)
def test_what_is_written_is_what_is_read(pairs: list[tuple[str, str]], between: str, after: str) -> None:
    text = after.join(f"{place.replace('_', ' ').upper()}{between}{strength}" for place, strength in pairs)
    assert is_heard(text)
    assert list(heard(text, FOUR + TWO)) == pairs


@given(st.text(max_size=60))
def test_any_other_text_is_one_sentence_that_can_be_printed(text: str) -> None:
    said = ""
    found: tuple[tuple[str, str], ...] = ()
    try:
        found = heard(text, FOUR)
    except ValueError as wrong:
        said = str(wrong)
    assert said.isprintable()
    assert bool(found) is not bool(said)
    assert all(place in FOUR and strength in STRENGTHS for place, strength in found)


@pytest.mark.parametrize("text", ["exhaust", "strong", "exhaust strong breather", "attic strong", "exhaust loud", ""])
def test_half_of_it_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"say|no place"):
        heard(text, FOUR)


def test_what_two_places_begin_with_is_no_place() -> None:
    with pytest.raises(ValueError, match="no place"):
        heard("ex strong", ("exhaust", "exhaust_port"))
