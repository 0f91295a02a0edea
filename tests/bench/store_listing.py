"""How long it takes to list and to search the jobs of a shop that has made many tests, with the count of each job's tests.

The tests carry a result and laws of the size that a real one has, because it is the long rows that make a careless count slow.
"""

from __future__ import annotations

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

CAPTURES = 10_000
JOBS = (600, 2500)
REPEATS = 15
BUDGET_ITEMS = 20
GOAL_MS = 50.0

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
    numbers = [
        store.create_job(f"job {k}", "routine", engines[k % 20], f"C-{k:05d}", ("Ada", "Bo", "Zoë")[k % 3], {"hours": f"{k} h"})
        for k in range(jobs)
    ]
    rows = [row(numbers[(k * k) % jobs], k) for k in range(CAPTURES)]
    engine = sa.create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:  # one transaction: test by test it would take minutes
        connection.execute(captures.insert(), rows)
    engine.dispose()
    return store


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


def main() -> None:
    """Print the table."""
    about = f"{CAPTURES} tests in the record; goal {GOAL_MS:g} ms"
    print(f"{about:52}{'found':>8}{'median ms':>12}{'slowest ms':>12}{'processor ms':>14}")
    for jobs in JOBS:
        with TemporaryDirectory() as folder, filled(Path(folder) / "shop.borewright", jobs) as store:
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


if __name__ == "__main__":
    main()
