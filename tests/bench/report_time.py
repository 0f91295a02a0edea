"""How long a report takes: reading the record, comparing, finding the path, drawing. Bound: 1 s.

Loading the program comes on top once in a process, and is shown by itself. Times are the middle of several reports.
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as cli.main does


sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "report"))

from borewright.report.pdf import render
from borewright.service.report_data import report_of
from borewright.store import Store
from borewright.store.records import JobRecord
from parts.rows import at_most, tell
from pypdf import PdfReader
from shop_record import add_test, engine, four_before_and_after, open_record, picture

REPORTS = 5
GOAL_S = 1.0
LOADED = (
    "import time\nbegan_s = time.perf_counter()\n"
    "import borewright.service.report_data, borewright.report.pdf\nprint(time.perf_counter() - began_s)"
)


def eight(store: Store) -> tuple[int, int]:
    """Eight cylinders, each tested three times before and after."""
    engine_id = store.save_engine("Larch eight", engine(8) | {"name": "Larch eight"})
    before, after = (store.create_job("eight", stage, engine_id) for stage in ("before", "after"))
    for cylinder in range(1, 9):
        for repeat in range(3):
            add_test(store, before, cylinder, 8.0 + cylinder + 0.1 * repeat)
            add_test(store, after, cylinder, 6.0 + 0.1 * repeat)
    return before, after


def with_photos(store: Store) -> tuple[int, int]:
    """Four cylinders with six photos as a telephone takes them."""
    before, after = four_before_and_after(store)
    note = store.add_finding(before, 3, "note", detail={"text": "valve and seat"}, said_by="A. Birch")
    for number in range(6):
        store.add_photo(note, f"{number}.jpg", "image/jpeg", 4000, 3000, picture(4000, 3000, colour=f"#{number + 2}07050"))
    return before, after


CASES = (
    ("four cylinders, before and after", four_before_and_after),
    ("eight cylinders, three tests each", eight),
    ("four cylinders, seven photos", with_photos),
)


def main() -> None:
    """Print the table."""
    loads = [float(subprocess.run([sys.executable, "-c", LOADED], capture_output=True, check=True).stdout) for _ in range(3)]
    print(f"loading the program, once: {median(loads):.2f} s\n")
    print("report                               pages      kB    record read    drawn     both   processor")
    with tempfile.TemporaryDirectory() as folder:
        for name, fill in CASES:
            with open_record(Path(folder) / f"{fill.__name__}.db") as store:
                jobs = [store.get_job(job_id) for job_id in fill(store)]
                taken = [timed(store, jobs) for _ in range(REPORTS)]
            pages, size, *_ = taken[0]
            read_s, drawn_s, processor_s = (median(one[at] for one in taken) for at in (2, 3, 4))
            both_s = median(one[2] + one[3] for one in taken)
            times = f"{read_s:11.2f} s  {drawn_s:5.2f} s  {both_s:5.2f} s  {processor_s:8.2f} s"
            print(f"{name:35}  {pages:5}  {size / 1e3:6.0f}  {times}")
            tell(
                [
                    at_most(f"report, {name}, by the clock", "s", both_s, GOAL_S),
                    at_most(f"report, {name}, by the processor", "s", processor_s, GOAL_S),
                ]
            )


def timed(store: Store, jobs: list[JobRecord]) -> tuple[int, int, float, float, float]:
    """Pages, octets, and seconds: for reading and comparing, for drawing, and of the processor for both."""
    began_s, began_processor_s = time.perf_counter(), time.process_time()
    report = report_of(store, jobs[0], jobs[1])
    read_s = time.perf_counter() - began_s
    data = render(report)
    drawn_s = time.perf_counter() - began_s - read_s
    processor_s = time.process_time() - began_processor_s
    return len(PdfReader(io.BytesIO(data)).pages), len(data), read_s, drawn_s, processor_s


if __name__ == "__main__":
    main()
