"""Numbers in the units that the person has chosen: by --units, by BOREWRIGHT_UNITS, or kept with `borewright units set`.

JSON never goes through here: its keys name the unit, and they stay as they are.
"""

from __future__ import annotations

import argparse
import os
import sys
from typing import TYPE_CHECKING

from borewright.errors import UseError
from borewright.service.shown_units import ShownUnits, user_settings_path

if TYPE_CHECKING:
    from borewright.units import Dimension

__all__ = ["VARIABLE", "add_units_argument", "chosen_units", "shown_units"]

VARIABLE = "BOREWRIGHT_UNITS"


def add_units_argument(parser: argparse.ArgumentParser) -> None:
    """The option --units WORDS."""
    parser.add_argument(
        "--units",
        metavar="WORDS",
        help="units to show in, for this run: metric, inch, KIND=UNIT, or some of them divided by commas (see borewright units)",
    )


def shown_units(args: argparse.Namespace) -> ShownUnits:
    """The units for this run, for printing. Raises UseError as chosen_units does."""
    return ShownUnits(chosen_units(args))


def chosen_units(args: argparse.Namespace) -> dict[Dimension, str]:
    """The units for this run: what is kept, over it the variable, over it the option. A notice goes to the error stream.

    Raises UseError where variable or option cannot be understood.
    """
    from borewright.service.unit_settings import chosen_by, load_units

    chosen, notice = load_units(user_settings_path())
    if notice is not None:
        print(notice, file=sys.stderr)
    for said, words in ((VARIABLE, os.environ.get(VARIABLE)), ("--units", getattr(args, "units", None))):
        if words:
            try:
                chosen |= chosen_by(words)
            except UseError as error:
                raise UseError(f"{said}: {error}") from None
    return chosen
