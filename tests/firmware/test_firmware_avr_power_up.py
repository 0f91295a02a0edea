"""What the real program keeps and does not do: nothing energised by itself, boot ids, serial number, memory, figures."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest
from avr_rig.child import Child, ChildError, Pin, PinEvent, ResetCause
from borewire.codec import encode
from borewire.messages import (
    AirEvent,
    AirState,
    Cause,
    EchoRequest,
    FaultCode,
    FaultEvent,
    HostAlive,
    IdentifyRequest,
    Identity,
    Message,
    Refused,
    Status,
    StatusRequest,
    StreamStart,
    StreamStop,
    SupplyOpen,
    SupplyShut,
    VentOpen,
)

from .conftest import FIRMWARE, Board, make
from .emulated import AT_REST, Codes, Emulated, of_kind

OPENING = SupplyOpen(2, 7, 60_000, -20, 20, 2000, 2000)


def boot_id(board: Emulated) -> int:
    return of_kind(board.step(50, b"\0", StatusRequest(5)), Status)[-1].boot_id


def identity(board: Emulated) -> Identity:
    return of_kind(board.step(50, b"\0", IdentifyRequest(1, 1, 0)), Identity)[-1]


def serial_file(folder: Path, serial: str) -> Path:
    file = folder / "serial.eep"
    done = subprocess.run(
        [sys.executable, FIRMWARE / "serial_number.py", serial, file], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return file


def test_the_first_words_after_power_up(board: Emulated) -> None:
    board.boot()
    assert board.octets[:2] == b"\0\0"
    status, event = board.heard
    assert isinstance(status, Status)
    assert (status.request_id, status.air, status.streaming) == (0, AirState.VENTED, 0)
    assert isinstance(event, AirEvent)
    assert (event.air, event.cause) == (AirState.VENTED, Cause.POWER_UP)
    assert board.changes == []


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_nothing_is_energised_without_an_opening(board: Emulated, seed: int) -> None:
    """Whatever comes: commands that open nothing, pieces of frames, garbage, edges, pressures, resets."""
    rng = random.Random(seed)
    others: list[Message] = [
        IdentifyRequest(1, 1, 0), StreamStart(2, 1000, 8), StreamStop(3), SupplyShut(4, 1000), VentOpen(5),
        StatusRequest(6), HostAlive(), EchoRequest(7, bytes(range(100))), SupplyOpen(8, 0, 100, -5, 5, 2000, 2000),
    ]  # fmt: skip
    for _ in range(100):
        piece = encode(rng.choice(others))
        piece = rng.choice([piece, piece[rng.randrange(len(piece)) :], rng.randbytes(rng.randrange(60))])
        pins = [PinEvent(offset, rng.randrange(4), rng.randrange(2)) for offset in sorted(rng.sample(range(160_000), 20))]
        codes: list[Codes] = [tuple(rng.randrange(1024) for _ in range(4))]  # type: ignore[list-item]
        board.step(10, piece, pins=pins, codes=codes)
        if rng.random() < 0.05:
            board.reset(rng.choice(list(ResetCause)))
    assert board.changes == []
    assert of_kind(board.step(100, b"\0", StatusRequest(9)), Status)[-1].air == AirState.VENTED


def test_an_opening_of_before_a_reset_opens_nothing_afterwards(board: Emulated) -> None:
    """The stream is stopped after a reset, so a late repeat is refused."""
    board.open_air(OPENING)
    board.reset(ResetCause.RESET_PIN)
    board.step(100, codes=[AT_REST])
    since = len(board.changes)
    board.step(20, OPENING)
    assert len(board.changes) == since
    assert of_kind(board.heard, Refused)[-1].command == OPENING.TYPE


def test_boot_ids_differ_over_resets_and_power_cycles(board: Emulated) -> None:
    """More resets than there are slots for their count, so that it has gone around once."""
    board.boot()
    seen = [boot_id(board)]
    for number in range(70):
        board.reset(list(ResetCause)[number % 3])
        board.step(30, codes=[AT_REST])
        seen.append(boot_id(board))
    assert 0 not in seen
    assert len(set(seen)) == len(seen) == 71


def test_boot_id_is_told_alike_everywhere(board: Emulated) -> None:
    board.boot()
    assert {identity(board).boot_id, boot_id(board), of_kind(board.heard, Status)[0].boot_id} == {boot_id(board)}


def test_no_serial_number_is_saved(board: Emulated) -> None:
    board.boot()
    assert identity(board).serial_number == "unset"
    board.stream()
    board.keep_alive(2000)
    assert of_kind(board.heard, FaultEvent) == []


@pytest.mark.parametrize("serial", ["BW-0001", "x", "thirty-two letters are the most."])
def test_serial_number(new_board: Board, tmp_path: Path, serial: str) -> None:
    """Read after power-up, and still there after resets have been counted beside it."""
    board = new_board(500_000, "--eeprom", serial_file(tmp_path, serial))
    board.boot()
    assert identity(board).serial_number == serial
    board.reset(ResetCause.POWER_ON)
    board.step(100, codes=[AT_REST])
    assert identity(board).serial_number == serial


def test_damaged_serial_number(new_board: Board, tmp_path: Path) -> None:
    """One letter changed, with the line's own checksum of the file made right again: told as a fault of the memory."""
    file = serial_file(tmp_path, "BW-0001")
    first, rest = file.read_text().split("\n", 1)
    record = bytearray.fromhex(first[1:-2])
    record[5] ^= 1
    file.write_text(f":{record.hex()}{-sum(record) & 0xFF:02x}\n{rest}")
    board = new_board(500_000, "--eeprom", file)
    board.boot()
    assert identity(board).serial_number == "unset"
    board.keep_alive(2000)
    assert [(fault.fault, fault.detail) for fault in of_kind(board.heard, FaultEvent)] == [(FaultCode.MEMORY, 2)]


@pytest.mark.parametrize("serial", ["", "x" * 33, "Grün", "a\tb"])
def test_serial_number_that_cannot_be_saved(tmp_path: Path, serial: str) -> None:
    done = subprocess.run(
        [sys.executable, FIRMWARE / "serial_number.py", serial, tmp_path / "s.eep"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "use 1 to 32 printable ASCII characters" in done.stderr
    assert not (tmp_path / "s.eep").exists()


def test_low_supply_voltage_is_told(board: Emulated) -> None:
    """4.1 V: 1.1 V against it is code 274. Told once, and told again only after it has been right."""
    board.boot()
    low: Codes = (*AT_REST[:3], 274)
    board.step(500, codes=[low])
    faults = of_kind(board.heard, FaultEvent)
    assert [fault.fault for fault in faults] == [FaultCode.SUPPLY_VOLTAGE]


def test_stack_leaves_room(new_board: Board, tmp_path: Path) -> None:
    """The longest answers while all interrupts come. At least 64 octets are left: common practice, no source."""
    figures = tmp_path / "figures.txt"
    board = new_board(500_000, "--figures", figures)
    board.open_air(OPENING)
    for request_id in range(10):
        board.step(20, EchoRequest(request_id, bytes(200)), IdentifyRequest(request_id, 1, 0), pins=[PinEvent(9, Pin.HOLD, 1)])
    board.step(20, pins=[PinEvent(9, Pin.HOLD, 0)])
    board.child.close()
    measured = {name: int(octets) for name, octets in (line.split() for line in figures.read_text().splitlines())}
    assert measured["stack_left_octets"] >= 64
    assert measured["stack_octets"] > 50


def test_limits_of_size_are_checked_by_the_build() -> None:
    """The same program with less room: make fails."""
    said = make(FIRMWARE, "-B", "BAUD=250000")
    assert "flash" in said
    assert "left for the stack" in said
    with pytest.raises(pytest.fail.Exception, match="grown over its limits"):
        make(FIRMWARE, "-B", "BAUD=250000", "RAM_LIMIT=1000")


def test_bench_refuses_what_is_no_program(bench: Path, tmp_path: Path) -> None:
    with pytest.raises(ChildError, match="the program cannot be read; build it with make"):
        Child(bench, tmp_path / "none.elf")
    with pytest.raises(ChildError, match="usage: bench"):
        Child(bench)
