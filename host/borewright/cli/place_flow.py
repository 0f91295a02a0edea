"""borewright place flow: what comes out at a place, measured through a known orifice at next to no pressure there."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.output import print_json
from borewright.cli.place_rig import Job, add_place_rig_arguments, add_spare_argument, at_the_cylinder, job_of
from borewright.errors import UseError

if TYPE_CHECKING:
    from borewright.service.acts import Purpose
    from borewright.store import Store

__all__ = ["add_arguments", "run"]


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
    from borewright.service.place_tests import orifice_fits

    job = job_of(args)
    purpose = _purpose(args, job)
    advice = orifice_fits(job.engine, job.captures, purpose)
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
    from borewright.core.heard import place_called
    from borewright.service.place_tests import flow_test
    from borewright.service.rig_stated import share_or_size
    from borewright.units import UnitsError, parse

    try:
        place = place_called(args.place, job.engine.places)
        spare = "" if args.spare_at is None else place_called(args.spare_at, job.engine.places)
        area_m2 = parse(args.orifice_area, "area")
        u_gauge_pa = parse(args.gauge_u, "pressure_gauge") / 2.0
        share, size_m2 = share_or_size(args.orifice_u, "area")
    except (UnitsError, ValueError) as wrong:
        raise UseError(str(wrong)) from None
    u_relative = (share if share is not None else (size_m2 or 0.0) / area_m2 if area_m2 > 0.0 else 0.0) / 2.0
    return flow_test(job.engine, job.cylinder, place, area_m2, u_relative, u_gauge_pa, spare)


def _flow(store: Store, job: Job, purpose: Purpose, test: int) -> dict[str, Any]:
    """The leak at the place, as the finding that was kept with this test gives it."""
    from borewright.service.place_tests import flow_found

    found = flow_found(store, job.record.id, test, purpose.flow_place)
    if found is None:
        return {}
    return {
        "finding": found.finding,
        "p_place_gauge_pa": found.p_place_gauge_pa,
        "place_leak_area_mm2": found.leak_area_m2 * 1e6,
        "place_u_mm2": found.u_area_m2 * 1e6,
        "words": found.words,
    }
