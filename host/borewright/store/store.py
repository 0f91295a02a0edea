"""The record: jobs, engines, captures with their raw samples and event log, checks of the rig.

One SQLite file through SQLAlchemy Core. Every call is one transaction that is on the disk when the call returns, so that a crash, a
pulled plug or a full disk loses at most what had not been handed over. Raw samples and the log are only ever added to: the file
itself refuses to change them. Deleting marks a row and keeps it.

Every method raises StoreError when the file cannot be read or written, and ValueError for values that JSON has no word for (NaN,
infinity, objects); nothing has been written then. A Store may be used from several threads.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import sqlalchemy as sa

from borewright.errors import StoreError
from borewright.store import rows
from borewright.store.errors import os_error
from borewright.store.lease import Lease
from borewright.store.opening import in_words, open_engine
from borewright.store.records import CaptureRecord, EngineRecord, EventRecord, JobRecord, LoadedCapture, Purpose, Stage
from borewright.store.schema import capture_chunks, captures, engines, events, jobs, rig_checks, rigs

if TYPE_CHECKING:
    from borewright.core.rig import RigCheck, RigSetup
    from borewright.core.samples import SampleColumns

__all__ = ["Line", "Store"]

Line = tuple[str, int | None, float, Mapping[str, Any]]  # kind, device tick, host's monotonic seconds, detail

CRASHED = "the program ended in the middle of this test"


class Store:
    """One open record file.

    >>> with Store.open(getfixture("tmp_path") / "shop.borewright") as store:
    ...     engine = store.save_engine("demo four", {"bore_mm": 86.0})
    ...     job = store.create_job("hill-climb 7", "before", engine)
    ...     [(j.name, j.stage) for j in store.list_jobs()]
    [('hill-climb 7', 'before')]
    """

    def __init__(self, path: Path, engine: sa.Engine, clock: Callable[[], float]) -> None:
        self.path = path
        self._engine = engine
        self._writing = engine.execution_options(writes=True)
        self._clock = clock
        self._lease = Lease(path)

    @classmethod
    def open(cls, path: str | Path, create: bool = True, *, busy_s: float = 5.0, clock: Callable[[], float] = time.time) -> Self:
        """Open a record file, or make it.

        busy_s: how long to wait for another program that writes. clock: seconds since 1970. Captures that a crash left running are
        closed as crashed and kept. Raises StoreError when the file is missing (create=False), not ours, newer than this program,
        locked, damaged, or may not be written.
        """
        where = Path(path)
        store = cls(where, open_engine(where, create, busy_s), clock)
        try:
            store._close_crashed()
        except BaseException:
            store.close()
            raise
        return store

    def close(self) -> None:
        """Close the file. A capture that is still running will be found as crashed."""
        self._engine.dispose()
        self._lease.give_back()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    # ------------------------------------------------------------ engines, jobs

    def save_engine(self, name: str, document: Mapping[str, Any]) -> int:
        """Keep an engine file's content; the same content gives the same id."""
        text = json.dumps(document, sort_keys=True, ensure_ascii=False, allow_nan=False)
        sha256 = hashlib.sha256(f"{name}\n{text}".encode()).hexdigest()
        with self._write() as connection:
            known = connection.execute(sa.select(engines.c.id).where(engines.c.sha256 == sha256)).scalar_one_or_none()
            if known is not None:
                return int(known)
            return _new_id(
                connection.execute(
                    engines.insert().values(name=name, sha256=sha256, document=dict(document), saved_at_unix_s=self._clock())
                )
            )

    def get_engine(self, engine_id: int) -> EngineRecord:
        """The engine with this id."""
        with self._read() as connection:
            row = connection.execute(sa.select(engines).where(engines.c.id == engine_id)).one_or_none()
        if row is None:
            raise StoreError(f"there is no engine {engine_id} in {self.path}; look at the list of jobs")
        return rows.engine(row)

    def create_job(self, name: str, stage: Stage, engine_id: int, customer_reference: str = "", technician: str = "") -> int:
        """Begin a job. Raises StoreError when one of this name and stage is there already."""
        with self._write() as connection:
            if connection.execute(rows.living_job(name, stage)).one_or_none() is not None:
                raise StoreError(f"job {name!r} at stage {stage!r} is in {self.path} already; go on with it or choose another name")
            return _new_id(
                connection.execute(
                    jobs.insert().values(
                        name=name,
                        stage=stage,
                        engine_id=engine_id,
                        customer_reference=customer_reference,
                        technician=technician,
                        created_at_unix_s=self._clock(),
                    )
                )
            )

    def get_job(self, job_id: int) -> JobRecord:
        """The job with this id, deleted or not."""
        with self._read() as connection:
            row = connection.execute(rows.JOBS.where(jobs.c.id == job_id)).one_or_none()
        if row is None:
            raise StoreError(f"there is no job {job_id} in {self.path}; look at the list of jobs")
        return rows.job(row)

    def find_job(self, name: str, stage: Stage) -> JobRecord | None:
        """The job of this name and stage, if there is one that has not been deleted."""
        with self._read() as connection:
            row = connection.execute(rows.living_job(name, stage)).one_or_none()
        return None if row is None else rows.job(row)

    def list_jobs(self, deleted: bool = False) -> tuple[JobRecord, ...]:
        """All jobs, oldest first; with deleted=True also those marked as deleted."""
        query = rows.JOBS.order_by(jobs.c.id)
        if not deleted:
            query = query.where(jobs.c.deleted_at_unix_s.is_(None))
        with self._read() as connection:
            return tuple(rows.job(row) for row in connection.execute(query))

    def delete_job(self, job_id: int, reason: str) -> None:
        """Mark a job as deleted. Nothing of it is removed from the file."""
        self._bury(jobs, "job", job_id, reason)

    # ------------------------------------------------------------ the rig

    def save_rig(self, device_serial: str, setup: RigSetup) -> None:
        """Keep what the host has to know of a rig; the last saved counts."""
        values = {"setup": asdict(setup), "saved_at_unix_s": self._clock()}
        with self._write() as connection:
            if connection.execute(rigs.update().where(rigs.c.device_serial == device_serial).values(values)).rowcount == 0:
                connection.execute(rigs.insert().values(device_serial=device_serial, **values))

    def get_rig(self, device_serial: str) -> RigSetup | None:
        """What was saved of a rig, or None."""
        with self._read() as connection:
            found = connection.execute(sa.select(rigs.c.setup).where(rigs.c.device_serial == device_serial)).scalar_one_or_none()
        return None if found is None else rows.rig_setup(found, self.path)

    def add_rig_check(self, check: RigCheck, capture_id: int | None = None) -> int:
        """Keep a check of the rig, with the capture that it was read from."""
        with self._write() as connection:
            return _new_id(connection.execute(rig_checks.insert().values(**asdict(check), capture_id=capture_id)))

    def latest_rig_checks(self, device_serial: str) -> dict[str, RigCheck]:
        """The newest check of each kind of one device, passed or not."""
        query = sa.select(rig_checks).where(rig_checks.c.device_serial == device_serial)
        with self._read() as connection:
            found = connection.execute(query.order_by(rig_checks.c.made_at_unix_s, rig_checks.c.id)).all()
        return {row.kind: rows.rig_check(row) for row in found}

    def checked_rigs(self) -> tuple[str, ...]:
        """The serial numbers of the rigs that have been checked, in order."""
        query = sa.select(rig_checks.c.device_serial).distinct().order_by(rig_checks.c.device_serial)
        with self._read() as connection:
            return tuple(connection.execute(query).scalars())

    # ------------------------------------------------------------ captures

    def begin_capture(
        self,
        job_id: int | None,
        cylinder: int,
        *,
        purpose: Purpose = "test",
        device_serial: str = "",
        declared: Mapping[str, Any] | None = None,
        laws: Mapping[str, Any] | None = None,
        versions: Mapping[str, Any] | None = None,
        readiness: Mapping[str, Any] | None = None,
    ) -> int:
        """Open a capture; everything that its result depends on beside raw samples and events goes in here.

        Raises StoreError when another program is recording into this file.
        """
        self._take_lease()
        with self._write() as connection:
            return _new_id(
                connection.execute(
                    captures.insert().values(
                        job_id=job_id,
                        cylinder=cylinder,
                        purpose=purpose,
                        state="running",
                        started_at_unix_s=self._clock(),
                        marks=[],
                        declared=dict(declared or {}),
                        laws=dict(laws or {}),
                        versions=dict(versions or {}),
                        readiness=dict(readiness or {}),
                        device_serial=device_serial,
                    )
                )
            )

    def append(self, capture_id: int | None, chunks: Sequence[SampleColumns] = (), lines: Sequence[Line] = ()) -> None:
        """Add raw samples and lines of the log to a capture that is running, or lines to the bench's log (None): all or nothing.

        A line is (kind, tick, monotonic_s, detail). Chunks without samples add nothing.
        """
        from borewright.store.packing import pack  # noqa: PLC0415 -- keeps numpy off the path that only lists

        if chunks and capture_id is None:
            raise ValueError("chunks: samples belong to a capture")
        packed = [{"capture_id": capture_id, "sample_count": len(chunk), "packed": pack(chunk)} for chunk in chunks if len(chunk)]
        logged = [
            {"capture_id": capture_id, "kind": kind, "tick": tick, "monotonic_s": monotonic_s, "detail": dict(detail)}
            for kind, tick, monotonic_s, detail in lines
        ]
        with self._write() as connection:
            if capture_id is not None:
                self._require_running(connection, capture_id)
            if packed:
                last = sa.select(sa.func.max(capture_chunks.c.number)).where(capture_chunks.c.capture_id == capture_id)
                first = int(connection.execute(last).scalar_one() or 0) + 1
                connection.execute(capture_chunks.insert(), [row | {"number": first + k} for k, row in enumerate(packed)])
            if logged:
                connection.execute(events.insert(), logged)

    def append_chunk(self, capture_id: int, columns: SampleColumns) -> None:
        """Add raw samples to a capture that is running."""
        self.append(capture_id, chunks=[columns])

    def append_event(
        self, capture_id: int | None, kind: str, tick: int | None, monotonic_s: float, detail: Mapping[str, Any] | None = None
    ) -> None:
        """Add a line to the log of a capture that is running, or of the bench (None)."""
        self.append(capture_id, lines=[(kind, tick, monotonic_s, detail or {})])

    def finish_capture(
        self,
        capture_id: int,
        result: Mapping[str, Any] | None = None,
        *,
        void_reason: str | None = None,
        marks: Sequence[str] = (),
        declared: Mapping[str, Any] | None = None,
        readiness: Mapping[str, Any] | None = None,
    ) -> None:
        """End a capture: complete with its result, or void with the reason (and a result, if there is one).

        declared and readiness, where given, take the place of what begin_capture was told. Raises ValueError when there is neither
        a result nor a reason, StoreError when the capture is not running.
        """
        if result is None and void_reason is None:
            raise ValueError("result: a capture ends with a result or with the reason why it is void")
        values: dict[str, Any] = {
            "state": "complete" if void_reason is None else "void",
            "ended_at_unix_s": self._clock(),
            "void_reason": void_reason,
            "result": None if result is None else dict(result),
            "marks": list(marks),
        }
        values |= {name: dict(value) for name, value in (("declared", declared), ("readiness", readiness)) if value is not None}
        with self._write() as connection:
            self._require_running(connection, capture_id)
            connection.execute(captures.update().where(captures.c.id == capture_id).values(values))

    def list_captures(self, job_id: int | None = None, deleted: bool = False) -> tuple[CaptureRecord, ...]:
        """The captures of a job, or of the whole file, oldest first."""
        query = sa.select(captures).order_by(captures.c.id)
        if job_id is not None:
            query = query.where(captures.c.job_id == job_id)
        if not deleted:
            query = query.where(captures.c.deleted_at_unix_s.is_(None))
        with self._read() as connection:
            return tuple(rows.capture(row) for row in connection.execute(query))

    def get_capture(self, capture_id: int) -> CaptureRecord:
        """One capture without its samples."""
        with self._read() as connection:
            row = connection.execute(sa.select(captures).where(captures.c.id == capture_id)).one_or_none()
        if row is None:
            raise StoreError(f"there is no test {capture_id} in {self.path}; look at the list of the job")
        return rows.capture(row)

    def load_events(self, capture_id: int | None) -> tuple[EventRecord, ...]:
        """The log of a capture, or of the bench (None), in the order in which it was written."""
        query = sa.select(events).where(events.c.capture_id == capture_id).order_by(events.c.id)
        with self._read() as connection:
            return tuple(rows.event(row) for row in connection.execute(query))

    def load_columns(self, capture_id: int) -> SampleColumns:
        """All raw samples of a capture. Raises StoreError when it has none or when they are damaged."""
        from borewright.core.samples import SampleColumns  # noqa: PLC0415 -- as in append_chunk
        from borewright.store.packing import unpack  # noqa: PLC0415

        of_it = capture_chunks.c.capture_id == capture_id
        query = sa.select(capture_chunks.c.packed).where(of_it).order_by(capture_chunks.c.number)
        with self._read() as connection:
            packed = list(connection.execute(query).scalars())
        if not packed:
            raise StoreError(f"test {capture_id} in {self.path} holds no samples; test the cylinder again")
        try:
            return SampleColumns.join([unpack(part) for part in packed])
        except ValueError as error:
            raise StoreError(
                f"the samples of test {capture_id} in {self.path} cannot be read ({error}); keep a copy of the file"
            ) from error

    def load_capture(self, capture_id: int) -> LoadedCapture:
        """A capture with its samples and its log: enough to compute its result anew."""
        return LoadedCapture(self.get_capture(capture_id), self.load_columns(capture_id), self.load_events(capture_id))

    def delete_capture(self, capture_id: int, reason: str) -> None:
        """Mark a capture as deleted. Nothing of it is removed from the file."""
        self._bury(captures, "test", capture_id, reason)

    # ------------------------------------------------------------ inside

    @contextmanager
    def _read(self) -> Iterator[sa.Connection]:
        try:
            with self._engine.connect() as connection:
                yield connection
        except sa.exc.DBAPIError as error:
            raise in_words(self.path, error) from error

    @contextmanager
    def _write(self) -> Iterator[sa.Connection]:
        try:
            with self._writing.begin() as connection:
                yield connection
        except sa.exc.DBAPIError as error:
            raise in_words(self.path, error) from error
        except sa.exc.StatementError as error:  # a value that JSON has no word for
            raise ValueError(f"this cannot be recorded: {error.orig}") from error

    def _bury(self, table: sa.Table, what: str, row_id: int, reason: str) -> None:
        change = table.update().where(table.c.id == row_id, table.c.deleted_at_unix_s.is_(None))
        with self._write() as connection:
            done = connection.execute(change.values(deleted_at_unix_s=self._clock(), deleted_reason=reason))
            if done.rowcount == 0:
                raise StoreError(f"there is no {what} {row_id} in {self.path} that could be deleted; look at the list")

    def _require_running(self, connection: sa.Connection, capture_id: int) -> None:
        state = connection.execute(sa.select(captures.c.state).where(captures.c.id == capture_id)).scalar_one_or_none()
        if state != "running":
            raise StoreError(
                f"test {capture_id} in {self.path} is {state or 'not there'}, so nothing was added to it; begin another one"
            )

    def _take_lease(self) -> None:
        try:
            taken = self._lease.take()
        except OSError as error:
            raise os_error(self.path, error) from error
        if not taken:
            raise StoreError(f"another Borewright is recording into {self.path}; end its test or name another file")

    def _close_crashed(self) -> None:
        """Captures that are running although nobody holds the lease were left by a crash."""
        with self._read() as connection:
            running = connection.execute(sa.select(sa.func.count()).where(captures.c.state == "running")).scalar_one()
        if running == 0:
            return
        try:
            if not self._lease.take():
                return
        except OSError as error:
            raise os_error(self.path, error) from error
        try:
            with self._write() as connection:
                change = captures.update().where(captures.c.state == "running")
                connection.execute(change.values(state="crashed", void_reason=CRASHED))
        finally:
            self._lease.give_back()


def _new_id(done: sa.CursorResult[Any]) -> int:
    key = done.inserted_primary_key
    if key is None:
        raise RuntimeError("an insert gave no key")
    return int(key[0])
