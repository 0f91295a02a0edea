"""What the window asks of the record for itself: the job to open, and the cautions that were read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from borewright.core.engine import Engine
from borewright.service.engines import engine_from_document
from borewright.store.records import JobRecord
from borewright.store.store import Store

__all__ = ["OpenJob", "job_to_open", "note_caution"]


@dataclass(frozen=True, slots=True)
class OpenJob:
    """A job with its engine, and the engine's file as the record keeps it."""

    job: JobRecord
    engine: Engine
    document: Mapping[str, Any]


def job_to_open(store: Store, job_id: int) -> OpenJob:
    """A job by its number. Raises StoreError where there is none, UseError for an engine that cannot be used."""
    job = store.get_job(job_id)
    document = dict(store.get_engine(job.engine_id).document)
    return OpenJob(job, engine_from_document(document, f"the engine of job {job.name!r}"), document)


def note_caution(store: Store, job_uid: str, name: str, text: str, who: str, monotonic_s: float) -> None:
    """Keep in the event log that somebody read a caution before the act that it belongs to."""
    store.append_event(None, "caution_read", None, monotonic_s, {"job": job_uid, "caution": name, "text": text, "who": who})
