"""The rig's checks as a person at a terminal goes through them."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

from borewright.cli.rig_options import DEGREES_OFF, orifice_purposes, paper_of, pressures, sweep_of
from borewright.errors import BorewrightError, NotReadyError, UseError
from borewright.service import acts
from borewright.service.regulator import wrong_pressure

if TYPE_CHECKING:
    from borewright.cli.console import Console
    from borewright.core.pistonstop import PistonStop
    from borewright.core.rig import RigCheck, RigSetup
    from borewright.service.bench import Bench, Done

__all__ = ["KIND_OF", "make_check"]

AIR_HINT = "The checks are made in the order zero, span, sealed, restrictor."
KIND_OF = {
    "zero": "zero",
    "span": "span",
    "sealed": "sealed",
    "restrictor": "restrictor",
    "accept": "acceptance",
    "volume": "volumes",
    "tdc": "tdc",
}
LARGEST_BACKLASH_DEG = 5.0
LARGEST_DROP_M = 0.05


def make_check(args: argparse.Namespace, bench: Bench, console: Console) -> RigCheck:
    """Guide the person through the check that args name; gives what it found."""
    kind = KIND_OF[args.check]
    before = bench.state.checks.get(kind)
    if args.check == "restrictor" and args.bore is not None:
        _by_bore(args, bench)
    else:
        purposes = _purposes(args, bench.state.setup)
        console.take_zero()
        if args.check == "accept" and not _passed(bench, "restrictor"):
            raise NotReadyError("a reference orifice is read with a restrictor that was checked; make the restrictor check first")
        if purposes:
            _round(purposes, paper_of(args), bench, console)
        elif args.check == "tdc" and args.by == "piston-stop":
            _by_piston_stop(args, bench, console)
        elif args.check == "tdc":
            _by_another_way(args, bench, console)
    check = bench.state.checks.get(kind)
    if check is None or (check is before and args.check != "zero"):
        raise BorewrightError("the check came to nothing; make it again")
    return check


def _purposes(args: argparse.Namespace, setup: RigSetup) -> tuple[acts.Purpose, ...]:
    """What air is let in for; empty where none is. Raises UseError for what cannot be asked for on this rig."""
    match args.check:
        case "sealed":
            purposes = tuple(acts.Purpose("sealed", asked_gauge_pa=asked_pa) for asked_pa in pressures(args.pressure, setup))
        case "span":
            purposes = (acts.Purpose("sealed", aim="span", sweep_gauge_pa=sweep_of(args, setup)),)
        case "restrictor":
            purposes = orifice_purposes(args)
        case "accept":
            purposes = orifice_purposes(args, "acceptance")
        case "volume":
            purposes = (acts.Purpose("sealed", aim="volumes"), *orifice_purposes(args, "volumes"))
        case _:
            purposes = ()
    for purpose in purposes:
        wrong = wrong_pressure(purpose, setup)
        if wrong is not None:
            raise UseError(wrong)
    return purposes


def _passed(bench: Bench, kind: str) -> bool:
    check = bench.state.checks.get(kind)
    return check is not None and check.passed


def _round(purposes: tuple[acts.Purpose, ...], paper: tuple[tuple[str, float | str], ...], bench: Bench, console: Console) -> None:
    bench.act(acts.BeginRound(purposes, paper))
    for number, purpose in enumerate(purposes, 1):
        if len(purposes) > 1:
            console.tell_plainly(f"{number} of {len(purposes)}")
        while True:
            done = console.carry_out(purpose, AIR_HINT)
            if done.analysed.check is not None:
                break
            if len(purposes) == 1:
                raise BorewrightError(_nothing(done))
            console.tell_plainly(f"! {_nothing(done)}")
            if console.ask("  [Enter makes this one again, quit ends]").lower() in ("quit", "q"):
                raise NotReadyError("ended by the person")


def _nothing(done: Done) -> str:
    hint = "see that the hose is off the engine and its end closed off as asked, and make the check again"
    return f"the check came to nothing: {(done.analysed.void_reason or 'no reason').rstrip('.')}; {hint}"


def _by_bore(args: argparse.Namespace, bench: Bench) -> None:
    from borewright.units import parse

    bore_m, u_m = parse(args.bore, "length"), parse(args.bore_u, "length") / 2.0
    if not (1e-4 <= bore_m <= 1e-2 and 0.0 <= u_m <= bore_m / 4.0):
        raise UseError(f"a bore of {args.bore}, known to {args.bore_u}, cannot be that of a restrictor; between 0.1 and 10 mm can")
    bench.act(acts.StateBore(bore_m, u_m, args.bore_form))


# ---------------------------------------------------------------------- true TDC


def _by_piston_stop(args: argparse.Namespace, bench: Bench, console: Console) -> None:
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
            _over_the_index(console, lambda: bench.state.stop is not None)


def _last_side(stop: PistonStop) -> str | None:
    return stop.contacts[-1].side if stop.contacts else None


def _by_another_way(args: argparse.Namespace, bench: Bench, console: Console) -> None:
    methods: dict[str, Literal["dial_gauge", "timing_mark", "locking_pin"]] = {
        "dial-gauge": "dial_gauge",
        "timing-mark": "timing_mark",
        "locking-pin": "locking_pin",
    }
    method = methods[args.by]
    figure = _drop_m(console) if method == "dial_gauge" else _degrees(console, method)
    bench.act(acts.BeginTdcWay(method, args.cylinder, figure, args.backlash))
    while (way := bench.state.tdc_way) is not None:
        if way.step == "readings":
            console.ask(f"> {way.prompt}\n  [Enter when it stands there]")
            console.turn_for(1.2)
            bench.act(acts.TakeTdcReading())
        elif way.step == "clear":
            console.ask(f"> {way.prompt}\n  [Enter when it is out of the way]")
            bench.act(acts.ConfirmPinRemoved())
        else:
            _over_the_index(console, lambda: bench.state.tdc_way is not None)


def _over_the_index(console: Console, still_missing: Callable[[], bool]) -> None:
    console.ask("> Turn the crank by hand two whole turns in the running direction.\n  [Enter when done]")
    if still_missing():
        console.tell_plainly("No index pulse was seen; check the encoder's index wire, and turn again.")


def _drop_m(console: Console) -> float:
    from borewright.units import UnitsError, parse

    question = "> Set the dial gauge to zero where the piston is highest. At which drop below the top will it be read?"
    while True:
        line = console.ask(f"{question}\n  [a length with its unit, like 1.0 mm; Enter for 1 mm]")
        try:
            drop_m = parse(line, "length") if line else 1e-3
        except UnitsError as wrong:
            console.tell_plainly(f"  {wrong}")
            continue
        if 0.0 < drop_m < LARGEST_DROP_M:
            return drop_m
        console.tell_plainly(f"  a drop of {line} cannot be read at the top of a stroke; 0.5 to 5 mm serve best")


def _degrees(console: Console, method: Literal["timing_mark", "locking_pin"]) -> float:
    what = "does the timing mark stand for" if method == "timing_mark" else "does the locking pin hold the crank"
    while True:
        line = console.ask(f"> How many degrees before TDC {what}?\n  [a number, negative after TDC; Enter for TDC itself]")
        try:
            degrees = float(line.replace(",", ".").removesuffix("°").strip()) if line else 0.0
        except ValueError:
            degrees = float("nan")
        if abs(degrees) <= DEGREES_OFF[method]:
            return degrees
        console.tell_plainly(f"  {line!r} cannot be used here; type a number of degrees, {DEGREES_OFF[method]:g} at most")
