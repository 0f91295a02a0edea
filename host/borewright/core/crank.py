"""The slider-crank: where the piston is, what volume is above it, and how hard air on it turns the crank.

Crank angles are degrees from TDC, positive in running direction; TDC is the true top of the travel, also with an offset pin.
Bad arguments raise ValueError naming the argument.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from borewright.core.flow import Floats, checked

__all__ = [
    "TDC_WINDOW_CEILING_DEG",
    "cylinder_volume_m3",
    "gas_torque_nm",
    "piston_travel_m",
    "squeeze_peak_gauge_pa",
    "tdc_window_deg",
]

TDC_WINDOW_CEILING_DEG = 1.5


def _geometry(stroke_m: float, rod_m: float, pin_offset_m: float) -> tuple[float, float, float]:
    throw = float(checked("stroke_m", stroke_m, above=0.0)) / 2.0
    rod = float(checked("rod_m", rod_m, above=0.0))
    offset = float(checked("pin_offset_m", pin_offset_m))
    if rod <= throw + abs(offset):
        raise ValueError("rod_m: must be longer than half the stroke and the pin offset together")
    return throw, rod, offset


def piston_travel_m(crank_deg: npt.ArrayLike, stroke_m: float, rod_m: float, pin_offset_m: float = 0.0) -> Floats:
    """How far the piston stands under its top, in metres.

    x = r + l − (r·cos θ + √(l² − r²·sin² θ)) for a central pin. With the cylinder's axis pin_offset_m away from the crank's,
    towards the side the crank throw swings to after TDC, the same with its own TDC as zero. stroke_m is twice the throw; rod_m
    between centres, longer than throw and offset together. Evaluated so that the micrometres close to TDC are not lost to rounding.

    >>> [round(float(x) * 1e3, 6) for x in piston_travel_m([1.0, 10.0, 180.0], 0.086, 0.143)]
    [0.008518, 0.848344, 86.0]
    """
    throw, rod, offset = _geometry(stroke_m, rod_m, pin_offset_m)
    angle = np.radians(checked("crank_deg", crank_deg))
    top = math.asin(offset / (rod + throw))  # where the throw stands at true TDC
    theta = angle + top
    # both differences in product form: cos a − cos b = −2 sin((a+b)/2) sin((a−b)/2), √a − √b = (a − b)/(√a + √b)
    along_throw = 2.0 * throw * np.sin(angle / 2.0 + top) * np.sin(angle / 2.0)
    side_top, side = throw * math.sin(top) - offset, throw * np.sin(theta) - offset
    side_change = 2.0 * throw * np.cos(angle / 2.0 + top) * np.sin(angle / 2.0)
    root_top, root = math.sqrt(rod**2 - side_top**2), np.sqrt(rod**2 - side**2)
    return np.asarray(along_throw + side_change * (side + side_top) / (root_top + root))


def _travel_per_radian_m(crank_deg: npt.ArrayLike, stroke_m: float, rod_m: float, pin_offset_m: float) -> Floats:
    throw, rod, offset = _geometry(stroke_m, rod_m, pin_offset_m)
    theta = np.radians(checked("crank_deg", crank_deg)) + math.asin(offset / (rod + throw))
    side = throw * np.sin(theta) - offset
    return np.asarray(throw * np.sin(theta) + throw * np.cos(theta) * side / np.sqrt(rod**2 - side**2))


def cylinder_volume_m3(
    crank_deg: npt.ArrayLike, bore_m: float, stroke_m: float, rod_m: float, clearance_m3: float, pin_offset_m: float = 0.0
) -> Floats:
    """The volume above the piston in m³: clearance_m3 (at least 0) and π/4·bore² times the travel.

    >>> [round(float(v) * 1e6, 2) for v in cylinder_volume_m3([0.0, 180.0], 0.086, 0.086, 0.143, 55e-6)]
    [55.0, 554.56]
    """
    bore = checked("bore_m", bore_m, above=0.0)
    clearance = checked("clearance_m3", clearance_m3, least=0.0)
    return np.asarray(clearance + math.pi / 4.0 * bore**2 * piston_travel_m(crank_deg, stroke_m, rod_m, pin_offset_m))


def gas_torque_nm(
    crank_deg: npt.ArrayLike,
    bore_m: float,
    stroke_m: float,
    rod_m: float,
    p_gauge_pa: npt.ArrayLike,
    pin_offset_m: float = 0.0,
) -> Floats:
    """Torque in N·m that gauge pressure on the piston puts on the crank, positive when it drives it further from TDC forwards.

    p·A·dx/dθ, the crankcase at ambient. Zero at TDC and steep beside it: 3.1 N·m at one degree for 86 × 86 mm at 552 kPa.

    >>> [round(float(m), 5) for m in gas_torque_nm([1.0, 10.0], 0.086, 0.086, 0.143, 551_580.58)]
    [3.12739, 31.01836]
    """
    bore = checked("bore_m", bore_m, above=0.0)
    p_gauge = checked("p_gauge_pa", p_gauge_pa)
    return np.asarray(p_gauge * math.pi / 4.0 * bore**2 * _travel_per_radian_m(crank_deg, stroke_m, rod_m, pin_offset_m))


def tdc_window_deg(
    bore_m: float,
    stroke_m: float,
    rod_m: float,
    p_gauge_pa: float,
    holding_torque_nm: float,
    restraint_slack_deg: float = 0.0,
) -> float:
    """How far from TDC, to either side, the crank may stand with air on, in degrees.

    The smaller of 1.5° (widened by restraint_slack_deg, at least 0) and the angle at which the gas torque reaches half of the
    holding torque that the operator stated (at least 0; with 0 there is no window). p_gauge_pa: the highest pressure that may
    come, at least 0.

    >>> round(tdc_window_deg(0.086, 0.086, 0.143, 551_580.58, 5.0), 4), tdc_window_deg(0.086, 0.086, 0.143, 551_580.58, 60.0)
    (0.7994, 1.5)
    """
    allowed = 0.5 * float(checked("holding_torque_nm", holding_torque_nm, least=0.0))
    p_gauge = float(checked("p_gauge_pa", p_gauge_pa, least=0.0))
    ceiling = TDC_WINDOW_CEILING_DEG + float(checked("restraint_slack_deg", restraint_slack_deg, least=0.0))

    def torque(angle_deg: float) -> float:
        return float(gas_torque_nm(angle_deg, bore_m, stroke_m, rod_m, p_gauge))

    if torque(ceiling) <= allowed:
        return ceiling
    low, high = 0.0, ceiling
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if torque(middle) <= allowed else (low, middle)
    return low


def squeeze_peak_gauge_pa(
    bore_m: float,
    stroke_m: float,
    rod_m: float,
    clearance_m3: float,
    hose_volume_m3: float,
    p_ambient_abs_pa: float,
    closes_before_tdc_deg: float,
    polytropic: float = 1.4,
) -> float:
    """The highest gauge pressure in Pa that the piston, turned by hand, can squeeze into the closed hose.

    The air that is shut in at closes_before_tdc_deg (above 0, at most 180) goes into clearance and hose:
    p_ambient·(V_closed/V_tdc)^n − p_ambient. polytropic 1.4 (no heat lost) without a leak is an upper bound, good for a limit;
    slow turning comes closer to 1, and a leak lowers it.

    >>> round(squeeze_peak_gauge_pa(0.086, 0.086, 0.143, 55e-6, 50e-6, 101_325.0, 125.0, 1.0) / 1e3)
    404
    """
    hose = float(checked("hose_volume_m3", hose_volume_m3, least=0.0))
    p_ambient = float(checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0))
    closes = float(checked("closes_before_tdc_deg", closes_before_tdc_deg, above=0.0))
    if closes > 180.0:
        raise ValueError("closes_before_tdc_deg: must be at most 180")
    exponent = float(checked("polytropic", polytropic, least=1.0))
    at_tdc, closed = cylinder_volume_m3([0.0, -closes], bore_m, stroke_m, rod_m, clearance_m3) + hose
    if at_tdc <= 0.0:
        raise ValueError("clearance_m3: clearance and hose together must be above 0")
    return float(p_ambient * (closed / at_tdc) ** exponent - p_ambient)
