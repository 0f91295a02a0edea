"""borewright rig: the rig's own checks and calibration, dated and stored."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from borewright.cli import exits
from borewright.cli.at_the_rig import add_rig_arguments, at_the_rig
from borewright.cli.record_file import add_record_argument, named_engine
from borewright.cli.rig_options import TDC_WAYS, add_orifice_arguments, add_span_arguments
from borewright.cli.shown import add_units_argument
from borewright.errors import UseError

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright rig zero --port /dev/ttyACM0
  borewright rig span --port /dev/ttyACM0 --gauge-serial G-114 --certificate 2026-0317 --gauge-u "0.05 %"
  borewright rig sealed --port /dev/ttyACM0
  borewright rig restrictor --port /dev/ttyACM0 --orifice-area "0.40 mm^2" --orifice-area "0.80 mm^2" --orifice-area "1.6 mm^2"
  borewright rig accept --port /dev/ttyACM0 --orifice-area "0.60 mm^2" --orifice-u "0.6 %"
  borewright rig volume --port /dev/ttyACM0 --orifice-area "1.6 mm^2"
  borewright rig tdc --port /dev/ttyACM0 --engine four.toml --cylinder 1
  borewright rig tdc --port /dev/ttyACM0 --engine four.toml --cylinder 1 --by timing-mark
  borewright rig show
  borewright rig save bench2.json
  borewright rig load bench2.json

In this order for a new rig; span again once a year, accept on any day that a number has to be relied on, true TDC for each fitting
of the encoder. What rests on the transducers (sealed, restrictor) is made anew after a span."""

CHECKS = (
    ("zero", "read both transducers at vent"),
    ("span", "calibrate both transducers against a reference gauge at the capped outlet"),
    ("sealed", "cap the outlet: the rig's own leak, and the transducers tied to each other"),
    ("restrictor", "the restrictor's flow by certified orifices on the outlet, or by its bore"),
    ("accept", "read a reference orifice, as an acceptance for today"),
    ("volume", "dead volume and hose volume, by the capped outlet and an orifice"),
    ("tdc", "true TDC, for this fitting of the encoder"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The checks, each with its options."""
    checks = parser.add_subparsers(dest="check", required=True, metavar="CHECK")
    for name, what in CHECKS:
        check = _parser(checks, name, what)
        add_rig_arguments(check, engine_needed=name == "tdc")
        add_units_argument(check)
        if name == "sealed":
            check.add_argument(
                "--pressure", metavar="P", action="append", help="where to make it; repeat it (three up to the test pressure)"
            )
        elif name == "span":
            add_span_arguments(check)
        elif name in ("restrictor", "accept", "volume"):
            add_orifice_arguments(check, several=name == "restrictor")
        elif name == "tdc":
            check.add_argument("--cylinder", metavar="N", type=int, required=True, help="the cylinder whose TDC is found")
            check.add_argument(
                "--by", choices=TDC_WAYS, default="piston-stop", help="how (%(default)s; the others are marked as less exact)"
            )
            check.add_argument(
                "--backlash", metavar="DEG", type=float, default=0.0, help="play between crank and encoder (%(default)s)"
            )
    shown = _parser(checks, "show", "what is missing or overdue, and every check with its figures")
    add_units_argument(shown)
    saved = _parser(checks, "save", "write setup and checks of a rig to a portable file")
    loaded = _parser(checks, "load", "take in such a file")
    for needs_no_rig in (shown, saved, loaded):
        add_record_argument(needs_no_rig)
        needs_no_rig.add_argument("--serial", metavar="NUMBER", help="only the rig with this serial number")
    for file_parser in (saved, loaded):
        file_parser.add_argument("file", metavar="FILE", type=Path, help="the file (JSON)")
    loaded.add_argument("--other-rig", action="store_true", help="also the file of a rig that the record does not know")
    for with_json in (shown, loaded):
        with_json.add_argument("--json", action="store_true", help="one JSON object")


def _parser(checks: argparse._SubParsersAction[argparse.ArgumentParser], name: str, what: str) -> argparse.ArgumentParser:
    return checks.add_parser(
        name,
        help=what,
        description=what[0].upper() + what[1:] + ".",
        epilog=f"{EXAMPLE}\n\n{exits.HELP}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )


def run(args: argparse.Namespace) -> int:
    """Make a check, or show, save or load those that were made."""
    if args.check in ("show", "save", "load"):
        from borewright.cli import rig_kept

        return {"show": rig_kept.show, "save": rig_kept.save, "load": rig_kept.load}[args.check](args)
    from borewright.cli.rig_options import orifice_purposes_of, paper_of
    from borewright.cli.rig_procedures import make_check
    from borewright.cli.rig_words import check_as_dict
    from borewright.cli.shown import shown_units
    from borewright.service.check_words import check_words

    units = shown_units(args)
    engine = named_engine(args)[0] if args.engine is not None else None
    if args.check == "tdc" and engine is not None:
        from borewright.cli.console import cylinder_of
        from borewright.service.rig_stated import LARGEST_BACKLASH_DEG

        cylinder_of(engine.cylinders, args.cylinder)
        if not 0.0 <= args.backlash <= LARGEST_BACKLASH_DEG:
            raise UseError(f"a backlash of {args.backlash:g}° cannot be right; give 0 to {LARGEST_BACKLASH_DEG:g}")
    paper_of(args)  # what is typed wrongly is said before the port is opened
    if getattr(args, "orifice_area", None) is not None or getattr(args, "orifice_bore", None) is not None:
        orifice_purposes_of(args, "check" if args.check == "restrictor" else "volumes")
    with at_the_rig(args, engine) as (bench, console, _):
        check = make_check(args, bench, console)
    if args.json:
        print(json.dumps(check_as_dict(check), allow_nan=False))
    else:
        print(check_words(check, units))
        if check.kind == "span":
            print("Zero, sealed check and restrictor check rest on this: make them anew.")
    return exits.OK if check.passed else exits.UNUSABLE
