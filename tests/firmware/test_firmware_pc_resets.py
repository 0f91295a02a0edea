"""Resets of the firmware on the PC: vented at once, a Status and a power-up event, another boot id, counters from nothing."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from avr_rig.child import ResetCause
from borewire.codec import BadFrame
from borewire.messages import (
    Ack,
    AirEvent,
    AirState,
    Cause,
    EchoReply,
    EchoRequest,
    HoldEvent,
    HostAlive,
    IdentifyRequest,
    Identity,
    Status,
    StatusRequest,
    StreamStart,
)

from .pc_child import FIRMWARE, MS, bench, only, open_command, program

WATCHDOG_MS = 120  # common practice, no source: the microcontroller's own clock may be a quarter slow of its 64 ms


def test_the_boot_is_a_zero_a_status_and_the_power_up_event() -> None:
    with bench() as rig:
        answer = rig.child.step(20 * MS, (), [rig.codes])
        assert answer.octets[:1] == b"\x00"
        status, event = rig.ear.feed(answer.octets)
        assert isinstance(status, Status)
        assert (status.request_id, status.air, status.streaming, status.crank_count) == (0, AirState.VENTED, 0, 0)
        assert isinstance(event, AirEvent)
        assert (event.air, event.cause, event.opening_id) == (AirState.VENTED, Cause.POWER_UP, 0)
        assert rig.outputs == []


def test_a_rig_with_hand_valves_boots_without_an_event_of_the_air() -> None:
    with bench(valves=False) as rig:
        (status,) = rig.run(20)
        assert isinstance(status, Status)
        assert status.air is AirState.NO_VALVES


@pytest.mark.parametrize("cause", ResetCause)
def test_each_reset_vents_at_once_and_forgets_all_but_what_is_saved(cause: ResetCause) -> None:
    with bench(ready=True) as rig:
        rig.turn(5, ms=5)
        boot_id = rig.answer(StatusRequest(1)).boot_id
        rig.answers(open_command())
        assert rig.driven == (True, True)
        began = rig.cycle
        rig.reset(cause, held_cycles=5 * MS)
        assert rig.outputs[-1] == (began, False, False)
        assert rig.cycle == began + 5 * MS
        assert rig.resets == 1
        # the reset may have cut a frame
        status, event = [message for message in rig.run(20) if not isinstance(message, BadFrame | HoldEvent)]
        assert isinstance(status, Status)
        assert (status.air, status.streaming, status.opening_id, status.crank_count) == (AirState.VENTED, 0, 0, 0)
        assert (status.frames_received, status.commands_refused, status.samples_dropped) == (0, 0, 0)
        assert status.boot_id not in (0, boot_id)
        assert isinstance(event, AirEvent)
        assert event.cause is Cause.POWER_UP
        assert rig.driven == (False, False)


def test_a_main_loop_that_hangs_is_ended_by_the_watchdog_and_the_air_with_it() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command())
        began = rig.cycle
        rig.child.hang()
        heard = rig.run(2 * WATCHDOG_MS)
        assert rig.resets == 1
        assert rig.driven == (False, False)
        assert rig.outputs[-1][0] - began <= WATCHDOG_MS * MS
        assert [event.cause for event in only(AirEvent, heard)] == [Cause.POWER_UP]
        assert isinstance(rig.answer(StatusRequest(3)), Status)


def test_a_converter_that_stands_still_is_a_case_for_the_watchdog(tmp_path: Path) -> None:
    """The interlock hangs on the conversions: without them the main loop must not keep the watchdog quiet."""
    portable = [path for path in FIRMWARE.glob("*.c") if not path.name.startswith("hal_")]
    sources = [Path(__file__).with_name("still_converter.c"), *portable, *(FIRMWARE.parent / "c").glob("bw_*.c")]
    options = ["-std=c99", "-Wall", "-Wextra", "-Werror", '-DHAL_CONFIG="config_host.h"', f"-I{FIRMWARE}"]
    subprocess.run(["gcc", *options, "-o", tmp_path / "still", *sources], check=True)
    said = subprocess.run([tmp_path / "still"], capture_output=True, text=True, check=True).stdout.split()
    assert said == [str(1000 // 128), "0"], "each 32 ms of conversions, and not at all without them"


def test_interrupts_keep_the_air_safe_while_the_main_loop_hangs() -> None:
    with bench(ready=True) as rig:
        rig.answers(open_command())
        rig.child.hang()
        began = rig.cycle
        rig.turn(21, every_cycles=160, ms=5)
        assert rig.resets == 0
        assert rig.outputs[-1] == (began + 20 * 160, False, False)


def test_a_frame_that_a_reset_cuts_costs_one_frame_and_the_next_is_good() -> None:
    with bench() as rig:
        rig.run(20)
        # 200 octets take 4 ms there and 4 ms back: the reply is in its midst
        assert only(EchoReply, rig.run(6, EchoRequest(1, bytes(range(200))))) == []
        rig.reset(ResetCause.RESET_PIN)
        events = rig.run(20)
        assert only(Status, events)[0].request_id == 0
        assert isinstance(rig.answer(IdentifyRequest(2, 1, 0)), Identity)
        assert rig.ear.counters.frames_bad == 1


def test_octets_that_come_while_the_device_is_in_reset_are_lost() -> None:
    with bench() as rig:
        rig.run(20)
        rig.run(0, StreamStart(1, 1000, 8))
        rig.reset(ResetCause.POWER_ON, held_cycles=MS)
        assert only(Ack, rig.run(20)) == []
        assert rig.answer(StatusRequest(2)).frames_received == 1


def test_the_first_frame_after_the_boot_may_be_cut() -> None:
    with bench() as rig:
        rig.run(20, octets=b"\x11\x22\x33")
        # the host's zero ends what the device heard before
        told = rig.answers(IdentifyRequest(1, 1, 0))[0]
        assert isinstance(told, Identity)
        assert rig.answer(StatusRequest(2)).frames_bad == 0


def test_counters_count() -> None:
    with bench() as rig:
        rig.run(20)
        bad = b"\x00\x02\x03\x04\x05\x00"
        for _ in range(3):
            rig.run(5, HostAlive(), octets=bad)
        rig.answers(open_command())
        told = rig.answer(StatusRequest(2))
        assert (told.frames_received, told.frames_bad, told.frames_unknown, told.commands_refused) == (5, 3, 0, 1)


def test_the_program_ends_with_one_sentence_when_it_is_asked_wrongly() -> None:
    for words, said in ((["--no"], "usage"), (["--first-tick", "x"], "usage")):
        done = subprocess.run([program(), *words], input=b"", capture_output=True, check=False)
        assert done.returncode == 2
        assert said in done.stderr.decode()
    for request, said in ((b"X", "no such request"), (b"S\x01", "in its middle"), (b"R\x09" + bytes(4), "no such cause")):
        done = subprocess.run([program()], input=request, capture_output=True, check=False)
        assert (done.returncode, done.stderr.count(b"\n")) == (2, 1)
        assert said in done.stderr.decode()
