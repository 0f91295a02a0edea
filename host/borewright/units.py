"""Units at the edge: text that a person writes becomes SI, and SI becomes text. Pressures are gauge pressures, always.

    UseError
    └── UnitsError    one sentence: which text, what is wrong with it, an example of a right one

pint is loaded at the first use: it takes a third of a second.
"""

from __future__ import annotations

import math
import re
from functools import cache
from typing import TYPE_CHECKING, Final, Literal

from borewright.errors import UseError

if TYPE_CHECKING:
    import pint

__all__ = ["Dimension", "UnitsError", "parse", "show"]

Dimension = Literal["pressure_gauge", "length", "area", "volume", "temperature", "torque"]

_SI: Final[dict[str, str]] = {
    "pressure_gauge": "Pa",
    "length": "m",
    "area": "m^2",
    "volume": "m^3",
    "temperature": "K",
    "torque": "N m",
}
_EXAMPLES: Final[dict[str, str]] = {
    "pressure_gauge": "80 psi",
    "length": "0.040 in",
    "area": "1.2 mm^2",
    "volume": "450 cm^3",
    "temperature": "20 degC",
    "torque": "60 N m",
}
_NAMES: Final[dict[str, str]] = {name: name.replace("_", " ") for name in _SI} | {"pressure_gauge": "gauge pressure"}
_QUANTITY: Final = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s+.,-].*?)\s*", re.ASCII)
_GAUGE: Final = re.compile(r"(psi|bar)g|(Pa|kPa|MPa|bar|mbar|psi)[ _]?\(?g(?:auge)?\)?")
_ABSOLUTE: Final = re.compile(r"(?:psi|bar)a|(?:Pa|kPa|MPa|bar|mbar|psi)[ _]?\(?a(?:bs|bsolute)?\)?")
# how people write them, where pint reads something else or nothing
_TORQUES: Final[dict[str, str]] = {
    "nm": "N*m",
    "n m": "N*m",
    "n·m": "N*m",
    "n*m": "N*m",
    "lb ft": "lbf*ft",
    "ft lb": "lbf*ft",
    "lb·ft": "lbf*ft",
    "ft·lb": "lbf*ft",
    "lbf ft": "lbf*ft",
    "ft lbf": "lbf*ft",
    "lb-ft": "lbf*ft",
    "ft-lb": "lbf*ft",
    "in lb": "lbf*in",
    "lb in": "lbf*in",
}
_DEGREES: Final[dict[str, str]] = {"c": "degC", "°c": "degC", "f": "degF", "°f": "degF", "degc": "degC", "degf": "degF", "k": "K"}


class UnitsError(UseError):
    """A text that is no quantity of the kind that is wanted."""


def parse(text: str, dimension: Dimension) -> float:
    """The SI value of a number with its unit: Pa (gauge), m, m², m³, K, N·m.

    A unit must be there. Raises UnitsError, also for absolute pressures and for temperatures that do not exist.

    >>> round(parse("80 psi", "pressure_gauge"), 1), parse("5.5 bar", "pressure_gauge"), parse("20 degC", "temperature")
    (551580.6, 550000.0, 293.15)
    >>> f'{parse("0.040 in", "length"):.3e}', f'{parse("1.2 mm^2", "area"):.1e}'
    ('1.016e-03', '1.2e-06')
    """
    found = _QUANTITY.fullmatch(text)
    if found is None:
        raise _wrong(text, dimension, "is not a number with a unit")
    value = float(found[1])
    si = _convert(value, _unit(found[2], text, dimension), _SI[dimension], text, dimension)
    if not math.isfinite(si):
        raise _wrong(text, dimension, "is too large to be meant")
    if dimension == "temperature" and si <= 0.0:
        raise _wrong(text, dimension, "is at or below absolute zero")
    return si


def show(value_si: float, dimension: Dimension, unit: str, significant: int = 4) -> str:
    """An SI value in a unit, rounded to so many significant digits, never with an exponent.

    >>> show(551580.583, "pressure_gauge", "psi"), show(8.10732e-07, "area", "mm^2"), show(293.15, "temperature", "degC")
    ('80.00 psi', '0.8107 mm²', '20.00 °C')
    """
    value = _convert(value_si, _SI[dimension], _unit(unit, unit, dimension), unit, dimension)
    return f"{_rounded(value, significant)} {_printed(unit)}"


def _unit(unit: str, text: str, dimension: Dimension) -> str:
    plain = unit.strip()
    if dimension == "pressure_gauge":
        if _ABSOLUTE.fullmatch(plain):
            raise _wrong(text, dimension, "is an absolute pressure")
        gauge = _GAUGE.fullmatch(plain)
        return plain if gauge is None else gauge[1] or gauge[2]
    if dimension == "torque":
        return _TORQUES.get(plain.lower(), plain)
    if dimension == "temperature":
        return _DEGREES.get(plain.lower(), plain)
    return re.sub(r"(?<=[a-zA-Z])([23])$", r"^\1", plain).replace("²", "^2").replace("³", "^3")


def _convert(value: float, unit: str, wanted: str, text: str, dimension: Dimension) -> float:
    registry = _registry()
    try:
        return float(registry.Quantity(value, registry.parse_units(unit)).to(registry.parse_units(wanted)).magnitude)
    except Exception as error:  # pint answers odd texts with errors of many kinds
        raise _wrong(text, dimension, f"is no {_NAMES[dimension]}") from error


def _wrong(text: str, dimension: Dimension, what: str) -> UnitsError:
    return UnitsError(f"{text.strip()!r} {what}; write the {_NAMES[dimension]} like {_EXAMPLES[dimension]!r}")


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint  # noqa: PLC0415 -- see the module's docstring

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=False)


def _rounded(value: float, significant: int) -> str:
    if not math.isfinite(value):
        return str(value)
    rounded = float(f"{value:.{significant - 1}e}")
    size = math.floor(math.log10(abs(rounded))) if rounded else 0
    return f"{rounded:.{max(0, significant - 1 - size)}f}"


def _printed(unit: str) -> str:
    plain = re.sub(r"\^?\*{0,2}2$", "²", unit.strip())
    plain = re.sub(r"\^?\*{0,2}3$", "³", plain)
    return {"degC": "°C", "degF": "°F", "C": "°C", "F": "°F", "Nm": "N·m", "N m": "N·m", "N*m": "N·m"}.get(plain, plain)
