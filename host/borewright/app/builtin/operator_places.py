"""The engine's places at the built-in rig: stopped, metered, listened at; oil, decompression lever, adapter."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtWidgets import QDoubleSpinBox, QVBoxLayout, QWidget

from borewright.app.builtin.operator_model import listening_lines, seen_text
from borewright.app.builtin.operator_parts import choice, group, press, row, say, show_on
from borewright.core.place_meaning import place_words
from borewright.simrig.rig_view import ORIFICES_MM2, BuiltInFacts, BuiltInView

__all__ = ["PlaceControls"]

USUAL_OIL_CM3 = 5.0
MOST_OIL_CM3 = 20.0


class PlaceControls(QWidget):
    """What a person does at the places of one cylinder, and what is heard and read there."""

    def __init__(self, facts: BuiltInFacts, tell: Callable[[str], None]) -> None:
        super().__init__()
        self._facts, self._tell = facts, tell
        column = QVBoxLayout(self)
        column.setContentsMargins(4, 4, 4, 4)
        for part in (self._ears(), self._at_a_place(), self._in_the_cylinder()):
            column.addWidget(part)
        column.addStretch(1)

    def show_view(self, view: BuiltInView) -> None:
        """Show what is to be heard and seen."""
        lines = "\n".join(listening_lines(view, self._facts)) if self._listening.isChecked() else ""
        _put(self._heard, lines)
        self._heard.setVisible(bool(lines))
        gauges = [f"{place_words(place)} of cylinder {number}: {shown}" for number, place, shown in view.place_gauges]
        _put(self._gauges, "Gauges there: " + "; ".join(gauges) if gauges else "No gauge on any place.")
        seen = seen_text(view)
        _put(self._seen, seen and f"To be seen: {seen}.")
        self._seen.setVisible(bool(seen))
        if self._facts.decompression_lever:
            show_on(self._lever, view.decompression_on)

    def listen(self) -> None:
        """Begin to listen, or end it."""
        self._listening.click()

    # ------------------------------------------------------------------ groups

    def _ears(self) -> QWidget:
        tip = "Go from place to place with a tube to the ear: what is heard at each. Note it in the window."
        self._listening = press("Listen (L)", "Listen at each place", lambda: None, tip, shows=True)
        self._heard = say()
        self._heard.setAccessibleName("What is heard")
        return group("Listen", row(self._listening), self._heard)

    def _at_a_place(self) -> QWidget:
        facts = self._facts
        self._cylinder = choice("Cylinder to work at")
        self._cylinder.addItems([str(number) for number in sorted(facts.firing_order)])
        self._place = choice("Place to work at")
        for place in facts.places:
            self._place.addItem(place_words(place), place)
        self._orifice = choice("Orifice", "Effective area of the orifice through which the air of a place is led.")
        for area in ORIFICES_MM2:
            self._orifice.addItem(f"{area:g} mm²", area)
        stop_tip = "Stops the place, with a gauge and a relief on it."
        meter_tip = "Leads the air that comes there through the orifice, with a low-pressure gauge before it."
        stop = press("Stop it", "Stop this place", lambda: self._tell(f"stop {self._where()} on"), stop_tip)
        free = press("Free it", "Free this place", lambda: self._tell(f"stop {self._where()} off"))
        meter = press("Orifice on", "Orifice onto this place", self._meter, meter_tip)
        off = press("Off", "Orifice off this place", lambda: self._tell(f"meter {self._where()} off"))
        self._gauges = say("soft")
        return group(
            "At a place",
            row(self._cylinder, self._place, last_wide=True),
            row(stop, free),
            row(self._orifice, meter, off),
            self._gauges,
        )

    def _in_the_cylinder(self) -> QWidget:
        self._dose = QDoubleSpinBox()
        self._dose.setAccessibleName("Dose of oil")
        self._dose.setToolTip("Five cubic centimetres at most in a large chamber, less in a small one: more may lock it.")
        self._dose.setRange(0.5, MOST_OIL_CM3)
        self._dose.setDecimals(1)
        self._dose.setSuffix(" cm³")
        self._dose.setValue(USUAL_OIL_CM3)
        pour = press("Pour oil in", "Pour oil into the cylinder", self._pour, "Into the cylinder chosen above, the hose off.")
        valve_tip = "With the hose off: takes a check valve out of the adapter, if one is in it."
        valve = press("Check valve out", "Take a check valve out of the adapter", lambda: self._tell("check-valve out"), valve_tip)
        parts = [row(self._dose, pour), row(valve)]
        if self._facts.decompression_lever:
            lever_tip = "Held on, it keeps a valve off its seat."
            self._lever = press("Decompression lever on", "Decompression lever", self._move_lever, lever_tip, shows=True)
            parts.append(row(self._lever))
        self._seen = say("caution")
        return group("In the cylinder", *parts, self._seen)

    # ------------------------------------------------------------------ acts

    def _where(self) -> str:
        return f"{self._cylinder.currentText()} {self._place.currentData()}"

    def _meter(self) -> None:
        self._tell(f"meter {self._where()} {self._orifice.currentData():g}")

    def _pour(self) -> None:
        self._tell(f"wet {self._cylinder.currentText()} {self._dose.value():g}")

    def _move_lever(self) -> None:
        self._tell(f"decompression {'on' if self._lever.isChecked() else 'off'}")


def _put(label: QWidget, text: str) -> None:
    if label.property("text") != text:
        label.setProperty("text", text)
