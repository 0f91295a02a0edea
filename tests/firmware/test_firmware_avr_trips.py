"""The interlock of the real program in the emulator: how long after each cause the valves are de-energised, in device time.

Bounds: 1 ms for crank, over-pressure and release, 500 ms for the host's silence, 120 ms for the watchdog, at once for a reset.
Source: the requirements of this project (hardware_notes adds the valves' own travel to them).
"""

from __future__ import annotations

import pytest
from avr_rig.child import Codes, Pin, PinEvent, ResetCause
from borewire.messages import (
    AirEvent,
    AirState,
    Cause,
    HostAlive,
    Message,
    SupplyOpen,
    SupplyShut,
    VentClose,
)

from .emulated import AT_REST, MS_CYCLES, ROUND_CYCLES, Change, Crank, Emulated, of_kind

REACTION_MS = 1.0
SILENCE_MS = 500.0
ROUNDS_OF_A_WORD = 4
LIMIT_RAW = 2000  # over what AT_REST gives: 4 × 300
OPENING = SupplyOpen(2, 7, 60_000, -20, 20, LIMIT_RAW, LIMIT_RAW)
VENTED = (False, False)


def only_change(board: Emulated, since: int) -> Change:
    """The supply is shut first, then the vent opened; both in the same look at the inputs. The later of the two."""
    after = [change for change in board.changes if change.cycle >= since]
    assert [change[1:] for change in after] == [(False, True), VENTED], after
    assert after[1].cycle - after[0].cycle < 100
    return after[1]


def last_air(board: Emulated) -> AirEvent:
    return of_kind(board.heard, AirEvent)[-1]


@pytest.mark.parametrize("direction", [1, -1])
@pytest.mark.parametrize("offset", [7, 1000, 3998, 15_990])
def test_crank_leaves_the_window(board: Emulated, direction: int, offset: int) -> None:
    board.open_air(OPENING)
    crank = Crank()
    at_the_edge = [event for k in range(20) for event in crank.step(direction, 1600 * k)]
    board.step(5, HostAlive(), pins=at_the_edge)
    assert board.outputs == (True, True)
    left = board.cycle + offset
    board.step(5, pins=crank.step(direction, offset))
    assert only_change(board, left).cycle - left <= REACTION_MS * MS_CYCLES
    event = last_air(board)
    assert (event.air, event.cause, event.crank_count) == (AirState.VENTED, Cause.CRANK_LEFT_WINDOW, 21 * direction)


@pytest.mark.parametrize("counts_per_s", [2_000, 30_000])
def test_crank_runs_through_the_window(board: Emulated, counts_per_s: int) -> None:
    """Told with the count of the trip, not with a later one."""
    board.open_air(OPENING)
    began = board.cycle
    board.step(20, pins=Crank().turn(20 * MS_CYCLES, counts_per_s))
    leaves = began + 20 * 16_000_000 // counts_per_s  # the 21st edge; the first comes at once
    assert 0 <= only_change(board, began).cycle - leaves <= REACTION_MS * MS_CYCLES
    assert last_air(board).crank_count == 21


def over(code: int, channel: int) -> Codes:
    codes = list(AT_REST)
    codes[channel] = code
    return codes[0], codes[1], codes[2], codes[3]


PHASES_MS = [0.0, 0.11, 0.24]  # of a round of conversions, which takes 0.25 ms


@pytest.mark.parametrize("phase_ms", PHASES_MS)
@pytest.mark.parametrize(("channel", "cause"), [(0, Cause.OVER_PRESSURE_REGULATED), (1, Cause.OVER_PRESSURE_CYLINDER)])
def test_over_pressure(board: Emulated, channel: int, cause: Cause, phase_ms: float) -> None:
    """A rise of the voltage, 0.4 V in a millisecond: 1 ms from where it passes the limit, wherever in a round that is."""
    board.open_air(OPENING)
    board.step(1 + phase_ms)
    began = board.cycle
    ramp = [420 + 20 * k for k in range(30)]
    board.step(7.5, codes=[over(code, channel) for code in ramp])
    passes = began + next(k for k, code in enumerate(ramp) if 4 * code > LIMIT_RAW) * ROUND_CYCLES
    assert 0 <= only_change(board, began).cycle - passes <= REACTION_MS * MS_CYCLES
    assert (last_air(board).air, last_air(board).cause) == (AirState.VENTED, cause)


@pytest.mark.parametrize("phase_ms", PHASES_MS)
@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize(("code", "conversions"), [(850, 2), (580, 3), (550, 4)])
def test_jump_of_pressure(board: Emulated, channel: int, code: int, conversions: int, phase_ms: float) -> None:
    """The raw word adds up four conversions; a jump is over the limit with as many of them as it takes.

    Sums by hand, from the codes of AT_REST: 2 · 300 + 2 · 850, 300 + 3 · 580 and 4 · 550 are over 2000, and so from 290.
    """
    board.open_air(OPENING)
    board.step(1 + phase_ms)
    jumped = board.cycle
    board.step(5, codes=[over(code, channel)])
    reaction = only_change(board, jumped).cycle - jumped - (conversions - 1) * ROUND_CYCLES
    assert 0 <= reaction <= ROUND_CYCLES + 0.2 * MS_CYCLES, "the next conversion, and what it takes to act on it"


@pytest.mark.parametrize("channel", [0, 1])
def test_smallest_over_pressure(board: Emulated, channel: int) -> None:
    """From the limit to one raw unit over it: the word is over with one conversion, and at the limit it is not over."""
    board.open_air(OPENING)
    at_limit = over(LIMIT_RAW // 4, channel)
    board.step(20, codes=[at_limit])
    assert board.outputs == (True, True)
    jumped = board.cycle
    board.step(5, codes=[over(LIMIT_RAW // 4 + 1, channel), at_limit])
    assert only_change(board, jumped).cycle - jumped <= ROUND_CYCLES + REACTION_MS * MS_CYCLES


def test_slow_rise_of_pressure(board: Emulated) -> None:
    """0.01 V in a millisecond: from the first word that is over the limit on, 1 ms."""
    board.open_air(OPENING)
    began = board.cycle
    ramp = [480 + k // 2 for k in range(80)]
    board.step(20, codes=[over(code, 1) for code in ramp])
    round_over = next(k for k in range(3, 80) if sum(ramp[k - ROUNDS_OF_A_WORD + 1 : k + 1]) > LIMIT_RAW)
    seen = only_change(board, began).cycle - began - round_over * ROUND_CYCLES
    assert 0 <= seen <= REACTION_MS * MS_CYCLES


def test_one_conversion_that_is_noise_does_not_trip(board: Emulated) -> None:
    """AT_REST leaves 800 raw to the limit: one code of 1023 among four takes 723 of it."""
    board.open_air(OPENING)
    board.step(20, codes=[AT_REST] * 10 + [over(1023, 0), AT_REST])
    assert board.outputs == (True, True)


@pytest.mark.parametrize("offset", [7, 1000, 3998, 9_500])
def test_hold_is_released(board: Emulated, offset: int) -> None:
    board.open_air(OPENING)
    released = board.cycle + offset
    board.step(10, pins=[PinEvent(offset, Pin.HOLD, 0)])
    assert only_change(board, released).cycle - released <= REACTION_MS * MS_CYCLES
    assert last_air(board).cause == Cause.HOLD_RELEASED


@pytest.mark.parametrize("after", [OPENING, SupplyShut(9, 100_000)])
def test_host_is_silent(board: Emulated, after: Message) -> None:
    """Counted from the last octet of the last good frame; also with the supply shut for the decay."""
    board.open_air(OPENING)
    board.step(5, after)
    began = board.cycle
    board.step(5, HostAlive())
    frame_end = began + 6 * 10 * 16_000_000 // board.child.baud
    heard_then = len(board.changes)
    board.step(490)
    assert board.outputs[1], "the host has not been silent for 500 ms yet"
    board.step(20)
    assert board.outputs == VENTED
    off = next(change for change in board.changes[heard_then:] if change[1:] == VENTED)
    assert (SILENCE_MS - 1) * MS_CYCLES <= off.cycle - frame_end <= (SILENCE_MS + REACTION_MS) * MS_CYCLES
    assert last_air(board).cause == Cause.HOST_SILENT


@pytest.mark.parametrize(
    ("renewed", "limit_ms", "cause"),
    [(OPENING, 200, Cause.TIME_LIMIT), (VentClose(3, 250, LIMIT_RAW), 250, Cause.TIME_LIMIT)],
)
def test_time_limit(board: Emulated, renewed: SupplyOpen | VentClose, limit_ms: int, cause: Cause) -> None:
    board.boot()
    board.stream()
    board.step(50, pins=[PinEvent(0, Pin.HOLD, 1)])
    if isinstance(renewed, SupplyOpen):
        renewed = SupplyOpen(2, 7, limit_ms, -20, 20, LIMIT_RAW, LIMIT_RAW)
    board.step(5, renewed)
    on = board.changes[-1].cycle
    assert board.outputs[1]
    board.keep_alive(limit_ms + 50)
    assert board.outputs == VENTED
    assert (limit_ms - 1) * MS_CYCLES <= board.changes[-1].cycle - on <= (limit_ms + REACTION_MS) * MS_CYCLES
    assert last_air(board).cause == cause


@pytest.mark.parametrize("cause", list(ResetCause))
def test_reset(board: Emulated, cause: ResetCause) -> None:
    """The pins float, so the pull-downs at the gates have the valves: off at once, and off afterwards."""
    board.open_air(OPENING)
    reset_at = board.cycle
    board.reset(cause, held_ms=20)
    assert [change for change in board.changes if change.cycle >= reset_at] == [Change(reset_at, *VENTED)]
    board.step(500)
    assert board.outputs == VENTED
    assert last_air(board).cause == Cause.POWER_UP
    assert board.resets == 1


def test_watchdog(board: Emulated) -> None:
    """The main loop stands still: a reset within 120 ms, whatever the interrupts go on doing; and then a normal start."""
    board.open_air(OPENING)
    hung_at = board.cycle
    board.hang()
    board.step(200, HostAlive())
    assert board.resets == 1
    off = [change for change in board.changes if change.cycle >= hung_at]
    assert [change[1:] for change in off] == [VENTED]
    assert off[0].cycle - hung_at <= 120 * MS_CYCLES
    assert last_air(board).cause == Cause.POWER_UP
    board.keep_alive(1000)
    assert board.resets == 1, "the watchdog has been set up anew, and is petted"


def test_interrupts_keep_the_interlock_while_the_main_loop_hangs(board: Emulated) -> None:
    board.open_air(OPENING)
    board.hang()
    left = board.cycle
    board.step(10, pins=[event for k in range(21) for event in Crank(k).step(1, 1600 * k)])
    assert only_change(board, left).cycle - (left + 20 * 1600) <= REACTION_MS * MS_CYCLES
    assert board.resets == 0, "the crank was faster than the watchdog"


def test_edges_that_leave_no_time_for_anything_else_end_vented(board: Emulated) -> None:
    """Noise on both wires of the encoder, 400 000 edges a second: neither main loop nor clock goes on, but the watchdog does."""
    board.open_air(SupplyOpen(2, 7, 60_000, -2_000_000_000, 2_000_000_000, LIMIT_RAW, LIMIT_RAW))
    began = board.cycle
    noise = Crank()
    for _ in range(7):
        board.step(20, pins=noise.turn(20 * MS_CYCLES, 400_000))
    assert board.outputs == VENTED
    assert board.changes[-1].cycle - began <= 120 * MS_CYCLES
