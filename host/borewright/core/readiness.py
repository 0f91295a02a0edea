"""Ready for air: the state machine that decides whether air may be let in. The table is in core.readiness_table.

Nothing here opens a valve; it says what is to be done. The only ways to `open_puff` and `open_full` lead through conditions that
were all met at the moment of the opening.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from borewright.core.conditions import Condition, all_met
from borewright.core.limits import Limits
from borewright.core.readiness_table import AIR_ON, VOID_REASONS, Action, Event, State, row

__all__ = ["Action", "Event", "Illegal", "Readiness", "State"]

_ILLEGAL_KEPT = 16
_UNDER_PRESSURE = AIR_ON | {State.VENTING}


@dataclass(frozen=True, slots=True)
class Illegal:
    """An event that has no place in the state it came in."""

    state: State
    event: Event
    at_s: float


@dataclass(frozen=True, slots=True)
class Readiness:
    """Where the way to air stands. Immutable: `apply` gives the next one and what is to be done.

    valves: the device drives its valves; on a rig with hand valves the program advises. ready_at_s: when all conditions were last
    seen met, in device time; it is used up by an opening. pressurised: air was let in or seen and has not been seen gone.
    void_reason: why the last void capture was void.

    >>> ready, _ = Readiness().apply(Event.READY_MET, now_s=5.0)
    >>> armed, actions = ready.apply(Event.AIR_ASKED, now_s=6.0)
    >>> armed.state.value, [action.value for action in actions]
    ('armed', ['start_countdown'])
    >>> refused, actions = armed.apply(Event.COUNTDOWN_OVER, now_s=9.0)  # no conditions shown: no air
    >>> refused.state.value, [action.value for action in actions]
    ('vented', ['refuse'])
    """

    valves: bool = True
    limits: Limits = field(default_factory=Limits)
    state: State = State.VENTED
    ready_at_s: float | None = None
    pressurised: bool = False
    void_reason: str | None = None
    illegal: tuple[Illegal, ...] = ()
    illegal_count: int = 0

    def apply(self, event: Event, now_s: float = 0.0, conditions: Sequence[Condition] = ()) -> tuple[Readiness, tuple[Action, ...]]:
        """The state after the event, and what is to be done.

        now_s: device time. conditions: what core.conditions.evaluate says now; needed with COUNTDOWN_OVER (without all of them
        met there is no opening) and harmless otherwise. An event that is illegal in this state changes nothing but `illegal`.
        """
        event = self._checked_again(event, now_s, conditions)
        expired = self.state is State.READY and event is not Event.READY_MET and not self._fresh(now_s)
        state = State.VENTED if expired else self.state
        found = row(state, event, self.valves)
        if found is None:
            recorded = (*self.illegal, Illegal(state, event, now_s))[-_ILLEGAL_KEPT:]
            return replace(self, illegal=recorded, illegal_count=self.illegal_count + 1), ()
        return (
            replace(
                self,
                state=found.next_state,
                ready_at_s=self._ready_at(event, found.next_state, now_s),
                pressurised=self._pressurised_after(event, found.next_state),
                void_reason=VOID_REASONS[event] if Action.VOID in found.actions else self.void_reason,
            ),
            found.actions,
        )

    def _checked_again(self, event: Event, now_s: float, conditions: Sequence[Condition]) -> Event:
        """Ready is good for one opening within limits.ready_s, and everything is looked at again at the opening."""
        if event is Event.COUNTDOWN_OVER and not (self._fresh(now_s) and all_met(conditions)):
            return Event.READY_LOST if self.state is State.ARMED else event
        if event is Event.WATCH_PASSED and self.state is State.WATCHING and not self._fresh(now_s):
            return Event.READY_STALE
        return event

    def _fresh(self, now_s: float) -> bool:
        return self.ready_at_s is not None and 0.0 <= now_s - self.ready_at_s <= self.limits.ready_s

    def _ready_at(self, event: Event, next_state: State, now_s: float) -> float | None:
        if event is Event.READY_MET and next_state in (State.READY, State.ARMED):
            return now_s
        if event is Event.COUNTDOWN_OVER:
            return now_s  # the conditions were looked at just now; puff and full opening are one opening
        return self.ready_at_s if next_state in (State.READY, State.ARMED, State.PUFFING, State.WATCHING) else None

    def _pressurised_after(self, event: Event, next_state: State) -> bool:
        if event in (Event.OPENED, Event.PRESSURE_SEEN, Event.OVER_PRESSURE) or next_state in (State.PUFFING, State.FILLING):
            return True
        return self.pressurised and not (event is Event.PRESSURE_GONE and next_state not in (State.FILLING, State.HOLDING))

    @property
    def locked(self) -> bool:
        """True while nothing may be turned or undone and the next step has to wait: PRESSURISED on every screen."""
        return self.pressurised or self.state in _UNDER_PRESSURE
