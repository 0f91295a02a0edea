"""Work that must not hold up the reading or the screen: the fit, the questions to the record, what is written into it.

Three lanes, so that a report never holds up a fit and neither holds up a note: a process for analyses, a process for questions that
opens the record on its own, and a thread of this process for what is written.
"""

from __future__ import annotations

import importlib
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from borewright.service.analyses import slimmed
from borewright.service.analysis import Analysed, analyse
from borewright.service.conditions_of_air import AirConditions
from borewright.service.effects import Analyse
from borewright.service.state import BenchState
from borewright.service.worker import Worker
from borewright.service.worker_process import ProgramFailedError, told_as
from borewright.service.writing import Writing
from borewright.store.store import Store

__all__ = ["Workers"]

LEAVE_S = 0.5
ANALYSIS_LIMIT_S = 20.0  # a fit takes less than half a second; a computer that is busy elsewhere may take many times as long
QUESTION_LIMIT_S = 120.0  # a report takes seconds; as above
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
    analysis that takes longer counts as hung; question_limit_s: so does a question.
    """

    def __init__(
        self,
        record: Path,
        store: Store,
        *,
        inline: bool = False,
        analysis_limit_s: float = ANALYSIS_LIMIT_S,
        question_limit_s: float = QUESTION_LIMIT_S,
    ) -> None:
        self._store = store
        self._analysis_limit_s = analysis_limit_s
        self._question_limit_s = question_limit_s
        self._faults: deque[str] = deque()
        self._analyses: Worker | None = None
        self._questions: Worker | None = None
        self._writing: Writing | None = None
        if not inline:
            self._analyses = Worker("analyses", record, self._faults.append)
            self._questions = Worker("questions", record, self._faults.append)
            self._writing = Writing()

    def ask(self, question: Callable[Concatenate[Store, P], T], *arguments: P.args, **named: P.kwargs) -> Future[T]:
        """question(store, *arguments), a function of a module, in the process of the questions and on its own Store.

        Arguments and result are pickled. The future has a BorewrightError when it fails, or takes longer than the limit. It
        can be cancelled; one that is under way then is broken off unless it ends by itself soon.
        """
        if self._questions is None:
            return self._heard(_done(question, self._store, *arguments, **named))
        return self._heard(self._questions.hand(question, arguments, named, on_record=True, limit_s=self._question_limit_s))

    def write(self, act: Callable[Concatenate[Store, P], T], *arguments: P.args, **named: P.kwargs) -> Future[T]:
        """act(store, *arguments) in the record's own thread of this process, in order; a BorewrightError when it fails."""
        if self._writing is None:
            return self._heard(_done(act, self._store, *arguments, **named))
        return self._heard(self._writing.hand(partial(_in_words, act, self._store, *arguments, **named)))

    def analyse(self, state: BenchState, done: Analyse, ambient: AirConditions) -> Future[Analysed]:
        """As service.analysis.analyse, in the process of the analyses; a BorewrightError when it fails there or hangs."""
        if self._analyses is None:
            return self._heard(_done(analyse, state, done, ambient))
        arguments = slimmed(state), done, ambient
        return self._heard(self._analyses.hand(analyse, arguments, limit_s=self._analysis_limit_s))

    def take_faults(self) -> tuple[str, ...]:
        """Where the program failed since the last call, and which process ended: for the log."""
        faults: list[str] = []
        while self._faults:
            faults.append(self._faults.popleft())
        return tuple(faults)

    def _heard(self, future: Future[T]) -> Future[T]:
        future.add_done_callback(self._keep_fault)
        return future

    def _keep_fault(self, future: Future[T]) -> None:
        error = None if future.cancelled() else future.exception()
        if isinstance(error, ProgramFailedError):
            self._faults.append(error.trace)

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
        written = self._writing is None or self._writing.close(wait_s)
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
