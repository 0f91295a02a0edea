"""Numbers as a report shows them: rounded by their uncertainty, in the units that were chosen, with the minus sign of print."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from typing import TYPE_CHECKING

from borewright.core.capture import PA_PER_PSI
from borewright.errors import StoreError
from borewright.report.model import Quantity

if TYPE_CHECKING:
    from borewright.units import Dimension

__all__ = ["Shown", "area_places", "counted", "listed", "quantity", "signed"]

# usual units, whose factors are exact: pint, which takes a third of a second to load, is for the others
_USUAL = {"psi": 1.0 / PA_PER_PSI, "kPa": 1e-3, "mm²": 1e6, "mm": 1e3, "cm³": 1e6}
_DECIMALS = {
    "psi": 0,
    "kPa": 0,
    "bar": 2,
    "mm²": 3,
    "in²": 6,
    "cm³": 1,
    "in³": 2,
    "L": 4,
    "mm": 1,
    "in": 3,
    "°C": 0,
    "°F": 0,
    "K": 0,
}


@dataclass(frozen=True, slots=True)
class Shown:
    """The units that the person has chosen, and the time zone in which dates are shown (None: where this computer stands)."""

    units: Mapping[Dimension, str] = field(default_factory=dict)
    zone: tzinfo | None = None

    def unit(self, dimension: Dimension, usual: str) -> str:
        """The unit of a dimension."""
        return self.units.get(dimension, usual)

    def of(self, value_si: float, dimension: Dimension, usual: str) -> float:
        """The number of an SI value in that unit."""
        return _in_unit(value_si, dimension, self.unit(dimension, usual))

    def text(self, value_si: float, dimension: Dimension, usual: str, finer: int = 0) -> str:
        """Number and unit.

        >>> Shown().text(551_580.6, "pressure_gauge", "psi"), Shown({"length": "in"}).text(0.0815, "length", "mm")
        ('80 psi', '3.209 in')
        """
        unit = self.unit(dimension, usual)
        return f"{signed(_in_unit(value_si, dimension, unit), _DECIMALS[unit] + finer)} {unit}"

    def date(self, unix_s: float) -> str:
        """The day of a moment."""
        return self._at(unix_s).strftime("%Y-%m-%d")

    def moment(self, unix_s: float) -> str:
        """Day and time of day.

        >>> Shown(zone=UTC).moment(0.0)
        '1970-01-01 00:00'
        """
        return self._at(unix_s).strftime("%Y-%m-%d %H:%M")

    def zone_words(self, unix_s: float) -> str:
        """How far the times shown are from UTC."""
        said = self._at(unix_s).strftime("%z")
        return f"UTC{said[:3]}:{said[3:5]}"

    def _at(self, unix_s: float) -> datetime:
        try:
            return datetime.fromtimestamp(unix_s, UTC).astimezone(self.zone)
        except (ValueError, OverflowError, OSError):
            raise StoreError(
                "this job has a date that no calendar has: the clock was far off when it was made, so no report can be dated; set "
                "this computer's clock and begin the job anew"
            ) from None


def _in_unit(value_si: float, dimension: Dimension, unit: str) -> float:
    if unit in _USUAL:
        return value_si * _USUAL[unit]
    if unit == "°C":
        return value_si - 273.15
    from borewright.units import in_unit  # noqa: PLC0415 -- pint is heavy

    return in_unit(value_si, dimension, unit)


def signed(value: float, decimals: int, *, plus: bool = False) -> str:
    """A number with so many places and the sign of print; plus: also a plus sign. What rounds to zero has none.

    >>> signed(-0.5781, 3), signed(24.4, 1, plus=True), signed(-0.0004, 2)
    ('−0.578', '+24.4', '0.00')
    """
    text = f"{abs(value):.{decimals}f}"
    if not text.strip("0."):
        return text
    return f"−{text}" if value < 0.0 else f"+{text}" if plus else text


def quantity(value: float, expanded: float | None, most_decimals: int, *, plus: bool = False) -> Quantity:
    """Value and expanded uncertainty, to two figures of the uncertainty (GUM 7.2.6), but to no more places than a column has.

    An uncertainty that rounds to nothing is shown as one in the last place. Without one, the value has all these places.

    >>> quantity(10.0412, 0.1034, 2), quantity(-0.37124, 0.00951, 3, plus=True), quantity(95.3, 12.0, 2)
    (Quantity(value='10.04', expanded='0.10'), Quantity(value='−0.371', expanded='0.010'), Quantity(value='95', expanded='12'))
    """
    if expanded is None or not expanded > 0.0:
        return Quantity(signed(value, most_decimals, plus=plus))
    decimals = min(most_decimals, max(0, 1 - math.floor(math.log10(float(f"{expanded:.1e}")))))
    return Quantity(signed(value, decimals, plus=plus), signed(max(expanded, 10.0**-decimals), decimals))


def area_places(unit: str) -> int:
    """Places of a leak area in its unit."""
    return _DECIMALS[unit]


def listed(words: list[str] | tuple[str, ...]) -> str:
    """Words in a row, as a sentence has them.

    >>> listed(["1"]), listed(["1", "2", "3"])
    ('1', '1, 2 and 3')
    """
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)


def counted(number: int, one: str, several: str) -> str:
    """A number with its noun."""
    return f"{number} {one if number == 1 else several}"
