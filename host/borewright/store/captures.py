"""Captures in the record: their raw samples, their log, their results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from borewright.errors import StoreError
from borewright.store import rows
from borewright.store.database import Database, new_id
from borewright.store.errors import os_error
from borewright.store.records import CaptureRecord, EventRecord, LoadedCapture, Purpose
from borewright.store.schema import capture_chunks, captures, events, rig_checks
from borewright.store.still_there import check_still_there

if TYPE_CHECKING:
    from borewright.core.samples import SampleColumns

__all__ = ["Captures", "Line"]

Line = tuple[str, int | None, float, Mapping[str, Any]]  # kind, device tick, host's monotonic seconds, detail

CRASHED = "the program ended in the middle of this test"


class Captures(Database):
    """The part of the Store that knows captures."""

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
            return new_id(
                connection.execute(
                    captures.insert().values(
                        uid=self._new_uid(),
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

    def add_declared(
        self,
        job_id: int,
        cylinder: int,
        *,
        result: Mapping[str, Any],
        declared: Mapping[str, Any],
        laws: Mapping[str, Any],
        marks: Sequence[str],
    ) -> int:
        """Keep a reading that was taken elsewhere and is declared: a complete test without samples, of no device."""
        now = self._clock()
        with self._write() as connection:
            return new_id(
                connection.execute(
                    captures.insert().values(
                        uid=self._new_uid(),
                        job_id=job_id,
                        cylinder=cylinder,
                        purpose="test",
                        state="complete",
                        started_at_unix_s=now,
                        ended_at_unix_s=now,
                        marks=list(marks),
                        declared=dict(declared),
                        result=dict(result),
                        laws=dict(laws),
                        versions={},
                        readiness={},
                        device_serial="",
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
        a result nor a reason, StoreError when the capture is not running, and GoneError when it does not read back by the record's
        name: the file was taken away meanwhile.
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
            uid = connection.execute(sa.select(captures.c.uid).where(captures.c.id == capture_id)).scalar_one()
            of_it = sa.select(sa.func.count()).where(capture_chunks.c.capture_id == capture_id)
            parts = connection.execute(of_it).scalar_one()
        check_still_there(self.path, self._opened, capture_id, uid, values["state"], parts)

    def latest_unix_s(self) -> float | None:
        """The latest moment that any capture or check of the rig is dated with; None in an empty record."""
        ends = (captures.c.started_at_unix_s, captures.c.ended_at_unix_s, rig_checks.c.made_at_unix_s)
        with self._read() as connection:
            found = [connection.execute(sa.select(sa.func.max(column))).scalar_one() for column in ends]
        return max((float(one) for one in found if one is not None), default=None)

    def list_cut_off(self, job_id: int | None = None) -> tuple[CaptureRecord, ...]:
        """The captures that a crash has cut off and nobody has seen to, of a job or of the whole file, oldest first."""
        cut_off = (captures.c.state == "crashed", captures.c.deleted_at_unix_s.is_(None))
        query = sa.select(captures).where(*cut_off).order_by(captures.c.id)
        if job_id is not None:
            query = query.where(captures.c.job_id == job_id)
        with self._read() as connection:
            return tuple(rows.capture(row) for row in connection.execute(query))

    def end_cut_off(
        self, capture_id: int, result: Mapping[str, Any] | None, *, void_reason: str | None, marks: Sequence[str]
    ) -> None:
        """End a capture that a crash has cut off, as finish_capture would have; when it ended stays unknown.

        Raises ValueError when there is neither a result nor a reason, StoreError when it is not one that a crash has cut off.
        """
        if result is None and void_reason is None:
            raise ValueError("result: a capture ends with a result or with the reason why it is void")
        state = "complete" if void_reason is None else "void"
        values: dict[str, Any] = {"state": state, "void_reason": void_reason, "marks": list(marks)}
        values["result"] = None if result is None else dict(result)
        cut_off = (captures.c.id == capture_id, captures.c.state == "crashed", captures.c.deleted_at_unix_s.is_(None))
        with self._write() as connection:
            if connection.execute(captures.update().where(*cut_off).values(values)).rowcount == 0:
                raise StoreError(f"test {capture_id} in {self.path} is not one that was cut off, so nothing was changed")
            self._log_change(connection, "test", capture_id, {"state": "crashed"}, {"state": state})

    def recorded_s(self, capture_id: int) -> float:
        """How long the samples of a capture reach by the device's clock; 0 where there are none. Raises StoreError."""
        of_it = sa.select(capture_chunks.c.packed).where(capture_chunks.c.capture_id == capture_id)
        ends = [of_it.order_by(capture_chunks.c.number).limit(1), of_it.order_by(capture_chunks.c.number.desc()).limit(1)]
        with self._read() as connection:
            packed = [part for query in ends for part in connection.execute(query).scalars()]
        if not packed:
            return 0.0
        first, last = (self._unpacked(capture_id, part) for part in packed)
        return float(last.t_s[-1] - first.t_s[0])

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

        of_it = capture_chunks.c.capture_id == capture_id
        query = sa.select(capture_chunks.c.packed).where(of_it).order_by(capture_chunks.c.number)
        with self._read() as connection:
            packed = list(connection.execute(query).scalars())
        if not packed:
            raise StoreError(f"test {capture_id} in {self.path} holds no samples; test the cylinder again")
        parts = [self._unpacked(capture_id, part) for part in packed]
        try:
            return SampleColumns.join(parts)
        except ValueError as error:
            raise self._unreadable(capture_id, error) from error

    def load_capture(self, capture_id: int) -> LoadedCapture:
        """A capture with its samples and its log: enough to compute its result anew."""
        return LoadedCapture(self.get_capture(capture_id), self.load_columns(capture_id), self.load_events(capture_id))

    def delete_capture(self, capture_id: int, reason: str) -> None:
        """Mark a capture as deleted. Nothing of it is removed from the file."""
        self._bury(captures, "test", capture_id, reason)

    # ------------------------------------------------------------ inside

    def _unpacked(self, capture_id: int, packed: bytes) -> SampleColumns:
        from borewright.store.packing import unpack  # noqa: PLC0415 -- as in append

        try:
            return unpack(packed)
        except ValueError as error:
            raise self._unreadable(capture_id, error) from error

    def _unreadable(self, capture_id: int, error: ValueError) -> StoreError:
        return StoreError(f"the samples of test {capture_id} in {self.path} cannot be read ({error}); keep a copy of the file")

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
