"""What a person answers to a step of the guide: a number, a torque, what a gauge shows. Terminal and window read it alike."""

from __future__ import annotations

from math import nan
from typing import TYPE_CHECKING, Literal, get_args

from borewright.errors import UseError
from borewright.service import acts
from borewright.service.places import awaited_gauge
from borewright.service.state import BenchState
from borewright.units import UnitsError, parse

if TYPE_CHECKING:
    from borewright.units import Dimension

__all__ = ["Asked", "act_of_answer", "asks", "engine_temperature_k", "unit_of"]

Asked = Literal["read_back_hose", "restrain", "read_gauge", "read_place_gauge"]
"""The steps (guide.StepKey) that are answered by something typed."""

COLDEST_K, HOTTEST_K = 223.15, 573.15  # of an engine, as for --engine-temp
MOST = 10_000.0  # of whatever is typed as a bare number: more was mistyped
_DIMENSIONS: dict[str, Dimension] = {
    "restrain": "torque",
    "read_gauge": "pressure_gauge",
    "read_place_gauge": "pressure_gauge",
}


def asks(key: str) -> bool:
    """Whether the step of this key is answered by something typed.

    >>> asks("restrain"), asks("turn_to_tdc")
    (True, False)
    """
    return key in get_args(Asked)


def unit_of(key: str) -> Dimension | None:
    """What kind of quantity the step asks for; None where it is a number alone.

    >>> unit_of("restrain"), unit_of("read_back_hose")
    ('torque', None)
    """
    return _DIMENSIONS.get(key)


def act_of_answer(key: str, text: str, state: BenchState, unit: str | None = None) -> acts.Act:
    """The act that the answer to this step stands for.

    unit: of a number that is typed without one; None: a torque is then in N·m, and a gauge is not read without its unit. Raises
    UseError with one sentence where the answer cannot be used.
    """
    text = text.strip()
    match key:
        case "read_back_hose":
            return acts.ReadBackHose(int(_number(text, whole=True)))
        case "restrain":
            return acts.StateRestraint(_torque_nm(text, unit))
        case "read_gauge":
            return acts.ReadGauge(parse(_with_unit(text, unit), "pressure_gauge"))
        case "read_place_gauge":
            place = awaited_gauge(state)
            if place is None:
                raise UseError("no gauge at a place is to be read now; wait until it is asked for")
            return acts.ReadPlaceGauge(place, parse(_with_unit(text, unit), "pressure_gauge"))
        case _:
            raise UseError("nothing is to be typed now; do what the step says")


def engine_temperature_k(text: str, unit: str | None = None) -> float:
    """The temperature of an engine as it is typed; unit as for act_of_answer. Raises UseError where it cannot be one.

    >>> engine_temperature_k("82", "°C")
    355.15
    """
    t_k = parse(_with_unit(text.strip(), unit), "temperature")
    if not COLDEST_K <= t_k <= HOTTEST_K:
        raise UseError("that is outside of -50 to 300 °C; type the temperature with its unit")
    return t_k


def _torque_nm(text: str, unit: str | None) -> float:
    said = _with_unit(text, unit)
    if not said[-1:].isalpha():
        return _number(text)
    try:
        torque_nm = parse(said, "torque")
    except UnitsError:
        torque_nm = nan
    return _usable(torque_nm, text)


def _number(text: str, *, whole: bool = False) -> float:
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        number = nan
    return _usable(number, text, whole=whole)


def _usable(number: float, text: str, *, whole: bool = False) -> float:
    if not 0.0 < number < MOST or (whole and number != int(number)):
        said = f"{text!r} is no number that can be used here" if text else "nothing was typed"
        raise UseError(f"{said}; type a {'whole ' if whole else ''}number")
    return number


def _with_unit(text: str, unit: str | None) -> str:
    """The unit behind a number that was typed without one.

    >>> _with_unit("1,2", "kPa"), _with_unit("18 psi", "kPa"), _with_unit("18 psi", None)
    ('1.2 kPa', '18 psi', '18 psi')
    """
    if unit is None:
        return text
    number = text.replace(",", ".")
    try:
        float(number)
    except ValueError:
        return text
    return f"{number} {unit}"
