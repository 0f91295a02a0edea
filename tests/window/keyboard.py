"""Somebody who has a keyboard and no mouse, at the whole window: keys go to what has the focus, answers are read off the screen."""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

from borewright.app.desk import Desk
from borewright.app.window import Window
from borewright.core.readiness_table import State
from borewright.service.state import BenchState
from borewright.simrig.builtin import BuiltInRig, BuiltInView
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit, QPushButton, QWidget

from .virtual_desk import AnsweredFiles, bench_time, bench_until

__all__ = ["Keyboard"]

MOST_STEPS = 120
CONFIRM = "Read and seen to"


class Keyboard:
    """The window and the hands on the keys."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.notices: list[str] = []
        desk.noticed.connect(lambda _level, text: self.notices.append(text))
        self.window = Window(desk, lambda: None)
        self.window.resize(1280, 800)
        self.window.show()
        self.window.activateWindow()
        QTest.qWaitForWindowActive(self.window)
        self.window.show_page("Test")
        self.key(Qt.Key.Key_6, Qt.KeyboardModifier.ControlModifier)  # the built-in rig's panel
        self.page(1)

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
    def step(self) -> str:
        """The key of the step that the bench is at."""
        assert self.desk.snapshot.step is not None
        return self.desk.snapshot.step.key

    def seen(self) -> str:
        """All words in view."""
        words = [label.text() for label in self.window.findChildren(QLabel) if label.isVisible()]
        return "\n".join(words + [one.text().replace("&", "") for one in self.window.findChildren(QPushButton) if one.isVisible()])

    def focus(self) -> QWidget:
        """What has the focus."""
        return QApplication.focusWidget() or self.window

    # ------------------------------------------------------------------ time and keys

    def wait(self, seconds: float) -> None:
        """Let so much of the rig's time pass."""
        bench_time(self.desk, seconds)

    def until(self, reached: Callable[[], bool]) -> None:
        """Let it pass until something is so."""
        bench_until(self.desk, reached)

    def key(self, key: Qt.Key, held: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        """Press a key and let it go."""
        QTest.keyClick(self.focus(), key, held)
        QTest.qWait(0)  # a button that is pressed by its letter stays down for a moment of the real clock
        self.wait(0.2)

    def alt(self, letter: str) -> None:
        """The underlined letter of a control."""
        before = QApplication.focusWidget()
        QTest.keyClick(before or self.window, Qt.Key(ord(letter.upper())), Qt.KeyboardModifier.AltModifier)
        QTest.qWait(150)  # the toolkit shows a button pressed by its letter as down for a tenth of a second before it acts
        self.wait(0.3)

    def page(self, number: int) -> None:
        """Ctrl and the number of a page."""
        self.key(Qt.Key(Qt.Key.Key_0 + number), Qt.KeyboardModifier.ControlModifier)

    def type(self, text: str) -> None:
        """Into the field that has the focus."""
        field = self.focus()
        assert isinstance(field, QLineEdit), f"{field} has the focus"
        QTest.keyClicks(field, text)
        self.wait(0.1)

    def enter(self) -> None:
        """Enter; where a caution is in the way it is read first."""
        self.key(Qt.Key.Key_Return)
        focus = self.focus()
        if isinstance(focus, QPushButton) and focus.text().replace("&", "") == CONFIRM:
            self.key(Qt.Key.Key_Return)

    # ------------------------------------------------------------------ a test

    def follow_until(self, key: str) -> None:
        """Do what the Test page says, step by step, until this one is next."""
        for _ in range(MOST_STEPS):
            if self.step == key:
                return
            self.follow()
        raise AssertionError(f"never came to {key}; the step is {self.desk.snapshot.step}; said {self.notices[-4:]}")

    def follow(self) -> None:
        """One step: at the rig by the show-me key, then at the page."""
        step = self.step
        self.key(Qt.Key.Key_F8)
        self.until(lambda: not self.rig.busy and not self.rig.turning)
        self.wait(0.5)
        if self.step != step:
            return
        if step == "restrain":
            assert isinstance(self.desk.builtin, BuiltInRig)
            self.type(f"{self.desk.builtin.facts.restraint_nm:g}")
            self.enter()
        elif step == "read_back_hose":
            self.type(str(self.rig.hose_at))
            self.enter()
        elif self.desk.snapshot.step is not None and self.desk.snapshot.step.act is not None and step != "give_air":
            self.enter()
        self.wait(0.4)

    def press_air(self) -> None:
        """The key goes down; the cautions before the first air of a job are read first, then it is pressed anew."""
        QTest.keyPress(self.focus(), Qt.Key.Key_Space)
        self.wait(0.2)
        if self.window.caution is not None:
            self.let_go()
            self.key(Qt.Key.Key_Return)
            QTest.keyPress(self.focus(), Qt.Key.Key_Space)
            self.wait(0.2)

    def let_go(self) -> None:
        """The key is let go."""
        QTest.keyRelease(self.focus(), Qt.Key.Key_Space)

    def air(self, while_on: Callable[[], None] | None = None) -> None:
        """Hold the key down until the test is over and the rig vented; while_on: done once there is a reading."""
        before = len(self.desk.snapshot.done)
        self.press_air()
        self.until(lambda: self.state.readiness.state is State.FILLING)
        if while_on is not None:
            self.until(lambda: self.state.capture is not None and self.state.capture.live.leakage_percent is not None)
            while_on()
        self.until(lambda: len(self.desk.snapshot.done) > before and not self.state.pressurised)
        assert self.desk.snapshot.done[-1].lost is None
        self.let_go()
        self.wait(1.0)

    def listen(self, heard: dict[str, str]) -> None:
        """Keep the air on and note how strong it is at each place: its number, then the letter of its strength."""
        self.key(Qt.Key.Key_H)
        assert self.state.engine is not None
        for place, strength in heard.items():
            self.key(Qt.Key(Qt.Key.Key_1 + self.state.engine.places.index(place)))
            self.key({"none": Qt.Key.Key_N, "faint": Qt.Key.Key_F, "steady": Qt.Key.Key_S, "strong": Qt.Key.Key_R}[strength])
        self.key(Qt.Key.Key_G)

    def test_next(self, while_on: Callable[[], None] | None = None) -> int:
        """Test the cylinder that the page says comes next; gives its number."""
        self.enter()
        self.until(lambda: self.state.purpose.kind == "test" and self.state.zero is None)
        cylinder = self.state.purpose.cylinder
        self.follow_until("give_air")
        self.air(while_on)
        return cylinder
