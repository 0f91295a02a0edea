"""A hand at the Jobs page: it clicks, types and looks, and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import cast

import pytest
from borewright.app.desk import Desk
from borewright.app.pages.jobs_page import JobsPage
from borewright.store.records import JobRecord
from borewright.store.store import Store
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QLineEdit, QPlainTextEdit, QWidget

from .virtual_desk import AnsweredFiles

__all__ = ["JobsHand", "at_page", "hand", "jobs_in"]


class JobsHand:
    """One person at one page."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.asked_for: list[str] = []
        desk.page_asked.connect(self.asked_for.append)
        self.notices: list[str] = []
        desk.noticed.connect(lambda _level, text: self.notices.append(text))
        self.page = JobsPage(desk)
        self.page.resize(1000, 560)
        self.page.show()
        self.page.activateWindow()
        QTest.qWaitForWindowActive(self.page)
        self.page.entered()
        self.look()

    @property
    def files(self) -> AnsweredFiles:
        """What is answered where a file is asked for."""
        return cast(AnsweredFiles, self.desk.files)

    def look(self) -> None:
        """Let the answers come; one may ask the next."""
        for _ in range(6):
            self.desk.refresh()
            QApplication.processEvents()
        assert self.desk.answers_due == 0

    def click(self, button: QAbstractButton) -> None:
        """Press a button that can be seen."""
        assert button.isVisible(), button.text()
        assert button.isEnabled(), button.text()
        QTest.mouseClick(button, Qt.MouseButton.LeftButton)
        self.look()

    def act(self, act: str) -> None:
        """Press a button of the chosen job."""
        self.click(self.page.list.glance.button(act))

    def answer(self, words: str) -> None:
        """Press the button of the strip that says so."""
        self.click(next(button for button in self.page.strip.buttons if button.text().replace("&", "") == words))

    def type(self, field: QWidget, text: str) -> None:
        """Write into a field over what stands there."""
        assert isinstance(field, QLineEdit | QPlainTextEdit)
        field.setFocus()
        field.selectAll()
        QTest.keyClick(field, Qt.Key.Key_Delete)
        QTest.keyClicks(field, text)
        self.look()

    def key(self, widget: QWidget | None, key: Qt.Key, modifier: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        """Press a key."""
        assert widget is not None
        QTest.keyClick(widget, key, modifier)
        self.look()

    def choose(self, row: int) -> None:
        """Click on a line of the list."""
        table = self.page.list.table
        index = table.model().index(row, 0)
        QTest.mouseClick(table.viewport(), Qt.MouseButton.LeftButton, pos=table.visualRect(index).center())
        self.look()

    @property
    def lines(self) -> list[tuple[str, str]]:
        """Name and stage of every line of the list."""
        return [(row.job.name, row.job.stage) for row in self.page.list.model.rows]

    @property
    def said(self) -> str:
        """What the strip says; "" while it is hidden."""
        return self.page.strip.words.text() if self.page.strip.isVisible() else ""


@pytest.fixture
def at_page() -> Iterator[Callable[[Desk], JobsHand]]:
    """Opens the page at a desk, and closes it at the end: two windows would fight for the keys."""
    hands: list[JobsHand] = []

    def open_page(desk: Desk) -> JobsHand:
        hands.append(JobsHand(desk))
        return hands[-1]

    yield open_page
    for one in hands:
        one.page.close()
        one.page.deleteLater()


@pytest.fixture
def hand(make_desk: Callable[..., Desk], shop_record: Path, at_page: Callable[[Desk], JobsHand]) -> JobsHand:
    """A hand at the page of a record with a before/after job."""
    return at_page(make_desk(shop_record))


def jobs_in(record: Path) -> list[JobRecord]:
    """Every job of a record, deleted ones too."""
    with Store.open(record, create=False) as store:
        return list(store.list_jobs(deleted=True, archived=True))
