"""The window program from start to end: first something on the screen, then what takes time, at last everything put away."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from importlib import import_module
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from PySide6.QtCore import QTimer
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication, QFileDialog, QMainWindow, QPushButton, QVBoxLayout, QWidget

from borewright.app.plain_label import PlainLabel
from borewright.app.settings import Settings, load_settings
from borewright.app.theme.look import dress, load_letters, palette_of
from borewright.errors import BorewrightError, UseError

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.station import Station
    from borewright.service.workers import Workers
    from borewright.store.store import Store
    from borewright.units import Dimension

__all__ = ["Options", "Program", "run"]

SWITCH_S = 0.001  # a thread that computes lets the screen have its turn five times as often as is usual
UNSEEN_S = 1.5  # a screen that stands still for so long hears no key that is let go
FIRST_SCENARIO = "hillclimb-before"
LEAVE_S = 40.0  # the record may be on a slow disk
LEFT_UNDER_PRESSURE = "SHUT THE SUPPLY AND OPEN THE VENT BY HAND; turn and undo nothing until the gauges are down"
WARM_UP_MS = 1500  # the worker processes load while nobody waits for them
HEAVY = (
    "borewright.app.window",
    "borewright.app.pages.cylinder_page",
    "borewright.units",
    "borewright.simrig.builtin",
    "borewright.store",
)


@dataclass(frozen=True, slots=True)
class Options:
    """What the command line says.

    port: of a rig; scenario: of the built-in rig; neither: the port of the last time, or else the built-in rig. who: at the rig, ""
    as the last time, or else login. units: for this run, over what is kept.
    """

    settings_path: Path
    units_path: Path
    record: Path | None = None
    port: str = ""
    scenario: str = ""
    who: str = ""
    login: str = ""
    units: dict[Dimension, str] = field(default_factory=dict)
    usual_record: Path = Path("borewright.db")
    practice_record: Path = Path("borewright-practice.db")


class _Dialogs:
    """Asks for files by the desktop's own dialogs."""

    def save_as(self, title: str, suggested: str, kinds: str) -> Path | None:
        name, _ = QFileDialog.getSaveFileName(QApplication.activeWindow(), title, suggested, kinds)
        return Path(name) if name else None

    def open_files(self, title: str, kinds: str) -> list[Path]:
        names, _ = QFileDialog.getOpenFileNames(QApplication.activeWindow(), title, "", kinds)
        return [Path(name) for name in names]


class Program:
    """What is open for as long as the window is: record, workers, station, desk."""

    def __init__(self, options: Options, settings: Settings) -> None:
        """Open all of it. Raises BorewrightError where record or scenario cannot be used."""
        from borewright.app.desk import Desk, Paths  # noqa: PLC0415 -- loaded while the first window is on the screen already
        from borewright.service.station import PortSource, Station  # noqa: PLC0415
        from borewright.service.workers import Workers  # noqa: PLC0415
        from borewright.simrig.builtin import BuiltInRig  # noqa: PLC0415
        from borewright.store.store import Store  # noqa: PLC0415

        port = options.port or ("" if options.scenario else settings.last_port)
        builtin = None if port else BuiltInRig(options.scenario or FIRST_SCENARIO)
        record = options.record or (options.usual_record if builtin is None else options.practice_record)
        settings = replace(settings, who=options.who or settings.who or options.login)
        self.store: Store = Store.open(record)
        self.workers: Workers = Workers(record, self.store)
        self.station: Station = Station(self.store, self.workers, who=settings.who, unseen_s=UNSEEN_S)
        self.desk: Desk = Desk(
            record,
            self.station,
            self.workers,
            settings=settings,
            paths=Paths(options.settings_path, options.units_path),
            files=_Dialogs(),
            units=options.units,
            builtin=builtin,
            practice=record == options.practice_record,
        )
        self.station.connect(builtin if builtin is not None else PortSource(port))

    def leave(self) -> None:
        """Shut and vent, keep what was recorded, close everything; what was not possible is told where the program was started."""
        if not all([self.station.close(LEAVE_S), self.workers.close(LEAVE_S)]):
            print(f"borewright app: not all of the last test may be in {self.desk.record.name}; look at it", file=sys.stderr)
        trouble = self.station.snapshot().record_trouble
        if trouble is not None:
            print(f"borewright app: {trouble}", file=sys.stderr)
        state = self.station.snapshot().state
        if state is not None and state.readiness.locked:
            print(f"borewright app: {LEFT_UNDER_PRESSURE}", file=sys.stderr)
        self.store.close()


def run(options: Options) -> int:
    """Show the window until it is closed; gives an exit code. Raises UseError where there is no screen."""
    if (wrong := _no_screen(os.environ, sys.platform)) is not None:
        raise UseError(wrong)
    sys.setswitchinterval(SWITCH_S)
    app = QApplication.instance() or QApplication(["borewright"])
    assert isinstance(app, QApplication)
    app.setApplicationName("Borewright")
    app.setApplicationDisplayName("Borewright")
    load_letters()
    settings, notice = load_settings(options.settings_path)
    dress(app, palette_of(settings.theme), settings.scale_percent)
    waiting = _waiting_window()
    loading = threading.Thread(target=_load, name="borewright-loading", daemon=True)
    started: list[Callable[[], None]] = []

    def begin() -> None:
        if loading.is_alive():
            QTimer.singleShot(10, begin)
            return
        try:
            started.append(_begin(options, settings, notice))
        except BorewrightError as error:
            print(f"borewright app: {error}", file=sys.stderr)
            _tell_in(waiting, str(error), partial(app.exit, error.exit_code))
            return
        except Exception:  # noqa: BLE001 -- a program without a window must not stay behind
            traceback.print_exc()
            app.exit(1)
        waiting.close()

    app.setQuitOnLastWindowClosed(False)
    waiting.show()
    loading.start()
    QTimer.singleShot(0, begin)
    code = app.exec()
    for leave in started:
        leave()
    return int(code)


def _no_screen(environment: Mapping[str, str], system: str) -> str | None:
    """Why no window can be shown, in a sentence; None where one can. Qt itself would end the process without a word that helps.

    >>> _no_screen({"DISPLAY": ":0"}, "linux"), _no_screen({"QT_QPA_PLATFORM": "offscreen"}, "linux"), _no_screen({}, "win32")
    (None, None, None)
    >>> _no_screen({}, "linux")
    'there is no screen to show the window on (DISPLAY is not set); start it from a desktop'
    """
    named = environment.get("QT_QPA_PLATFORM", "xcb").partition(":")[0]
    needs = {"xcb": "DISPLAY", "wayland": "WAYLAND_DISPLAY"}.get(named)
    if system != "linux" or needs is None or any(environment.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY")):
        return None
    return f"there is no screen to show the window on ({needs} is not set); start it from a desktop"


def _waiting_window() -> QMainWindow:
    window = QMainWindow()
    window.setWindowTitle("Borewright")
    label = PlainLabel("Borewright\n\nopening the record …")
    label.setContentsMargins(40, 40, 40, 40)
    label.setProperty("role", "big")
    window.setCentralWidget(label)
    window.resize(1280, 800)
    return window


def _tell_in(window: QMainWindow, text: str, then: Callable[[], None]) -> None:
    """Say in the window that was waiting why there will be no other; somebody who started it by an icon sees no terminal."""
    if QGuiApplication.platformName() == "offscreen":
        then()
        return
    label = PlainLabel(f"Borewright cannot start.\n\n{text}")
    label.setWordWrap(True)
    label.setContentsMargins(40, 40, 40, 40)
    close = QPushButton("&Close")
    close.setProperty("role", "act")
    close.clicked.connect(window.close)
    whole = QWidget()
    column = QVBoxLayout(whole)
    column.addWidget(label)
    column.addWidget(close)
    column.addStretch(1)
    window.setCentralWidget(whole)
    close.setFocus()
    QApplication.setQuitOnLastWindowClosed(True)
    QApplication.instance().lastWindowClosed.connect(then)  # type: ignore[union-attr]  # there is one: it runs


def _load() -> None:
    """Load what takes long beside the screen, which goes on being painted."""
    for name in HEAVY:
        import_module(name)
    from borewright.simrig.builtin import built_in_scenario  # noqa: PLC0415 -- as above
    from borewright.units import in_unit  # noqa: PLC0415

    in_unit(0.0, "pressure_gauge", "kPa")  # the first of each takes as long as many others
    built_in_scenario(FIRST_SCENARIO)


def _begin(options: Options, settings: Settings, notice: str | None) -> Callable[[], None]:
    """Open everything and show the window; gives what ends it, which does so once."""
    program = Program(options, settings)
    left: list[bool] = []

    def leave() -> None:
        if not left:
            left.append(True)
            program.leave()
            QApplication.exit(0)

    try:
        _show(program, leave, notice)
    except BaseException:
        leave()  # no rig may stay connected to a program that nobody sees
        raise
    return leave


def _show(program: Program, leave: Callable[[], None], notice: str | None) -> None:
    from borewright.app.sound import SoundCues  # noqa: PLC0415 -- as above
    from borewright.app.window import PAGES, Window  # noqa: PLC0415

    desk = program.desk
    window = Window(desk, leave)
    _hear_of_faults(desk)
    _end_like_a_closed_window(window)
    SoundCues(desk)
    if notice is not None:
        desk.notice("warning", notice)
    window.show()
    last = desk.settings.last_page
    window.show_page(last if last in PAGES else "Test")
    desk.begin()
    if desk.builtin is not None and not desk.settings.first_run_done:
        window.begin_first_run()
    QTimer.singleShot(WARM_UP_MS, program.workers.warm_up)
    QTimer.singleShot(WARM_UP_MS, window.build_pages)


def _hear_of_faults(desk: Desk) -> None:
    """A fault in the window is told and logged; the station goes on by itself, and Esc still shuts and vents."""

    last = ""

    def heard(kind: type[BaseException], error: BaseException, where: TracebackType | None) -> None:
        nonlocal last
        fault = " | ".join(traceback.format_exception(kind, error, where))
        if issubclass(kind, KeyboardInterrupt) or fault == last:  # a page that cannot be shown fails 30 times a second
            return
        last = fault
        sys.__excepthook__(kind, error, where)
        desk.log.add(time.time(), "fault", fault)
        desk.notice("warning", f"the program failed here ({kind.__name__}: {error}); save the log with Ctrl+L")

    sys.excepthook = heard


def _end_like_a_closed_window(window: QMainWindow) -> None:
    """Ctrl-C in the terminal, a request to end and a terminal that is closed do what closing the window does."""

    def closed(_number: int, _frame: object) -> None:
        QTimer.singleShot(0, window.close)  # not in the middle of a paint

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):  # SIGHUP: not on Windows
        number = getattr(signal, name, None)
        if number is not None:
            signal.signal(number, closed)
