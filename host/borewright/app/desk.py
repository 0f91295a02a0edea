"""The desk: what every page works with. It hands acts to the bench and questions to the record, and says when something changed.

Nothing comes to it from another thread by itself: a timer has it look at the station's snapshot and at the answers that have come.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from math import inf
from pathlib import Path
from typing import Any, Protocol

from PySide6.QtCore import QObject, QTimer, Signal

from borewright.app.asking import Asking, AskingList
from borewright.app.log import Log
from borewright.app.settings import Settings, save_settings
from borewright.app.theme.look import palette_of
from borewright.app.theme.palette import Palette
from borewright.core.engine import Engine
from borewright.core.limit_sets import LimitSet
from borewright.core.readiness_table import State
from borewright.errors import BorewrightError, UseError
from borewright.service import acts
from borewright.service.conditions_of_air import AirConditions
from borewright.service.limit_files import find_limits
from borewright.service.shown_units import ShownUnits
from borewright.service.snapshot import LinkView, Snapshot
from borewright.service.station import Station
from borewright.service.unit_settings import SYSTEMS, save_units
from borewright.service.view_desk import OpenJob, job_to_open, note_caution
from borewright.service.workers import Workers
from borewright.simrig.builtin import BuiltInRig
from borewright.store.records import JobRecord
from borewright.units import Dimension

__all__ = ["Caution", "Desk", "Files", "Paths"]

FRAME_MS = 33
STALE_S = 1.5  # the station leaves a snapshot sixty times a second
STALE = "the program does not read the rig any more: SHUT THE SUPPLY AND OPEN THE VENT BY HAND, then start the program again"
UNDER_AIR = "air is coming or on: shut and vent before a file is asked for"
LOOK_LATER = "air is coming or on: size and colours can be changed once it is vented"
KEPT_SOON_S = 0.4  # what the bench notes of the person goes through the writer's queue


class Files(Protocol):
    """Who asks the person for names of files."""

    def save_as(self, title: str, suggested: str, kinds: str) -> Path | None:
        """Where to save; None where the person thought better of it."""

    def open_files(self, title: str, kinds: str) -> list[Path]:
        """Which to open."""


@dataclass(frozen=True, slots=True)
class Paths:
    """Where this person's settings are kept."""

    settings: Path
    units: Path


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution at the act: shown in place; what comes after it is in `confirm`."""

    name: str
    text: str
    confirm: Callable[[], None]


class Desk(QObject):
    """What pages get. Everything in it belongs to the thread of the window. practice: the record is there for simulated tests."""

    snapshot_changed = Signal(object)
    job_changed = Signal()
    record_changed = Signal()
    look_changed = Signal()
    units_changed = Signal()
    noticed = Signal(str, str)
    caution_asked = Signal(object)
    page_asked = Signal(str)

    def __init__(
        self,
        record: Path,
        station: Station,
        workers: Workers,
        *,
        settings: Settings,
        paths: Paths,
        files: Files,
        units: Mapping[Dimension, str] | None = None,
        builtin: BuiltInRig | None = None,
        practice: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self.record = record
        self.station = station
        self.builtin = builtin
        self.practice = practice
        self.settings = settings
        self.palette: Palette = palette_of(settings.theme)
        self.files = files
        self.log = Log()
        self.job: JobRecord | None = None
        self.engine: Engine | None = None
        self.document: Mapping[str, Any] | None = None
        self.limit_set: LimitSet = find_limits(None)
        self.ambient = AirConditions(assumed=("assumed: ambient pressure, air temperature, engine temperature",))
        self.chosen_engine = ""
        self._limits: str | None = None
        self._chosen_units: dict[Dimension, str] = dict(units or {})
        self.units = ShownUnits(self._chosen_units)
        self._workers = workers
        self._paths = paths
        self._clock = clock
        self._asking = AskingList()
        self._cautions_seen: set[tuple[str, str]] = set()
        self._record_due_s: float | None = None
        self.snapshot: Snapshot = station.snapshot()
        self._looked_at = self.snapshot
        self._look_due = False
        self._new_at_s = clock()
        self._timer = QTimer(self)
        self._timer.setInterval(FRAME_MS)
        self._timer.timeout.connect(self.refresh)

    # ------------------------------------------------------------------ time

    def begin(self) -> None:
        """From now on look 30 times a second."""
        self._timer.start()

    def end(self) -> None:
        """Look no more."""
        self._timer.stop()

    def refresh(self) -> None:
        """Look at the bench and at the answers that have come."""
        self._asking.answer()
        snapshot = self.station.snapshot()
        if snapshot is not self._looked_at:
            self._looked_at, self._new_at_s = snapshot, self._clock()
            self._show(snapshot)
        elif self._clock() - self._new_at_s > STALE_S and snapshot.link.kind not in ("opening", "none"):
            self._new_at_s = inf
            self._show(replace(snapshot, link=LinkView("lost", snapshot.link.port, STALE)))
            self.notice("alarm", STALE)
        if self._look_due and not self.under_air:
            self.look_again()
        if self._record_due_s is not None and self._clock() >= self._record_due_s:
            self._record_due_s = None
            self.record_changed.emit()

    def _show(self, snapshot: Snapshot) -> None:
        before, self.snapshot = self.snapshot, snapshot
        self._hear(before, snapshot)
        self.snapshot_changed.emit(snapshot)

    def _hear(self, before: Snapshot, now: Snapshot) -> None:
        last = before.told[-1].number if before.told else 0
        for told in now.told:
            if told.number > last and told.level == "fault":
                self.log.add(time.time(), "fault", told.text)
            elif told.number > last:
                self.notice("warning" if told.level == "refused" else told.level, told.text)
        if before.done != now.done:
            self.record_changed.emit()
        if now.record_trouble is not None and now.record_trouble != before.record_trouble:
            self.notice("alarm", now.record_trouble)
        if before.link != now.link:
            self.log.add(time.time(), "note", f"link {now.link.kind}: {now.link.words}")

    # ------------------------------------------------------------------ to the bench

    def tell(self, act: acts.Act) -> None:
        """An act of the person; heeded within one turn of the bench's loop."""
        self.station.tell(act)
        if isinstance(act, acts.NoteHeard | acts.ReadPlaceGauge):
            self._record_due_s = self._clock() + KEPT_SOON_S

    def at_rig(self, words: str) -> None:
        """Something that the person of the built-in rig is to do; what cannot be done is noticed."""
        self._follow(
            Asking(self.station.at_rig(words), self._heed_the_person, self._notice_error, "", "", self._clock()),
        )

    def _heed_the_person(self, answer: str) -> None:
        if not answer.startswith("ok"):
            self.notice("warning", f"at the built-in rig: {answer.removeprefix('no: ')}")

    # ------------------------------------------------------------------ to the record

    def ask(
        self,
        question: Callable[..., Any],
        *arguments: Any,
        then: Callable[[Any], None],
        failed: Callable[[BorewrightError], None] | None = None,
        key: str = "",
        words: str = "",
    ) -> Asking:
        """Ask the record in the worker process: question(store, *arguments), a function of a module.

        then is handed the answer; failed what went wrong, which else is noticed. A newer one of the same key drops this one. words:
        what is told where it takes more than a second.
        """
        return self._follow(
            Asking(self._workers.ask(question, *arguments), then, failed or self._notice_error, key, words, self._clock())
        )

    def write(
        self,
        act: Callable[..., Any],
        *arguments: Any,
        then: Callable[[Any], None] | None = None,
        failed: Callable[[BorewrightError], None] | None = None,
    ) -> None:
        """Change the record: act(store, *arguments), one after the other; then record_changed is emitted."""

        def written(answer: Any) -> None:
            if then is not None:
                then(answer)
            self.record_changed.emit()

        self._follow(Asking(self._workers.write(act, *arguments), written, failed or self._notice_error, "", "", self._clock()))

    def _follow(self, asking: Asking) -> Asking:
        self._asking.add(asking)
        return asking

    def _notice_error(self, error: BorewrightError) -> None:
        self.notice("warning", str(error))

    @property
    def long_work(self) -> tuple[Asking, ...]:
        """What has taken more than a second, for progress and cancel."""
        return self._asking.long(self._clock())

    @property
    def answers_due(self) -> int:
        """How many answers have not come yet."""
        return self._asking.waiting

    # ------------------------------------------------------------------ the job

    def open_job(self, job_id: int | None) -> None:
        """Open a job, or none; the bench then tests its engine."""
        if self.snapshot.state is not None and self.snapshot.state.readiness.locked:
            self.notice("warning", "PRESSURISED: shut and vent before another job is opened")
            return
        if job_id is None:
            self._take_job(None)
        else:
            self.ask(job_to_open, job_id, then=self._take_job, key="open job")

    def _take_job(self, opened: OpenJob | None) -> None:
        self.job = None if opened is None else opened.job
        self.engine = None if opened is None else opened.engine
        self.document = None if opened is None else opened.document
        self._find_limits()
        self.station.use_job(self.job, self.engine, self.ambient)
        self.job_changed.emit()

    def use_air(self, ambient: AirConditions) -> None:
        """The air around and the temperatures, as the person states them; the next test goes by them."""
        self.ambient = ambient
        self.station.use_job(self.job, self.engine, ambient)

    def use_limits(self, wanted: str | None) -> None:
        """Judge by another set of limits, by name or file. Raises UseError."""
        find_limits(wanted, self.document or {})
        self._limits = wanted
        self._find_limits()
        self.record_changed.emit()

    def _find_limits(self) -> None:
        try:
            self.limit_set = find_limits(self._limits, self.document or {})
        except UseError as error:
            self.limit_set = find_limits(None)
            self.notice("warning", f"{error}; judged by {self.limit_set.name}")

    # ------------------------------------------------------------------ to the person

    def notice(self, level: str, text: str) -> None:
        """Say something to the person, and keep it in the log. level: note, warning or alarm."""
        self.log.add(time.time(), level, text)
        self.noticed.emit(level, text)

    def caution(self, name: str, text: str, then: Callable[[], None]) -> None:
        """A caution at the act. Once the person has confirmed it, that is recorded, and `then` is done; at the same job it is not
        shown a second time in this run."""
        seen = name, "" if self.job is None else self.job.uid
        if seen in self._cautions_seen:
            then()
            return
        self.caution_asked.emit(Caution(name, text, partial(self._caution_read, seen, text, then)))

    def _caution_read(self, seen: tuple[str, str], text: str, then: Callable[[], None]) -> None:
        self._cautions_seen.add(seen)
        self.write(note_caution, seen[1], seen[0], text, self.settings.who, self._clock())
        then()

    def show_page(self, title: str) -> None:
        """Bring a page into view."""
        self.page_asked.emit(title)

    def save_as(self, title: str, suggested: str, kinds: str) -> Path | None:
        """Ask where to save; not under pressure, where Esc would close the question and not the air."""
        return None if self._refuses_files() else self.files.save_as(title, suggested, kinds)

    def open_files(self, title: str, kinds: str) -> list[Path]:
        """Ask what to open; not under pressure, as above."""
        return [] if self._refuses_files() else self.files.open_files(title, kinds)

    @property
    def under_air(self) -> bool:
        """Whether air is coming or on, or has not been seen gone."""
        state = self.snapshot.state
        return state is not None and (state.readiness.locked or state.readiness.state is State.ARMED)

    def _refuses_files(self) -> bool:
        if self.under_air:
            self.notice("warning", UNDER_AIR)
        return self.under_air

    # ------------------------------------------------------------------ what is remembered

    def change_setting(self, **changes: Any) -> None:
        """Change what the window remembers, and keep it."""
        if changes.keys() & {"theme", "scale_percent"} and self.under_air:
            self.notice("warning", LOOK_LATER)
            return
        before, self.settings = self.settings, replace(self.settings, **changes)
        if self.settings == before:
            return
        try:
            save_settings(self._paths.settings, self.settings)
        except UseError as error:
            self.notice("warning", str(error))
        if (before.theme, before.scale_percent) != (self.settings.theme, self.settings.scale_percent):
            self.look_again()

    def look_again(self) -> None:
        """Take palette and size anew: they were changed here, or the desktop's were; with air on once that is vented.

        It takes a second, and a screen that stands still hears neither Esc nor a key that is let go.
        """
        self._look_due = self.under_air
        if self._look_due:
            return
        self.palette = palette_of(self.settings.theme)
        self.look_changed.emit()

    @property
    def chosen_units(self) -> dict[Dimension, str]:
        """What of the units is chosen; the rest is shown as usual."""
        return dict(self._chosen_units)

    def choose_units(self, chosen: Mapping[Dimension, str]) -> None:
        """Show in these units from now on."""
        self._chosen_units = dict(chosen)
        self.units = ShownUnits(self._chosen_units)
        try:
            save_units(self._paths.units, self._chosen_units)
        except UseError as error:
            self.notice("warning", str(error))
        self.units_changed.emit()

    def toggle_units(self) -> None:
        """Metric, inch, metric …"""
        self.choose_units(SYSTEMS["inch" if self._chosen_units == SYSTEMS["metric"] else "metric"])
