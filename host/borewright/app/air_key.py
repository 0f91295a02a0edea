"""The one deliberate act for air at this computer: a key that is held, or one that arms a countdown.

Held (Space, or a foot-switch that types Space): pressing asks for air, letting go shuts and vents, and so does whatever makes it
unsure that somebody still holds it: the window is no longer the active one, or the key's panel is no longer in view. A press that
the keyboard repeats by itself is none. With the countdown a press asks, and another calls it off, or shuts and vents.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QAbstractButton, QAbstractSpinBox, QApplication, QComboBox, QLineEdit, QPlainTextEdit, QWidget
from shiboken6 import isValid

from borewright.app.step_model import FIRST_AIR, FIRST_AIR_NAME, AirWay
from borewright.service import acts

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["AirKey"]

_OWN_USE_OF_SPACE = (QAbstractButton, QLineEdit, QAbstractSpinBox, QComboBox, QPlainTextEdit)
_KEY_EVENTS = (QEvent.Type.KeyPress, QEvent.Type.KeyRelease, QEvent.Type.ShortcutOverride)


class AirKey(QObject):
    """The key. panel: it belongs to this and works while it is in view; scope: where Space is listened to when air is not next."""

    changed = Signal()  # pressed, let go or lost

    def __init__(self, desk: Desk, panel: QWidget, scope: QWidget) -> None:
        super().__init__(panel)
        self._desk, self._panel, self._scope = desk, panel, scope
        self._way: AirWay = "none"
        self._drives, self._deaf = False, False
        self._down = False
        self._asked = False  # by this press, so that its release lets go
        self._watched: list[QWidget] = []
        self._listening = False
        panel.installEventFilter(self)

    @property
    def down(self) -> bool:
        """Whether it is held."""
        return self._down

    @property
    def holds(self) -> bool:
        """Whether the air that is coming or on is held by this press: letting go shuts and vents."""
        return self._down and self._asked

    def heed(self, way: AirWay, *, drives: bool, deaf: bool = False) -> None:
        """How air is let in now.

        drives: the rig has valves and no hold-to-run switch, so that this key is the act for air. deaf: no test is under way, so
        that a press asks for nothing, whatever the bench is ready for.
        """
        self._way, self._drives, self._deaf = way, drives, deaf

    # ------------------------------------------------------------------ what the person does

    def press(self) -> None:
        """The key or the button on the screen goes down."""
        if self._down or self._deaf:
            return
        self._down, self._asked = True, False
        by_hold = self._desk.settings.air_by == "hold"
        if self._way in ("coming", "on"):
            if self._drives and not by_hold:
                self._desk.tell(acts.LetGo())
        elif self._confirmed():
            self._asked = self._drives and by_hold
            self._desk.tell(acts.AskAir())
        self._hear_everything(True)
        self.changed.emit()

    def release(self) -> None:
        """It is let go, or nobody knows any more that it is held."""
        if not self._down:
            return
        self._down = False
        self._hear_everything(False)
        if self._asked:
            self._asked = False
            self._desk.tell(acts.LetGo())
        self.changed.emit()

    def _hear_everything(self, on: bool) -> None:
        """While it is held: a list or a menu that has opened meanwhile takes the keys for itself, the release too."""
        app = QApplication.instance()
        if isinstance(app, QApplication):
            (app.installEventFilter if on else app.removeEventFilter)(self)

    def _confirmed(self) -> bool:
        """Whether the cautions before the first air are confirmed already; a press that brings them up asks for nothing."""
        confirmed: list[bool] = []
        self._desk.caution(FIRST_AIR_NAME, FIRST_AIR, lambda: confirmed.append(True))
        return bool(confirmed)

    # ------------------------------------------------------------------ what comes from the keyboard and the window

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Space before anybody else takes it; and everything that ends a hold."""
        kind = event.type()
        if watched is self._panel and kind in (QEvent.Type.Show, QEvent.Type.Hide):
            self._in_view(kind is QEvent.Type.Show)
        elif kind is QEvent.Type.WindowDeactivate and watched is self._panel.window():
            self.release()
        elif kind in _KEY_EVENTS and isinstance(event, QKeyEvent) and event.key() == Qt.Key.Key_Space:
            return self._on_space(watched, event)
        elif kind is QEvent.Type.MouseButtonRelease and self._down and QApplication.activePopupWidget() is not None:
            self.release()  # the button on the screen was held, and a list that has opened takes the mouse
        return super().eventFilter(watched, event)

    def _on_space(self, watched: QObject, event: QKeyEvent) -> bool:
        kind = event.type()
        if kind is QEvent.Type.KeyRelease:
            if not self._down:
                return False
            if not event.isAutoRepeat():
                self.release()
            return True
        if not (self._down or self._is_mine(watched)) or (event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier):
            return False
        if kind is QEvent.Type.ShortcutOverride:
            event.accept()
        elif not event.isAutoRepeat():
            self.press()
        return True

    def _is_mine(self, watched: QObject) -> bool:
        """While air is coming or on, Space is its key everywhere; else where nothing has a use of its own for it."""
        if self._way in ("coming", "on"):
            return True
        if self._deaf:
            return False
        focus = QApplication.focusWidget() or watched
        in_scope = isinstance(focus, QWidget) and (focus is self._scope or self._scope.isAncestorOf(focus))
        own = isinstance(focus, _OWN_USE_OF_SPACE)
        return in_scope or not own if self._way == "key" else in_scope and not own

    def _in_view(self, shown: bool) -> None:
        """Listen to the widget that has the focus, and to the window, which hears what the others leave."""
        app = QApplication.instance()
        if not isinstance(app, QApplication) or shown is self._listening:
            return
        self._listening = shown
        if shown:
            app.focusChanged.connect(self._focus_moved)
            self._watch(QApplication.focusWidget())
        else:
            self.release()
            app.focusChanged.disconnect(self._focus_moved)
            self._watch(None)

    def _focus_moved(self, _before: QWidget | None, now: QWidget | None) -> None:
        self._watch(now)

    def _watch(self, focus: QWidget | None) -> None:
        for widget in filter(isValid, self._watched):  # what had the focus may be gone
            widget.removeEventFilter(self)
        window = self._panel.window()
        focus = focus if focus is not None and focus.window() is window else None
        wanted = (window, focus) if self._listening else ()
        self._watched = [widget for widget in dict.fromkeys(wanted) if widget is not None and widget is not self._panel]
        for widget in self._watched:
            widget.installEventFilter(self)
