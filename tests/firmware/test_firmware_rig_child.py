"""The pipe to the child: octets there and back by the words of bench_pipe.h, and every way in which a child can fail."""

from __future__ import annotations

import struct
import sys
from pathlib import Path

import pytest
from avr_rig.child import LONGEST_STEP_CYCLES, Child, ChildError, OutputChange, Pin, PinEvent, ResetCause

HELLO = "import os, struct, sys\nos.write(1, struct.pack('<4sII', b'BWB1', 16_000_000, 500_000))\n"
# repeats a request as the octets of its answer, with two changes of the outputs and 7 in every other field
REPEATS = (
    HELLO
    + """
while (said := os.read(0, 1 << 16)) and said != b'Q':
    os.write(1, struct.pack('<QHHBBI', 7, len(said), 2, 7, 0, 7) + said + struct.pack('<IBIB', 5, 3, 6, 2))
"""
)


def child(program: str) -> Child:
    return Child(sys.executable, "-c", program)


def test_a_step_as_octets_and_its_answer() -> None:
    with child(REPEATS) as running:
        assert (running.clock_hz, running.baud) == (16_000_000, 500_000)
        answer = running.step(16_000, [PinEvent(3, Pin.INDEX, 1), (4, 0, 1)], [(1, 2, 3, 4), (5, 6, 7, 1023)], b"\x00hi")
        # laid out by hand from the head comment of bench_pipe.h
        wanted = (
            b"S" + struct.pack("<IHHH", 16_000, 2, 2, 3)
            + struct.pack("<IBB", 3, 2, 1) + struct.pack("<IBB", 4, 0, 1)
            + struct.pack("<4H", 1, 2, 3, 4) + struct.pack("<4H", 5, 6, 7, 1023)
            + b"\x00hi"
        )  # fmt: skip
        assert answer.octets == wanted
        assert answer.outputs == (OutputChange(5, True, True), OutputChange(6, False, True))
        assert (answer.cycle_now, answer.resets, answer.busy_cycles, running.cycle_now) == (7, 7, 7, 7)
        assert running.reset(ResetCause.BROWN_OUT, 9).octets == b"R" + struct.pack("<BI", 2, 9)
        assert running.hang().octets == b"H"


def test_a_long_answer_comes_whole() -> None:
    with child(REPEATS) as running:
        octets = bytes(range(256)) * 200
        assert running.step(16_000, octets=octets).octets.endswith(octets)


@pytest.mark.parametrize(
    ("duration", "pins", "codes"),
    [(LONGEST_STEP_CYCLES + 1, (), ()), (-1, (), ()), (1, [(-1, 0, 0)], ()), (1, [(0, 0)], ()), (1, (), [(1, 2, 3, 70_000)])],
)
def test_what_the_pipe_cannot_carry(duration: int, pins: list[tuple[int, int, int]], codes: list[tuple[int, ...]]) -> None:
    with child(REPEATS) as running, pytest.raises(ValueError, match=r"must be|cannot carry"):
        running.step(duration, pins, codes)


@pytest.mark.parametrize(
    ("program", "says"),
    [
        ("import os; os.write(1, b'hello, world')", "is no child of the bench pipe: it began with b'hell'"),
        ("raise SystemExit('out of clay')", "has ended with code 1: out of clay"),
        ("pass", "has ended with code 0: it said nothing"),
    ],
)
def test_a_program_that_is_no_child(program: str, says: str) -> None:
    with pytest.raises(ChildError, match=says):
        child(program)


def test_a_program_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ChildError, match=r"bench cannot be started .*: build it with make first"):
        Child(tmp_path / "bench")


def test_a_child_that_ends_in_the_middle() -> None:
    with child(HELLO + "os.read(0, 1 << 16); sys.exit('bench: there is no such pin.')") as running:
        with pytest.raises(ChildError, match=r"has ended with code 1: bench: there is no such pin\."):
            running.step(16_000)
        with pytest.raises(ChildError, match="has ended with code 1"):
            running.step(16_000)


def test_a_closed_child() -> None:
    running = child(REPEATS)
    running.close()
    running.close()
    with pytest.raises(ChildError, match="has been closed: start another child"):
        running.hang()
