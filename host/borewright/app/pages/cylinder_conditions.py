"""The eight conditions of ready for air: the first that is not met in front with its remedy, all of them as a row of signs."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QScrollArea, QVBoxLayout, QWidget

from borewright.app.pages.cylinder_moment import CONDITION_LABELS
from borewright.app.plain_label import PlainLabel, plain_tip
from borewright.app.step_model import first_unmet
from borewright.core.conditions import CONDITION_NAMES, Condition

if TYPE_CHECKING:
    from borewright.app.desk import Desk

__all__ = ["ConditionsList"]

MET, UNMET, UNKNOWN = "✓", "✕", "–"


class ConditionsList(QFrame):
    """Sign and words carry the meaning, colour only repeats it; each reason is told when the list is pointed at."""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self.setProperty("role", "panel")
        self.setAccessibleName("Conditions for air")
        self._shown: tuple[tuple[Condition, ...], str] | None = None
        self._front, self._remedy, self._signs = PlainLabel(), PlainLabel(), PlainLabel()
        self._front.setProperty("role", "heading")
        self._signs.setTextFormat(Qt.TextFormat.RichText)
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 0, 0)
        for label in (self._front, self._remedy, self._signs):
            label.setWordWrap(True)
            column.addWidget(label)
        column.addStretch(1)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(inside)
        QVBoxLayout(self).addWidget(scroll)
        self.show_conditions(())
        desk.look_changed.connect(self._dress)

    def show_conditions(self, conditions: tuple[Condition, ...], meanwhile: str = "") -> None:
        """Show these, in their order; none where nothing is known. meanwhile: why they are not what is to be looked at now."""
        if (conditions, meanwhile) != self._shown:
            self._shown = (conditions, meanwhile)
            self._dress()

    @property
    def words(self) -> str:
        """All that it says."""
        return self.accessibleDescription()

    def _dress(self) -> None:
        conditions, meanwhile = self._shown or ((), "")
        front = first_unmet(conditions)
        if meanwhile:
            self._front.setText(meanwhile)
        elif front is not None:
            self._front.setText(f"{UNMET} {_upper(front.reason)}")
        else:
            self._front.setText(f"{MET} All eight conditions are met" if conditions else "Conditions for air")
        unknown = "They are looked at as soon as the rig is there."
        remedy = "" if meanwhile else front.remedy if front is not None else "" if conditions else unknown
        self._remedy.setText(remedy)
        self._remedy.setVisible(bool(remedy))
        by_name = {condition.name: condition for condition in conditions}
        self._signs.setText("   ".join(self._sign(name, by_name.get(name)) for name in CONDITION_NAMES))
        self._signs.setToolTip(plain_tip("\n".join(_told(one) for one in conditions)))
        met = sum(condition.met for condition in conditions)
        listed = ", ".join(f"{CONDITION_LABELS[one.name]} {'met' if one.met else 'not met'}" for one in conditions)
        self.setAccessibleDescription(f"{met} of {len(CONDITION_NAMES)} met. {self._front.text()}. {remedy} {listed}")

    def _sign(self, name: str, condition: Condition | None) -> str:
        palette = self._desk.palette
        sign, colour = UNKNOWN, palette.ink_soft
        if condition is not None:
            sign, colour = (MET, palette.good) if condition.met else (UNMET, palette.caution)
        words = escape(f"{sign} {CONDITION_LABELS[name]}").replace(" ", "&nbsp;")
        strong = ("<b>", "</b>") if sign == UNMET else ("", "")
        return f'<span style="color:{colour}">{strong[0]}{words}{strong[1]}</span>'


def _told(condition: Condition) -> str:
    label, sign = CONDITION_LABELS[condition.name], MET if condition.met else UNMET
    return f"{sign} {label}: {_upper(condition.reason)}. {condition.remedy}".strip()


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
