"""The notice of a test that a crash has cut off, and its two buttons."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from borewright.app.desk import Desk
from borewright.core.samples import SampleColumns
from borewright.store.store import Store

from .jobs_hand import JobsHand, at_page

__all__ = ["at_page"]

NAME = "Larch hill-climb four"


@pytest.fixture
def hand(make_desk: Callable[..., Desk], shop_record: Path, at_page: Callable[[Desk], JobsHand]) -> JobsHand:
    """A hand at the page of a record in which two tests of cylinder 4 were cut off."""
    index = np.arange(2501, dtype=np.int64)
    columns = SampleColumns(index * 1000, index, index * 0, np.zeros((2, 2501), np.uint16), np.zeros(2501, np.uint16), 1_000_000)
    with Store.open(shop_record) as store:
        job = store.find_job(NAME, "after")
        assert job is not None
        for _ in range(2):
            store.append_chunk(store.begin_capture(job.id, 4), columns)
    return at_page(make_desk(shop_record))


def states_of_4(hand: JobsHand) -> list[tuple[str, bool]]:
    with Store.open(hand.desk.record, create=False) as store:
        job = store.find_job(NAME, "after")
        assert job is not None
        return [
            (one.state, one.deleted_at_unix_s is not None) for one in store.list_captures(job.id, deleted=True) if one.cylinder == 4
        ]


def test_it_says_which_test_was_cut_off_and_each_button_is_a_way_out(hand: JobsHand) -> None:
    notice = hand.page.cut_off
    assert notice.isVisible()
    assert notice.words.text().startswith(
        f"The test of cylinder 4 in job {NAME}, after, was cut off by a crash; 2.5 s of it are recorded"
    )
    assert notice.words.text().endswith(" 1 more after it.")
    hand.click(notice.finish)
    assert "is void: cut off by a crash after 2.5 s" in hand.said
    assert states_of_4(hand) == [("void", False), ("crashed", False)]
    assert not notice.words.text().endswith("more after it.")
    hand.click(notice.discard)
    assert hand.said.endswith("is put away; its samples stay in the record.")
    assert states_of_4(hand) == [("void", False), ("crashed", True)]
    assert not notice.isVisible()


def test_what_was_seen_to_elsewhere_meanwhile_is_said(hand: JobsHand) -> None:
    notice = hand.page.cut_off
    shown = notice.shown
    assert shown is not None
    with Store.open(hand.desk.record) as store:
        store.delete_capture(shown.capture.id, "elsewhere")
    hand.click(notice.finish)
    assert hand.said.startswith(f"✗ test {shown.capture.id} has been discarded")
    assert notice.shown is not None
    assert notice.shown.capture.id != shown.capture.id


def test_without_such_a_test_there_is_no_notice(
    make_desk: Callable[..., Desk], shop_record: Path, at_page: Callable[[Desk], JobsHand]
) -> None:
    hand = at_page(make_desk(shop_record))
    assert not hand.page.cut_off.isVisible()
