"""borewright rig: the rig's own checks, dated and stored."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING, Any

from borewright.cli import exits
from borewright.cli.at_the_rig import add_rig_arguments, at_the_rig
from borewright.cli.output import date_words
from borewright.cli.record import add_record_argument, open_store
from borewright.cli.shown import ShownUnits, add_units_argument, shown_units
from borewright.errors import BorewrightError, UseError

if TYPE_CHECKING:
    from borewright.cli.console import Console
    from borewright.core.pistonstop import PistonStop
    from borewright.core.rig import RigCheck
    from borewright.service.acts import Purpose
    from borewright.service.bench import Bench

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright rig zero --port /dev/ttyACM0
  borewright rig sealed --port /dev/ttyACM0
  borewright rig restrictor --port /dev/ttyACM0 --orifice-area "0.80 mm^2"
  borewright rig tdc --port /dev/ttyACM0 --engine four.toml --cylinder 1
  borewright rig show

In this order for a new rig; true TDC again for each fitting of the encoder."""

LARGEST_BACKLASH_DEG = 5.0
AIR_HINT = "The checks are made in the order zero, sealed, restrictor."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The checks, each with its options."""
    checks = parser.add_subparsers(dest="check", required=True, metavar="CHECK")
    for name, what in (
        ("zero", "read both transducers at vent"),
        ("sealed", "cap the outlet: the rig's own leak, and how far the transducers differ"),
        ("restrictor", "a certified orifice on the outlet: the restrictor's effective area"),
        ("tdc", "true TDC by piston stop, for this fitting of the encoder"),
    ):
        check = checks.add_parser(
            name,
            help=what,
            description=what[0].upper() + what[1:] + ".",
            epilog=f"{EXAMPLE}\n\n{exits.HELP}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        add_rig_arguments(check, engine_needed=name == "tdc")
        add_units_argument(check)
        if name == "restrictor":
            size = check.add_mutually_exclusive_group(required=True)
            size.add_argument("--orifice-area", metavar="AREA", help='effective area on the certificate, for instance "0.80 mm^2"')
            size.add_argument(
                "--orifice-bore", metavar="BORE", help='bore of an orifice that is taken as an ideal nozzle: "1.0 mm"'
            )
        if name == "tdc":
            check.add_argument("--cylinder", metavar="N", type=int, required=True, help="the cylinder with the piston stop")
            check.add_argument(
                "--backlash", metavar="DEG", type=float, default=0.0, help="play between crank and encoder (%(default)s)"
            )
    show = checks.add_parser("show", help="what has been checked, and when", description="What has been checked, and when.")
    add_record_argument(show)
    show.add_argument("--serial", metavar="NUMBER", help="only the rig with this serial number")
    add_units_argument(show)
    show.add_argument("--json", action="store_true", help="one JSON object")


def run(args: argparse.Namespace) -> int:
    """Make a check, or show those that were made."""
    if args.check == "show":
        return _show(args)
    from borewright.service.engines import load_engine

    units = shown_units(args)
    engine = load_engine(args.engine)[0] if args.engine is not None else None
    if args.check == "tdc" and engine is not None:
        from borewright.cli.console import cylinder_of

        cylinder_of(engine.cylinders, args.cylinder)
        if not 0.0 <= args.backlash <= LARGEST_BACKLASH_DEG:
            raise UseError(f"a backlash of {args.backlash:g}° cannot be right; give 0 to {LARGEST_BACKLASH_DEG:g}")
    purpose = _purpose(args)
    with at_the_rig(args, engine) as (bench, console, _):
        check = _make(args, purpose, bench, console)
    if args.json:
        print(json.dumps(_as_dict(check), allow_nan=False))
    else:
        print(_words(check, units))
    return exits.OK if check.passed else exits.UNUSABLE


def _purpose(args: argparse.Namespace) -> Purpose | None:
    """What the check lets air in for; None where it lets in none. Raises UseError for an orifice that cannot serve."""
    from math import pi

    from borewright.service.acts import Purpose
    from borewright.units import parse

    if args.check == "sealed":
        return Purpose("sealed")
    if args.check != "restrictor":
        return None
    if args.orifice_area is not None:
        area_m2 = parse(args.orifice_area, "area")
    else:
        bore_m = parse(args.orifice_bore, "length")
        area_m2 = pi / 4.0 * bore_m * abs(bore_m)
    if not 1e-9 <= area_m2 <= 1e-4:
        raise UseError(f"an orifice of {area_m2 * 1e6:g} mm² cannot serve here; between 0.001 and 100 mm² can")
    return Purpose("restrictor", orifice_area_m2=area_m2)


def _make(args: argparse.Namespace, purpose: Purpose | None, bench: Bench, console: Console) -> RigCheck:
    console.take_zero()
    if args.check == "tdc":
        _find_tdc(args, bench, console)
    elif purpose is not None:
        _with_air(purpose, console)
    return bench.state.checks[args.check]


def _with_air(purpose: Purpose, console: Console) -> None:
    done = console.carry_out(purpose, AIR_HINT)
    if done.analysed.check is None:
        hint = "see that the hose is off the engine and its end closed off as asked, and make the check again"
        raise BorewrightError(f"the check came to nothing: {done.analysed.void_reason}; {hint}")


def _find_tdc(args: argparse.Namespace, bench: Bench, console: Console) -> None:
    from borewright.service import acts

    bench.act(acts.BeginTdc(args.cylinder, args.backlash))
    console.ask(f"> Screw the piston stop into cylinder {args.cylinder}.\n  [Enter when done]")
    while (stop := bench.state.stop) is not None:
        if stop.step == "contacts":
            console.ask(f"> {stop.prompt}\n  [Enter when the piston rests against the stop]")
            console.turn_for(1.2)
            bench.act(acts.TakeContact("after" if _last_side(stop) == "before" else "before"))
        elif stop.step == "remove_stop":
            console.ask(f"> {stop.prompt}\n  [Enter when the stop is out]")
            bench.act(acts.ConfirmStopRemoved())
        else:
            console.ask("> Turn the crank by hand two whole turns in the running direction.\n  [Enter when done]")
            if bench.state.stop is not None:
                console.tell_plainly("No index pulse was seen; check the encoder's index wire, and turn again.")


def _last_side(stop: PistonStop) -> str | None:
    return stop.contacts[-1].side if stop.contacts else None


def _show(args: argparse.Namespace) -> int:
    units = shown_units(args)
    with open_store(args, create=False) as store:
        serials = [args.serial] if args.serial else store.checked_rigs()
        checks = {serial: store.latest_rig_checks(serial) for serial in serials}
    if args.json:
        print(
            json.dumps({serial: [_as_dict(check) for check in found.values()] for serial, found in checks.items()}, allow_nan=False)
        )
        return exits.OK
    if not any(checks.values()):
        print("no check has been made yet")
    for serial, found in checks.items():
        print(f"rig {serial}")
        for check in found.values():
            print("  " + _words(check, units).replace("\n", "\n  "))
    return exits.OK


def _as_dict(check: RigCheck) -> dict[str, Any]:
    return {
        "check": check.kind,
        "passed": check.passed,
        "made_at_unix_s": check.made_at_unix_s,
        "made_by": check.made_by,
        "rig": check.device_serial,
        "result": check.result,
    }


def _words(check: RigCheck, units: ShownUnits) -> str:
    head = f"{check.kind}: {'passed' if check.passed else 'NOT PASSED'}, {date_words(check.made_at_unix_s)}, {check.made_by}"
    result = check.result
    match check.kind:
        case "zero":
            zeros = (_pressure(result[f"zero_{side}_pa"], units) for side in ("regulated", "cylinder"))
            return f"{head}\n  zeros {' and '.join(zeros)}"
        case "sealed":
            return (
                f"{head}\n  own leak {_area(result['own_leak_area_m2'], units)}, transducers differ by "
                f"{float(result['tie_share']) * 100:+.2f} %, set pressure {_pressure(result['p_regulated_gauge_pa'], units)}"
            )
        case "restrictor":
            return f"{head}\n  effective area {_area(result['area_m2'], units)}"
        case _:
            return (
                f"{head}\n  {result['engine']}: TDC of cylinder {result['reference_cylinder']} is "
                f"{float(result['counts_after_index']):.1f} counts after the index pulse, ±{2 * float(result['u_deg']):.2f}°, "
                f"by {str(result['method']).replace('_', ' ')}"
            )


def _pressure(gauge_pa: Any, units: ShownUnits) -> str:
    return units.text(float(gauge_pa), "pressure_gauge", "kPa", finer=2, signed=True)


def _area(area_m2: Any, units: ShownUnits) -> str:
    return units.text(float(area_m2), "area", "mm²", finer=1)
