"""The rig's checks as a person at a terminal goes through them."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

from borewright.cli.rig_options import orifice_purposes_of, paper_of
from borewright.errors import BorewrightError, NotReadyError, UseError
from borewright.service import acts
from borewright.service.rig_purposes import (
    AIR_HINT,
    came_to_nothing,
    needed_before,
    next_side,
    sealed_purposes,
    span_purposes,
    volume_purposes,
)
from borewright.service.rig_stated import bore_of, degrees_of, drop_of

if TYPE_CHECKING:
    from borewright.cli.console import Console
    from borewright.core.rig import CheckKind, RigCheck, RigSetup
    from borewright.service.bench import Bench

__all__ = ["KIND_OF", "make_check"]

KIND_OF: dict[str, CheckKind] = {
    "zero": "zero",
    "span": "span",
    "sealed": "sealed",
    "restrictor": "restrictor",
    "accept": "acceptance",
    "volume": "volumes",
    "tdc": "tdc",
}


def make_check(args: argparse.Namespace, bench: Bench, console: Console) -> RigCheck:
    """Guide the person through the check that args name; gives what it found."""
    kind = KIND_OF[args.check]
    before = bench.state.checks.get(kind)
    if args.check == "restrictor" and args.bore is not None:
        _by_bore(args, bench)
    else:
        purposes = _purposes(args, bench.state.setup)
        console.take_zero()
        needed_before(kind, bench.state.checks)
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
            return sealed_purposes(tuple(args.pressure or ()), setup)
        case "span":
            return span_purposes(tuple(args.pressure or ()), setup, rising_only=args.rising_only)
        case "restrictor":
            return orifice_purposes_of(args)
        case "accept":
            return orifice_purposes_of(args, "acceptance")
        case "volume":
            return volume_purposes(orifice_purposes_of(args, "volumes"))
        case _:
            return ()


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
                raise BorewrightError(came_to_nothing(done))
            console.tell_plainly(f"! {came_to_nothing(done)}")
            if console.ask("  [Enter makes this one again, quit ends]").lower() in ("quit", "q"):
                raise NotReadyError("ended by the person")


def _by_bore(args: argparse.Namespace, bench: Bench) -> None:
    bench.act(bore_of(args.bore, args.bore_u, args.bore_form))


# ---------------------------------------------------------------------- true TDC


def _by_piston_stop(args: argparse.Namespace, bench: Bench, console: Console) -> None:
    bench.act(acts.BeginTdc(args.cylinder, args.backlash))
    console.ask(f"> Screw the piston stop into cylinder {args.cylinder}.\n  [Enter when done]")
    while (stop := bench.state.stop) is not None:
        if stop.step == "contacts":
            console.ask(f"> {stop.prompt}\n  [Enter when the piston rests against the stop]")
            console.turn_for(1.2)
            bench.act(next_side(stop))
        elif stop.step == "remove_stop":
            console.ask(f"> {stop.prompt}\n  [Enter when the stop is out]")
            bench.act(acts.ConfirmStopRemoved())
        else:
            _over_the_index(console, lambda: bench.state.stop is not None)


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
    question = "> Set the dial gauge to zero where the piston is highest. At which drop below the top will it be read?"
    while True:
        line = console.ask(f"{question}\n  [a length with its unit, like 1.0 mm; Enter for 1 mm]")
        try:
            return drop_of(line)
        except UseError as wrong:
            console.tell_plainly(f"  {wrong}")


def _degrees(console: Console, method: Literal["timing_mark", "locking_pin"]) -> float:
    what = "does the timing mark stand for" if method == "timing_mark" else "does the locking pin hold the crank"
    while True:
        line = console.ask(f"> How many degrees before TDC {what}?\n  [a number, negative after TDC; Enter for TDC itself]")
        try:
            return degrees_of(line, method)
        except UseError as wrong:
            console.tell_plainly(f"  {wrong}")
