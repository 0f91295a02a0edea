"""Engines and jobs in the record."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from borewright.errors import StoreError
from borewright.store import rows
from borewright.store.database import Database, new_id
from borewright.store.records import EngineRecord, EventRecord, JobRecord, Stage
from borewright.store.schema import captures, engines, events, jobs
from borewright.store.search import found_in

__all__ = ["Jobs", "keep_engine"]


class Jobs(Database):
    """The part of the Store that knows engines and jobs."""

    def save_engine(self, name: str, document: Mapping[str, Any]) -> int:
        """Keep an engine file's content; the same content gives the same id."""
        with self._write() as connection:
            return keep_engine(connection, name, document, self._clock())

    def get_engine(self, engine_id: int) -> EngineRecord:
        """The engine with this id."""
        with self._read() as connection:
            row = connection.execute(sa.select(engines).where(engines.c.id == engine_id)).one_or_none()
        if row is None:
            raise StoreError(f"there is no engine {engine_id} in {self.path}; look at the list of jobs")
        return rows.engine(row)

    def create_job(
        self,
        name: str,
        stage: Stage,
        engine_id: int,
        customer_reference: str = "",
        technician: str = "",
        details: Mapping[str, Any] | None = None,
    ) -> int:
        """Begin a job. details: as core.job_details writes them. Raises StoreError when one of this name and stage is there."""
        with self._write() as connection:
            self._require_free(connection, name, stage)
            return new_id(
                connection.execute(
                    jobs.insert().values(
                        uid=self._new_uid(),
                        name=name,
                        stage=stage,
                        engine_id=engine_id,
                        customer_reference=customer_reference,
                        technician=technician,
                        details=dict(details or {}),
                        created_at_unix_s=self._clock(),
                    )
                )
            )

    def change_job(
        self,
        job_id: int,
        *,
        name: str | None = None,
        customer_reference: str | None = None,
        technician: str | None = None,
        details: Mapping[str, Any] | None = None,
    ) -> None:
        """Change what is given; the log keeps what stood there before. Raises StoreError when the new name is another job's."""
        given = {"name": name, "customer_reference": customer_reference, "technician": technician}
        wanted: dict[str, Any] = {key: value for key, value in given.items() if value is not None}
        if details is not None:
            wanted["details"] = dict(details)
        with self._write() as connection:
            row = self._living(connection, job_id)
            now = {key: value for key, value in wanted.items() if getattr(row, key) != value}
            if not now:
                return
            if "name" in now:
                self._require_free(connection, now["name"], row.stage)
            connection.execute(jobs.update().where(jobs.c.id == job_id).values(now))
            self._log_change(connection, "job", job_id, {key: getattr(row, key) for key in now}, now)

    def archive_job(self, job_id: int, archived: bool) -> None:
        """Put a job out of the usual list, or back into it. Doing so twice does nothing."""
        with self._write() as connection:
            was = self._living(connection, job_id).archived_at_unix_s
            if (was is not None) == archived:
                return
            now = self._clock() if archived else None
            connection.execute(jobs.update().where(jobs.c.id == job_id).values(archived_at_unix_s=now))
            self._log_change(connection, "job", job_id, {"archived_at_unix_s": was}, {"archived_at_unix_s": now})

    def get_job(self, job_id: int) -> JobRecord:
        """The job with this id, archived or deleted or not."""
        with self._read() as connection:
            row = connection.execute(rows.JOBS.where(jobs.c.id == job_id)).one_or_none()
        if row is None:
            raise StoreError(f"there is no job {job_id} in {self.path}; look at the list of jobs")
        return rows.job(row)

    def find_job(self, name: str, stage: Stage) -> JobRecord | None:
        """The job of this name and stage, archived or not, if there is one that has not been deleted."""
        with self._read() as connection:
            row = connection.execute(rows.living_job(name, stage)).one_or_none()
        return None if row is None else rows.job(row)

    def list_jobs(self, deleted: bool = False, archived: bool = False, search: str = "") -> tuple[JobRecord, ...]:
        """The jobs, oldest first; with deleted=True also those marked as deleted, with archived=True also the archived ones.

        search: a part of the name, the customer reference, the technician or the engine's name, in letters of either case.
        """
        query = rows.JOBS.order_by(jobs.c.id)
        if not deleted:
            query = query.where(jobs.c.deleted_at_unix_s.is_(None))
        if not archived:
            query = query.where(jobs.c.archived_at_unix_s.is_(None))
        with self._read() as connection:
            if search:
                # written into the statement: SQLite takes only so many parameters
                found: sa.BindParameter[Any] = sa.bindparam(
                    "found", _found(connection, search), expanding=True, literal_execute=True
                )
                query = query.where(jobs.c.id.in_(found))
            return tuple(map(rows.job, connection.execute(query).all()))

    def count_captures(self) -> Mapping[int, int]:
        """How many tests each job has that are not deleted; a job without any is not in it."""
        query = (
            sa.select(captures.c.job_id, sa.func.count())
            .where(captures.c.job_id.is_not(None), captures.c.deleted_at_unix_s.is_(None))
            .group_by(captures.c.job_id)
        )
        with self._read() as connection:
            return {job_id: count for job_id, count in connection.execute(query).all() if job_id is not None}

    def job_changes(self, job_id: int) -> tuple[EventRecord, ...]:
        """What was changed of a job itself, oldest first: detail "was" and "now", at "at_unix_s"."""
        query = sa.select(events).where(events.c.capture_id.is_(None), events.c.kind == "job_changed").order_by(events.c.id)
        with self._read() as connection:
            return tuple(rows.event(row) for row in connection.execute(query) if row.detail["job_id"] == job_id)

    def delete_job(self, job_id: int, reason: str) -> None:
        """Mark a job as deleted. Nothing of it is removed from the file."""
        self._bury(jobs, "job", job_id, reason)

    def restore_job(self, job_id: int) -> None:
        """Take a deletion back. Raises StoreError when another job has the name meanwhile."""
        with self._write() as connection:
            row = connection.execute(sa.select(jobs).where(jobs.c.id == job_id)).one_or_none()
            if row is not None and row.deleted_at_unix_s is not None:
                self._require_free(connection, row.name, row.stage, f"rename that one before job {job_id} comes back")
            self._unbury(connection, jobs, "job", job_id)

    # ------------------------------------------------------------ inside

    def _require_free(
        self, connection: sa.Connection, name: str, stage: Stage, to_do: str = "go on with it or choose another name"
    ) -> None:
        if connection.execute(rows.living_job(name, stage)).one_or_none() is not None:
            raise StoreError(f"job {name!r} at stage {stage!r} is in {self.path} already; {to_do}")

    def _living(self, connection: sa.Connection, job_id: int) -> sa.Row[Any]:
        row = connection.execute(sa.select(jobs).where(jobs.c.id == job_id, jobs.c.deleted_at_unix_s.is_(None))).one_or_none()
        if row is None:
            raise StoreError(f"there is no job {job_id} in {self.path} that could be changed; look at the list of jobs")
        return row


def _found(connection: sa.Connection, search: str) -> Sequence[int]:
    """The jobs in which a text is found. The database is not asked to look: it knows the letters of English only."""
    texts = (jobs.c.name, jobs.c.customer_reference, jobs.c.technician, engines.c.name)
    rows_of_texts = connection.execute(sa.select(jobs.c.id, *texts).join_from(jobs, engines))
    return [job_id for job_id, *of_job in rows_of_texts if found_in(search, *of_job)]


def keep_engine(connection: sa.Connection, name: str, document: Mapping[str, Any], now_unix_s: float) -> int:
    """The id of an engine of this name and content, which is added if it is not there."""
    text = json.dumps(document, sort_keys=True, ensure_ascii=False, allow_nan=False)
    sha256 = hashlib.sha256(f"{name}\n{text}".encode()).hexdigest()
    known = connection.execute(sa.select(engines.c.id).where(engines.c.sha256 == sha256)).scalar_one_or_none()
    if known is not None:
        return int(known)
    values = {"name": name, "sha256": sha256, "document": dict(document), "saved_at_unix_s": now_unix_s}
    return new_id(connection.execute(engines.insert().values(values)))
