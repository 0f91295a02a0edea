"""How often an opening is on the wire that the plant says is false, in numbered random runs at the simulated rig. Asked: never.

Engine, person, mistakes, faults and the coupling are random. What no sensor of the rig can show is counted beside it. Without an
argument as many as the tests do; say how many you want, ten thousand for the figure that is asked for.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

from parts.rows import at_least, at_most, tell  # noqa: E402

from tests.service import physical_runs  # noqa: E402

EACH = 100


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("runs", nargs="?", type=int, default=100)
    parser.add_argument("--from", dest="first", type=int, default=0, metavar="NUMBER")
    parser.add_argument("--again", type=int, metavar="NUMBER", help="do one run again and tell all of it")
    chosen = parser.parse_args()
    if chosen.again is not None:
        print(physical_runs.do(chosen.again))
        return
    seen, began_s = physical_runs.Survey(), time.process_time()
    for number in range(chosen.first, chosen.first + chosen.runs):
        run = physical_runs.do(number)
        seen.add(run)
        if run.wrong and not run.unseen:
            print(f"WRONG: {run}", flush=True)
        if seen.runs % EACH == 0 or seen.runs == chosen.runs:
            print(told(seen, time.process_time() - began_s), flush=True)
    slips = Counter(f"{run.unseen}: {run.slip_deg:+.0f} degrees" for run in seen.unseen)
    print("\n".join(f"    {many:4} false, {why}" for why, many in sorted(slips.items())))
    tell(
        [
            at_most(f"false openings that a sensor could show, {chosen.runs} physical runs", "runs", len(seen.wrong), 0),
            at_most("  false by a slip or a word that no sensor shows", "runs", len(seen.unseen), None),
            at_least("  runs that came to air", "runs", seen.with_air, None),
            at_most("  processor time each", "s", (time.process_time() - began_s) / chosen.runs, None),
        ]
    )


def told(seen: physical_runs.Survey, processor_s: float) -> str:
    """A line of progress."""
    return (
        f"{seen.runs} runs: {len(seen.wrong)} wrong, {len(seen.unseen)} by what no sensor shows; "
        f"{sum(seen.opens.values())} openings in {seen.with_air} runs, full pressure in {seen.with_full}, "
        f"{processor_s / seen.runs:.2f} s each"
    )


if __name__ == "__main__":
    main()
