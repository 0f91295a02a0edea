"""Words typed of what is heard: places and strengths, in any order that people write them, and never a wrong guess."""

from __future__ import annotations

import pytest
from borewright.core.engine import Engine
from borewright.core.heard import STRENGTHS, Heard, checked_neighbour, heard, is_heard
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
    assert [(one.place, one.strength, one.neighbour) for one in heard(text, FOUR + TWO)] == [(*pair, None) for pair in pairs]


@given(st.text(max_size=60))
def test_any_other_text_is_one_sentence_that_can_be_printed(text: str) -> None:
    said = ""
    found: tuple[Heard, ...] = ()
    try:
        found = heard(text, FOUR)
    except ValueError as wrong:
        said = str(wrong)
    assert said.isprintable()
    assert bool(found) is not bool(said)
    assert all(one.place in FOUR and one.strength in STRENGTHS for one in found)


@pytest.mark.parametrize("text", ["exhaust", "strong", "exhaust strong breather", "attic strong", "exhaust loud", ""])
def test_half_of_it_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"say|no place"):
        heard(text, FOUR)


def test_what_two_places_begin_with_is_no_place() -> None:
    with pytest.raises(ValueError, match="no place"):
        heard("ex strong", ("exhaust", "exhaust_port"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("neighbours strong at 3", ["neighbours strong at cylinder 3"]),
        # the simulator's operator says it so
        ("intake none, neighbours strong at cylinder 3, outside none", None),
        ("neighbours=faint at cylinders 2 and 4 exhaust=none", None),
        ("other chambers steady at 2, 3", ["other chambers steady at cylinder 2", "other chambers steady at cylinder 3"]),
    ],
)
def test_at_which_other_cylinder_stands_behind_the_strength(text: str, words: list[str] | None) -> None:
    assert is_heard(text)
    found = heard(text, FOUR + TWO)
    said = [one.words for one in found]
    if words is not None:
        assert said == words
    assert heard(", ".join(said), FOUR + TWO) == found
    assert [one.detail.get("neighbour") for one in found] == [one.neighbour for one in found]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("neighbours strong at", "by its number"),
        ("neighbours strong at exhaust", "by its number"),
        ("exhaust strong at 3", "exhaust is no other cylinder"),
        ("neighbours at 3", "how strong"),
        ("neighbours strong 3", "how strong"),
        ("neighbours strong at ³", "by its number"),
    ],
)
def test_a_number_that_is_none_or_has_no_business_there_is_refused(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        heard(text, FOUR)


def test_a_cylinder_is_not_beside_itself() -> None:
    four = Engine("invented four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    assert checked_neighbour(four, 2, "neighbours", 3) == 3
    assert checked_neighbour(four, 2, "exhaust", None) is None
    for cylinder in (2, 7, 0):
        with pytest.raises(ValueError, match="there is 1, 3, 4"):
            checked_neighbour(four, 2, "neighbours", cylinder)
    with pytest.raises(ValueError, match="no other cylinder"):
        checked_neighbour(four, 2, "exhaust", 3)
