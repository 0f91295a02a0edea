"""What memory does while a bench streams without a window: over half an hour of a vented rig, and over tests one after the other.

Resident memory of the process, simulated rig included, from when it has settled: caches and pools are filled by the first minutes
and by the first test, which loads what fits captures.
"""

from __future__ import annotations

import gc
import os
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as cli.main does


sys.path.insert(0, str(Path(__file__).resolve().parent))

from borewright.service import acts
from parts.rows import at_most, tell
from parts.timed_bench import TimedBench

SETTLES_S = 120.0
STREAM_S = 1800.0
AT_ONCE_S = 200.0
TESTS = 6
CYLINDER = 4


def resident_mb() -> float:
    """Of this process, as Linux has it in /proc/self/statm (proc(5)): pages, the second number."""
    gc.collect()
    return int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder, TimedBench(Path(folder), 1000) as timed:
        timed.person.wait(SETTLES_S)
        first_mb = resident_mb()
        for _ in range(int(STREAM_S / AT_ONCE_S)):  # nobody waits longer than that at once
            timed.person.wait(AT_ONCE_S)
        streamed_mb = resident_mb()
        timed.check_rig()
        in_use: list[float] = []
        for _ in range(TESTS):
            timed.person.carry_out(acts.Purpose("test", CYLINDER))
            timed.bench.flush_writer()
            in_use.append(resident_mb())
    print(f"streaming: {first_mb:.1f} MB after {SETTLES_S:.0f} s, {streamed_mb:.1f} MB after {STREAM_S:.0f} s more")
    print("after each test, MB: " + ", ".join(f"{mb:.1f}" for mb in in_use))
    tell(
        [
            at_most(f"memory of the bench, {STREAM_S / 60:.0f} min of stream, grew by", "MB", streamed_mb - first_mb, 1.0),
            at_most("memory of the bench, rig and fit included", "MB resident", in_use[-1], None),
            at_most("memory of the bench, grew for each further test by", "MB", (in_use[-1] - in_use[1]) / (TESTS - 2), None),
        ]
    )


if __name__ == "__main__":
    main()
