"""The restrictor: how much air it passes, as an ideal nozzle or by the two figures of ISO 6358."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.flow import AIR_GAS_CONSTANT, ANR, Floats, checked, choked_flow_constant, flow_function

__all__ = ["CHOKED", "Restrictor", "restrictor_curve", "straight_near_one"]

STRAIGHT_ABOVE_RATIO = 0.999
CHOKED = float(choked_flow_constant())
_CONDUCTANCE_PER_AREA = CHOKED / (np.sqrt(AIR_GAS_CONSTANT * ANR.t_k) * ANR.density_kg_m3)


@dataclass(frozen=True, slots=True)
class Restrictor:
    """A restrictor and how well it is known.

    area_m2: of the ideal nozzle that passes the same when both are choked, above 0. critical_ratio: b of ISO 6358, from 0 to 0.9;
    None: the curve of the ideal nozzle itself. u_relative, u_critical_ratio: standard uncertainties (k = 1) of the area, as a
    share of it, and of b.

    >>> jet = Restrictor(8.107e-7)
    >>> round(float(jet.mass_flow_kg_s(652_905.6, 101_325.0, 293.15)) * 1e3, 4)
    1.2494
    >>> round(Restrictor.from_conductance(1.6e-9, 0.5).conductance_m3_s_pa * 1e9, 6)
    1.6
    """

    area_m2: float
    critical_ratio: float | None = None
    u_relative: float = 0.005
    u_critical_ratio: float = 0.0

    def __post_init__(self) -> None:
        checked("area_m2", self.area_m2, above=0.0)
        checked("u_relative", self.u_relative, least=0.0)
        checked("u_critical_ratio", self.u_critical_ratio, least=0.0)
        if self.critical_ratio is not None and not 0.0 <= self.critical_ratio <= 0.9:
            raise ValueError("critical_ratio: must be from 0 to 0.9")

    @classmethod
    def from_conductance(
        cls, conductance_m3_s_pa: float, critical_ratio: float, u_relative: float = 0.005, u_critical_ratio: float = 0.0
    ) -> Restrictor:
        """The restrictor of a sonic conductance C (ISO 6358, reference ANR) and critical ratio b."""
        conductance = float(checked("conductance_m3_s_pa", conductance_m3_s_pa, above=0.0))
        return cls(conductance / _CONDUCTANCE_PER_AREA, critical_ratio, u_relative, u_critical_ratio)

    @property
    def conductance_m3_s_pa(self) -> float:
        """The sonic conductance of this area in m³/(s·Pa) at ANR."""
        return float(self.area_m2 * _CONDUCTANCE_PER_AREA)

    def mass_flow_kg_s(self, p_up_abs_pa: npt.ArrayLike, p_down_abs_pa: npt.ArrayLike, t_up_k: npt.ArrayLike) -> Floats:
        """Mass flow of air in kg/s; negative where p_down is above p_up, t_up_k being that of the side the air comes from.

        Above a pressure ratio of 0.999 a parabola takes the place of the root, which has no slope at equal pressures; there a real
        hole is laminar anyway.
        """
        p_up = checked("p_up_abs_pa", p_up_abs_pa, above=0.0)
        p_down = checked("p_down_abs_pa", p_down_abs_pa, above=0.0)
        t_up = checked("t_up_k", t_up_k, above=0.0)
        high, low = np.maximum(p_up, p_down), np.minimum(p_up, p_down)
        sign = np.where(p_down > p_up, -1.0, 1.0)
        return np.asarray(sign * self.area_m2 * high / np.sqrt(AIR_GAS_CONSTANT * t_up) * self.flow_function(low / high))

    def flow_function(self, ratio: npt.ArrayLike) -> Floats:
        """Dimensionless mass flow ṁ·√(R·T)/(A·p_up) at a ratio of down- to upstream pressure from 0 to 1."""
        r = np.asarray(ratio, dtype=np.float64)
        return restrictor_curve(r, self.critical_ratio)


def restrictor_curve(ratio: Floats, critical_ratio: float | Floats | None) -> Floats:
    """The flow function of a restrictor at ratios from 0 to 1: the ideal nozzle's own (None), or ISO 6358's quarter ellipse.

    >>> restrictor_curve(np.array([0.3, 0.75, 1.0]), 0.5).round(4).tolist()
    [0.6847, 0.593, 0.0]
    """
    low = np.minimum(ratio, STRAIGHT_ABOVE_RATIO)
    if critical_ratio is None:
        return straight_near_one(ratio, flow_function(low))
    over = np.clip((low - critical_ratio) / (1.0 - critical_ratio), 0.0, 1.0)
    return straight_near_one(ratio, CHOKED * np.sqrt(1.0 - over**2))


def straight_near_one(ratio: Floats, value_up_to_limit: Floats) -> Floats:
    """A flow function with a finite slope at equal pressures; value_up_to_limit: the function at no more than a ratio of 0.999.

    A parabola above 0.999 that meets the root there in value and slope: (1.5·x − 0.5·x²) with x = (1 − ratio)/0.001.

    >>> straight_near_one(np.array([0.5, 0.9995, 1.0]), np.array([0.6, 0.04, 0.04])).round(3).tolist()
    [0.6, 0.025, 0.0]
    """
    x = np.minimum(1.0, (1.0 - ratio) / (1.0 - STRAIGHT_ABOVE_RATIO))
    return np.asarray(value_up_to_limit * (1.5 - 0.5 * x) * x)
