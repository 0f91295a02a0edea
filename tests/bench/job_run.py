"""A whole job on an eight-cylinder engine, by the scripted person in virtual time: how long it takes, and what it reads.

Once with a squeeze in each cylinder, once with the stroke carried over from the first. Wanted: at most 60 s of wall clock. The
rig's checks and true TDC are in it. The truth is read only for the table.
"""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as cli.main does


from boresim.scenario import load_scenario
from borewright.simrig.whole_job import JobRun, run_job
from borewright.store import Store
from parts.rows import at_most, tell

SCENARIO = "lime-eight"
WANTED_S = 60.0


def job(folder: Path, *, squeeze_each: bool) -> tuple[JobRun, float, float]:
    """The run, its wall clock and its processor time."""
    with Store.open(folder / f"{'each' if squeeze_each else 'carried'}.db") as store:
        wall_s, processor_s = time.perf_counter(), time.process_time()
        run = run_job(load_scenario(SCENARIO), store, "eight", 1.8e9, squeeze_each=squeeze_each)
        return run, time.perf_counter() - wall_s, time.process_time() - processor_s


def main() -> None:
    """Print the table."""
    truth = load_scenario(SCENARIO).truth
    print(f"{'':26}{'wall':>8}{'processor':>12}{'complete':>10}{'void':>6}{'refused':>9}{'worst off the truth':>22}")
    for squeeze_each in (False, True):
        with tempfile.TemporaryDirectory() as folder:
            run, wall_s, processor_s = job(Path(folder), squeeze_each=squeeze_each)
        results = {cylinder: done.analysed.result for cylinder, done in run.complete.items()}
        off = [
            abs(found.leakage_percent - truth[cylinder].leakage_percent) for cylinder, found in results.items() if found is not None
        ]
        name = "squeeze in each cylinder" if squeeze_each else "stroke carried over"
        row = f"{name:26}{wall_s:6.1f} s{processor_s:10.1f} s{len(results):7} / {len(truth)}{len(run.visits) - len(results):6}"
        print(f"{row}{len(run.refusals):9}{max(off):15.2f} points" if off else f"{row}{len(run.refusals):9}{'-':>22}")
        tell([at_most(f"a whole job on eight cylinders, {name}", "s of wall clock", wall_s, WANTED_S)])


if __name__ == "__main__":
    main()
