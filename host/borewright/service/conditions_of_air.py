"""The air around and inside the engine, as the person states it or an ambient sensor gives it."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["AirConditions"]


@dataclass(frozen=True, slots=True)
class AirConditions:
    """Ambient pressure, and the temperatures of the supplied air and of the gas in the cylinder, which is that of the engine.

    assumed: marks for what nobody measured or stated. The defaults are the standard atmosphere at sea level (ISO 2533, from memory,
    unverified) and a cold engine at 20 °C.
    """

    p_ambient_abs_pa: float = 101_325.0
    t_supply_k: float = 293.15
    t_engine_k: float = 293.15
    assumed: tuple[str, ...] = ()
