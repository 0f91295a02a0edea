"""A hand at the page of the rig and at the built-in rig itself: it looks, clicks, types, turns, and nothing else."""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

import pytest
from boresim.scenario import load_scenario
from borewright.app.caution_bar import CautionBar
from borewright.app.desk import Desk
from borewright.app.pages.rig_page import RigPage
from borewright.core.rig import CheckKind, RigCheck
from borewright.service.state import BenchState
from borewright.simrig.rig_view import BuiltInView
from borewright.simrig.words_for import words_for
from borewright.store.store import Store
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QComboBox, QLabel, QLineEdit, QPushButton, QVBoxLayout, QWidget

from .virtual_desk import AnsweredFiles, bench_time, bench_until

__all__ = ["RigHand", "rig_hand"]

STUCK_S = 400.0
GAUGE_STANDS_S = 4.0  # after the regulator was moved


class RigHand:
    """One person. The caution bar stands over the page as it does in the window."""

    def __init__(self, desk: Desk, width: int = 1280, height: int = 720) -> None:
        self.desk = desk
        self.notices: list[str] = []
        desk.noticed.connect(lambda _level, text: self.notices.append(text))
        self.whole = QWidget()
        self.bar, self.page = CautionBar(desk), RigPage(desk)
        column = QVBoxLayout(self.whole)
        column.addWidget(self.bar)
        column.addWidget(self.page, 1)
        desk.snapshot_changed.connect(self.page.show_snapshot)
        self.whole.resize(width, height)
        self.whole.show()
        QTest.qWaitForWindowExposed(self.whole)
        self.page.entered()
        self.cautions: list[str] = []
        self.wait(0.5)

    # ------------------------------------------------------------------ looking

    @property
    def state(self) -> BenchState:
        """The bench as it is."""
        assert self.desk.snapshot.state is not None
        return self.desk.snapshot.state

    @property
    def rig(self) -> BuiltInView:
        """What is to be seen at the rig."""
        return cast(BuiltInView, self.desk.snapshot.rig)

    @property
    def files(self) -> AnsweredFiles:
        """What is answered where a file is asked for."""
        return cast(AnsweredFiles, self.desk.files)

    @property
    def serial(self) -> str:
        """The serial number of the rig."""
        assert self.state.session.identity is not None
        return self.state.session.identity.serial_number

    def row(self, kind: CheckKind) -> str:
        """All that the list says of one check."""
        frame = self.page.checks.button(kind).parentWidget()
        assert frame is not None
        return "\n".join(label.text() for label in frame.findChildren(QLabel) if not label.isHidden())

    def seen(self, on: QWidget | None = None) -> str:
        """All words in view."""
        return "\n".join(label.text() for label in (on or self.page).findChildren(QLabel) if label.isVisible())

    def kept(self) -> dict[str, RigCheck]:
        """The newest checks in the record."""
        with Store.open(self.desk.record, create=False) as store:
            return store.latest_rig_checks(self.serial)

    # ------------------------------------------------------------------ time and hands

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

    def click(self, button: QPushButton) -> None:
        """Press a button that can be seen."""
        assert button.isVisible(), button.text()
        assert button.isEnabled(), button.text()
        QTest.mouseClick(button, Qt.MouseButton.LeftButton)
        self.wait(0.1)
        if self.bar.isVisible():
            assert self.bar.asks is not None
            self.cautions.append(self.bar.asks.name)
            self.click(self.button("Read and seen to", self.bar))

    def button(self, words: str, on: QWidget | None = None) -> QPushButton:
        """The button in view that says so."""
        found = [
            one for one in (on or self.page).findChildren(QPushButton) if one.isVisible() and words in one.text().replace("&", "")
        ]
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

    def box(self, name: str) -> QComboBox:
        """The choice of this name that is in view."""
        (found,) = [one for one in self.page.findChildren(QComboBox) if one.isVisible() and one.accessibleName() == name]
        return found

    def choose(self, kind: CheckKind) -> None:
        """Choose a check in the list."""
        self.click(self.page.checks.button(kind))

    def begin(self) -> None:
        """Press what begins it."""
        self.click(self.page.begin_button)

    def act(self) -> None:
        """The one act of the step."""
        self.click(self.button("⏎"))

    # ------------------------------------------------------------------ a whole check with air

    def follow(self) -> None:
        """Do what the page asks for until the check is over."""
        began_s = self.rig.at_s
        while self.page.running.run is not None:
            assert self.rig.at_s - began_s < STUCK_S, self.page.running.steps.view
            if not self.follow_once():
                return

    def follow_once(self) -> bool:
        """One thing. False once it came to nothing and the page asks whether to make it again."""
        run, step = self.page.running.run, self.desk.snapshot.step
        if run is None or step is None or run.stage == "again":
            return run is None or run.stage != "again"
        if run.stage != "air":
            self.wait(0.2)
            return True
        if step.key in ("confirm_people", "set_regulator", "place_hose") and self.rig.hold_pressed:
            self.at_rig("hold release", "wait 2")
        assert self.desk.builtin is not None
        self.at_rig(*words_for(step, self.state, self.rig, self.desk.builtin.facts))
        if step.key == "give_air":
            if not self.rig.hold_pressed:
                self.at_rig("hold press")
        elif step.key == "read_gauge":
            self.wait(GAUGE_STANDS_S)
            assert self.rig.gauge is not None
            self.type("The gauge shows", self.rig.gauge)
            self.act()
        elif step.act is not None:
            self.act()
        self.wait(0.3)
        return True

    def check(self, kind: CheckKind) -> RigCheck:
        """Choose it, begin it with what stands in its form, go through it; what the record has of it then."""
        self.choose(kind)
        self.begin()
        assert self.page.running.run is not None, self.seen()
        self.follow()
        self.wait(0.5)
        return self.kept()[kind]

    def open_job(self) -> None:
        """Open a job on the engine of the built-in rig."""
        document = load_scenario("hillclimb-before").engine_document
        with Store.open(self.desk.record) as store:
            job_id = store.create_job("Larch", "before", store.save_engine("Larch", document))
        self.desk.open_job(job_id)
        self.until(lambda: self.state.engine is not None)


@pytest.fixture
def rig_hand(make_desk: Callable[..., Desk]) -> RigHand:
    """A hand at the page on a new record, the built-in rig streaming."""
    desk = make_desk()
    bench_time(desk, 1.0)
    hand = RigHand(desk)
    QApplication.processEvents()
    return hand
