"""What measure and rig have in common: their options, and a bench at an open port with what the record knows of the rig."""

from __future__ import annotations

import argparse
import getpass
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from borewright.cli.ended import ended_like_ctrl_c
from borewright.cli.record_file import add_record_argument, db_words, open_store
from borewright.errors import LinkError, StoreError

if TYPE_CHECKING:
    from borewright.cli.console import Console
    from borewright.core.engine import Engine
    from borewright.service.bench import Bench, Done
    from borewright.service.conditions_of_air import AirConditions
    from borewright.store import Store

__all__ = ["add_rig_arguments", "at_the_rig", "kept_as", "login_name"]


def add_rig_arguments(parser: argparse.ArgumentParser, *, engine_needed: bool, port_needed: bool = True) -> None:
    """The options of every command that works at the rig."""
    parser.add_argument(
        "--port",
        metavar="URL",
        required=port_needed,
        help="the rig's port: a name (NAME,BAUD if not 500000), a pty, or socket://HOST:PORT",
    )
    parser.add_argument(
        "--engine", metavar="ENGINE", required=engine_needed, help="the engine file (TOML), or the name of an engine of the library"
    )
    add_record_argument(parser)
    parser.add_argument("--who", metavar="NAME", default=login_name(), help="who is at the rig (%(default)s)")
    parser.add_argument("--rig", metavar="FILE", type=Path, help="the rig file (TOML); kept until another is given")
    parser.add_argument("--ambient", metavar="PRESSURE", help="absolute pressure of the air around (101.3 kPa, marked as assumed)")
    parser.add_argument("--air-temp", metavar="T", help="temperature of the supplied air (20 °C, marked as assumed)")
    parser.add_argument("--engine-temp", metavar="T", help="temperature of the engine (that of the air, marked as assumed)")
    parser.add_argument("--json", action="store_true", help="print one JSON object; the guidance goes to the error stream")


def login_name() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""


@contextmanager
def at_the_rig(args: argparse.Namespace, engine: Engine | None) -> Iterator[tuple[Bench, Console, Store]]:
    """A bench at the port, known to the record, with a console that guides the person. On the way out it shuts and vents."""
    from borewright.cli.bell import ring
    from borewright.cli.console import Console, Lines
    from borewright.cli.job_cut_off import cut_off_lines
    from borewright.link import open_link
    from borewright.service.bench import Bench
    from borewright.service.cut_off import cut_off_tests
    from borewright.service.known_rig import usual_setup
    from borewright.service.rig_file import load_rig_file
    from borewright.service.set_clock import set_back_words
    from borewright.store.writer import StoreWriter

    setup = load_rig_file(args.rig) if args.rig is not None else None
    ambient = _ambient(args)
    out = sys.stderr if args.json else sys.stdout
    with open_store(args) as store:
        for line in cut_off_lines(cut_off_tests(store), args.db):  # told, and not asked: nobody may be there to answer
            print(line, file=out, flush=True)
        if (words := set_back_words(store.latest_unix_s(), time.time())) is not None:
            print(f"! {words}", file=out, flush=True)
        endpoint = open_link(args.port)
        writer = StoreWriter(store)
        console = Console(Lines(sys.stdin), lambda text: print(text, file=out, flush=True), lambda: ring(out))
        bench = Bench(endpoint, writer, wall_clock=time.time, tell=console.tell, engine=engine, who=args.who, ambient=ambient)
        console.attend(bench)
        try:
            with ended_like_ctrl_c():
                serial = console.meet_the_rig()
                if setup is not None:
                    store.save_rig(serial, setup)
                bench.use_setup(store.get_rig(serial) or usual_setup(engine))
                bench.know_checks(store.latest_rig_checks(serial))
                yield bench, console, store
        finally:
            try:
                _leave(bench, console)
            finally:  # also where nothing can be printed any more
                written = writer.close()
                endpoint.close()
        if not written:
            raise StoreError(f"{args.db} is on a disk too slow to keep up; the last of the record may be missing")


def _leave(bench: Bench, console: Console) -> None:
    """Shut and vent, and stay until the gauges are down; then say what has become of the air and of a test that was under way.

    The device's word that it has vented is no proof: a valve may hang.
    """
    from borewright.cli.console import BY_HAND
    from borewright.service.facts import said_vented

    tests = len(bench.done)
    console.tell_once_vented()
    bench.take_leave()
    if bench.state.pressurised:
        if said_vented(bench.state):
            console.tell_plainly("supply shut, vent open; turn and undo nothing until the gauges are down")
        with suppress(LinkError, KeyboardInterrupt):
            console.stay_until_vented()
    console.tell_once_vented()
    for done in bench.done[tests:]:
        console.tell_plainly(f"what was recorded is kept, as void: {done.analysed.void_reason}")
    if bench.state.pressurised:
        console.sound(f"the gauges have not been seen down: {BY_HAND}")


def _ambient(args: argparse.Namespace) -> AirConditions:
    from borewright.service.conditions_of_air import stated_air

    return stated_air(args.ambient or "", args.air_temp or "", args.engine_temp or "", ("--ambient", "--air-temp", "--engine-temp"))


def kept_as(bench: Bench, done: Done, db: Path) -> tuple[int, str | None]:
    """The id of a capture in the record, and why it is void there. Raises StoreError when it is not whole in the record."""
    from borewright.store.writer import CaptureKept, CaptureLost

    for word in bench.writer_news:
        if isinstance(word, CaptureKept) and word.ticket == done.ticket:
            return word.capture_id, word.void_reason
        if isinstance(word, CaptureLost) and word.ticket == done.ticket:
            if word.cut_off is None:
                raise StoreError(f"the test is not in the record: {word.reason}")
            raise StoreError(
                f"the end of test {word.cut_off} could not be recorded ({word.reason}); what came before it is kept as of a "
                f"test that was cut off: borewright job cut-off --finish {word.cut_off}{db_words(db)} makes of it what it holds"
            )
    raise StoreError("the record has not said that it kept the test; look at it with borewright job show, and test again")
