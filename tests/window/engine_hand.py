"""What a person does on the engine page, as the tests have it done: keys and clicks, and nothing else."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, cast

import pytest
from borewright.app.desk import Desk
from borewright.app.pages.engine_page import EnginePage
from borewright.app.settings import Settings
from borewright.service.view_engine import engine_of, list_engines, save_engine
from borewright.store.store import Store
from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QKeySequence
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QLineEdit,
    QPlainTextEdit,
)

from .virtual_desk import AnsweredFiles

VECTORS = Path(__file__).resolve().parents[2] / "firmware_protocol" / "vectors"
FOUR = tomllib.loads((VECTORS / "engine_accept" / "inline_four.toml").read_text("utf-8")) | {"name": "Larch four"}
TWO = tomllib.loads((VECTORS / "engine_accept" / "two_stroke_single.toml").read_text("utf-8")) | {"name": "Aspen single"}
HOSTILE = ("\x00\x1b[31m\x07\u202e", "1e999", "nan", "a" * 10_000, "9" * 10_000)
Make = Callable[..., EnginePage]


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """A record with two engines, one of them in two versions."""
    path = tmp_path / "shop.borewright"
    with Store.open(path) as store:
        save_engine(store, FOUR | {"bore_mm": 80.0}, None)
        save_engine(store, FOUR, "Larch four")
        save_engine(store, TWO, None)
    return path


@pytest.fixture
def make(make_desk: Callable[..., Desk], qapp: QApplication) -> Iterator[Make]:
    pages: list[EnginePage] = []

    def made(record: Path | None = None, size: tuple[int, int] = (1280, 720), **changes: Any) -> EnginePage:
        page = EnginePage(make_desk(record, settings=Settings(**({"theme": "light"} | changes))))
        pages.append(page)
        page.resize(*size)
        page.show()
        page.activateWindow()
        page.entered()
        settle(page)
        return page

    yield made
    for page in pages:
        page.close()
        page.deleteLater()
    # no loop runs that would do it; pages that stay are dressed anew with every desk, which took half a minute at the end
    qapp.sendPostedEvents(None, QEvent.Type.DeferredDelete)


@pytest.fixture
def page(make: Make, record: Path) -> EnginePage:
    """The page on that record; it opens the first engine by itself."""
    made = make(record)
    assert made.edit.name == "Aspen single"
    open_engine(made, "Larch four")
    return made


def settle(page: EnginePage) -> None:
    """Let answers come and layouts be made."""
    for _ in range(4):
        page.desk.refresh()
        QApplication.processEvents()


def files(page: EnginePage) -> AnsweredFiles:
    return cast(AnsweredFiles, page.desk.files)


def kept(page: EnginePage, name: str) -> list[dict[str, Any]]:
    with Store.open(page.desk.record) as store:
        return [version.document for version in engine_of(store, name).versions]


def names(page: EnginePage, removed: bool = False) -> list[str]:
    with Store.open(page.desk.record) as store:
        return [line.name for line in list_engines(store, removed=removed)]


def open_engine(page: EnginePage, name: str) -> None:
    """As with the keys: to the list, to the name, Enter."""
    listed = page.library.names
    listed.setFocus()
    rows = [listed.item(at).text().split("\n")[0] for at in range(listed.count())]
    QTest.keyClick(listed, Qt.Key.Key_Home)
    for _ in range(rows.index(name)):
        QTest.keyClick(listed, Qt.Key.Key_Down)
    QTest.keyClick(listed, Qt.Key.Key_Return)
    settle(page)


def write(page: EnginePage, key: str, text: str, *, leave: bool = True) -> None:
    """Write over a field, and go on to the next."""
    row = page.form.rows[key]
    for box in page.form._sections:
        if row in box.rows and not box.is_open:
            QTest.keyClick(box._heading, Qt.Key.Key_Space)
    editor = row.editor
    assert isinstance(editor, QLineEdit | QPlainTextEdit)
    editor.setFocus()
    editor.selectAll()
    QTest.keyClick(editor, Qt.Key.Key_Delete)
    if text and (len(text) > 100 or not text.isprintable()):
        QApplication.clipboard().setText(text)
        QTest.keySequence(editor, QKeySequence(QKeySequence.StandardKey.Paste))
    else:
        QTest.keyClicks(editor, text)
    if leave:
        QTest.keyClick(editor, Qt.Key.Key_Tab)
    settle(page)


def choose(page: EnginePage, key: str, words: str) -> None:
    """By the keyboard, as a person does it."""
    combo = page.form.rows[key].editor
    assert isinstance(combo, QComboBox)
    combo.setFocus()
    QTest.keyClick(combo, Qt.Key.Key_Home)
    for _ in range(combo.findText(words)):
        QTest.keyClick(combo, Qt.Key.Key_Down)
    settle(page)
    assert combo.currentText() == words


def press(page: EnginePage, button: QAbstractButton) -> None:
    assert button.isVisible()
    assert button.isEnabled()
    button.setFocus()
    QTest.keyClick(button, Qt.Key.Key_Space)
    settle(page)


def shown(page: EnginePage) -> dict[str, str]:
    """The faults that stand at the fields, as they are painted."""
    return {
        key: row._fault_label.text()
        for key, row in page.form.rows.items()
        if row._fault_label.isVisibleTo(row) and row._fault_label.text()
    }
