"""Jobs out of the record, with everything that their numbers rest on.

That is engine, details, tests with their raw samples and log, findings, photos, the rigs and their checks. How it comes into
another record stands in store.transfer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from borewright import __version__
from borewright.errors import UseError
from borewright.store.job_file import FORMAT, VERSION
from borewright.store.transfer import CAPTURE_KEYS, FINDING_KEYS, JOB_KEYS, PHOTO_KEYS

if TYPE_CHECKING:
    from borewright.core.samples import SampleColumns
    from borewright.store.records import CaptureRecord, FindingRecord, JobRecord, PhotoRecord
    from borewright.store.store import Store

__all__ = ["Outgoing", "job_document", "outgoing"]

EXPORTED = ("test", "stop_off", "wet")


@dataclass(frozen=True, slots=True)
class Outgoing:
    """Jobs ready to be written: the document of job.json, the samples by the uid of their test, the photos by their SHA-256."""

    document: dict[str, Any]
    samples: dict[str, SampleColumns]
    photos: dict[str, bytes]


def outgoing(store: Store, chosen: Sequence[JobRecord]) -> Outgoing:
    """Everything of these jobs. Raises UseError while one of their tests is being recorded."""
    document = job_document(store, chosen)
    samples: dict[str, SampleColumns] = {}
    images: dict[str, bytes] = {}
    for job in chosen:
        counts = store.sample_counts(job.id)
        for capture in _captures(store, job):
            if counts.get(capture.id):
                samples[capture.uid] = store.load_columns(capture.id)
        for photo in store.list_photos(job.id):
            images[photo.sha256] = store.get_photo(photo.id)
    return Outgoing(document, samples, images)


def job_document(store: Store, chosen: Sequence[JobRecord]) -> dict[str, Any]:
    """The document of job.json, without samples and photos: what a .json file holds. Raises UseError as outgoing does."""
    listed = [_job_as_dict(store, job) for job in chosen]
    serials = sorted({capture["device_serial"] for job in listed for capture in job["captures"]} - {""})
    setups = {serial: store.get_rig(serial) for serial in serials}
    return {
        "format": FORMAT,
        "version": VERSION,
        "written_by": f"borewright {__version__}",
        "jobs": listed,
        "rigs": {serial: asdict(setup) for serial, setup in setups.items() if setup is not None},
        "rig_checks": [_plain(asdict(check)) for serial in serials for check in store.rig_checks_of(serial)],
    }


def _job_as_dict(store: Store, job: JobRecord) -> dict[str, Any]:
    engine, counts = store.get_engine(job.engine_id), store.sample_counts(job.id)
    listed = _captures(store, job)
    uids = {capture.id: capture.uid for capture in listed}
    found = store.list_findings(job.id, deleted=True)
    finding_uids = {finding.id: finding.uid for finding in found}
    return {
        **{key: _plain(getattr(job, key)) for key in JOB_KEYS},
        "engine": {"name": engine.name, "document": dict(engine.document)},
        "captures": [_capture_as_dict(store, capture, counts.get(capture.id, 0)) for capture in listed],
        "findings": [_finding_as_dict(finding, uids) for finding in found],
        "photos": [_photo_as_dict(photo, finding_uids) for photo in store.list_photos(job.id)],
    }


def _captures(store: Store, job: JobRecord) -> list[CaptureRecord]:
    listed = [capture for capture in store.list_captures(job.id, deleted=True) if capture.purpose in EXPORTED]
    running = next((capture for capture in listed if capture.state == "running"), None)
    if running is not None:
        raise UseError(f"test {running.id} of job {job.name!r} is being recorded; export the job when it is over")
    return listed


def _capture_as_dict(store: Store, capture: CaptureRecord, samples: int) -> dict[str, Any]:
    log = [
        {"kind": event.kind, "tick": event.tick, "monotonic_s": event.monotonic_s, "detail": dict(event.detail)}
        for event in store.load_events(capture.id)
    ]
    return {key: _plain(getattr(capture, key)) for key in CAPTURE_KEYS} | {
        "marks": list(capture.marks),
        "events": log,
        "samples": samples,
    }


def _finding_as_dict(finding: FindingRecord, uids: Mapping[int, str]) -> dict[str, Any]:
    capture = None if finding.capture_id is None else uids.get(finding.capture_id)
    return {key: _plain(getattr(finding, key)) for key in FINDING_KEYS} | {"capture": capture}


def _photo_as_dict(photo: PhotoRecord, uids: Mapping[int, str]) -> dict[str, Any]:
    return {key: getattr(photo, key) for key in PHOTO_KEYS} | {"finding": uids[photo.finding_id]}


def _plain(value: Any) -> Any:
    return dict(value) if isinstance(value, Mapping) else value
