"""The person at the simulated rig as the hands of the suite, told in the words of the simulator's control address."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from borewright.conform.hands import Task

__all__ = ["SIMULATED_WORDS", "SimulatedHands"]

SIMULATED_WORDS: Final[dict[Task, tuple[str, ...]]] = {
    Task.AIR_OFF: ("regulator 0", "restrain off", "hose off"),
    Task.RESET: ("power-cycle",),
    Task.TURN_AWAY: ("turn +20 rpm 20",),
    Task.TURN_ROUND: ("turn +900 rpm 60",),
    Task.RAISE_REGULATED: ("regulator 100",),
    Task.LOWER_REGULATED: ("regulator 0",),
    Task.READY_CYLINDER: ("hose 1", "to tdc 1 off -90"),
    Task.RAISE_CYLINDER: ("turn +85 rpm 20",),
    Task.LOWER_CYLINDER: ("hose off",),
    Task.PRESS_HOLD: ("hold press",),
    Task.RELEASE_HOLD: ("hold release",),
    Task.BREAK_SENSOR: ("fault cylinder-wire-shorted",),
    Task.MEND_SENSOR: ("fault cylinder-wire-shorted off",),
}
PATIENCE_S: Final = 30.0


class SimulatedHands:
    """Hands that are told line by line. do: tells one line and gives the answer, which begins with "ok" when it was understood."""

    def __init__(self, do: Callable[[str], str]) -> None:
        self._do = do

    @property
    def patience_s(self) -> float:
        """Seconds of the simulated rig's time."""
        return PATIENCE_S

    def begin(self, task: Task) -> str | None:
        """Tell the words for it; why not, when there are none or they are not understood."""
        lines = SIMULATED_WORDS.get(task)
        if lines is None:
            return "the person at the simulated rig has no word for that"
        for line in lines:
            answer = self._do(line)
            if not answer.startswith("ok"):
                return f"the simulated rig answers {line!r} with {answer!r}"
        return None

    def let_go(self) -> None:
        """Tell the person at the simulated rig to let the switch go; it is no fault when they do not hold it."""
        self.begin(Task.RELEASE_HOLD)

    def busy(self) -> bool:
        """Whether something told is still to be done."""
        return self._do("busy") == "ok busy"
