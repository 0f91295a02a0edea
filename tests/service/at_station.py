"""A station at the simulated rig, in virtual time and without a thread, with the scripted person before it."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from dataclasses import replace
from math import inf
from pathlib import Path

from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder
from borewire.messages import SupplyOpen, ToDevice, VentOpen
from borewright.core.engine import Engine
from borewright.core.readiness_table import State
from borewright.errors import LinkError
from borewright.link import Endpoint
from borewright.service import acts
from borewright.service.conditions_of_air import AirConditions
from borewright.service.engines import engine_from_document
from borewright.service.guide import Step
from borewright.service.snapshot import DoneView, Snapshot, Told
from borewright.service.state import BenchState
from borewright.service.station import Station
from borewright.service.workers import Workers
from borewright.simrig.person import Person
from borewright.store.store import Store

UNIX_S = 1.8e9
ORIFICE_M2 = 0.8e-6
CAPPED = acts.Purpose("sealed")  # the quickest way to air: nothing has to be squeezed


class TappedEnd(SimEndpoint):
    """An end of the rig's cable that can be made to fail, and keeps what the host sent."""

    def __init__(self, rig: SimRig) -> None:
        super().__init__(rig)
        self.told = bytearray()
        self.fault: Exception | None = None

    def read(self, size: int = 1) -> bytes:
        if self.fault is not None:
            raise self.fault
        return super().read(size)

    def write(self, data: bytes) -> int:
        self.told += data
        return super().write(data)

    def sent(self) -> list[ToDevice]:
        return [message for message in Decoder("device").feed(bytes(self.told)) if isinstance(message, ToDevice)]


class SimSource:
    """The simulated rig as a source. ends: every endpoint that was opened; hold_switch, seed: None: as the scenario says."""

    name = "the simulated rig"

    def __init__(self, scenario: str, *, hold_switch: bool | None = None, seed: int | None = None) -> None:
        of = load_scenario(scenario, seed)
        self.rig = SimRig(of if hold_switch is None else replace(of, rig=replace(of.rig, hold_switch=hold_switch)))
        self.ends: list[TappedEnd] = []

    def open(self) -> Endpoint:
        if not self.rig.plugged:
            self.rig.advance(0.032)
            raise LinkError("there is no port of the simulated rig; plug it in")
        self.ends.append(TappedEnd(self.rig))
        return self.ends[-1]

    def view(self) -> object | None:
        return self.rig.operator.busy

    def do(self, words: str) -> str:
        return self.rig.operator.do(words)


class AtStation:
    """The station as the scripted person knows a bench: turn, act, state, done."""

    def __init__(
        self,
        store: Store,
        scenario: str = "hillclimb-after",
        workers: Workers | None = None,
        *,
        hold_switch: bool | None = None,
        clock: Callable[[], float] = time.monotonic,
        unseen_s: float = inf,
        seed: int | None = None,
    ) -> None:
        self.store = store
        self.source = SimSource(scenario, hold_switch=hold_switch, seed=seed)
        self.rig = self.source.rig
        self.station = Station(
            store,
            workers or Workers(store.path, store, inline=True),
            wall_clock=lambda: UNIX_S + self.rig.now_s,
            clock=clock,
            unseen_s=unseen_s,
            threaded=False,
            who="tester",
        )
        of = self.rig.plant.scenario
        self.engine: Engine = engine_from_document(of.engine_document, of.name)
        self.ambient = AirConditions(of.ambient.pressure_abs_pa, of.ambient.air_k, of.ambient.engine_k)
        self.person = Person(self, SimEndpoint(self.rig))  # type: ignore[arg-type]  # what a person needs of a bench

    def connected(self) -> AtStation:
        self.station.use_job(None, self.engine, self.ambient)
        self.station.connect(self.source)
        self.until_open()
        return self

    def until_open(self) -> None:
        for _ in range(1000):
            if self.kind() == "open":
                return
            self.turn()
        raise AssertionError(f"the rig was not met: {self.snapshot.link.words}")

    def checked(self, *, tdc: bool = True) -> AtStation:
        """The rig with all that a test needs, made by the procedures."""
        self.person.wait(2.5)
        self.person.take_zero()
        self.person.carry_out(acts.Purpose("sealed"))
        self.person.carry_out(acts.Purpose("restrictor", orifice_area_m2=ORIFICE_M2))
        self.person.at_the_rig("hose off")
        if tdc:
            self.person.find_true_tdc(1)
        return self

    def turn(self) -> None:
        self.station.turn()

    def turns(self, count: int) -> None:
        for _ in range(count):
            self.turn()

    def act(self, act: acts.Act) -> None:
        self.station.tell(act)
        self.turn()

    @property
    def snapshot(self) -> Snapshot:
        return self.station.snapshot()

    @property
    def state(self) -> BenchState:
        state = self.snapshot.state
        assert state is not None
        return state

    @property
    def step(self) -> Step:
        step = self.snapshot.step
        assert step is not None
        return step

    # asked anew each time, for what a property gives is taken to be as it was

    def kind(self) -> str:
        return self.snapshot.link.kind

    def pressurised(self) -> bool:
        return self.state.pressurised

    def captures(self) -> tuple[DoneView, ...]:
        return self.done

    @property
    def done(self) -> tuple[DoneView, ...]:
        return self.snapshot.done

    def told(self, level: str) -> list[str]:
        return [word.text for word in self.snapshot.told if word.level == level]

    def last_told(self) -> Told:
        return self.snapshot.told[-1]

    def openings(self) -> int:
        return sum(isinstance(message, SupplyOpen) for end in self.source.ends for message in end.sent())

    def vents(self, end: int) -> int:
        return sum(isinstance(message, VentOpen) for message in self.source.ends[end].sent())


def opened(tmp_path: Path) -> Store:
    """A record whose dates are those of the rig."""
    return Store.open(tmp_path / "shop.borewright", clock=lambda: UNIX_S)


def until_air(at: AtStation, purpose: acts.Purpose = CAPPED) -> None:
    """Follow the guide until full pressure is on."""
    at.act(acts.SetPurpose(purpose))
    while at.state.readiness.state is not State.FILLING:
        at.person.follow(at.step)


def kept_by_record(store: Store) -> list[tuple[str, str | None]]:
    """State and reason of the captures that came after those of the shop's checks."""
    with sqlite3.connect(store.path) as file:
        return file.execute("SELECT state, void_reason FROM captures ORDER BY id").fetchall()[2:]
