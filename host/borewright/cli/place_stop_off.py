"""borewright place stop-off: a cylinder read again at reduced pressure with places stopped, gauge and relief on each."""

from __future__ import annotations

import argparse
import time
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.output import print_json
from borewright.cli.place_rig import AtCylinder, Job, add_place_rig_arguments, add_spare_argument, at_the_cylinder, job_of
from borewright.cli.record_file import open_store
from borewright.errors import BorewrightError, NotReadyError, UseError

if TYPE_CHECKING:
    from borewright.core.shares_plan import NextTest
    from borewright.core.stopping import StopRule
    from borewright.service.acts import Purpose

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of place stop-off."""
    add_place_rig_arguments(parser, port_needed=False)
    parser.add_argument(
        "--stop",
        metavar="PLACE",
        action="append",
        help="a place to stop; repeat it to stop several at once (default: what decides with the fewest readings)",
    )
    parser.add_argument("--plan", action="store_true", help="only say which readings would decide, and what may be stopped here")
    parser.add_argument(
        "--pressure", metavar="P", help="what the regulator is set to (default: under the limit of what is stopped)"
    )
    parser.add_argument("--leave-low", action="store_true", help="end with the regulator as it is, without the test pressure again")
    add_spare_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Guide the person through it, or say what would be done."""
    from borewright.core.stopping import stop_rules

    job = job_of(args)
    rules = stop_rules(job.engine)
    if args.plan:
        return _tell_plan(args, job, rules)
    if args.port is None:
        raise UseError("give the rig's port with --port; without a rig only --plan works")
    stopped = _stopped(args, job, rules)
    purpose = _purpose(args, job, stopped, _pressure(args, job, stopped))
    with at_the_cylinder(args, job) as here:
        here.need_spare(purpose.spare_place)
        try:
            shown = _guide(here, purpose, rules)
        except BorewrightError:
            stands = f"the regulator may stand at {(purpose.asked_gauge_pa or 0.0) / 1000:.0f} kPa"
            here.console.tell_plainly(f"! Broken off: {stands}; set it back, and make borewright rig sealed before the next test.")
            raise
        if not args.leave_low:
            _back_to_test_pressure(here)
    if args.json:
        print_json({"job": job.record.name, "stage": job.record.stage, "cylinder": job.cylinder} | shown)
    return exits.OK if shown["stopped"]["void_reason"] is None else exits.UNUSABLE


# ---------------------------------------------------------------------- what to stop, at which pressure


def _plan(args: argparse.Namespace, job: Job) -> tuple[NextTest, ...]:
    from borewright.service.place_tests import plan_of

    with open_store(args, create=False) as store:
        findings = [found for found in store.list_findings(job.record.id) if found.cylinder == job.cylinder]
    return plan_of(job.engine, job.captures, findings)


def _tell_plan(args: argparse.Namespace, job: Job, rules: dict[str, StopRule]) -> int:
    plan = _plan(args, job)
    if args.json:
        tests = [
            {"method": test.method, "stopped": sorted(test.stopped), "place": test.place, "words": test.words} for test in plan
        ]
        may = {place: {"may_stop": rule.may_stop, "way": rule.way, "why": rule.why} for place, rule in rules.items()}
        print_json({"job": job.record.name, "stage": job.record.stage, "cylinder": job.cylinder, "plan": tests, "places": may})
        return exits.OK
    print(f"cylinder {job.cylinder}, {job.record.name}, {job.record.stage}")
    for number, test in enumerate(plan, 1):
        print(f"  {number}. {test.words}")
    if not plan:
        print("  nothing more is needed: what has been read decides")
    for place, rule in rules.items():
        print(f"  {place.replace('_', ' ')}: {rule.why}")
    return exits.OK


def _stopped(args: argparse.Namespace, job: Job, rules: dict[str, StopRule]) -> tuple[str, ...]:
    """The places to stop. Raises UseError where none may be, with what to do instead."""
    from borewright.core.heard import place_called
    from borewright.service.acts import Purpose
    from borewright.service.places import wrong_place

    if args.stop:
        try:
            named = tuple(place_called(text, job.engine.places) for text in args.stop)
        except ValueError as wrong:
            raise UseError(str(wrong)) from None
    elif not any(rule.may_stop for rule in rules.values()):
        ways = [place.replace("_", " ") for place, rule in rules.items() if rule.may_measure_flow]
        raise UseError(
            "nothing may be stopped on this engine with this rig (--plan says why for each place); "
            f"measure what comes out through an orifice with borewright place flow: {', '.join(ways) or 'no place'}"
        )
    else:
        tests = [test for test in _plan(args, job) if test.stopped]
        if not tests:
            raise UseError("no stop-off is needed to decide; name the places with --stop to make one all the same")
        named = tuple(place for place in job.engine.places if place in tests[0].stopped)
    why = wrong_place(Purpose("test", job.cylinder, aim="place", stopped=named), job.engine)
    if why is not None:
        led = [place.replace("_", " ") for place in named if not rules[place].may_stop and rules[place].may_measure_flow]
        raise UseError(why + (f"; borewright place flow measures it ({', '.join(led)})" if led else ""))
    return named


def _pressure(args: argparse.Namespace, job: Job, stopped: tuple[str, ...]) -> float:
    """What the regulator is set to. Raises UseError for a pressure that cannot be with these places stopped."""
    from borewright.service.place_tests import stop_pressure_pa
    from borewright.units import UnitsError, parse

    try:
        given_pa = None if args.pressure is None else parse(args.pressure, "pressure_gauge")
    except UnitsError as error:
        raise UseError(f"--pressure: {error}") from None
    return stop_pressure_pa(job.engine, job.cylinder, stopped, given_pa)


def _purpose(args: argparse.Namespace, job: Job, stopped: tuple[str, ...], asked_pa: float) -> Purpose:
    from borewright.core.heard import place_called
    from borewright.service.place_tests import stop_test

    try:
        spare = "" if args.spare_at is None else place_called(args.spare_at, job.engine.places)
    except ValueError as wrong:
        raise UseError(str(wrong)) from None
    return stop_test(job.engine, job.cylinder, stopped, asked_pa, spare)


# ---------------------------------------------------------------------- at the rig


def _guide(here: AtCylinder, purpose: Purpose, rules: dict[str, StopRule]) -> dict[str, Any]:
    from borewright.service.acts import Purpose
    from borewright.service.place_tests import reference_reading
    from borewright.service.regulator import proof_of

    tell, job, stopped, asked_pa = here.console.tell_plainly, here.job, purpose.stopped, purpose.asked_gauge_pa or 0.0
    for place in stopped:
        tell(f"{place.replace('_', ' ')}: {rules[place].why}.")
    tell(f"First the regulator is set to {asked_pa / 1000:.0f} kPa and proven with the hose capped.")
    done, proof = here.test(proof_of(asked_pa))
    if proof["void_reason"] is not None or done.analysed.check is None:
        raise NotReadyError(f"the pressure was not proven ({proof['void_reason']}); nothing is stopped before it is")
    kept = reference_reading(job.captures, asked_pa, time.time())
    if kept is not None:
        reference = {"test": kept.id, "leak_area_mm2": (kept.result or {})["leak_area_mm2"], "void_reason": None}
        tell(f"The reading with nothing stopped is that of test {kept.id}.")
    else:
        tell("Then the reading with nothing stopped, at the same pressure.")
        done, reference = here.test(Purpose("test", job.cylinder, aim="place", asked_gauge_pa=asked_pa))
        here.tell(done, reference, f"cylinder {job.cylinder}, nothing stopped")
        if reference["void_reason"] is not None:
            raise NotReadyError("without the reading with nothing stopped there is nothing to compare with; begin again")
    done, shown = here.test(purpose)
    words = ", ".join(place.replace("_", " ") for place in stopped)
    here.tell(done, shown, f"cylinder {job.cylinder}, stopped: {words}")
    if shown["void_reason"] is None:
        less = reference["leak_area_mm2"] - shown["leak_area_mm2"]
        tell(f"With {words} stopped {less:.3f} mm² less leaks; borewright place show says what that makes of the whole leak.")
    return {"asked_gauge_pa": asked_pa, "reference": reference, "stopped": shown}


def _back_to_test_pressure(here: AtCylinder) -> None:
    """Stops off, regulator up again, and that proven into the capped hose: the next test is at full pressure."""
    from borewright.service.acts import FitPlaces
    from borewright.service.regulator import proof_of

    here.console.ask("> Take every stop, gauge and relief off the engine again.\n  [Enter when they are off]")
    here.bench.act(FitPlaces())
    here.console.tell_plainly("Now the test pressure again, proven with the hose capped.")
    done, proof = here.test(proof_of(here.bench.state.setup.set_pressure_gauge_pa))
    result = done.analysed.result
    if proof["void_reason"] is None and result is not None:
        here.console.tell_plainly(
            f"The regulator gives {result.p_regulated_gauge_pa / 1000:.0f} kPa again; the next test is at that."
        )
    else:
        why = proof["void_reason"] or "no reading"
        here.console.tell_plainly(f"! The test pressure was not proven ({why}): make borewright rig sealed before the next test.")
