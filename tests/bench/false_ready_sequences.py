"""How often an opening is on the wire that should not be, in numbered random sequences of events at the toy rig. Asked: never.

Without an argument as many as the tests do; say how many you want, a million for the figure that is asked for. `--from` goes on
where an earlier run ended, `--again` does one sequence again and prints it as short as it can be made. `--broken` breaks the host
on purpose, one condition after the other, and says which sequence shows it.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

from parts.rows import at_least, at_most, tell  # noqa: E402

from tests.service import sequences  # noqa: E402
from tests.service.broken_host import BROKEN, break_it  # noqa: E402

EACH = 5_000  # sequences between two lines of progress


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("sequences", nargs="?", type=int, default=10_000)
    parser.add_argument("--from", dest="first", type=int, default=0, metavar="NUMBER")
    parser.add_argument("--again", type=int, metavar="NUMBER")
    parser.add_argument("--broken", action="store_true")
    chosen = parser.parse_args()
    sequences.prepare()
    if chosen.again is not None:
        show(sequences.shortest(chosen.again))
    elif chosen.broken:
        break_each(chosen.sequences)
    else:
        survey(chosen.first, chosen.sequences)


def show(found: sequences.Found) -> None:
    print(f"sequence {found.number}: {found.began}; {', '.join(found.acts)}")
    for wrong in found.wrong or ["nothing wrong"]:
        print(f"    {wrong}")


def survey(first: int, many: int) -> None:
    """Do so many and tell the figures."""
    seen, began_s = sequences.Survey(), time.process_time()
    for number in range(first, first + many):
        found = sequences.do(number)
        seen.add(found)
        if found.wrong:
            show(sequences.shortest(number))
        if seen.sequences % EACH == 0 or seen.sequences == many:
            each_ms = (time.process_time() - began_s) / seen.sequences * 1e3
            opens = f"{sum(seen.opens.values())} openings in {seen.with_air} of them, {seen.refused} refusals"
            print(f"{seen.sequences} of {many}: {len(seen.wrong)} wrong, {opens}, {each_ms:.1f} ms each", flush=True)
    print(f"openings by kind: {dict(sorted(seen.opens.items()))}")
    print(f"right by all that the rig can show, wrong by a person's false word: {dict(seen.by_word)}")
    print(f"with a coupling that slipped so that no sensor shows it: {seen.by_slip} sequences")
    per_ms = (time.process_time() - began_s) / many * 1e3
    tell(
        [
            at_most(f"wrong openings, {many} random event sequences", "openings", len(seen.wrong), 0),
            at_least("  openings on the wire in them", "openings", sum(seen.opens.values()), None),
            at_most("  processor time each", "ms", per_ms, None),
        ]
    )


def break_each(most: int) -> None:
    """Which sequence shows each thing that is broken on purpose."""
    unseen = []
    for broken in BROKEN:
        with pytest.MonkeyPatch.context() as patch:
            break_it(broken, patch)
            found = next((found for found in map(sequences.do, range(most)) if found.wrong), None)
        print(f"{broken}: {'NOT SEEN' if found is None else f'sequence {found.number}, {found.wrong[0]}'}", flush=True)
        unseen += [broken] if found is None else []
    tell([at_most(f"broken conditions that {most} sequences do not show", f"of {len(BROKEN)}", len(unseen), 0)])


if __name__ == "__main__":
    main()
