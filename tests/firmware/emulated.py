"""The real program of the microcontroller in the emulator, for tests and benchmarks: messages in and out, device time only.

Standard library and our own packages only, so that the Makefile can measure without an environment of Python.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple, TypeVar

from avr_rig.child import Answer, Child, Codes, Pin, PinEvent, ResetCause
from borewire.codec import Decoder, encode
from borewire.messages import HostAlive, Message, StreamStart, SupplyOpen

MS_CYCLES = 16_000
S_CYCLES = 1000 * MS_CYCLES
ROUND_CYCLES = 4000
COUNTS_PER_REV = 4096
AT_REST: Codes = (300, 290, 512, 225)
"""Codes of regulated, cylinder, spare and the chip's reference at 5 V."""

_LEVELS = (0, 1, 3, 2)  # A in bit 0, B in bit 1, at each count: A leads B
_Wanted = TypeVar("_Wanted")


class Change(NamedTuple):
    """The outputs from this cycle on."""

    cycle: int
    supply_energised: bool
    vent_energised: bool


@dataclass(slots=True)
class Crank:
    """An encoder that turns evenly, with an index one count wide at each whole turn. count: where it stands."""

    count: int = 0
    index_passes: int = 0
    _to_next: float = 0.0

    def turn(self, cycles: int, counts_per_s: float) -> list[PinEvent]:
        """The edges of so many cycles; the first right after the beginning when it has stood. Negative: backwards."""
        events: list[PinEvent] = []
        apart = S_CYCLES / abs(counts_per_s)
        while self._to_next < cycles:
            events += self.step(1 if counts_per_s > 0 else -1, int(self._to_next))
            self._to_next += apart
        self._to_next -= cycles
        return events

    def step(self, direction: int, offset_cycles: int) -> list[PinEvent]:
        """One count up or down."""
        before = _LEVELS[self.count & 3]
        was_at_index = self.count % COUNTS_PER_REV == 0
        self.count += direction
        now = _LEVELS[self.count & 3]
        pin = Pin.ENCODER_A if (before ^ now) & 1 else Pin.ENCODER_B
        events = [PinEvent(offset_cycles, pin, (now >> (pin == Pin.ENCODER_B)) & 1)]
        at_index = self.count % COUNTS_PER_REV == 0
        if at_index != was_at_index:
            events.append(PinEvent(offset_cycles, Pin.INDEX, int(at_index)))
            self.index_passes += at_index
        return events


@dataclass(slots=True)
class Emulated:
    """One board. What it says is decoded; what its outputs do is kept in `changes`, in absolute cycles."""

    child: Child
    changes: list[Change] = field(default_factory=list)
    octets: bytearray = field(default_factory=bytearray)
    heard: list[object] = field(default_factory=list)
    busy_cycles: int = 0
    resets: int = 0
    _decoder: Decoder = field(default_factory=lambda: Decoder("host"))

    @property
    def cycle(self) -> int:
        """Now."""
        return self.child.cycle_now

    @property
    def outputs(self) -> tuple[bool, bool]:
        """Whether supply and vent are energised now."""
        return self.changes[-1][1:] if self.changes else (False, False)

    def step(
        self, ms: float, *messages: Message | bytes, pins: Sequence[PinEvent] = (), codes: Sequence[Codes] = ()
    ) -> list[object]:
        """Let time pass; what the host sends begins with it. What the board said meanwhile: messages and bad frames."""
        octets = b"".join(message if isinstance(message, bytes) else encode(message) for message in messages)
        return self._take(self.cycle, self.child.step(round(ms * MS_CYCLES), pins, codes, octets))

    def reset(self, cause: ResetCause, held_ms: float = 1.0) -> list[object]:
        """Reset the chip."""
        return self._take(self.cycle, self.child.reset(cause, round(held_ms * MS_CYCLES)))

    def hang(self) -> None:
        """Stop the main loop."""
        self._take(self.cycle, self.child.hang())

    def boot(self) -> list[object]:
        """Long enough for the start of the program, its greeting and full moving sums."""
        return self.step(100, codes=[AT_REST])

    def stream(self, rate_hz: int = 1000, block_size: int = 8) -> None:
        """Start the sample stream."""
        self.step(10, b"\0", StreamStart(1, rate_hz, block_size))

    def open_air(self, opening: SupplyOpen) -> None:
        """Boot, stream, press the switch, open: all as it must be, so that the outputs are energised afterwards."""
        self.boot()
        self.stream()
        self.step(50, pins=[PinEvent(0, Pin.HOLD, 1)])  # pressing is debounced, letting go is not
        self.step(5, opening)
        if self.outputs != (True, True):
            raise AssertionError(f"the air did not come on: {self.heard}")

    def keep_alive(self, ms: float) -> None:
        """Let time pass with a HostAlive each 100 ms."""
        left = ms
        while left > 0:
            self.step(min(left, 100), HostAlive())
            left -= 100

    def _take(self, began: int, answer: Answer) -> list[object]:
        self.changes += [Change(began + change.offset_cycles, *change[1:]) for change in answer.outputs]
        self.octets += answer.octets
        self.busy_cycles += answer.busy_cycles
        self.resets += answer.resets
        heard: list[object] = list(self._decoder.feed(answer.octets))
        self.heard += heard
        return heard


def of_kind(messages: Iterable[object], kind: type[_Wanted]) -> list[_Wanted]:
    """Those of one kind."""
    return [message for message in messages if isinstance(message, kind)]


def bench_child(folder: Path, program: Path, *words: str | Path) -> Emulated:
    """A board whose power has just been switched on. folder: the repository's root."""
    return Emulated(Child(folder / "simulator" / "avr_rig" / "build" / "bench", program, *words))
