"""The stand of the built-in rig: which scenario, how fast its time goes, its cable and its power."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QVBoxLayout, QWidget

from borewright.app.builtin.operator_model import SPEEDS
from borewright.app.builtin.operator_parts import beside, choice, group, press, row, say, show_on
from borewright.app.desk import Desk
from borewright.simrig.practice import scenario_list
from borewright.simrig.rig_view import BuiltInFacts, BuiltInView
from borewright.simrig.serving import ScenarioWords

__all__ = ["StandControls"]


class StandControls(QWidget):
    """Scenario, speed, cable, power. scenario_chosen: another is to be on the stand; practice_asked: a job for its engine."""

    scenario_chosen = Signal(str)
    practice_asked = Signal()

    def __init__(self, desk: Desk, facts: BuiltInFacts, tell: Callable[[str], None]) -> None:
        super().__init__()
        self._desk, self._facts, self._tell = desk, facts, tell
        self._stories: dict[str, ScenarioWords] = {}
        column = QVBoxLayout(self)
        column.setContentsMargins(4, 4, 4, 4)
        for part in (self._scenario(), self._time(), self._cable()):
            column.addWidget(part)
        column.addStretch(1)
        self._show_story()

    def show_view(self, view: BuiltInView) -> None:
        """Show how it stands."""
        for speed, button in self._speeds.items():
            button.setEnabled(view.speed is not None)
            show_on(button, view.speed == speed)
        show_on(self._in, view.plugged)
        show_on(self._out, not view.plugged)
        job = self._desk.engine
        other = job is not None and job.name != self._facts.engine_name
        text = f"On the stand: {self._facts.engine_name}."
        if other and job is not None:
            text += f" The job that is open is of {job.name}."
        if self._engine.text() != text:
            self._engine.setText(text)

    def entered(self) -> None:
        """The list of scenarios is asked for once, when it is to be seen."""
        if not self._stories:
            self._desk.ask(scenario_list, then=self._fill, key="scenarios")

    # ------------------------------------------------------------------ groups

    def _scenario(self) -> QWidget:
        self._name = choice("Scenario", "Which engine stands there, and what it is said to have.")
        self._name.addItem(self._facts.scenario)
        self._name.currentIndexChanged.connect(lambda _index: self._show_story())
        self._story = say()
        self._engine = say("soft")
        begin = press(
            "Put on the stand", "Put this scenario on the stand", self._choose, "The rig is taken leave of, and another one met."
        )
        job_tip = "Puts its engine into the library, makes the rig's own checks and begins the job; then it can be tested at once."
        job = press("Prepare a job for it", "Prepare a practice job for this engine", self.practice_asked.emit, job_tip)
        return group("Scenario", row(self._name, last_wide=True), self._story, row(begin), self._engine, row(job))

    def _time(self) -> QWidget:
        self._speeds = {
            speed: press(f"{speed:g}×", f"Speed {speed:g} times", partial(self._tell, f"speed {speed:g}"), shows=True)
            for speed in SPEEDS
        }
        return group("Time at the rig", row(*self._speeds.values()))

    def _cable(self) -> QWidget:
        tell = self._tell
        self._in = press("In", "Cable in", lambda: tell("plug"), "Puts the cable back.", shows=True)
        self._out = press(
            "Out", "Cable out", lambda: tell("unplug"), "Pulls the cable: the device shuts and vents by itself.", shows=True
        )
        power = press(
            "Power off and on", "Switch the device off and on", lambda: tell("power-cycle"), "Valves at rest, counters at nothing."
        )
        halt = press(
            "Drop everything",
            "Drop everything under way",
            lambda: tell("halt"),
            "Ends what is under way at the rig, the turning too.",
        )
        cable = beside("Cable", self._in)
        return group("Cable and power", row(cable, self._in, self._out), row(power, halt))

    # ------------------------------------------------------------------ acts

    def _fill(self, stories: tuple[ScenarioWords, ...]) -> None:
        self._stories = {words.name: words for words in stories}
        now = self._name.currentText()
        self._name.blockSignals(True)
        self._name.clear()
        self._name.addItems(list(self._stories))
        self._name.setCurrentText(now)
        self._name.blockSignals(False)
        self._show_story()

    def _show_story(self) -> None:
        words = self._stories.get(self._name.currentText())
        self._story.setText(self._facts.story if words is None else words.story)

    def _choose(self) -> None:
        self.scenario_chosen.emit(self._name.currentText())
