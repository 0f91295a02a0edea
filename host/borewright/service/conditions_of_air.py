"""The air around and inside the engine, as the person states it or an ambient sensor gives it."""

from __future__ import annotations

from dataclasses import dataclass, replace

__all__ = ["U_P_AMBIENT_ASSUMED_PA", "U_T_ASSUMED_K", "AirConditions"]

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
