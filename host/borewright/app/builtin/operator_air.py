"""Air and crank at the built-in rig: hold-to-run switch, hand valves, regulator, restraint, piston stop."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject
from PySide6.QtWidgets import QDoubleSpinBox, QVBoxLayout, QWidget

from borewright.app.builtin.operator_parts import beside, choice, group, press, row, say, show_on
from borewright.app.desk import Desk
from borewright.simrig.rig_view import BuiltInFacts, BuiltInView
from borewright.units import Dimension, in_unit, parse, printed_unit

__all__ = ["AirControls", "HoldSwitch"]

_RELEASING = (QEvent.Type.FocusOut, QEvent.Type.WindowDeactivate, QEvent.Type.Hide)


class HoldSwitch(QWidget):
    """The rig's hold-to-run switch: pressed by hand, or with the foot so that the hands are free. Letting go shuts and vents."""

    def __init__(self, tell: Callable[[str], None]) -> None:
        super().__init__()
        self._tell = tell
        self._pressed = False
        tip = "The rig's own switch: pressing it, once the rig is ready, lets air in; letting go shuts the supply and vents."
        self._hand = press("Press and hold", "Hold-to-run switch, by hand", lambda: None, tip)
        self._foot = press(
            "Foot on it", "Hold-to-run switch, with the foot", self._step, f"{tip} Stays until pressed again.", shows=True
        )
        self._hand.pressed.connect(lambda: self._press(True))
        self._hand.released.connect(lambda: self._press(False))
        self._hand.installEventFilter(self)
        self._state = say("soft")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(group("Hold-to-run switch", row(self._hand, self._foot), self._state))

    def show_view(self, view: BuiltInView) -> None:
        """Whether it is pressed at the rig."""
        text = "pressed" if view.hold_pressed else "let go"
        if self._state.text() != text:
            self._state.setText(text)
        if not self._pressed:
            show_on(self._foot, view.hold_pressed or (view.busy and self._foot.isChecked()))

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """A hand that is called away lets go."""
        if event.type() in _RELEASING:
            self._press(False)
        return super().eventFilter(watched, event)

    def _press(self, pressed: bool) -> None:
        if pressed != self._pressed:
            self._pressed = pressed
            self._tell("hold press" if pressed else "hold release")

    def _step(self) -> None:
        self._tell("hold press" if self._foot.isChecked() else "hold release")


class AirControls(QWidget):
    """Everything that air goes through, and what holds the crank."""

    def __init__(self, desk: Desk, facts: BuiltInFacts, tell: Callable[[str], None]) -> None:
        super().__init__()
        self._desk, self._facts, self._tell = desk, facts, tell
        column = QVBoxLayout(self)
        column.setContentsMargins(4, 4, 4, 4)
        if facts.hand_valves:
            column.addWidget(self._hand_valves())
        column.addWidget(self._regulator())
        column.addWidget(self._restraint())
        column.addWidget(self._piston_stop())
        column.addStretch(1)
        self._choose_units()
        desk.units_changed.connect(self._choose_units)

    def show_view(self, view: BuiltInView) -> None:
        """Show how it stands at the rig."""
        if self._facts.hand_valves:
            show_on(self._supply_open, view.supply_open)
            show_on(self._supply_shut, not view.supply_open)
            show_on(self._vent_open, view.vent_open)
            show_on(self._vent_shut, not view.vent_open)
        units = self._desk.units
        regulator = f"set to {units.text(view.regulator_gauge_pa, 'pressure_gauge', 'kPa')} by its own gauge"
        if self._regulator_state.text() != regulator:
            self._regulator_state.setText(regulator)
        held = (
            "off: nothing holds the crank" if view.restraint_nm is None else f"on, {units.text(view.restraint_nm, 'torque', 'N·m')}"
        )
        if self._restraint_state.text() != held:
            self._restraint_state.setText(held)
        show_on(self._restraint_on, view.restraint_nm is not None)
        stop = "out" if view.piston_stop_in is None else f"in cylinder {view.piston_stop_in}"
        if self._stop_state.text() != stop:
            self._stop_state.setText(stop)

    # ------------------------------------------------------------------ groups

    def _hand_valves(self) -> QWidget:
        tell = self._tell
        self._supply_shut = press("Shut", "Supply valve shut", lambda: tell("supply shut"), shows=True)
        self._supply_open = press("Open", "Supply valve open", lambda: tell("supply open"), "Lets air in, slowly.", shows=True)
        self._vent_shut = press("Shut", "Vent shut", lambda: tell("vent shut"), shows=True)
        self._vent_open = press("Open", "Vent open", lambda: tell("vent open"), "Empties both sides.", shows=True)
        supply, vent = beside("Supply", self._supply_shut), beside("Vent", self._vent_shut)
        return group("Hand valves", row(supply, self._supply_shut, self._supply_open), row(vent, self._vent_shut, self._vent_open))

    def _regulator(self) -> QWidget:
        self._set_to = _number("Regulator set to")
        self._regulator_state = say("soft")
        button = press("Set", "Set the regulator", self._set_regulator, "Sets the regulator by its own gauge.")
        return group("Regulator", row(self._set_to, button), self._regulator_state)

    def _restraint(self) -> QWidget:
        self._holds = _number("Torque of the restraint")
        self._restraint_state = say("soft")
        tip = "Holds the crank against the air. A hand or a gear in mesh is no restraint."
        self._restraint_on = press("Put on", "Put the restraint on", self._restrain, tip, shows=True)
        off = press("Take off", "Take the restraint off", lambda: self._tell("restrain off"))
        return group("Crank restraint", row(self._holds, self._restraint_on, off), self._restraint_state)

    def _piston_stop(self) -> QWidget:
        self._stop_cylinder = choice("Cylinder for the piston stop")
        self._stop_cylinder.addItems([str(number) for number in sorted(self._facts.firing_order)])
        self._stop_state = say("soft")
        tip = "A soft stop in the plug hole, against which the piston is turned by hand to find true TDC."
        put = press("Screw in", "Screw the piston stop in", self._put_stop, tip)
        out = press("Take out", "Take the piston stop out", lambda: self._tell("piston-stop out"))
        return group("Piston stop", row(self._stop_cylinder, put, out), self._stop_state)

    # ------------------------------------------------------------------ acts

    def _put_stop(self) -> None:
        self._tell(f"piston-stop {self._stop_cylinder.currentText()}")

    def _set_regulator(self) -> None:
        self._tell(f"regulator {self._si(self._set_to, 'pressure_gauge', 'kPa') / 1e3:.6g}")

    def _restrain(self) -> None:
        self._tell(f"restrain {self._si(self._holds, 'torque', 'N·m'):.4g}")

    def _si(self, field: QDoubleSpinBox, dimension: Dimension, usual: str) -> float:
        return parse(f"{field.value()} {self._desk.units.unit(dimension, usual)}", dimension)

    def _choose_units(self) -> None:
        set_pa = self._desk.snapshot.state.setup.set_pressure_gauge_pa if self._desk.snapshot.state is not None else 551_580.6
        self._offer(self._set_to, set_pa, self._facts.supply_gauge_pa, "pressure_gauge", "kPa")
        self._offer(self._holds, self._facts.restraint_nm, 2000.0, "torque", "N·m")

    def _offer(self, field: QDoubleSpinBox, value_si: float, most_si: float, dimension: Dimension, usual: str) -> None:
        unit = self._desk.units.unit(dimension, usual)
        field.setRange(0.0, in_unit(most_si, dimension, unit))
        field.setSuffix(f" {printed_unit(unit, dimension)}")
        field.setDecimals(1)
        field.setValue(in_unit(value_si, dimension, unit))


def _number(name: str) -> QDoubleSpinBox:
    field = QDoubleSpinBox()
    field.setAccessibleName(name)
    field.setToolTip(name)
    return field
