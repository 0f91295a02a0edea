"""A hand at the page of the tests, on a rig with valves and without a switch of its own: keys, and what is done at the rig."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import cast

from boresim.scenario import load_scenario
from borewright.app.caution_bar import CautionBar
from borewright.app.desk import Desk
from borewright.app.pages.cylinder_page import CylinderPage
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.snapshot import Told
from borewright.service.state import BenchState
from borewright.simrig.builtin import BuiltInRig
from borewright.simrig.rig_view import BuiltInView
from borewright.simrig.words_for import words_for
from borewright.store.store import Store
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit, QPushButton, QVBoxLayout, QWidget

from .virtual_desk import bench_time, bench_until

__all__ = ["RoundHand", "keyed_scenario", "new_job"]

KEYED = """schema_version = 1
like = "{like}"
name = "keyed"
story = "The same rig without a hold-to-run switch of its own, so that the program's key is the act for air."

[rig]
hold_switch = false
"""
TORQUE = "60"


def keyed_scenario(folder: Path, like: str = "hillclimb-before") -> str:
    """A scenario like another one, its rig without a hold-to-run switch."""
    path = folder / f"keyed-{like}.toml"
    path.write_text(KEYED.format(like=like), encoding="utf-8")
    return str(path)


def new_job(record: Path, scenario: str, details: dict[str, object] | None = None, name: str = "Larch") -> int:
    """A new job on the engine of a scenario."""
    document = load_scenario(scenario).engine_document
    with Store.open(record) as store:
        engine_id = store.save_engine(str(document["name"]), document)
        return store.create_job(name, "before", engine_id, details=details or {})


class RoundHand:
    """One person at the page. The caution bar stands over the page as it does in the window."""

    def __init__(self, desk: Desk, width: int = 1280, height: int = 740) -> None:
        self.desk = desk
        self.told: list[acts.Act] = []
        self.asked_pages: list[str] = []
        desk.page_asked.connect(self.asked_pages.append)
        self.whole = QWidget()
        self.bar, self.page = CautionBar(desk), CylinderPage(desk)
        column = QVBoxLayout(self.whole)
        column.addWidget(self.bar)
        column.addWidget(self.page, 1)
        desk.snapshot_changed.connect(self.page.show_snapshot)
        self.whole.resize(width, height)
        self.whole.show()
        self.whole.activateWindow()
        QTest.qWaitForWindowActive(self.whole)
        self.page.entered()
        self.wait(0.2)

    def close(self) -> None:
        """Away with the page: two windows would fight for the keys."""
        self.whole.close()
        self.whole.deleteLater()
        QApplication.processEvents()

    # ------------------------------------------------------------------ looking

    @property
    def state(self) -> BenchState:
        """The bench as it is."""
        assert self.desk.snapshot.state is not None
        return self.desk.snapshot.state

    @property
    def at(self) -> State:
        """Where the way to air stands."""
        return self.state.readiness.state

    @property
    def rig(self) -> BuiltInView:
        """What is to be seen at the rig."""
        return cast(BuiltInView, self.desk.snapshot.rig)

    @property
    def title(self) -> str:
        """The step's headline, as it stands there."""
        return self.page.step.view.title

    def seen(self) -> str:
        """All words in view."""
        words = [label.text() for label in self.page.findChildren(QLabel) if label.isVisible()]
        words += [button.text().replace("&", "") for button in self.page.findChildren(QPushButton) if button.isVisible()]
        return "\n".join([*words, *self.page.figures.words])

    def last_told(self) -> tuple[Told, ...]:
        """What the bench said last."""
        return self.desk.snapshot.told[-4:]

    # ------------------------------------------------------------------ hands

    def wait(self, seconds: float) -> None:
        """Let so much of the rig's time pass."""
        bench_time(self.desk, seconds)

    def until(self, reached: Callable[[], bool]) -> None:
        """Let the rig's time pass until something is so."""
        bench_until(self.desk, reached)

    def focus(self) -> QWidget:
        """What has the focus, as keys go to it."""
        return QApplication.focusWidget() or self.page

    def key(self, key: Qt.Key, *, wait_s: float = 0.2) -> None:
        """Press a key and let it go."""
        QTest.keyClick(self.focus(), key)
        self.wait(wait_s)

    def type(self, text: str) -> None:
        """Type into what has the focus, and Enter."""
        field = self.focus()
        assert isinstance(field, QLineEdit), f"{field} has the focus at {self.title}"
        QTest.keyClicks(field, text)
        self.key(Qt.Key.Key_Return)

    def press_air(self) -> None:
        """The air key goes down."""
        QTest.keyPress(self.focus(), Qt.Key.Key_Space)

    def let_go(self) -> None:
        """The air key is let go."""
        QTest.keyRelease(self.focus(), Qt.Key.Key_Space)

    def at_rig(self, words: str) -> None:
        """Do it at the rig and be done with it."""
        self.desk.at_rig(words)
        self.wait(0.1)
        self.until(lambda: not self.rig.busy)

    def follow_until(self, key: str) -> None:
        """Do what the page says, step by step, until this one is next."""
        for _ in range(80):
            step = self.desk.snapshot.step
            assert step is not None
            if step.key == key:
                return
            self.follow()
        raise AssertionError(f"never came to {key}; the step is {self.title}: {self.page.step.view.text}")

    def follow(self) -> None:
        """Do one step: first at the rig, then with the keys."""
        step, rig = self.desk.snapshot.step, self.desk.builtin
        assert step is not None
        assert isinstance(rig, BuiltInRig)
        for words in words_for(step, self.state, self.rig, rig.facts):
            self.at_rig(words)
        self.wait(0.3)
        if step.key == "restrain":
            self.type(TORQUE)
        elif step.key == "read_back_hose":
            self.type(str(self.rig.hose_at))
        elif self.page.step.view.key == step.key and self.page.step.view.button:
            self.key(Qt.Key.Key_Return)
            if self.bar.asks is not None:
                self.key(Qt.Key.Key_Return)
        self.wait(0.5)
