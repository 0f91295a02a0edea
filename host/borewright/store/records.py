"""What comes out of the record file: plain immutable data, without the database."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:  # numpy stays unloaded where only lists are shown
    from borewright.core.samples import SampleColumns

__all__ = [
    "CaptureRecord",
    "CaptureState",
    "EngineRecord",
    "EventRecord",
    "FindingKind",
    "FindingRecord",
    "JobRecord",
    "LibraryRecord",
    "LoadedCapture",
    "PhotoRecord",
    "Purpose",
    "Stage",
    "Strength",
]

Stage = Literal["before", "after", "routine"]
CaptureState = Literal["running", "complete", "void", "crashed"]
Purpose = Literal["test", "stop_off", "wet", "sealed", "restrictor"]  # the middle two are of a cylinder, but never its plain test
FindingKind = Literal["heard", "flow", "stop_gauge", "note"]
Strength = Literal["none", "faint", "steady", "strong"]


@dataclass(frozen=True, slots=True)
class EngineRecord:
    """An engine file as it was when it was used; another content is another record."""

    id: int
    name: str
    document: Mapping[str, Any]
    saved_at_unix_s: float


@dataclass(frozen=True, slots=True)
class JobRecord:
    """One customer's engine at one stage.

    uid: 32 hex digits that stay with the job wherever it is exported to. details: see core.job_details. archived_at_unix_s: since
    when the job no longer stands in the usual list. deleted_reason: why it was deleted; None while it is not.
    """

    id: int
    name: str
    stage: Stage
    engine_id: int
    engine_name: str
    customer_reference: str
    technician: str
    created_at_unix_s: float
    deleted_at_unix_s: float | None = None
    uid: str = ""
    details: Mapping[str, Any] = field(default_factory=dict)
    archived_at_unix_s: float | None = None
    deleted_reason: str | None = None


@dataclass(frozen=True, slots=True)
class CaptureRecord:
    """One capture without its raw samples.

    cylinder is 0 where the capture is a check of the rig. declared holds what a person entered instead of measuring it. result is
    None unless the capture is complete, or void after it could be computed. laws: everything that turns raw words into the result,
    that is transducers, restrictor, air, temperatures, the rig's setup and the purpose. uid: 32 hex digits that stay with the
    capture wherever it is exported to.
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
    uid: str = ""


@dataclass(frozen=True, slots=True)
class FindingRecord:
    """What a person found at one cylinder, or (cylinder 0) at the whole engine. It is never rewritten, only tombstoned.

    detail by kind: "heard" {"strength"}, with "neighbour" where it is known at which other cylinder; "flow" {"orifice_area_m2",
    "u_orifice_relative", "p_place_gauge_pa", "u_p_place_pa", "p_cylinder_gauge_pa"}, the flow out of a place through a known
    orifice; "stop_gauge" {"p_place_gauge_pa"}, what the gauge on a stopped place showed during capture_id; "note" {"text"}.
    """

    id: int
    uid: str
    job_id: int
    cylinder: int
    kind: FindingKind
    place: str | None
    detail: Mapping[str, Any]
    said_by: str
    at_unix_s: float
    capture_id: int | None
    deleted_at_unix_s: float | None = None


@dataclass(frozen=True, slots=True)
class PhotoRecord:
    """A photo that belongs to a finding, without the picture itself. size: octets."""

    id: int
    finding_id: int
    name: str
    media_type: str
    width_px: int
    height_px: int
    sha256: str
    size: int


@dataclass(frozen=True, slots=True)
class LibraryRecord:
    """An engine of the library at its newest version; the older ones stay in the record for the jobs that used them."""

    name: str
    engine_id: int
    document: Mapping[str, Any]
    saved_at_unix_s: float


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
