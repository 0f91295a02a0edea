"""A whole job on the simulated rig, in virtual time: the rig's checks, true TDC, then round the engine, by the scripted person.

What cannot be tested is told, not raised: a test that ends void, a cylinder at which the person could not get on.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from functools import partial
from math import inf
from typing import Any, Literal

from boresim.any_rig import AnyRig
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import Scenario

from borewright.service import acts, effects
from borewright.service.bench import Bench, Done
from borewright.service.conditions_of_air import AirConditions
from borewright.service.engines import engine_from_document
from borewright.service.going_round import Visit, crank_angle_deg, next_visit
from borewright.service.limit_files import find_limits
from borewright.simrig.find_path import Listener, flow_purposes, with_smaller_orifice
from borewright.simrig.person import Person, StuckError
from borewright.simrig.rig_view import ORIFICE_M2
from borewright.simrig.virtual_clock import VirtualClock
from borewright.store.store import Store
from borewright.store.writer import StoreWriter

__all__ = ["CHECK_STEPS", "READ_S", "JobRun", "Visited", "check_rig", "run_job"]

READ_S = 0.032
CHECK_STEPS = ("zero", "sealed check", "restrictor check", "true TDC")

Progress = Callable[[str], None]
Stage = Literal["before", "after", "routine"]


@dataclass(frozen=True, slots=True)
class Visited:
    """One visit and what came of it. done: the test, None where none was made; stuck: why the person could not get on then."""

    visit: Visit
    done: Done | None
    stuck: str | None = None

    @property
    def cylinder(self) -> int:
        """Whose visit it was."""
        return self.visit.cylinder


@dataclass(slots=True)
class JobRun:
    """A job that was run: its number in the record, its visits in order, the refusals and all that was said on the way.

    path_tests: the flow tests made to find the path of leaks. suggested: what was still suggested at the end. stuck: why checks or
    true TDC could not be made; then there is no visit.
    """

    stage: Stage
    engine: str
    job_id: int
    visits: list[Visited] = field(default_factory=list)
    path_tests: list[Done] = field(default_factory=list)
    suggested: Visit | None = None
    stuck: str | None = None
    refusals: list[effects.AirRefused] = field(default_factory=list)
    said: list[effects.Say] = field(default_factory=list)

    @property
    def complete(self) -> dict[int, Done]:
        """The last test of each cylinder that has one which is not void."""
        tests = ((one.cylinder, one.done) for one in self.visits if one.done is not None)
        return {cylinder: done for cylinder, done in tests if done.analysed.void_reason is None}


def run_job(
    scenario: Scenario,
    store: Store,
    job_name: str,
    unix_s: float | VirtualClock,
    progress: Progress = lambda _step: None,
    *,
    stage: Stage | None = None,
    cylinders: Collection[int] | None = None,
    repeats: int = 1,
    squeeze_each: bool = False,
    suggestions: int = 0,
    tries: int = 3,
    limits: str | None = None,
    technician: str = "",
    customer_reference: str = "",
    details: Mapping[str, Any] | None = None,
    first: Callable[[Person, Bench, int], None] | None = None,
    listen_over_percent: float | None = None,
    make_rig: Callable[[Scenario], AnyRig] = SimRig,
) -> JobRun:
    """Run a job, or go on with one that was begun.

    unix_s: date of its beginning, or a clock, which the record may go by too. progress: told each step that is begun. stage: of
    the job, None: the scenario's. cylinders, repeats: as next_visit has them. squeeze_each: a squeeze in each cylinder, not in the
    first alone. suggestions: how many of the suggested repeats the person makes. tries: after so many tests without a complete one
    a cylinder is left. first: done before the first visit, told its cylinder. listen_over_percent: of leakage; where it is more,
    the person keeps the air on and listens, and at the end measures the flow at the places where much was heard. make_rig: makes
    the rig of the scenario. Raises UseError and StoreError as the record and the engine file may.
    """
    engine = engine_from_document(scenario.engine_document, scenario.name)
    of_scenario: Stage = "before" if scenario.stage == "before" else "after" if scenario.stage == "after" else "routine"
    where: Stage = of_scenario if stage is None else stage
    job = store.find_job(job_name, where)
    job_id = job.id if job is not None else None
    if job_id is None:
        engine_id = store.save_engine(engine.name, scenario.engine_document)
        job_id = store.create_job(job_name, where, engine_id, customer_reference, technician, dict(details or {}))
    run = JobRun(where, engine.name, job_id)
    port = SimEndpoint(make_rig(scenario))
    clock = unix_s if isinstance(unix_s, VirtualClock) else VirtualClock(unix_s)
    clock.follow(port.monotonic)
    writer = StoreWriter(store, threaded=False)
    bench = Bench(
        port,
        writer,
        wall_clock=clock,
        tell=lambda word: run.refusals.append(word) if isinstance(word, effects.AirRefused) else run.said.append(word),
        engine=engine,
        who=technician,
        ambient=AirConditions(scenario.ambient.pressure_abs_pa, scenario.ambient.air_k, scenario.ambient.engine_k),
        read_s=READ_S,
    )
    bench.job_id = job_id
    person = Person(bench, port)
    limit_set = find_limits(limits, scenario.engine_document)
    left: set[tuple[int, int]] = set()
    listener = Listener(person, bench, port, inf if listen_over_percent is None else listen_over_percent)

    def coming() -> Visit | None:
        return next_visit(
            engine,
            scenario.engine_document,
            store.list_captures(job_id),
            limit_set,
            angle_deg=crank_angle_deg(bench.state),
            cylinders=cylinders,
            repeats=repeats,
            compares=where != "routine",
            left=left,
        )

    try:
        run.stuck = _tried(lambda: check_rig(person, progress, engine.firing_order[0]))
        while run.stuck is None and (visit := coming()) is not None:
            if visit.kind == "suggested" and suggestions <= 0:
                run.suggested = visit
                break
            suggestions -= visit.kind == "suggested"
            progress(f"cylinder {visit.cylinder}" + (" again" if visit.tests else ""))
            if first is not None and not run.visits:
                first(person, bench, visit.cylinder)
            run.visits.append(_visited(person, bench, visit, squeeze_each, listener))
            in_vain = [one for one in run.visits if one.visit.left_as == visit.left_as]
            if run.visits[-1].stuck is not None or len(in_vain) >= tries:
                left.add(visit.left_as)
        if run.stuck is None:
            run.path_tests += _measured_flows(person, bench, store, listener, progress)
    finally:
        bench.take_leave()
        writer.close()
        port.close()
    return run


def _visited(person: Person, bench: Bench, visit: Visit, squeeze_each: bool, listener: Listener) -> Visited:
    before = len(bench.done)
    bench.act(acts.CarryStroke(not squeeze_each and not visit.turn_over))
    stuck = _tried(lambda: person.carry_out(acts.Purpose("test", visit.cylinder), listener.with_air))
    if stuck is not None:
        _give_up(person, bench)
    return Visited(visit, bench.done[-1] if len(bench.done) > before else None, stuck)


def _measured_flows(person: Person, bench: Bench, store: Store, listener: Listener, progress: Progress) -> list[Done]:
    """The flow tests of every cylinder that was listened to, as far as the person gets with them."""
    made: list[Done] = []
    for cylinder, heard in listener.heard.items():
        for purpose in flow_purposes(bench, cylinder, heard):
            wanted: acts.Purpose | None = purpose
            while wanted is not None:
                progress(f"cylinder {cylinder}, flow at {purpose.flow_place}")
                before = len(bench.done)
                if _tried(partial(person.carry_out, wanted)) is not None:
                    _give_up(person, bench)
                made += bench.done[before:]
                wanted = with_smaller_orifice(wanted, shown) if (shown := _shown_pa(bench, store)) is not None else None
    return made


def _shown_pa(bench: Bench, store: Store) -> float | None:
    """What the gauge at the place showed in the latest flow test; None where there was no reading."""
    if bench.job_id is None or not bench.done or bench.done[-1].analysed.void_reason is not None:
        return None
    flows = [finding for finding in store.list_findings(bench.job_id) if finding.kind == "flow"]
    return None if not flows else float(flows[-1].detail["p_place_gauge_pa"])


def _give_up(person: Person, bench: Bench) -> None:
    bench.act(acts.StopAll())
    person.let_go()
    person.wait(2.0)


def _tried(work: Callable[[], None]) -> str | None:
    """Do it; where the person could not get on, why."""
    try:
        work()
    except StuckError as stuck:
        return str(stuck)
    return None


def check_rig(person: Person, progress: Progress, cylinder: int) -> None:
    """The rig's own checks, and true TDC by piston stop in a cylinder. Raises StuckError where the person cannot get on."""
    progress(CHECK_STEPS[0])
    person.wait(2.5)
    person.take_zero()
    progress(CHECK_STEPS[1])
    person.carry_out(acts.Purpose("sealed"))
    progress(CHECK_STEPS[2])
    person.carry_out(acts.Purpose("restrictor", orifice_area_m2=ORIFICE_M2))
    progress(CHECK_STEPS[3])
    person.at_the_rig("hose off")
    person.find_true_tdc(cylinder)
