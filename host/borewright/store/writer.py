"""Writing to the record without ever waiting for the disk.

The one who reads the rig hands everything to a StoreWriter and goes on; a thread writes it. Nothing is lost silently: what could
not be kept becomes news, the capture it belonged to is closed as void, and each capture that is ended gives exactly one CaptureKept
or CaptureLost.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from borewright.errors import StoreError
from borewright.store.errors import GoneError, LockedError
from borewright.store.records import CaptureState, FindingKind, Purpose
from borewright.store.store import Line, Store

if TYPE_CHECKING:
    from borewright.core.rig import RigCheck
    from borewright.core.samples import SampleColumns

__all__ = ["CaptureKept", "CaptureLost", "StoreWriter", "WriteFailed", "WriterNews"]


LOCKED_S = 60.0  # a backup or another program's transaction; each try waits as long as the store does


@dataclass(frozen=True, slots=True)
class WriteFailed:
    """Something could not be written. ticket: the capture's, or None for the bench."""

    ticket: int | None
    reason: str


@dataclass(frozen=True, slots=True)
class CaptureKept:
    """A capture was ended and is in the file under this id, in this state."""

    ticket: int
    capture_id: int
    state: CaptureState
    void_reason: str | None


@dataclass(frozen=True, slots=True)
class CaptureLost:
    """The end of a capture could not be written. cut_off: its id where the file holds it and will tell of it as cut off."""

    ticket: int
    reason: str
    cut_off: int | None = None


WriterNews = WriteFailed | CaptureKept | CaptureLost


@dataclass(frozen=True, slots=True)
class _Addition:
    """Chunks and lines for one capture (or lines for the bench), in the order in which they came."""

    ticket: int | None
    chunks: tuple[SampleColumns, ...] = ()
    lines: tuple[Line, ...] = ()


_Job = _Addition | Callable[[], None]


class StoreWriter:
    """A queue in front of a Store, and the thread that empties it.

    capacity: how many chunks and log lines may wait; begin, end and checks always find room, since people make few of them. When it
    is used up, more of them are not kept, which is told; with patient=True the caller waits instead: for virtual time, which runs
    faster than disks. threaded=False writes at once in the caller's thread, with the same news. All methods may be called from any
    thread, and none of them raises what the disk says.
    """

    def __init__(self, store: Store, *, threaded: bool = True, patient: bool = False, capacity: int = 240) -> None:
        self._store = store
        self._capacity = capacity
        self._patient = patient
        self._jobs: deque[_Job] = deque()
        self._unfinished = 0  # chunks, lines and acts that wait or are being written
        self._changed = threading.Condition(threading.RLock())
        self._closing = False
        self._tickets = 0
        self._ids: dict[int, int] = {}
        self._broken: dict[int, str] = {}
        self._news: deque[WriterNews] = deque()
        self._thread = threading.Thread(target=self._work, name="borewright-writer", daemon=True) if threaded else None
        if self._thread is not None:
            self._thread.start()

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
        """As Store.begin_capture; gives a ticket that stands for the capture from now on."""
        with self._changed:
            self._tickets += 1
            ticket = self._tickets

        def job() -> None:
            self._ids[ticket] = self._store.begin_capture(
                job_id,
                cylinder,
                purpose=purpose,
                device_serial=device_serial,
                declared=declared,
                laws=laws,
                versions=versions,
                readiness=readiness,
            )

        self._hand_over(lambda: self._try(ticket, job), ticket)
        return ticket

    def append_chunk(self, ticket: int, columns: SampleColumns) -> None:
        """As Store.append_chunk."""
        self._hand_over(_Addition(ticket, chunks=(columns,)), ticket)

    def append_event(
        self, ticket: int | None, kind: str, tick: int | None, monotonic_s: float, detail: Mapping[str, Any] | None = None
    ) -> None:
        """As Store.append_event."""
        self._hand_over(_Addition(ticket, lines=((kind, tick, monotonic_s, dict(detail or {})),)), ticket)

    def finish_capture(
        self,
        ticket: int,
        result: Mapping[str, Any] | None = None,
        *,
        void_reason: str | None = None,
        marks: Sequence[str] = (),
        declared: Mapping[str, Any] | None = None,
        readiness: Mapping[str, Any] | None = None,
    ) -> None:
        """As Store.finish_capture; a capture of which something was lost on the way is closed as void."""

        def job() -> None:
            broken = self._broken.get(ticket)
            capture_id = self._ids.get(ticket)
            if capture_id is None:
                self._tell(CaptureLost(ticket, broken or "the test was never begun in the record; test the cylinder again"))
                return
            missing = None if broken is None else f"part of the record is missing: {broken}"
            reason = "; ".join(part for part in (void_reason, missing) if part) or None
            try:
                self._while_locked(
                    lambda: self._store.finish_capture(
                        capture_id, result, void_reason=reason, marks=marks, declared=declared, readiness=readiness
                    )
                )
            except Exception as error:  # noqa: BLE001 -- told as news; the thread goes on
                self._tell(CaptureLost(ticket, _words(error), None if isinstance(error, GoneError) else capture_id))
            else:
                self._broken.pop(ticket, None)
                self._tell(CaptureKept(ticket, capture_id, "complete" if reason is None else "void", reason))

        self._hand_over(job, ticket)

    def add_rig_check(self, check: RigCheck, ticket: int | None = None) -> None:
        """As Store.add_rig_check."""

        def job() -> None:
            self._store.add_rig_check(check, None if ticket is None else self._ids.get(ticket))

        self._hand_over(lambda: self._try(None, job))

    def add_finding(
        self,
        ticket: int | None,
        job_id: int,
        cylinder: int,
        kind: FindingKind,
        place: str | None,
        detail: Mapping[str, Any],
        said_by: str,
    ) -> None:
        """As Store.add_finding; ticket: the capture's that it belongs to, None for a finding without one."""

        def job() -> None:
            capture_id = None if ticket is None else self._ids.get(ticket)
            self._store.add_finding(job_id, cylinder, kind, place=place, detail=detail, said_by=said_by, capture_id=capture_id)

        self._hand_over(lambda: self._try(None, job))

    def capture_id(self, ticket: int) -> int | None:
        """The capture's id in the file, once it has been begun there."""
        return self._ids.get(ticket)

    def take_news(self) -> tuple[WriterNews, ...]:
        """What has happened since the last call, oldest first."""
        with self._changed:
            news = tuple(self._news)
            self._news.clear()
        return news

    def drain(self, wait_s: float = 30.0) -> bool:
        """Wait until everything handed over has been written or told; False when that took longer."""
        if self._thread is None:
            return True
        with self._changed:
            return self._changed.wait_for(lambda: self._unfinished == 0, wait_s)

    def close(self, wait_s: float = 30.0) -> bool:
        """Write what waits and end the thread; False when the disk took longer than wait_s. The Store stays open."""
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        if self._thread is None:
            return True
        self._thread.join(wait_s)
        return not self._thread.is_alive()

    # ------------------------------------------------------------ inside

    def _hand_over(self, job: _Job, ticket: int | None = None) -> None:
        if self._thread is None:
            self._do(job)
            return
        with self._changed:
            if isinstance(job, _Addition) and self._patient:
                self._changed.wait_for(lambda: self._closing or self._unfinished < self._capacity)
            if self._closing:
                self._fail(ticket, f"{self._store.path} was being closed, so the last of it was not kept")
            elif isinstance(job, _Addition) and self._unfinished >= self._capacity:
                self._fail(ticket, f"the disk is too slow for {self._store.path}; put the record on another disk and test again")
            else:
                self._unfinished += 1
                self._jobs.append(job)
                self._changed.notify_all()

    def _work(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._jobs or self._closing)
                if not self._jobs:
                    return
                job, count = self._next()
            self._do(job)
            with self._changed:
                self._unfinished -= count
                self._changed.notify_all()

    def _next(self) -> tuple[_Job, int]:
        """The next job and how many it stands for: additions to one capture that wait in a row become one, and one transaction."""
        first = self._jobs.popleft()
        if not isinstance(first, _Addition):
            return first, 1
        joined = [first]
        while self._jobs and isinstance(following := self._jobs[0], _Addition) and following.ticket == first.ticket:
            joined.append(following)
            self._jobs.popleft()
        chunks = tuple(chunk for addition in joined for chunk in addition.chunks)
        return _Addition(first.ticket, chunks, tuple(line for addition in joined for line in addition.lines)), len(joined)

    def _do(self, job: _Job) -> None:
        if not isinstance(job, _Addition):
            job()
            return
        if job.ticket is None or job.ticket in self._ids:  # else the capture's beginning failed, which has been told
            capture_id = None if job.ticket is None else self._ids[job.ticket]
            self._try(job.ticket, lambda: self._store.append(capture_id, job.chunks, job.lines))

    def _try(self, ticket: int | None, act: Callable[[], object]) -> None:
        try:
            self._while_locked(act)
        except Exception as error:  # noqa: BLE001 -- told as news; the thread goes on
            self._fail(ticket, _words(error))

    def _while_locked(self, act: Callable[[], object]) -> None:
        """Do it; where another program holds the file, try again for a minute, for the queue has room for that."""
        until_s = time.monotonic() + LOCKED_S
        while True:
            try:
                act()
            except LockedError:
                if self._thread is None or self._closing or time.monotonic() > until_s:
                    raise
            else:
                return

    def _fail(self, ticket: int | None, reason: str) -> None:
        """Tell it, and remember that the capture is not whole; the same reason is told once for a capture."""
        with self._changed:
            if ticket is None:
                self._news.append(WriteFailed(None, reason))
            elif self._broken.get(ticket) != reason:
                self._broken.setdefault(ticket, reason)
                self._news.append(WriteFailed(ticket, reason))

    def _tell(self, news: WriterNews) -> None:
        with self._changed:
            self._news.append(news)


def _words(error: Exception) -> str:
    if isinstance(error, StoreError):
        return str(error)
    return f"the program failed while writing the record ({type(error).__name__}: {error}); restart it"
