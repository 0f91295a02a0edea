"""From the octets of a trouble read to the command that shuts and vents written: what the host takes, with a test under way.

Air is on, a capture is recorded. Then one read holds what must end it: the crank leaves its window, a pressure passes its limit,
the device tells of a fault, a block is missing, the switch is let go. The state is put back after each, so that each trial meets
the same capture. Measured from the return of the read to the write that holds the shut or the vent, by the clock and of the
processor; on the computer as it is, and beside two processes that do nothing but compute.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as cli.main does


sys.path.insert(0, str(Path(__file__).resolve().parent))

from borewire.codec import Decoder, encode
from borewire.messages import BlockFlags, FaultCode, FaultEvent, HoldEvent, HoldState, SampleBlock, SupplyShut, VentOpen
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.guide import next_step
from borewright.service.state import BenchState
from parts.rows import Row, at_most, tell
from parts.timed_bench import TimedBench, TimedPort

TRIALS = 150  # of each trouble
ASKED_MS = 20.0
CYLINDER = 4
BLOCK = 8
BUSY = f"import os\nwhile os.getppid() == {os.getpid()}: sum(range(10000))\n"


class ProbePort(TimedPort):
    """A port that can hand over octets of ours, and knows when it did, and when the shut or the vent was written."""

    octets_to_come = b""
    began: tuple[float, float] | None = None
    took: tuple[float, float] | None = None  # by the clock, of the processor; s

    def read(self, size: int = 1) -> bytes:
        """What was prepared, else what the rig says."""
        if not self.octets_to_come:
            return super().read(size)
        data, self.octets_to_come = self.octets_to_come, b""
        self.took, self.began = None, (time.perf_counter(), time.thread_time())
        return data

    def write(self, data: bytes) -> int:
        """While a trial is on nothing reaches the rig: it goes on where it stood."""
        if self.began is None:
            return super().write(data)
        now = time.perf_counter(), time.thread_time()
        if self.took is None and any(isinstance(said, SupplyShut | VentOpen) for said in Decoder("device").feed(data)):
            self.took = now[0] - self.began[0], now[1] - self.began[1]
        return len(data)


def troubles(state: BenchState) -> dict[str, bytes]:
    """What may come in the next read, by what it is."""
    track, opening, transducers = state.session.track, state.opening, state.transducers
    if track is None or opening is None or transducers is None or None in (track.sequence, track.tick, track.index):
        raise SystemExit("air is not on; there is nothing to time")
    raw = [100] * (state.recent[-1].raw.shape[0])
    high = [*raw]
    high[transducers.regulated_channel] = min(
        transducers.raw_max, transducers.regulated.raw_at(1.3 * state.regulated_range_gauge_pa[1])
    )
    count = state.recent[-1].crank_count[-1].item()

    def block(after: int, crank_count: int, words: list[int]) -> bytes:
        samples = (crank_count.to_bytes(4, "little", signed=True) + b"".join(w.to_bytes(2, "little") for w in words)) * BLOCK
        return encode(
            SampleBlock(
                (track.sequence + after) & 0xFFFF,
                (track.tick + 8000 * after) & 0xFFFFFFFF,
                (track.index + 8 * after) & 0xFFFFFFFF,
                BlockFlags.SUPPLY_OPEN,
                BLOCK,
                len(words),
                samples,
            )
        )

    still = [int(word) for word in state.recent[-1].raw[:, -1]]
    tick = track.tick & 0xFFFFFFFF
    return {
        "the crank leaves its window": block(1, opening.high_count + 5, still),
        "over-pressure": block(1, count, high),
        "a fault of the device": block(1, count, still) + encode(FaultEvent(tick, FaultCode.SENSOR_REGULATED_RANGE, 0)),
        "a missing block": block(3, count, still),
        "the switch is let go": block(1, count, still) + encode(HoldEvent(tick, HoldState.RELEASED)),
    }


def trials(timed: TimedBench, port: ProbePort) -> dict[str, list[tuple[float, float]]]:
    """Clock and processor of each trial, s, by trouble."""
    saved = timed.bench.state
    found: dict[str, list[tuple[float, float]]] = {}
    for name, octets in troubles(saved).items():
        found[name] = []
        for _ in range(TRIALS):
            timed.bench.state = saved
            port.octets_to_come = octets
            timed.bench.turn()
            if port.took is None:
                raise SystemExit(f"{name}: neither shut nor vent was written")
            found[name].append(port.took)
            port.began = None
    timed.bench.state = saved
    return found


def percentile(values: list[float], share: float) -> float:
    """The value that this share of them does not pass."""
    return sorted(values)[min(len(values) - 1, int(share * len(values)))]


def main() -> None:
    """Print the table."""
    rows: list[Row] = []
    print(f"{'':64}{'clock p50':>11}{'p99':>8}{'most':>8}{'processor p50':>15}{'p99':>8}   ms")
    with tempfile.TemporaryDirectory() as folder, TimedBench(Path(folder), 1000, ProbePort) as timed:
        port = timed.port
        timed.check_rig()
        timed.bench.act(acts.SetPurpose(acts.Purpose("test", CYLINDER)))
        while timed.bench.state.readiness.state is not State.FILLING:
            timed.person.follow(next_step(timed.bench.state))
        timed.person.wait(3.0)
        for load in (0, 2):
            busy = [subprocess.Popen([sys.executable, "-c", BUSY]) for _ in range(load)]
            try:
                found = trials(timed, port)
            finally:
                for process in busy:
                    process.kill()
                    process.wait()
            where = f"{load} busy processes beside it" if load else f"as the computer is (load {os.getloadavg()[0]:.0f})"
            for name, times in found.items():
                clock_ms, cpu_ms = ([1000.0 * one[k] for one in times] for k in (0, 1))
                figures = percentile(clock_ms, 0.5), percentile(clock_ms, 0.99), max(clock_ms)
                print(
                    f"{f'{name}, {where}':64}{figures[0]:11.2f}{figures[1]:8.2f}{figures[2]:8.2f}"
                    f"{percentile(cpu_ms, 0.5):15.2f}{percentile(cpu_ms, 0.99):8.2f}"
                )
            every = [one for times in found.values() for one in times]
            for k, by in enumerate(("by the clock", "by the processor")):
                p99_ms = 1000.0 * percentile([one[k] for one in every], 0.99)
                asked = ASKED_MS if k else None  # what is asked is of the host's own processing
                rows.append(at_most(f"byte read to shut written, {where}, {by}", "ms, p99", p99_ms, asked))
    tell(rows)


if __name__ == "__main__":
    main()
