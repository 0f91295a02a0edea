"""borewright: the program's one entry. Only the command that is wanted is loaded, so that --help is quick."""

from __future__ import annotations

import argparse
import contextlib
import errno
import importlib
import io
import os
import re
import sys
from collections.abc import Iterator, Sequence
from functools import partial

from borewright import __version__
from borewright.cli import exits
from borewright.errors import BorewrightError

__all__ = ["main"]

COMMANDS = {
    "app": "the window: the whole job on the screen, with a built-in rig to learn it on",
    "demo": "a whole before-and-after job on the simulated rig, in a minute",
    "measure": "test one cylinder",
    "rig": "check and calibrate the rig: zero, span, sealed, restrictor, volume, true TDC",
    "place": "where the air of a cylinder goes: note, stop-off, wet, flow, show",
    "job": "list and show what has been recorded",
    "report": "the customer's report of a job as a PDF",
    "engine": "the library of engines: list, show, add, edit, copy, remove, restore",
    "compare": "before against after, cylinder by cylinder; the trend of an engine",
    "record": "keep the record file safe: check, backup, restore",
    "units": "choose the units that numbers are shown in",
    "sim": "serve the simulated rig on a serial line or a network port",
    "wire": "record, replay and read what goes over the wire",
    "conform": "try any device against the wire's page and the interlock table, and write a verdict",
    "ports": "list the serial ports",
    "doctor": "what is installed, what rig answers, how good the link is",
}

# what commands a terminal or turns the writing round, but for line ends; written out as JSON does it, so that JSON stays the same
_COMMANDS = re.compile("[\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f-\\x9f\\u061c\\u200e\\u200f\\u2028-\\u202e\\u2066-\\u2069]")
CANNOT_PRINT = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO)  # a full disk, or a terminal that has gone

CAUTION = (
    "Compressed air can swing the crank without warning. The engine maker's manual, local rules and licensed practice come first; "
    "this program is an aid to judgement. Read the cautions in README.md before the first test."
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code (borewright.cli.exits)."""
    # the matrices of a fit are small: threads that share one out cost a hundred times what they bring
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with _letters_only():
        return _heard(list(sys.argv[1:] if argv is None else argv))


def _heard(words: list[str]) -> int:
    """Run one command, and say so where what it prints goes nowhere."""
    try:
        try:
            return _command(words)
        finally:
            _flush()  # what does not go out has to be told now: after the end nobody can
    except BrokenPipeError:  # the reader of our output has gone: nobody is left to be told
        _print_no_more()
        sys.stderr.close()
        return exits.OK
    except OSError as error:
        if error.filename is not None or error.errno not in CANNOT_PRINT:  # files have names, and their commands tell of them
            raise
        _print_no_more()
        print(
            f"borewright: what it had to say cannot be written ({error.strerror or error}); {_left_behind(words)}free space, or "
            "let it print somewhere else",
            file=sys.stderr,
        )
        return exits.OUTPUT


def _left_behind(words: list[str]) -> str:
    """What has become of the rig and of the test, where the command was one that works at a rig."""
    at_rig = any(word.startswith("--po") for word in words) or words[:1] in (["app"], ["demo"])
    return "a rig with valves has been told to shut and vent, and what was recorded is kept; " if at_rig else ""


def _flush() -> None:
    if sys.stdout is not None and not sys.stdout.closed:
        sys.stdout.flush()


def _print_no_more() -> None:
    """What still waits goes nowhere, else it would fail once more when the interpreter ends."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
        sys.stdout.flush()


def _command(words: list[str]) -> int:
    """Find the command and run it."""
    for word in words:
        if not _is_text(word):
            shown = word.encode("ascii", "replace").decode()[:80]
            print(
                f"borewright: {shown!r} has bytes that are no text in this terminal's code; type it anew in UTF-8", file=sys.stderr
            )
            return exits.USE
    parser = argparse.ArgumentParser(
        prog="borewright",
        description="Leak-down testing with an instrumented rig. " + CAUTION,
        epilog="commands:\n"
        + "\n".join(f"  {name:9} {what}" for name, what in COMMANDS.items())
        + "\n\nexample:\n  borewright demo --out hillclimb\n\n"
        + exits.HELP,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        usage="borewright [--help] [--version] COMMAND ...",
    )
    parser.add_argument("--version", action="version", version=f"borewright {__version__}")
    parser.add_argument("command", choices=COMMANDS, metavar="COMMAND", help="one of those below; COMMAND --help tells more")
    chosen = parser.parse_args(words[:1])
    return _run(chosen.command, words[1:])


def _is_text(word: str) -> bool:
    """Whether it can be kept and shown; the bytes of a word that are none come in as half letters (PEP 383)."""
    try:
        word.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


@contextlib.contextmanager
def _letters_only() -> Iterator[None]:
    """A terminal that is not UTF-8 shows ? for a letter it has not, and one typed in another code is read as such a mark.

    Nothing that has been done may end in an error of printing, and nothing that is printed commands the terminal: names come from
    files, devices and records.
    """
    streams = [stream for stream in (sys.stdin, sys.stdout, sys.stderr) if isinstance(stream, io.TextIOWrapper)]
    for stream in streams:
        with contextlib.suppress(ValueError):  # closed: nothing will be printed there
            stream.reconfigure(errors="replace")
        stream.write = partial(_write_letters, stream)  # type: ignore[method-assign]
    try:
        yield
    finally:
        for stream in streams:
            vars(stream).pop("write", None)


def _write_letters(stream: io.TextIOWrapper, text: str) -> int:
    io.TextIOWrapper.write(stream, _COMMANDS.sub(lambda found: f"\\u{ord(found[0]):04x}", text))
    return len(text)


def _run(name: str, words: Sequence[str]) -> int:
    module = importlib.import_module(f"borewright.cli.{name}")
    parser = argparse.ArgumentParser(
        prog=f"borewright {name}",
        description=COMMANDS[name][0].upper() + COMMANDS[name][1:] + ".",
        epilog=f"{module.EXAMPLE}\n\n{exits.HELP}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    module.add_arguments(parser)
    args = parser.parse_args(words)
    try:
        return int(module.run(args))
    except BorewrightError as error:
        print(f"borewright {name}: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print(f"borewright {name}: stopped", file=sys.stderr)
        return exits.INTERRUPTED
