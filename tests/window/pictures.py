"""Pictures of every page of the window in each look, and the two that the README shows: python3 tests/run.py --screenshots DIR

All of it happens on the built-in rig in virtual time, so that the pictures are of what a person really sees.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Literal

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).resolve().parent))

from borewright.app.desk import Desk
from borewright.app.pages.jobs_page import JobsPage
from borewright.app.settings import Settings
from borewright.app.theme.look import palette_of
from borewright.app.window import Window
from borewright.service import acts
from borewright.service.snapshot import Snapshot
from borewright.store.store import Store
from PIL import Image
from PySide6.QtCore import QBuffer, QIODevice
from PySide6.QtWidgets import QApplication
from screen_person import ScreenPerson
from virtual_desk import bench_time, bench_until, make_shop_record, open_desk

ROOT = Path(__file__).resolve().parent.parent.parent
README = ROOT / "host" / "pictures"
README_SCENES = {"test-hold": "test-page.png", "jobs-compare": "jobs-page.png"}
LOOKS: tuple[tuple[Literal["light", "dark"], int, int, int], ...] = (
    ("light", 100, 1280, 800),
    ("dark", 100, 1280, 800),
    ("light", 150, 1280, 800),
    ("dark", 200, 1920, 1080),
)
COLOURS = 128

Scene = tuple[str, Callable[[], None]]


def main(folder: Path) -> None:
    """Write them all."""
    folder.mkdir(parents=True, exist_ok=True)
    README.mkdir(exist_ok=True)
    app = QApplication.instance() or QApplication(["borewright"])
    assert isinstance(app, QApplication)
    with tempfile.TemporaryDirectory() as scratch:
        record = Path(scratch) / "shop.borewright"
        print("making the record that is shown", flush=True)
        make_shop_record(record)
        desk, close = open_desk(record, Path(scratch), settings=Settings(theme="light", first_run_done=True))
        window = Window(desk, lambda: None)
        window.show()
        for name, prepare in scenes(desk, window):
            prepare()
            bench_time(desk, 0.2)
            for theme, scale, width, height in LOOKS:
                window.resize(width, height)
                dressed(desk, window, theme, scale)
                settle(desk)
                path = folder / f"{name}-{theme}-{scale}.png"
                save(window, path)
                if (theme, scale) == ("light", 100) and name in README_SCENES:
                    save(window, README / README_SCENES[name])
            print(name, flush=True)
        window.close()
        close()


def dressed(desk: Desk, window: Window, theme: Literal["light", "dark"], scale: int) -> None:
    """Another look, also while air is on, where the program itself waits with it."""
    desk.settings = replace(desk.settings, theme=theme, scale_percent=scale)
    desk.palette = palette_of(theme)
    desk.look_changed.emit()
    window.look_now()


def settle(desk: Desk) -> None:
    """Let layouts and answers come, without the rig's time passing."""
    for _ in range(6):
        desk.refresh()
        QApplication.processEvents()


def save(window: Window, path: Path) -> None:
    """One picture, small enough for a repository; the same picture gives the same octets."""
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    window.grab().save(buffer, "PNG")  # type: ignore[call-overload]
    picture = Image.open(BytesIO(bytes(buffer.data().data()))).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    picture.save(path, optimize=True)


def scenes(desk: Desk, window: Window) -> Iterator[Scene]:
    """What is shown, in the order in which it comes about."""
    person = ScreenPerson(desk, lambda reached: bench_until(desk, reached))
    bench_time(desk, 1.0)
    yield "rig-unchecked", lambda: window.show_page("Rig")
    yield "jobs-list", lambda: window.show_page("Jobs")
    with Store.open(desk.record) as store:
        before = next(job.id for job in store.list_jobs() if job.stage == "before")
    desk.open_job(before)
    bench_time(desk, 0.3)
    person.check_rig(1)
    yield "rig-checked", lambda: window.show_page("Rig")
    yield "engine", lambda: window.show_page("Engine")
    window.show_page("Test")
    yield "test-begin", lambda: bench_time(desk, 0.2)
    desk.tell(acts.SetPurpose(acts.Purpose("test", 4)))
    person.until("squeeze_turn")
    yield "test-squeeze", lambda: bench_time(desk, 2.0)
    person.until("turn_to_tdc")
    yield "test-find-tdc", lambda: None
    person.until("give_air")
    yield "test-ready", lambda: None
    person.glance()
    bench_until(desk, lambda: holds_reading(desk.snapshot))
    desk.tell(acts.SetHold(True))
    yield "test-hold", lambda: bench_time(desk, 3.0)
    yield "findings-hold", lambda: window.show_page("Findings")
    desk.tell(acts.SetHold(False))
    before_count = len(desk.snapshot.done)
    bench_until(desk, lambda: len(desk.snapshot.done) > before_count)
    person.let_go()
    bench_time(desk, 3.0)
    yield "test-result", lambda: window.show_page("Test")
    yield "findings", lambda: window.show_page("Findings")
    window.show_page("Jobs")
    settle(desk)
    jobs = window.findChild(JobsPage)
    assert isinstance(jobs, JobsPage)
    jobs.list.glance.button("compare").click()
    yield "jobs-compare", lambda: None
    jobs.show_list()
    settle(desk)
    jobs.list.glance.button("report").click()
    yield "jobs-report", lambda: None
    jobs.show_list()
    yield "builtin-panel", lambda: (window.show_page("Test"), window.toggle_panel("Built-in rig"))[0]
    window.toggle_panel("Built-in rig")
    yield "surroundings", lambda: window.toggle_panel("Surroundings")
    window.toggle_panel("Surroundings")
    yield "first-run", window.begin_first_run


def holds_reading(snapshot: Snapshot) -> bool:
    """Whether air is on and a leakage can be read."""
    capture = None if snapshot.state is None else snapshot.state.capture
    return capture is not None and capture.live.leakage_percent is not None


if __name__ == "__main__":
    main(Path(sys.argv[1]))
