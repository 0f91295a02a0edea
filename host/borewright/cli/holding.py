"""While air stays on: the leakage live, where this engine is to be looked at, and what is typed of what was heard."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from borewright.cli.live_line import LiveLine
from borewright.core.heard import heard, is_heard
from borewright.core.place_meaning import meaning
from borewright.core.readiness_table import State
from borewright.service import acts

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.service.state import BenchState

__all__ = ["HoldView", "heard_acts", "places_lines"]

EVERY_S = 0.5
TELLING_NOISES = 3.0  # a change of so many standard deviations is one
LEAST_CHANGE_PERCENT = 0.1
CALLED_EVERY_S = 15.0  # how often the time that is left is said where nothing can be written over


class HoldView:
    """The running line. out: prints a line. In a terminal one line is written over; elsewhere a line comes when there is news."""

    def __init__(self, out: Callable[[str], None], line: LiveLine) -> None:
        self._out = out
        self._line = line
        self._looked_s = float("-inf")
        self._said_s = float("-inf")
        self._said_percent: float | None = None

    def show(self, state: BenchState, now_s: float) -> None:
        """Look at the bench; prints when half a second has gone by and there is something to say."""
        capture = state.capture
        if state.readiness.state is not State.HOLDING or capture is None or capture.purpose.kind != "test":
            self._end()
            return
        if now_s - self._looked_s < EVERY_S:
            return
        self._looked_s = now_s
        percent, noise = capture.live.leakage_percent, capture.live.leakage_noise_percent
        left_s = max(0.0, state.limits.hold_renewal_s - (state.now_s - state.state_since_s))
        reading = "no reading yet" if percent is None else f"leakage {percent:.1f} %"
        line = f"  PRESSURISED, air stays on: {reading}, {left_s:.0f} s left"
        if self._line.terminal:
            self._line.show(line)
        elif self._is_news(percent, noise) or now_s - self._said_s >= CALLED_EVERY_S:
            self._out(line)
            self._said_percent, self._said_s = percent, now_s

    def _is_news(self, percent: float | None, noise: float | None) -> bool:
        if percent is None or self._said_percent is None:
            return percent is not self._said_percent
        return abs(percent - self._said_percent) > max(LEAST_CHANGE_PERCENT, TELLING_NOISES * (noise or 0.0))

    def _end(self) -> None:
        if self._looked_s > float("-inf"):  # the line is also used for other things than a hold
            self._line.end()
        self._looked_s, self._said_percent, self._said_s = float("-inf"), None, float("-inf")


def places_lines(engine: Engine, cylinder: int) -> list[str]:
    """Where to look at this engine, a line for each place."""
    return [f"    {place.replace('_', ' ')}: {meaning(engine, cylinder, place).look}" for place in engine.places]


def heard_acts(line: str, engine: Engine | None) -> list[acts.NoteHeard] | None:
    """What a line says of what is heard; None where it says nothing of the kind. Raises ValueError with one sentence."""
    if engine is None or not is_heard(line):
        return None
    return [acts.NoteHeard(one.place, one.strength, one.neighbour) for one in heard(line, engine.places)]
