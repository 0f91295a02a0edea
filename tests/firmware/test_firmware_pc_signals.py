"""Encoder, index, switch, converter and memory of the firmware on the PC: what it counts, and the faults that it finds."""

from __future__ import annotations

from pathlib import Path

import pytest
from avr_rig.child import Pin, PinEvent, ResetCause
from borewire.messages import (
    Ack,
    FaultCode,
    FaultEvent,
    HoldEvent,
    HoldState,
    IdentifyRequest,
    Identity,
    IndexEvent,
    Status,
    StatusRequest,
)

from .pc_child import MS, TICKS_PER_MS, Bench, bench, only, open_command

COUNTS_PER_REV = 4096
CYCLES_PER_TICK = 8
DEBOUNCE_MS = 10  # hold.h


def count(rig: Bench) -> int:
    told: Status = rig.answer(StatusRequest(1))
    return told.crank_count


def pulse(rig: Bench, ms: float = 1) -> list[IndexEvent | FaultEvent]:
    """The index passes where the crank stands."""
    heard = rig.run(ms, pins=[(100, Pin.INDEX, 1), (300, Pin.INDEX, 0)])
    return [event for event in heard if isinstance(event, IndexEvent | FaultEvent)]


# ---- crank ----


def test_the_crank_is_counted_both_ways_at_every_edge() -> None:
    with bench() as rig:
        rig.run(20)
        for step in (1, 1, 1, 1, 1, -1, -1, -1, -7, 300, -1000):
            rig.turn(step, every_cycles=270, ms=1)
            assert count(rig) == rig.count
        assert rig.count == -705


def test_the_encoder_may_stand_anywhere_at_power_up() -> None:
    with bench() as rig:
        rig.turn(2, ms=20)
        rig.reset(ResetCause.RESET_PIN)
        rig.run(20)
        assert count(rig) == 0
        rig.turn(1, ms=5)
        assert count(rig) == 1


def test_both_wires_at_once_is_an_illegal_step_counted_and_told_at_a_bounded_rate() -> None:
    with bench(sanitized=True) as rig:
        rig.run(150)
        # a level that was never seen between two edges: both change between two looks
        steps = 0
        faults: list[FaultEvent] = []
        for _ in range(250):
            level = steps % 2 == 0
            heard = rig.run(4, pins=[(50, Pin.ENCODER_A, int(level)), (50, Pin.ENCODER_B, int(level))])
            steps += 1
            faults += only(FaultEvent, heard)
        faults += only(FaultEvent, rig.run(200))
        assert {fault.fault for fault in faults} == {FaultCode.ENCODER_ILLEGAL_STEP}
        assert sum(fault.detail for fault in faults) == steps
        # at once, and then at most once a second (PROTOCOL.md section 5): a second and a fifth have passed
        assert [fault.detail for fault in faults] == [1, steps - 1]
        assert faults[1].device_tick - faults[0].device_tick >= 1000 * TICKS_PER_MS
        assert count(rig) == 0


# ---- index ----


def test_index_pulses_are_told_with_tick_count_and_number() -> None:
    with bench() as rig:
        rig.run(20)
        for number in range(1, 4):
            began = rig.cycle
            (event,) = pulse(rig, ms=8)
            assert isinstance(event, IndexEvent)
            assert (event.device_tick, event.crank_count, event.index_number) == (
                (began + 100) // CYCLES_PER_TICK,
                rig.count,
                number,
            )
            rig.turn(COUNTS_PER_REV, every_cycles=160)


@pytest.mark.parametrize(
    ("counts", "fault"),
    [
        (0, None),
        (1, None),
        (COUNTS_PER_REV - 2, None),
        (-COUNTS_PER_REV - 2, None),
        (3, 3),
        (-COUNTS_PER_REV + 3, 4093),
        (8192, 8192),
    ],
)
def test_wrong_spacing_of_the_index_is_a_fault_with_the_spacing(counts: int, fault: int | None) -> None:
    with bench() as rig:
        rig.run(20)
        pulse(rig, ms=8)
        rig.turn(counts, every_cycles=160)
        told = pulse(rig, ms=20)
        faults = [event for event in told if isinstance(event, FaultEvent)]
        assert [(event.fault, event.detail) for event in faults] == ([] if fault is None else [(FaultCode.INDEX_SPACING, fault)])


def test_more_pulses_than_can_be_told_show_in_the_number_and_are_no_false_fault() -> None:
    with bench() as rig:
        rig.run(20)
        events: list[IndexEvent | FaultEvent] = []
        # an event of 16 octets for each: more than the queues of events and of the line hold
        pins = [PinEvent(10 * k + 5 * half, Pin.INDEX, 1 - half) for k in range(40) for half in range(2)]
        events += [event for event in rig.run(20, pins=pins) if isinstance(event, IndexEvent | FaultEvent)]
        rig.turn(2 * COUNTS_PER_REV, every_cycles=160)
        events += pulse(rig, ms=20)
        numbers = [event.index_number for event in events if isinstance(event, IndexEvent)]
        assert numbers[-1] == 41
        assert numbers == sorted(set(numbers))
        assert len(numbers) < 41
        assert not any(isinstance(event, FaultEvent) for event in events)


# ---- hold-to-run switch ----


def test_pressing_is_debounced_and_letting_go_is_not() -> None:
    with bench() as rig:
        rig.run(20)
        # bounces for 6 ms, then stays closed
        bounces = [(k * MS, Pin.HOLD, (k + 1) % 2) for k in range(7)]
        began = rig.cycle
        (event,) = only(HoldEvent, rig.run(40, pins=bounces))
        assert event.hold is HoldState.PRESSED
        closed_ms = (event.device_tick * CYCLES_PER_TICK - began) / MS - 6
        assert DEBOUNCE_MS - 0.25 <= closed_ms <= DEBOUNCE_MS + 0.25
        began = rig.cycle
        (event,) = only(HoldEvent, rig.run(40, pins=[*bounces, (7 * MS, Pin.HOLD, 0)]))
        # the contact was closed already when the first of the bounces closed it, and opened 1 ms later
        assert event.hold is HoldState.RELEASED
        assert 1 <= (event.device_tick * CYCLES_PER_TICK - began) / MS <= 1.25


def test_a_contact_that_chatters_is_told_as_it_stands_in_the_end() -> None:
    with bench() as rig:
        rig.run(20)
        chatter = [(k * 13 * MS, Pin.HOLD, (k + 1) % 2) for k in range(15)]
        heard = only(HoldEvent, rig.run(250, pins=chatter))
        assert [event.hold for event in heard] == [HoldState.PRESSED, HoldState.RELEASED] * 7 + [HoldState.PRESSED]
        told: Status = rig.answer(StatusRequest(1))
        assert told.hold is HoldState.PRESSED


def test_a_rig_without_a_switch_says_so() -> None:
    with bench(hold=False) as rig:
        rig.run(20)
        assert only(HoldEvent, rig.hold(True)) == []
        told: Status = rig.answer(StatusRequest(1))
        assert told.hold is HoldState.NOT_FITTED


# ---- converter ----


@pytest.mark.parametrize(
    ("codes", "fault", "detail"),
    [
        ((0, 300, 300, 225), FaultCode.SENSOR_REGULATED_RANGE, 0),
        ((1023, 300, 300, 225), FaultCode.SENSOR_REGULATED_RANGE, 4092),
        ((300, 0, 300, 225), FaultCode.SENSOR_CYLINDER_RANGE, 0),
        ((300, 1023, 300, 225), FaultCode.SENSOR_CYLINDER_RANGE, 4092),
        # 1100 mV × 1024 / code, in whole millivolts
        ((300, 300, 300, 263), FaultCode.SUPPLY_VOLTAGE, 4282),
        ((300, 300, 300, 187), FaultCode.SUPPLY_VOLTAGE, 6023),
    ],
    ids=str,
)
def test_a_channel_that_is_wrong_is_told_once_until_it_has_been_right_again(
    codes: tuple[int, int, int, int], fault: FaultCode, detail: int
) -> None:
    with bench() as rig:
        rig.run(200)
        for _ in range(2):
            good, rig.codes = rig.codes, codes
            faults = only(FaultEvent, rig.run(300))
            assert [(event.fault, event.detail) for event in faults] == [(fault, detail)]
            rig.codes = good
            assert only(FaultEvent, rig.run(300)) == []


def test_four_saturated_samples_are_no_fault_and_five_are() -> None:
    """The number of samples is that of interlock.toml; the milliseconds here are those of the conversions."""
    with bench(ready=True) as rig:
        rig.run((4000 - rig.cycle % 4000) / MS + 0.25)
        for milliseconds, faulty in ((4.75, False), (6, True)):
            rig.codes = (0, 300, 300, 225)
            told = only(FaultEvent, rig.run(milliseconds))
            rig.codes = (300, 300, 300, 225)
            told += only(FaultEvent, rig.run(10))
            assert bool(told) == faulty
        rig.run(200)
        assert isinstance(rig.answer(open_command()), Ack)


def test_the_spare_channel_may_read_anything() -> None:
    with bench(ready=True) as rig:
        for code in (0, 1023):
            rig.codes = (300, 300, code, 225)
            assert only(FaultEvent, rig.run(50)) == []
        assert isinstance(rig.answer(open_command()), Ack)


# ---- what is saved ----


def identity(rig: Bench) -> Identity:
    told: Identity = rig.answer(IdentifyRequest(1, 1, 0))
    return told


def test_serial_number_and_count_of_resets_are_kept_in_a_file(tmp_path: Path) -> None:
    saved = tmp_path / "eeprom"
    boots = []
    for _ in range(3):
        with bench("--eeprom", saved) as rig:
            rig.run(20)
            boots.append(identity(rig).boot_id)
            assert identity(rig).serial_number == "unset"
    assert len(set(boots)) == 3
    assert 0 not in boots
    saved.write_text("41\nBW-0001\n")
    with bench("--eeprom", saved) as rig:
        rig.run(20)
        assert identity(rig).serial_number == "BW-0001"
        assert only(FaultEvent, rig.run(500)) == []
    assert saved.read_text() == "42\nBW-0001\n"


def test_what_is_saved_and_fails_its_check_is_a_memory_fault_told_once(tmp_path: Path) -> None:
    saved = tmp_path / "eeprom"
    saved.write_text("no number\nBW-0001\n")
    with bench("--eeprom", saved) as rig:
        rig.run(20)
        faults = only(FaultEvent, rig.run(1000))
        assert [(fault.fault, fault.detail) for fault in faults] == [(FaultCode.MEMORY, 2)]
        assert identity(rig).serial_number == "unset"
    assert saved.read_text() == "no number\nBW-0001\n"
