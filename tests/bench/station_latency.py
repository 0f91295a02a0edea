"""From a byte read to its figure in the snapshot that is left for the screen, and what the station's thread costs of a core.

Wanted: 100 ms at 99 % from the byte to the screen, of which this is all but the drawing. The simulated rig is in memory, paced by
the clock, so its own computing is in the thread too; it is measured apart and taken off.
"""

from __future__ import annotations

import argparse
import tempfile
import threading
import time
from dataclasses import replace
from pathlib import Path

from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewright.link import Endpoint
from borewright.service.station import Station
from borewright.service.workers import Workers
from borewright.store.store import Store
from parts.rows import at_most, tell

SECONDS = 20.0
LOOK_S = 0.0005  # how often the one who looks does so; the delay is known no better
RATES_HZ = (1000, 10_000)


class PacedEnd:
    """The rig's cable in real time. reads: when octets were handed over; rig_s: processor time that the rig itself took."""

    def __init__(self, rig: SimRig) -> None:
        self.timeout: float | None = 0.015
        self.reads: list[float] = []
        self.rig_s = 0.0
        self.thread_s = 0.0
        self._port = SimEndpoint(rig, timeout=0.0)
        self._began_s = time.monotonic() - rig.now_s

    def read(self, size: int, /) -> bytes:
        """As a serial port does: wait for the timeout, unless enough is there."""
        time.sleep(self.timeout or 0.0)
        begun_s = time.thread_time()
        late_s = time.monotonic() - self._began_s - self._port.rig.now_s
        if late_s > 0.0:
            self._port.rig.advance(late_s)
        data = self._port.read(size)
        self.thread_s = time.thread_time()
        self.rig_s += self.thread_s - begun_s
        if data:
            self.reads.append(time.monotonic())
        return data

    def write(self, data: bytes, /) -> int:
        """Hand over at once."""
        begun_s = time.thread_time()
        written = self._port.write(data)
        self.rig_s += time.thread_time() - begun_s
        return written

    def close(self) -> None:
        """Close the port."""
        self._port.close()

    def monotonic(self) -> float:
        """The computer's clock."""
        return time.monotonic()


class PacedSource:
    """The simulated rig at its own pace."""

    name = "paced rig"

    def __init__(self) -> None:
        self.end: PacedEnd | None = None
        scenario = load_scenario("hillclimb-before")
        device = replace(scenario.rig.device, max_rate_hz=max(RATES_HZ))  # the reference rig itself gives 2 kHz at most
        self._rig = SimRig(replace(scenario, rig=replace(scenario.rig, device=device)))

    def open(self) -> Endpoint:
        """Its only port."""
        self.end = PacedEnd(self._rig)
        return self.end

    def view(self) -> object | None:
        """Nothing is looked at."""
        return None

    def do(self, words: str) -> str:
        """Nothing is done."""
        return f"no: {words}"


def watched(station: Station, seconds: float) -> list[tuple[float, float]]:
    """When each snapshot could be seen, and when its newest samples had been read."""
    pause = threading.Event()
    seen: list[tuple[float, float]] = []
    until_s = time.monotonic() + seconds
    number = -1
    while (now_s := time.monotonic()) < until_s:
        snapshot = station.snapshot()
        if snapshot.number != number:
            number = snapshot.number
            seen.append((now_s, snapshot.read_at_s))
        pause.wait(LOOK_S)
    return seen


def delays(reads: list[float], seen: list[tuple[float, float]]) -> list[float]:
    """For each read, until the first snapshot that has it."""
    found: list[float] = []
    at = 0
    for read_s in reads:
        while at < len(seen) and seen[at][1] < read_s:
            at += 1
        if at == len(seen):
            break
        found.append(seen[at][0] - read_s)
    return found


def measured(rate_hz: int, seconds: float, folder: Path) -> tuple[list[float], float, float, float, int]:
    """Delays in s; shares of a core of the station and of the rig; snapshots a second; samples a second."""
    with Store.open(folder / f"{rate_hz}.borewright") as store:
        workers = Workers(store.path, store, inline=True)
        station = Station(store, workers, who="bench", rate_hz=rate_hz)
        source = PacedSource()
        station.connect(source)
        watched(station, 3.0)
        end = source.end
        if end is None or station.snapshot().link.kind != "open":
            raise SystemExit(f"the rig was not met: {station.snapshot().link.words}")
        reads, rig_s, thread_s, began_s = len(end.reads), end.rig_s, end.thread_s, time.monotonic()
        newest_s = station.snapshot().state
        seen = watched(station, seconds)
        passed_s = time.monotonic() - began_s
        state = station.snapshot().state
        if state is None or newest_s is None or state.now_s - newest_s.now_s < 0.9 * passed_s:
            raise SystemExit("the rig fell behind the clock; this computer is too busy to measure on")
        rig_share = (end.rig_s - rig_s) / passed_s
        share = (end.thread_s - thread_s) / passed_s - rig_share
        samples = sum(len(part) for part in state.recent) / (state.recent[-1].t_s[-1] - state.recent[0].t_s[0])
        found = delays(end.reads[reads:], seen)
        station.close()
        workers.close()
        return found, share, rig_share, len(seen) / passed_s, round(samples)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=SECONDS)
    seconds = parser.parse_args().seconds
    print("asked for   samples/s   snapshots/s   byte to snapshot p50, p99, most (ms)   station, of a core   rig, of a core")
    with tempfile.TemporaryDirectory() as folder:
        for rate_hz in RATES_HZ:
            found, share, rig_share, rate, samples = measured(rate_hz, seconds, Path(folder))
            found.sort()
            at = [1000.0 * found[min(len(found) - 1, int(part * len(found)))] for part in (0.5, 0.99, 1.0)]
            print(
                f"{rate_hz:6} Hz {samples:11} {rate:13.0f} {at[0]:20.1f} {at[1]:6.1f} {at[2]:6.1f} {share:23.1%} {rig_share:16.1%}",
                flush=True,
            )
            tell(
                [
                    at_most(f"byte to snapshot, {rate_hz} Hz, p99 by the clock", "ms", at[1], 100.0),
                    at_most(f"the station's thread, {rate_hz} Hz", "% of a core", 100.0 * share, None),
                ]
            )


if __name__ == "__main__":
    main()
