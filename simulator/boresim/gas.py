"""Flow of air through holes, as the simulator sees it. All pressures are absolute, all units SI.

Written apart from the host's formulas, so that the two can judge each other.
"""

from __future__ import annotations

from math import sqrt

__all__ = [
    "CP_J_KG_K",
    "GAMMA",
    "LINEAR_ABOVE_RATIO",
    "R_J_KG_K",
    "hole_flow_kg_s",
    "nozzle_flow_kg_s",
    "orifice_flow_kg_s",
    "restrictor_flow_kg_s",
    "series_flow_kg_s",
]

GAMMA = 1.4
R_J_KG_K = 287.05287
CP_J_KG_K = GAMMA / (GAMMA - 1.0) * R_J_KG_K
CRITICAL_RATIO = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))
LINEAR_ABOVE_RATIO = 0.999
"""Above this ratio of down- to upstream pressure the flow is linear in the difference: the bare root has no slope at zero."""

ANR_DENSITY_KG_M3 = 1.185  # ISO 8778 reference air, to which the sonic conductance of ISO 6358 refers
ANR_TEMPERATURE_K = 293.15

_SHAPE = (GAMMA - 1.0) / GAMMA
_ROOT = sqrt(2.0 * GAMMA / (GAMMA - 1.0) / R_J_KG_K)
_CHOKED = sqrt(GAMMA / R_J_KG_K * (2.0 / (GAMMA + 1.0)) ** ((GAMMA + 1.0) / (GAMMA - 1.0)))


def _subsonic(ratio: float) -> float:
    heat: float = ratio**_SHAPE  # T/T0 at the throat; ratio/heat is then the density there over that of rest
    return _ROOT * ratio / heat * sqrt(1.0 - heat)


_LINEAR_SLOPE = _subsonic(LINEAR_ABOVE_RATIO) / (1.0 - LINEAR_ABOVE_RATIO)


def nozzle_flow_kg_s(area_m2: float, p_up_abs_pa: float, p_down_abs_pa: float, t_up_k: float) -> float:
    """Mass flow of air through an ideal nozzle, kg/s; p_up_abs_pa must be the higher pressure.

    The isentropic nozzle of the textbooks: choked under a pressure ratio of 0.528.

    >>> round(nozzle_flow_kg_s(1e-6, 700e3, 100e3, 293.15) * 1e3, 4)
    1.6523
    """
    ratio = p_down_abs_pa / p_up_abs_pa
    if ratio <= CRITICAL_RATIO:
        shape = _CHOKED
    elif ratio < LINEAR_ABOVE_RATIO:
        heat = ratio**_SHAPE
        shape = _ROOT * ratio / heat * sqrt(1.0 - heat)
    else:
        shape = _LINEAR_SLOPE * (1.0 - ratio)
    return area_m2 * p_up_abs_pa * shape / sqrt(t_up_k)


def orifice_flow_kg_s(area_m2: float, p_up_abs_pa: float, p_down_abs_pa: float, t_up_k: float) -> float:
    """The same down to next to no difference of pressure, for an orifice that is read and not stepped through time.

    >>> round(orifice_flow_kg_s(1e-6, 100_040.0, 100e3, 293.15) / nozzle_flow_kg_s(1e-6, 100_040.0, 100e3, 293.15), 2)
    1.58
    """
    ratio = p_down_abs_pa / p_up_abs_pa
    if LINEAR_ABOVE_RATIO <= ratio < 1.0:
        return area_m2 * p_up_abs_pa * _subsonic(ratio) / sqrt(t_up_k)
    return nozzle_flow_kg_s(area_m2, p_up_abs_pa, p_down_abs_pa, t_up_k)


def hole_flow_kg_s(area_m2: float, p_abs_pa: float, t_k: float, p_other_abs_pa: float, t_other_k: float) -> float:
    """Mass flow through a nozzle out of the first side, kg/s; negative when the other side has the higher pressure.

    >>> hole_flow_kg_s(1e-6, 100e3, 293.15, 100e3, 293.15)
    0.0
    """
    if p_abs_pa >= p_other_abs_pa:
        return nozzle_flow_kg_s(area_m2, p_abs_pa, p_other_abs_pa, t_k)
    return -nozzle_flow_kg_s(area_m2, p_other_abs_pa, p_abs_pa, t_other_k)


def restrictor_flow_kg_s(
    conductance_m3_s_pa: float, critical_ratio: float, p_up_abs_pa: float, p_down_abs_pa: float, t_up_k: float
) -> float:
    """Mass flow through a real restrictor by the sonic conductance C and critical ratio b of ISO 6358, kg/s.

    The quarter ellipse of the standard, with a linear branch near equal pressures; p_up_abs_pa must be the higher pressure.

    >>> round(restrictor_flow_kg_s(1e-8, 0.35, 700e3, 100e3, 293.15), 6)
    0.008295
    """
    ratio = p_down_abs_pa / p_up_abs_pa
    full = conductance_m3_s_pa * ANR_DENSITY_KG_M3 * p_up_abs_pa * sqrt(ANR_TEMPERATURE_K / t_up_k)
    if ratio <= critical_ratio:
        return full
    if ratio < LINEAR_ABOVE_RATIO:
        part = (ratio - critical_ratio) / (1.0 - critical_ratio)
        return full * sqrt(1.0 - part * part)
    edge = (LINEAR_ABOVE_RATIO - critical_ratio) / (1.0 - critical_ratio)
    return full * sqrt(1.0 - edge * edge) * (1.0 - ratio) / (1.0 - LINEAR_ABOVE_RATIO)


def series_flow_kg_s(
    first_m2: float, second_m2: float, p_up_abs_pa: float, p_down_abs_pa: float, t_up_k: float
) -> tuple[float, float]:
    """Two nozzles one behind the other with still air between them: the mass flow in kg/s and the pressure between, absolute.

    >>> flow, between = series_flow_kg_s(1e-6, 1e-6, 600e3, 100e3, 293.15)
    >>> 100e3 < between < 600e3
    True
    """
    if p_up_abs_pa <= p_down_abs_pa or first_m2 <= 0.0 or second_m2 <= 0.0:
        return 0.0, p_up_abs_pa if second_m2 <= 0.0 < first_m2 else p_down_abs_pa
    low, high = p_down_abs_pa, p_up_abs_pa
    for _ in range(48):  # the two flows cross once; halving is slow and sure, and only stopped places come here
        middle = 0.5 * (low + high)
        arriving = nozzle_flow_kg_s(first_m2, p_up_abs_pa, middle, t_up_k)
        if arriving > orifice_flow_kg_s(second_m2, middle, p_down_abs_pa, t_up_k):
            low = middle
        else:
            high = middle
    between = 0.5 * (low + high)
    return nozzle_flow_kg_s(first_m2, p_up_abs_pa, between, t_up_k), between
