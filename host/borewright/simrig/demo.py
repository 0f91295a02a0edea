"""The demo: an engine before and after its rebuild, on the simulated rig, through the public service and its procedures.

The scripted person follows the guide; the simulator's truth is read only where the finished report is laid beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from boresim.scenario import Scenario, ScenarioError, Truth, load_scenario
from boresim.truth import place_shares

from borewright.core.capture import CaptureResult
from borewright.errors import UseError
from borewright.service import acts, effects
from borewright.service.bench import Bench, Done
from borewright.simrig.person import Person
from borewright.simrig.virtual_clock import VirtualClock
from borewright.simrig.whole_job import CHECK_STEPS, Progress, run_job
from borewright.store.store import Store

__all__ = [
    "CUSTOMER",
    "CYLINDER_STEPS",
    "JOB_DETAILS",
    "JOB_NAME",
    "SCENARIOS",
    "CylinderReport",
    "Scenario",
    "StageReport",
    "demo_scenarios",
    "one_scenario",
    "place_truth",
    "run_stage",
]

SCENARIOS = {
    "solenoid": ("hillclimb-before", "hillclimb-after"),
    "hand": ("hillclimb-before-hand", "hillclimb-after-hand"),
}
JOB_NAME = "Larch hill-climb four"
CYLINDER_STEPS = len(CHECK_STEPS)
LISTEN_OVER_PERCENT = 10.0
JOB_DETAILS: Mapping[str, Mapping[str, Any]] = {
    "before": {
        "hours": "31 h since it was built",
        "oil_temperature_k": 290.15,
        "compression_gauge_pa": {"1": 1.31e6, "2": 1.18e6, "3": 0.74e6, "4": 1.33e6},
        "text": "flat on one cylinder since the last meeting, oil mist at the breather",
    },
    "after": {"hours": "0 h since the rebuild", "oil_temperature_k": 290.15},
}
CUSTOMER = "hill-climb no. 7 (invented)"


@dataclass(frozen=True, slots=True)
class CylinderReport:
    """One cylinder's test as the demo reports it."""

    cylinder: int
    result: CaptureResult | None
    void_reason: str | None
    marks: tuple[str, ...]
    readiness: dict[str, Any]


@dataclass(slots=True)
class StageReport:
    """One stage of the job: its number in the record, its cylinders in firing order, the refusals on the way.

    stuck: where the scripted person could not get on, and why.
    """

    stage: Literal["before", "after", "routine"]
    engine: str
    job_id: int
    cylinders: list[CylinderReport] = field(default_factory=list)
    refusals: list[effects.AirRefused] = field(default_factory=list)
    said: list[effects.Say] = field(default_factory=list)
    stuck: list[str] = field(default_factory=list)

    def as_dict(self, truth: Mapping[int, Truth]) -> dict[str, Any]:
        """The stage as the demo's JSON has it, with the truth beside each result."""
        return {"stage": self.stage, "engine": self.engine, "cylinders": [_as_dict(one, truth) for one in self.cylinders]}


def _as_dict(one: CylinderReport, truth: Mapping[int, Truth]) -> dict[str, Any]:
    result, true = one.result, truth.get(one.cylinder)
    return {
        "cylinder": one.cylinder,
        "leakage_percent": None if result is None else result.leakage_percent,
        "leak_area_mm2": None if result is None else result.leak_area_m2 * 1e6,
        "pair_psi": None if result is None else [round(p) for p in result.pair_psi],
        "decay": {name: None if result is None else getattr(result, name) for name in ("t75_s", "t50_s", "t25_s")},
        "readiness": {key: one.readiness.get(key) for key in ("stroke_evidence", "hose_evidence", "position_deg", "window_deg")},
        "void_reason": one.void_reason,
        "marks": list(one.marks),
        "truth": None if true is None else {"leakage_percent": true.leakage_percent, "leak_area_mm2": true.leak_area_m2 * 1e6},
    }


def demo_scenarios(valves: Literal["solenoid", "hand"], seed: int | None) -> tuple[Scenario, Scenario]:
    """Before and after, on a rig with solenoid or hand valves. A seed draws other sensor errors, noise and handiwork."""
    before, after = SCENARIOS[valves]
    return load_scenario(before, seed), load_scenario(after, None if seed is None else seed + 1)


def one_scenario(name: str, seed: int | None) -> Scenario:
    """One of the simulator's scenarios by its name, or one in a file. Raises UseError when there is none."""
    try:
        return load_scenario(name, seed)
    except ScenarioError as wrong:
        raise UseError(str(wrong)) from None


def run_stage(
    scenario: Scenario,
    store: Store,
    job_name: str,
    unix_s: float | VirtualClock,
    progress: Progress,
    *,
    show_refusals: bool,
    details: Mapping[str, Any] | None = None,
    customer_reference: str = "",
) -> StageReport:
    """One stage of the job: the rig's checks, true TDC, every cylinder in firing order, and where the air of a leaking one goes.

    unix_s: date of the stage's beginning. progress: told each step that is begun. show_refusals: first try what must be refused.
    details, customer_reference: of the job.
    """
    order = scenario.engine.firing_order
    run = run_job(
        scenario,
        store,
        job_name,
        unix_s,
        progress,
        technician="demo",
        customer_reference=customer_reference,
        details=details,
        first=(lambda person, bench, cylinder: _show_refusals(person, bench, cylinder, order[-1])) if show_refusals else None,
        listen_over_percent=LISTEN_OVER_PERCENT,
    )
    report = StageReport(run.stage, run.engine, run.job_id, refusals=run.refusals, said=run.said)
    report.stuck = [run.stuck] if run.stuck is not None else []
    report.stuck += [f"cylinder {one.cylinder}: {one.stuck}" for one in run.visits if one.stuck is not None]
    report.cylinders += [_report(one.cylinder, one.done) for one in run.visits if one.done is not None]
    return report


def place_truth(scenario: Scenario, cylinder: int) -> dict[str, float]:
    """Share of the leak in percent by place, as the simulator has it; only for the table that prints it beside the result."""
    return {place: 100.0 * share for place, share in place_shares(scenario, cylinder).items()}


def _report(cylinder: int, done: Done) -> CylinderReport:
    return CylinderReport(cylinder, done.analysed.result, done.analysed.void_reason, done.analysed.marks, dict(done.evidence))


def _show_refusals(person: Person, bench: Bench, cylinder: int, neighbour: int) -> None:
    """What must be refused: the hose in a neighbour, the wrong TDC, a crank that still moves."""
    bench.act(acts.SetPurpose(acts.Purpose("test", cylinder)))
    person.at_the_rig(f"hose {neighbour}")
    bench.act(acts.PlaceHose("cylinder", cylinder))  # the person believes so
    person.squeeze_once()
    person.promise_all()
    person.ask_for_air()
    person.at_the_rig(f"hose {cylinder}")
    bench.act(acts.PlaceHose("cylinder", cylinder))
    person.follow_until("turn_to_tdc")
    person.turn_to_tdc(off_deg=360.0)
    person.promise_all()
    person.ask_for_air()
    person.ask_for_air_while_turning(40.0)
