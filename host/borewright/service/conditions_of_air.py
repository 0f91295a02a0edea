"""The air around and inside the engine, as the person states it or an ambient sensor gives it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from borewright.errors import UseError

__all__ = ["U_P_AMBIENT_ASSUMED_PA", "U_T_ASSUMED_K", "AirConditions", "stated_air"]

U_P_AMBIENT_ASSUMED_PA = 3_000.0  # common practice: weather and some hundred metres of height
U_T_ASSUMED_K = 6.0  # common practice: a workshop is somewhere between 10 and 30 °C

_ASSUMED, _ENGINE = "assumed: ", "engine temperature"


@dataclass(frozen=True, slots=True)
class AirConditions:
    """Ambient pressure, and the temperatures of the supplied air and of the gas in the cylinder, which is that of the engine.

    assumed: marks for what nobody measured or stated. The defaults are the standard atmosphere at sea level (ISO 2533, from memory,
    unverified) and a cold engine at 20 °C. u_*: standard uncertainties, of what is stated as a barometer and a plain thermometer
    show it; use the U_*_ASSUMED for what is not.
    """

    p_ambient_abs_pa: float = 101_325.0
    t_supply_k: float = 293.15
    t_engine_k: float = 293.15
    assumed: tuple[str, ...] = ()
    u_p_ambient_pa: float = 100.0
    u_t_supply_k: float = 1.5
    u_t_engine_k: float = 2.0

    def with_engine_at(self, t_engine_k: float) -> AirConditions:
        """The same with the engine's temperature as it was read just now, which then is assumed no more.

        >>> AirConditions(assumed=("assumed: air temperature, engine temperature",)).with_engine_at(353.15).assumed
        ('assumed: air temperature',)
        """
        assumed = []
        for mark in self.assumed:
            names = mark.removeprefix(_ASSUMED).split(", ")
            if not mark.startswith(_ASSUMED) or _ENGINE not in names:
                assumed.append(mark)
            elif len(names) > 1:
                assumed.append(_ASSUMED + ", ".join(name for name in names if name != _ENGINE))
        return replace(self, t_engine_k=t_engine_k, u_t_engine_k=AirConditions().u_t_engine_k, assumed=tuple(assumed))


def stated_air(
    ambient: str = "",
    air: str = "",
    engine: str = "",
    names: tuple[str, str, str] = ("the air pressure", "the temperature of the supplied air", "the temperature of the engine"),
) -> AirConditions:
    """The air as a person states it in words with units; what is left empty is assumed, and marked so.

    ambient: absolute pressure around. air, engine: temperatures of the supplied air and of the engine. names: what the person knows
    the three by. Raises UseError for words that are no such quantity, and for one that cannot be.

    >>> stated_air("98.9 kPa", "21 degC").assumed
    ('assumed: engine temperature',)
    """
    from borewright.units import UnitsError, parse  # noqa: PLC0415 -- loads pint, which --help must not

    usual = AirConditions()
    try:
        p_ambient = parse(ambient, "pressure_absolute") if ambient else usual.p_ambient_abs_pa
    except UnitsError as error:
        raise UseError(f"{names[0]}: {error}, as a barometer shows it") from None
    if not 30e3 <= p_ambient <= 120e3:
        raise UseError(f"{names[0]} {ambient} is no air pressure on earth; give what a barometer shows, like 98.9 kPa")
    air_k = parse(air, "temperature") if air else usual.t_supply_k
    engine_k = parse(engine, "temperature") if engine else air_k
    for name, t_k in ((names[1], air_k), (names[2], engine_k)):
        if not 223.15 <= t_k <= 573.15:
            raise UseError(f"{name} is outside of -50 to 300 °C; give the temperature with its unit")
    given = {"ambient pressure": ambient, "air temperature": air, "engine temperature": engine}
    missing = [name for name, words in given.items() if not words]
    return AirConditions(
        p_ambient,
        air_k,
        engine_k,
        (_ASSUMED + ", ".join(missing),) if missing else (),
        usual.u_p_ambient_pa if ambient else U_P_AMBIENT_ASSUMED_PA,
        usual.u_t_supply_k if air else U_T_ASSUMED_K,
        usual.u_t_engine_k if engine else U_T_ASSUMED_K,
    )
