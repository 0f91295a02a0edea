"""Gives the same octets to both codecs and counts where they do not say the same."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from borewire.codec import Decoder, encode
from borewire.messages import Message

from .c_codec import RUNNER, ask, line_of, lines_of
from .frame_mill import Mill

BATCH = 10_000
SHOWN = 5


@dataclass(slots=True)
class Tally:
    """What was compared: `frames` fed to both decoders; `told` counts by kind what came of them, and messages written and refused.

    `first` holds the first disagreements in full, of `disagreements` in all.
    """

    frames: int = 0
    told: Counter[str] = field(default_factory=Counter)
    disagreements: int = 0
    first: list[str] = field(default_factory=list)


def compare(count: int, seed: int, runner: Path = RUNNER, after_batch: Callable[[Tally], None] | None = None) -> Tally:
    """Feeds `count` drawn frames to both codecs; after each fifth one both also make a frame of a drawn message."""
    mill = Mill(seed)
    tally = Tally()
    while tally.frames < count:
        _compare_batch(mill, min(BATCH, count - tally.frames), tally, runner)
        if after_batch is not None:
            after_batch(tally)
    return tally


def _compare_batch(mill: Mill, count: int, tally: Tally, runner: Path) -> None:
    asked: list[str] = []
    wanted: list[list[str]] = []
    for number in range(count):
        side, octets = mill.case()
        lines = lines_of(Decoder(side).feed(octets))
        tally.told.update(line if line.startswith("bad") else line.split(" ", 1)[0] for line in lines)
        if number % 5 == 0:
            message = mill.spoilt_message(side)
            lines.append(".")
            asked += [f"start {side}", f"feed {octets.hex()}", f"say {line_of(message)}"]
            frame = _frame_or_refused(message)
            wanted.append([*lines, frame])
            tally.told["refused" if frame == "refused" else "written"] += 1
        else:
            asked += [f"start {side}", f"feed {octets.hex()}"]
            wanted.append([*lines, "."])
    tally.frames += count
    got = ask(asked, runner)
    if got != "".join(line + "\n" for lines in wanted for line in lines):
        _tell_apart(asked, wanted, tally, runner)


def _frame_or_refused(message: Message) -> str:
    try:
        return encode(message).hex()
    except ValueError:
        return "refused"


def _tell_apart(asked: list[str], wanted: list[list[str]], tally: Tally, runner: Path) -> None:
    """Asks once more, case by case, for those that differ."""
    starts = [number for number, line in enumerate(asked) if line.startswith("start")] + [len(asked)]
    for number, lines in enumerate(wanted):
        case = asked[starts[number] : starts[number + 1]]
        got = ask(case, runner).splitlines()
        if got != lines:
            tally.disagreements += 1
            if len(tally.first) < SHOWN:
                tally.first.append(f"{case}\n  C      {got}\n  Python {lines}")
