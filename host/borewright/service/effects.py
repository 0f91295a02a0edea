"""What the reducer wants done outside: frames sent, records written, the person told. Plain data; the bench carries it out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewire.messages import ToDevice

from borewright.core.rig import RigCheck
from borewright.core.samples import SampleColumns
from borewright.service.acts import Purpose
from borewright.service.readings import GaugeReading

__all__ = [
    "AirRefused",
    "Analyse",
    "BeginCapture",
    "Effect",
    "KeepChunk",
    "KeepEvent",
    "KeepFinding",
    "Level",
    "SaveCheck",
    "Say",
    "Send",
]

Level = Literal["note", "warning", "alarm"]


@dataclass(frozen=True, slots=True)
class Send:
    """Put this message onto the wire. Its request id has been given."""

    message: ToDevice


@dataclass(frozen=True, slots=True)
class BeginCapture:
    """Open a capture in the record."""

    purpose: Purpose


@dataclass(frozen=True, slots=True)
class KeepChunk:
    """Write these raw samples to the capture that is open."""

    columns: SampleColumns


@dataclass(frozen=True, slots=True)
class KeepEvent:
    """Write an event to the log of the capture that is open, or of the bench when none is."""

    kind: str
    tick: int
    detail: dict[str, object]


@dataclass(frozen=True, slots=True)
class KeepFinding:
    """Keep what somebody found at a place, tied to the capture that is open. kind and detail: as store.records.FindingRecord."""

    cylinder: int
    kind: Literal["heard", "flow", "stop_gauge"]
    place: str
    detail: dict[str, object]


@dataclass(frozen=True, slots=True)
class Analyse:
    """The capture is over: compute its result, or keep it as void with the reason.

    shut_s, ended_s: device times of the shut (None where there was none) and of the end, before the vent. readings: of a reference
    gauge, the one at vent first.
    """

    purpose: Purpose
    columns: SampleColumns
    shut_s: float | None
    ended_s: float
    void_reason: str | None
    marks: tuple[str, ...]
    readings: tuple[GaugeReading, ...] = ()


@dataclass(frozen=True, slots=True)
class SaveCheck:
    """Keep a check of the rig."""

    check: RigCheck


@dataclass(frozen=True, slots=True)
class Say:
    """Tell the person, in one sentence."""

    level: Level
    text: str


@dataclass(frozen=True, slots=True)
class AirRefused:
    """Air was asked for and is not given, for these reasons."""

    cylinder: int
    reasons: tuple[str, ...]


Effect = Send | BeginCapture | KeepChunk | KeepEvent | KeepFinding | Analyse | SaveCheck | Say | AirRefused
