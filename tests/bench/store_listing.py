"""How long it takes to list and to search the jobs of a shop that has made 100 000 tests, with the count of each job's tests.

First inside a program, then `borewright job list` as a process of its own, from before its start to its end.

The tests carry a result and laws of the size that a real one has, because it is the long rows that make a careless count slow.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from typing import Any

import sqlalchemy as sa
from borewright.store import Store
from borewright.store.database import random_uid
from borewright.store.schema import captures
from borewright.store.schema import jobs as all_jobs

sys.path.insert(0, str(Path(__file__).resolve().parent))

from parts.rows import Row, at_most, tell

CAPTURES = 100_000
JOBS = (12_500, 25_000)  # eight tests a job, and as few as a job can have
REPEATS = 9
BUDGET_ITEMS = 20
PROCESS_GOAL_MS = 400.0

RESULT: dict[str, Any] = {
    "leakage_percent": 9.7,
    "leak_area_mm2": 0.37,
    "budgets": [
        {
            "quantity": quantity,
            "items": [{"what": f"item {k} of what makes it uncertain", "u": 0.01 * k} for k in range(BUDGET_ITEMS)],
        }
        for quantity in ("leakage", "leak area", "trapped volume", "pressure in the cylinder")
    ],
}
LAWS = {"cylinder": {"zero_pa": 12.5}, "rig": {f"value {k}": 0.125 * k for k in range(60)}}


def filled(path: Path, jobs: int) -> Store:
    """A record of this many jobs with CAPTURES tests, no two jobs with the same number of them."""
    store = Store.open(path)
    engines = [store.save_engine(f"invented engine {k}", {"bore_mm": 70.0 + k}) for k in range(20)]
    engine = sa.create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:  # one transaction: test by test it would take minutes
        connection.execute(all_jobs.insert(), [job(k, engines[k % 20]) for k in range(jobs)])
        for first in range(0, CAPTURES, 10_000):
            connection.execute(captures.insert(), [row((k * k) % jobs + 1, k) for k in range(first, first + 10_000)])
    engine.dispose()
    return store


def job(k: int, engine_id: int) -> Mapping[str, Any]:
    """A job as create_job makes it."""
    return {
        "id": k + 1,
        "uid": random_uid(),
        "name": f"job {k}",
        "stage": "routine",
        "engine_id": engine_id,
        "customer_reference": f"C-{k:05d}",
        "technician": ("Ada", "Bo", "Zoë")[k % 3],
        "details": {"hours": f"{k} h"},
        "created_at_unix_s": 1.7e9 + k,
    }


def row(job_id: int, k: int) -> Mapping[str, Any]:
    """A test as finish_capture leaves it."""
    return {
        "uid": random_uid(),
        "job_id": job_id,
        "cylinder": k % 4 + 1,
        "purpose": "test",
        "state": "complete",
        "started_at_unix_s": 1.7e9 + k,
        "ended_at_unix_s": 1.7e9 + k + 30.0,
        "marks": [],
        "declared": {},
        "result": RESULT,
        "laws": LAWS,
        "versions": {},
        "readiness": {},
        "device_serial": "BW-1",
        "deleted_at_unix_s": 1.8e9 if k % 50 == 0 else None,
    }


def took_ms(act: Callable[[], object]) -> tuple[float, float, float]:
    """Median and slowest of some runs by the clock, the first one, which reads the file, among them; the median by the processor.

    The last is about what a computer with nothing else to do would need.
    """
    by_clock, by_processor = [], []
    for _ in range(REPEATS):
        began_s, worked_s = time.perf_counter(), time.process_time()
        act()
        by_clock.append(1e3 * (time.perf_counter() - began_s))
        by_processor.append(1e3 * (time.process_time() - worked_s))
    return median(by_clock), max(by_clock), median(by_processor)


def listed(store: Store, search: str = "") -> int:
    """What `borewright job list` asks of the record: jobs and their tests. Returns how many jobs."""
    jobs, counts = store.list_jobs(search=search), store.count_captures()
    return len([counts.get(job.id, 0) for job in jobs])


def process_ms(path: Path) -> tuple[float, float, float]:
    """As took_ms, of `borewright job list` from before its process to its end."""
    words = [
        sys.executable,
        "-c",
        "import sys; from borewright.cli.main import main; sys.exit(main())",
        "job",
        "list",
        "--db",
        str(path),
    ]
    by_clock, by_processor = [], []
    for _ in range(REPEATS):
        began_s, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(words, stdout=subprocess.PIPE, check=True)
        by_clock.append(1e3 * (time.perf_counter() - began_s))
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        by_processor.append(1e3 * (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime))
        if done.stdout.count(b"\n") < min(JOBS):
            raise SystemExit("the list is not whole; there is nothing to time")
    return median(by_clock), max(by_clock), median(by_processor)


def main() -> None:
    """Print the table."""
    print(f"{f'{CAPTURES} tests in the record':52}{'found':>8}{'median ms':>12}{'slowest ms':>12}{'processor ms':>14}")
    rows: list[Row] = []
    for jobs in JOBS:
        with TemporaryDirectory() as folder:
            path = Path(folder) / "shop.borewright"
            with filled(path, jobs) as store:
                if sum(store.count_captures().values()) != CAPTURES - CAPTURES // 50:
                    raise SystemExit("the tests were not counted right; there is nothing to time")
                acts: dict[str, Callable[[], int]] = {
                    "list": lambda store=store: listed(store),  # type: ignore[misc]
                    "search, a name": lambda store=store: listed(store, "JOB 59"),  # type: ignore[misc]
                    "search, many": lambda store=store: listed(store, "zoë"),  # type: ignore[misc]
                    "search, none": lambda store=store: listed(store, "%"),  # type: ignore[misc]
                }
                for name, act in acts.items():
                    middle, slowest, processor = took_ms(act)
                    print(f"{f'{jobs} jobs, {name}':52}{act():8}{middle:12.1f}{slowest:12.1f}{processor:14.1f}")
            middle, slowest, processor = process_ms(path)
            print(f"{f'{jobs} jobs, borewright job list, whole process':52}{jobs:8}{middle:12.1f}{slowest:12.1f}{processor:14.1f}")
            what = f"borewright job list, {CAPTURES} tests of {jobs} jobs"
            rows += [at_most(f"{what}, by the clock", "ms a process", middle, PROCESS_GOAL_MS)]
            rows += [at_most(f"{what}, by the processor", "ms a process", processor, PROCESS_GOAL_MS)]
    tell(rows)


if __name__ == "__main__":
    main()
