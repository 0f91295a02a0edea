"""The eight conditions of ready for air: the first that is not met in front with its remedy, all of them as a list of signs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QGridLayout, QLabel, QScrollArea, QVBoxLayout, QWidget

from borewright.app.pages.test_moment import CONDITION_LABELS
from borewright.app.step_model import first_unmet
from borewright.core.conditions import CONDITION_NAMES, Condition

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["ConditionsList"]

MET, UNMET, UNKNOWN = "✓", "✕", "–"


class ConditionsList(QFrame):
    """Sign and words carry the meaning; each tells its reason when it is pointed at, and to a screen reader."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.setProperty("role", "panel")
        self.setAccessibleName("Conditions for air")
        self._shown: tuple[Condition, ...] | None = None
        self._front, self._remedy = QLabel(), QLabel()
        self._front.setProperty("role", "heading")
        for label in (self._front, self._remedy):
            label.setWordWrap(True)
        self._labels = {name: QLabel(f"{UNKNOWN} {words}") for name, words in CONDITION_LABELS.items()}
        inside = QWidget()
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(inside)
        QVBoxLayout(self).addWidget(scroll)
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._front)
        column.addWidget(self._remedy)
        grid_of = QWidget()
        grid = QGridLayout(grid_of)
        grid.setContentsMargins(0, 0, 0, 0)
        for i, label in enumerate(self._labels.values()):
            grid.addWidget(label, i % 4, i // 4)
        column.addWidget(grid_of)
        column.addStretch(1)
        self.show_conditions(())
        del desk

    def show_conditions(self, conditions: tuple[Condition, ...]) -> None:
        """Show these, in their order; none where nothing is known."""
        if conditions == self._shown:
            return
        self._shown = conditions
        by_name = {condition.name: condition for condition in conditions}
        front = first_unmet(conditions)
        if front is not None:
            self._front.setText(f"{UNMET} {_upper(front.reason)}")
            self._remedy.setText(front.remedy)
        else:
            self._front.setText(f"{MET} All eight conditions are met" if conditions else "Conditions for air")
            self._remedy.setText("" if conditions else "They are looked at as soon as the rig is there.")
        self._remedy.setVisible(bool(self._remedy.text()))
        met = sum(condition.met for condition in conditions)
        self.setAccessibleDescription(f"{met} of {len(CONDITION_NAMES)} met. {self._front.text()} {self._remedy.text()}")
        for name, label in self._labels.items():
            _show(label, CONDITION_LABELS[name], by_name.get(name))


def _show(label: QLabel, words: str, condition: Condition | None) -> None:
    sign = UNKNOWN if condition is None else MET if condition.met else UNMET
    text = f"{sign} {words}"
    tip = "" if condition is None else f"{_upper(condition.reason)}. {condition.remedy}".strip()
    if label.toolTip() != tip:
        label.setToolTip(tip)
        label.setAccessibleName(f"{words}: {'met' if condition is not None and condition.met else 'not met'}. {tip}")
    if label.text() == text:
        return
    label.setText(text)
    label.setProperty("role", {MET: "good", UNMET: "caution"}.get(sign, "soft"))
    label.style().unpolish(label)
    label.style().polish(label)


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
