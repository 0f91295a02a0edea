"""Rows of the database as records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from borewright.errors import StoreError
from borewright.store.records import (
    CaptureRecord,
    EngineRecord,
    EventRecord,
    FindingRecord,
    JobRecord,
    LibraryRecord,
    PhotoRecord,
    Stage,
)
from borewright.store.schema import engines, jobs

if TYPE_CHECKING:
    from borewright.core.rig import RigCheck, RigSetup

__all__ = ["JOBS", "capture", "engine", "event", "finding", "job", "library_entry", "living_job", "photo", "rig_check", "rig_setup"]

# its columns stand as the fields of JobRecord do, so that a long list is not looked up by name field by field
JOBS = sa.select(
    *(engines.c.name.label("engine_name") if field.name == "engine_name" else jobs.c[field.name] for field in fields(JobRecord))
).join_from(jobs, engines)


def living_job(name: str, stage: Stage) -> sa.Select[Any]:
    """The query for the job of a name and stage that has not been deleted; there is at most one."""
    return JOBS.where(jobs.c.name == name, jobs.c.stage == stage, jobs.c.deleted_at_unix_s.is_(None))


def engine(row: sa.Row[Any]) -> EngineRecord:
    """A row of engines."""
    return EngineRecord(row.id, row.name, row.document, row.saved_at_unix_s)


def job(row: sa.Row[Any]) -> JobRecord:
    """A row of JOBS."""
    values: Sequence[Any] = row
    return JobRecord(*values)


def capture(row: sa.Row[Any]) -> CaptureRecord:
    """A row of captures."""
    values = {field.name: getattr(row, field.name) for field in fields(CaptureRecord)}
    return CaptureRecord(**(values | {"marks": tuple(row.marks)}))


def finding(row: sa.Row[Any]) -> FindingRecord:
    """A row of findings."""
    return FindingRecord(**{field.name: getattr(row, field.name) for field in fields(FindingRecord)})


def photo(row: sa.Row[Any]) -> PhotoRecord:
    """A row of photos, with or without the picture."""
    return PhotoRecord(**{field.name: getattr(row, field.name) for field in fields(PhotoRecord)})


def library_entry(row: sa.Row[Any]) -> LibraryRecord:
    """A row of the library with its engine's document."""
    return LibraryRecord(row.name, row.engine_id, row.document, row.saved_at_unix_s)


def event(row: sa.Row[Any]) -> EventRecord:
    """A row of events."""
    return EventRecord(row.id, row.capture_id, row.kind, row.tick, row.monotonic_s, row.detail)


def rig_check(row: sa.Row[Any]) -> RigCheck:
    """A row of rig_checks."""
    from borewright.core.rig import RigCheck  # noqa: PLC0415 -- core.rig loads numpy

    return RigCheck(row.kind, row.made_at_unix_s, row.made_by, row.device_serial, row.passed, row.result)


def rig_setup(saved: Mapping[str, Any], path: Path) -> RigSetup:
    """A saved rig. Values that this program does not know are refused rather than dropped."""
    from borewright.core.rig import RigSetup  # noqa: PLC0415 -- core.rig loads numpy

    try:
        return RigSetup(**saved)
    except TypeError as error:
        raise StoreError(f"the rig saved in {path} does not fit this program ({error}); save it anew") from error
