"""A rig that is left on: hours of virtual time with tests, faults and reconnects, a real record, and what must not grow.

Asked: a day. Memory, open files and threads flat; what the device sent is what the host received and what it counted as lost.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

from parts.rows import at_least, at_most, tell  # noqa: E402

from tests.service.at_station import opened  # noqa: E402
from tests.service.soaking import Flat, Soak, flat_now  # noqa: E402

TELL_EVERY_S = 3600.0
WARM_S = 1800.0  # by then everything that is imported and made once is there
MOST_GROWTH = 1.10  # of memory, over the whole soak


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=1.0, help="of virtual time (1; 24 for the figure that is asked for)")
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, opened(Path(folder)) as store:
        soak = Soak(store, chosen.seed)
        soak.connected().checked()
        soak.go_on(WARM_S)
        looked: list[tuple[float, Flat]] = [(soak.rig.now_s, flat_now())]

        def look() -> None:
            if soak.rig.now_s - looked[-1][0] >= TELL_EVERY_S:
                looked.append((soak.rig.now_s, flat_now()))
                print(told(soak, looked[-1][1]), flush=True)

        print(told(soak, looked[0][1]), flush=True)
        soak.go_on(chosen.hours * 3600.0, look)
        looked.append((soak.rig.now_s, flat_now()))
        print(told(soak, looked[-1][1]), flush=True)
        tally = soak.add_up()
        written = soak.station.close()
        left_open = sum(row.state not in ("complete", "void") for row in store.list_captures())
    print(tally)
    before, after = looked[0][1], looked[-1][1]
    hours = chosen.hours
    tell(
        [
            at_least(f"soak of {hours:g} virtual hours: tests", "tests", tally.tests, None),
            at_most("  memory in use at the end, of that after half an hour", "×", after.rss_mb / before.rss_mb, MOST_GROWTH),
            at_most("  blocks of the allocator likewise", "×", after.allocated_blocks / before.allocated_blocks, MOST_GROWTH),
            at_most("  files opened more", "files", after.files - before.files, 0),
            at_most("  threads more", "threads", after.threads - before.threads, 0),
            at_most("  counters that do not add up", "", 0 if tally.adds_up else 1, 0),
            at_most("  failures of the program", "kinds", len(tally.failed), 0),
            at_most("  tests left open or not written", "tests", left_open + (not written), 0),
        ]
    )


def told(soak: Soak, flat: Flat) -> str:
    """A line of progress."""
    tally = soak.tally
    return (
        f"{soak.rig.now_s / 3600:5.2f} h: {flat.rss_mb:.1f} MB, {flat.allocated_blocks} blocks, {flat.objects} objects, "
        f"{flat.files} files, {flat.threads} threads; {tally.tests} tests, {tally.connections} connections, {tally.boots} boots, "
        f"{sum(tally.faults.values())} faults; {time.process_time():.0f} s of processor"
    )


if __name__ == "__main__":
    main()
