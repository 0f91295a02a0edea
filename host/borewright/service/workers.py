"""Work that must not hold up the reading or the screen: the fit, the questions to the record, what is written into it.

Three lanes, so that a report never holds up a fit and neither holds up a note: a process for analyses, a process for questions that
opens the record on its own, and a thread of this process for what is written.
"""

from __future__ import annotations

import importlib
import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from borewright.errors import BorewrightError
from borewright.service.analyses import slimmed
from borewright.service.analysis import Analysed, analyse
from borewright.service.conditions_of_air import AirConditions
from borewright.service.effects import Analyse
from borewright.service.state import BenchState
from borewright.service.worker import Worker
from borewright.service.worker_process import told_as
from borewright.store.store import Store

__all__ = ["Workers"]

LEAVE_S = 0.5
ANALYSIS_LIMIT_S = 20.0  # a fit takes less than half a second; a computer that is busy elsewhere may take many times as long
HEAVY = {
    "analyses": ("borewright.service.analysis",),
    "questions": ("borewright.store.store", "borewright.service.path", "borewright.service.report_data", "borewright.report"),
}

P = ParamSpec("P")
T = TypeVar("T")


def _import_all(names: tuple[str, ...]) -> None:
    for name in names:
        importlib.import_module(name)


class Workers:
    """The three lanes. record: the record's file, which store has open here.

    inline: everything is done in the call, on store; what it gives is done already. For tests in virtual time. analysis_limit_s: an
    analysis that takes longer counts as hung.
    """

    def __init__(self, record: Path, store: Store, *, inline: bool = False, analysis_limit_s: float = ANALYSIS_LIMIT_S) -> None:
        self._store = store
        self._analysis_limit_s = analysis_limit_s
        self._words: deque[str] = deque()
        self._analyses: Worker | None = None
        self._questions: Worker | None = None
        self._writing: ThreadPoolExecutor | None = None
        if not inline:
            self._analyses = Worker("analyses", record, self._words.append)
            self._questions = Worker("questions", record, self._words.append)
            self._writing = ThreadPoolExecutor(1, "borewright-record")

    def ask(self, question: Callable[Concatenate[Store, P], T], *arguments: P.args, **named: P.kwargs) -> Future[T]:
        """question(store, *arguments), a function of a module, in the process of the questions and on its own Store.

        Arguments and result are pickled. The future has a BorewrightError when it fails. One that waits can be cancelled; one that
        runs cannot, and its answer is then for nobody.
        """
        if self._questions is None:
            return _done(question, self._store, *arguments, **named)
        return self._questions.hand(question, arguments, named, on_record=True)

    def write(self, act: Callable[Concatenate[Store, P], T], *arguments: P.args, **named: P.kwargs) -> Future[T]:
        """act(store, *arguments) in the record's own thread of this process, in order; a BorewrightError when it fails."""
        if self._writing is None:
            return _done(act, self._store, *arguments, **named)
        try:
            return self._writing.submit(partial(_in_words, act, self._store, *arguments, **named))
        except RuntimeError:  # it has been closed
            refused: Future[T] = Future()
            refused.set_exception(BorewrightError("the program is being ended, so this was not written; start it again"))
            return refused

    def analyse(self, state: BenchState, done: Analyse, ambient: AirConditions) -> Future[Analysed]:
        """As service.analysis.analyse, in the process of the analyses. When that fails, it is done in a thread here, and take_words
        has a warning."""
        if self._analyses is None:
            return _done(analyse, state, done, ambient)
        slim = slimmed(state)
        return self._analyses.hand(
            analyse,
            (slim, done, ambient),
            instead=lambda _ended: analyse(slim, done, ambient),
            limit_s=self._analysis_limit_s,
        )

    def take_words(self) -> tuple[str, ...]:
        """Warnings for the person since the last call."""
        words: list[str] = []
        while self._words:
            words.append(self._words.popleft())
        return tuple(words)

    def warm_up(self) -> tuple[Future[None], ...]:
        """Have both processes started and everything imported there, so that the first work does not wait for that."""
        both = ((self._analyses, HEAVY["analyses"]), (self._questions, HEAVY["questions"]))
        return tuple(worker.hand(_import_all, (heavy,)) for worker, heavy in both if worker is not None)

    @property
    def process_ids(self) -> tuple[int, ...]:
        """Of the processes that run now."""
        workers = (worker for worker in (self._analyses, self._questions) if worker is not None)
        return tuple(process_id for worker in workers if (process_id := worker.process_id) is not None)

    def close(self, wait_s: float = 5.0) -> bool:
        """Write what waits, end both processes; what they still work on then ends with an error. False when writing took longer."""
        written = True
        if self._writing is not None:
            self._writing.shutdown(wait=False)
            last = threading.Thread(target=self._writing.shutdown, name="borewright-record-end", daemon=True)
            last.start()
            last.join(wait_s)
            written = not last.is_alive()
        for worker in (self._analyses, self._questions):
            if worker is not None:
                worker.close(LEAVE_S)
        return written


def _done(function: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> Future[T]:
    """What it gives, as a future that is done."""
    future: Future[T] = Future()
    try:
        future.set_result(_in_words(function, *arguments, **named))
    except Exception as error:  # noqa: BLE001 -- it is for the one who asked
        future.set_exception(error)
    return future


def _in_words(function: Callable[P, T], *arguments: P.args, **named: P.kwargs) -> T:
    try:
        return function(*arguments, **named)
    except Exception as error:
        raise told_as(error) from error
