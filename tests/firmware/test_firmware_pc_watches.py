"""Every watch of the interlock's table in every state it names, its time in device time, on the firmware on the PC.

The bounds: 1 ms for the crank, the pressures and the switch, and 500 ms of the host's silence, are those of the project's design (a
release of air must not wait for a message); the others are the times of interlock.toml. Time is that of the child: cycles of
a 16 MHz clock.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest
from avr_rig.child import Pin
from borewire.codec import encode
from borewire.framing import frame_of
from borewire.interlock import TABLE
from borewire.messages import Ack, AirEvent, AirState, Cause, HostAlive, StreamStart, StreamStop, SupplyShut, VentOpen

from .pc_child import LIMIT_RAW, MS, OVER_CODE, TICKS_PER_MS, Bench, bench, close_command, only, open_command

SOON_MS = 1
CYCLES_PER_TICK = MS // TICKS_PER_MS
SATURATED_MS = TABLE.sensor_fault_samples


@dataclass(frozen=True)
class Trip:
    """What makes a watch hold: `act` does it and lets time pass until it has surely tripped. Returns nothing.

    after_ms: how long after the beginning of the act the watch holds, and within how many more the outputs must be de-energised.
    """

    act: Callable[[Bench], list[object]]
    after_ms: float = 0.0
    within_ms: float = SOON_MS


def codes(regulated: int, cylinder: int) -> Callable[[Bench], list[object]]:
    def act(rig: Bench) -> list[object]:
        rig.codes = (regulated, cylinder, 300, 225)
        return list(rig.run(12))

    return act


def keep_alive(rig: Bench, ms: int) -> list[object]:
    heard: list[object] = []
    for _ in range(ms // 50):
        heard += rig.run(50, HostAlive())
    return heard


LIMIT_MS = 1000  # of the states in these tests
TRIPS = {
    Cause.CRANK_LEFT_WINDOW: Trip(lambda rig: list(rig.turn(21, every_cycles=320, ms=5)), after_ms=20 * 320 / MS),
    Cause.OVER_PRESSURE_REGULATED: Trip(codes(OVER_CODE + 250, 300)),
    Cause.OVER_PRESSURE_CYLINDER: Trip(codes(300, OVER_CODE + 250)),
    Cause.HOLD_RELEASED: Trip(lambda rig: list(rig.hold(False))),
    Cause.HOST_SILENT: Trip(lambda rig: list(rig.run(520)), after_ms=TABLE.host_silence_ms),
    Cause.TIME_LIMIT: Trip(lambda rig: keep_alive(rig, 1100), after_ms=LIMIT_MS),
    # at the lower end, because the upper one is over every pressure limit; the fifth sample is complete after 5 ms at most
    Cause.SENSOR_FAULT: Trip(codes(0, 300), after_ms=SATURATED_MS - 1, within_ms=2 + SOON_MS),
    Cause.STREAM_STOPPED: Trip(lambda rig: list(rig.run(5, StreamStop(rig.request_id())))),
}
ROWS = [(row.cause, state) for row in TABLE.watches for state in row.in_states]


def bring_to(rig: Bench, state: AirState) -> None:
    """The state, with a time limit of LIMIT_MS, which began when the outputs changed last."""
    if state is AirState.CLOSED:
        answers = rig.answers(close_command(time_limit_ms=LIMIT_MS), ms=3)
    else:
        answers = rig.answers(open_command(time_limit_ms=LIMIT_MS), ms=3)
    if state is AirState.ISOLATED:
        answers = rig.answers(SupplyShut(rig.request_id(), LIMIT_MS), ms=3)
    ack, event = answers
    assert isinstance(ack, Ack)
    assert (event.air, rig.driven) == (state, (state is AirState.OPEN, True))


def test_there_is_a_trip_for_each_watch_of_the_table() -> None:
    assert list(TRIPS) == [row.cause for row in TABLE.watches]


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0].name.lower()}-{row[1].name.lower()}")
def test_each_watch_shuts_and_vents_in_time(row: tuple[Cause, AirState]) -> None:
    cause, state = row
    trip = TRIPS[cause]
    with bench(ready=True) as rig:
        bring_to(rig, state)
        began = rig.outputs[-1][0] if cause in (Cause.HOST_SILENT, Cause.TIME_LIMIT) else rig.cycle
        events = only(AirEvent, trip.act(rig))  # type: ignore[arg-type]
        assert [(event.air, event.cause) for event in events] == [(AirState.VENTED, cause)]
        cycle, supply, vent = rig.outputs[-1]
        assert (supply, vent) == (False, False)
        assert trip.after_ms <= (cycle - began) / MS <= trip.after_ms + trip.within_ms
        assert events[0].device_tick == cycle // CYCLES_PER_TICK


def test_the_crank_at_the_edge_of_the_window_is_inside_and_one_count_further_outside() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command(window_low_count=-3, window_high_count=2))
        assert only(AirEvent, rig.turn(2, ms=10)) == []
        assert only(AirEvent, rig.turn(-5, ms=10)) == []
        pins = rig.edges(-1, from_cycle=777)
        began = rig.cycle
        (event,) = only(AirEvent, rig.run(10, pins=pins))
        assert (event.cause, event.crank_count) == (Cause.CRANK_LEFT_WINDOW, -4)
        assert rig.outputs[-1] == (began + 777, False, False)  # in the interrupt of the edge itself


def test_a_short_way_out_of_the_window_and_back_is_noticed() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command(window_low_count=0, window_high_count=0))
        pins = rig.edges(1, from_cycle=100)
        pins += rig.edges(-1, from_cycle=200)
        (event,) = only(AirEvent, rig.run(10, pins=pins))
        assert (event.cause, event.crank_count) == (Cause.CRANK_LEFT_WINDOW, 1)


@pytest.mark.parametrize("channel", [0, 1])
def test_a_pressure_at_its_limit_is_not_over_it(channel: int) -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command())
        at, over = [300, 300, 300, 225], [300, 300, 300, 225]
        at[channel], over[channel] = LIMIT_RAW // 4, OVER_CODE
        rig.codes = (at[0], at[1], at[2], at[3])
        assert only(AirEvent, rig.run(20)) == []
        rig.codes = (over[0], over[1], over[2], over[3])
        began = rig.cycle
        (event,) = only(AirEvent, rig.run(20))
        assert event.cause is (Cause.OVER_PRESSURE_REGULATED, Cause.OVER_PRESSURE_CYLINDER)[channel]
        assert rig.outputs[-1][0] - began <= SOON_MS * MS


def test_release_is_seen_even_when_the_contact_closes_again() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command())
        bounce = [(0, Pin.HOLD, 0), (MS // 2, Pin.HOLD, 1), (MS, Pin.HOLD, 0), (2 * MS, Pin.HOLD, 1)]
        events = only(AirEvent, rig.run(30, pins=bounce))
        assert [event.cause for event in events] == [Cause.HOLD_RELEASED]


def test_any_good_frame_keeps_the_air_on_and_a_bad_one_does_not() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command())
        unknown = frame_of(0x7F, b"of a newer minor version")
        for _ in range(4):
            assert only(AirEvent, rig.run(400, octets=unknown)) == []
        (event,) = only(AirEvent, rig.run(400, octets=b"\0noise\0") + rig.run(110, octets=b"\0noise\0"))
        assert event.cause is Cause.HOST_SILENT


def test_the_device_s_own_frames_that_come_back_keep_no_air_on() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command())
        own = encode(Ack(1, 4, 0)) + frame_of(0x80, b"")
        (event,) = only(AirEvent, rig.run(400, octets=own) + rig.run(110, octets=own))
        assert event.cause is Cause.HOST_SILENT


# two acts at the same moment; the cause that the table names first is told
@pytest.mark.parametrize(
    ("changes", "cause"),
    [
        ({"codes": (OVER_CODE + 250, OVER_CODE + 250, 300, 225)}, Cause.OVER_PRESSURE_REGULATED),
        ({"codes": (300, OVER_CODE + 400, 300, 225), "release": 1}, Cause.OVER_PRESSURE_CYLINDER),
        ({"codes": (OVER_CODE + 400, 300, 300, 225), "turn": 1}, Cause.CRANK_LEFT_WINDOW),
        ({"release": 1, "stop": 1}, Cause.HOLD_RELEASED),
    ],
    ids=str,
)
def test_of_several_watches_that_hold_the_first_of_the_table_is_told(changes: dict[str, object], cause: Cause) -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command(window_low_count=0, window_high_count=0, limit_regulated_raw=1999, limit_cylinder_raw=1999))
        # the raw words stand just under their limits, so that one conversion carries them over
        rig.codes = (499, 499, 300, 225)
        assert only(AirEvent, rig.run(10)) == []
        messages = [StreamStop(rig.request_id())] if "stop" in changes else []
        pins: list[tuple[int, int, int]] = list(rig.edges(1)) if "turn" in changes else []
        if "release" in changes:
            pins.append((0, Pin.HOLD, 0))
        rig.codes = changes.get("codes", rig.codes)  # type: ignore[assignment]
        events = only(AirEvent, rig.run(20, *messages, pins=pins))
        assert [event.cause for event in events] == [cause]


def test_another_rate_is_the_end_of_the_stream_before() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command())
        events = rig.answers(StreamStart(rig.request_id(), 500, 8))
        assert [type(event) for event in events] == [Ack, AirEvent]
        assert events[1].cause is Cause.STREAM_STOPPED


@pytest.mark.parametrize(
    ("command", "state", "cause"),
    [
        (SupplyShut(9, 0), AirState.VENTED, Cause.COMMAND_SHUT),
        (SupplyShut(9, 500), AirState.ISOLATED, Cause.COMMAND_SHUT),
        (VentOpen(9), AirState.VENTED, Cause.COMMAND_VENT),
    ],
    ids=str,
)
def test_commands_change_the_state_once(command: SupplyShut | VentOpen, state: AirState, cause: Cause) -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command())
        ack, event = rig.answers(command)
        assert (type(ack), event.air, event.cause, event.opening_id) == (Ack, state, cause, 7)
        assert rig.driven == (False, state is AirState.ISOLATED)
        (again,) = rig.answers(command)  # a repeat gives what once gives
        assert isinstance(again, Ack)


def test_isolating_starts_a_time_of_its_own_and_a_repeat_does_not_prolong_it() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command(time_limit_ms=100))
        rig.answers(SupplyShut(1, 300), ms=1)
        began = rig.cycle
        rig.run(150, HostAlive())
        rig.run(150, SupplyShut(2, 300))
        (event,) = only(AirEvent, rig.run(5))
        assert event.cause is Cause.TIME_LIMIT
        assert 299 * MS <= rig.outputs[-1][0] - began <= 301 * MS


def test_air_from_the_squeeze_is_let_in_without_venting_between() -> None:
    with bench(ready=True) as rig:
        rig.answers(close_command())
        rig.answers(open_command())
        assert [change[1:] for change in rig.outputs] == [(False, True), (True, True)]
