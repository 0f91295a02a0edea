"""Work that must not hold up the reading or the screen: the fit, the questions to the record, what is written into it."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from borewright.service.analysis import Analysed
from borewright.service.conditions_of_air import AirConditions
from borewright.service.effects import Analyse
from borewright.service.state import BenchState
from borewright.store.store import Store

__all__ = ["Workers"]

P = ParamSpec("P")
T = TypeVar("T")


class Workers:
    """One process for analyses, one for questions, one thread for what is written; inline: everything in the call."""

    def __init__(self, record: Path, store: Store, *, inline: bool = False) -> None:
        raise NotImplementedError

    def ask(self, question: Callable[Concatenate[Store, P], T], *arguments: P.args, **named: P.kwargs) -> Future[T]:
        """question(store, *arguments) in the process of the questions, on its own Store; question is a function of a module."""
        raise NotImplementedError

    def write(self, act: Callable[Concatenate[Store, P], T], *arguments: P.args, **named: P.kwargs) -> Future[T]:
        """act(store, *arguments) in the record's thread of this process, one after the other."""
        raise NotImplementedError

    def analyse(self, state: BenchState, done: Analyse, ambient: AirConditions) -> Future[Analysed]:
        """As service.analysis.analyse, in the process of the analyses; in this one when that fails, with a warning in take_words."""
        raise NotImplementedError

    def take_words(self) -> tuple[str, ...]:
        """Warnings for the person since the last call."""
        raise NotImplementedError

    def warm_up(self) -> None:
        """Have both processes started and everything imported, so that the first work does not wait for that."""

    def close(self, wait_s: float = 5.0) -> bool:
        """Write what waits, end both processes; what they still worked on ends with an error. False when writing took longer."""
        raise NotImplementedError
