"""What comes out of the record file: plain immutable data, without the database."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:  # numpy stays unloaded where only lists are shown
    from borewright.core.samples import SampleColumns

__all__ = [
    "CaptureRecord",
    "CaptureState",
    "EngineRecord",
    "EventRecord",
    "JobRecord",
    "LoadedCapture",
    "Purpose",
    "Stage",
]

Stage = Literal["before", "after", "routine"]
CaptureState = Literal["running", "complete", "void", "crashed"]
Purpose = Literal["test", "sealed", "restrictor"]


@dataclass(frozen=True, slots=True)
class EngineRecord:
    """An engine file as it was when it was used; another content is another record."""

    id: int
    name: str
    document: Mapping[str, Any]
    saved_at_unix_s: float


@dataclass(frozen=True, slots=True)
class JobRecord:
    """One customer's engine at one stage."""

    id: int
    name: str
    stage: Stage
    engine_id: int
    engine_name: str
    customer_reference: str
    technician: str
    created_at_unix_s: float
    deleted_at_unix_s: float | None = None


@dataclass(frozen=True, slots=True)
class CaptureRecord:
    """One capture without its raw samples.

    cylinder is 0 where the capture is a check of the rig. declared holds what a person entered instead of measuring it. result is
    None unless the capture is complete, or void after it could be computed. laws: everything that turns raw words into the result,
    that is transducers, restrictor, air, temperatures, the rig's setup and the purpose.
    """

    id: int
    job_id: int | None
    purpose: Purpose
    cylinder: int
    state: CaptureState
    started_at_unix_s: float
    ended_at_unix_s: float | None
    void_reason: str | None
    marks: tuple[str, ...]
    declared: Mapping[str, Any]
    result: Mapping[str, Any] | None
    laws: Mapping[str, Any]
    versions: Mapping[str, Any]
    readiness: Mapping[str, Any]
    device_serial: str
    deleted_at_unix_s: float | None = None


@dataclass(frozen=True, slots=True)
class EventRecord:
    """One line of the event log: tick in unwrapped device ticks (None where no device was there), monotonic_s of the host."""

    id: int
    capture_id: int | None
    kind: str
    tick: int | None
    monotonic_s: float
    detail: Mapping[str, Any]


@dataclass(frozen=True, slots=True, eq=False)
class LoadedCapture:
    """A capture with everything needed to compute its result anew."""

    meta: CaptureRecord
    columns: SampleColumns
    events: tuple[EventRecord, ...]
