"""The line of a hold: said when there is news and not otherwise, and gone with the hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from borewright.cli.holding import HoldView, heard_acts
from borewright.cli.live_line import LiveLine
from borewright.core.engine import Engine
from borewright.core.live import LiveCapture
from borewright.core.readiness import Readiness
from borewright.core.readiness_table import State
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns
from borewright.service import acts
from borewright.service.state import BenchState, Capturing, Reading
from borewright.session.session import Session

FOUR = Engine("four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)


def _live(leakage_percent: float, noise: float = 2.0) -> LiveCapture:
    """Eight seconds of air with this leakage, the noise in steps of the converter."""
    count = np.arange(9000)
    raw = np.where(count < 1000, 410.0, 410.0 + 1800.0)
    cylinder = np.where(count < 1000, 410.0, 410.0 + 1800.0 * (1.0 - leakage_percent / 100.0))
    noisy = np.stack([raw, cylinder]) + np.random.default_rng(5).normal(0.0, noise, (2, len(count)))
    columns = SampleColumns(count * 1000, count, count * 0, noisy.astype(np.uint16), np.zeros(len(count), np.uint16), 1_000_000)
    return LiveCapture({"regulated": LAW, "cylinder": LAW}).add(columns)


def _holding(live: LiveCapture, since_s: float = 0.0, now_s: float = 0.0) -> BenchState:
    purpose = acts.Purpose("test", 1)
    capture = Capturing(purpose, (), (), (), live, 0.0)
    reading = Reading(now_s, 0.0, 0.0, 0.0)
    state = BenchState(Session(0.0), engine=FOUR, purpose=purpose, capture=capture, reading=reading, state_since_s=since_s)
    return replace(state, readiness=Readiness(state=State.HOLDING))


def test_a_line_comes_with_news_or_after_a_while_and_says_how_long_the_air_stays() -> None:
    said: list[str] = []
    view = HoldView(said.append, LiveLine(terminal=False))
    same = _live(31.2)
    view.show(_holding(same, now_s=17.0), 100.0)
    assert said == ["  PRESSURISED, air stays on: leakage 31.2 %, 43 s left"]
    for moment in (100.1, 100.6, 103.0, 110.0):
        view.show(_holding(same), moment)
    assert len(said) == 1
    view.show(_holding(_live(31.25)), 110.6)  # within its noise
    assert len(said) == 1
    view.show(_holding(_live(33.0)), 111.2)
    assert said[1].startswith("  PRESSURISED, air stays on: leakage 33.")
    view.show(_holding(_live(33.0)), 127.0)
    assert len(said) == 3
    idle = replace(_holding(same), readiness=Readiness())
    view.show(idle, 130.0)
    view.show(_holding(_live(33.0)), 131.0)  # another hold begins anew
    assert len(said) == 4


def test_what_is_typed_of_what_is_heard_becomes_acts() -> None:
    assert heard_acts("exhaust strong, breather=none", FOUR) == [
        acts.NoteHeard("exhaust", "strong"),
        acts.NoteHeard("breather", "none"),
    ]
    assert heard_acts("neighbours strong at 2", FOUR) == [acts.NoteHeard("neighbours", "strong", 2)]
    for other in ("go on", "stop", "552 kPa", "", "exhaust"):
        assert heard_acts(other, FOUR) is None
    assert heard_acts("exhaust strong", None) is None


def test_the_noise_of_the_running_leakage_is_that_of_its_mean() -> None:
    found = [_live(20.0, noise).leakage_noise_percent for noise in (2.0, 8.0)]
    assert found[0] is not None
    assert found[1] is not None
    # a ratio of two noisy pressures, 1000 samples a second: 100/1800 · noise · sqrt(1 + 0.8²) / sqrt(1000)
    assert 0.5 < found[1] / (100.0 / 1800.0 * 8.0 * 1.28 / 31.6) < 2.0
    assert found[0] < found[1]
    assert LiveCapture({"regulated": LAW, "cylinder": LAW}).leakage_noise_percent is None
