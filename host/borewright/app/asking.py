"""Questions and writes that are under way: who waits for which, and what takes long enough to be told. Without Qt."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass, field
from typing import Any

from borewright.errors import BorewrightError

__all__ = ["Asking", "AskingList"]

TOLD_AFTER_S = 1.0


@dataclass(eq=False)
class Asking:
    """One question that waits for its answer. cancel drops it: whatever comes is not heard."""

    future: Future[Any]
    then: Callable[[Any], None]
    failed: Callable[[BorewrightError], None]
    key: str
    words: str
    began_s: float
    dropped: bool = field(default=False)

    def cancel(self) -> None:
        """No more need of an answer."""
        self.dropped = True
        self.future.cancel()


class AskingList:
    """Those under way. A newer one drops an older one of the same key."""

    def __init__(self) -> None:
        self._all: list[Asking] = []

    def add(self, asking: Asking) -> None:
        """One more."""
        if asking.key:
            for other in self._all:
                if other.key == asking.key:
                    other.cancel()
        self._all.append(asking)

    def answer(self) -> None:
        """Hand over what has come, in the order in which it was asked for."""
        for asking in list(self._all):
            if asking.dropped or asking.future.done():
                self._all.remove(asking)  # first, so that one that fails keeps no other from its answer
                if not asking.dropped:
                    _hand_over(asking)

    def long(self, now_s: float) -> tuple[Asking, ...]:
        """Those that have a name and have taken long enough to be told of."""
        return tuple(a for a in self._all if a.words and not a.dropped and now_s - a.began_s >= TOLD_AFTER_S)

    @property
    def waiting(self) -> int:
        """How many there are."""
        return len(self._all)


def _hand_over(asking: Asking) -> None:
    try:
        answer = asking.future.result()
    except CancelledError:
        return
    except BorewrightError as error:
        asking.failed(error)
    except Exception as error:  # noqa: BLE001 -- whatever a question failed of, the person is told and the window goes on
        asking.failed(BorewrightError(f"the program failed here ({type(error).__name__}: {error}); save the log with Ctrl+L"))
    else:
        asking.then(answer)
