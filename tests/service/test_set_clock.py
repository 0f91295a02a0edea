"""A clock that was set back: it is said, nothing becomes valid by it, and no time is negative."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from borewright.core.rig import RigCheck, RigSetup
from borewright.service.facts import conditions_of
from borewright.service.known_rig import validity_of
from borewright.service.place_tests import reference_reading
from borewright.service.set_clock import SLACK_S, set_back_words
from borewright.service.state import BenchState
from borewright.session.session import Session
from borewright.store.records import CaptureRecord
from borewright.store.store import Store

NOW_S = 1.8e9
DAY_S = 86_400.0


def test_the_latest_moment_of_a_record_is_known(tmp_path: Path) -> None:
    with Store.open(tmp_path / "shop.db", clock=lambda: NOW_S) as store:
        assert store.latest_unix_s() is None
        store.finish_capture(store.begin_capture(None, 0, purpose="sealed"), void_reason="stopped")
        assert store.latest_unix_s() == NOW_S
        store.add_rig_check(RigCheck("zero", NOW_S + 9.0, "Ada", "S1", True))
        assert store.latest_unix_s() == NOW_S + 9.0


@pytest.mark.parametrize(
    ("ahead_s", "said"), [(0.0, False), (SLACK_S, False), (SLACK_S + 60.0, True), (40 * DAY_S, True), (1e300, True)]
)
def test_a_clock_behind_the_record_is_said(ahead_s: float, said: bool) -> None:
    words = set_back_words(NOW_S + ahead_s, NOW_S)
    assert (words is not None) is said
    assert words is None or "set the clock right" in words


def test_checks_of_the_future_hold_for_nothing_and_say_why() -> None:
    zero = RigCheck("zero", NOW_S + 2 * DAY_S, "Ada", "S1", True)
    assert validity_of("zero", zero, NOW_S, holds=True).held != "held"
    state = BenchState(Session(0.0, 1000, 8), RigSetup(), unix_minus_device_s=NOW_S)
    state = replace(state, checks={"zero": zero})
    rig = next(condition for condition in conditions_of(state) if condition.name == "rig")
    assert not rig.met
    assert rig.reason == "the zeros are dated in the future: this computer's clock has been set back"


def test_a_reading_of_the_future_is_no_reference() -> None:
    of_now = CaptureRecord(
        1, 1, "stop_off", 1, "complete", NOW_S, NOW_S, None, (), {}, {"p_regulated_gauge_pa": 2e4}, {"purpose": {}}, {}, {}, "S1"
    )
    assert reference_reading([of_now], 2e4, NOW_S + 60.0) == of_now
    assert reference_reading([of_now], 2e4, NOW_S - DAY_S) is None
