"""The one table of the way to air and back: in each state, what each event leads to and what is to be done.

`TABLE` holds what a rig with valves does and what is alike on all rigs; `HAND_ROWS` replaces the rows that differ where the valves
are turned by hand and the program can only advise and sound. A pair that has no row is illegal: it changes nothing and is recorded.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["AIR_ON", "HAND_ROWS", "TABLE", "VOID_REASONS", "Action", "Event", "Row", "State", "diagram", "row"]


class State(StrEnum):
    """Where the way to air and back stands."""

    VENTED = "vented"  # no air on, cylinder vented
    SQUEEZING = "squeezing"  # supply shut, vent closed, the hand-turned piston squeezes
    READY = "ready"  # all eight conditions are met
    ARMED = "armed"  # air was asked for; the countdown runs or the hold switch is pressed
    PUFFING = "puffing"  # the first short opening
    WATCHING = "watching"  # after the puff: vent open again, does the crank stay?
    FILLING = "filling"  # full pressure until the ratio is steady
    HOLDING = "holding"  # air stays on for looking and listening
    ISOLATED = "isolated"  # supply shut, vent closed: the decay
    VENTING = "venting"  # shut and vented, pressure not yet gone


class Event(StrEnum):
    """What can happen. The service makes these from news, samples, acts and ticks."""

    LINK_LOST = "link_lost"  # silent, refused or restarted
    READY_MET = "ready_met"  # all conditions are met now; again and again while they are
    READY_LOST = "ready_lost"
    READY_STALE = "ready_stale"  # made by Readiness alone: the full opening would come later than ready is good for
    SQUEEZE_ASKED = "squeeze_asked"
    SQUEEZE_OVER = "squeeze_over"
    AIR_ASKED = "air_asked"
    AIR_RELEASED = "air_released"  # the key or the hold switch was let go
    COUNTDOWN_OVER = "countdown_over"  # the moment of the opening; at once where a hold switch is pressed
    OPENED = "opened"  # the device says that its supply is open
    PUFF_OVER = "puff_over"  # the puff's time is up, or the device ended it for its time limit
    WATCH_PASSED = "watch_passed"
    CRANK_LEFT_WINDOW = "crank_left_window"
    SETTLED = "settled"  # the ratio is steady, or its time limit has passed
    HOLD_ASKED = "hold_asked"
    HOLD_OVER = "hold_over"
    SHUT_SEEN = "shut_seen"  # the supply is shut and the decay has begun: the device says so, or the data show it
    ISOLATE_OVER = "isolate_over"  # the decay has been seen far enough
    GAP = "gap"  # samples are missing
    OVER_PRESSURE = "over_pressure"
    DEVICE_TRIPPED = "device_tripped"  # shut and vented by itself for another cause than the puff's time limit or the hold switch
    DEVICE_FAULT = "device_fault"
    PRESSURE_SEEN = "pressure_seen"  # pressure that a closed supply cannot explain; give it before READY_LOST
    PRESSURE_GONE = "pressure_gone"  # p_cylinder is under 5 kPa: give it at every look while that is so
    STOP = "stop"


class Action(StrEnum):
    """What the service has to do. On a rig with hand valves it says it to the person instead."""

    CLOSE_VENT = "close_vent"  # for the squeeze
    VENT = "vent"
    START_COUNTDOWN = "start_countdown"
    BEGIN_CAPTURE = "begin_capture"
    OPEN_PUFF = "open_puff"
    OPEN_FULL = "open_full"
    RENEW = "renew"  # the hold's time limit
    ISOLATE = "isolate"
    SHUT_AND_VENT = "shut_and_vent"
    VOID = "void"  # end the capture as void; VOID_REASONS says why
    COMPLETE = "complete"  # end the capture; its analysis says what it is good for
    SOUND_ALARM = "sound_alarm"
    REFUSE = "refuse"  # tell the person which conditions are not met
    ADVISE_OPEN = "advise_open"  # hand valves: air may be let in now
    ADVISE_SHUT = "advise_shut"  # hand valves: shut the supply, leave the vent closed


@dataclass(frozen=True, slots=True)
class Row:
    """What a pair of state and event leads to."""

    next_state: State
    actions: tuple[Action, ...] = ()


AIR_ON: frozenset[State] = frozenset({State.PUFFING, State.WATCHING, State.FILLING, State.HOLDING, State.ISOLATED})
"""The states between the first opening and the end of the capture."""

VOID_REASONS: dict[Event, str] = {
    Event.LINK_LOST: "the link to the rig was lost while air was on",
    Event.READY_STALE: "the full opening came too long after the conditions were checked",
    Event.AIR_RELEASED: "air was let go before the reading was steady",
    Event.CRANK_LEFT_WINDOW: "the crank left its window while air was on",
    Event.GAP: "samples are missing while air was on",
    Event.OVER_PRESSURE: "a pressure rose above its limit",
    Event.DEVICE_TRIPPED: "the rig shut and vented by itself",
    Event.DEVICE_FAULT: "the rig reported a fault while air was on",
    Event.OPENED: "the supply opened while it should have been shut",
    Event.PRESSURE_SEEN: "pressure was seen before the rig was ready for air",
    Event.STOP: "it was stopped",
}

_S, _E, _A = State, Event, Action
_ABORT = Row(_S.VENTING, (_A.SHUT_AND_VENT, _A.VOID, _A.SOUND_ALARM))
_SAFE = Row(_S.VENTING, (_A.SHUT_AND_VENT,))
_ALARM = Row(_S.VENTING, (_A.SHUT_AND_VENT, _A.SOUND_ALARM))


def _stays(state: State, *events: Event) -> dict[tuple[State, Event], Row]:
    return {(state, event): Row(state) for event in events}


def _air_on(state: State) -> dict[tuple[State, Event], Row]:
    """What ends a capture at once, from whichever state with air on."""
    ends = (_E.LINK_LOST, _E.CRANK_LEFT_WINDOW, _E.GAP, _E.OVER_PRESSURE, _E.DEVICE_TRIPPED, _E.DEVICE_FAULT)
    return {
        **{(state, event): _ABORT for event in ends},
        (state, _E.STOP): Row(_S.VENTING, (_A.SHUT_AND_VENT, _A.VOID)),
        (state, _E.AIR_RELEASED): Row(_S.VENTING, (_A.SHUT_AND_VENT, _A.VOID)),
        **_stays(state, _E.READY_MET, _E.READY_LOST, _E.PRESSURE_SEEN, _E.PRESSURE_GONE, _E.SHUT_SEEN),
    }


def _air_off(state: State) -> dict[tuple[State, Event], Row]:
    """What leads back to vented, or to alarm, from a state without air."""
    return {
        (state, _E.LINK_LOST): Row(_S.VENTED),
        (state, _E.READY_LOST): Row(_S.VENTED),
        (state, _E.GAP): Row(_S.VENTED),
        (state, _E.CRANK_LEFT_WINDOW): Row(_S.VENTED),
        (state, _E.DEVICE_FAULT): Row(_S.VENTED),
        (state, _E.DEVICE_TRIPPED): _SAFE,
        (state, _E.STOP): _SAFE,
        (state, _E.OVER_PRESSURE): _ALARM,
        (state, _E.PRESSURE_SEEN): _ALARM,
        (state, _E.OPENED): _ALARM,
        **_stays(state, _E.AIR_RELEASED, _E.PRESSURE_GONE),
    }


TABLE: dict[tuple[State, Event], Row] = {
    **_air_off(_S.VENTED),
    (_S.VENTED, _E.READY_MET): Row(_S.READY),
    (_S.VENTED, _E.SQUEEZE_ASKED): Row(_S.SQUEEZING, (_A.CLOSE_VENT,)),
    (_S.VENTED, _E.AIR_ASKED): Row(_S.VENTED, (_A.REFUSE,)),
    (_S.SQUEEZING, _E.SQUEEZE_OVER): Row(_S.VENTING, (_A.VENT,)),
    (_S.SQUEEZING, _E.SQUEEZE_ASKED): Row(_S.SQUEEZING, (_A.CLOSE_VENT,)),  # renews the time limit
    (_S.SQUEEZING, _E.AIR_ASKED): Row(_S.SQUEEZING, (_A.REFUSE,)),
    (_S.SQUEEZING, _E.LINK_LOST): _SAFE,
    (_S.SQUEEZING, _E.DEVICE_TRIPPED): _SAFE,
    (_S.SQUEEZING, _E.DEVICE_FAULT): _SAFE,
    (_S.SQUEEZING, _E.OVER_PRESSURE): _SAFE,
    (_S.SQUEEZING, _E.STOP): _SAFE,
    (_S.SQUEEZING, _E.PRESSURE_SEEN): _ALARM,
    (_S.SQUEEZING, _E.OPENED): _ALARM,
    **_stays(
        _S.SQUEEZING, _E.READY_MET, _E.READY_LOST, _E.CRANK_LEFT_WINDOW, _E.GAP, _E.PRESSURE_GONE, _E.AIR_RELEASED, _E.SHUT_SEEN
    ),
    **_air_off(_S.READY),
    (_S.READY, _E.READY_MET): Row(_S.READY),
    (_S.READY, _E.SQUEEZE_ASKED): Row(_S.SQUEEZING, (_A.CLOSE_VENT,)),
    (_S.READY, _E.AIR_ASKED): Row(_S.ARMED, (_A.START_COUNTDOWN,)),
    **_air_off(_S.ARMED),
    (_S.ARMED, _E.READY_MET): Row(_S.ARMED),
    (_S.ARMED, _E.READY_LOST): Row(_S.VENTED, (_A.REFUSE,)),
    (_S.ARMED, _E.AIR_ASKED): Row(_S.ARMED),
    (_S.ARMED, _E.AIR_RELEASED): Row(_S.VENTED),
    (_S.ARMED, _E.COUNTDOWN_OVER): Row(_S.PUFFING, (_A.BEGIN_CAPTURE, _A.OPEN_PUFF)),
    **_air_on(_S.PUFFING),
    (_S.PUFFING, _E.OPENED): Row(_S.PUFFING),
    (_S.PUFFING, _E.PUFF_OVER): Row(_S.WATCHING, (_A.VENT,)),
    **_air_on(_S.WATCHING),
    (_S.WATCHING, _E.OPENED): Row(_S.WATCHING, (_A.VENT,)),  # a late word of the puff
    (_S.WATCHING, _E.PUFF_OVER): Row(_S.WATCHING),
    (_S.WATCHING, _E.WATCH_PASSED): Row(_S.FILLING, (_A.OPEN_FULL,)),
    (_S.WATCHING, _E.READY_STALE): Row(_S.VENTING, (_A.SHUT_AND_VENT, _A.VOID)),
    **_air_on(_S.FILLING),
    (_S.FILLING, _E.OPENED): Row(_S.FILLING),
    (_S.FILLING, _E.SETTLED): Row(_S.ISOLATED, (_A.ISOLATE,)),
    (_S.FILLING, _E.HOLD_ASKED): Row(_S.HOLDING, (_A.RENEW,)),
    **_air_on(_S.HOLDING),
    (_S.HOLDING, _E.OPENED): Row(_S.HOLDING),
    (_S.HOLDING, _E.SETTLED): Row(_S.HOLDING),
    (_S.HOLDING, _E.HOLD_ASKED): Row(_S.HOLDING, (_A.RENEW,)),
    (_S.HOLDING, _E.HOLD_OVER): Row(_S.ISOLATED, (_A.ISOLATE,)),
    (_S.HOLDING, _E.AIR_RELEASED): Row(_S.VENTING, (_A.SHUT_AND_VENT, _A.COMPLETE)),
    **_air_on(_S.ISOLATED),
    (_S.ISOLATED, _E.OPENED): _ABORT,
    (_S.ISOLATED, _E.SETTLED): Row(_S.ISOLATED),
    (_S.ISOLATED, _E.ISOLATE_OVER): Row(_S.VENTING, (_A.VENT, _A.COMPLETE)),
    (_S.ISOLATED, _E.PRESSURE_GONE): Row(_S.VENTING, (_A.VENT, _A.COMPLETE)),  # a large leak has bled all of it
    (_S.ISOLATED, _E.AIR_RELEASED): Row(_S.VENTING, (_A.SHUT_AND_VENT, _A.COMPLETE)),
    (_S.VENTING, _E.PRESSURE_GONE): Row(_S.VENTED),
    (_S.VENTING, _E.AIR_ASKED): Row(_S.VENTING, (_A.REFUSE,)),
    (_S.VENTING, _E.SQUEEZE_ASKED): Row(_S.VENTING, (_A.REFUSE,)),
    (_S.VENTING, _E.STOP): _SAFE,
    (_S.VENTING, _E.OPENED): _ALARM,
    (_S.VENTING, _E.OVER_PRESSURE): _ALARM,
    **_stays(
        _S.VENTING,
        *(_E.LINK_LOST, _E.READY_MET, _E.READY_LOST, _E.CRANK_LEFT_WINDOW, _E.GAP, _E.DEVICE_TRIPPED, _E.DEVICE_FAULT),
        *(_E.PRESSURE_SEEN, _E.AIR_RELEASED, _E.SHUT_SEEN, _E.PUFF_OVER, _E.SQUEEZE_OVER, _E.ISOLATE_OVER, _E.SETTLED),
    ),
}

# Pressure that nobody was ready for makes whatever is then recorded void.
_TOO_EARLY = Row(_S.VENTING, (_A.BEGIN_CAPTURE, _A.SHUT_AND_VENT, _A.VOID, _A.SOUND_ALARM))

HAND_ROWS: dict[tuple[State, Event], Row] = {
    (_S.VENTED, _E.PRESSURE_SEEN): _TOO_EARLY,
    (_S.READY, _E.AIR_ASKED): Row(_S.READY, (_A.ADVISE_OPEN,)),
    (_S.READY, _E.PRESSURE_SEEN): Row(_S.FILLING, (_A.BEGIN_CAPTURE,)),
    (_S.FILLING, _E.SETTLED): Row(_S.FILLING, (_A.ADVISE_SHUT,)),
    (_S.FILLING, _E.SHUT_SEEN): Row(_S.ISOLATED),
    (_S.FILLING, _E.PRESSURE_GONE): Row(_S.VENTED, (_A.COMPLETE,)),  # vented by hand without a decay
    (_S.HOLDING, _E.HOLD_OVER): Row(_S.FILLING, (_A.ADVISE_SHUT,)),
    (_S.HOLDING, _E.SHUT_SEEN): Row(_S.ISOLATED),
    (_S.HOLDING, _E.PRESSURE_GONE): Row(_S.VENTED, (_A.COMPLETE,)),
    (_S.ISOLATED, _E.PRESSURE_GONE): Row(_S.VENTED, (_A.COMPLETE,)),
}
"""Rows that a rig with hand valves has instead. ARMED, PUFFING and WATCHING are never reached there: the person opens."""


def row(state: State, event: Event, valves: bool) -> Row | None:
    """The row of a pair on a rig with valves or with hand valves; None when the pair is illegal.

    >>> row(State.READY, Event.AIR_ASKED, valves=True).next_state.value
    'armed'
    >>> row(State.VENTED, Event.WATCH_PASSED, valves=True) is None
    True
    """
    if not valves and (state, event) in HAND_ROWS:
        return HAND_ROWS[state, event]
    return TABLE.get((state, event))


def diagram(valves: bool = True) -> str:
    """The table as a state diagram in mermaid's text form; pairs that stay where they are and do nothing are left out.

    >>> diagram().splitlines()[:2]
    ['stateDiagram-v2', '    [*] --> vented']
    """
    arrows: dict[tuple[State, State, tuple[Action, ...]], list[Event]] = {}
    for state in State:
        for event in Event:
            found = row(state, event, valves)
            if found is not None and (found.next_state is not state or found.actions):
                arrows.setdefault((state, found.next_state, found.actions), []).append(event)
    lines = ["stateDiagram-v2", "    [*] --> vented"]
    for (state, next_state, actions), events in arrows.items():
        done = f" / {', '.join(actions)}" if actions else ""
        lines.append(f"    {state} --> {next_state}: {', '.join(events)}{done}")
    return "\n".join(lines)
