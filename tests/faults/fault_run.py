"""One fault of the table, played through: a station at the simulated rig, the scripted person, one test, in virtual time.

The rig's checks stand in the record already, made at a sound rig; then the fault comes at its moment.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from boresim.faults import Fault
from boresim.scenario import Scenario, Truth
from boresim.truth import plant_truth
from borewire.messages import SupplyOpen
from borewright.core.readiness_table import AIR_ON, State
from borewright.service import acts
from borewright.service.limit_files import find_limits
from borewright.service.view_test import ResultView, result_view
from borewright.simrig.person import StuckError
from borewright.store.records import EventRecord
from borewright.store.store import Store

from ..service.at_station import AtStation, opened

PATIENCE_S = 110.0
"""Virtual seconds after which the person has tried long enough; a test of a sound rig is over after half of them."""

NO_RIG_S = 15.0
VENTS_WITHIN_S = 30.0
AFTERWARDS_S = 3.0
LOOK_EVERY = 8
"""Turns of the loop from one look at the screen to the next: a quarter of a second."""

PRESSURE_PA = 20_000.0
RECORD = "shop.borewright"


@dataclass(frozen=True, slots=True)
class Numbers:
    """What was measured of one quantity, with its expanded uncertainty, and what is true in the plant."""

    quantity: str
    measured: float
    expanded: float
    true: float

    @property
    def right(self) -> bool:
        """Whether the truth lies inside."""
        return abs(self.measured - self.true) <= self.expanded


@dataclass(frozen=True, slots=True)
class FaultRun:
    """What came of one run.

    shown: all that the person was told: words, steps of the guide, the state of the link, reasons and marks of the tests. began:
    the fault has begun. refusals: what was said when air was refused. begun: tests in the record; ended: their ends in its log;
    kept, states: what the record holds of them; reported: how many the bench reported. numbers: of the last test, none of a void
    one. supplied_after: the device held its supply open after the end. left_pa: pressure at the end, where the hose is or behind
    it; warned: the screen says then that it is there. unwarned: looks at which air of the supply stood in the cylinder and the
    screen did not say so. openings: how many frames of opening the host sent.
    """

    shown: tuple[str, ...]
    began: bool
    refusals: tuple[str, ...]
    begun: int
    ended: int
    kept: tuple[ResultView, ...]
    states: tuple[str, ...]
    reported: int
    numbers: tuple[Numbers, ...]
    supplied_after: bool
    left_pa: float
    warned: bool
    unwarned: tuple[str, ...]
    openings: int

    @property
    def text(self) -> str:
        """Everything shown, one word a line."""
        return "\n".join(self.shown)


class Trial(AtStation):
    """The station with somebody who watches the plant and the screen. Make it, connect it, then play()."""

    def __init__(self, store: Store, scenario: str, seed: int, cylinder: int, fault: Fault | None) -> None:
        super().__init__(store, scenario, seed=seed)
        self._cylinder = cylinder
        self._fault = fault
        self._shown: dict[str, None] = {}
        self._unwarned: dict[str, None] = {}
        self._began = False
        self._over = False
        self._supplied_after = False
        self._turns = 0
        if fault is not None:
            self.rig.faults.arm(fault.name)

    def turn(self) -> None:
        super().turn()
        self._turns += 1
        if self._turns % LOOK_EVERY == 0:
            self._look()

    def play(self) -> None:
        """The person makes one test, or is refused, and steps back from the rig."""
        self.station.use_job(None, self.engine, self.ambient)
        self.station.connect(self.source)
        self._try()
        if not self.done and not self._capturing():
            self.person.ask_for_air()
        self._wait(lambda: not self._capturing() and not self._under_pressure(), VENTS_WITHIN_S)
        self._over = True
        self.person.let_go()
        self._wait(lambda: False, AFTERWARDS_S)
        self._look()

    def _try(self) -> None:
        self._wait(lambda: self.kind() == "open", NO_RIG_S)
        began_s, met_s = self.rig.now_s, self.rig.now_s
        self.act(acts.SetPurpose(acts.Purpose("test", self._cylinder)))
        while not self.done and self.rig.now_s - began_s < PATIENCE_S and self.rig.now_s - met_s < NO_RIG_S:
            if self.kind() != "open":
                self.turn()
                continue
            met_s = self.rig.now_s
            try:
                self.person.follow(self.step)
            except StuckError as stuck:
                self._shown[str(stuck)] = None
                return

    def _wait(self, reached: Callable[[], bool], limit_s: float) -> None:
        began_s = self.rig.now_s
        while not reached() and self.rig.now_s - began_s < limit_s:
            self.turn()

    def _capturing(self) -> bool:
        return self.snapshot.state is not None and self.snapshot.state.capture is not None

    def _under_pressure(self) -> bool:
        return self.snapshot.state is not None and self.snapshot.state.readiness.locked

    # ------------------------------------------------------------------ looking on

    def _look(self) -> None:
        seen = self.snapshot
        if seen.step is not None:
            self._shown[seen.step.text] = None
        self._shown[seen.link.words] = None
        if self._fault is not None and self._fault.name in self.rig.faults.active:
            self._began = True
        if self._over and self._supplies():
            self._supplied_after = True
        state = seen.state
        if state is not None and state.readiness.state in AIR_ON | {State.VENTED, State.READY} and not self.warned():
            pressure_pa = self.left_pa()
            if pressure_pa > PRESSURE_PA and self.rig.plant.supply_open:
                self._unwarned[f"{state.readiness.state}: {pressure_pa / 1000:.0f} kPa"] = None

    def _supplies(self) -> bool:
        plant = self.rig.plant
        return plant.supply_open if plant.hand_valves else self.rig.device.interlock.supply_open

    def warned(self) -> bool:
        """Whether the screen says that pressure is there, or may be."""
        seen = self.snapshot
        return (seen.state is not None and seen.state.readiness.locked) or (
            seen.step is not None and "undo nothing" in seen.step.text
        )

    def left_pa(self) -> float:
        """The highest gauge pressure that somebody at the engine would meet."""
        plant = self.rig.plant
        return max(plant.p_cylinder_gauge_pa, plant.p_piston_gauge_pa if isinstance(plant.hose_at, int) else 0.0)

    def result(self, store: Store) -> FaultRun:
        """What came of it; the station is closed here, so that the record holds all."""
        seen, left_pa, warned = self.snapshot, self.left_pa(), self.warned()
        refused = [word.text for word in seen.told if word.level == "refused" or word.text.startswith("nothing was done")]
        assert self.station.close()
        of, limits = self.rig.scenario.engine_document, find_limits(None)
        rows = [row for row in store.list_captures() if row.purpose == "test"]
        kept = tuple(result_view(store, row.id, of, limits) for row in rows)
        log = [event for row in rows for event in store.load_events(row.id)]
        openings = sum(isinstance(message, SupplyOpen) for end in self.source.ends for message in end.sent())
        shown = [word.text for word in self.snapshot.told if word.level != "fault"] + list(self._shown)
        for view in kept:
            shown += [*([view.void_reason] if view.void_reason else []), *view.marks]
            shown += (*view.judgement.questions, *view.judgement.before_opening) if view.judgement is not None else ()
        return FaultRun(
            shown=tuple(shown),
            began=self._began,
            refusals=tuple(refused),
            begun=len(rows),
            ended=sum(_ends(event) for event in log),
            kept=kept,
            states=tuple(row.state for row in rows),
            reported=len(self.snapshot.done),
            numbers=self._numbers(kept[-1]) if kept else (),
            supplied_after=self._supplied_after,
            left_pa=left_pa,
            warned=warned,
            unwarned=tuple(self._unwarned),
            openings=openings,
        )

    def _numbers(self, view: ResultView) -> tuple[Numbers, ...]:
        figures = view.figures
        if view.void_reason is not None or figures is None:
            return ()
        true = truth_of(self.rig.plant.scenario, self._cylinder)
        found = (
            ("leakage", figures.leakage_percent, true.leakage_percent),
            ("leak area", figures.leak_area_m2 * 1e6, true.leak_area_m2 * 1e6),
        )
        stated = figures.stated  # a number without an uncertainty says that it is exactly so
        return tuple(Numbers(name, value, stated[name].expanded if name in stated else 0.0, so) for name, value, so in found)


def _ends(event: EventRecord) -> bool:
    """Whether this is the moment at which a test was over: the way from air on to air off."""
    before, after = event.detail.get("before"), event.detail.get("after")
    return event.kind == "readiness" and before in AIR_ON and after not in AIR_ON


_TRUTHS: list[tuple[Scenario, dict[int, Truth]]] = []


def truth_of(scenario: Scenario, cylinder: int) -> Truth:
    """The plant's truth; worked out once for each scenario."""
    for known, truths in _TRUTHS:
        if known == scenario:
            return truths[cylinder]
    _TRUTHS.append((scenario, plant_truth(scenario)))
    return _TRUTHS[-1][1][cylinder]


class Records:
    """Records that hold all checks of a scenario's rig, made by the procedures at the sound rig; made once for each rig."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def of(self, scenario: str, seed: int) -> Path:
        """The folder with the record of this rig. Not to be changed: play() takes a copy."""
        folder = self._folder / f"{scenario}-{seed}"
        if not folder.exists():
            folder.mkdir()
            with opened(folder) as store:
                at = AtStation(store, scenario, seed=seed).connected().checked()
                assert at.station.close()
        return folder


def play(scenario: str, seed: int, cylinder: int, fault: Fault | None, records: Records, folder: Path) -> FaultRun:
    """One run in an empty folder, with a fault or without any."""
    shutil.copy(records.of(scenario, seed) / RECORD, folder / RECORD)
    with opened(folder) as store:
        trial = Trial(store, scenario, seed, cylinder, fault)
        trial.play()
        return trial.result(store)
