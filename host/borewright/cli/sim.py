"""borewright sim: the simulated rig on a pseudo terminal or a network port, for this or any other program."""

from __future__ import annotations

import argparse
import signal
import sys
import threading

from borewright.cli import exits
from borewright.cli.output import print_json
from borewright.errors import UseError

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright sim --list
  borewright sim --scenario hillclimb-before --tcp 127.0.0.1:0
  borewright sim --scenario hillclimb-before --pty --speed 10

It prints "control HOST:PORT" and "port NAME", each on a line of its own; NAME is what other commands take as --port. At the control
address each line of words is an act of the person at the rig ("help" lists them), answered by a line. Ctrl-C or a terminate signal
ends it with exit code 0."""

HIGHEST_PORT = 65535
HIGHEST_SPEED = 1000.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of sim."""
    parser.add_argument("--list", action="store_true", help="list the scenarios that come with the program, and end")
    parser.add_argument("--scenario", metavar="NAME|FILE", help="a scenario that --list shows, or a scenario file")
    where = parser.add_mutually_exclusive_group()
    where.add_argument("--pty", action="store_true", help="serve on a pseudo terminal (not on Windows)")
    where.add_argument("--tcp", metavar="HOST:PORT", type=_address, help="serve on a network port; port 0 takes a free one")
    parser.add_argument(
        "--speed", metavar="X|max", type=_speed, default=1.0, help="so many times as fast as a real rig, or as fast as it goes"
    )
    parser.add_argument("--seed", metavar="N", type=int, help="another draw of noise and of the person's inaccuracy")
    parser.add_argument(
        "--control-port",
        metavar="N",
        type=_port,
        default=0,
        help="where control lines are taken on 127.0.0.1 (default: a free port)",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on each line")


def run(args: argparse.Namespace) -> int:
    """Serve until told to end. Raises UseError."""
    from borewright.simrig.serving import scenarios, serve

    if args.list:
        for words in scenarios():
            if args.json:
                print_json({"scenario": words.name, "stage": words.stage, "story": words.story})
            else:
                print(f"{words.name:25} {words.stage:8} {words.story}")
        return exits.OK
    if args.scenario is None:
        raise UseError("no scenario was named; choose one that `borewright sim --list` shows, and give it as --scenario NAME")
    if not args.pty and args.tcp is None:
        raise UseError("no address was named; add --pty for a pseudo terminal or --tcp 127.0.0.1:0 for a network port")
    stop = threading.Event()
    before = signal.signal(signal.SIGTERM, lambda _number, _frame: stop.set())
    try:
        serve(
            args.scenario,
            tcp=args.tcp,
            say=lambda line: _say(line, args.json),
            speed=args.speed,
            seed=args.seed,
            control_port=args.control_port,
            stop=stop,
        )
    except KeyboardInterrupt:
        pass  # the way to end it: the line is hung up by now, and nothing was asked for that is not done
    finally:
        signal.signal(signal.SIGTERM, before)
    return exits.OK


def _say(line: str, as_json: bool) -> None:
    word, _, rest = line.partition(" ")
    if word == "warning":
        print(f"borewright sim: {rest}", file=sys.stderr, flush=True)
    elif as_json:
        print_json({word: rest})
    else:
        print(line, flush=True)


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) <= HIGHEST_PORT):
        raise argparse.ArgumentTypeError(f"{text!r} is no port number; give one from 0 (any free one) to {HIGHEST_PORT}")
    return int(text)


def _address(text: str) -> tuple[str, int]:
    host, colon, port = text.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not colon or not host:
        raise argparse.ArgumentTypeError(f"{text!r} is no address; write it like 127.0.0.1:0")
    return host, _port(port)


def _speed(text: str) -> float | None:
    if text == "max":
        return None
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 0.0 < speed <= HIGHEST_SPEED:
        raise argparse.ArgumentTypeError(f"{text!r} is no speed; give a number over 0 and up to {HIGHEST_SPEED:g}, or max")
    return speed
