"""Random runs at the whole simulated rig, numbered: engine, person, mistakes and faults; each opening is held against the plant.

The reducer is driven as the bench drives it, without a record; a run begins with the rig's checks known and ends with full pressure
on for a second, or when it cannot get on.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cache
from math import pi, radians, sin, sqrt
from random import Random
from typing import Any

from boresim.electrical_faults import Slip
from boresim.faults import FAULTS, Moment, fault_named
from boresim.rig import SimRig
from boresim.scenario import Scenario, load_scenario
from borewire.codec import Decoder, encode
from borewire.messages import SupplyOpen
from borewright.core.readiness_table import State
from borewright.core.rig import RigCheck, RigSetup, TrueTdc
from borewright.service import acts
from borewright.service.effects import AirRefused, Analyse, Say, Send
from borewright.service.engines import engine_from_document
from borewright.service.facts import degrees_from_reference_tdc
from borewright.service.guide import Step, next_step
from borewright.service.reducer import CheckGiven, Event, FromWire, HostTick, step
from borewright.service.state import BenchState
from borewright.session.session import Phase, Session
from borewright.simrig.person import Person, StuckError

__all__ = ["MISTAKES", "Run", "Survey", "do", "run"]

SCENARIOS = (
    "hillclimb-before",
    "hillclimb-after",
    "worn-rings-one-bore",
    "v-twin-uneven",
    "two-stroke-single",
    "lime-eight",
    "gasket-between-neighbours",
    "burnt-exhaust-valve",
)
RATE_HZ = 250
BLOCK = 25
U_TDC_DEG = 0.1
SEES_DEG = 2.0  # by which the crank's own mark is seen to be off
LONGEST_S = 90.0
FILLED_S = 1.0
HIGHEST_PA = 620_528.2
UNIX_S = 1.8e9

MISTAKES = {
    "none": 6,
    "wrong hole": 3,
    "wrong hole, read back as asked": 2,
    "overlap": 2,
    "off TDC": 3,
    "turned before air": 3,
    "turned in the countdown": 3,
    "hurry": 2,
    "asks while turning": 1,
    "slips before the squeeze": 3,
    "slips after the squeeze": 2,
    "slips under the puff": 1,
    "power off": 1,
    "cable out": 1,
}
"""What goes wrong at the hands of people, or by the coupling, and how often, relative to the others."""


class Port:
    """What the person knows of the port: the rig and its time."""

    def __init__(self, rig: SimRig) -> None:
        self.rig = rig

    def monotonic(self) -> float:
        return self.rig.now_s


@dataclass(frozen=True)
class Opening:
    """One SupplyOpen on the wire, and what the plant said to it."""

    at_s: float
    kind: str
    wrong: tuple[str, ...]


class RigBench:
    """The reducer at the simulated rig, as the scripted person knows a bench."""

    def __init__(self, scenario: Scenario, seed: int, read_s: float) -> None:
        self.rig = SimRig(scenario, seed)
        self.port = Port(self.rig)
        self.engine = engine_from_document(scenario.engine_document, scenario.name)
        sign = scenario.rig.encoder.sign
        self.state = BenchState(
            Session(0.0, RATE_HZ, BLOCK), RigSetup(running_sign=sign), engine=self.engine, unix_minus_device_s=UNIX_S
        )
        self.done: list[Analyse] = []
        self.opened: list[Opening] = []
        self.refused: list[AirRefused] = []
        self.said: list[Say] = []
        self.before_turn: list[Any] = []
        self._read_s = read_s
        self._decoder = Decoder("host")
        self._full_since_s: float | None = None

    # ------------------------------------------------------------------ the loop

    def turn(self) -> None:
        self.rig.advance(self._read_s)
        data = self.rig.transmit()
        if data:
            self._step(FromWire(tuple(self._decoder.feed(data)), len(data)))
        self._step(HostTick())
        for hook in tuple(self.before_turn):
            if hook():
                self.before_turn.remove(hook)
        if self.over:
            raise OverError

    @property
    def over(self) -> bool:
        """Full pressure has been on long enough, or it takes too long."""
        if self.state.readiness.state is State.FILLING and self._full_since_s is None:
            self._full_since_s = self.rig.now_s
        full = self._full_since_s is not None and self.rig.now_s - self._full_since_s > FILLED_S
        return full or self.rig.now_s > LONGEST_S or self.state.session.phase is Phase.REFUSED or bool(self.done)

    def act(self, act: acts.Act) -> None:
        self._step(act)

    def _step(self, event: Event) -> None:
        self.state, effects = step(self.state, event, self.rig.now_s)
        for effect in effects:
            match effect:
                case Send(message):
                    if isinstance(message, SupplyOpen):
                        self._judge(message)
                    self.rig.receive(encode(message))
                case AirRefused():
                    self.refused.append(effect)
                case Say():
                    self.said.append(effect)
                case Analyse():
                    self.done.append(effect)
                case _:
                    pass

    # ------------------------------------------------------------------ the truth

    def _judge(self, message: SupplyOpen) -> None:
        new = not self.opened or message.opening_id != self._last_id
        self._last_id = message.opening_id
        full = self.state.readiness.state in (State.FILLING, State.HOLDING)
        kind = ("full" if full else "puff") if new else "renewal"
        self.opened.append(Opening(self.rig.now_s, kind, tuple(self.wrong_now())))

    _last_id = 0

    def off_deg(self, cylinder: int) -> float:
        """How far the true crank stands after the true compression TDC of a cylinder."""
        engine = self.rig.scenario.engine
        cycle = engine.cycle_deg
        return (self.rig.plant.crank_deg - engine.firing_angles_deg[cylinder] + cycle / 2) % cycle - cycle / 2

    def wrong_now(self) -> list[str]:
        """What is wrong with air now: another hole, another stroke, or a crank that gas could turn."""
        cylinder, plant, engine = self.state.purpose.cylinder, self.rig.plant, self.engine
        off, wrong = self.off_deg(cylinder), []
        at = radians(min(90.0, abs(off)))
        crank_m = engine.stroke_m / 2.0
        lever_m = crank_m * sin(at) * (1.0 + crank_m * sqrt(max(0.0, 1.0 - sin(at) ** 2)) / engine.rod_m)
        torque_nm = HIGHEST_PA * pi / 4.0 * engine.bore_m**2 * lever_m
        if abs(off) > 90.0:
            wrong.append(f"the stroke is the wrong one: {off:.0f} degrees from compression TDC")
        elif torque_nm > 0.5 * (self.state.holding_torque_nm or 0.0):
            wrong.append(f"the crank stands {off:.1f} degrees from TDC and gas can turn it with {torque_nm:.0f} N·m")
        if plant.hose_at != cylinder:
            wrong.append(f"the hose is at {plant.hose_at}, not {cylinder}")
        return wrong


class OverError(Exception):
    """The run is over."""


class RandomPerson(Person):
    """The scripted person with one mistake in him."""

    def __init__(self, bench: RigBench, rng: Random, mistake: str) -> None:
        super().__init__(bench, bench.port)  # type: ignore[arg-type]  # what a person needs of bench and port
        self._rig_bench, self._rng, self._mistake = bench, rng, mistake
        self._made = False

    def follow(self, step: Step) -> None:
        bench, rng = self._rig_bench, self._rng
        if step.key == "turn_to_tdc" and not self._made and self._mistake in ("overlap", "off TDC"):
            self._made = True
            off_deg = 360.0 if self._mistake == "overlap" else rng.choice((-1.0, 1.0)) * rng.uniform(0.5, 40.0)
            self.turn_to_tdc(off_deg)
        elif step.key == "confirm_fitting":
            shown_deg = degrees_from_reference_tdc(bench.state)
            tdc = bench.state.tdc
            true_deg = bench.off_deg(tdc.reference_cylinder) if tdc is not None else 0.0
            apart_deg = abs(((shown_deg or 0.0) - true_deg + 180.0) % 360.0 - 180.0)
            if apart_deg > SEES_DEG:
                raise StuckError("the crank's mark does not agree; true TDC has to be found again")
            super().follow(step)
        elif step.key == "read_back_hose" and self._mistake == "wrong hole, read back as asked":
            self.tell(acts.ReadBackHose(bench.state.purpose.cylinder))
            self.wait(0.1)
        elif step.key == "confirm_people" and self._mistake == "hurry":
            self.promise_all()
            self.tell(acts.AskAir())
        elif step.key == "give_air" and not self._made and self._mistake in ("turned before air", "turned in the countdown"):
            self._made = True
            if self._mistake == "turned in the countdown":
                super().follow(step)
                self.wait(rng.uniform(0.0, 2.9))
            self._nudge()
            super().follow(step)
        elif step.key == "give_air" and self._mistake == "asks while turning" and not self._made:
            self._made = True
            self.ask_for_air_while_turning(rng.choice((-30.0, 5.0, 90.0)))
        else:
            super().follow(step)

    def _nudge(self) -> None:
        """Somebody takes the restraint off, moves the crank, and puts it on again."""
        turn_deg = self._rng.choice((-1.0, 1.0)) * self._rng.choice((0.5, 2.0, 8.0, 30.0, 360.0))
        for words in ("restrain off", f"turn {turn_deg:+g} rpm {self._rng.choice((2.0, 20.0))}", "restrain 40"):
            self._rig_bench.rig.operator.do(words)
        if self._rng.random() < 0.5:
            self.wait_until(lambda: not self._rig_bench.rig.operator.busy)


@dataclass
class Run:
    """What came of one run. wrong: what the plant says against each opening that was wrong."""

    number: int
    scenario: str
    cylinder: int
    mistake: str
    faults: tuple[str, ...]
    opens: Counter[str]
    wrong: list[str]
    refused: int
    slip_deg: float
    slipped_when: str
    ended: str
    virtual_s: float

    @property
    def unseen(self) -> str:
        """Why no sensor of the rig shows what is wrong here, empty where one does.

        A coupling that has slipped shows only in a squeeze after it, and there only as a peak that is later than the leak makes it
        early; see README.md. In step with the cylinder that was asked for only the person's word tells the hole.
        """
        if self.slip_deg != 0.0 and self.slipped_when == "before":
            return "" if self.slip_deg >= SHOWS_DEG else "slipped before the squeeze, early or less than its leak hides"
        if self.slip_deg != 0.0:
            return f"slipped {self.slipped_when} the squeeze"
        if all("the hose is at off" in wrong for wrong in self.wrong) and "hose-comes-off" in self.faults:
            return "the hose came off after it was shown"
        return "read back what was asked for" if self.mistake == "wrong hole, read back as asked" else ""


SLIPS_DEG = {"coupling-slips": 20.0, "coupling-slips-with-air": 3.0}  # faults of the table that are such slips
SHOWS_DEG = 30.0  # a coupling that slips late by so much shows in the next squeeze, whatever the leak


@dataclass
class _Slipped:
    """By how much the coupling slipped, and whether before, in or after the squeeze that showed stroke and hose."""

    by_deg: float = 0.0
    when: str = ""


@cache
def _scenario(name: str) -> Scenario:
    return load_scenario(name)


def do(number: int) -> Run:
    """Do the run of this number."""
    rng = Random(f"physical {number}")
    name = rng.choice(SCENARIOS)
    mistake = rng.choices(tuple(MISTAKES), tuple(MISTAKES.values()))[0]
    scenario = _scenario(name)
    start_deg = rng.uniform(0.0, scenario.engine.cycle_deg)
    manners = replace(scenario.operator, hand_error_deg=rng.choice((0.2, 0.4, 1.0)), reaction_s=rng.uniform(0.1, 0.5))
    scenario = replace(scenario, crank=replace(scenario.crank, start_deg=start_deg), operator=manners)
    bench = RigBench(scenario, rng.randrange(10**6), rng.choice((0.06, 0.1, 0.14)))
    cylinder = rng.choice(scenario.engine.firing_order)
    faults = tuple(fault.name for fault in rng.sample(FAULTS, rng.choice((0, 1, 1, 2))))
    person = RandomPerson(bench, rng, mistake)
    ended, slip = "", _Slipped()
    try:
        _know(bench, rng)
        _arm(bench, rng, faults)
        _prepare(bench, rng, mistake, slip)
        bench.act(acts.CarryStroke(rng.random() < 0.3))
        others = [other for other in scenario.engine.firing_order if other != cylinder]
        if mistake.startswith("wrong hole") and others:
            bench.rig.operator.will_mistake_hole(cylinder, rng.choice(others))
        bench.act(acts.SetPurpose(acts.Purpose("test", cylinder)))
        while True:
            person.follow(next_step(bench.state))
    except OverError:
        ended = "over"
    except StuckError as stuck:
        ended = str(stuck)
    opens = Counter(opening.kind for opening in bench.opened)
    wrong = [f"{opening.kind} at {opening.at_s:.2f} s: {'; '.join(opening.wrong)}" for opening in bench.opened if opening.wrong]
    return Run(
        number, name, cylinder, mistake, faults, opens, wrong, len(bench.refused), slip.by_deg, slip.when, ended, bench.rig.now_s
    )


def _know(bench: RigBench, rng: Random) -> None:
    """Meet the rig, take its zeros, find its index; what was measured on other days is known."""
    bench.rig.operator.do("turn +760 rpm 100")
    while bench.state.reading is None or bench.rig.operator.busy:
        bench.turn()
    bench.act(acts.TakeZero())
    while bench.state.zero is not None:
        bench.turn()
    before = bench.state.reading
    while bench.state.reading is before:  # now it reads by them
        bench.turn()
    state, scenario = bench.state, bench.rig.scenario
    proven_pa = scenario.rig.air.set_gauge_pa
    for kind in ("sealed", "restrictor"):
        result: dict[str, Any] = {"area_m2": state.setup.restrictor_area_m2} if kind == "restrictor" else {}
        serial = state.session.identity.serial_number if state.session.identity is not None else ""
        bench._step(CheckGiven(RigCheck(kind, state.unix_s, "", serial, True, result), proven_pa))  # type: ignore[arg-type]
    crank, first = bench.state.crank, scenario.engine.firing_order[0]
    assert crank is not None
    assert crank.last_count is not None
    assert crank.index_count is not None
    error_deg = rng.gauss(0.0, U_TDC_DEG)
    to_go_deg = scenario.engine.firing_angles_deg[first] - bench.rig.plant.crank_deg + error_deg
    tdc_count = crank.last_count + scenario.rig.encoder.sign * to_go_deg / 360.0 * crank.counts_per_rev
    after = (tdc_count - crank.index_count) % crank.counts_per_rev
    bench.state = replace(bench.state, tdc=TrueTdc(after, first, U_TDC_DEG, "piston_stop"))


def _arm(bench: RigBench, rng: Random, faults: tuple[str, ...]) -> None:
    for fault in faults:
        moment = rng.choice((None, None, Moment.START, Moment.SQUEEZE, Moment.PUFF))
        from_the_beginning = fault_named(fault).moment is Moment.START
        bench.rig.faults.arm(fault, *((None, None) if from_the_beginning else (moment, rng.uniform(0.0, 8.0))))


def _prepare(bench: RigBench, rng: Random, mistake: str, slip: _Slipped) -> None:
    """Let happen at its time what comes without anybody's doing."""
    rig = bench.rig

    def slipped(by_deg: float) -> None:
        squeezing = bench.state.readiness.state is State.SQUEEZING
        slip.by_deg, slip.when = by_deg, "in" if squeezing else "before" if bench.state.stroke is None else "after"

    def slips() -> None:
        slipped(rng.choice((-1.0, 1.0)) * rng.choice((2.0, 5.0, 12.0, 30.0, 90.0)))
        rig.electronics.break_encoder("the coupling", Slip(rig.plant.now_s, 0.1, slip.by_deg))

    def slipped_by_a_fault() -> bool:
        for name, by_deg in SLIPS_DEG.items():
            if name in rig.faults.active:
                slipped(by_deg)
                return True
        return False

    bench.before_turn.append(slipped_by_a_fault)

    def power_off() -> None:
        rig.power_cycle()

    def cable_out() -> None:
        rig.unplug()
        back_s = rig.now_s + rng.uniform(0.2, 1.5)
        bench.before_turn.append(lambda: rig.now_s > back_s and (rig.plug() or True))  # type: ignore[func-returns-value]

    later_s = rng.uniform(0.0, 25.0)
    states = {
        "slips before the squeeze": lambda: rig.now_s > 5.0 + later_s / 3.0 and bench.state.stroke is None,
        "slips after the squeeze": lambda: bench.state.stroke is not None and rig.now_s > 12.0 + later_s,
        "slips under the puff": lambda: bench.state.readiness.state is State.PUFFING,
        "power off": lambda: rig.now_s > 5.0 + later_s,
        "cable out": lambda: rig.now_s > 5.0 + later_s,
    }
    happens = {"power off": power_off, "cable out": cable_out}.get(mistake, slips)
    if (comes := states.get(mistake)) is not None:

        def hook() -> bool:
            if not comes():
                return False
            happens()
            return True

        bench.before_turn.append(hook)


@dataclass
class Survey:
    """Sums over runs."""

    runs: int = 0
    with_air: int = 0
    with_full: int = 0
    refused: int = 0
    virtual_s: float = 0.0
    opens: Counter[str] = field(default_factory=Counter)
    by_mistake: Counter[str] = field(default_factory=Counter)
    unseen: list[Run] = field(default_factory=list)
    wrong: list[Run] = field(default_factory=list)

    def add(self, run: Run) -> None:
        self.runs += 1
        self.with_air += bool(run.opens)
        self.with_full += bool(run.opens["full"])
        self.refused += run.refused
        self.virtual_s += run.virtual_s
        self.opens.update(run.opens)
        self.by_mistake[run.mistake] += bool(run.opens)
        if run.wrong:
            (self.unseen if run.unseen else self.wrong).append(run)


def run(numbers: Iterable[int]) -> Survey:
    """Do the runs of these numbers."""
    survey = Survey()
    for number in numbers:
        survey.add(do(number))
    return survey
