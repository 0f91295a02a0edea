"""Units at the edge: text that a person writes becomes SI, and SI becomes text.

Gauge and absolute pressure are two dimensions, and a text that says the one is refused where the other is asked. A flow of air
always says at which state of the air its volume is meant.

    UseError
    └── UnitsError    one sentence: which text, what is wrong with it, an example of a right one

pint is loaded at the first use: it takes a third of a second.
"""

from __future__ import annotations

import math
import re
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Final, Literal

from borewright.errors import UseError

if TYPE_CHECKING:
    import pint

    from borewright.core.flow import FlowReference

__all__ = ["UNITS", "Dimension", "UnitsError", "in_unit", "known_unit", "parse", "printed_unit", "show"]

Dimension = Literal[
    "pressure_gauge", "pressure_absolute", "length", "area", "volume", "temperature", "torque", "air_flow"
]  # air_flow: in SI the mass flow in kg/s

# what a person can choose to be shown; parse takes many more
UNITS: Final[dict[Dimension, tuple[str, ...]]] = {
    "pressure_gauge": ("psi", "kPa", "bar"),
    "pressure_absolute": ("psia", "kPa abs", "bar abs", "hPa abs", "inHg abs"),
    "length": ("mm", "in"),
    "area": ("mm²", "in²"),
    "volume": ("cm³", "in³", "L"),
    "temperature": ("°C", "°F", "K"),
    "torque": ("N·m", "lb·ft", "lb·in"),
    "air_flow": ("L/min ANR", "L/min 20 °C", "L/min 0 °C", "SCFM 60 °F"),
}

_SI: Final[dict[str, str]] = {
    "pressure_gauge": "Pa",
    "pressure_absolute": "Pa",
    "length": "m",
    "area": "m^2",
    "volume": "m^3",
    "temperature": "K",
    "torque": "N m",
    "air_flow": "kg/s",
}
_EXAMPLES: Final[dict[str, str]] = {
    "pressure_gauge": "80 psi",
    "pressure_absolute": "98.9 kPa",
    "length": "0.040 in",
    "area": "1.2 mm^2",
    "volume": "450 cm^3",
    "temperature": "20 degC",
    "torque": "60 N m",
    "air_flow": "12 L/min ANR",
}
_NAMES: Final[dict[str, str]] = {name: name.replace("_", " ") for name in _SI} | {
    "pressure_gauge": "gauge pressure",
    "pressure_absolute": "absolute pressure",
    "air_flow": "flow of air",
}
_QUANTITY: Final = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s+.,-].*?)\s*", re.ASCII)
_SAID: Final = re.compile(r"([kMh]?Pa|m?bar|(?i:psi)|inHg|mmHg)[ _]?\(?(?:((?i:g(?:auge)?))|(?i:a(?:bs|bsolute)?))\)?")
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
    "lb·in": "lbf*in",
    "in·lb": "lbf*in",
    "lb-in": "lbf*in",
    "in-lb": "lbf*in",
    "lbf in": "lbf*in",
    "in lbf": "lbf*in",
}
_DEGREES: Final[dict[str, str]] = {"c": "degC", "°c": "degC", "f": "degF", "°f": "degF", "degc": "degC", "degf": "degF", "k": "K"}
# volume flows: m³/s of one of them, and the states of the air, as core.flow names them, by the short words for them
_RATES_M3_S: Final[dict[str, float]] = {"l/min": 1e-3 / 60.0, "scfm": 0.3048**3 / 60.0}
_STATES: Final[dict[str, str]] = {"anr": "ANR", "20c": "STANDARD_20C", "0c": "NORMAL_0C", "60f": "STANDARD_60F"}


class UnitsError(UseError):
    """A text that is no quantity of the kind that is wanted."""


def parse(text: str, dimension: Dimension) -> float:
    """The SI value of a number with its unit: Pa, m, m², m³, K, N·m, and kg/s for a flow of air.

    A unit must be there. A pressure that says neither gauge nor absolute is taken as the one that is asked. Raises UnitsError, also
    for the other kind of pressure, for pressures and temperatures that cannot be, and for a flow that does not say its reference.

    >>> round(parse("80 psi", "pressure_gauge"), 1), parse("5.5 bar", "pressure_gauge"), parse("20 degC", "temperature")
    (551580.6, 550000.0, 293.15)
    >>> f'{parse("0.040 in", "length"):.3e}', f'{parse("1.2 mm^2", "area"):.1e}', f'{parse("12 L/min ANR", "air_flow"):.3e}'
    ('1.016e-03', '1.2e-06', '2.370e-04')
    """
    found = _QUANTITY.fullmatch(text)
    if found is None:
        raise _wrong(text, dimension, "is not a number with a unit")
    value = float(found[1])
    if dimension == "air_flow":
        rate_m3_s, state, _ = _flow_unit(found[2], text)
        si = float(state.mass_flow_kg_s(value * rate_m3_s))
    else:
        si = _convert(value, _unit(found[2], text, dimension), _SI[dimension], text, dimension)
    if not math.isfinite(si):
        raise _wrong(text, dimension, "is too large to be meant")
    if dimension == "temperature" and si <= 0.0:
        raise _wrong(text, dimension, "is at or below absolute zero")
    if dimension == "pressure_absolute" and si < 0.0:
        raise _wrong(text, dimension, "is less than a vacuum")
    return si


def show(value_si: float, dimension: Dimension, unit: str, significant: int = 4) -> str:
    """An SI value in a unit, rounded to so many significant digits, never with an exponent. Raises UnitsError for a wrong unit.

    >>> show(551580.583, "pressure_gauge", "psi"), show(8.10732e-07, "area", "mm^2"), show(293.15, "temperature", "degC")
    ('80.00 psi', '0.8107 mm²', '20.00 °C')
    >>> show(98_900.0, "pressure_absolute", "kPa"), show(2.37e-4, "air_flow", "L/min ANR")
    ('98.90 kPa abs', '12.00 L/min ANR (20 °C, 100 kPa, 65 % RH)')
    """
    return f"{_rounded(in_unit(value_si, dimension, unit), significant)} {printed_unit(unit, dimension)}"


def in_unit(value_si: float, dimension: Dimension, unit: str) -> float:
    """The number of an SI value in a unit. Raises UnitsError for a unit that is none of the dimension.

    >>> round(in_unit(551580.583, "pressure_gauge", "psi"), 3), round(in_unit(5.925e-4, "air_flow", "SCFM 60 °F"), 3)
    (80.0, 1.027)
    """
    if dimension == "air_flow":
        rate_m3_s, state, _ = _flow_unit(unit, unit)
        return float(state.volume_flow_m3_s(value_si)) / rate_m3_s
    return _convert(value_si, _SI[dimension], _unit(unit, unit, dimension), unit, dimension)


def printed_unit(unit: str, dimension: Dimension) -> str:
    """How a unit is printed: absolute pressures say so, flows of air say the state of the air in full.

    >>> printed_unit("mm^2", "area"), printed_unit("psi", "pressure_absolute"), printed_unit("SCFM 60F", "air_flow")
    ('mm²', 'psia', 'SCFM (60 °F, 14.696 psi, dry)')
    """
    if dimension == "air_flow":
        _, state, rate = _flow_unit(unit, unit)
        return f"{rate} {state.label}" if state.label.startswith("ANR") else f"{rate} ({state.label})"
    if dimension == "pressure_absolute":
        plain = _unit(unit, unit, dimension)
        return "psia" if plain == "psi" else f"{plain} abs"
    return _printed(unit)


def known_unit(text: str, dimension: Dimension) -> str:
    """The unit of UNITS that a text means, however it is spelt. Raises UnitsError that names those there are.

    >>> known_unit("mm^2", "area"), known_unit("degF", "temperature"), known_unit("ft-lb", "torque")
    ('mm²', '°F', 'lb·ft')
    """
    wanted = _bare(text)
    for unit in UNITS[dimension]:
        bare = _bare(unit)
        spelt = {bare}
        if dimension == "temperature":
            spelt |= {"deg" + bare}
        elif dimension == "pressure_gauge":
            spelt |= {bare + "g"}
        elif dimension == "pressure_absolute":
            plain = bare.removesuffix("abs") if bare.endswith("abs") else bare.removesuffix("a")
            spelt |= {plain, plain + "a", plain + "abs"}
        elif dimension == "torque" and bare.startswith("lb"):
            spelt |= {bare[2:] + "lb", "lbf" + bare[2:], bare[2:] + "lbf"}
        if wanted in spelt:
            return unit
    raise UnitsError(
        f"{text.strip()!r} is no unit that the {_NAMES[dimension]} is shown in; there are {', '.join(UNITS[dimension])}"
    )


def _bare(text: str) -> str:
    """A unit without spaces, signs and capitals, to compare spellings by."""
    return re.sub(r"[^a-z0-9/.]", "", text.replace("²", "2").replace("³", "3").lower())


def _unit(unit: str, text: str, dimension: Dimension) -> str:
    plain = unit.strip()
    if dimension in ("pressure_gauge", "pressure_absolute"):
        said = _SAID.fullmatch(plain)
        if said is not None and (said[2] is not None) != (dimension == "pressure_gauge"):
            raise _wrong(text, dimension, "is a gauge pressure" if said[2] is not None else "is an absolute pressure")
        plain = plain if said is None else said[1]
        return "psi" if plain.lower() == "psi" else plain
    if dimension == "torque":
        return _TORQUES.get(plain.lower(), plain)
    if dimension == "temperature":
        return _DEGREES.get(plain.lower(), plain)
    return re.sub(r"(?<=[a-zA-Z])([23])$", r"^\1", plain).replace("²", "^2").replace("³", "^3")


def _flow_unit(unit: str, text: str) -> tuple[float, FlowReference, str]:
    """m³/s of one of the unit, the state of the air, and how the rate is printed."""
    from borewright.core import flow  # noqa: PLC0415 -- it loads numpy

    bare = _bare(unit)
    rate = next((rate for rate in _RATES_M3_S if bare.startswith(rate)), None)
    if rate is None:
        raise _wrong(text, "air_flow", "is no flow of air")
    said = bare.removeprefix(rate)
    for short, name in _STATES.items():
        state: FlowReference = getattr(flow, name)
        if said in (short, _bare(state.label)):
            return _RATES_M3_S[rate], state, "L/min" if rate == "l/min" else "SCFM"
    raise _wrong(text, "air_flow", "does not say at which state of the air its volume is meant (ANR, 20 °C, 0 °C or 60 °F)")


def _convert(value: float, unit: str, wanted: str, text: str, dimension: Dimension) -> float:
    try:
        factor = _factor(unit, wanted)
        return _by_pint(value, unit, wanted) if factor is None else value * factor
    except Exception as error:  # pint answers odd texts with errors of many kinds
        raise _wrong(text, dimension, f"is no {_NAMES[dimension]}") from error


@lru_cache(maxsize=256)
def _factor(unit: str, wanted: str) -> float | None:
    """What one of a unit is in another; None where they begin at different zeros (temperatures).

    A window shows the same few units all the time, and pint takes forty times as long as a product.
    """
    return None if _by_pint(0.0, unit, wanted) else _by_pint(1.0, unit, wanted)


def _by_pint(value: float, unit: str, wanted: str) -> float:
    registry = _registry()
    return float(registry.Quantity(value, registry.parse_units(unit)).to(registry.parse_units(wanted)).magnitude)


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
