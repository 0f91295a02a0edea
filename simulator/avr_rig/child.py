"""The firmware as a child process, driven step by step over its pipe: requests and answers of `bench_pipe.h`.

Time is the child's own, in processor cycles; nothing here looks at a clock but to notice a child that no longer answers.
"""

from __future__ import annotations

import contextlib
import os
import select
import struct
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from itertools import chain
from pathlib import Path
from typing import NamedTuple, Self

__all__ = [
    "LONGEST_STEP_CYCLES",
    "ROUND_CYCLES",
    "Answer",
    "Child",
    "ChildError",
    "Codes",
    "OutputChange",
    "Pin",
    "PinEvent",
    "ResetCause",
]

MAGIC = b"BWB1"
ROUND_CYCLES = 4000
"""Cycles for which a row of codes holds: a round of conversions, 250 µs."""

LONGEST_STEP_CYCLES = 8_000_000
"""The longest step, 0.5 s: an answer holds no more than 65 535 octets of the line."""

ANSWER_WAIT_S = 120.0
END_WAIT_S = 10.0

_HELLO = struct.Struct("<4sII")
_STEP = struct.Struct("<cIHHH")
_RESET = struct.Struct("<cBI")
_ANSWER = struct.Struct("<QHHBBI")
_OUTPUT = struct.Struct("<IB")
_SUPPLY, _VENT = 1, 2


class ChildError(Exception):
    """The child could not be started, ended, or said something that is no answer. One sentence."""


class Pin(IntEnum):
    """Pins that a step can change. HOLD: level 1 is pressed; the child knows the electrical sense."""

    ENCODER_A = 0
    ENCODER_B = 1
    INDEX = 2
    HOLD = 3


class ResetCause(IntEnum):
    """Why the microcontroller is reset."""

    POWER_ON = 0
    RESET_PIN = 1
    BROWN_OUT = 2


class PinEvent(NamedTuple):
    """A pin has this level (0 or 1) from offset_cycles after the step's start on."""

    offset_cycles: int
    pin: int
    level: int


Codes = tuple[int, int, int, int]
"""Ten-bit codes of the converter's channels 0 to 3 that hold for ROUND_CYCLES."""


class OutputChange(NamedTuple):
    """The valve outputs from offset_cycles after the step's start on."""

    offset_cycles: int
    supply_energised: bool
    vent_energised: bool


@dataclass(frozen=True, slots=True)
class Answer:
    """What happened in a step: the cycle at its end, octets sent, changes of the outputs, resets, cycles not asleep."""

    cycle_now: int
    octets: bytes
    outputs: tuple[OutputChange, ...]
    resets: int
    busy_cycles: int


class Child:
    """A running child. path: its program; arguments: what the program takes. clock_hz and baud are what it said at its start.

    Raises ChildError when the program cannot be started or is no such child.

    >>> import sys
    >>> program = (
    ...     "import os, struct; os.write(1, struct.pack('<4sII', b'BWB1', 16_000_000, 500_000));"
    ...     "os.read(0, 11); os.write(1, struct.pack('<QHHBBI', 16_000, 1, 0, 0, 0, 900) + b'!')"
    ... )
    >>> with Child(sys.executable, "-c", program) as child:
    ...     child.clock_hz, child.step(16_000).octets
    (16000000, b'!')
    """

    def __init__(self, path: str | Path, *arguments: str | Path) -> None:
        self.name = Path(path).name
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115  # open as long as the child
        try:
            self._process = subprocess.Popen(
                [str(path), *map(str, arguments)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=self._complaints,
                bufsize=0,
                process_group=0,  # Ctrl-C is for whoever drives it
            )
        except OSError as error:
            self._complaints.close()
            raise ChildError(f"{path} cannot be started ({error.strerror}): build it with make first") from error
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._stdin, self._stdout = self._process.stdin, self._process.stdout
        self._input, self._output = self._stdin.fileno(), self._stdout.fileno()
        self._poll = select.poll()
        self._poll.register(self._output, select.POLLIN)
        self.cycle_now = 0
        try:
            magic, self.clock_hz, self.baud = _HELLO.unpack(self._read(b"", _HELLO.size)[: _HELLO.size])
            if magic != MAGIC:
                raise ChildError(f"{self.name} is no child of the bench pipe: it began with {magic!r}, not with {MAGIC!r}")
        except ChildError:
            self.close()
            raise

    # ------------------------------------------------------------------ requests

    def step(
        self,
        duration_cycles: int,
        pins: Sequence[PinEvent | tuple[int, int, int]] = (),
        codes: Sequence[Sequence[int]] = (),
        octets: bytes = b"",
    ) -> Answer:
        """Let so many cycles pass. pins: changes with offsets ascending from the step's start.

        codes: a row of four for each ROUND_CYCLES of the step; the last row goes on when there are fewer, the last step's when
        there is none. octets: fed to the receiver at the line's rate, behind what is still waiting there. Raises ValueError for
        what the pipe cannot carry, ChildError when the child has ended.
        """
        if not 0 <= duration_cycles <= LONGEST_STEP_CYCLES:
            raise ValueError(f"duration_cycles must be from 0 to {LONGEST_STEP_CYCLES}, not {duration_cycles}")
        try:
            request = b"".join(
                (
                    _STEP.pack(b"S", duration_cycles, len(pins), len(codes), len(octets)),
                    struct.pack("<" + "IBB" * len(pins), *chain.from_iterable(pins)),
                    struct.pack(f"<{4 * len(codes)}H", *chain.from_iterable(codes)),
                    octets,
                )
            )
        except struct.error as error:
            raise ValueError(f"the bench pipe cannot carry this step: {error}") from error
        return self.exchange(request)

    def reset(self, cause: ResetCause = ResetCause.RESET_PIN, held_cycles: int = 0) -> Answer:
        """Reset the microcontroller and hold it so for held_cycles, with all its pins afloat: both outputs de-energised."""
        return self.exchange(_RESET.pack(b"R", cause, held_cycles))

    def hang(self) -> Answer:
        """From now on the main loop is not executed any more, interrupts are; until the next reset."""
        return self.exchange(b"H")

    def exchange(self, request: bytes) -> Answer:
        """Send a request as it is and read the answer. Raises ChildError when the child has ended or does not answer."""
        self._write(request)
        said = self._read(b"", _ANSWER.size)
        cycle_now, octet_count, output_count, resets, _, busy_cycles = _ANSWER.unpack_from(said)
        self.cycle_now = cycle_now
        octets_end = _ANSWER.size + octet_count
        end = octets_end + _OUTPUT.size * output_count
        if len(said) < end:
            said = self._read(said, end)
        if len(said) > end:
            raise ChildError(f"{self.name} says more than it was asked: end it")
        outputs = tuple(
            OutputChange(offset, bool(bits & _SUPPLY), bool(bits & _VENT))
            for offset, bits in _OUTPUT.iter_unpack(said[octets_end:])
        )
        return Answer(cycle_now, said[_ANSWER.size : octets_end], outputs, resets, busy_cycles)

    # ------------------------------------------------------------------ end

    def close(self) -> None:
        """End the child, and wait until it has ended. May be called again."""
        if self._complaints.closed:
            return
        if self._process.poll() is None:
            with contextlib.suppress(OSError):  # it may have just ended
                os.write(self._input, b"Q")
        self._stdin.close()
        try:
            self._process.wait(END_WAIT_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._stdout.close()
        self._complaints.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # ------------------------------------------------------------------ the pipe

    def _write(self, data: bytes) -> None:
        if self._complaints.closed:
            raise ChildError(f"{self.name} has been closed: start another child")
        try:
            while (written := os.write(self._input, data)) < len(data):
                data = data[written:]
        except OSError as error:
            raise self._ended() from error

    def _read(self, said: bytes, count: int) -> bytes:
        """What was said and what comes, until it is at least so much."""
        while len(said) < count:
            if not self._poll.poll(1000.0 * ANSWER_WAIT_S):
                raise ChildError(f"{self.name} has not answered for {ANSWER_WAIT_S:g} s: end it and look for an endless loop")
            data = os.read(self._output, 1 << 16)
            if not data:
                raise self._ended()
            said += data
        return said

    def _ended(self) -> ChildError:
        try:
            code = self._process.wait(END_WAIT_S)
        except subprocess.TimeoutExpired:
            return ChildError(f"{self.name} has closed its pipe and goes on running: end it")
        self._complaints.seek(0)
        said = " ".join(self._complaints.read().decode(errors="replace").split()) or "it said nothing"
        return ChildError(f"{self.name} has ended with code {code}: {said}")
