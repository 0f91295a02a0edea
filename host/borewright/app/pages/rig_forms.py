"""What a person states before a check begins: one form for each kind, read by service.rig_stated and service.rig_purposes."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtWidgets import QCheckBox

from borewright.app.pages.rig_fields import (
    CERTIFICATE_LINES,
    GAUGE_LINES,
    TRANSDUCER_LINES,
    CheckForm,
    Orifices,
    listed,
    paper_of_lines,
)
from borewright.app.pages.rig_parts import label
from borewright.core.rig import CheckKind
from borewright.errors import UseError
from borewright.service import acts
from borewright.service.check_run import CheckPlan
from borewright.service.rig_purposes import sealed_purposes, span_purposes, volume_purposes
from borewright.service.rig_stated import BORE_FORMS, backlash_of, bore_of, degrees_of, drop_of, orifice_purposes
from borewright.service.state import BenchState

__all__ = ["form_of"]


class _ZeroForm(CheckForm):
    kind: CheckKind = "zero"
    words = (
        "Both transducers are read for two seconds while the rig is vented, and that is taken off every reading. It is taken anew "
        "before every other check too."
    )
    begin_words = "&Begin: take the zeros"

    def plan(self, state: BenchState) -> CheckPlan:
        del state
        return CheckPlan("zero")


class _SpanForm(CheckForm):
    kind: CheckKind = "span"
    words = (
        "Both transducers are calibrated beside a reference gauge at the capped outlet: air stays on, the regulator is set "
        "from point to point, and the gauge is read at each. Zero, sealed check and restrictor check "
        "rest on this and are made anew after it."
    )

    def _build(self) -> None:
        self._points = self._line(
            "Points", "four, up to the test pressure", 'Pressures divided by a semicolon, like "150 kPa; 350 kPa; 550 kPa".'
        )
        self._rising = QCheckBox("Rising only, for a regulator that does not relieve")
        self._layout.addRow("", self._rising)
        self._lines = self._paper_lines(GAUGE_LINES, CERTIFICATE_LINES, TRANSDUCER_LINES)

    def plan(self, state: BenchState) -> CheckPlan:
        points = listed(self._points.text())
        purposes = span_purposes(points, state.setup, rising_only=self._rising.isChecked())
        return CheckPlan("span", purposes, paper_of_lines(self._lines).kept())


class _SealedForm(CheckForm):
    kind: CheckKind = "sealed"
    words = (
        "The end of the hose is capped. What the rig itself lets out is measured, and the two transducers are tied to each other; "
        "at several pressures it shows whether they differ by a share or by a step."
    )

    def _build(self) -> None:
        self._pressures = self._line(
            "Pressures", "three, up to the test pressure", 'Divided by a semicolon, like "220 kPa; 552 kPa"; one is enough.'
        )

    def plan(self, state: BenchState) -> CheckPlan:
        return CheckPlan("sealed", sealed_purposes(listed(self._pressures.text()), state.setup))


class _RestrictorForm(CheckForm):
    kind: CheckKind = "restrictor"
    words = (
        "What the restrictor lets through. By three certified orifices or more on the end of the hose it is known best; by one, "
        "less; by its own bore no air is needed, and least is known."
    )

    def _build(self) -> None:
        self._way = self._choice(
            "By", {"orifices": "certified orifices", "bore": "its own bore"}, "One orifice, or three and more."
        )
        self._way.currentIndexChanged.connect(self._show_way)
        self._orifices = Orifices(self, 3, more=True)
        self._layout.addRow(self._orifices)
        self._lines = self._paper_lines(CERTIFICATE_LINES)
        self._bore = self._line("Bore of the restrictor", "0.040 in", "The bore of the restrictor itself.")
        self._u = self._line("Known to (k = 2)", "0.01 mm", "How well the bore is known.")
        self._form_of_bore = self._choice(
            "How it is made",
            {form: form if form != "unknown" else "not known" for form in BORE_FORMS},
            "The form decides what it passes.",
        )
        self._show_way()

    def _show_way(self) -> None:
        by_bore = self._way.currentData() == "bore"
        for widget in (self._orifices, *self._lines.values()):
            self._layout.setRowVisible(widget, not by_bore)
        for widget in (self._bore, self._u, self._form_of_bore):
            self._layout.setRowVisible(widget, by_bore)

    def plan(self, state: BenchState) -> CheckPlan:
        del state
        if self._way.currentData() == "bore":
            form = next(form for form in BORE_FORMS if form == self._form_of_bore.currentData())
            u = self._u.text().strip() or self._u.placeholderText()
            return CheckPlan("restrictor", begin=bore_of(self._bore.text().strip(), u, form))
        return CheckPlan("restrictor", orifice_purposes(self._orifices.stated()), paper_of_lines(self._lines).kept())


class _AcceptanceForm(CheckForm):
    kind: CheckKind = "acceptance"
    words = (
        "A reference orifice is read as a leak would be, with the restrictor and the tie that the checks gave. It counts for today."
    )

    def _build(self) -> None:
        self._orifices = Orifices(self, 1, more=False)
        self._layout.addRow(self._orifices)
        self._lines = self._paper_lines(CERTIFICATE_LINES)

    def plan(self, state: BenchState) -> CheckPlan:
        del state
        return CheckPlan("acceptance", orifice_purposes(self._orifices.stated(), "acceptance"), paper_of_lines(self._lines).kept())


class _VolumesForm(CheckForm):
    kind: CheckKind = "volumes"
    words = "The volume of the hose is measured with its end capped, the dead volume at the restrictor with an orifice on it."

    def _build(self) -> None:
        self._orifices = Orifices(self, 1, more=False)
        self._layout.addRow(self._orifices)
        self._lines = self._paper_lines(CERTIFICATE_LINES)

    def plan(self, state: BenchState) -> CheckPlan:
        del state
        purposes = volume_purposes(orifice_purposes(self._orifices.stated(), "volumes"))
        return CheckPlan("volumes", purposes, paper_of_lines(self._lines).kept())


_WAYS = {
    "piston_stop": "piston stop",
    "dial_gauge": "dial gauge (less exact)",
    "timing_mark": "timing mark (less exact)",
    "locking_pin": "locking pin (less exact)",
}


class _TdcForm(CheckForm):
    kind: CheckKind = "tdc"
    words = (
        "Where the crank stands at true TDC, for this fitting of the encoder. The piston stop is the exact way: the piston "
        "is turned by hand against a soft stop from both sides, and TDC lies half way between. Where no stop can be used there are "
        "others."
    )

    def _build(self) -> None:
        self._no_engine = label("Open a job first: true TDC belongs to an engine.", "caution")
        self._layout.addRow(self._no_engine)
        self._cylinder = self._choice("Cylinder", {}, "The cylinder whose TDC is found.")
        self._way = self._choice("By", _WAYS, "The other ways have a larger uncertainty, and results that rest on them are marked.")
        self._way.currentIndexChanged.connect(self._show_way)
        self._drop = self._line("Read at a drop of", "1 mm", "How far under its top the piston is read; 0.5 to 5 mm serve best.")
        self._degrees = self._line("Degrees before TDC", "0", "What the mark or the pin stands for; negative after TDC.")
        self._backlash = self._line("Play of the encoder", "0°", "Between crank and encoder, as you know it, in degrees.")
        self._engine_name: str | None = None
        self._show_way()

    def look_at(self, state: BenchState | None) -> None:
        """The cylinders of the engine that is open."""
        engine = state.engine if state is not None else None
        name = "" if engine is None else f"{engine.name} {engine.firing_order}"
        if name == self._engine_name:
            return
        self._engine_name = name
        self._cylinder.clear()
        for cylinder in engine.cylinders if engine is not None else ():
            self._cylinder.addItem(str(cylinder), cylinder)
        self._layout.setRowVisible(self._no_engine, engine is None)
        self._cylinder.setEnabled(engine is not None)

    def _show_way(self) -> None:
        way = self._way.currentData()
        self._layout.setRowVisible(self._drop, way == "dial_gauge")
        self._layout.setRowVisible(self._degrees, way in ("timing_mark", "locking_pin"))

    def plan(self, state: BenchState) -> CheckPlan:
        cylinder = self._cylinder.currentData()
        if state.engine is None or cylinder is None:
            raise UseError("true TDC belongs to an engine; open a job on the Jobs page first")
        backlash_deg = backlash_of(self._backlash.text())
        match self._way.currentData():
            case "dial_gauge":
                way = acts.BeginTdcWay("dial_gauge", cylinder, drop_of(self._drop.text()), backlash_deg)
            case "timing_mark":
                way = acts.BeginTdcWay("timing_mark", cylinder, degrees_of(self._degrees.text(), "timing_mark"), backlash_deg)
            case "locking_pin":
                way = acts.BeginTdcWay("locking_pin", cylinder, degrees_of(self._degrees.text(), "locking_pin"), backlash_deg)
            case _:
                return CheckPlan("tdc", begin=acts.BeginTdc(cylinder, backlash_deg))
        return CheckPlan("tdc", begin=way)


_FORMS: tuple[type[CheckForm], ...] = (
    _ZeroForm,
    _SpanForm,
    _SealedForm,
    _RestrictorForm,
    _AcceptanceForm,
    _VolumesForm,
    _TdcForm,
)


def form_of(kind: CheckKind, begin: Callable[[], None]) -> CheckForm:
    """The form of a kind of check; begin: what Enter in one of its fields does."""
    return next(form for form in _FORMS if form.kind == kind)(begin)
