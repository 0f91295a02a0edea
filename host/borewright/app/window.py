"""The window: the pages, the band over them while there is pressure, the panels at the side, and the keys that serve everywhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING

from PySide6.QtCore import QByteArray, QEvent, QObject, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QGuiApplication, QKeyEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QDockWidget,
    QMainWindow,
    QScrollArea,
    QStackedWidget,
    QTabBar,
    QVBoxLayout,
    QWidget,
)

from borewright.app.air_band import AirBand
from borewright.app.caution_bar import CautionBar
from borewright.app.desk import Caution, Desk
from borewright.app.keys import keys_text
from borewright.app.notices import LogList, NoticeBar, save_log
from borewright.app.page import Page
from borewright.app.plain_label import PlainLabel
from borewright.app.surroundings import SurroundingsPanel
from borewright.app.theme.look import dress
from borewright.app.top_bar import TopBar
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.snapshot import Snapshot

if TYPE_CHECKING:
    from borewright.app.builtin.operator_panel import OperatorPanel

__all__ = ["PAGES", "Window"]

# a page is built when it first comes into view, so that the first one is there at once
PAGES = {
    "Test": ("borewright.app.pages.cylinder_page", "CylinderPage"),
    "Rig": ("borewright.app.pages.rig_page", "RigPage"),
    "Engine": ("borewright.app.pages.engine_page", "EnginePage"),
    "Findings": ("borewright.app.pages.findings_page", "FindingsPage"),
    "Jobs": ("borewright.app.pages.jobs_page", "JobsPage"),
}
MOST_FOR_PANEL = 0.45  # of the window's width
BUILD_EVERY_MS = 400
DRESS_AFTER_MS = 250
BUILT_IN, SURROUNDINGS, MESSAGES, KEYS = "Built-in rig", "Surroundings", "Messages", "Keys"
LEAST_SCALE, USUAL_SCALE, MOST_SCALE, SCALE_STEP = 80, 100, 250, 10
GO_DOWN_FIRST = "the rig is told to shut and vent; the window closes once the pressure is gone, or when you close it again"
GO_DOWN_BY_HAND = "SHUT THE SUPPLY AND OPEN THE VENT BY HAND; the window closes once it is gone, or when you close it again"


_TURNED_BY_WHEEL = (QComboBox, QAbstractSpinBox, QTabBar)


@dataclass(frozen=True, slots=True)
class _Panel:
    """A panel at the side: what holds it, what scrolls it, what is in it."""

    dock: QDockWidget
    area: QScrollArea
    inner: QWidget


class Window(QMainWindow):
    """The whole program on the screen. leave: called once when it is closed, to shut, vent and put everything away."""

    def __init__(self, desk: Desk, leave: Callable[[], None]) -> None:
        super().__init__()
        self.desk = desk
        self._leave = leave
        self._left = False
        self._goes_when_vented = False
        self._pages: dict[str, tuple[Page, QScrollArea]] = {}
        self._shown: Page | None = None
        self._panels: dict[str, _Panel] = {}
        self.setWindowTitle(f"Borewright, {desk.record.name}")
        self.setMinimumSize(640, 420)
        panels = ([BUILT_IN] if desk.builtin is not None else []) + [SURROUNDINGS]
        self._top = TopBar(desk, list(PAGES), panels)
        self._band = AirBand(desk)
        self._first_run: QWidget | None = None
        self._operator: OperatorPanel | None = None
        self._stack = QStackedWidget()
        self._caution = CautionBar(desk)
        self._notices = NoticeBar(desk)
        centre = QWidget()
        self._column = QVBoxLayout(centre)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(0)
        for widget in (self._stack, self._caution, self._notices):
            self._column.addWidget(widget, 1 if widget is self._stack else 0)
        self.setCentralWidget(centre)
        self.setMenuWidget(_stacked(self._top, self._band))  # over the panels at the side too: neither may ever be cut off
        self._top.chosen.connect(self.show_page)
        self._top.panel_asked.connect(self.toggle_panel)
        self._notices.list_asked.connect(lambda: self.toggle_panel(MESSAGES))
        desk.snapshot_changed.connect(self.show_snapshot)
        desk.page_asked.connect(self.show_page)
        self._dressing = QTimer(self)  # dressing takes a second; five presses of a key are one change
        self._dressing.setSingleShot(True)
        self._dressing.setInterval(DRESS_AFTER_MS)
        self._dressing.timeout.connect(self.look_now)
        desk.look_changed.connect(self._dressing.start)
        self._bind_keys()
        self.look_now()
        self._restore()
        if isinstance(app := QApplication.instance(), QApplication):
            app.installEventFilter(self)
        QGuiApplication.styleHints().colorSchemeChanged.connect(lambda _scheme: desk.look_again())

    # ------------------------------------------------------------------ pages and panels

    @property
    def page(self) -> Page | None:
        """The page in view; None before the first."""
        return self._shown

    @property
    def caution(self) -> Caution | None:
        """The caution that is shown now."""
        return self._caution.asks

    def show_page(self, title: str) -> None:
        """Bring a page into view; it is built when that happens first."""
        self._build(title)
        page, area = self._pages[title]
        self._stack.setCurrentWidget(area)
        self._shown = page
        self._top.show_chosen(title)
        self.desk.change_setting(last_page=title)
        page.entered()
        page.show_snapshot(self.desk.snapshot)
        page.setFocus()

    def _build(self, title: str) -> None:
        if title in self._pages:
            return
        module, name = PAGES[title]
        page: Page = getattr(import_module(module), name)(self.desk)
        area = QScrollArea()  # where even the smallest layout does not fit, it is scrolled and never cut off
        area.setWidgetResizable(True)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.setWidget(page)
        self._stack.addWidget(area)
        self._pages[title] = page, area

    def build_pages(self) -> None:
        """Build those that nobody has looked at yet, one after the other, while nothing is going on.

        Building takes a moment, and with air on nothing may keep Esc or a key that is let go waiting.
        """
        missing = [title for title in PAGES if title not in self._pages]
        state = self.desk.snapshot.state
        if missing and not self._left:
            if state is None or not (state.readiness.locked or state.readiness.state in (State.ARMED, State.SQUEEZING)):
                self._build(missing[0])
            QTimer.singleShot(BUILD_EVERY_MS, self.build_pages)

    def toggle_panel(self, name: str) -> None:
        """Show a panel at the side, or put it away."""
        panel = self._panels.get(name)
        if panel is None:
            panel = self._panels[name] = self._make_panel(name)
            panel.dock.show()
            self._fit(panel)
        else:
            panel.dock.setVisible(not panel.dock.isVisible())
        if panel.dock.isVisible():
            panel.inner.setFocus()

    def _make_panel(self, name: str) -> _Panel:
        makers: dict[str, Callable[[], QWidget]] = {
            BUILT_IN: self._make_operator,
            SURROUNDINGS: lambda: SurroundingsPanel(self.desk),
            MESSAGES: lambda: LogList(self.desk),
            KEYS: _keys,
        }
        panel = _Panel(QDockWidget(name, self), QScrollArea(), makers[name]())
        panel.dock.setObjectName(name)
        panel.area.setWidgetResizable(True)
        panel.area.setWidget(panel.inner)
        panel.dock.setWidget(panel.area)
        side = Qt.DockWidgetArea.BottomDockWidgetArea if name == MESSAGES else Qt.DockWidgetArea.RightDockWidgetArea
        self.addDockWidget(side, panel.dock)
        return panel

    def _fit(self, panel: _Panel) -> None:
        """As wide as what is in it needs, and never more than leaves the page its larger half."""
        needs_px = panel.inner.minimumSizeHint().width() + panel.area.verticalScrollBar().sizeHint().width() + 4
        width_px = min(needs_px, round(self.width() * MOST_FOR_PANEL))
        panel.area.setMinimumWidth(width_px)
        self.resizeDocks([panel.dock], [width_px], Qt.Orientation.Horizontal)

    def _make_operator(self) -> QWidget:
        from borewright.app.builtin.operator_panel import OperatorPanel  # noqa: PLC0415 -- a real rig has no need of it

        self._operator = OperatorPanel(self.desk)
        return self._operator

    def begin_first_run(self) -> None:
        """Lead a newcomer through a first job, in a strip over the pages."""
        from borewright.app.builtin.first_run import FirstRunStrip  # noqa: PLC0415 -- needed once in a life

        if self._first_run is None:
            self._first_run = FirstRunStrip(self.desk)
            self._column.insertWidget(0, self._first_run)
        self._first_run.show()
        panel = self._panels.get(BUILT_IN)
        if panel is None or not panel.dock.isVisible():
            self.toggle_panel(BUILT_IN)
        if self._shown is not None:
            self._shown.entered()  # the keys stay with the page

    # ------------------------------------------------------------------ how things stand

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Hand it to whatever is in view."""
        self._band.show_snapshot(snapshot)
        self._notices.show_snapshot(snapshot)
        if self._shown is not None:
            self._shown.show_snapshot(snapshot)
        if self._operator is not None and self._operator.isVisible():
            self._operator.show_snapshot(snapshot)
        if self._goes_when_vented and (snapshot.state is None or not snapshot.state.readiness.locked):
            self.close()

    def look_now(self) -> None:
        """Put palette and size onto the program."""
        app = QApplication.instance()
        if isinstance(app, QApplication):
            dress(app, self.desk.palette, self.desk.settings.scale_percent)
        for panel in self._panels.values():
            self._fit(panel)
        self.update()

    # ------------------------------------------------------------------ keys

    def _bind_keys(self) -> None:
        desk = self.desk
        keys: dict[str, Callable[[], object]] = {
            f"Ctrl+{number}": (lambda title=title: self.show_page(title))  # type: ignore[misc]  # bound now, not when pressed
            for number, title in enumerate(PAGES, 1)
        }
        if desk.builtin is not None:
            keys |= {"Ctrl+6": lambda: self.toggle_panel(BUILT_IN), "F9": self.begin_first_run}
        keys |= {
            "Ctrl+7": lambda: self.toggle_panel(SURROUNDINGS),
            "Ctrl+M": lambda: self.toggle_panel(MESSAGES),
            "F1": lambda: self.toggle_panel(KEYS),
            "Ctrl+U": desk.toggle_units,
            "Ctrl+T": lambda: desk.change_setting(theme="light" if desk.palette.name == "dark" else "dark"),
            "Ctrl+L": lambda: save_log(desk),
            "Ctrl++": lambda: self._scale(SCALE_STEP),
            "Ctrl+=": lambda: self._scale(SCALE_STEP),
            "Ctrl+-": lambda: self._scale(-SCALE_STEP),
            "Ctrl+0": lambda: desk.change_setting(scale_percent=USUAL_SCALE),
            "Ctrl+Q": self.close,
        }
        for key, act in keys.items():
            shortcut = QShortcut(QKeySequence(key), self)
            shortcut.setContext(Qt.ShortcutContext.ApplicationShortcut)
            shortcut.activated.connect(act)

    def _scale(self, step: int) -> None:
        wanted = self.desk.settings.scale_percent + step
        self.desk.change_setting(scale_percent=min(max(wanted, LEAST_SCALE), MOST_SCALE))

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Esc stops, whatever has the focus, a list that is open included; it goes on to do there what it does."""
        if (
            event.type() is QEvent.Type.KeyPress
            and isinstance(event, QKeyEvent)
            and event.key() == Qt.Key.Key_Escape
            and not event.isAutoRepeat()
            and watched.isWindowType()  # else it would be heard again at every widget that it passes through
        ):
            self.desk.tell(acts.StopAll())
        if event.type() is QEvent.Type.Wheel and isinstance(watched, _TURNED_BY_WHEEL) and not watched.hasFocus():
            event.ignore()  # scrolling over it is not choosing in it
            return True
        return super().eventFilter(watched, event)

    # ------------------------------------------------------------------ coming and going

    def _restore(self) -> None:
        geometry = self.desk.settings.geometry
        if not geometry or not self.restoreGeometry(QByteArray.fromHex(geometry.encode("ascii", "replace"))):
            self.resize(1280, 800)

    def closeEvent(self, event: QCloseEvent) -> None:
        """Under pressure: shut, vent, and go once it is gone. Whoever closes a second time goes at once."""
        state = self.desk.snapshot.state
        if state is not None and state.readiness.locked and not self._goes_when_vented and not self._left:
            self._goes_when_vented = True
            self.desk.tell(acts.StopAll())
            self.desk.notice("alarm", GO_DOWN_FIRST if state.has_valves else GO_DOWN_BY_HAND)
            event.ignore()
            return
        if not self._left:
            self._left = True
            self.desk.change_setting(geometry=bytes(self.saveGeometry().toHex().data()).decode("ascii"))
            self.desk.end()
            self.hide()
            self._leave()
        if isinstance(app := QApplication.instance(), QApplication):
            app.removeEventFilter(self)
        event.accept()


def _stacked(*widgets: QWidget) -> QWidget:
    whole = QWidget()
    column = QVBoxLayout(whole)
    column.setContentsMargins(0, 0, 0, 0)
    column.setSpacing(0)
    for widget in widgets:
        column.addWidget(widget)
    return whole


def _keys() -> QWidget:
    label = PlainLabel(keys_text())
    label.setWordWrap(True)
    label.setAccessibleName("Keys")
    label.setContentsMargins(12, 12, 12, 12)
    label.setAlignment(Qt.AlignmentFlag.AlignTop)
    return label
