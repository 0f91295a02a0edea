"""borewright place wet: the cylinder again, with a measured dose of oil on its rings."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.output import print_json
from borewright.cli.place_rig import AtCylinder, Job, add_place_rig_arguments, at_the_cylinder, job_of
from borewright.cli.record_file import open_store
from borewright.errors import UseError
from borewright.service.latest_test import latest

if TYPE_CHECKING:
    from borewright.store.records import CaptureRecord

__all__ = ["add_arguments", "run"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of place wet."""
    add_place_rig_arguments(parser)
    parser.add_argument("--oil", metavar="VOLUME", required=True, help='the dose, like "3 cm^3"; measured with a syringe')


def run(args: argparse.Namespace) -> int:
    """Test one cylinder wet."""
    from borewright.core.stopping import wet_dose
    from borewright.service.place_tests import wet_test
    from borewright.units import UnitsError, parse

    job = job_of(args)
    try:
        oil_m3 = parse(args.oil, "volume")
    except UnitsError as error:
        raise UseError(f"--oil: {error}") from None
    if not oil_m3 > 0.0:
        raise UseError(f"--oil {args.oil}: a wet test needs some oil; without any it is borewright measure")
    purpose = wet_test(job.engine, job.cylinder, oil_m3)
    if latest(job.captures, "test") is None:
        raise UseError(
            f"there is no dry test of cylinder {job.cylinder} in this job yet; take it first, with borewright measure: "
            "once oiled, the cylinder stays so for long"
        )
    attended: AtCylinder | None = None
    complete = False
    try:
        with at_the_cylinder(args, job) as attended:
            here = attended
            here.console.tell_plainly("A wet test misleads where")
            for misled in wet_dose(job.engine).misleading_when:
                here.console.tell_plainly(f"    {misled}")
            done, shown = here.test(purpose)
            complete = shown["void_reason"] is None
            here.tell(done, shown, f"cylinder {job.cylinder}, wet")
            shown |= _against_dry(job, here.store.get_capture(shown["test"]), shown["void_reason"])
            if "words" in shown:
                here.console.tell_plainly(str(shown["words"]))
    finally:  # outside of at_the_cylinder: the air comes first, and nothing is undone before it is off
        if attended is not None and attended.bench.state.oil is not None and not complete:
            _say_oil_is_in(args, attended)
    if args.json:
        print_json({"job": job.record.name, "stage": job.record.stage, "cylinder": job.cylinder, "oil_m3": oil_m3} | shown)
    return exits.OK if shown["void_reason"] is None else exits.UNUSABLE


def _say_oil_is_in(args: argparse.Namespace, here: AtCylinder) -> None:
    """The oil stays when the program ends: the person and the record have to know it."""
    from borewright.service.place_tests import oil_left_words

    state, job = here.bench.state, here.job
    first = "once the gauges are down, " if state.pressurised else ""
    here.console.tell_plainly(
        f"! oil is in cylinder {job.cylinder}: {first}take the hose off, turn the engine over twice by hand with the plug hole "
        "open before any other test; a test of it now is no dry test"
    )
    text = oil_left_words(0.0 if state.oil is None else state.oil.volume_m3)
    with open_store(args, create=False) as store:
        store.add_finding(job.record.id, job.cylinder, "note", detail={"text": text}, said_by=args.who)


def _against_dry(job: Job, wet: CaptureRecord, void_reason: str | None) -> dict[str, Any]:
    from borewright.service.place_tests import wet_against_dry

    dry = latest(job.captures, "test")
    if void_reason is not None or dry is None:
        return {}
    found = wet_against_dry(dry, wet)
    if found is None:
        return {"words": "the dry test showed no leak, so oil has nothing to change"}
    return {"dry_test": dry.id, "verdict": found.verdict, "change_percent": found.change_percent, "words": found.words}
