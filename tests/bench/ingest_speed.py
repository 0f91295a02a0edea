"""From octets to the record, without a window: decoder, session, reducer, everything that decides, and a file on the disk.

The simulated rig streams in virtual time into a bench as the commands have it, reads of 15 ms; what the rig's own computing takes
is taken off. The fit of a test, which the window's program has done by another process, is in it. "Lost" is counted in the record:
samples that are missing between the first and the last of a test, and between what was sent and what was taken.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as cli.main does


import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from borewright.service import acts
from parts.rows import Row, at_least, at_most, tell
from parts.timed_bench import TimedBench

RATES_HZ = (1000, 10_000)
CYLINDER = 4
VENTED_S = 30.0


def span(timed: TimedBench, what: Callable[[], object]) -> tuple[float, float, float]:
    """Seconds of the stream, of the host's processor and of its clock that something takes."""
    port = timed.port
    stream_s, rig_s, rig_clock_s = port.monotonic(), port.rig_s, port.rig_clock_s
    began_s, began_clock_s = time.process_time(), time.perf_counter()
    what()
    host_s, clock_s = time.process_time() - began_s, time.perf_counter() - began_clock_s
    return port.monotonic() - stream_s, host_s - (port.rig_s - rig_s), clock_s - (port.rig_clock_s - rig_clock_s)


def lost(timed: TimedBench) -> int:
    """Samples that did not come into the record, and frames that could not be used."""
    timed.writer.drain()
    counters = timed.bench.counters
    missing = counters.lost_blocks + counters.bad_frames
    captures = timed.store.list_captures()
    if not captures:
        raise SystemExit("nothing was recorded; there is nothing to count")
    for capture in captures:
        columns = timed.store.load_capture(capture.id).columns
        missing += int(columns.index[-1] - columns.index[0]) + 1 - len(columns)
        missing += int(np.count_nonzero(np.diff(columns.index) != 1))
    track = timed.bench.state.session.track
    if track is None or track.index is None:
        raise SystemExit("the rig did not stream")
    streamed_s = timed.port.monotonic()
    if track.index < 0.98 * streamed_s * timed.bench.state.session.rate_hz - timed.bench.state.session.rate_hz:
        raise SystemExit("the rig sent fewer samples than it was asked for")
    return missing


def main() -> None:
    """Print the table."""
    rows: list[Row] = []
    print(f"{'':28}{'stream':>10}{'processor':>12}{'of a core':>12}{'× real time':>14}{'by the clock':>14}{'lost':>6}")
    for rate_hz in RATES_HZ:
        with tempfile.TemporaryDirectory() as folder, TimedBench(Path(folder), rate_hz) as timed:
            timed.person.wait(2.0)
            parts = {
                "vented": span(timed, lambda: timed.person.wait(VENTED_S)),
                "checks of the rig": span(timed, timed.check_rig),
                "test, fit and store": span(timed, lambda: timed.person.carry_out(acts.Purpose("test", CYLINDER))),
            }
            missing = lost(timed)
        parts["all"] = tuple(map(sum, zip(*parts.values(), strict=True)))  # type: ignore[assignment]
        for name, (stream_s, host_s, clock_s) in parts.items():
            print(
                f"{f'{rate_hz} Hz, {name}':28}{stream_s:8.1f} s{host_s:10.2f} s{host_s / stream_s:12.2%}"
                f"{stream_s / host_s:14.1f}{stream_s / clock_s:14.1f}{missing if name == 'all' else '':>6}"
            )
        stream_s, host_s, clock_s = parts["test, fit and store"]
        rows += [
            at_least(f"ingest of a test with its record, {rate_hz} Hz, by the processor", "× real time", stream_s / host_s, 15.0),
            at_least(f"ingest of a test with its record, {rate_hz} Hz, by the clock", "× real time", stream_s / clock_s, None),
            at_most(f"lost in all of it, {rate_hz} Hz", "samples and frames", missing, 0.0),
        ]
        if rate_hz == RATES_HZ[0]:
            whole_s, of_it_s, _ = parts["all"]
            rows.append(at_most("processor for a stream of 1 kHz, without a window", "% of a core", 100.0 * of_it_s / whole_s, 5.0))
    tell(rows)


if __name__ == "__main__":
    main()
