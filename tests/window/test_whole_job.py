"""The whole job in the window, by keys alone: an engine before its rebuild and after it, compared, to the report on paper."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from boresim.scenario import load_scenario
from borewright.app.settings import Settings
from borewright.service.comparing import compare_jobs
from borewright.service.toml_text import toml_text
from borewright.simrig.practice import prepared_checks
from borewright.store.store import Store
from pypdf import PdfReader
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from .keyboard import Keyboard
from .round_hand import keyed_scenario
from .virtual_desk import BEGAN_UNIX_S, DAY_S, open_desk

NAME = "Larch, car 7"
BURNT = 3  # the cylinder with the burnt exhaust valve and the worn rings, as the scenario has it
TRUTH = {stage: load_scenario(f"hillclimb-{stage}").truth for stage in ("before", "after")}
WITHIN_PERCENT = 0.5  # bound of issue 2 for one test on the reference rig


@pytest.fixture
def at_window(qapp: QApplication, tmp_path: Path) -> Iterator[Callable[[str], Keyboard]]:
    """Opens the window on one record, at the rig of a stage whose own checks hold; the one before is closed, as days go by."""
    assert qapp is not None
    record = tmp_path / "shop.borewright"
    opened: list[Keyboard] = []
    closes: list[Callable[[], None]] = []

    def close_last() -> None:
        while opened:
            opened.pop().window.close()
            closes.pop()()

    def open_window(stage: str) -> Keyboard:
        close_last()
        scenario = keyed_scenario(tmp_path, f"hillclimb-{stage}")
        with Store.open(record) as store:
            for check in prepared_checks(store, scenario, BEGAN_UNIX_S + 30 * DAY_S):
                store.add_rig_check(check)
        desk, close = open_desk(record, tmp_path, scenario, Settings(theme="light", first_run_done=True))
        opened.append(Keyboard(desk))
        closes.append(close)
        opened[-1].until(lambda: desk.snapshot.link.kind == "open")
        return opened[-1]

    yield open_window
    close_last()


def test_before_and_after_to_the_report(at_window: Callable[[str], Keyboard], tmp_path: Path) -> None:
    keyboard = at_window("before")
    begin_the_job(keyboard, tmp_path)
    tested = [keyboard.test_next(lambda: listen_where_it_leaks(keyboard)) for _ in range(4)]
    assert sorted(tested) == [1, 2, 3, 4]

    keyboard = at_window("after")
    keyboard.page(5)
    keyboard.alt("a")  # begin its after stage
    assert keyboard.desk.job is not None
    assert keyboard.desk.job.stage == "after"
    keyboard.page(1)
    assert sorted(keyboard.test_next() for _ in range(4)) == [1, 2, 3, 4]

    with Store.open(keyboard.desk.record) as store:
        before, after = (store.find_job(NAME, stage) for stage in ("before", "after"))
        assert before is not None
        assert after is not None
        for job, stage in ((before, "before"), (after, "after")):
            captures = store.list_captures(job.id)
            assert sorted(capture.cylinder for capture in captures) == [1, 2, 3, 4]
            for capture in captures:
                assert (capture.state, capture.void_reason) == ("complete", None)
                assert capture.result is not None
                truth = TRUTH[stage][capture.cylinder].leakage_percent
                assert capture.result["leakage_percent"] == pytest.approx(truth, abs=WITHIN_PERCENT)
        heard = {finding.place for finding in store.list_findings(before.id) if finding.kind == "heard"}
        verdict = compare_jobs(store, before, after)
    assert {"exhaust", "breather"} <= heard

    compare_and_print(keyboard, tmp_path, verdict.words)


def begin_the_job(keyboard: Keyboard, folder: Path) -> None:
    """The engine from its file into the library, and a job with it."""
    engine = folder / "larch.toml"
    engine.write_text(toml_text(load_scenario("hillclimb-before").engine_document), encoding="utf-8")
    keyboard.files.opened = [engine]
    keyboard.page(3)
    keyboard.alt("i")
    keyboard.alt("s")
    keyboard.alt("b")
    keyboard.alt("n")
    keyboard.type(NAME)
    keyboard.key(Qt.Key.Key_Return)
    assert keyboard.desk.job is not None, keyboard.seen()
    assert (keyboard.desk.job.name, keyboard.desk.job.stage) == (NAME, "before")
    keyboard.page(1)


def listen_where_it_leaks(keyboard: Keyboard) -> None:
    """Go from place to place at the engine, and note what is heard there."""
    if keyboard.state.purpose.cylinder == BURNT:
        keyboard.listen({one.place: one.strength for one in keyboard.rig.heard})


def compare_and_print(keyboard: Keyboard, folder: Path, words: str) -> None:
    """What has changed, on the screen and on paper."""
    keyboard.page(5)
    keyboard.alt("c")
    assert words in keyboard.seen()
    keyboard.key(Qt.Key.Key_Left, Qt.KeyboardModifier.AltModifier)
    keyboard.alt("r")
    paper = folder / "report.pdf"
    keyboard.files.save_to = paper
    keyboard.alt("p")
    text = "\n".join(page.extract_text() for page in PdfReader(paper).pages)
    assert NAME in text
    assert f"cylinder {BURNT}" in text.lower()
