"""What makes practice on the built-in rig quick to begin: its engine in the library, the jobs begun, the rig's own checks held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig

from borewright.core.rig import RigCheck
from borewright.errors import BorewrightError
from borewright.service.bench import Bench
from borewright.service.engines import engine_from_document
from borewright.service.known_rig import usual_setup
from borewright.simrig.builtin import built_in_scenario
from borewright.simrig.person import Person
from borewright.simrig.serving import ScenarioWords, scenarios
from borewright.simrig.virtual_clock import VirtualClock
from borewright.simrig.whole_job import READ_S, check_rig
from borewright.store.records import Stage
from borewright.store.store import Store

__all__ = ["PRACTICE_STAGES", "PracticeJob", "begin_practice", "practice_job", "practice_name", "prepared_checks", "scenario_list"]

PRACTICE_STAGES: tuple[Stage, ...] = ("before", "after")
_CHECKS_TAKE_S = 600.0  # of virtual time, at most
_MADE_BY = "prepared for practice"


@dataclass(frozen=True, slots=True)
class PracticeJob:
    """How far practice with a scenario has come: its job at the scenario's stage, None before it is begun; whether the rig's own
    checks hold; the cylinders with a test that counts."""

    job_id: int | None
    checks_held: bool
    tested: tuple[int, ...]


def practice_name(engine_name: str) -> str:
    """What the job of a practice is called.

    >>> practice_name("Larch four")
    'Practice: Larch four'
    """
    return f"Practice: {engine_name}"


def scenario_list(store: Store) -> tuple[ScenarioWords, ...]:
    """The scenarios that the built-in rig has."""
    del store  # asked like a question to the record, because reading two dozen files would hold the screen up
    return scenarios()


def practice_job(store: Store, scenario: str) -> PracticeJob:
    """How far the practice with this scenario has come."""
    made = built_in_scenario(scenario)
    job = store.find_job(practice_name(made.engine.name), _stage(made.stage))
    held = store.latest_rig_checks(made.rig.device.serial_number)
    checks_held = all(kind in held and held[kind].passed for kind in ("zero", "sealed", "restrictor", "tdc"))
    if job is None:
        return PracticeJob(None, checks_held, ())
    tests = [test for test in store.list_captures(job.id) if test.purpose == "test" and test.state == "complete"]
    return PracticeJob(job.id, checks_held, tuple(sorted({test.cylinder for test in tests})))


def prepared_checks(store: Store, scenario: str, at_unix_s: float) -> tuple[RigCheck, ...]:
    """The rig's own checks, made on the simulated rig by the scripted person just before a moment; takes seconds.

    Raises BorewrightError where the person could not get on.
    """
    del store  # nothing is read from it, nothing kept in it: begin_practice does that
    made = built_in_scenario(scenario)
    engine = engine_from_document(made.engine_document, made.name)
    port = SimEndpoint(SimRig(made))
    clock = VirtualClock(at_unix_s - _CHECKS_TAKE_S)
    clock.follow(port.monotonic)
    bench = Bench(
        port, None, wall_clock=clock, tell=lambda _word: None, setup=usual_setup(engine), engine=engine, who=_MADE_BY, read_s=READ_S
    )
    check_rig(Person(bench, port), lambda _step: None, engine.firing_order[0])
    failed = [kind for kind, check in bench.state.checks.items() if not check.passed]
    if failed or len(bench.state.checks) < 4:
        raise BorewrightError(f"the built-in rig could not be prepared ({', '.join(failed)}); make its checks on the Rig page")
    return tuple(bench.state.checks.values())


def begin_practice(store: Store, scenario: str, checks: Sequence[RigCheck], who: str) -> int:
    """Keep these checks of the rig, its engine in the library, and begin the jobs; gives the job's number at the scenario's stage.

    What is there already is left as it is.
    """
    made = built_in_scenario(scenario)
    name, document = practice_name(made.engine.name), dict(made.engine_document)
    for check in checks:
        store.add_rig_check(check)
    entry = store.find_in_library(made.engine.name)
    if entry is None or entry.document != document:
        store.save_in_library(document)
    wanted = _stage(made.stage)
    engine_id = store.save_engine(made.engine.name, document)
    for stage in PRACTICE_STAGES if wanted in PRACTICE_STAGES else (wanted,):
        if store.find_job(name, stage) is None:
            store.create_job(name, stage, engine_id, customer_reference="practice", technician=who)
    job = store.find_job(name, wanted)
    assert job is not None
    return job.id


def _stage(of_scenario: str) -> Stage:
    return "before" if of_scenario == "before" else "after" if of_scenario == "after" else "routine"
