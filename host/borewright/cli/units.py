"""borewright units: which units numbers are shown in."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from borewright.cli import exits
from borewright.cli.output import print_json, table_lines
from borewright.cli.shown import VARIABLE
from borewright.errors import UseError
from borewright.service.shown_units import user_settings_path

if TYPE_CHECKING:
    from borewright.units import Dimension

__all__ = ["EXAMPLE", "add_arguments", "run"]

EXAMPLE = f"""examples:
  borewright units show
  borewright units set pressure bar
  borewright units set all inch
  borewright units reset
  borewright job show "hill-climb 7" --units inch,pressure=bar

Kinds are pressure (gauge), ambient (absolute), length, area, volume, temperature, torque and flow. `all` takes metric or inch.
For one run use --units or the variable {VARIABLE}. JSON stays in SI and is not changed by this."""

USUAL = "as it is usual where it stands"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The subcommands of units."""
    subcommands = parser.add_subparsers(dest="subcommand", metavar="SUBCOMMAND")
    for name, what in (
        ("show", "what has been chosen, and what there is"),
        ("set", "choose the unit of a kind of quantity"),
        ("reset", "forget what was chosen, of all kinds"),
    ):
        made = subcommands.add_parser(
            name,
            help=what,
            description=what[0].upper() + what[1:] + ".",
            epilog=f"{EXAMPLE}\n\n{exits.HELP}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        if name == "set":
            made.add_argument(
                "kind", metavar="KIND", help="pressure, ambient, length, area, volume, temperature, torque, flow, or all"
            )
            made.add_argument("unit", metavar="UNIT", help='like bar, in², "L/min ANR"; for all: metric or inch')
        if name == "show":
            made.add_argument("--json", action="store_true", help="one JSON object")
    parser.set_defaults(subcommand="show", json=False)


def run(args: argparse.Namespace) -> int:
    """Show, set or reset. Raises UseError for a kind or unit that is none, or where the choice cannot be kept."""
    from borewright.service.unit_settings import load_units, save_units

    path = user_settings_path()
    kept, notice = load_units(path)
    if args.subcommand == "set":
        wanted = _wanted(args.kind, args.unit)
        save_units(path, kept | wanted)
        print("\n".join(f"{kind} is shown in {unit}" for kind, unit in _by_kind(wanted).items()))
    elif args.subcommand == "reset":
        save_units(path, {})
        print("numbers are shown in the units that are usual where they stand")
    elif args.json:
        print_json({"file": str(path), "notice": notice, "units": _by_kind(kept)})
    else:
        print("\n".join(_lines(kept)))
        print(f"kept in {path}" if path.exists() else f"nothing has been chosen; a choice is kept in {path}")
        if notice is not None:
            print(notice)
    return exits.OK


def _wanted(kind: str, unit: str) -> dict[Dimension, str]:
    from borewright.service.unit_settings import SYSTEMS, unit_of

    if kind.strip().lower() != "all":
        return dict([unit_of(kind, unit)])
    if unit.strip().lower() not in SYSTEMS:
        raise UseError(f"{unit.strip()!r} is no system of units; there are {' and '.join(SYSTEMS)}")
    return dict(SYSTEMS[unit.strip().lower()])


def _by_kind(chosen: dict[Dimension, str]) -> dict[str, str]:
    from borewright.service.unit_settings import KINDS

    return {kind: chosen[dimension] for kind, dimension in KINDS.items() if dimension in chosen}


def _lines(kept: dict[Dimension, str]) -> list[str]:
    from borewright.service.unit_settings import KINDS
    from borewright.units import UNITS

    rows = [[kind, kept.get(dimension, USUAL), ", ".join(UNITS[dimension])] for kind, dimension in KINDS.items()]
    return table_lines(["kind", "shown in", "there are"], rows)
