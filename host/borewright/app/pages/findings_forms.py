"""What is chosen before a guided test at the places of a cylinder: which place, which orifice, which pressure, which dose."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from PySide6.QtWidgets import QCheckBox, QGridLayout, QHBoxLayout, QLabel, QLineEdit, QVBoxLayout, QWidget

from borewright.app.pages.findings_model import place_name, typed
from borewright.app.pages.findings_parts import Column, ToggleButton, label
from borewright.app.plain_label import PlainLabel
from borewright.core.engine import Engine
from borewright.core.place_meaning import place_words
from borewright.core.rig import RigSetup
from borewright.core.stopping import StopRule, highest_supply_gauge_pa, stop_rules, wet_dose
from borewright.errors import UseError
from borewright.service.acts import Purpose
from borewright.service.place_course import Course, flow_course, listen_course, stop_course, wet_course
from borewright.service.place_tests import flow_test, orifice_fits, reference_reading, stop_pressure_pa, stop_test, wet_test
from borewright.service.rig_stated import share_or_size
from borewright.units import Dimension, UnitsError

if TYPE_CHECKING:
    from borewright.app.desk import Desk
    from borewright.service.view_findings import PlaceTests

__all__ = ["FlowForm", "Form", "ListenForm", "Situation", "StopForm", "WetForm"]

PLACES_A_ROW = 3
USUAL_U_ORIFICE = "4 %"
USUAL_U_GAUGE = "20 Pa"
NONE_MAY = "Nothing may be stopped on this engine with this rig. Measure what comes out through an orifice instead."


@dataclass(frozen=True, slots=True)
class Situation:
    """For which cylinder a test is to be chosen. known: from the record; None until it has come. spare: the rig has that gauge."""

    engine: Engine
    cylinder: int
    known: PlaceTests | None
    setup: RigSetup
    spare: bool
    now_unix_s: float
    after: int


class Form(QWidget):
    """One kind of test. changed: told that something was chosen, so that what was wrong before no longer stands there."""

    def __init__(self, desk: Desk, changed: Callable[[], None]) -> None:
        super().__init__()
        self.desk = desk
        self.changed = changed
        self.situation: Situation | None = None
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(0, 0, 0, 0)

    def show_situation(self, situation: Situation) -> None:
        """Choose for this cylinder."""
        self.situation = situation

    def course(self) -> Course:
        """What was chosen, as legs. Raises UseError where it cannot be."""
        raise NotImplementedError

    def add_field(self, words: str, field: QLineEdit, unit: QLabel | None = None) -> QWidget:
        """A field with its words before it."""
        holder = QWidget()
        row = QHBoxLayout(holder)
        row.setContentsMargins(0, 0, 0, 0)
        said = label(words)
        said.setBuddy(field)
        field.setMaxLength(30)
        field.setAccessibleName(words.replace("&", ""))
        row.addWidget(said, 2)
        row.addWidget(field, 1)
        if unit is not None:
            row.addWidget(unit)
        self.column.addWidget(holder)
        return holder

    @property
    def here(self) -> Situation:
        """The situation. Raises UseError before there is one."""
        if self.situation is None:
            raise UseError("no job is open: open one on the Jobs page")
        return self.situation

    @property
    def known(self) -> PlaceTests:
        """What the record says. Raises UseError until it has."""
        known = self.here.known
        if known is None or known.cylinder != self.here.cylinder:
            raise UseError("the record of this cylinder is still being looked up; try again in a moment")
        return known

    def unit(self, dimension: Dimension, usual: str) -> str:
        """The unit beside a field."""
        return self.desk.units.unit(dimension, usual)


class ListenForm(Form):
    """A plain test, to listen."""

    def __init__(self, desk: Desk, changed: Callable[[], None]) -> None:
        super().__init__(desk, changed)
        self.column.addWidget(
            label(
                "A test of this cylinder with the air held on: go from place to place with a tube at your ear, and note at each "
                "how strong it is. The air stays on for a minute at a time, guarded as ever; H holds it on, G lets the "
                "test go on."
            )
        )
        self.column.addStretch(1)

    def course(self) -> Course:
        """A plain test."""
        return listen_course(self.here.cylinder, self.here.after)


class _Places(QWidget):
    """The places of the engine with what may be done at each; those where it may not be done cannot be chosen, and it says why."""

    def __init__(self, changed: Callable[[], None], *, several: bool, allowed: Callable[[StopRule], bool]) -> None:
        super().__init__()
        self._changed, self._several, self._allowed = changed, several, allowed
        self.choices: dict[str, ToggleButton] = {}
        self._engine: Engine | None = None
        self._grid = QGridLayout()
        self.why = Column()  # the form puts it under its fields: it may be long
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addLayout(self._grid)

    def show_engine(self, engine: Engine) -> None:
        """The places of this engine."""
        if engine == self._engine:
            return
        self._engine = engine
        for choice in self.choices.values():
            self._grid.removeWidget(choice)
            choice.deleteLater()
        self.choices = {}
        why: list[tuple[str, str]] = []
        for place, rule in stop_rules(engine).items():
            choice = ToggleButton(place_words(place))
            choice.setEnabled(self._allowed(rule))
            choice.setToolTip(rule.why)
            choice.setAccessibleDescription(rule.why)
            choice.clicked.connect(lambda _=False, place=place: self._clicked(place))
            at = len(self.choices)
            self._grid.addWidget(choice, at // PLACES_A_ROW, at % PLACES_A_ROW)
            self.choices[place] = choice
            if self._several or not self._allowed(rule):
                why.append(("soft", f"{'' if self._allowed(rule) else '✕ '}{place_name(place)}: {rule.why}."))
        self.why.show_lines(why)

    def _clicked(self, place: str) -> None:
        if not self._several:
            self.choose((place,))
        self._changed()

    def choose(self, places: tuple[str, ...]) -> None:
        """Choose these, where they may be."""
        for place, choice in self.choices.items():
            choice.setChecked(place in places and choice.isEnabled())

    @property
    def chosen(self) -> tuple[str, ...]:
        """What is chosen, in the order of the engine's places."""
        return tuple(place for place, choice in self.choices.items() if choice.isChecked())


class FlowForm(Form):
    """The flow of one place through an orifice."""

    def __init__(self, desk: Desk, changed: Callable[[], None]) -> None:
        super().__init__(desk, changed)
        self.places = _Places(self._picked, several=False, allowed=lambda rule: rule.may_measure_flow)
        self.advice = label()
        self.area, self.u_area, self.u_gauge = QLineEdit(), QLineEdit(USUAL_U_ORIFICE), QLineEdit(USUAL_U_GAUGE)
        self._unit = PlainLabel()
        self.spare = QCheckBox("the gauge there is the rig's own spare channel")
        self.column.addWidget(label("Lead what comes out at one place through an orifice whose area is known:"))
        self.column.addWidget(self.places)
        self.column.addWidget(self.advice)
        self.add_field("Effective area of &your orifice at low pressure, by its certificate", self.area, self._unit)
        self.add_field("Its uncertainty, k = 2 (4 % where nothing is stated: a rule of this project)", self.u_area)
        self.add_field("Uncertainty of the low-pressure gauge, k = 2 (common practice, no source)", self.u_gauge)
        self.column.addWidget(self.spare)
        self.column.addWidget(self.places.why)
        self.column.addStretch(1)

    def show_situation(self, situation: Situation) -> None:
        """Choose for this cylinder; what the plan asks for first is chosen already."""
        before, _ = self.situation, super().show_situation(situation)
        self.places.show_engine(situation.engine)
        self.spare.setVisible(situation.spare)
        self._unit.setText(self.unit("area", "mm²"))
        known_before = before is not None and before.known is not None and before.cylinder == situation.cylinder
        if situation.known is not None and not known_before:
            wanted = next((test.place for test in situation.known.plan if test.method == "flow" and test.place), "")
            self.places.choose((wanted,) if wanted else ())
        self._picked()

    def choose(self, place: str) -> None:
        """Choose a place, where its flow may be measured."""
        if place in self.places.choices and self.places.choices[place].isEnabled():
            self.places.choose((place,))
            self._picked()

    def _picked(self) -> None:
        known = None if self.situation is None else self.situation.known
        place = next(iter(self.places.chosen), "")
        orifice = None if known is None else known.orifices.get(place)
        self.advice.setText("" if orifice is None else f"{place_name(place)}: {orifice.words}.")
        self.advice.setVisible(orifice is not None)
        self.changed()

    def course(self) -> Course:
        """The flow test."""
        here, known = self.here, self.known
        if not self.places.chosen:
            raise UseError("choose the place whose flow is to be measured")
        area_m2 = typed(self.area.text(), "the orifice", "area", self.unit("area", "mm²"))
        try:
            share, size_m2 = share_or_size(self.u_area.text(), "area")
            u_gauge_pa = typed(self.u_gauge.text(), "the gauge's uncertainty", "pressure_gauge", "Pa") / 2.0
        except UnitsError as wrong:
            raise UseError(f"the orifice's uncertainty: {wrong}") from None
        u_relative = (share if share is not None else (size_m2 or 0.0) / area_m2 if area_m2 > 0.0 else 0.0) / 2.0
        place = self.places.chosen[0]
        spare = place if here.spare and self.spare.isChecked() else ""
        purpose = flow_test(here.engine, here.cylinder, place, area_m2, u_relative, u_gauge_pa, spare)
        orifice_fits(here.engine, known.captures, purpose)
        return flow_course(purpose, here.after)


class StopForm(Form):
    """Places stopped, at a pressure that all of them may have."""

    def __init__(self, desk: Desk, changed: Callable[[], None]) -> None:
        super().__init__(desk, changed)
        self.places = _Places(self._picked, several=True, allowed=lambda rule: rule.may_stop)
        self.limit = label()
        self.pressure = QLineEdit()
        self._unit = PlainLabel()
        self._proposed_for: tuple[tuple[str, ...], str] | None = None
        self.spare = QCheckBox("the gauge there is the rig's own spare channel")
        self.column.addWidget(label("Stop places, each with a gauge and its own relief valve, and read again at a lower pressure:"))
        self.column.addWidget(self.places)
        self.column.addWidget(self.limit)
        self._regulator = self.add_field("&Regulator set to", self.pressure, self._unit)
        self.column.addWidget(self.spare)
        self.column.addWidget(self.places.why)
        self.column.addStretch(1)

    def show_situation(self, situation: Situation) -> None:
        """Choose for this cylinder."""
        super().show_situation(situation)
        self.places.show_engine(situation.engine)
        self._unit.setText(self.unit("pressure_gauge", "kPa"))
        self._picked()

    def _picked(self) -> None:
        here, chosen = self.situation, self.places.chosen
        none_may = not any(choice.isEnabled() for choice in self.places.choices.values())
        self.spare.setVisible(here is not None and here.spare and len(chosen) == 1)
        self._regulator.setVisible(not none_may)
        if here is None or not chosen:
            self.limit.setText(NONE_MAY if none_may else "")
            self.limit.setVisible(none_may)
            return
        highest = self.desk.units.text(highest_supply_gauge_pa(here.engine, chosen), "pressure_gauge", "kPa")
        self.limit.setText(f"With these stopped the supply has {highest} at most.")
        self.limit.show()
        proposed_for = (chosen, self._unit.text())
        if proposed_for == self._proposed_for:  # what somebody has typed stays
            return
        self._proposed_for = proposed_for
        try:
            usual_pa = stop_pressure_pa(here.engine, here.cylinder, chosen, setup=here.setup)
            self.pressure.setText(self.desk.units.number(usual_pa, "pressure_gauge", "kPa"))
        except UseError:
            self.pressure.clear()
        self.changed()

    def course(self) -> Course:
        """The stop-off test."""
        here, known, chosen = self.here, self.known, self.places.chosen
        if not chosen:
            raise UseError("choose the places to stop; where none may be stopped, measure what comes out through an orifice")
        given_pa = typed(self.pressure.text(), "the regulator", "pressure_gauge", self.unit("pressure_gauge", "kPa"))
        asked_pa = stop_pressure_pa(here.engine, here.cylinder, chosen, given_pa, here.setup)
        spare = chosen[0] if here.spare and len(chosen) == 1 and self.spare.isChecked() else ""
        purpose: Purpose = stop_test(here.engine, here.cylinder, chosen, asked_pa, spare)
        reference = reference_reading(known.captures, asked_pa, here.now_unix_s)
        return stop_course(purpose, reference, here.setup.set_pressure_gauge_pa, here.after)


class WetForm(Form):
    """Oil on the rings."""

    def __init__(self, desk: Desk, changed: Callable[[], None]) -> None:
        super().__init__(desk, changed)
        self.limit = label("", "caution")
        self.dose = QLineEdit()
        self._unit = PlainLabel()
        self._misleading = Column()
        self.column.addWidget(label("The same cylinder again with a measured dose of clean engine oil on its rings:"))
        self.column.addWidget(self.limit)
        self.add_field("&Dose, measured with a syringe", self.dose, self._unit)
        self.column.addWidget(self._misleading)
        self.column.addStretch(1)

    def show_situation(self, situation: Situation) -> None:
        """Choose for this cylinder."""
        super().show_situation(situation)
        rule = wet_dose(situation.engine)
        self._unit.setText(self.unit("volume", "cm³"))
        self.limit.setText(
            f"At most {self.desk.units.text(rule.most_m3, 'volume', 'cm³')} in this engine: a tenth of its clearance volume, 5 cm³ "
            "at most (a rule of this project). A cylinder full of liquid bends its rod."
        )
        self._misleading.show_lines(
            [("heading", "A wet test misleads where"), *(("", f"•  {one}") for one in rule.misleading_when)]
        )

    def course(self) -> Course:
        """The wet test."""
        here = self.here
        oil_m3 = typed(self.dose.text(), "the dose", "volume", self.unit("volume", "cm³"))
        purpose = wet_test(here.engine, here.cylinder, oil_m3)
        if self.known.dry is None:
            raise UseError(
                f"there is no dry test of cylinder {here.cylinder} in this job yet; take it first: once oiled, the cylinder stays "
                "so for long"
            )
        return wet_course(purpose, here.after)
