"""From octets to the record with the window: the program as a user has it, on the built-in rig, as fast as that goes.

Eight virtual seconds are asked of each second of the clock. What is reached holds the rig's own computing, the guide, the drawing
and the store; the fit is made by the program's own worker process. A person follows the guide through one test.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "window"))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from borewright.app.main import SWITCH_S, Options, Program
from borewright.app.settings import Settings
from borewright.app.theme.look import load_letters
from borewright.app.window import Window
from borewright.service import acts
from borewright.service.link_counters import LinkCounters
from borewright.simrig.builtin import FASTEST
from parts.event_loop import until
from parts.rows import at_least, at_most, tell
from PySide6.QtWidgets import QApplication
from screen_person import ScreenPerson
from virtual_desk import make_shop_record

ASKED = 6.0
CYLINDER = 4
VENTED_S = 30.0


def main() -> None:
    """Print the table."""
    sys.setswitchinterval(SWITCH_S)
    app = QApplication(["borewright"])
    load_letters()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        record = folder / "shop.borewright"
        make_shop_record(record)
        program = Program(
            Options(folder / "window.toml", folder / "units.toml", record=record, scenario="hillclimb-before"),
            Settings(theme="light"),
        )
        desk = program.desk
        window = Window(desk, program.leave)
        window.show()
        window.show_page("Test")
        desk.begin()
        desk.at_rig(f"speed {FASTEST:g}")
        person = ScreenPerson(desk, until)
        until(lambda: desk.snapshot.link.kind == "open")
        program.workers.warm_up()
        desk.open_job(next(job.id for job in program.store.list_jobs() if job.stage == "before"))
        until(lambda: desk.job is not None)
        person.check_rig(1)
        print(f"{'':24}{'stream':>10}{'clock':>10}{'processor':>12}{'× real time':>14}{'by the processor':>18}")
        spans: dict[str, tuple[float, float, float]] = {}
        for name, work in (
            ("vented", lambda: person.wait_s(VENTED_S)),
            ("a test, kept", lambda: person.carry_out(acts.Purpose("test", CYLINDER))),
        ):
            stream_s, clock_s, cpu_s = person.rig.at_s, time.monotonic(), time.process_time()
            work()
            spans[name] = person.rig.at_s - stream_s, time.monotonic() - clock_s, time.process_time() - cpu_s
            passed_s, took_s, used_s = spans[name]
            print(f"{name:24}{passed_s:8.1f} s{took_s:8.1f} s{used_s:10.1f} s{passed_s / took_s:14.1f}{passed_s / used_s:18.1f}")
        until(lambda: desk.snapshot.done[-1].capture_id is not None)
        counters = desk.snapshot.counters or LinkCounters()
        capture = program.store.load_capture(desk.snapshot.done[-1].capture_id or 0)
        missing = int(capture.columns.index[-1] - capture.columns.index[0]) + 1 - len(capture.columns)
        window.close()
    app.quit()
    tell(
        [
            at_least(
                "ingest with the window, a test, rig and drawing included, by the clock", "× real time", passed_s / took_s, ASKED
            ),
            at_least("the same by the processor of the program", "× real time", passed_s / used_s, ASKED),
            at_most("lost with the window", "samples and frames", missing + counters.lost_blocks + counters.bad_frames, 0.0),
        ]
    )


if __name__ == "__main__":
    main()
