"""What came of a run of the suite, as frozen data, as JSON and in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any, Final

from borewire.messages import PROTOCOL_MAJOR, PROTOCOL_MINOR, SCHEMA_FINGERPRINT, ChannelDescription, Identity

from borewright.core.plain_text import printable

__all__ = [
    "FORMAT",
    "FORMAT_VERSION",
    "Ending",
    "Figure",
    "Outcome",
    "Result",
    "Verdict",
    "result_lines",
    "summary_lines",
    "vented_figure",
    "verdict_as_dict",
    "verdict_lines",
]

FORMAT: Final = "borewright-conformance"
FORMAT_VERSION: Final = 1
INDENT: Final = " " * 14


class Outcome(Enum):
    """How one check ended."""

    PASSED = "passed"
    FAILED = "failed"
    NOT_TRIED = "not tried"


class Ending(Enum):
    """How the whole run ended; the value says it in the verdict. Only a run that came to its end judges the device."""

    COMPLETE = ""
    LINE_LOST = "The line was lost; no verdict on the rest."
    BROKEN_OFF = "Broken off; no verdict on the rest."


@dataclass(frozen=True, slots=True)
class Figure:
    """A number that was measured on the way: its name with unit and reference."""

    name: str
    value: float | int | str


def vented_figure(took_ms: float, since: str, why_before: str) -> Figure:
    """How long after something the device vented, in device ticks. why_before: how it can have vented before that.

    >>> vented_figure(0.4, "the HoldEvent", "which is told afterwards")
    Figure(name='vented_after_ms (from the HoldEvent, in device ticks)', value=0.4)
    >>> vented_figure(-0.1, "the HoldEvent", "which is told afterwards")
    Figure(name='vented_before_ms (before the HoldEvent, which is told afterwards; in device ticks)', value=0.1)
    """
    if took_ms < 0.0:
        return Figure(f"vented_before_ms (before {since}, {why_before}; in device ticks)", -took_ms)
    return Figure(f"vented_after_ms (from {since}, in device ticks)", took_ms)


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one check.

    requirement: what the page demands, in one line; section: where it says so. sentence: what was found, or why it was not tried.
    sent and came: the last messages of this check in words, kept when it failed.
    """

    name: str
    chapter: str
    section: str
    requirement: str
    outcome: Outcome
    sentence: str
    figures: tuple[Figure, ...] = ()
    sent: tuple[str, ...] = ()
    came: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Verdict:
    """A whole run. date: when, as ISO 8601 text. device: None when it did not say who it is."""

    date: str
    port: str
    program: str
    device: Identity | None
    channels: tuple[ChannelDescription, ...]
    results: tuple[Result, ...]
    ending: Ending = Ending.COMPLETE

    def count(self, outcome: Outcome) -> int:
        """How many checks ended so."""
        return sum(result.outcome is outcome for result in self.results)

    @property
    def conforms(self) -> bool:
        """Whether the run came to its end, something was tried and nothing of it failed."""
        return self.ending is Ending.COMPLETE and self.count(Outcome.PASSED) > 0 and self.count(Outcome.FAILED) == 0


def verdict_as_dict(verdict: Verdict) -> dict[str, Any]:
    """The verdict for JSON. A reader must refuse another `format_version` than it knows."""
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "date": verdict.date,
        "port": verdict.port,
        "program": verdict.program,
        "protocol": f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR}",
        "schema_fingerprint": f"{SCHEMA_FINGERPRINT:08X}",
        "device": _device(verdict),
        "ending": verdict.ending.name.lower(),
        "summary": {outcome.name.lower(): verdict.count(outcome) for outcome in Outcome},
        "results": [
            {
                "name": result.name,
                "chapter": result.chapter,
                "section": result.section,
                "requirement": result.requirement,
                "outcome": result.outcome.name.lower(),
                "sentence": result.sentence,
                "figures": {figure.name: figure.value for figure in result.figures},
                "sent": list(result.sent),
                "came": list(result.came),
            }
            for result in verdict.results
        ],
    }


def _device(verdict: Verdict) -> dict[str, Any] | None:
    device = verdict.device
    if device is None:
        return None
    return {
        "serial_number": device.serial_number,
        "firmware_version": device.firmware_version,
        "protocol": f"{device.protocol_major}.{device.protocol_minor}",
        "schema_fingerprint": f"{device.schema_fingerprint:08X}",
        "boot_id": device.boot_id,
        "tick_rate_hz": device.tick_rate_hz,
        "counts_per_rev": device.counts_per_rev,
        "max_rate_hz": device.max_rate_hz,
        "max_block_size": device.max_block_size,
        "fitted": [str(part.name).lower() for part in device.fitted],
        "channels": [channel.quantity.name.lower() for channel in verdict.channels],
        "streamed_channels": device.streamed_channels,
    }


# ---------------------------------------------------------------------- for people


def verdict_lines(verdict: Verdict) -> list[str]:
    """The verdict in plain words, line by line."""
    lines = [
        "Conformance of a device to the wire protocol of the leak-down rig",
        f"date      {verdict.date}",
        f"port      {verdict.port}",
        f"tried by  {verdict.program}, protocol {PROTOCOL_MAJOR}.{PROTOCOL_MINOR}, schema fingerprint 0x{SCHEMA_FINGERPRINT:08X}",
        f"device    {_device_words(verdict)}",
    ]
    chapter = ""
    for result in verdict.results:
        if result.chapter != chapter:
            chapter = result.chapter
            lines += ["", chapter]
        lines += result_lines(result)
    return [*lines, "", *summary_lines(verdict)]


def result_lines(result: Result) -> list[str]:
    """One check in words: what is demanded and where, how it ended; when it failed, what was sent and what came.

    >>> ok = Result("alive", "Answers", "PROTOCOL.md 5", "HostAlive is not answered.", Outcome.PASSED, "", (Figure("count", 3),))
    >>> print("\\n".join(result_lines(ok)))
      passed      alive: HostAlive is not answered. [PROTOCOL.md 5]
                  count 3
    """
    lines = [f"  {result.outcome.value:10}  {result.name}: {result.requirement} [{result.section}]"]
    if result.outcome is Outcome.FAILED:
        lines += [f"{INDENT}{_found(part)}" for part in result.sentence.split("\n")]
        lines += [f"{INDENT}sent  {words}" for words in result.sent]
        lines += [f"{INDENT}came  {words}" for words in result.came or ("nothing",)]
    elif result.sentence:
        lines.append(f"{INDENT}{result.sentence}")
    if result.figures:
        lines.append(INDENT + ", ".join(f"{figure.name} {_number(figure.value)}" for figure in result.figures))
    return lines


def _found(part: str) -> str:
    return part[:1].upper() + part[1:]


def _number(value: float | int | str) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def summary_lines(verdict: Verdict) -> list[str]:
    """The end of the verdict: how many of each, and what that means; last, why there is none on the rest."""
    counts = ", ".join(f"{verdict.count(outcome)} {outcome.value}" for outcome in Outcome)
    failed = [result.name for result in verdict.results if result.outcome is Outcome.FAILED]
    if failed:
        meaning = f"The device does not do what the page demands: {', '.join(failed)}."
    elif verdict.count(Outcome.PASSED):
        meaning = "All that was tried passed. What was not tried is not proven."
    else:
        meaning = "Nothing was tried, so nothing is proven."
    return [counts, meaning, *([verdict.ending.value] if verdict.ending.value else [])]


def _device_words(verdict: Verdict) -> str:
    device = verdict.device
    if device is None:
        return "it did not say who it is"
    fitted = ", ".join(str(part.name).lower().replace("_", " ") for part in device.fitted) or "neither valves nor switch"
    same = "the same" if device.schema_fingerprint == SCHEMA_FINGERPRINT else f"another one: 0x{device.schema_fingerprint:08X}"
    return (
        f"{printable(device.serial_number) or 'without a serial number'}, "
        f"firmware {printable(device.firmware_version) or 'without a version'}, protocol "
        f"{device.protocol_major}.{device.protocol_minor}, schema fingerprint {same}; fitted: {fitted}"
    )
