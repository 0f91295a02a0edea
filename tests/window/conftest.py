"""The window without a screen, on the built-in rig in virtual time."""

from __future__ import annotations

import fcntl
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from borewright.app.desk import Desk
from borewright.app.page import Page
from borewright.app.settings import Settings
from borewright.app.window import Window
from PySide6.QtCore import QEvent
from PySide6.QtWidgets import QApplication

from .virtual_desk import bench_time, bench_until, make_shop_record, open_desk

__all__ = ["bench_time", "bench_until"]


@pytest.fixture(autouse=True)
def nothing_left(qapp: QApplication) -> Iterator[None]:
    """Windows of earlier tests are gone: no event loop runs that would delete them, and each new look would dress them all."""
    yield
    for widget in qapp.topLevelWidgets():
        if isinstance(widget, Window | Page):  # whatever else stands alone belongs to one of these, or to a library
            widget.hide()
            widget.deleteLater()
    qapp.sendPostedEvents(None, QEvent.Type.DeferredDelete)


@pytest.fixture(scope="session")
def shop_record_made(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Path:
    """The record that others are copies of. It takes a while, so processes that test side by side make one between them."""
    folder = tmp_path_factory.getbasetemp()
    folder = folder if worker_id == "master" else folder.parent
    path = folder / "shop.borewright"
    with (folder / "shop.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            part = path.with_suffix(".part")
            make_shop_record(part)
            part.rename(path)
    return path


@pytest.fixture
def shop_record(shop_record_made: Path, tmp_path: Path) -> Path:
    """A record with a before/after job of the demo engine, cylinders 1 and 3 tested; to be changed at will."""
    return Path(shutil.copy(shop_record_made, tmp_path / "shop.borewright"))


@pytest.fixture
def make_desk(qapp: QApplication, tmp_path: Path) -> Iterator[Callable[..., Desk]]:
    """Makes a desk: record (a new one without), scenario of its built-in rig, settings."""
    assert qapp is not None
    closes: list[Callable[[], None]] = []

    def make(record: Path | None = None, scenario: str = "hillclimb-before", settings: Settings | None = None) -> Desk:
        desk, close = open_desk(record or tmp_path / "new.borewright", tmp_path, scenario, settings)
        closes.append(close)
        return desk

    yield make
    for close in closes:
        close()


@pytest.fixture
def desk(make_desk: Callable[..., Desk]) -> Desk:
    """A desk on a new record, its built-in rig streaming."""
    made = make_desk()
    bench_time(made, 1.0)
    return made
