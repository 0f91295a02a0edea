"""Numbers in the units that the person has chosen.

JSON never goes through here: its keys name the unit, and they stay as they are.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from borewright.units import Dimension

__all__ = ["ShownUnits", "user_settings_path"]

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
        from borewright.units import in_unit  # noqa: PLC0415 -- loads pint, which --help must not

        unit = self.unit(dimension, usual)
        decimals = _DECIMALS[unit] + finer
        return format(in_unit(value_si, dimension, unit), f"{'+' if signed else ''}.{decimals}f")

    def text(self, value_si: float, dimension: Dimension, usual: str, finer: int = 0, *, signed: bool = False) -> str:
        """Number and unit.

        >>> ShownUnits().text(551_580.6, "pressure_gauge", "psi"), ShownUnits({"area": "in²"}).text(8.107e-7, "area", "mm²")
        ('80 psi', '0.001257 in²')
        """
        from borewright.units import printed_unit  # noqa: PLC0415 -- as above

        number = self.number(value_si, dimension, usual, finer, signed=signed)
        return f"{number} {printed_unit(self.unit(dimension, usual), dimension)}"


def user_settings_path() -> Path:
    """Where this user's choice of units is kept."""
    from borewright.service.unit_settings import settings_path  # noqa: PLC0415 -- loads pint

    try:
        home = Path.home()
    except RuntimeError:  # nobody's home is known: then it is as if there were no file
        home = Path(os.devnull)
    return settings_path(os.environ, home, windows=sys.platform == "win32")
