"""The slider-crank: where the piston is, what volume is above it, how hard air on it turns the crank, and where true TDC is.

Crank angles are degrees from TDC, positive in running direction; TDC is the true top of the travel, also with an offset pin.
Bad arguments raise ValueError naming the argument.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt

from borewright.core.flow import LEAST_GAUGE_PA, Floats, checked

__all__ = [
    "TDC_WINDOW_CEILING_DEG",
    "contacts_apart_count",
    "cylinder_volume_m3",
    "gas_torque_nm",
    "piston_travel_m",
    "squeeze_peak_gauge_pa",
    "stop_middle_late_deg",
    "tdc_window_deg",
    "true_tdc_count",
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
    Source: any text on the theory of machines.

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
    """The volume above the piston in m³: clearance_m3 (at least 0) and π/4·bore² (bore above 0) times the travel.

    The rest as for `piston_travel_m`. Source: geometry.

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

    p·A·dx/dθ (virtual work), the crankcase at ambient; p above any vacuum, bore above 0, the rest as for `piston_travel_m`. Zero
    at TDC and steep beside it: 3.1 N·m at one degree for 86 × 86 mm at 552 kPa. Source: any text on the theory of machines.

    >>> [round(float(m), 5) for m in gas_torque_nm([1.0, 10.0], 0.086, 0.086, 0.143, 551_580.58)]
    [3.12739, 31.01836]
    """
    bore = checked("bore_m", bore_m, above=0.0)
    p_gauge = checked("p_gauge_pa", p_gauge_pa, above=LEAST_GAUGE_PA)
    return np.asarray(p_gauge * math.pi / 4.0 * bore**2 * _travel_per_radian_m(crank_deg, stroke_m, rod_m, pin_offset_m))


def tdc_window_deg(
    bore_m: float,
    stroke_m: float,
    rod_m: float,
    p_gauge_pa: float,
    holding_torque_nm: float,
    restraint_slack_deg: float = 0.0,
    pin_offset_m: float = 0.0,
) -> float:
    """How far from TDC, to either side, the crank may stand with air on, in degrees.

    The smaller of 1.5° (widened by restraint_slack_deg, at least 0) and the angle at which the gas torque reaches half of the
    holding torque that the operator stated (at least 0; with 0 there is no window). p_gauge_pa: the highest pressure that may
    come, at least 0. With an offset pin the side that turns harder counts. Source: design rule of this program; the trade only
    says that air pushes the piston down off TDC.

    >>> round(tdc_window_deg(0.086, 0.086, 0.143, 551_580.58, 5.0), 4), tdc_window_deg(0.086, 0.086, 0.143, 551_580.58, 60.0)
    (0.7994, 1.5)
    """
    allowed = 0.5 * float(checked("holding_torque_nm", holding_torque_nm, least=0.0))
    p_gauge = float(checked("p_gauge_pa", p_gauge_pa, least=0.0))
    ceiling = TDC_WINDOW_CEILING_DEG + float(checked("restraint_slack_deg", restraint_slack_deg, least=0.0))

    def torque(angle_deg: float) -> float:
        both = gas_torque_nm([-angle_deg, angle_deg], bore_m, stroke_m, rod_m, p_gauge, pin_offset_m)
        return float(max(-both[0], both[1]))

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
    pin_offset_m: float = 0.0,
) -> float:
    """The highest gauge pressure in Pa that the piston, turned by hand, can squeeze into the closed hose.

    The air that is shut in at closes_before_tdc_deg (above 0, at most 180) goes into clearance and hose:
    p_ambient·(V_closed/V_tdc)^n − p_ambient. polytropic 1.4 (no heat lost) without a leak is an upper bound, good for a limit;
    slow turning comes closer to 1, and a leak lowers it. Clearance and hose together above 0, polytropic at least 1. Source:
    polytropic compression of an ideal gas.

    >>> round(squeeze_peak_gauge_pa(0.086, 0.086, 0.143, 55e-6, 50e-6, 101_325.0, 125.0, 1.0) / 1e3)
    404
    """
    hose = float(checked("hose_volume_m3", hose_volume_m3, least=0.0))
    p_ambient = float(checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0))
    closes = float(checked("closes_before_tdc_deg", closes_before_tdc_deg, above=0.0))
    if closes > 180.0:
        raise ValueError("closes_before_tdc_deg: must be at most 180")
    exponent = float(checked("polytropic", polytropic, least=1.0))
    at_tdc, closed = cylinder_volume_m3([0.0, -closes], bore_m, stroke_m, rod_m, clearance_m3, pin_offset_m) + hose
    if at_tdc <= 0.0:
        raise ValueError("clearance_m3: clearance and hose together must be above 0")
    return float(p_ambient * (closed / at_tdc) ** exponent - p_ambient)


# ---------------------------------------------------------------- true TDC from a piston stop


def stop_middle_late_deg(apart_deg: npt.ArrayLike, stroke_m: float, rod_m: float, pin_offset_m: float) -> Floats:
    """How far after true TDC, in degrees in running direction, the mid-point between the two contacts with a piston stop lies.

    The piston touches the stop at the same travel on both sides; with an offset pin these are not the same angle from TDC, so half
    way between them is not TDC. apart_deg: between the contacts, from 0 to 180; geometry as for `piston_travel_m`. Solved for
    travel(middle − apart/2) = travel(middle + apart/2) by bisection, good to 1e-9°. Nothing for a central pin. Source: geometry.

    >>> [round(float(late), 3) for late in stop_middle_late_deg([20.0, 80.0], 0.086, 0.143, 0.008)]
    [0.011, 0.182]
    """
    apart = checked("apart_deg", apart_deg, least=0.0)
    if np.any(apart > 180.0):
        raise ValueError("apart_deg: must be at most 180")
    _geometry(stroke_m, rod_m, pin_offset_m)
    half = apart / 2.0
    low, high = -half, half
    for _ in range(60):
        middle = (low + high) / 2.0
        before, after = (piston_travel_m(middle + side * half, stroke_m, rod_m, pin_offset_m) for side in (-1.0, 1.0))
        low, high = np.where(after < before, middle, low), np.where(after < before, high, middle)
    return np.asarray((low + high) / 2.0) if pin_offset_m else np.zeros_like(half)


def contacts_apart_count(before_count: float, after_count: float, counts_per_rev: int, running_sign: Literal[1, -1] = 1) -> float:
    """Counts from the contact before TDC to the one after it, in the running direction, modulo a turn.

    >>> contacts_apart_count(1400, 40, 1440), contacts_apart_count(40, 1400, 1440, -1)
    (80, 80)
    """
    return (running_sign * (after_count - before_count)) % counts_per_rev


def true_tdc_count(
    stop_contacts: Sequence[tuple[float, float]],
    counts_per_rev: int,
    running_sign: Literal[1, -1] = 1,
    middle_late_deg: npt.ArrayLike = 0.0,
) -> tuple[float, float]:
    """TDC by piston stop: (count modulo one turn, its standard uncertainty in counts).

    stop_contacts: pairs (count before TDC, count after TDC), each modulo any number of turns. TDC of a pair lies half way from the
    first to the second in the running direction, less middle_late_deg, one for all or one for each pair (`stop_middle_late_deg`; 0
    for a central pin). The result is the mean of the pairs; its uncertainty is the larger of what their scatter says and the
    resolution of one count on each side (step/√12). Raises ValueError when there is no pair, when a count is not finite, or when
    counts_per_rev is below 4. Source: bisecting with a stop is documented practice.

    >>> true_tdc_count([(1400, 40), (1402, 42)], 1440)
    (1.0, 1.0)
    >>> true_tdc_count([(1400, 40), (1402, 42)], 1440, middle_late_deg=0.25)
    (0.0, 1.0)
    """
    if not math.isfinite(counts_per_rev) or counts_per_rev < 4:
        raise ValueError(f"counts_per_rev: {counts_per_rev} is too few; an encoder gives at least 4 counts a turn")
    if not len(stop_contacts):
        raise ValueError("stop_contacts: at least one pair of contacts is needed")
    if running_sign not in (1, -1):
        raise ValueError("running_sign: must be 1 or -1")
    contacts = checked("stop_contacts", stop_contacts)
    late = checked("middle_late_deg", middle_late_deg) / 360.0 * counts_per_rev
    if contacts.shape[1:] != (2,):
        raise ValueError("stop_contacts: must be pairs, (count before TDC, count after TDC)")
    if late.shape not in ((), (len(contacts),)):
        raise ValueError("middle_late_deg: needs one value, or one for each pair")
    apart = (running_sign * (contacts[:, 1] - contacts[:, 0])) % counts_per_rev
    middles = contacts[:, 0] + running_sign * (apart / 2.0 - late)
    # a circular mean, so that pairs on both sides of the count's wrap do not average to the opposite side
    around = (middles - middles[0] + counts_per_rev / 2.0) % counts_per_rev - counts_per_rev / 2.0
    tdc = float(middles[0] + np.mean(around)) % counts_per_rev
    scatter = float(np.std(around, ddof=1)) / math.sqrt(len(around)) if len(around) > 1 else 0.0
    resolution = math.sqrt(2.0) / 2.0 / math.sqrt(12.0)
    return tdc, max(scatter, resolution)
