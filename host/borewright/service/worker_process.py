"""The other end of a worker: a process that does one piece of work after the other until nobody hands it any more.

It is imported before anything heavy is, so that what has to stand in the environment by then does.
"""

from __future__ import annotations

import os
import pickle
import signal
import traceback
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any

from borewright.errors import BorewrightError

if TYPE_CHECKING:
    from borewright.store.store import Store

__all__ = ["ProgramFailedError", "serve", "told_as"]


class ProgramFailedError(BorewrightError):
    """The program failed. trace: where, for its log; it goes from one process to the other with the error."""

    trace: str = ""


def serve(connection: Connection, record: Path) -> None:
    """Do what comes as (function, arguments, named, whether on the record); answer (result, None) or (None, error).

    Ends when the other end is closed, or says None: then the program has ended, however it did.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C in a terminal reaches every process; only the first one heeds it
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # what is computed here is small, and the rig needs the other cores
    store: Store | None = None
    while (work := _next(connection)) is not None:
        function, arguments, named, on_record = work
        answer: tuple[Any, Exception | None]
        try:
            if on_record:
                store = store or _open(record)
                arguments = (store, *arguments)
            answer = (function(*arguments, **named), None)
        except Exception as error:  # noqa: BLE001 -- it is for the one who asked
            answer = (None, told_as(error))
        if not _answer(connection, answer):
            break
    if store is not None:
        store.close()


def _next(connection: Connection) -> tuple[Any, tuple[Any, ...], dict[str, Any], bool] | None:
    try:
        work: tuple[Any, tuple[Any, ...], dict[str, Any], bool] | None = connection.recv()
    except (EOFError, OSError):
        return None
    return work


def _open(record: Path) -> Store:
    """The record on a connection of this process's own. A test that is running there is left alone, since its lease is held."""
    from borewright.store.store import Store  # noqa: PLC0415 -- it is heavy, and a process for analyses never needs it

    return Store.open(record, create=False)


def told_as(error: Exception) -> Exception:
    """The error as it can be handed over: one of our own as it is, any other one in words.

    >>> print(told_as(KeyError("p_regulated")))
    the program failed while working this out (KeyError: 'p_regulated'); save the log and restart it
    """
    if isinstance(error, BorewrightError):
        return error
    what = f"{type(error).__name__}: {error}"
    failed = ProgramFailedError(f"the program failed while working this out ({what}); save the log and restart it")
    failed.trace = "".join(traceback.format_exception(error)).rstrip()
    return failed


def _answer(connection: Connection, answer: tuple[Any, Exception | None]) -> bool:
    try:
        connection.send_bytes(pickle.dumps(answer, pickle.HIGHEST_PROTOCOL))
    except (OSError, ValueError):
        return False
    except Exception as error:  # noqa: BLE001 -- a result that cannot be handed over
        connection.send_bytes(pickle.dumps((None, told_as(error)), pickle.HIGHEST_PROTOCOL))
    return True
