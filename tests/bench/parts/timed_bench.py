"""A bench at the simulated rig in virtual time, with a record on the disk, that knows what the rig's own computing took."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewright.service.bench import Bench
from borewright.service.conditions_of_air import AirConditions
from borewright.service.engines import engine_from_document
from borewright.simrig.person import Person
from borewright.simrig.whole_job import check_rig
from borewright.store.store import Store
from borewright.store.writer import StoreWriter

__all__ = ["TimedBench", "TimedPort"]

SCENARIO = "hillclimb-before"
HIGHEST_RATE_HZ = 10_000  # the reference rig itself gives 2 kHz at most


class TimedPort(SimEndpoint):
    """rig_s, rig_clock_s: what the rig has taken so far of the processor and by the clock; octets: that were read."""

    rig_s = 0.0
    rig_clock_s = 0.0
    octets = 0
    reads = 0

    def read(self, size: int = 1) -> bytes:
        """Read, and keep the time that it took."""
        data: bytes = self._timed(lambda: SimEndpoint.read(self, size))
        self.octets += len(data)
        self.reads += 1
        return data

    def write(self, data: bytes) -> int:
        """Write, and keep the time that it took."""
        return int(self._timed(lambda: SimEndpoint.write(self, data)))

    def _timed(self, work: Callable[[], Any]) -> Any:
        begun_s, begun_clock_s = time.thread_time(), time.perf_counter()
        try:
            return work()
        finally:
            self.rig_s += time.thread_time() - begun_s
            self.rig_clock_s += time.perf_counter() - begun_clock_s


class TimedBench:
    """rate_hz: of samples. make_port: what stands between rig and bench."""

    def __init__(self, folder: Path, rate_hz: int, make_port: Callable[[SimRig], TimedPort] = TimedPort) -> None:
        loaded = load_scenario(SCENARIO)
        device = replace(loaded.rig.device, max_rate_hz=HIGHEST_RATE_HZ)
        scenario = replace(loaded, rig=replace(loaded.rig, device=device))
        self.engine = engine_from_document(scenario.engine_document, scenario.name)
        self.port = make_port(SimRig(scenario))
        self.store = Store.open(folder / f"{rate_hz}.db")
        self.writer = StoreWriter(self.store)
        air = scenario.ambient
        self.bench = Bench(
            self.port,
            self.writer,
            wall_clock=lambda: 1.8e9 + self.port.monotonic(),
            tell=lambda _word: None,
            engine=self.engine,
            ambient=AirConditions(air.pressure_abs_pa, air.air_k, air.engine_k),
            rate_hz=rate_hz,
        )
        engine_id = self.store.save_engine(self.engine.name, scenario.engine_document)
        self.bench.job_id = self.store.create_job("bench", "before", engine_id)
        self.person = Person(self.bench, self.port)

    def check_rig(self) -> None:
        """Zero, sealed, restrictor, true TDC."""
        check_rig(self.person, lambda _step: None, self.engine.firing_order[0])

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.bench.take_leave()
        self.writer.close()
        self.store.close()
