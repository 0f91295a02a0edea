"""The drawings of the engine page: slider-crank and firing diagram at one angle of the crank, which is dragged or keyed in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QDoubleSpinBox, QFrame, QGridLayout, QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from borewright.app.draw.firing_model import FiringDiagram, doing, firing_diagram, legend
from borewright.app.draw.firing_view import FiringView
from borewright.app.draw.slider_crank_model import figures, slider_crank
from borewright.app.draw.slider_crank_view import SliderCrankView
from borewright.app.pages.engine_field_row import CalmCombo
from borewright.app.plain_label import PlainLabel
from borewright.core.engine import Engine
from borewright.service.shown_units import ShownUnits

if TYPE_CHECKING:
    from borewright.app.theme.palette import Palette

__all__ = ["EngineDrawings"]


class _Angle(QDoubleSpinBox):
    """The crank's angle in the cycle; it goes round."""

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Only with the focus on it."""
        if self.hasFocus():
            super().wheelEvent(event)
        else:
            event.ignore()


class EngineDrawings(QScrollArea):
    """turned: the crank stands at another angle."""

    turned = Signal(float)

    def __init__(self, palette: Palette, units: ShownUnits, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._units = units
        self._engine: Engine | None = None
        self._diagram: FiringDiagram | None = None
        self._cylinder = 1
        self.crank_deg = 0.0
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName("Drawings of the engine")
        self.slider = SliderCrankView(palette)
        self.firing = FiringView(palette)
        self.cylinder = CalmCombo()
        self.cylinder.setAccessibleName("Cylinder that is drawn")
        self.cylinder.setToolTip("The cylinder that is drawn; its row in the firing diagram is marked.")
        self.angle = _Angle()
        self.angle.setAccessibleName("Crank angle")
        self.angle.setToolTip(
            "Crank angle from the compression TDC of the first cylinder in the firing order, in running direction."
        )
        self.angle.setSuffix(" °")
        self.angle.setDecimals(1)
        self.angle.setButtonSymbols(QDoubleSpinBox.ButtonSymbols.PlusMinus)
        self.angle.setWrapping(True)
        self.angle.setKeyboardTracking(False)
        self.angle.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._doing = PlainLabel()
        self._doing.setWordWrap(True)
        self._doing.setAccessibleName("What the cylinder does there")
        self._figures: list[tuple[PlainLabel, PlainLabel]] = []
        self._build()
        self.slider.turned.connect(self._turn_by_cylinder)
        self.firing.turned.connect(self.turn_to)
        self.firing.picked.connect(self.pick)
        self.angle.valueChanged.connect(self.turn_to)
        self.cylinder.currentIndexChanged.connect(lambda at: self.pick(self._diagram.rows[at].cylinder) if self._diagram else None)

    def _build(self) -> None:
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(0, 0, 6, 0)
        panel = QFrame()
        panel.setProperty("role", "panel")
        upper = QGridLayout(panel)
        upper.setContentsMargins(8, 6, 8, 8)
        for at, (words, control) in enumerate((("Cylinder", self.cylinder), ("Crank angle", self.angle))):
            label = PlainLabel(words)
            label.setBuddy(control)
            row = QHBoxLayout()
            row.addWidget(label)
            row.addWidget(control, 1)
            upper.addLayout(row, 0, at)
        upper.addWidget(self._doing, 1, 0, 1, 2)
        upper.addWidget(self.slider, 2, 0)
        self._figure_grid = QGridLayout()
        self._figure_grid.setVerticalSpacing(2)
        beside = QVBoxLayout()
        beside.addLayout(self._figure_grid)
        beside.addStretch(1)
        upper.addLayout(beside, 2, 1)
        upper.setColumnStretch(0, 1)
        upper.setColumnStretch(1, 1)
        upper.setRowStretch(2, 1)
        column.addWidget(panel, 1)
        below = QFrame()
        below.setProperty("role", "panel")
        lower = QVBoxLayout(below)
        lower.setContentsMargins(8, 6, 8, 8)
        heading = PlainLabel("Firing diagram, in the firing order")
        heading.setProperty("role", "heading")
        heading.setWordWrap(True)
        lower.addWidget(heading)
        lower.addWidget(self.firing)
        self._legend = PlainLabel()
        self._legend.setProperty("role", "soft")
        self._legend.setWordWrap(True)
        lower.addWidget(self._legend)
        column.addWidget(below)
        self.setWidget(inside)

    # ------------------------------------------------------------ showing

    def show_engine(self, engine: Engine | None, document: Mapping[str, Any], units: ShownUnits) -> None:
        """Draw this engine; None: something is wrong with it, and then nothing is drawn rather than another."""
        self._units = units
        stated = "valve_events" in document or "port_events" in document
        diagram = None if engine is None else firing_diagram(engine, stated)
        if engine != self._engine or diagram != self._diagram:
            self._engine, self._diagram = engine, diagram
            self._offer(engine)
        self._show()

    def _offer(self, engine: Engine | None) -> None:
        order = () if engine is None else engine.firing_order
        if self._cylinder not in order:
            self._cylinder = order[0] if order else 1
        with QSignalBlocker(self.cylinder):
            self.cylinder.clear()
            self.cylinder.addItems([str(cylinder) for cylinder in order])
        if engine is not None:
            with QSignalBlocker(self.angle):
                self.angle.setRange(0.0, engine.cycle_deg - 0.1)
            self.crank_deg %= engine.cycle_deg
        for control in (self.cylinder, self.angle):
            control.setEnabled(engine is not None)

    def show_palette(self, palette: Palette) -> None:
        """Other colours and sizes."""
        self.slider.show_palette(palette)
        self.firing.show_palette(palette)

    def _show(self) -> None:
        engine, diagram = self._engine, self._diagram
        unit = self._units.unit("length", "mm")
        self.firing.show_diagram(diagram, self._cylinder, self.crank_deg)
        if engine is None or diagram is None:
            self.slider.show_drawn(None, unit)
            self._doing.setText("")
            self._legend.setText("")
            self._show_figures(())
            return
        self._legend.setText(legend(diagram))
        drawn = slider_crank(engine, self.crank_deg - engine.firing_angle_deg(self._cylinder))
        self.slider.show_drawn(drawn, unit)
        row = next(row for row in diagram.rows if row.cylinder == self._cylinder)
        words = f"Cylinder {self._cylinder}: {doing(row, diagram.cycle_deg, self.crank_deg)}"
        self._doing.setText(words)
        self.slider.setAccessibleDescription(words)
        self._show_figures(figures(drawn, self._units))
        with QSignalBlocker(self.cylinder):
            self.cylinder.setCurrentIndex(engine.firing_order.index(self._cylinder))
        with QSignalBlocker(self.angle):
            self.angle.setValue(self.crank_deg)

    def _show_figures(self, shown: tuple[tuple[str, str], ...]) -> None:
        while len(self._figures) < len(shown):
            pair = PlainLabel(), PlainLabel()
            pair[0].setProperty("role", "soft")
            for at, label in enumerate(pair):
                self._figure_grid.addWidget(label, len(self._figures), at)
            self._figures.append(pair)
        for number, pair in enumerate(self._figures):
            words = shown[number] if number < len(shown) else ("", "")
            for label, text in zip(pair, words, strict=True):
                if label.text() != text:
                    label.setText(text)

    # ------------------------------------------------------------ turning

    def turn_to(self, crank_deg: float) -> None:
        """Turn the crank to an angle of the cycle."""
        if self._engine is None:
            return
        self.crank_deg = round(crank_deg, 1) % self._engine.cycle_deg
        self._show()
        self.turned.emit(self.crank_deg)

    def _turn_by_cylinder(self, after_tdc_deg: float) -> None:
        if self._engine is not None:
            self.turn_to(after_tdc_deg + self._engine.firing_angle_deg(self._cylinder))

    def pick(self, cylinder: int) -> None:
        """Draw another cylinder, at the same angle of the crank."""
        if self._engine is not None and cylinder in self._engine.firing_order:
            self._cylinder = cylinder
            self._show()
