"""Lines that fit, pages that fill, axes with round numbers: for any content."""

from __future__ import annotations

from borewright.report.charts import ticks
from borewright.report.sheet import Piece, paginate
from borewright.report.text import BOLD, PLAIN, clean, fitted, width_of, wrapped
from hypothesis import given, settings
from hypothesis import strategies as st

ANY = st.text(max_size=200)
FACES = st.sampled_from((PLAIN, BOLD))


@settings(deadline=None)
@given(ANY, FACES, st.floats(20.0, 300.0))
def test_every_line_fits_and_no_letter_is_lost(text: str, face: str, width: float) -> None:
    lines = wrapped(text, face, 8.0, width)
    assert all(width_of(line, face, 8.0) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join("".join(clean(part) for part in text.splitlines()).split())


@settings(deadline=None)
@given(ANY, FACES, st.floats(20.0, 300.0), st.integers(1, 4))
def test_a_cut_shows(text: str, face: str, width: float, most: int) -> None:
    whole, cut = wrapped(text, face, 8.0, width), wrapped(text, face, 8.0, width, most)
    assert cut == whole if len(whole) <= most else (len(cut) == most and cut[-1].endswith("…"))
    assert all(width_of(line, face, 8.0) <= width for line in cut)
    line = fitted(text, face, 8.0, width)
    assert width_of(line, face, 8.0) <= width
    assert line == clean(text) or line.endswith("…")


@settings(deadline=None)
@given(ANY)
def test_what_is_clean_stays_so_and_can_be_printed(text: str) -> None:
    said = clean(text)
    assert said.isprintable()
    assert clean(said) == said
    assert not any(letter in said for letter in "\n\t\x1b\u202e")


HEIGHTS = st.lists(st.tuples(st.floats(1.0, 90.0), st.floats(0.0, 9.0), st.booleans()), max_size=40)


@settings(deadline=None)
@given(HEIGHTS)
def test_pieces_keep_their_order_and_stay_on_the_page(sizes: list[tuple[float, float, bool]]) -> None:
    pieces = [Piece(height, lambda _: None, before=before, keep=keep) for height, before, keep in sizes]
    pages = paginate(pieces, 100.0)
    assert [piece for page in pages for _, piece in page] == pieces
    for page in pages:
        assert [at for at, _ in page] == sorted(at for at, _ in page)
        assert all(at + piece.height <= 100.0 + 1e-9 for at, piece in page)


def test_headings_are_not_parted_from_what_they_head() -> None:
    heading, row = Piece(20.0, lambda _: None, keep=True), Piece(30.0, lambda _: None)
    pages = paginate([Piece(60.0, lambda _: None), heading, row], 100.0)
    assert [piece for _, piece in pages[1]] == [heading, row]


@settings(deadline=None)
@given(st.floats(1e-3, 1e6), st.integers(1, 6))
def test_axes_have_some_round_numbers_that_reach_near_their_end(end: float, about: int) -> None:
    marks = ticks(end, about)
    assert marks[0] == 0.0
    assert 1 <= len(marks) - 1 <= 2 * about + 1
    assert end - 2.0 * marks[1] < marks[-1] <= end * (1.0 + 1e-6)
