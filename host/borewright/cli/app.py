"""borewright app: the window program."""

from __future__ import annotations

import argparse
from pathlib import Path

from borewright.cli.record_file import DEFAULT_RECORD
from borewright.cli.shown import add_units_argument, chosen_units

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = """examples:
  borewright app
    the window on the built-in simulated rig, with a guided first job; nothing else is needed
  borewright app --port /dev/ttyACM0
    the window at a rig; the port is remembered
  borewright app --scenario burnt-exhaust-valve
    another engine on the built-in rig; `borewright sim --list` says which there are"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of the window program."""
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--port", metavar="URL", default="", help="the rig's port: a name (NAME,BAUD if not 500000), a pty, or socket://HOST:PORT"
    )
    where.add_argument("--scenario", metavar="NAME", default="", help="the built-in rig with this scenario, or one in a file")
    parser.add_argument(
        "--db",
        metavar="FILE",
        type=Path,
        help=f"the record file (default: {DEFAULT_RECORD} in this folder; borewright-practice.db with the built-in rig)",
    )
    parser.add_argument("--who", metavar="NAME", default="", help="who is at the rig")
    add_units_argument(parser)


def run(args: argparse.Namespace) -> int:
    """Show the window until it is closed. Raises UseError for units that cannot be understood."""
    from borewright.app.main import Options
    from borewright.app.main import run as show
    from borewright.app.settings import window_settings_path
    from borewright.cli.at_the_rig import login_name
    from borewright.service.shown_units import user_settings_path

    units_path = user_settings_path()
    return show(
        Options(
            settings_path=window_settings_path(units_path),
            units_path=units_path,
            record=args.db,
            port=args.port,
            scenario=args.scenario,
            who=args.who,
            login=login_name(),
            units=chosen_units(args),
        )
    )
