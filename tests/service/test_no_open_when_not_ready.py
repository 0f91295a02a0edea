"""A refusal means that no open frame goes onto the wire: random events in any order, judged by the toy's own truth.

A hundred times as many are done by tests/bench/false_ready_sequences.py.
"""

from __future__ import annotations

import pytest

from . import sequences
from .broken_host import break_it

SAMPLE = 10_000
MOST_TO_FIND = 2_500  # sequences in which a condition that is broken on purpose has to show
ENOUGH_WITH_AIR = 0.15
SOON_SEEN = (  # the bench breaks more
    "stroke and hose are always shown",
    "the crank always stands at TDC",
    "the people always agree",
    "the conditions are not looked at again",
    "another hole drops nothing",
    "an opening goes on after a gap",
)


def _told(found: list[sequences.Found]) -> str:
    """The first that was wrong, as short as it can be made."""
    if not found:
        return ""
    least = sequences.shortest(found[0].number)
    return f"sequence {least.number}: {least.began}; {', '.join(least.acts)}: {least.wrong}"


def test_no_opening_goes_onto_the_wire_when_it_may_not_and_many_do_when_they_may() -> None:
    seen = sequences.run(range(SAMPLE))
    assert not seen.wrong, _told(seen.wrong)
    assert seen.with_air >= ENOUGH_WITH_AIR * SAMPLE, seen
    for kind in ("puff test", "full test", "renewal test", "puff sealed", "puff restrictor", "full sealed", "full restrictor"):
        assert seen.opens[kind] > 0, seen
    assert seen.refused > 0, seen
    assert seen.by_the_puff > 0, seen
    assert seen.by_word, seen


# ---------------------------------------------------------------------- would they see it if something were missing?


@pytest.mark.parametrize("broken", SOON_SEEN)
def test_what_is_broken_on_purpose_shows(broken: str, monkeypatch: pytest.MonkeyPatch) -> None:
    sequences.prepare()
    break_it(broken, monkeypatch)
    assert any(sequences.do(number).wrong for number in range(MOST_TO_FIND)), f"{broken}, and no sequence shows it"
