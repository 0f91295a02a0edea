"""A process that is handed one piece of work after the other, by a thread that waits for it so that nobody else has to."""

from __future__ import annotations

import contextlib
import multiprocessing
import queue
import signal
import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from borewright.errors import BorewrightError
from borewright.service.worker_process import serve, told_as

__all__ = ["Worker", "WorkerEndedError"]

LEAVE_S = 1.0
GRACE_S = 2.0  # work that nobody needs any more may end by itself so long, for another process takes its time to start


class WorkerEndedError(BorewrightError):
    """The process that had this work ended, or was ended because it did not answer in time or nobody needs the answer any more."""


class _Asked(Future[Any]):
    """A future whose cancel() reaches work that is being done, too: it is broken off unless it ends by itself soon."""

    def __init__(self, break_off: Callable[[Future[Any]], None]) -> None:
        super().__init__()
        self._break_off = break_off

    def cancel(self) -> bool:
        """True when it was not begun yet; one that is under way then ends with its result or with an error."""
        if super().cancel():
            return True
        if self.running():
            self._break_off(self)
        return False


@dataclass(frozen=True, slots=True)
class _Work:
    future: Future[Any]
    function: Callable[..., Any]
    arguments: tuple[Any, ...]
    named: dict[str, Any]
    on_record: bool
    limit_s: float | None


class Worker:
    """One process, started when it is first needed, and once more for the same work when it has died.

    name: of what it does. tell: called in the worker's own thread when the process ended, with words for the log.
    """

    def __init__(self, name: str, record: Path, tell: Callable[[str], None]) -> None:
        self._name = name
        self._record = record
        self._tell = tell
        self._work: queue.SimpleQueue[_Work | None] = queue.SimpleQueue()
        self._process: multiprocessing.process.BaseProcess | None = None
        self._connection: Connection | None = None
        self._closing = threading.Event()
        self._now = threading.Lock()
        self._under_way: Future[Any] | None = None
        self._broken_off: str | None = None  # why the process was ended while at that work
        self._thread = threading.Thread(target=self._serve, name=f"borewright-{name}", daemon=True)
        self._thread.start()

    @property
    def process_id(self) -> int | None:
        """The id of the process, None while there is none."""
        return None if self._process is None else self._process.pid

    def hand(
        self,
        function: Callable[..., Any],
        arguments: tuple[Any, ...],
        named: dict[str, Any] | None = None,
        *,
        on_record: bool = False,
        limit_s: float | None = None,
    ) -> Future[Any]:
        """Have a function of a module called there. on_record: with the Store of that process before the arguments.

        limit_s: after so long without an answer the process counts as hung and is ended; None: it may take its time. The future has
        an error then, and when the process ended twice; cancelling it breaks off work that does not end by itself soon.
        """
        future: Future[Any] = _Asked(self._need_no_more)
        if self._closing.is_set():
            future.set_exception(_ending())
        else:
            self._work.put(_Work(future, function, arguments, dict(named or {}), on_record, limit_s))
        return future

    def close(self, wait_s: float) -> bool:
        """End the process; what waits, and what it is working on after wait_s, ends with an error."""
        self._closing.set()
        self._work.put(None)
        self._thread.join(wait_s)
        for _ in range(2):  # the process may just have been on its way
            if self._thread.is_alive():
                self._kill()
                self._thread.join(LEAVE_S)
        return not self._thread.is_alive()

    # ------------------------------------------------------------------ in the worker's thread

    def _serve(self) -> None:
        if hasattr(signal, "pthread_sigmask"):  # inherited by the process, so that Ctrl-C while it starts is not printed by it
            signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        while (work := self._work.get()) is not None:
            if work.future.set_running_or_notify_cancel():
                if self._closing.is_set():
                    work.future.set_exception(_ending())
                else:
                    self._do(work)
        self._leave()
        with contextlib.suppress(queue.Empty):
            while True:
                late = self._work.get_nowait()
                if late is not None and late.future.set_running_or_notify_cancel():
                    late.future.set_exception(_ending())

    def _do(self, work: _Work) -> None:
        for attempt in ("first", "second"):
            try:
                result, failed = self._asked(work)
            except WorkerEndedError as ended:
                self._end_process()
                if self._closing.is_set():
                    work.future.set_exception(_ending())
                    return
                asked = getattr(work.function, "__qualname__", repr(work.function))
                self._tell(f"the process of the {self._name} ended at {asked}, for the {attempt} time: {ended}")
                if attempt == "second" or isinstance(ended, _BrokenOffError):
                    work.future.set_exception(ended)
                    return
            except Exception as error:  # noqa: BLE001 -- arguments that cannot be handed over
                work.future.set_exception(told_as(error))
                return
            else:
                if failed is None:
                    work.future.set_result(result)
                else:
                    work.future.set_exception(failed)
                return

    def _asked(self, work: _Work) -> tuple[Any, Exception | None]:
        connection = self._connection or self._start()
        with self._now:
            self._under_way, self._broken_off = work.future, None
        limit = None
        if work.limit_s is not None:  # handing over can hang too
            limit = self._break_off_in(work.limit_s, work.future, f"it took longer than {work.limit_s:.0f} s and was broken off")
        try:
            connection.send((work.function, work.arguments, work.named, work.on_record))
            answer: tuple[Any, Exception | None] = connection.recv()
        except (EOFError, OSError) as gone:
            with self._now:
                why = self._broken_off
            if why is not None:
                raise _BrokenOffError(f"{why}; save the log and try it again") from gone
            raise WorkerEndedError("working it out was broken off; save the log and restart the program") from gone
        finally:
            with self._now:
                self._under_way = None
            if limit is not None:
                limit.cancel()
        return answer

    def _need_no_more(self, future: Future[Any]) -> None:
        """From any thread."""
        self._break_off_in(GRACE_S, future, "nobody needed it any more, and it was broken off")

    def _break_off_in(self, wait_s: float, future: Future[Any], why: str) -> threading.Timer:
        watch = threading.Timer(wait_s, self._break_off, (future, why))
        watch.daemon = True
        watch.start()
        return watch

    def _break_off(self, future: Future[Any], why: str) -> None:
        with self._now:  # only as long as the process is at this very work
            if self._under_way is future:
                self._broken_off = why
                self._kill()

    def _kill(self) -> None:
        """From any thread: the worker's own then hears that the process is gone."""
        process = self._process
        if process is not None:
            process.kill()

    def _start(self) -> Connection:
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe()
        process = context.Process(target=serve, args=(there, self._record), name=f"borewright-{self._name}", daemon=True)
        process.start()
        there.close()
        self._process, self._connection = process, here
        return here

    def _leave(self) -> None:
        connection, process = self._connection, self._process
        if connection is not None:
            with contextlib.suppress(OSError):
                connection.send(None)
        if process is not None:
            process.join(LEAVE_S)
        self._end_process()

    def _end_process(self) -> None:
        process, self._process = self._process, None
        connection, self._connection = self._connection, None
        if process is not None:
            process.kill()
            process.join(LEAVE_S)
        if connection is not None:
            connection.close()


class _BrokenOffError(WorkerEndedError):
    """The process was ended from here, over this work."""


def _ending() -> BorewrightError:
    return BorewrightError("the program is being ended, so this was not worked out; start it again")
