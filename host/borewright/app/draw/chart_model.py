"""What the charts of the Jobs page have in common: an interval, the marks on an axis, units without loading pint. Without Qt."""

from __future__ import annotations

import math
from dataclasses import dataclass

from borewright.core.capture import PA_PER_PSI
from borewright.service.report_numbers import area_places, quantity

__all__ = ["SYMBOLS", "Axis", "Interval", "area_scale", "axis_of", "interval_words", "pressure_scale", "verdict_words"]

SYMBOLS = {"better": "▼", "worse": "▲", "no shown difference": "="}
"""What stands beside a verdict, so that it is no matter of colour: the leak went down, went up, or neither is shown."""
_NOT_COMPARED = "–"
_MM2_OF = {"mm²": 1.0, "in²": 25.4**2}  # an inch is 25.4 mm by definition
_PA_OF = {"psi": PA_PER_PSI, "kPa": 1e3, "bar": 1e5}


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with its expanded uncertainty, in the unit that is shown."""

    value: float
    expanded: float

    @property
    def low(self) -> float:
        """The lower end."""
        return self.value - self.expanded

    @property
    def high(self) -> float:
        """The upper end."""
        return self.value + self.expanded


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis from low to high with marks at even steps, and what is written at each."""

    low: float
    high: float
    marks: tuple[tuple[float, str], ...]

    def share(self, value: float) -> float:
        """Where a value lies, from 0 to 1; what lies outside is moved to the end.

        >>> axis_of(0.0, 10.0, 5).share(2.5), axis_of(0.0, 10.0, 5).share(-1.0)
        (0.25, 0.0)
        """
        return min(1.0, max(0.0, (value - self.low) / (self.high - self.low)))


def axis_of(low: float, high: float, most: int) -> Axis:
    """An axis that holds both values, with at most so many steps of 1, 2 or 5 times a power of ten.

    >>> [text for _, text in axis_of(0.0, 0.93, 5).marks], [text for _, text in axis_of(0.0, 31.0, 4).marks]
    (['0.0', '0.2', '0.4', '0.6', '0.8', '1.0'], ['0', '10', '20', '30', '40'])
    """
    wide = high - low
    if not math.isfinite(wide) or wide <= 0.0:
        low, wide = (low, 1.0) if math.isfinite(low) else (0.0, 1.0)
    rough = wide / max(most, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * times for times in (1.0, 2.0, 5.0, 10.0) if power * times >= rough * (1.0 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil((low + wide) / step - 1e-9)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    marks = tuple((number * step, f"{number * step:.{decimals}f}") for number in range(first, last + 1))
    return Axis(first * step, last * step, marks)


def area_scale(unit: str) -> float:
    """How many of this unit a mm² is.

    >>> area_scale("mm²"), round(area_scale("in²"), 8)
    (1.0, 0.00155)
    """
    return 1.0 / _MM2_OF[unit]


def pressure_scale(unit: str) -> float:
    """How many of this unit a Pa is.

    >>> pressure_scale("kPa"), round(551_580.6 * pressure_scale("psi"))
    (0.001, 80)
    """
    return 1.0 / _PA_OF[unit]


def interval_words(interval: Interval | None, unit: str, *, plus: bool = False) -> str:
    """Value and uncertainty as they are written; plus: with a plus sign, for a change.

    >>> interval_words(Interval(0.4012, 0.0123), "mm²"), interval_words(Interval(-24.31, 0.4), "%", plus=True)
    ('0.401 ± 0.012', '−24.31 ± 0.40')
    """
    if interval is None:
        return "–"
    shown = quantity(interval.value, interval.expanded, 2 if unit == "%" else area_places(unit), plus=plus)
    return shown.value if shown.expanded is None else f"{shown.value} ± {shown.expanded}"


def verdict_words(verdict: str | None) -> str:
    """A verdict with its symbol.

    >>> verdict_words("better"), verdict_words(None)
    ('▼ better', '– not compared')
    """
    return f"{_NOT_COMPARED} not compared" if verdict is None else f"{SYMBOLS[verdict]} {verdict}"
