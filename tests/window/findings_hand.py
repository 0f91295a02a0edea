"""A hand at the findings page and at the built-in rig: it clicks, types and looks, and nothing else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import cast

from boresim.scenario import load_scenario
from borewright.app.caution_bar import CautionBar
from borewright.app.desk import Desk
from borewright.app.pages.findings_page import FindingsPage
from borewright.service import acts
from borewright.service.state import BenchState
from borewright.simrig.rig_view import BuiltInView
from borewright.simrig.words_for import words_for
from borewright.store.records import FindingRecord
from borewright.store.store import Store
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QLabel, QLineEdit, QVBoxLayout, QWidget

from .screen_person import ScreenPerson
from .virtual_desk import AnsweredFiles, bench_time, bench_until

__all__ = ["FindingsHand", "SwitchPerson", "job_in"]

STUCK_S = 600.0


def job_in(record: Path, scenario: str, change: dict[str, object] | None = None) -> int:
    """A new job on the engine of a scenario; change: of its engine file."""
    document = {**load_scenario(scenario).engine_document, **(change or {})}
    with Store.open(record) as store:
        return store.create_job("Larch", "before", store.save_engine(str(document["name"]), document))


class SwitchPerson(ScreenPerson):
    """One who presses the rig's own hold-to-run switch when the screen says ready for air."""

    def carry_out(self, purpose: acts.Purpose) -> None:
        """Follow the guide, and let go of the switch once it is over."""
        super().carry_out(purpose)
        self.at_rig("hold release")
        self.wait_s(1.0)

    def glance(self) -> bool:
        """Look once."""
        step = self._desk.snapshot.step
        if step is not None and step.key == "give_air" and self.rig.hold_fitted:
            if not self.rig.hold_pressed and not self.rig.busy:
                self.at_rig("hold press")
            return True
        return super().glance()


class FindingsHand:
    """One person. The caution bar stands over the page as it does in the window."""

    def __init__(self, desk: Desk, width: int = 1100, height: int = 680) -> None:
        self.desk = desk
        self.notices: list[str] = []
        desk.noticed.connect(lambda _level, text: self.notices.append(text))
        self.cautions: list[str] = []
        self.whole = QWidget()
        self.bar, self.page = CautionBar(desk), FindingsPage(desk)
        column = QVBoxLayout(self.whole)
        column.addWidget(self.bar)
        column.addWidget(self.page, 1)
        desk.snapshot_changed.connect(self.page.show_snapshot)
        self.whole.resize(width, height)
        self.whole.show()
        self.whole.activateWindow()
        QTest.qWaitForWindowActive(self.whole)
        self.page.entered()
        self.look()

    def close(self) -> None:
        """Away with the page: two windows would fight for the keys."""
        self.whole.close()
        self.whole.deleteLater()
        QApplication.processEvents()

    # ------------------------------------------------------------------ looking

    def look(self) -> None:
        """Let the answers come; one may ask the next."""
        for _ in range(6):
            self.desk.refresh()
            QApplication.processEvents()

    @property
    def files(self) -> AnsweredFiles:
        """What is answered where a file is asked for."""
        return cast(AnsweredFiles, self.desk.files)

    @property
    def state(self) -> BenchState:
        """The bench as it is."""
        assert self.desk.snapshot.state is not None
        return self.desk.snapshot.state

    @property
    def rig(self) -> BuiltInView:
        """What is to be seen at the rig."""
        return cast(BuiltInView, self.desk.snapshot.rig)

    def seen(self, on: QWidget | None = None) -> str:
        """All words in view."""
        return "\n".join(label.text() for label in (on or self.page).findChildren(QLabel) if label.isVisible())

    def findings(self, *, dropped: bool = False) -> list[FindingRecord]:
        """What the record holds of the open job."""
        assert self.desk.job is not None
        with Store.open(self.desk.record, create=False) as store:
            return list(store.list_findings(self.desk.job.id, deleted=dropped))

    def heard(self) -> list[tuple[int, str | None, str, int | None]]:
        """Cylinder, place, strength, neighbour of what counts."""
        return [
            (one.cylinder, one.place, str(one.detail["strength"]), one.detail.get("neighbour"))
            for one in self.findings()
            if one.kind == "heard"
        ]

    # ------------------------------------------------------------------ hands

    def open_job(self, job_id: int) -> None:
        """Open a job."""
        self.desk.open_job(job_id)
        self.look()

    def click(self, button: QAbstractButton) -> None:
        """Press a button that can be seen."""
        assert button.isVisible(), button.text()
        assert button.isEnabled(), button.text()
        QTest.mouseClick(button, Qt.MouseButton.LeftButton)
        self.look()
        if self.bar.isVisible():
            assert self.bar.asks is not None
            self.cautions.append(self.bar.asks.name)
            self.click(self.button("Read and seen to", self.bar))

    def click_at(self, widget: QWidget, x: float, y: float) -> None:
        """Click somewhere in a drawing."""
        QTest.mouseClick(widget, Qt.MouseButton.LeftButton, pos=QPoint(round(x), round(y)))
        self.look()

    def key(self, key: Qt.Key | str, modifier: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        """Press a key where the focus is."""
        focus = QApplication.focusWidget()
        assert focus is not None
        if isinstance(key, str):
            QTest.keyClicks(focus, key, modifier)
        else:
            QTest.keyClick(focus, key, modifier)
        self.look()

    def button(self, words: str, on: QWidget | None = None) -> QAbstractButton:
        """The button in view that says so."""
        among = (on or self.page).findChildren(QAbstractButton)
        found = [one for one in among if one.isVisible() and words in one.text().replace("&", "")]
        assert len(found) == 1, (words, [one.text() for one in found])
        return found[0]

    def type(self, name: str, text: str) -> QLineEdit:
        """Write into the field of this name over what stands there."""
        fields = [one for one in self.page.findChildren(QLineEdit) if one.isVisible() and one.accessibleName() == name]
        assert len(fields) == 1, name
        fields[0].setFocus()
        fields[0].selectAll()
        QTest.keyClick(fields[0], Qt.Key.Key_Delete)
        QTest.keyClicks(fields[0], text)
        return fields[0]

    def tab(self, panel: QWidget) -> None:
        """Go to a panel by its tab."""
        tabs = self.page.tabs
        bar = tabs.tabBar()
        pages = [tabs.widget(k) for k in range(tabs.count())]
        at = next(k for k, page in enumerate(pages) if page is panel or (page is not None and page.isAncestorOf(panel)))
        where = bar.tabRect(at).center()
        QTest.mouseClick(bar, Qt.MouseButton.LeftButton, pos=where)
        self.look()

    # ------------------------------------------------------------------ a whole test with air

    def wait(self, seconds: float) -> None:
        """Let so much of the rig's time pass."""
        bench_time(self.desk, seconds)

    def until(self, reached: Callable[[], bool]) -> None:
        """Let it pass until something is so."""
        bench_until(self.desk, reached)

    def at_rig(self, *words: str) -> None:
        """Do it at the rig and be done with it."""
        for one in words:
            self.desk.at_rig(one)
            self.wait(0.1)
            self.until(lambda: not self.rig.busy)

    def follow(self, over: Callable[[], bool]) -> None:
        """Do what the step panel asks for until something is so."""
        began_s = self.rig.at_s
        while not over():
            assert self.rig.at_s - began_s < STUCK_S, (self.page.step.view, self.desk.snapshot.told[-3:])
            self._once()

    def _once(self) -> None:
        step, view = self.desk.snapshot.step, self.page.step.view
        assert step is not None
        if self.rig.turning or self.rig.busy:
            self.wait(0.3)
            return
        if view.key == "take_off":
            self.at_rig(*(f"stop {cylinder} {place} off" for cylinder, place in self.rig.stopped))
            self.at_rig(*(f"meter {cylinder} {place} off" for cylinder, place, _ in self.rig.metered))
            self.click(self.button("⏎", self.page.step))
            self.wait(0.3)
            return
        assert self.desk.builtin is not None
        self.at_rig(*words_for(step, self.state, self.rig, self.desk.builtin.facts))
        if step.key == "give_air":
            # pressed still: that was for the capture that is just over
            self.at_rig(*(("hold release", "wait 1") if self.rig.hold_pressed else ("hold press",)))
        elif step.key == "restrain":
            self._answer(view.question.words if view.question else "", f"{self.desk.builtin.facts.restraint_nm:g}")
        elif step.key == "read_back_hose":
            self._answer(view.question.words if view.question else "", str(self.rig.hose_at))
        elif step.key == "read_place_gauge":
            self.wait(1.0)
            shown = {place: text for _, place, text in self.rig.place_gauges}
            self._answer(view.question.words if view.question else "", shown[self.state.purpose.gauged_places[0]])
        elif step.act is not None and self.page.step.view.button and self.page.step.view.key == step.key:
            self.click(self.button("⏎", self.page.step))
        self.wait(0.3)

    def _answer(self, name: str, text: str) -> None:
        if not name:  # the panel has not caught up with the bench yet
            self.wait(0.1)
            return
        self.type(name, text)
        self.click(self.button("⏎", self.page.step))
