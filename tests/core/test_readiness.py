"""The way to air: every state with every event, and air only along the allowed way, whatever happens in whatever order."""

from __future__ import annotations

from dataclasses import replace

import pytest
from borewright.core.conditions import CONDITION_NAMES, Condition
from borewright.core.readiness import Readiness
from borewright.core.readiness_table import AIR_ON, HAND_ROWS, TABLE, VOID_REASONS, Action, Event, State, diagram, row
from hypothesis import given, settings
from hypothesis import strategies as st

MET = tuple(Condition(name, True, "") for name in CONDITION_NAMES)
OPENINGS = {Action.OPEN_PUFF, Action.OPEN_FULL}
ALWAYS_LEGAL = {
    Event.LINK_LOST,
    Event.GAP,
    Event.OVER_PRESSURE,
    Event.DEVICE_TRIPPED,
    Event.DEVICE_FAULT,
    Event.PRESSURE_SEEN,
    Event.PRESSURE_GONE,
    Event.OPENED,
    Event.CRANK_LEFT_WINDOW,
    Event.READY_MET,
    Event.READY_LOST,
    Event.STOP,
    Event.AIR_RELEASED,
}
ENDS_AIR = {
    Event.LINK_LOST,
    Event.GAP,
    Event.OVER_PRESSURE,
    Event.DEVICE_TRIPPED,
    Event.DEVICE_FAULT,
    Event.CRANK_LEFT_WINDOW,
    Event.STOP,
}


def broken(name: str) -> tuple[Condition, ...]:
    return tuple(replace(c, met=c.name != name) for c in MET)


def walked(*events: Event, valves: bool = True, step_s: float = 0.5) -> tuple[Readiness, list[Action]]:
    readiness, done, now_s = Readiness(valves), [], 0.0
    for event in events:
        readiness, actions = readiness.apply(event, now_s, MET)
        done += actions
        now_s += step_s
    return readiness, done


TO_FILLING = (Event.READY_MET, Event.AIR_ASKED, Event.COUNTDOWN_OVER, Event.OPENED, Event.PUFF_OVER, Event.WATCH_PASSED)


def test_one_whole_test():
    readiness, actions = walked(*TO_FILLING, Event.OPENED, Event.SETTLED, Event.SHUT_SEEN, Event.ISOLATE_OVER, Event.PRESSURE_GONE)
    assert readiness.state is State.VENTED
    assert not readiness.locked
    assert readiness.illegal_count == 0
    assert actions == [
        Action.START_COUNTDOWN,
        Action.BEGIN_CAPTURE,
        Action.OPEN_PUFF,
        Action.VENT,
        Action.OPEN_FULL,
        Action.ISOLATE,
        Action.VENT,
        Action.COMPLETE,
    ]


def test_one_whole_test_by_hand():
    readiness, actions = walked(
        *(Event.READY_MET, Event.AIR_ASKED, Event.PRESSURE_SEEN, Event.READY_LOST, Event.SETTLED, Event.SHUT_SEEN),
        Event.PRESSURE_GONE,
        valves=False,
    )
    assert readiness.state is State.VENTED
    assert actions == [Action.ADVISE_OPEN, Action.BEGIN_CAPTURE, Action.ADVISE_SHUT, Action.COMPLETE]


def test_pressure_before_ready_by_hand_alarms_and_voids():
    readiness, actions = walked(Event.PRESSURE_SEEN, valves=False)
    assert readiness.state is State.VENTING
    assert readiness.locked
    assert {Action.SOUND_ALARM, Action.VOID, Action.SHUT_AND_VENT} <= set(actions)
    assert readiness.void_reason is not None


def test_hand_valve_pressure_after_ready_has_expired_is_too_early():
    ready, _ = Readiness(valves=False).apply(Event.READY_MET, 0.0, MET)
    late, actions = ready.apply(Event.PRESSURE_SEEN, 10.1, MET)
    assert late.state is State.VENTING
    assert Action.VOID in actions
    assert ready.apply(Event.PRESSURE_SEEN, 9.9, MET)[0].state is State.FILLING


@pytest.mark.parametrize("name", CONDITION_NAMES)
def test_everything_is_looked_at_again_at_the_opening(name: str):
    armed, _ = walked(Event.READY_MET, Event.AIR_ASKED)
    refused, actions = armed.apply(Event.COUNTDOWN_OVER, 1.0, broken(name))
    assert refused.state is State.VENTED
    assert actions == (Action.REFUSE,)


def test_ready_is_good_for_ten_seconds():
    ready, _ = Readiness().apply(Event.READY_MET, 100.0)
    refused, actions = ready.apply(Event.AIR_ASKED, 110.1, MET)
    assert (refused.state, actions) == (State.VENTED, (Action.REFUSE,))
    armed, _ = ready.apply(Event.AIR_ASKED, 109.0, MET)
    refused, actions = armed.apply(Event.COUNTDOWN_OVER, 110.1, MET)
    assert (refused.state, actions) == (State.VENTED, (Action.REFUSE,))
    assert armed.apply(Event.COUNTDOWN_OVER, 110.0, MET)[1] == (Action.BEGIN_CAPTURE, Action.OPEN_PUFF)
    assert ready.apply(Event.AIR_ASKED, 99.0, MET)[0].state is State.VENTED, "a clock that runs backwards is no freshness"


def test_ready_is_good_for_one_opening():
    readiness, _ = walked(*TO_FILLING, Event.AIR_RELEASED, Event.PRESSURE_GONE)
    again, actions = readiness.apply(Event.AIR_ASKED, 4.0, MET)
    assert (again.state, actions) == (State.VENTED, (Action.REFUSE,))


def test_a_full_opening_that_comes_too_late_is_none():
    watching, _ = walked(*TO_FILLING[:-1])
    late, actions = watching.apply(Event.WATCH_PASSED, 20.0, MET)
    assert late.state is State.VENTING
    assert actions == (Action.SHUT_AND_VENT, Action.VOID)
    assert late.void_reason == VOID_REASONS[Event.READY_STALE]


def test_letting_go_while_holding_keeps_the_reading():
    _, actions = walked(*TO_FILLING, Event.HOLD_ASKED, Event.SETTLED, Event.AIR_RELEASED)
    assert actions[-2:] == [Action.SHUT_AND_VENT, Action.COMPLETE]


def test_locked_until_the_pressure_is_gone():
    readiness, _ = walked(*TO_FILLING, Event.CRANK_LEFT_WINDOW)
    assert readiness.void_reason == VOID_REASONS[Event.CRANK_LEFT_WINDOW]
    for event in (Event.READY_MET, Event.AIR_ASKED, Event.SQUEEZE_ASKED, Event.LINK_LOST):
        readiness, actions = readiness.apply(event, 5.0, MET)
        assert readiness.state is State.VENTING
        assert readiness.locked
        assert not OPENINGS & set(actions)
    readiness, _ = readiness.apply(Event.PRESSURE_GONE, 6.0)
    assert not readiness.locked


@pytest.mark.parametrize("valves", [True, False])
@pytest.mark.parametrize("event", list(Event))
@pytest.mark.parametrize("state", list(State))
def test_every_state_with_every_event(state: State, event: Event, valves: bool):
    """Either a row that keeps the rules, or an illegal event that changes nothing and is recorded."""
    before = Readiness(valves, state=state, ready_at_s=0.0, pressurised=state in AIR_ON)
    after, actions = before.apply(event, 1.0, MET)
    found = row(state, event, valves)
    if found is None:
        assert event not in ALWAYS_LEGAL
        assert actions == ()
        assert after == replace(before, illegal=after.illegal, illegal_count=1)
        assert (after.illegal[0].state, after.illegal[0].event, after.illegal[0].at_s) == (state, event, 1.0)
        return
    assert after.state is found.next_state
    assert after.illegal == ()
    if Action.OPEN_PUFF in actions:
        assert (state, event) == (State.ARMED, Event.COUNTDOWN_OVER)
    if Action.OPEN_FULL in actions:
        assert (state, event) == (State.WATCHING, Event.WATCH_PASSED)
    if event in ENDS_AIR and state in AIR_ON:
        assert after.state is State.VENTING
        assert {Action.SHUT_AND_VENT, Action.VOID} <= set(actions)
    if event is Event.STOP:
        assert Action.SHUT_AND_VENT in actions
    if Action.VOID in actions:
        assert event in VOID_REASONS
    if after.state in AIR_ON and state not in AIR_ON:
        assert Action.BEGIN_CAPTURE in actions
    if state in AIR_ON and after.state not in AIR_ON:
        assert {Action.VOID, Action.COMPLETE} & set(actions), "a capture ends exactly once"
    assert len({Action.VOID, Action.COMPLETE} & set(actions)) <= 1


def test_every_state_is_reached_and_left():
    entered = {found.next_state for (state, _), found in TABLE.items() if found.next_state is not state}
    left = {state for (state, _), found in TABLE.items() if found.next_state is not state}
    assert entered == set(State)
    assert left == set(State)


def test_hand_rows_never_drive_a_valve():
    driven = {Action.OPEN_PUFF, Action.OPEN_FULL, Action.ISOLATE}
    assert not any(driven & set(found.actions) for found in HAND_ROWS.values())


def test_no_hand_valve_way_leads_to_an_opening():
    """Follow every event from every state that can be reached with hand valves."""
    reached, waiting = {State.VENTED}, [State.VENTED]
    while waiting:
        state = waiting.pop()
        for event in Event:
            found = row(state, event, valves=False)
            if found is None:
                continue
            assert not {Action.OPEN_PUFF, Action.OPEN_FULL, Action.ISOLATE} & set(found.actions)
            if found.next_state not in reached:
                reached.add(found.next_state)
                waiting.append(found.next_state)
    assert not {State.ARMED, State.PUFFING, State.WATCHING} & reached


@pytest.mark.parametrize("valves", [True, False])
def test_the_diagram_shows_every_row_that_does_something(valves: bool):
    lines = diagram(valves).splitlines()[2:]
    shown = {
        (line.split(" --> ")[0].strip(), event) for line in lines for event in line.split(": ", 1)[1].split(" / ")[0].split(", ")
    }
    rows = {**TABLE, **({} if valves else HAND_ROWS)}
    wanted = {(str(s), str(e)) for (s, e), found in rows.items() if found.next_state is not s or found.actions}
    assert shown == wanted


@st.composite
def happenings(draw: st.DrawFn) -> list[tuple[Event, float, str | None]]:
    """Events with the time that passes before each and the condition that is broken then, if any; mostly along the way to air."""
    likely = st.sampled_from([*TO_FILLING, *TO_FILLING[:3], Event.SETTLED, Event.PRESSURE_GONE])
    event = st.one_of(likely, st.sampled_from(list(Event)))
    after_s = st.one_of(st.floats(0.0, 2.0), st.floats(0.0, 15.0))
    wrong = st.one_of(st.none(), st.none(), st.sampled_from(CONDITION_NAMES))
    return draw(st.lists(st.tuples(event, after_s, wrong), max_size=60))


@settings(max_examples=400, deadline=None)
@given(happenings(), st.booleans())
def test_air_comes_only_along_the_allowed_way(happened: list[tuple[Event, float, str | None]], valves: bool):
    """The rules kept by a second book, written apart from the table."""
    readiness, now_s = Readiness(valves), 0.0
    met_at: float | None = None  # when all was last seen met and nothing came between
    asked = puffed = watched_on = False
    capture_open = False
    for event, after_s, wrong in happened:
        now_s += after_s
        conditions = MET if wrong is None else broken(wrong)
        before = readiness.state
        readiness, actions = readiness.apply(event, now_s, conditions)
        if Action.OPEN_PUFF in actions:
            assert valves
            assert event is Event.COUNTDOWN_OVER
            assert wrong is None
            assert asked
            assert met_at is not None
            assert now_s - met_at <= 10.0
            assert before is State.ARMED
            puffed, asked, opened_at_s = True, False, now_s
        if Action.OPEN_FULL in actions:
            assert puffed
            assert watched_on
            assert event is Event.WATCH_PASSED
            assert now_s - opened_at_s <= 10.0
            puffed = False
            met_at = None
        if event is Event.READY_MET and readiness.state in (State.READY, State.ARMED):
            met_at = now_s
        if event is Event.AIR_ASKED and readiness.state is State.ARMED:
            asked = True
        if event is Event.PUFF_OVER and puffed:
            watched_on = True
        if readiness.state not in (State.ARMED, State.READY, State.PUFFING, State.WATCHING):
            met_at, asked, puffed, watched_on = None, False, False, False
        if Action.BEGIN_CAPTURE in actions:
            assert not capture_open
            capture_open = True
        if {Action.VOID, Action.COMPLETE} & set(actions):
            assert capture_open
            capture_open = False
        assert capture_open is (readiness.state in AIR_ON)
        if readiness.state in AIR_ON:
            assert readiness.locked
        assert len(readiness.illegal) <= 16
