"""Leak shares of cylinders that leak at two or three places: how far off, how often decided, how honest the intervals.

The truth and the readings come from the simulator's gas (`parts/leaking_engines.py`): stops that leak, pipes that end in other
cylinders' open valves, gauges that are off by 1 %, readings by 1 %, and 3 % of scatter at every visit. "Planned" begins with
nothing and takes what `plan_next` asks for until it asks for no more; what may be stopped and where a flow may be measured is
drawn. A place that was not looked at counts with the unattributed rest, which is where its leak has to be.

    leak_shares.py [ENGINES]     2000 engines a row unless told otherwise; rows of the planner take a quarter of them
"""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent / "parts"))

from borewright.core.shares import leak_shares
from leaking_engines import Person, draw_leaky, judged, take_all, take_planned

ENGINES, FIRST_SEED = 2000, 1_000_000  # seeds under 100 000 were looked at while the method was made
ALLOWED_POINTS = 5.0


@dataclass(frozen=True)
class Row:
    """One line of the table: how the person goes about it, and what is different about engine or stops."""

    name: str
    way: str
    engine: Mapping[str, Any]
    gauges: bool = True
    stop_gauge_pa: float = 0.0


ROWS = (
    Row("one stop at a time, 19 readings", "one", {}),
    Row("all stopped, one opened, 7 readings", "open", {}),
    Row("orifice at every place, 7 readings", "flow", {}),
    Row("planned, from nothing", "planned", {}),
    Row("one stop, leaks of 0.05 to 0.8 mm²", "one", {"leak_mm2": (0.05, 0.8)}),
    Row("all stopped, leaks of 0.05 to 0.8 mm²", "open", {"leak_mm2": (0.05, 0.8)}),
    Row("orifices, leaks of 0.05 to 0.8 mm²", "flow", {"leak_mm2": (0.05, 0.8)}),
    Row("one stop at a time, no gauges", "one", {}, gauges=False),
    Row("all stopped, no gauges", "open", {}, gauges=False),
    Row("all stopped, stops leak 0.15 mm²", "open", {"stop_mm2": 0.15}),
    Row("  the same, no gauges", "open", {"stop_mm2": 0.15}, gauges=False),
    Row("planned, stops leak 0.15 mm²", "planned", {"stop_mm2": 0.15}),
    Row("all stopped, shared pipes", "open", {"shared": 1.0}),
    Row("all stopped, the reliefs open", "open", {}, stop_gauge_pa=300e3),
)


def one_engine(row: Row, seed: int) -> dict[str, Any]:
    """One engine by one way, judged."""
    random = np.random.default_rng(seed)
    engine = draw_leaky(random, **row.engine)
    person = Person(engine, random, row.gauges, row.stop_gauge_pa)
    if row.way == "planned":
        take_planned(person)
    else:
        take_all(person, row.way)
    began_s = time.process_time()
    found = leak_shares(list(engine.areas_mm2), person.readings, person.flows)
    took_s = time.process_time() - began_s
    return {**judged(engine, found), "count": person.count, "took_s": took_s}


def main() -> None:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else ENGINES
    began_s = time.perf_counter()
    print(f"{count} engines with two or three leaking places; shares in percentage points")
    print(f"{'':38}{'within 5':>9}{'median':>8}{'decided':>9}{'wrong':>7}{'contra-':>9}{'covers':>8}{'tight':>7}{'all':>7}", end="")
    print(f"{'rest':>7}{'readings':>10}{'ms':>5}")
    with ProcessPoolExecutor() as pool:
        for row in ROWS:
            many = count if row.way != "planned" else max(count // 4, 1)
            each = list(pool.map(partial(one_engine, row), range(FIRST_SEED, FIRST_SEED + many), chunksize=10))
            print_row(row, each)
    print("covers: 95 % intervals that hold the share of a leaking place; tight: of a place that does not leak; all: both")
    print(f"took {time.perf_counter() - began_s:.0f} s")


def print_row(row: Row, each: list[dict[str, Any]]) -> None:
    """One line."""
    errors = np.array([one["error"] for one in each])
    leaking = [held for one in each for held in one["leaking"]]
    tight = [held for one in each for held in one["tight"]]
    decided = sum(one["decided"] for one in each)
    print(f"{row.name:38}{100.0 * np.mean(errors <= ALLOWED_POINTS):7.1f} %{np.median(errors):8.2f}", end="")
    print(f"{100.0 * decided / len(each):7.1f} %{sum(one['wrong'] for one in each):7}", end="")
    print(f"{sum(one['contradicted'] for one in each):9}{100.0 * np.mean(leaking):8.1f}{100.0 * np.mean(tight):7.1f}", end="")
    print(f"{100.0 * np.mean(leaking + tight):7.1f}{100.0 * np.mean([one['rest'] for one in each]):7.1f}", end="")
    counts = [one["count"] for one in each]
    print(f"{np.mean(counts):10.1f}{1e3 * np.mean([one['took_s'] for one in each]):5.0f}", flush=True)


if __name__ == "__main__":
    main()
