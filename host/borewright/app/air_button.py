"""The button on the screen that is the air key for a mouse or a finger: held as the key is, and dressed as it stands."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtGui import QHideEvent, QMouseEvent
from PySide6.QtWidgets import QPushButton

if TYPE_CHECKING:
    from borewright.app.air_key import AirKey
    from borewright.app.step_model import StepView

__all__ = ["AirButton", "air_words"]


def air_words(view: StepView, *, held: bool, by_hold: bool) -> str:
    """What stands on the button; "" where there is none. held: this press holds the air. by_hold: a held key, no countdown.

    >>> from borewright.app.step_model import StepView
    >>> air_words(StepView("give_air", "", "", air="key"), held=False, by_hold=True)
    'Hold Space to let air in'
    >>> air_words(StepView("wait", "", "", air="on"), held=True, by_hold=True)
    'Let go of Space: shut and vent'
    """
    if view.air == "key":
        return "Hold Space to let air in" if by_hold else "Space: air after a countdown"
    if view.air == "coming" and not by_hold:
        return "Call it off (Space)"
    if view.air in ("coming", "on") and held:
        return "Let go of Space: shut and vent"
    if view.air == "on" and not by_hold and view.key != "open_vent":
        return "Shut and vent (Space)"
    return ""


class AirButton(QPushButton):
    """Pressing it is pressing the key, letting it go or leaving it with the pointer is letting the key go."""

    def __init__(self, key: AirKey) -> None:
        super().__init__()
        self._key = key
        self._mine = False
        self.setProperty("role", "act")
        self.setAccessibleName("The deliberate act for air")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setToolTip(
            "The one deliberate act that lets air in. Held: letting go shuts and vents. A foot-switch that types Space does "
            "the same. It is no emergency stop."
        )

    def dress(self, view: StepView, key: AirKey, air_by: str) -> None:
        """Show what pressing or letting go does now."""
        words = air_words(view, held=key.holds, by_hold=air_by == "hold")
        if self.text() != words:
            self.setText(words)
        if bool(words) is self.isHidden():
            self.setVisible(bool(words))
        role = "stop" if view.air in ("coming", "on") else "act"
        if self.property("role") != role:
            self.setProperty("role", role)
            self.style().unpolish(self)
            self.style().polish(self)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """The left button, or a finger, presses the key."""
        if event.button() is Qt.MouseButton.LeftButton:
            self._mine = True
            self.setDown(True)
            self._key.press()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Who slides off it has let go."""
        if self._mine and not self.rect().contains(event.position().toPoint()):
            self._let_go()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Let go."""
        if event.button() is Qt.MouseButton.LeftButton:
            self._let_go()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """A second press is no other press than the first."""
        self.mousePressEvent(event)

    def hideEvent(self, event: QHideEvent) -> None:
        """Nobody holds what is not there."""
        self._let_go()
        super().hideEvent(event)

    def _let_go(self) -> None:
        if self._mine:
            self._mine = False
            self.setDown(False)
            self._key.release()
