"""borewright place flow: what comes out at a place, measured through a known orifice at next to no pressure there."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.output import print_json
from borewright.cli.place_rig import Job, add_place_rig_arguments, add_spare_argument, at_the_cylinder, job_of
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.core.stopping import StopRule
    from borewright.service.acts import Purpose
    from borewright.store import Store
    from borewright.store.records import FindingRecord

__all__ = ["add_arguments", "run"]

LARGEST_M2, SMALLEST_M2 = 2e-3, 1e-8
SLACK = 1.3  # a leak is rarely the same twice
USUAL_SET_PA = 551_580.0
USUAL_RESTRICTOR_M2 = 0.81e-6


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of place flow."""
    add_place_rig_arguments(parser)
    parser.add_argument("--place", metavar="PLACE", required=True, help="the place that the orifice is put onto")
    parser.add_argument(
        "--orifice-area", metavar="AREA", required=True, help='effective area of the orifice at low pressure, like "20 mm^2"'
    )
    parser.add_argument(
        "--orifice-u", metavar="U", default="4 %", help='its uncertainty, k = 2: "2 %%" or an area (4 %%, where nothing is stated)'
    )
    parser.add_argument(
        "--gauge-u", metavar="P", default="20 Pa", help="uncertainty of the low-pressure gauge, k = 2 (%(default)s)"
    )
    add_spare_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Measure the flow of one place."""
    from borewright.service.places import wrong_place

    job = job_of(args)
    purpose = _purpose(args, job)
    wrong = wrong_place(purpose, job.engine)
    if wrong is not None:
        raise UseError(wrong)
    advice = _fits(purpose, job)
    with at_the_cylinder(args, job) as here:
        here.need_spare(purpose.spare_place)
        here.console.tell_plainly(advice)
        done, shown = here.test(purpose)
        here.tell(done, shown, f"cylinder {job.cylinder}, with the orifice on the {purpose.flow_place.replace('_', ' ')}")
        shown |= _flow(here.store, job, purpose, shown["test"])
        if "words" in shown:
            here.console.tell_plainly(str(shown["words"]))
        here.console.tell_plainly("Take the orifice off again once it is vented.")
    if args.json:
        print_json(
            {"job": job.record.name, "stage": job.record.stage, "cylinder": job.cylinder, "place": purpose.flow_place} | shown
        )
    return exits.OK if shown["void_reason"] is None else exits.UNUSABLE


def _purpose(args: argparse.Namespace, job: Job) -> Purpose:
    from borewright.cli.rig_options import share_or_size
    from borewright.core.heard import place_called
    from borewright.service.acts import Purpose
    from borewright.units import UnitsError, parse

    try:
        place = place_called(args.place, job.engine.places)
        spare = "" if args.spare_at is None else place_called(args.spare_at, job.engine.places)
        area_m2 = parse(args.orifice_area, "area")
        u_gauge_pa = parse(args.gauge_u, "pressure_gauge") / 2.0
        share, size_m2 = share_or_size(args.orifice_u, "area")
    except (UnitsError, ValueError) as wrong:
        raise UseError(str(wrong)) from None
    if not SMALLEST_M2 <= area_m2 <= LARGEST_M2:
        raise UseError(f"--orifice-area {args.orifice_area} cannot serve here; between 0.01 and 2000 mm² can")
    u_relative = (share if share is not None else (size_m2 or 0.0) / area_m2) / 2.0
    if not 0.0 <= u_relative <= 0.25 or not 0.0 <= u_gauge_pa <= 5_000.0:
        raise UseError("--orifice-u under 50 % and --gauge-u under 10 kPa can serve; look at the unit")
    return Purpose(
        "test",
        job.cylinder,
        aim="place",
        flow_place=place,
        flow_orifice_m2=area_m2,
        flow_u_relative=u_relative,
        u_gauge_pa=u_gauge_pa,
        spare_place=spare,
    )


def _fits(purpose: Purpose, job: Job) -> str:
    """What to know of the orifice. Raises UseError where the whole leak through it could bring the place over its limit."""
    from borewright.core.flow import mass_flow_kg_s
    from borewright.core.stopping import orifice_for, stop_rules
    from borewright.service.places import limit_of

    rule = stop_rules(job.engine)[purpose.flow_place]
    known = job.leak_area_m2
    leak_m2, p_pa = (known * SLACK, _p_cylinder(job)) if known is not None else (USUAL_RESTRICTOR_M2, USUAL_SET_PA)
    best = orifice_for(rule, leak_m2, p_pa)
    flow = float(mass_flow_kg_s(leak_m2, p_pa + 101_325.0, 101_325.0, 293.15))
    least_m2 = flow / float(mass_flow_kg_s(1.0, 101_325.0 + limit_of(rule), 101_325.0, 293.15))
    if purpose.flow_orifice_m2 < least_m2:
        raise UseError(
            f"an orifice of {purpose.flow_orifice_m2 * 1e6:.3g} mm² could bring the {_place(rule)} over its "
            f"{limit_of(rule) / 1000:.3g} kPa; {best.words}"
        )
    if purpose.flow_orifice_m2 < best.least_area_m2:
        return f"This orifice is small for the leak: {best.words}."
    return f"Orifice of {purpose.flow_orifice_m2 * 1e6:.3g} mm² on the {_place(rule)}; {best.words}."


def _p_cylinder(job: Job) -> float:
    from borewright.cli.place_rig import latest

    test = latest(job.captures, "test")
    return USUAL_SET_PA if test is None else float((test.result or {})["p_cylinder_gauge_pa"])


def _place(rule: StopRule) -> str:
    return rule.place.replace("_", " ")


def _flow(store: Store, job: Job, purpose: Purpose, test: int) -> dict[str, Any]:
    """The leak at the place, as the finding that was kept with this test gives it."""
    from borewright.core.stop_passing import place_flow

    kept: list[FindingRecord] = [
        finding for finding in store.list_findings(job.record.id) if finding.kind == "flow" and finding.capture_id == test
    ]
    if not kept:
        return {}
    detail = kept[-1].detail
    laws = store.get_capture(test).laws
    t_k = float(laws["t_engine_k"])
    flow = place_flow(purpose.flow_place, detail, p_ambient_abs_pa=float(laws["p_ambient_abs_pa"]), t_place_k=t_k, t_cylinder_k=t_k)
    area_mm2, u_mm2 = flow.leak_area_m2 * 1e6, flow.u_area_m2 * 1e6
    words = (
        f"{purpose.flow_place.replace('_', ' ')}: {detail['p_place_gauge_pa'] / 1000:.3g} kPa before the orifice, a leak of "
        f"{area_mm2:.3f} ± {2.0 * u_mm2:.3f} mm² there (k = 2)"
    )
    return {
        "finding": kept[-1].id,
        "p_place_gauge_pa": detail["p_place_gauge_pa"],
        "place_leak_area_mm2": area_mm2,
        "place_u_mm2": u_mm2,
        "words": words,
    }
