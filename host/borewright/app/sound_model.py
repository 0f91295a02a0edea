"""Which sound belongs to what has changed on the bench, and not too often; and the sounds themselves, made here. Without Qt."""

from __future__ import annotations

from array import array
from dataclasses import dataclass
from functools import cache
from math import pi, sin
from typing import Literal

from borewright.core.readiness_table import State
from borewright.service.facts import degrees_from_tdc, window_deg
from borewright.service.snapshot import Snapshot
from borewright.service.state import BenchState

__all__ = ["CUES", "RATE_HZ", "Cue", "Cues", "pcm"]

Cue = Literal["approach", "tdc", "air_coming", "pressurised", "alarm"]
CUES: tuple[Cue, ...] = ("alarm", "air_coming", "pressurised", "tdc", "approach")  # the first that is due is heard

RATE_HZ = 22_050
APPROACH_DEG = 30.0
QUICKEST_S, SLOWEST_S = 0.2, 1.0  # between two ticks, at TDC and at the beginning of the approach
LEAVES_DEG = 1.0  # past the window: after that it can be come to again
PRESSURISED_EVERY_S = 5.0
AFTER_COMING_S = 0.7  # the two are not to run into each other
SQUEEZE_VENTS_S = 1.0  # what a squeeze leaves in the hose is gone by then: nothing to be told of
ALARM_EVERY_S = 2.0

_LOUD = 0.35
_FADE_S = 0.008


@dataclass(slots=True)
class Cues:
    """What has been heard, so that nothing sounds too often. Times are the snapshots' own."""

    told: int = 0
    approached_s: float = -1e9
    pressurised_s: float = -1e9
    locked_since_s: float | None = None
    alarmed_s: float = -1e9
    alarm_due: bool = False
    at_tdc: bool = False
    was_coming: bool = False
    begun: bool = False

    def due(self, snapshot: Snapshot) -> Cue | None:
        """The sound for this snapshot, None for silence. Each snapshot is to be handed over once, in order."""
        now_s, state = snapshot.read_at_s, snapshot.state
        newest = snapshot.told[-1].number if snapshot.told else 0
        if self.begun and any(told.level == "alarm" for told in snapshot.told if told.number > self.told):
            self.alarm_due = True
        self.told, self.begun = newest, True
        comes, arrives = self._air_comes(state), self._arrives(state)
        if self._alarm(now_s):
            return "alarm"
        if comes:
            self.pressurised_s = now_s - PRESSURISED_EVERY_S + AFTER_COMING_S
            return "air_coming"
        if self._pressurised(state, now_s):
            return "pressurised"
        if arrives:
            return "tdc"
        return "approach" if self._approach(snapshot, now_s) else None

    def _alarm(self, now_s: float) -> bool:
        if not self.alarm_due or now_s - self.alarmed_s < ALARM_EVERY_S:
            return False
        self.alarm_due, self.alarmed_s = False, now_s
        return True

    def _pressurised(self, state: BenchState | None, now_s: float) -> bool:
        if state is None or not state.readiness.locked:
            self.locked_since_s = None
            return False
        if self.locked_since_s is None:
            self.locked_since_s = now_s
        if state.readiness.state is State.VENTING and now_s - self.locked_since_s < SQUEEZE_VENTS_S:
            return False
        if now_s - self.pressurised_s < PRESSURISED_EVERY_S:
            return False
        self.pressurised_s = now_s
        return True

    def _air_comes(self, state: BenchState | None) -> bool:
        coming = state is not None and state.readiness.state in (State.ARMED, State.PUFFING)  # with a switch armed is over at once
        comes, self.was_coming = coming and not self.was_coming, coming
        return comes

    def _arrives(self, state: BenchState | None) -> bool:
        off_deg = None if state is None or state.purpose.kind != "test" else degrees_from_tdc(state)
        if state is None or off_deg is None:
            self.at_tdc = False
            return False
        within = abs(off_deg) <= window_deg(state)
        if within and not self.at_tdc:
            self.at_tdc = True
            return True
        if abs(off_deg) > window_deg(state) + LEAVES_DEG:
            self.at_tdc = False
        return False

    def _approach(self, snapshot: Snapshot, now_s: float) -> bool:
        state, step = snapshot.state, snapshot.step
        if state is None or step is None or step.key != "turn_to_tdc" or self.at_tdc:
            return False
        off_deg = degrees_from_tdc(state)
        moving = state.crank is not None and state.crank.moved_count > state.limits.still_count
        if off_deg is None or not moving or not -APPROACH_DEG <= off_deg < 0.0:  # past it there is nothing to come to
            return False
        if now_s - self.approached_s < QUICKEST_S + (SLOWEST_S - QUICKEST_S) * -off_deg / APPROACH_DEG:
            return False
        self.approached_s = now_s
        return True


# ---------------------------------------------------------------------- the sounds

_TONES: dict[Cue, tuple[tuple[float, float], ...]] = {  # hertz (0: silence) and seconds, one after the other
    "approach": ((1250.0, 0.03),),
    "tdc": ((880.0, 0.12), (1320.0, 0.2)),
    "air_coming": ((440.0, 0.1), (0.0, 0.05), (550.0, 0.1), (0.0, 0.05), (660.0, 0.18)),
    "pressurised": ((330.0, 0.22), (0.0, 0.06), (330.0, 0.22)),
    "alarm": ((990.0, 0.16), (700.0, 0.16), (990.0, 0.16), (700.0, 0.16), (990.0, 0.16)),
}


@cache
def pcm(cue: Cue) -> bytes:
    """The sound: RATE_HZ samples a second, one channel, signed 16-bit words in this computer's order.

    >>> len(pcm("approach")), max(array("h", pcm("alarm"))) < 32767
    (1324, True)
    """
    words = array("h")
    for hertz, seconds in _TONES[cue]:
        count = round(seconds * RATE_HZ)
        for at in range(count):
            edge_s = min(at, count - 1 - at) / RATE_HZ
            loud = _LOUD * min(1.0, edge_s / _FADE_S) if hertz else 0.0
            phase = 2.0 * pi * hertz * at / RATE_HZ
            words.append(round(32767.0 * loud * (0.8 * sin(phase) + 0.2 * sin(3.0 * phase))))
    return words.tobytes()
