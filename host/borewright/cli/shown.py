"""Numbers in the units that the person has chosen: by --units, by BOREWRIGHT_UNITS, or kept with `borewright units set`.

JSON never goes through here: its keys name the unit, and they stay as they are.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from borewright.errors import UseError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from borewright.units import Dimension

__all__ = ["VARIABLE", "ShownUnits", "add_units_argument", "chosen_units", "shown_units", "user_settings_path"]

VARIABLE = "BOREWRIGHT_UNITS"
# digits after the point that show about as much in each unit
_DECIMALS_OF = {
    0: ("psi", "kPa", "hPa abs", "°C", "°F", "K", "lb·in"),
    1: ("kPa abs", "cm³", "N·m", "lb·ft", "L/min ANR", "L/min 20 °C", "L/min 0 °C"),
    2: ("bar", "psia", "inHg abs", "mm", "in³", "SCFM 60 °F"),
    3: ("bar abs", "mm²", "in"),
    4: ("L",),
    6: ("in²",),
}
_DECIMALS = {unit: decimals for decimals, units in _DECIMALS_OF.items() for unit in units}


class ShownUnits:
    """The units to print in. usual: the unit of a place where nothing has been chosen."""

    def __init__(self, chosen: Mapping[Dimension, str] | None = None) -> None:
        self._chosen = dict(chosen or {})

    def unit(self, dimension: Dimension, usual: str) -> str:
        """The unit of a dimension, as it stands in a heading."""
        return self._chosen.get(dimension, usual)

    def number(self, value_si: float, dimension: Dimension, usual: str, finer: int = 0, *, signed: bool = False) -> str:
        """The number alone; finer: so many digits more than usual."""
        from borewright.units import in_unit

        unit = self.unit(dimension, usual)
        decimals = _DECIMALS[unit] + finer
        return format(in_unit(value_si, dimension, unit), f"{'+' if signed else ''}.{decimals}f")

    def text(self, value_si: float, dimension: Dimension, usual: str, finer: int = 0, *, signed: bool = False) -> str:
        """Number and unit.

        >>> ShownUnits().text(551_580.6, "pressure_gauge", "psi"), ShownUnits({"area": "in²"}).text(8.107e-7, "area", "mm²")
        ('80 psi', '0.001257 in²')
        """
        from borewright.units import printed_unit

        number = self.number(value_si, dimension, usual, finer, signed=signed)
        return f"{number} {printed_unit(self.unit(dimension, usual), dimension)}"


def add_units_argument(parser: argparse.ArgumentParser) -> None:
    """The option --units WORDS."""
    parser.add_argument(
        "--units",
        metavar="WORDS",
        help="units to show in, for this run: metric, inch, KIND=UNIT, or some of them divided by commas (see borewright units)",
    )


def user_settings_path() -> Path:
    """Where this user's choice of units is kept."""
    from borewright.service.unit_settings import settings_path

    try:
        home = Path.home()
    except RuntimeError:  # nobody's home is known: then it is as if there were no file
        home = Path(os.devnull)
    return settings_path(os.environ, home, windows=sys.platform == "win32")


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
