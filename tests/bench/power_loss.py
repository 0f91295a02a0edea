"""500 captures that a power cut ends, and 500 that a kill ends, at seeded moments: how many records open, and what they lack.

Below SQLite all writes of real captures through the store are logged, and the files are made from the log as a disk could hold
them at one moment: what was not synced lost, kept, kept sector by sector at random, torn, or torn with a sector of rubbish. A kill
ends the recording process in the middle of a write, or between two instructions. `tests/store/cut_runs.py` says how.

python3 tests/bench/power_loss.py [--captures N] [--seed N]
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from parts.rows import Row, at_least, at_most, tell
from store.cut_runs import Opened, cuts_at_birth, kills, power_cuts

MOST_LOST_S = 1.0


def rows_of(what: str, runs: list[Opened]) -> list[Row]:
    """What a kind of cut has left behind, printed in full and as rows."""
    sound = [run for run in runs if not run.trouble]
    print(f"{what}: {len(sound)} of {len(runs)} open and are as they have to be; " + of_each(runs))
    for run in runs:
        if run.trouble:
            print(f"  {run.left} at {run.at_s:.1f} s: {run.trouble}")
    return [
        at_least(f"records that open after {what}", f"of {len(runs)}", len(sound), len(runs)),
        at_most(f"lost at most by {what}", "s of one capture", max(run.lost_s for run in runs), MOST_LOST_S),
    ]


def of_each(runs: list[Opened]) -> str:
    """How often each kind of remains came up."""
    return ", ".join(f"{count} {left}" for left, count in sorted(Counter(run.left for run in runs).items()))


def main() -> int:
    """All three kinds; 1 where a record did not open or too much is missing."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--captures", type=int, default=500, help="how many of each kind (%(default)s)")
    parser.add_argument("--seed", type=int, default=11, help="of all that is drawn (%(default)s)")
    chosen = parser.parse_args()
    with TemporaryDirectory() as folder:
        where = Path(folder)
        rows = [
            *rows_of("a power cut in a capture", list(power_cuts(where, chosen.captures, chosen.seed))),
            *rows_of("a power cut while the file is made", list(cuts_at_birth(where, chosen.captures, chosen.seed))),
            *rows_of("a kill in a capture", list(kills(where, chosen.captures, chosen.seed))),
        ]
    tell(rows)
    return 0 if all(row.reached for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
