"""Tests that a crash, a pulled plug or a full disk has cut off: which there are, and how one is put away.

The other way out of one is to finish it: service.finishing. Nothing here loads what analyses a test, since a list of jobs asks it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.errors import StoreError, UseError

if TYPE_CHECKING:
    from borewright.store import Store
    from borewright.store.records import CaptureRecord, JobRecord

__all__ = ["NOTHING", "CutOff", "cut_off_tests", "discard_cut_off", "named", "the_cut_off"]

NOTHING = "nothing of it had been recorded"


@dataclass(frozen=True, slots=True)
class CutOff:
    """A test that was cut off. job: None for a check of the rig. recorded_s: how long its samples reach; None: they are damaged."""

    capture: CaptureRecord
    job: JobRecord | None
    recorded_s: float | None

    @property
    def words(self) -> str:
        """What happened, in words without a full stop."""
        if self.recorded_s is None:
            kept = "what is recorded of it cannot be read"
        else:
            kept = f"{self.recorded_s:.1f} s of it are recorded" if self.recorded_s > 0.0 else NOTHING
        return f"{named(self.capture, self.job)} was cut off by a crash; {kept} (test {self.capture.id})"


def cut_off_tests(store: Store, job_id: int | None = None) -> tuple[CutOff, ...]:
    """Those that nobody has seen to, of a job or of the whole record, oldest first; those of deleted jobs are left out.

    Raises StoreError.
    """
    found = []
    for capture in store.list_cut_off(job_id):
        job = None if capture.job_id is None else store.get_job(capture.job_id)
        if job is None or job.deleted_at_unix_s is None:
            found.append(CutOff(capture, job, _recorded_s(store, capture.id)))
    return tuple(found)


def _recorded_s(store: Store, capture_id: int) -> float | None:
    """How long its samples reach; damaged ones must not keep anybody from a list or from the rig."""
    try:
        return store.recorded_s(capture_id)
    except StoreError:
        return None


def discard_cut_off(store: Store, capture_id: int, reason: str = "") -> CaptureRecord:
    """Put a test that was cut off away; its samples are kept. Raises UseError where it is no such test, StoreError."""
    capture = the_cut_off(store, capture_id)
    store.delete_capture(capture_id, reason or "cut off by a crash, discarded by hand")
    return capture


def named(capture: CaptureRecord, job: JobRecord | None) -> str:
    """A test in words. job: None for a check of the rig."""
    if job is None:
        return f"the {capture.purpose} check of the rig" if capture.cylinder == 0 else f"a test of cylinder {capture.cylinder}"
    kind = {"stop_off": "stop-off test", "wet": "wet test"}.get(capture.purpose, "test")
    return f"the {kind} of cylinder {capture.cylinder} in job {job.name}, {job.stage},"


def the_cut_off(store: Store, capture_id: int) -> CaptureRecord:
    """A test that was cut off. Raises UseError where this is none, StoreError."""
    capture = store.get_capture(capture_id)
    if capture.deleted_at_unix_s is not None:
        raise UseError(f"test {capture_id} has been discarded; look at `borewright job cut-off` for those that were cut off")
    if capture.state != "crashed":
        state = "still being recorded" if capture.state == "running" else capture.state
        raise UseError(f"test {capture_id} is {state}; only one that was cut off can be finished or discarded")
    return capture
