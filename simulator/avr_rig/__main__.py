"""python simulator/avr_rig: the simulated rig with the real firmware as its device, on a pseudo terminal or a network port."""

from __future__ import annotations

import argparse
import signal
import sys
import threading
from collections.abc import Sequence
from functools import partial
from pathlib import Path

# behind all else, so that an installed boresim comes before the folder of its sources, which lies beside this one
sys.path.append(str(Path(__file__).resolve().parents[1]))

from boresim.scenario import ScenarioError, load_scenario, scenario_names
from boresim.serve import ServeError, serve_pty, serve_tcp

from avr_rig.child import ChildError
from avr_rig.programs import BAUD, in_the_emulator, on_the_pc
from avr_rig.rig import FirmwareRig

HIGHEST_PORT = 65535
DESCRIPTION = """The simulated rig, with the reference firmware as its device: the microcontroller's own program in an emulator, or
with --pc the same firmware as a program of this computer. It prints "control HOST:PORT" and "port NAME"; at the control address
each line of words is an act of the person at the rig. Ctrl-C or a terminate signal ends it. Build the programs first: run `make all
host bench` in firmware_protocol/reference_firmware."""


def main(words: Sequence[str] | None = None) -> int:
    """Serve until told to end; the exit code: 1 with one sentence on stderr when it cannot."""
    parser = _parser()
    args = parser.parse_args(words)
    if args.link is not None and not args.pty:
        parser.error("--link names a pseudo terminal; give --pty with it")
    stop = threading.Event()
    before = signal.signal(signal.SIGTERM, lambda _number, _frame: stop.set())
    try:
        _serve(args, stop)
    except (ScenarioError, ServeError, ChildError, ValueError) as error:
        print(f"avr_rig: {error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        pass  # the way to end it
    finally:
        signal.signal(signal.SIGTERM, before)
    return 0


def _serve(args: argparse.Namespace, stop: threading.Event) -> None:
    scenario = load_scenario(args.scenario, args.seed)
    with (on_the_pc if args.pc else in_the_emulator)(args.baud) as child:
        rig = FirmwareRig(scenario, child)
        say = partial(print, flush=True)
        if args.tcp is not None:
            serve_tcp(rig, *args.tcp, speed=args.speed, say=say, stop=stop, control_port=args.control_port)
        else:
            serve_pty(rig, speed=args.speed, say=say, stop=stop, control_port=args.control_port, link=args.link)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="avr_rig", description=DESCRIPTION)
    parser.add_argument("--scenario", required=True, help=f"a scenario file, or one of {', '.join(scenario_names())}")
    where = parser.add_mutually_exclusive_group(required=True)
    where.add_argument("--pty", action="store_true", help="serve on a pseudo terminal")
    where.add_argument("--tcp", metavar="HOST:PORT", type=_address, help="serve on a network port; port 0 takes a free one")
    parser.add_argument("--link", metavar="FILE", type=Path, help="with --pty: keep FILE as a link to the terminal")
    parser.add_argument("--control-port", metavar="N", type=_port, default=0, help="of the control address on 127.0.0.1")
    parser.add_argument(
        "--speed", metavar="X|max", type=_speed, default=1.0, help="times as fast as a real rig; the emulator does 3 or more"
    )
    parser.add_argument("--seed", metavar="N", type=int, help="another draw of errors, noise and the person's inaccuracy")
    parser.add_argument("--baud", metavar="N", type=int, default=BAUD, help="line rate that the program was built for")
    parser.add_argument("--pc", action="store_true", help="the firmware as a program of this computer, without the emulator")
    return parser


def _port(words: str) -> int:
    if not words.isdecimal() or int(words) > HIGHEST_PORT:
        raise argparse.ArgumentTypeError(f"{words!r} is no port number; give one from 0 (any free one) to {HIGHEST_PORT}")
    return int(words)


def _address(words: str) -> tuple[str, int]:
    host, colon, port = words.rpartition(":")
    if not colon or not port.isdecimal() or int(port) > HIGHEST_PORT:
        raise argparse.ArgumentTypeError(f"{words!r} is no address; give for example 127.0.0.1:0")
    return host.removeprefix("[").removesuffix("]") or "127.0.0.1", int(port)


def _speed(words: str) -> float | None:
    if words == "max":
        return None
    try:
        return float(words)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{words!r} is no speed; give a number, or max") from None


if __name__ == "__main__":
    sys.exit(main())
