"""borewright conform: try any device against PROTOCOL.md and interlock.toml, and write a dated verdict."""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from borewright.cli import exits
from borewright.cli.ended import ended_like_ctrl_c
from borewright.errors import NotReadyError, UseError

if TYPE_CHECKING:
    from borewright.cli.conform_progress import Progress
    from borewright.conform.hands import Hands
    from borewright.conform.verdict import Verdict

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright conform --port /dev/ttyACM0
  borewright conform --port /dev/ttyACM0 --air --hands --out verdict.txt --json verdict.json
  borewright conform --port socket://127.0.0.1:7000 --air --air-is-off --control 127.0.0.1:7001
  borewright conform --list

Without --air nothing that is sent lets air in. With it the device drives its valves: shut the air supply off and vent the rig
first. At the end, however it comes, the device is told to vent and to stop its stream. Exit code 1: something failed, or nothing
could be tried; 3: the line was lost, which is no verdict. After Ctrl-C the files say what was found so far, and
that the run was broken off."""

STATEMENT = """With --air the device will drive its supply and its vent, again and again.
Shut the air supply off or take its hose off, vent the rig, see that its gauges show nothing, and keep clear of crank and valves.
What the makers of engine and rig say, local rules and licensed practice come first.
Type off when the air supply is off and the rig is vented: """


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of conform."""
    parser.add_argument("--port", metavar="URL", help="the port of the device: a name, or socket://HOST:PORT")
    parser.add_argument("--air", action="store_true", help="also try what drives the valves; asks whether the air supply is off")
    parser.add_argument(
        "--air-is-off", action="store_true", help="with --air, for scripts: states that the air supply is shut off and vented"
    )
    who = parser.add_mutually_exclusive_group()
    who.add_argument("--hands", action="store_true", help="also try what somebody at the rig has to do, asked for at the console")
    who.add_argument("--control", metavar="HOST:PORT", help="the same with the person at a simulated rig, at its control address")
    parser.add_argument("--only", metavar="NAME", action="append", default=[], help="try this check only; may be given again")
    parser.add_argument("--list", action="store_true", help="list the checks, and end")
    parser.add_argument("--out", metavar="FILE", type=Path, help="write the verdict in words; the file must not be there yet")
    parser.add_argument(
        "--json", metavar="FILE|-", help="write it as JSON; - prints it alone and tells the progress on the error stream"
    )


def run(args: argparse.Namespace) -> int:
    """Try the device. Raises UseError, LinkError when there is none, NotReadyError when the air was not said to be off."""
    from borewright.conform.suite import SUITE
    from borewright.conform.verdict import Ending

    if args.list:
        for check in SUITE:
            print(f"{check.name:32} {check.requirement} [{check.section}]")
        return exits.OK
    _sensible(args, {check.name for check in SUITE})
    if args.air and not args.air_is_off:
        _ask_for_the_statement()
    verdict = _try(args)
    _write(args, verdict)
    if verdict.ending is Ending.COMPLETE:
        return exits.OK if verdict.conforms else exits.UNUSABLE
    return exits.RIG if verdict.ending is Ending.LINE_LOST else exits.INTERRUPTED


def _sensible(args: argparse.Namespace, names: set[str]) -> None:
    if args.port is None:
        raise UseError("no port was named; give the device's as --port, and `borewright ports` lists those of this computer")
    if args.air_is_off and not args.air:
        raise UseError("--air-is-off states something for --air, which was not given; give both, or neither")
    unknown = [name for name in args.only if name not in names]
    if unknown:
        raise UseError(f"{unknown[0]!r} is no check; `borewright conform --list` lists them")
    json_path = None if args.json in (None, "-") else Path(args.json)
    if args.out is not None and args.out == json_path:
        raise UseError(f"--out and --json both name {args.out}; give each a file of its own")
    for path in (args.out, json_path):
        if path is None:
            continue
        if path.exists():
            raise UseError(f"{path} is there already and was left alone; name another file")
        if not (path.parent.is_dir() and os.access(path.parent, os.W_OK)):  # told now, not after minutes of trying
            raise UseError(f"{path.parent} is no folder that can be written to; make it first, or name a file in another one")


def _ask_for_the_statement() -> None:
    print(STATEMENT, end="", file=sys.stderr, flush=True)
    if sys.stdin.readline().strip().lower() != "off":
        raise NotReadyError(
            "the air supply was not said to be off, so nothing was tried; shut it off, vent, and type off when asked"
        )


def _try(args: argparse.Namespace) -> Verdict:
    from datetime import datetime

    from borewright import __version__
    from borewright.cli.conform_progress import Progress
    from borewright.conform.suite import BrokenOff, run_suite
    from borewright.conform.verdict import Verdict
    from borewright.link import open_link

    date = datetime.now().astimezone().isoformat(timespec="seconds")
    told = Progress(sys.stderr if args.json == "-" else sys.stdout)
    endpoint = open_link(args.port)
    try:
        with ended_like_ctrl_c():
            done = run_suite(endpoint, only=args.only, air=args.air, hands=_hands(args, told), tell=told, about=told.about)
    except BrokenOff as broken:
        done = broken.run
    finally:
        endpoint.close()
        told.end()
    return Verdict(date, args.port, f"borewright {__version__}", done.device, done.channels, done.results, done.ending)


def _hands(args: argparse.Namespace, told: Progress) -> Hands | None:
    if args.hands:
        from borewright.cli.bell import ring
        from borewright.cli.conform_hands import ConsoleHands

        def call(line: str) -> None:
            told.clear()
            ring(sys.stderr)
            print(line, file=sys.stderr, flush=True)

        return ConsoleHands(sys.stdin, call)
    if args.control is not None:
        from borewright.cli.conform_hands import control_hands

        return control_hands(args.control)
    return None


def _write(args: argparse.Namespace, verdict: Verdict) -> None:
    from borewright.cli.output import print_json
    from borewright.conform.verdict import summary_lines, verdict_as_dict, verdict_lines

    files = {}
    if args.out is not None:
        files[args.out] = "\n".join(verdict_lines(verdict)) + "\n"
    if args.json not in (None, "-"):
        files[Path(args.json)] = json.dumps(verdict_as_dict(verdict), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    for path, text in files.items():
        try:
            with path.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
        except OSError as error:
            raise UseError(f"{path} cannot be written ({error.strerror}); the verdict is not kept") from error
    if args.json == "-":
        print_json(verdict_as_dict(verdict))
        print("\n" + "\n".join(summary_lines(verdict)), file=sys.stderr)
    else:
        print("\n" + "\n".join(summary_lines(verdict)))
