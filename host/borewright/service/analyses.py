"""Captures that are over and are being worked out elsewhere, so that the rig is read on meanwhile.

Nothing that was recorded is lost by it: what cannot be worked out elsewhere is kept as void, with its samples. It is not tried
again here, where what failed there would hold up the reading of the rig.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures import wait as wait_for
from dataclasses import dataclass, replace

from borewright.service.analysis import Analysed, analyse
from borewright.service.conditions_of_air import AirConditions
from borewright.service.effects import Analyse
from borewright.service.rounds import Round
from borewright.service.state import BenchState

__all__ = ["Analyses", "Analyst", "Closed", "slimmed"]

Analyst = Callable[[BenchState, Analyse, AirConditions], Future[Analysed]]


@dataclass(frozen=True, slots=True)
class Closed:
    """A capture that is over, with all that its result is made of: the state at its end, and the air as it was told then.

    ticket: in the writer, None where nothing is kept; evidence: on what its opening was decided.
    """

    state: BenchState
    done: Analyse
    ambient: AirConditions
    ticket: int | None
    evidence: dict[str, object]


def slimmed(state: BenchState) -> BenchState:
    """The state without samples, which no analysis looks at: those of the capture are handed over apart."""
    return replace(state, recent=(), capture=None, zero=None, squeeze=None)


class Analyses:
    """The captures that wait, oldest first. Only the oldest is handed to the analyst: a check of several captures builds on those
    before."""

    def __init__(self, analyst: Analyst) -> None:
        self._analyst = analyst
        self._waiting: deque[Closed] = deque()
        self._running: Future[Analysed] | None = None

    def __len__(self) -> int:
        return len(self._waiting)

    @property
    def checks(self) -> int:
        """How many of them are checks of the rig."""
        return sum(closed.done.purpose.kind != "test" for closed in self._waiting)

    def hand_over(self, closed: Closed, now: Round | None) -> None:
        """Have it analysed. now: the round that is under way."""
        self._waiting.append(replace(closed, state=slimmed(closed.state)))
        self._begin(now)

    def take(self, now: Round | None) -> tuple[Closed, Analysed] | None:
        """The oldest, once it has been worked out; never waits. now: as above."""
        self._begin(now)
        return self._taken(0.0)

    def take_within(self, wait_s: float, now: Round | None) -> tuple[Closed, Analysed] | None:
        """The oldest, waiting at most so long and then working it out here; None when there is none."""
        self._begin(now)
        taken = self._taken(max(0.0, wait_s))
        if taken is not None or not self._waiting:
            return taken
        self._running = None
        closed = self._waiting.popleft()
        return closed, _here(closed)

    def _begin(self, now: Round | None) -> None:
        if self._waiting and self._running is None:
            first = self._waiting[0] = replace(self._waiting[0], state=replace(self._waiting[0].state, round=now))
            try:
                self._running = self._analyst(first.state, first.done, first.ambient)
            except Exception as error:  # noqa: BLE001 -- the capture is kept whatever the analyst does
                self._running = Future()
                self._running.set_exception(error)

    def _taken(self, wait_s: float) -> tuple[Closed, Analysed] | None:
        running = self._running
        if running is None:
            return None
        if wait_s > 0.0:
            wait_for((running,), wait_s)
        if not running.done():
            return None
        self._running = None
        closed = self._waiting.popleft()
        failed = running.cancelled() or running.exception() is not None
        return closed, _not_worked_out(closed) if failed else running.result()


def _here(closed: Closed) -> Analysed:
    """Worked out in the caller's thread."""
    try:
        return analyse(closed.state, closed.done, closed.ambient)
    except Exception:  # noqa: BLE001 -- a fault in the program must not cost what was recorded
        return _not_worked_out(closed)


def _not_worked_out(closed: Closed) -> Analysed:
    what = "test" if closed.done.purpose.kind == "test" else "check"
    return Analysed(None, closed.done.void_reason or f"the {what} could not be worked out; its samples are kept", closed.done.marks)
