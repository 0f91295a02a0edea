"""The C codec as the tests drive it: built once under a lock, asked in lines, its answers compared with what borewire says."""

from __future__ import annotations

import fcntl
import struct
import subprocess
from collections.abc import Iterable, Sequence
from dataclasses import fields
from pathlib import Path

from borewire.bad import BadReason
from borewire.codec import RUN_EVENTS, BadFrame, Received
from borewire.messages import TYPES_TO_DEVICE, TYPES_TO_HOST, Message

FOLDER = Path(__file__).resolve().parents[2] / "firmware_protocol" / "c"
BUILD = FOLDER / "build"
RUNNER = BUILD / "native" / "wire_runner"
SANITIZED_RUNNER = BUILD / "sanitized" / "wire_runner"
KINDS = {kind.__name__: kind for kind in [*TYPES_TO_DEVICE.values(), *TYPES_TO_HOST.values()]}


def build(*targets: str) -> str:
    """Builds targets of the codec's Makefile, one process at a time, and returns what make printed. Raises AssertionError."""
    BUILD.mkdir(exist_ok=True)
    with (BUILD / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        made = subprocess.run(
            ["make", "--no-print-directory", "-C", str(FOLDER), *targets], capture_output=True, text=True, check=False
        )
    assert made.returncode == 0, f"make {' '.join(targets)} failed:\n{made.stdout}{made.stderr}"
    return made.stdout


def ask(lines: Iterable[str], runner: Path = RUNNER) -> str:
    """What the vector runner answers to these lines."""
    run = subprocess.run([str(runner)], input="\n".join(lines) + "\n", capture_output=True, text=True, check=False)
    assert run.returncode == 0, f"the runner ended with {run.returncode}:\n{run.stderr}"
    return run.stdout


def events_of(side: str, pieces: Sequence[bytes], runner: Path = RUNNER) -> list[list[str]]:
    """The events, as lines of text, that each piece of one stream gave."""
    answers: list[list[str]] = [[]]
    for line in ask([f"start {side}", *(f"feed {piece.hex()}" for piece in pieces)], runner).splitlines():
        if line == ".":
            answers.append([])
        else:
            answers[-1].append(line)
    assert answers.pop() == []
    assert len(answers) == len(pieces)
    return answers


def told_as_by_borewire(answers: Sequence[Sequence[str]]) -> list[list[str]]:
    """The same without the bad frames after the sixteenth in a row, which borewire's decoder counts and says nothing of."""
    bad_run = 0
    told: list[list[str]] = []
    for answer in answers:
        told.append([])
        for line in answer:
            bad_run = bad_run + 1 if line.startswith("bad ") else 0
            if bad_run <= RUN_EVENTS:
                told[-1].append(line)
    return told


def line_of(message: Message) -> str:
    """A message as the runner writes and reads it."""
    parts = [type(message).__name__]
    for name in _NAMES[type(message)]:
        value = getattr(message, name)
        if isinstance(value, int):
            parts.append(f"{name}={int(value)}")
        elif isinstance(value, float):
            parts.append(f"{name}={struct.unpack('<I', struct.pack('<f', value))[0]:08x}")
        else:
            parts.append(f"{name}={(value.encode() if isinstance(value, str) else value).hex()}")
    return " ".join(parts)


def lines_of(events: Iterable[Received]) -> list[str]:
    """The lines that the runner must give for these events: it says nothing of what was cut at the start of listening."""
    lines = []
    for event in events:
        if isinstance(event, BadFrame):
            if event.reason is not BadReason.RESYNC:
                lines.append(f"bad {event.reason.name.lower()}")
        elif type(event) in _NAMES:
            lines.append(line_of(event))  # type: ignore[arg-type]
        else:
            lines.append(f"unknown {event.type} {event.body.hex()}")  # type: ignore[union-attr]
    return lines


_NAMES = {kind: tuple(field.name for field in fields(kind)) for kind in KINDS.values()}
