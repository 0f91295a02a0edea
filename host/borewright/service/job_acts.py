"""What a person does to jobs in the record: begin one, begin the stage beside it, put it away and bring it back. Without Qt.

Each is an act of one transaction on the record's own thread; nothing is ever removed from the file.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Literal

from borewright.errors import StoreError, UseError
from borewright.service.declaring import declare
from borewright.service.engine_library import the_engine
from borewright.service.names import checked_line
from borewright.service.view_jobs import next_stage

if TYPE_CHECKING:
    from borewright.service.declaring import DeclaredReading
    from borewright.service.job_form import CheckedJob
    from borewright.store import Store
    from borewright.store.records import JobRecord, Stage

__all__ = [
    "archive_job",
    "away_words",
    "begin_job",
    "begin_next_stage",
    "change_facts",
    "declare_reading",
    "delete_job",
    "engine_names",
    "restore_job",
]

BY_HAND = "deleted by hand"


def engine_names(store: Store) -> tuple[str, ...]:
    """The engines that a new job can be begun with: those of the library, by name. Raises StoreError."""
    return tuple(entry.name for entry in store.list_library())


def begin_job(store: Store, checked: CheckedJob, stage: Stage, engine: str | Mapping[str, Any]) -> JobRecord:
    """Begin a job. engine: a name of the library, or an engine's document. Raises UseError for an engine that is none, StoreError
    for a name that is taken."""
    document = the_engine(store, engine).document if isinstance(engine, str) else engine
    engine_id = store.save_engine(document["name"], document)
    return store.get_job(store.create_job(checked.name, stage, engine_id, checked.customer, checked.technician, checked.details))


def begin_next_stage(store: Store, job_id: int) -> JobRecord:
    """Begin the stage after this one, of the same engine, customer and technician. How far the engine has run and how warm it was
    on that day is not taken over. Raises UseError where there is no such stage, StoreError where it is there already."""
    job = store.get_job(job_id)
    stage = next_stage(store, job)
    if stage is None:
        raise UseError(f"job {job.name!r} at stage {job.stage!r} has no stage that could be begun beside it; begin a new job")
    return store.get_job(store.create_job(job.name, stage, job.engine_id, job.customer_reference, job.technician, {}))


def change_facts(store: Store, job_id: int, checked: CheckedJob) -> JobRecord:
    """Keep what was changed; the log keeps what stood there. Raises StoreError where the new name is another job's."""
    store.change_job(
        job_id, name=checked.name, customer_reference=checked.customer, technician=checked.technician, details=checked.details
    )
    return store.get_job(job_id)


def archive_job(store: Store, job_id: int, archived: bool) -> JobRecord:
    """Out of the usual list, or back into it."""
    store.archive_job(job_id, archived)
    return store.get_job(job_id)


def delete_job(store: Store, job_id: int, reason: str) -> JobRecord:
    """Mark a job as deleted; its tests are kept. Raises UseError for a reason that is no line, StoreError."""
    store.delete_job(job_id, checked_line(reason, "the reason") or BY_HAND)
    return store.get_job(job_id)


def restore_job(store: Store, job_id: int) -> JobRecord | Literal["taken"]:
    """Bring a deleted job back; "taken" where another has its name and stage by now, and it stays deleted. Raises StoreError."""
    job = store.get_job(job_id)
    if job.deleted_at_unix_s is not None and store.find_job(job.name, job.stage) is not None:
        return "taken"
    store.restore_job(job_id)
    return store.get_job(job_id)


def declare_reading(store: Store, job_id: int, cylinder: int, reading: DeclaredReading) -> int:
    """Keep a declared reading as a test of a cylinder; its number. Raises UseError as declare does, StoreError."""
    job = store.get_job(job_id)
    if job.deleted_at_unix_s is not None:
        raise StoreError(f"job {job.name!r} is deleted; bring it back before a reading is declared in it")
    return declare(store, job, cylinder, reading)


def away_words(job: JobRecord) -> str:
    """What became of a job, for the person: living ones have no words."""
    if job.deleted_at_unix_s is not None:
        return f"deleted: {job.deleted_reason}"
    return "archived" if job.archived_at_unix_s is not None else ""
