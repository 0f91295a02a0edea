"""The firmware on the PC for the tests of this room: built once, driven in virtual time, its octets as messages."""

from __future__ import annotations

import fcntl
import subprocess
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from avr_rig.child import Child, Codes, Pin, PinEvent, ResetCause
from borewire.codec import Decoder, Received, encode
from borewire.messages import HoldEvent, IndexEvent, Message, SampleBlock, StreamStart, SupplyOpen, VentClose
from borewire.messages import Status as StatusMessage

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware_protocol" / "reference_firmware"
MS = 16_000
"""Cycles in a millisecond."""
TICKS_PER_MS = 2000
RAW_PER_CODE = 4
QUIET: Codes = (300, 300, 300, 225)
"""Codes of channels that are in range and under every limit used here."""
LIMIT_RAW = 2000
OVER_CODE = 501
"""Four times this is just over LIMIT_RAW."""

_EDGES = ((Pin.ENCODER_A, 1), (Pin.ENCODER_B, 1), (Pin.ENCODER_A, 0), (Pin.ENCODER_B, 0))

Kind = TypeVar("Kind", bound=Message)


@cache
def program(valves: bool = True, hold: bool = True, sanitized: bool = True) -> Path:
    """The child for a rig with these fitted, built if it is not there. sanitized: every access and overflow is checked.

    One process at a time makes: the lock is that of conftest.make.
    """
    options = [f"VALVES={int(valves)}", f"HOLD={int(hold)}", *(["SANITIZE=1"] if sanitized else [])]
    (FIRMWARE / "build").mkdir(exist_ok=True)
    with (FIRMWARE / "build" / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        subprocess.run(["make", "-s", "host", *options], cwd=FIRMWARE, check=True)
    name = "host-500000" + ("" if valves else "-hand") + ("" if hold else "-nohold") + ("-sanitized" if sanitized else "")
    return FIRMWARE / "build" / name / "firmware"


def open_command(request_id: int = 100, opening_id: int = 7, **changes: int) -> SupplyOpen:
    """A SupplyOpen that nothing is against, with changes."""
    fields = {
        "time_limit_ms": 5000,
        "window_low_count": -20,
        "window_high_count": 20,
        "limit_regulated_raw": LIMIT_RAW,
        "limit_cylinder_raw": LIMIT_RAW,
    }
    return SupplyOpen(request_id, opening_id, **(fields | changes))


def close_command(request_id: int = 101, **changes: int) -> VentClose:
    """A VentClose that nothing is against, with changes."""
    return VentClose(request_id, **({"time_limit_ms": 5000, "limit_cylinder_raw": LIMIT_RAW} | changes))


def passed_over(event: Received) -> bool:
    """Whether an event may come in between at any time, by the words of the vectors."""
    if isinstance(event, StatusMessage):
        return event.request_id == 0
    return isinstance(event, SampleBlock | IndexEvent | HoldEvent)


class Bench:
    """A running child with its cable. `codes` are what the channels read from the next step on; `count` where the crank is.

    outputs: every change of the valve outputs: cycle, supply energised (open), vent energised (closed).
    """

    def __init__(self, path: Path, *arguments: str | Path) -> None:
        self.child = Child(path, *arguments)
        self.ear = Decoder("host")
        self.codes: Codes = QUIET
        self.count = 0
        self.outputs: list[tuple[int, bool, bool]] = []
        self.resets = 0
        self._request_id = 1000

    @property
    def cycle(self) -> int:
        """Now, in cycles since power-on."""
        return self.child.cycle_now

    @property
    def driven(self) -> tuple[bool, bool]:
        """Whether the supply is energised (open) and the vent (closed)."""
        return self.outputs[-1][1:] if self.outputs else (False, False)

    def run(self, ms: float, *messages: Message, pins: Sequence[tuple[int, int, int]] = (), octets: bytes = b"") -> list[Received]:
        """Let time pass, after sending messages and octets; all that came."""
        octets = b"".join(map(encode, messages)) + octets
        left = round(ms * MS)
        heard: list[Received] = []
        while left > 0 or octets or pins:
            cycles = min(left, 250 * MS)
            began = self.child.cycle_now
            answer = self.child.step(cycles, pins, [self.codes], octets)
            self.outputs += [(began + change.offset_cycles, *change[1:]) for change in answer.outputs]
            self.resets += answer.resets
            heard += self.ear.feed(answer.octets)
            left -= cycles
            pins, octets = (), b""
        return heard

    def answers(self, *messages: Message, ms: float = 8) -> list[Any]:
        """What comes within some milliseconds of messages, but for what may always come in between."""
        return [event for event in self.run(ms, *messages) if not passed_over(event)]

    def answer(self, message: Message, ms: float = 8) -> Any:
        """The first answer to a message."""
        return self.answers(message, ms=ms)[0]

    def request_id(self) -> int:
        """Another one each time."""
        self._request_id += 1
        return self._request_id

    def edges(self, counts: int, every_cycles: int = 1600, from_cycle: int = 0) -> list[PinEvent]:
        """The edges on the way over so many counts; a call is a promise to pass them to the next run."""
        events = []
        for number in range(abs(counts)):
            wire, level = _EDGES[self.count & 3] if counts > 0 else _EDGES[(self.count - 1) & 3]
            events.append(PinEvent(from_cycle + number * every_cycles, wire, level if counts > 0 else 1 - level))
            self.count += 1 if counts > 0 else -1
        return events

    def turn(self, counts: int, every_cycles: int = 1600, ms: float = 0) -> list[Received]:
        """Turn the crank over so many counts, then let some milliseconds pass."""
        pins = self.edges(counts, every_cycles)
        return self.run(abs(counts) * every_cycles / MS + ms, pins=pins)

    def hold(self, pressed: bool, ms: float = 20) -> list[Received]:
        """Press the switch or let it go, and let time pass."""
        return self.run(ms, pins=[(0, Pin.HOLD, int(pressed))])

    def reset(self, cause: ResetCause, held_cycles: int = 0) -> list[Received]:
        """Reset the device; all that came."""
        began = self.child.cycle_now
        answer = self.child.reset(cause, held_cycles)
        self.outputs += [(began + change.offset_cycles, *change[1:]) for change in answer.outputs]
        self.resets += answer.resets
        return self.ear.feed(answer.octets)

    def ready(self, rate_hz: int = 1000, block_size: int = 8) -> None:
        """Pass the boot, stream, press the switch: nothing is against an opening any more."""
        self.run(20)
        self.hold(True)
        self.run(20, StreamStart(self.request_id(), rate_hz, block_size))


def only(kind: type[Kind], events: Sequence[Received]) -> list[Kind]:
    """The events of one kind."""
    return [event for event in events if isinstance(event, kind)]


@contextmanager
def bench(
    *arguments: str | Path, valves: bool = True, hold: bool = True, sanitized: bool = True, ready: bool = False
) -> Iterator[Bench]:
    """A bench around a new child; at its end no frame of the device was bad, but for what resets cut, and the child still runs."""
    running = Bench(program(valves, hold, sanitized), *arguments)
    try:
        if ready:
            running.ready()
        yield running
        assert running.ear.counters.frames_bad <= running.resets
        running.run(1)  # a child that the sanitizers have ended raises here
    finally:
        running.child.close()
