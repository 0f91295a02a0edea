"""What the Jobs page asks of the record: the list, one job at a glance, two compared, one engine over time. Without Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from borewright.core.job_details import JobDetails
from borewright.errors import UseError
from borewright.service.comparing import compare_jobs
from borewright.service.counting_tests import is_declared
from borewright.service.engines import engine_from_document
from borewright.service.going_round import next_visit, progress
from borewright.service.limit_files import find_limits
from borewright.service.overlaying import overlaid
from borewright.service.repeated_tests import kept_budgets
from borewright.service.same_engine import what_differs
from borewright.service.trending import trend_of

if TYPE_CHECKING:
    from borewright.service.comparing import JobComparison
    from borewright.service.going_round import Visit
    from borewright.service.overlaying import Overlaid
    from borewright.service.trending import EngineTrend
    from borewright.store import Store
    from borewright.store.records import CaptureRecord, JobRecord, Stage

__all__ = [
    "Compared",
    "CylinderGlance",
    "JobGlance",
    "JobRow",
    "JobsFound",
    "compared",
    "find_jobs",
    "glance_at_job",
    "pair_for",
    "trended",
]


@dataclass(frozen=True, slots=True)
class JobRow:
    """One job of the list. tests: how many it holds that are not deleted."""

    job: JobRecord
    tests: int


@dataclass(frozen=True, slots=True)
class JobsFound:
    """The jobs that were looked for, the newest first. any_at_all: the record holds a job, whether it was looked for or not."""

    rows: tuple[JobRow, ...]
    any_at_all: bool


def find_jobs(store: Store, search: str, archived: bool, deleted: bool) -> JobsFound:
    """The jobs with a text in their name, reference, technician or engine; archived and deleted ones on wish. Raises StoreError."""
    found = store.list_jobs(deleted=deleted, archived=archived or deleted, search=search.strip())
    if not archived:  # a deleted job may have been archived before
        found = tuple(job for job in found if job.archived_at_unix_s is None or job.deleted_at_unix_s is not None)
    tests = store.count_captures()
    rows = tuple(JobRow(job, tests.get(job.id, 0)) for job in reversed(found))
    return JobsFound(rows, bool(rows) or bool(store.list_jobs(deleted=True, archived=True)))


@dataclass(frozen=True, slots=True)
class CylinderGlance:
    """One cylinder of a job: its latest test that counts.

    tests: complete ones. leakage_percent, expanded_percent: None where there is none. void_reason: of the last test, where no other
    is complete. declared: the reading was entered by hand.
    """

    cylinder: int
    tests: int
    leakage_percent: float | None
    expanded_percent: float | None
    void_reason: str | None
    declared: bool


@dataclass(frozen=True, slots=True)
class JobGlance:
    """A job at a glance.

    engine_words: one line of what the engine is. cylinders: in firing order, empty where the engine file is of an older kind.
    coming: the test that comes next, None when all is done. progress: of the tests, in one line. findings: how many were noted.
    same_engine: all jobs of this engine that are not deleted, this one too, oldest first. next_stage: which stage could be begun
    beside it now. pair: the two jobs, earlier and later, that one would compare.
    """

    job: JobRecord
    details: JobDetails
    engine_words: str
    cylinders: tuple[CylinderGlance, ...]
    coming: Visit | None
    progress: str
    findings: int
    same_engine: tuple[JobRecord, ...]
    next_stage: Stage | None
    pair: tuple[JobRecord, JobRecord] | None


def glance_at_job(store: Store, job_id: int) -> JobGlance:
    """A job at a glance. Raises StoreError where there is none of this number or its record cannot be read."""
    job = store.get_job(job_id)
    record = store.get_engine(job.engine_id)
    captures = store.list_captures(job.id)
    alike = tuple(other for other in store.list_jobs(archived=True) if what_differs(store, job, other) is None)
    try:
        details = JobDetails.from_dict(job.details)
    except ValueError:  # an older kind
        details = JobDetails()
    try:
        engine = engine_from_document(record.document, f"the engine of job {job.name}")
    except UseError as error:
        cylinders: tuple[int, ...] = tuple(sorted({one.cylinder for one in captures if one.cylinder}))
        words, coming, so_far = f"{record.name}: {error}", None, ""
    else:
        cylinders = engine.firing_order
        counted = f"{len(engine.cylinders)} cylinder{'s' if len(engine.cylinders) > 1 else ''}"
        words = f"{record.name}: {engine.cycle}, {counted}, firing order {'-'.join(map(str, engine.firing_order))}"
        limits = find_limits(None, record.document)
        coming = next_visit(engine, record.document, captures, limits, compares=job.stage != "routine")
        so_far = progress(engine, captures).words()
    return JobGlance(
        job=job,
        details=details,
        engine_words=words,
        cylinders=tuple(_cylinder(captures, cylinder) for cylinder in cylinders),
        coming=coming,
        progress=so_far,
        findings=len(store.list_findings(job.id)),
        same_engine=alike,
        next_stage=next_stage(store, job),
        pair=pair_for(job, alike),
    )


def _cylinder(captures: Sequence[CaptureRecord], cylinder: int) -> CylinderGlance:
    of_it = [one for one in captures if one.cylinder == cylinder and one.purpose == "test"]
    complete = [one for one in of_it if one.state == "complete" and (one.result or {}).get("leakage_percent") is not None]
    measured = [one for one in complete if not is_declared(one)]
    counting = measured or complete
    if not counting:
        reason = (of_it[-1].void_reason or "it was broken off") if of_it else None
        return CylinderGlance(cylinder, 0, None, None, reason, False)
    latest = counting[-1]
    budget = kept_budgets(latest).get("leakage")
    expanded = budget.expanded() if budget is not None and budget.items else None
    leakage_percent = float((latest.result or {})["leakage_percent"])
    return CylinderGlance(cylinder, len(counting), leakage_percent, expanded, None, not measured)


def next_stage(store: Store, job: JobRecord) -> Stage | None:
    """The stage that comes beside this job and is not there yet: after the rebuild, where this one is before it."""
    if job.stage != "before" or job.deleted_at_unix_s is not None or store.find_job(job.name, "after") is not None:
        return None
    return "after"


def pair_for(job: JobRecord, alike: Sequence[JobRecord]) -> tuple[JobRecord, JobRecord] | None:
    """The two jobs that one would hold against each other: before and after of the same name, else this one and the one before it.

    alike: the jobs of one engine, oldest first. None where there is no other.
    """
    of_name = {other.stage: other for other in alike if other.name == job.name}
    if "before" in of_name and "after" in of_name:
        return of_name["before"], of_name["after"]
    at = next((place for place, other in enumerate(alike) if other.id == job.id), None)
    if at is None or len(alike) < 2:
        return None
    return (alike[at - 1], alike[at]) if at else (alike[0], alike[1])


@dataclass(frozen=True, slots=True)
class Compared:
    """Two jobs held against each other, and the decays of their latest tests."""

    found: JobComparison
    curves: tuple[Overlaid, ...]


def compared(store: Store, before_id: int, after_id: int) -> Compared:
    """Two jobs compared. Raises UseError where they cannot be, StoreError."""
    found = compare_jobs(store, store.get_job(before_id), store.get_job(after_id))
    return Compared(found, tuple(overlaid(store, found)))


def trended(store: Store, job_id: int) -> EngineTrend:
    """The trend of this job's engine. Raises UseError where there is only one job of it with a finished test, StoreError."""
    return trend_of(store, store.get_job(job_id))
