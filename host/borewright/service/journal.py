"""What has been said to the person and what came of the captures, over all rigs and connections of one run of the program."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import replace

from borewright.service.bench import Done
from borewright.service.effects import AirRefused, Say
from borewright.service.snapshot import DoneView, Told, ToldLevel
from borewright.store.writer import CaptureKept, CaptureLost, WriteFailed, WriterNews

__all__ = ["Journal"]

MOST_TOLD = 500


class Journal:
    """Words and captures, numbered. Lives in the station's thread; what it gives is frozen.

    >>> journal = Journal(lambda: 1.8e9)
    >>> journal.tell("warning", "the rig is silent")
    >>> journal.told
    (Told(number=1, at_unix_s=1800000000.0, level='warning', text='the rig is silent'),)
    """

    def __init__(self, wall_clock: Callable[[], float]) -> None:
        self.told: tuple[Told, ...] = ()
        self.done: tuple[DoneView, ...] = ()
        self.record_trouble: str | None = None
        self._wall_clock = wall_clock
        self._told: deque[Told] = deque(maxlen=MOST_TOLD)
        self._told_count = 0
        self._early: dict[int, CaptureKept | CaptureLost] = {}  # what the record said before the capture was handed over here

    def tell(self, level: ToldLevel, text: str) -> None:
        """A word to the person."""
        self._told_count += 1
        self._told.append(Told(self._told_count, self._wall_clock(), level, text))
        self.told = tuple(self._told)

    def tell_once(self, level: ToldLevel, text: str) -> None:
        """A word that would come again and again is not repeated right after itself; faults, for the log, stand apart."""
        last = next((told for told in reversed(self._told) if (told.level == "fault") == (level == "fault")), None)
        if last is None or (last.level, last.text) != (level, text):
            self.tell(level, text)

    def hear(self, word: Say | AirRefused) -> None:
        """What the bench says to the person."""
        if isinstance(word, AirRefused):
            self.tell("refused", "; ".join(word.reasons))
        else:
            self.tell(word.level, word.text)

    def take_done(self, captures: Iterable[Done]) -> None:
        """Captures that are over, in order."""
        for done in captures:
            view = DoneView(len(self.done) + 1, done, void_reason=done.analysed.void_reason)
            early = self._early.pop(done.ticket, None) if done.ticket is not None else None
            self.done = (*self.done, view if early is None else _as_kept(view, early))

    def take_news(self, news: Iterable[WriterNews]) -> None:
        """What the record said: kept, lost, or that something could not be written, which record_trouble then tells."""
        for word in news:
            if isinstance(word, WriteFailed):
                self.record_trouble = word.reason
                continue
            if isinstance(word, CaptureLost):
                self.record_trouble = word.reason
                self.tell("alarm", _lost_words(word))
            elif word.void_reason is None or "part of the record is missing" not in word.void_reason:
                self.record_trouble = None
            self._answer(word)

    def _answer(self, word: CaptureKept | CaptureLost) -> None:
        if not any(view.done.ticket == word.ticket for view in self.done):
            self._early[word.ticket] = word
            return
        self.done = tuple(_as_kept(view, word) if view.done.ticket == word.ticket else view for view in self.done)


def _lost_words(word: CaptureLost) -> str:
    if word.cut_off is None:
        return f"the test is not in the record: {word.reason}"
    return (
        f"the end of the test is not in the record: {word.reason}; after the next start of the program what came before it is "
        f"test {word.cut_off}, among those that were cut off, and can be finished there"
    )


def _as_kept(view: DoneView, word: CaptureKept | CaptureLost) -> DoneView:
    if isinstance(word, CaptureLost):
        return replace(view, lost=word.reason)
    return replace(view, capture_id=word.capture_id, void_reason=word.void_reason)
