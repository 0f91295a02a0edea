"""Every row by which the interlock's table refuses a command, and the order of the rows, on the firmware on the PC."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from avr_rig.child import Pin
from borewire.interlock import TABLE
from borewire.messages import (
    Ack,
    AirEvent,
    AirState,
    FaultCode,
    FaultEvent,
    IdentifyRequest,
    Message,
    RefusalReason,
    Refused,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    SupplyShut,
    VentOpen,
)

from .pc_child import LIMIT_RAW, OVER_CODE, QUIET, Bench, bench, close_command, only, open_command

# the largest raw word is 4 × 1023; at it a channel is saturated (config.h, PROTOCOL.md section 10, ChannelDescription)
RAW_MAX = 4092


def status(rig: Bench) -> Status:
    (told,) = rig.answers(StatusRequest(rig.request_id()))
    assert isinstance(told, Status)
    return told


def unchanged(before: Status, after: Status) -> bool:
    return (before.air, before.supply, before.vent, before.opening_id, before.streaming) == (
        after.air,
        after.supply,
        after.vent,
        after.opening_id,
        after.streaming,
    )


def refused(rig: Bench, command: Message, reason: RefusalReason) -> None:
    """The command is refused with the reason, counted, and has changed nothing."""
    before, outputs = status(rig), list(rig.outputs)
    (answer,) = rig.answers(command)
    assert isinstance(answer, Refused), f"{answer} where a refusal is due"
    assert (answer.request_id, answer.command, answer.reason) == (getattr(command, "request_id", None), command.TYPE, reason)
    after = status(rig)
    assert unchanged(before, after)
    assert after.commands_refused == before.commands_refused + 1
    assert rig.outputs == outputs


def stop(rig: Bench) -> None:
    assert isinstance(rig.answer(StreamStop(rig.request_id())), Ack)


def saturate(rig: Bench) -> None:
    rig.codes = (1023, 300, 300, 225)
    faults = only(FaultEvent, rig.run(TABLE.sensor_fault_samples + 2))
    assert [fault.fault for fault in faults] == [FaultCode.SENSOR_REGULATED_RANGE]


def end_opening(rig: Bench) -> None:
    rig.answers(open_command(opening_id=7))
    rig.answers(VentOpen(rig.request_id()))


def press_too_much(rig: Bench) -> None:
    rig.codes = (300, OVER_CODE, 300, 225)
    rig.run(2)


def nothing(_: Bench) -> None:
    """The situation lies in the command alone."""


def opened(rig: Bench) -> None:
    assert isinstance(rig.answer(open_command(opening_id=7)), Ack)


# what makes a row hold, and the command that then is refused by it
Situation = tuple[Callable[[Bench], object], Message]
SITUATIONS: dict[tuple[str, RefusalReason], Situation] = {
    ("SupplyOpen", RefusalReason.LIMITS_INVALID): (nothing, open_command(opening_id=0)),
    ("SupplyOpen", RefusalReason.NOT_STREAMING): (stop, open_command()),
    ("SupplyOpen", RefusalReason.FAULT_PRESENT): (saturate, open_command()),
    ("SupplyOpen", RefusalReason.OPENING_OVER): (end_opening, open_command(opening_id=7)),
    ("SupplyOpen", RefusalReason.OUTSIDE_WINDOW): (lambda rig: rig.turn(21, ms=1), open_command()),
    ("SupplyOpen", RefusalReason.OVER_PRESSURE): (press_too_much, open_command()),
    ("SupplyOpen", RefusalReason.HOLD_NOT_PRESSED): (lambda rig: rig.hold(False), open_command()),
    ("SupplyShut", RefusalReason.LIMITS_INVALID): (nothing, SupplyShut(5, TABLE.isolate_max_ms + 1)),
    ("VentClose", RefusalReason.AIR_IS_ON): (opened, close_command()),
    ("VentClose", RefusalReason.LIMITS_INVALID): (nothing, close_command(time_limit_ms=0)),
    ("VentClose", RefusalReason.NOT_STREAMING): (stop, close_command()),
    ("VentClose", RefusalReason.FAULT_PRESENT): (saturate, close_command()),
    ("VentClose", RefusalReason.OVER_PRESSURE): (press_too_much, close_command()),
}
ROWS = [(row.command, refusal.reason) for row in TABLE.commands for refusal in row.refuse]


def test_there_is_a_situation_for_each_row_of_the_table() -> None:
    assert list(SITUATIONS) == ROWS


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row[0]}-{row[1].name.lower()}")
def test_each_row_of_the_table_refuses(row: tuple[str, RefusalReason]) -> None:
    prepare, command = SITUATIONS[row]
    with bench(ready=True) as rig:
        prepare(rig)
        refused(rig, command, row[1])


@pytest.mark.parametrize(
    "command",
    [
        open_command(time_limit_ms=0),
        open_command(time_limit_ms=TABLE.time_limit_max_ms + 1),
        open_command(window_low_count=21),
        open_command(limit_regulated_raw=RAW_MAX),
        open_command(limit_cylinder_raw=RAW_MAX),
        close_command(time_limit_ms=TABLE.close_limit_max_ms + 1),
        close_command(limit_cylinder_raw=RAW_MAX),
    ],
    ids=str,
)
def test_each_way_in_which_limits_are_invalid(command: Message) -> None:
    with bench(ready=True) as rig:
        refused(rig, command, RefusalReason.LIMITS_INVALID)


@pytest.mark.parametrize(
    "command",
    [
        open_command(time_limit_ms=TABLE.time_limit_max_ms, limit_regulated_raw=RAW_MAX - 1, limit_cylinder_raw=RAW_MAX - 1),
        open_command(time_limit_ms=1, window_low_count=0, window_high_count=0),
        close_command(time_limit_ms=TABLE.close_limit_max_ms, limit_cylinder_raw=RAW_MAX - 1),
        SupplyShut(9, TABLE.isolate_max_ms),
        # a value at a limit is not over it
        open_command(limit_regulated_raw=4 * QUIET[0], limit_cylinder_raw=4 * QUIET[1]),
        close_command(limit_cylinder_raw=4 * QUIET[1]),
    ],
    ids=str,
)
def test_the_last_limits_that_are_valid_are_taken(command: Message) -> None:
    with bench(ready=True) as rig:
        assert isinstance(rig.answer(command), Ack)


def test_a_channel_beyond_the_limit_refuses_whichever_it_is() -> None:
    with bench(ready=True) as rig:
        for codes in ((OVER_CODE, 300, 300, 225), (300, OVER_CODE, 300, 225)):
            rig.codes = codes
            rig.run(2)
            refused(rig, open_command(), RefusalReason.OVER_PRESSURE)
        rig.codes = (OVER_CODE, 300, 300, 225)
        rig.run(2)
        assert isinstance(rig.answer(close_command()), Ack)  # the squeeze looks at the cylinder alone


def test_of_several_rows_that_hold_the_first_of_the_table_refuses_an_opening() -> None:
    """All rows are made to hold, then cured from the first to the last: each time the next one is told."""
    with bench(ready=True) as rig:
        rig.answers(open_command(opening_id=7))
        rig.answers(VentOpen(rig.request_id()))
        rig.codes = (1023, OVER_CODE, 300, 225)
        rig.turn(21)
        rig.hold(False)
        rig.answers(StreamStop(rig.request_id()))
        refused(rig, open_command(opening_id=7, time_limit_ms=0), RefusalReason.LIMITS_INVALID)
        refused(rig, open_command(opening_id=7), RefusalReason.NOT_STREAMING)
        rig.answers(StreamStart(rig.request_id(), 1000, 8))
        refused(rig, open_command(opening_id=7), RefusalReason.FAULT_PRESENT)
        rig.codes = (OVER_CODE, OVER_CODE, 300, 225)
        rig.run(2)
        refused(rig, open_command(opening_id=7), RefusalReason.OPENING_OVER)
        refused(rig, open_command(opening_id=8), RefusalReason.OUTSIDE_WINDOW)
        rig.turn(-1)
        refused(rig, open_command(opening_id=8), RefusalReason.OVER_PRESSURE)
        rig.codes = QUIET
        rig.run(2)
        refused(rig, open_command(opening_id=8), RefusalReason.HOLD_NOT_PRESSED)
        rig.hold(True)
        assert isinstance(rig.answer(open_command(opening_id=8)), Ack)


def test_of_several_rows_that_hold_the_first_of_the_table_refuses_a_squeeze() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command())
        refused(rig, close_command(time_limit_ms=0), RefusalReason.AIR_IS_ON)
        rig.answers(SupplyShut(rig.request_id(), 1000))
        refused(rig, close_command(time_limit_ms=0), RefusalReason.AIR_IS_ON)
        rig.answers(StreamStop(rig.request_id()))
        rig.codes = (1023, OVER_CODE, 300, 225)
        rig.run(TABLE.sensor_fault_samples + 2)
        refused(rig, close_command(time_limit_ms=0), RefusalReason.LIMITS_INVALID)
        refused(rig, close_command(), RefusalReason.NOT_STREAMING)
        rig.answers(StreamStart(rig.request_id(), 1000, 8))
        refused(rig, close_command(), RefusalReason.FAULT_PRESENT)
        rig.codes = (300, OVER_CODE, 300, 225)
        rig.run(2)
        refused(rig, close_command(), RefusalReason.OVER_PRESSURE)
        rig.codes = (300, LIMIT_RAW // 4, 300, 225)
        rig.run(2)
        assert isinstance(rig.answer(close_command()), Ack)


@pytest.mark.parametrize("command", [open_command(), SupplyShut(2, 0), VentOpen(3), close_command()], ids=str)
def test_a_rig_with_hand_valves_refuses_all_that_moves_valves(command: Message) -> None:
    with bench(valves=False, ready=True) as rig:
        refused(rig, command, RefusalReason.NO_VALVES)
        assert status(rig).air is AirState.NO_VALVES
        assert rig.outputs == []


def test_another_opening_is_refused_while_one_is_open_or_isolated() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command(opening_id=7))
        refused(rig, open_command(opening_id=8), RefusalReason.OPENING_OVER)
        rig.answers(SupplyShut(rig.request_id(), 1000))
        refused(rig, open_command(opening_id=8), RefusalReason.OPENING_OVER)
        refused(rig, open_command(opening_id=7), RefusalReason.OPENING_OVER)


def test_the_last_sixteen_openings_are_remembered() -> None:
    """The number is that of PROTOCOL.md section 7."""
    with bench(ready=True) as rig:
        for opening_id in range(1, 21):
            assert isinstance(rig.answer(open_command(opening_id=opening_id)), Ack)
            rig.answers(VentOpen(rig.request_id()))
        for opening_id in range(20, 20 - 16, -1):
            refused(rig, open_command(opening_id=opening_id), RefusalReason.OPENING_OVER)


def test_an_opening_that_a_watch_has_ended_is_over_too() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command(opening_id=7))
        rig.hold(False)
        rig.hold(True)
        refused(rig, open_command(opening_id=7), RefusalReason.OPENING_OVER)
        rig.answers(close_command())
        refused(rig, open_command(opening_id=7), RefusalReason.OPENING_OVER)


def test_a_renewal_takes_over_time_window_and_limits_and_is_no_change() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command(time_limit_ms=100))
        outputs = list(rig.outputs)
        rig.run(80)
        (answer,) = rig.answers(open_command(time_limit_ms=200, window_high_count=40, limit_cylinder_raw=2400))
        assert isinstance(answer, Ack)
        rig.codes = (300, 600, 300, 225)
        rig.turn(40)
        rig.run(100)
        assert status(rig).air is AirState.OPEN
        assert rig.outputs == outputs
        refused(rig, open_command(limit_cylinder_raw=2399, window_high_count=40), RefusalReason.OVER_PRESSURE)
        (event,) = only(AirEvent, rig.run(100))
        assert event.air is AirState.VENTED


@pytest.mark.parametrize(
    ("command", "reason"),
    [
        (IdentifyRequest(1, 2, 0), RefusalReason.VERSION_UNSUPPORTED),
        (IdentifyRequest(1, 0, 0), RefusalReason.VERSION_UNSUPPORTED),
        (StreamStart(1, 0, 8), RefusalReason.RATE_UNSUPPORTED),
        (StreamStart(1, 300, 8), RefusalReason.RATE_UNSUPPORTED),
        (StreamStart(1, 2000, 8), RefusalReason.RATE_UNSUPPORTED),
        (StreamStart(1, 999, 0), RefusalReason.RATE_UNSUPPORTED),
        (StreamStart(1, 1000, 0), RefusalReason.BLOCK_TOO_LARGE),
        (StreamStart(1, 1000, 9), RefusalReason.BLOCK_TOO_LARGE),
    ],
    ids=str,
)
def test_another_version_rate_or_block_is_refused(command: Message, reason: RefusalReason) -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command())
        refused(rig, command, reason)


def test_a_rig_without_a_switch_opens_without_one() -> None:
    with bench(hold=False) as rig:
        rig.run(20)
        assert rig.run(20, pins=[(0, Pin.HOLD, 1)]) == []
        rig.run(20, StreamStart(1, 1000, 8))
        ack, event = rig.answers(open_command())
        assert (type(ack), event.air) == (Ack, AirState.OPEN)
