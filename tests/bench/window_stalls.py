"""How long the window's event loop is held up while a test runs, is fitted and stored, while a report is made. Bound: 50 ms.

The program as a user has it, its threads and processes too, on the built-in rig at twice real time, without a screen unless
QT_QPA_PLATFORM says otherwise. A person follows the guide. Beside the stalls: the share of a core that the window's thread takes.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "window"))

from borewright.app.main import SWITCH_S, Options, Program
from borewright.app.settings import Settings
from borewright.app.theme.look import load_letters
from borewright.app.window import Window
from borewright.service import acts
from borewright.service.report_pages import ReportMade, ReportWanted, made_report
from parts.event_loop import Stalls, until
from parts.rows import at_most, tell
from PySide6.QtWidgets import QApplication
from screen_person import ScreenPerson
from virtual_desk import make_shop_record

SPEED = 2.0


class Loop:
    """Watches the real event loop while something is done."""

    def __init__(self) -> None:
        self.stalls = Stalls()

    def watched(self, what: str, work: Callable[[], None]) -> None:
        """Do it and print how the loop fared."""
        self.stalls = Stalls()
        cpu_s, began_s = time.thread_time(), time.monotonic()
        self.stalls.begin()
        work()
        self.stalls.end()
        took_s = time.monotonic() - began_s
        share = (time.thread_time() - cpu_s) / took_s
        print(
            f"{what:36}{took_s:8.1f} s{self.stalls.longest_ms:9.0f} ms{self.stalls.over(50.0):8}{100.0 * share:10.1f} %", flush=True
        )
        tell([at_most(f"longest stall of the window, {what}, by the clock", "ms", self.stalls.longest_ms, 50.0)])


def main() -> None:
    """Print the table."""
    sys.setswitchinterval(SWITCH_S)
    app = QApplication(["borewright"])
    load_letters()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        record = folder / "shop.borewright"
        make_shop_record(record)
        options = Options(folder / "window.toml", folder / "units.toml", record=record, scenario="hillclimb-before")
        program = Program(options, Settings(theme="light"))
        desk, loop = program.desk, Loop()
        window = Window(desk, program.leave)
        window.show()
        window.show_page("Test")
        desk.begin()
        desk.at_rig(f"speed {SPEED:g}")
        person = ScreenPerson(desk, until)
        until(lambda: desk.snapshot.link.kind == "open")
        program.workers.warm_up()
        jobs = {job.stage: job.id for job in program.store.list_jobs()}
        desk.open_job(jobs["before"])
        until(lambda: desk.job is not None)
        person.check_rig(1)
        print(f"{'':36}{'took':>10}{'longest':>12}{'> 50 ms':>8}{'of a core':>12}")
        loop.watched("test of a cylinder, fit and store", lambda: one_test(program, person, 4))
        loop.watched("the report, made and drawn", lambda: report(program, tuple(jobs.values())))
        window.show_page("Jobs")
        loop.watched("the page of the jobs", lambda: person.wait_s(6.0))
        window.show_page("Findings")
        loop.watched("the page of the findings", lambda: person.wait_s(6.0))
        window.close()
    app.quit()


def one_test(program: Program, person: ScreenPerson, cylinder: int) -> None:
    """From the hose into the cylinder until the record has kept the result."""
    person.carry_out(acts.Purpose("test", cylinder))
    until(lambda: program.desk.snapshot.done[-1].capture_id is not None)


def report(program: Program, jobs: tuple[int, ...]) -> None:
    """The report of both stages, as the page of the jobs asks for it."""
    made: list[ReportMade] = []
    program.desk.ask(made_report, ReportWanted(jobs), then=made.append)
    until(lambda: bool(made))


if __name__ == "__main__":
    main()
