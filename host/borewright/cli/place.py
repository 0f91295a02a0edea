"""borewright place: where the air of a cylinder goes: noted, heard, stopped, measured, shown."""

from __future__ import annotations

import argparse
import importlib
from typing import Any

from borewright.cli.subcommands import add_subcommand

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright place note Larch --stage before --cylinder 3 exhaust=strong breather=faint
  borewright place flow Larch --stage before --port /dev/ttyACM0 --cylinder 3 --place breather --orifice-area "20 mm^2"
  borewright place stop-off Larch --stage before --port /dev/ttyACM0 --cylinder 3 --stop coolant
  borewright place wet Larch --stage before --port /dev/ttyACM0 --cylinder 3 --oil "3 cm^3"
  borewright place show Larch --stage before
  borewright place drop 12 --reason "wrong cylinder"

note, show, drop and restore work on the record alone, the others at the rig. A place is stopped only with a gauge
and its own relief valve on it."""

SUBCOMMANDS = {
    "note": (
        "place_note",
        "keep what was heard, seen or photographed at the places of a cylinder",
        "borewright place note Larch --stage before --cylinder 3 exhaust strong",
    ),
    "stop-off": (
        "place_stop_off",
        "read a cylinder again at reduced pressure with places stopped, gauge and relief on each",
        "borewright place stop-off Larch --stage before --port /dev/ttyACM0 --cylinder 3 --stop coolant",
    ),
    "flow": (
        "place_flow",
        "measure what comes out at a place through a known orifice, at next to no pressure there",
        'borewright place flow Larch --stage before --port /dev/ttyACM0 --cylinder 3 --place breather --orifice-area "20 mm^2"',
    ),
    "wet": (
        "place_wet",
        "test a cylinder again with a measured dose of oil on its rings",
        'borewright place wet Larch --stage before --port /dev/ttyACM0 --cylinder 3 --oil "3 cm^3"',
    ),
    "show": (
        "place_show",
        "where the air of each cylinder goes, what that means, and what to do next",
        "borewright place show Larch --stage before --cylinder 3",
    ),
    "drop": (
        "place_drop",
        "take a finding back: it is kept but counts no more; place show tells its number",
        'borewright place drop 12 --reason "wrong cylinder"',
    ),
    "restore": ("place_drop", "let a dropped finding count again", "borewright place restore 12"),
}


class _WordsAnywhere(argparse.ArgumentParser):
    """Words may stand before, between and after the options: `note Larch --cylinder 3 exhaust strong`."""

    _intermixed = False

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As in argparse, which by itself takes all free words at the first place where there are any."""
        if self._intermixed:
            return super().parse_known_args(args, namespace)
        self._intermixed = True
        try:
            return super().parse_known_intermixed_args(args, namespace)
        finally:
            self._intermixed = False


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The subcommands of place."""
    subcommands = parser.add_subparsers(dest="subcommand", metavar="SUBCOMMAND", required=True, parser_class=_WordsAnywhere)
    for name, (module, what, example) in SUBCOMMANDS.items():
        subparser = add_subcommand(subcommands, name, what, example)
        importlib.import_module(f"borewright.cli.{module}").add_arguments(subparser)


def run(args: argparse.Namespace) -> int:
    """Carry out one of them."""
    return int(importlib.import_module(f"borewright.cli.{SUBCOMMANDS[args.subcommand][0]}").run(args))
