"""What is written into the record beside a test: one act after the other in a thread of its own, which never holds up the end."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any, TypeVar

from borewright.errors import BorewrightError

__all__ = ["Writing"]

T = TypeVar("T")


class Writing:
    """A thread and what waits for it, in order. The thread is none that the end of the program waits for without limit.

    >>> writing = Writing()
    >>> late = writing.hand(lambda: 2 * 21)
    >>> writing.close(60.0), late.result()
    (True, 42)
    >>> print(writing.hand(lambda: 1).exception())
    the program is being ended, so this was not written; start it again
    """

    def __init__(self) -> None:
        self._waiting: queue.SimpleQueue[tuple[Future[Any], Callable[[], Any]] | None] = queue.SimpleQueue()
        self._handing = threading.Lock()
        self._closed = False
        self._too_late = threading.Event()
        self._thread = threading.Thread(target=self._write, name="borewright-record", daemon=True)
        self._thread.start()

    def hand(self, act: Callable[[], T]) -> Future[T]:
        """Have it done after all that was handed over before; after close() the future has a BorewrightError."""
        future: Future[T] = Future()
        with self._handing:  # so that nothing comes behind the end of the queue, where nobody would answer it
            if not self._closed:
                self._waiting.put((future, act))
                return future
        future.set_exception(_ending())
        return future

    def close(self, wait_s: float) -> bool:
        """Do what waits. False when that takes longer than wait_s; what has not been begun by then ends with an error."""
        with self._handing:
            self._closed = True
        self._waiting.put(None)
        self._thread.join(wait_s)
        self._too_late.set()
        return not self._thread.is_alive()

    def _write(self) -> None:
        while (one := self._waiting.get()) is not None:
            future, act = one
            if not future.set_running_or_notify_cancel():
                continue
            if self._too_late.is_set():
                future.set_exception(_ending())
                continue
            try:
                future.set_result(act())
            except Exception as error:  # noqa: BLE001 -- it is for the one who asked
                future.set_exception(error)


def _ending() -> BorewrightError:
    return BorewrightError("the program is being ended, so this was not written; start it again")
