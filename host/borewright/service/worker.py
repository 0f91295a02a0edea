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


class WorkerEndedError(BorewrightError):
    """The process that had this work ended, or did not answer in time."""


@dataclass(frozen=True, slots=True)
class _Work:
    future: Future[Any]
    function: Callable[..., Any]
    arguments: tuple[Any, ...]
    named: dict[str, Any]
    on_record: bool
    instead: Callable[[WorkerEndedError], Any] | None
    limit_s: float | None


class Worker:
    """One process, started when it is first needed, and once more for the same work when it has died.

    name: of what it does, for the person. tell: called in the worker's own thread with a word of warning.
    """

    def __init__(self, name: str, record: Path, tell: Callable[[str], None]) -> None:
        self._name = name
        self._record = record
        self._tell = tell
        self._work: queue.SimpleQueue[_Work | None] = queue.SimpleQueue()
        self._process: multiprocessing.process.BaseProcess | None = None
        self._connection: Connection | None = None
        self._closing = threading.Event()
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
        instead: Callable[[WorkerEndedError], Any] | None = None,
        limit_s: float | None = None,
    ) -> Future[Any]:
        """Have a function of a module called there. on_record: with the Store of that process before the arguments.

        instead: called here, in the worker's thread, when the process fails twice or hangs; else the future has the error. limit_s:
        after so long without an answer the process counts as hung and is ended; None: it may take its time.
        """
        future: Future[Any] = Future()
        if self._closing.is_set():
            future.set_exception(_ending())
        else:
            self._work.put(_Work(future, function, arguments, dict(named or {}), on_record, instead, limit_s))
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
        for attempt in ("first", "again"):
            try:
                result, failed = self._asked(work)
            except WorkerEndedError as ended:
                self._end_process()
                if self._closing.is_set():
                    work.future.set_exception(_ending())
                    return
                if attempt == "again" or isinstance(ended, _HungError):
                    self._give_up(work, ended)
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

    def _give_up(self, work: _Work, ended: WorkerEndedError) -> None:
        if work.instead is None:
            work.future.set_exception(ended)
            return
        self._tell(f"{ended}; it is done without it")
        try:
            work.future.set_result(work.instead(ended))
        except Exception as error:  # noqa: BLE001 -- for the one who waits for it
            work.future.set_exception(told_as(error))

    def _asked(self, work: _Work) -> tuple[Any, Exception | None]:
        hung = threading.Event()
        connection = self._connection or self._start()
        watch = threading.Timer(work.limit_s or 0.0, self._end_hung, (hung,))  # handing over can hang too
        watch.daemon = True
        if work.limit_s is not None:
            watch.start()
        try:
            connection.send((work.function, work.arguments, work.named, work.on_record))
            answer: tuple[Any, Exception | None] = connection.recv()
        except (EOFError, OSError) as gone:
            if hung.is_set():
                raise _HungError(f"the {self._name} did not answer within {work.limit_s:.0f} s and were ended") from gone
            raise WorkerEndedError(f"the process of the {self._name} ended by itself; save the log and restart it") from gone
        finally:
            watch.cancel()
        return answer

    def _end_hung(self, hung: threading.Event) -> None:
        hung.set()
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


class _HungError(WorkerEndedError):
    """It did not answer in time."""


def _ending() -> BorewrightError:
    return BorewrightError("the program is being ended, so this was not worked out; start it again")
