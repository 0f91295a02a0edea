"""Air through a restrictor and through a leak: ideal nozzles, ISO 6358 restrictors, leakage, leak area, decay.

All in SI. Pressures called abs are absolute, those called gauge are above ambient. Air is an ideal gas with γ = 1.4 and
R = 287.05287 J/(kg·K). Area always means the area of the *ideal nozzle* that passes the same flow; the discharge coefficient of
a real hole (0.56 to 0.93 for air, Weisbach) is part of it.

Every function takes numbers or arrays, broadcasts them and gives float64. Bad arguments raise ValueError naming the argument.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = [
    "AIR_GAS_CONSTANT",
    "ANR",
    "GAMMA_AIR",
    "NORMAL_0C",
    "STANDARD_20C",
    "STANDARD_60F",
    "FlowReference",
    "choked_flow_constant",
    "critical_pressure_ratio",
    "decay_pressure_abs_pa",
    "leak_area_m2",
    "leakage_percent",
    "leakage_percent_of_area",
    "mass_flow_iso6358_kg_s",
    "mass_flow_kg_s",
]

Floats = npt.NDArray[np.float64]

GAMMA_AIR = 1.4
AIR_GAS_CONSTANT = 287.05287
LEAST_GAUGE_PA = -110_000.0  # under any vacuum: the highest air pressure on record is about 108.5 kPa (from memory, unverified)

_NODES = 801
_GAUSS = ((-0.8611363115940526, 0.3478548451374538), (-0.3399810435848563, 0.6521451548625461))


def checked(name: str, value: npt.ArrayLike, *, above: float | None = None, least: float | None = None) -> Floats:
    """The value as float64, or a ValueError that names the argument: not finite, not above `above`, or under `least`."""
    array = np.asarray(value, dtype=np.float64)
    if not np.all(np.isfinite(array)):
        raise ValueError(f"{name}: must be finite")
    if above is not None and np.any(array <= above):
        raise ValueError(f"{name}: must be above {above:g}")
    if least is not None and np.any(array < least):
        raise ValueError(f"{name}: must not be under {least:g}")
    return array


def critical_pressure_ratio(gamma: npt.ArrayLike = GAMMA_AIR) -> Floats:
    """Ratio of downstream to upstream absolute pressure at and under which an ideal nozzle is choked.

    (2/(γ+1))^(γ/(γ−1)); γ above 1. Source: any text on compressible flow; the tables print .5283 for γ = 1.4.

    >>> round(float(critical_pressure_ratio(1.4)), 9)
    0.528281788
    """
    g = checked("gamma", gamma, above=1.0)
    return np.asarray(np.exp(-g / (g - 1.0) * np.log1p((g - 1.0) / 2.0)))


def choked_flow_constant(gamma: npt.ArrayLike = GAMMA_AIR) -> Floats:
    """The dimensionless mass flow ṁ·√(R·T)/(A·p_up) of a choked ideal nozzle: √γ·(2/(γ+1))^((γ+1)/(2(γ−1))); γ above 1.

    Source: any text on compressible flow (White prints 0.685 for γ = 1.4).

    >>> round(float(choked_flow_constant(1.4)), 9)
    0.684731456
    """
    g = checked("gamma", gamma, above=1.0)
    return np.asarray(np.sqrt(g) * np.exp(-(g + 1.0) / (2.0 * (g - 1.0)) * np.log1p((g - 1.0) / 2.0)))


def flow_function(ratio: npt.ArrayLike, gamma: float = GAMMA_AIR) -> Floats:
    """Dimensionless mass flow ṁ·√(R·T)/(A·p_up) of an ideal nozzle at a pressure ratio p_down/p_up from 0 to 1.

    √(2γ/(γ−1) · (r^(2/γ) − r^((γ+1)/γ))), held at its greatest value under the critical ratio. Source: any text on compressible
    flow.

    >>> [round(float(value), 6) for value in flow_function([0.0, 0.528281788, 0.9, 1.0])]
    [0.684731, 0.684731, 0.422581, 0.0]
    """
    return _flow_at_gap(1.0 - np.asarray(ratio, dtype=np.float64), gamma)


def _flow_at_gap(gap: Floats, gamma: float = GAMMA_AIR) -> Floats:
    """The flow function at gap = (p_up − p_down)/p_up: through log1p and expm1, so that nothing is lost where small leaks live."""
    log_ratio = np.log1p(-np.minimum(gap, 1.0 - float(critical_pressure_ratio(gamma))))
    share = (gamma - 1.0) / gamma
    return np.asarray(np.sqrt(np.maximum(-2.0 / share * np.exp(2.0 / gamma * log_ratio) * np.expm1(share * log_ratio), 0.0)))


def mass_flow_kg_s(
    area_m2: npt.ArrayLike, p_up_abs_pa: npt.ArrayLike, p_down_abs_pa: npt.ArrayLike, t_up_k: npt.ArrayLike
) -> Floats:
    """Mass flow of air through an ideal nozzle in kg/s, choked or not, positive from up to down.

    area_m2: nozzle area, at least 0. p_up_abs_pa, p_down_abs_pa: absolute pressures, at least 0. t_up_k: temperature on the side
    the air comes from, above 0. With p_down above p_up the air goes the other way and the flow is negative. Isentropic to the
    throat, no recovery after it. Source: any text on compressible flow. Checked against printed tables to 0.3 %; against real air
    to 0.5 % up to 1.1 MPa abs from 17 °C to 107 °C, and up to 0.8 % low where it is colder and dense (−23 °C at 1.1 MPa).

    >>> round(float(mass_flow_kg_s(8.107e-7, 652_905.6, 101_325.0, 293.15)), 9)
    0.00124941
    """
    area = checked("area_m2", area_m2, least=0.0)
    p_up = checked("p_up_abs_pa", p_up_abs_pa, least=0.0)
    p_down = checked("p_down_abs_pa", p_down_abs_pa, least=0.0)
    t_up = checked("t_up_k", t_up_k, above=0.0)
    high, low = np.maximum(p_up, p_down), np.minimum(p_up, p_down)
    gap = np.divide(high - low, high, out=np.zeros(np.broadcast(low, high).shape), where=high > 0.0)
    sign = np.where(p_down > p_up, -1.0, 1.0)
    return np.asarray(sign * area * high / np.sqrt(AIR_GAS_CONSTANT * t_up) * _flow_at_gap(gap))


def leakage_percent(p_regulated_gauge_pa: npt.ArrayLike, p_cylinder_gauge_pa: npt.ArrayLike) -> Floats:
    """Leakage: the share of the regulated pressure that is lost over the restrictor, in percent, on gauge pressures.

    (p_regulated − p_cylinder)/p_regulated. p_regulated above 0, p_cylinder above any vacuum. Noise around an equal pair may give a
    value just under 0, and it is not hidden. Source: the trade's definition; 80 psi before and 72 after is 10 % (common practice).

    >>> float(leakage_percent(550_000.0, 495_000.0))
    10.0
    """
    p_regulated = checked("p_regulated_gauge_pa", p_regulated_gauge_pa, above=0.0)
    p_cylinder = checked("p_cylinder_gauge_pa", p_cylinder_gauge_pa, above=LEAST_GAUGE_PA)
    return np.asarray(100.0 * (p_regulated - p_cylinder) / p_regulated)


def leak_area_m2(
    restrictor_area_m2: npt.ArrayLike,
    p_regulated_gauge_pa: npt.ArrayLike,
    p_cylinder_gauge_pa: npt.ArrayLike,
    p_ambient_abs_pa: npt.ArrayLike,
    t_supply_k: npt.ArrayLike = 293.15,
    t_cylinder_k: npt.ArrayLike | None = None,
) -> Floats:
    """Effective leak area: the ideal nozzle that lets as much air out of the cylinder as the restrictor lets in, in m².

    What flows through the restrictor from p_regulated to p_cylinder leaves from p_cylinder to ambient, air of t_supply_k coming
    in and of t_cylinder_k going out (None: the same; 80 °C against 20 °C is worth 10 % of the area). restrictor_area_m2 above 0;
    p_cylinder above 0 and at most p_regulated, p_ambient and temperatures above 0. Source: mass balance of two ideal nozzles in
    series.

    >>> restrictor = np.pi / 4 * (0.040 * 0.0254) ** 2
    >>> round(float(leak_area_m2(restrictor, 551_580.58, 496_422.53, 101_325.0)) * 1e6, 5)
    0.50697
    """
    restrictor = checked("restrictor_area_m2", restrictor_area_m2, above=0.0)
    p_cylinder = checked("p_cylinder_gauge_pa", p_cylinder_gauge_pa, above=0.0)
    p_regulated = checked("p_regulated_gauge_pa", p_regulated_gauge_pa, above=0.0)
    p_ambient = checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0)
    t_supply = checked("t_supply_k", t_supply_k, above=0.0)
    t_cylinder = t_supply if t_cylinder_k is None else checked("t_cylinder_k", t_cylinder_k, above=0.0)
    if np.any(p_cylinder > p_regulated):
        raise ValueError("p_cylinder_gauge_pa: must not be above p_regulated_gauge_pa")
    up, middle = p_regulated + p_ambient, p_cylinder + p_ambient
    inflow = restrictor * up / np.sqrt(t_supply) * _flow_at_gap((p_regulated - p_cylinder) / up)
    return np.asarray(inflow / (middle / np.sqrt(t_cylinder) * _flow_at_gap(p_cylinder / middle)))


def leakage_percent_of_area(
    leak_area_m2: npt.ArrayLike,
    restrictor_area_m2: npt.ArrayLike,
    p_regulated_gauge_pa: npt.ArrayLike,
    p_ambient_abs_pa: npt.ArrayLike,
    t_supply_k: npt.ArrayLike = 293.15,
    t_cylinder_k: npt.ArrayLike | None = None,
) -> Floats:
    """The leakage in percent that a leak of this area reads on this restrictor at this pressure; the inverse of `leak_area_m2`.

    leak_area_m2 at least 0, restrictor_area_m2 and p_regulated_gauge_pa above 0. Solved by bisection on the square root of
    the leakage, because small leaks go as area squared; good to 1e-12 of the answer from 1e-12 % upwards.
    Source: as for `leak_area_m2`.

    >>> restrictor = np.pi / 4 * (0.040 * 0.0254) ** 2
    >>> round(float(leakage_percent_of_area(0.30e-6, restrictor, 551_580.58, 101_325.0)), 3)
    3.69
    """
    leak = checked("leak_area_m2", leak_area_m2, least=0.0)
    restrictor = checked("restrictor_area_m2", restrictor_area_m2, above=0.0)
    p_regulated = checked("p_regulated_gauge_pa", p_regulated_gauge_pa, above=0.0)
    p_ambient = checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0)
    t_supply = checked("t_supply_k", t_supply_k, above=0.0)
    t_cylinder = t_supply if t_cylinder_k is None else checked("t_cylinder_k", t_cylinder_k, above=0.0)
    up = p_regulated + p_ambient
    in_scale = restrictor * up / np.sqrt(t_supply)
    low, high = np.broadcast_arrays(*np.broadcast_arrays(0.0 * (leak + in_scale + t_cylinder), 1.0))
    for _ in range(64):
        middle = (low + high) / 2.0
        p_gauge = p_regulated * (1.0 - middle**2)
        inflow = in_scale * _flow_at_gap(p_regulated * middle**2 / up)
        outflow = leak * (p_gauge + p_ambient) / np.sqrt(t_cylinder) * _flow_at_gap(p_gauge / (p_gauge + p_ambient))
        low, high = np.where(inflow < outflow, middle, low), np.where(inflow < outflow, high, middle)
    return np.asarray(np.where(leak > 0.0, 100.0 * ((low + high) / 2.0) ** 2, 0.0))


def decay_pressure_abs_pa(
    t_s: npt.ArrayLike,
    p_start_abs_pa: float,
    leak_area_m2: float,
    volume_m3: float,
    p_ambient_abs_pa: float,
    t_gas_k: float,
    polytropic: float = 1.0,
) -> Floats:
    """Absolute pressure in Pa of a closed volume that leaks to ambient through an ideal nozzle, at times t_s after it was closed.

    dp/dt = −n·R·T·ṁ/V with T = t_gas_k·(p/p_start)^((n−1)/n); n = polytropic: 1 isothermal, 1.4 adiabatic. While choked
    p = p_start·e^(−t/τ), or p_start·(1 + (n−1)/2·t/τ)^(−2n/(n−1)), τ = V/(A·√(R·T)·0.6847); after that integrated over √(1 −
    p_ambient/p), in which the end, reached in finite time, is no singularity. t_s at least 0, of any shape; p_start_abs_pa at
    least p_ambient_abs_pa; area at least 0, volume, ambient and temperature above 0, polytropic from 1 to 1.4. Good to 1e-9 of
    p_start. Source: mass balance of an ideal gas with `mass_flow_kg_s`; the choked law stands in texts on compressible flow.

    >>> [round(float(p)) for p in decay_pressure_abs_pa([0.0, 1.441162], 790_325.0, 1e-6, 500e-6, 101_325.0, 293.15)]
    [790325, 445825]
    """
    t = checked("t_s", t_s, least=0.0)
    p_ambient = float(checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0))
    p_start = float(checked("p_start_abs_pa", p_start_abs_pa, least=p_ambient))
    area = float(checked("leak_area_m2", leak_area_m2, least=0.0))
    volume = float(checked("volume_m3", volume_m3, above=0.0))
    t_gas = float(checked("t_gas_k", t_gas_k, above=0.0))
    n = float(checked("polytropic", polytropic, least=1.0))
    if n > GAMMA_AIR:
        raise ValueError(f"polytropic: must be at most {GAMMA_AIR:g}")
    if area == 0.0 or p_start == p_ambient:
        return np.full(t.shape, p_start)
    m = (n - 1.0) / (2.0 * n)
    x = t * area * np.sqrt(AIR_GAS_CONSTANT * t_gas) / volume  # the time in which all leaks are alike
    constant = float(choked_flow_constant())
    p_unchoke = min(p_start, p_ambient / float(critical_pressure_ratio()))
    fall = p_start / p_unchoke
    # expm1 and log1p, so that an exponent just over 1 goes over into 1 without loss
    x_unchoke = float(np.log(fall) if m == 0.0 else np.expm1(m * np.log(fall)) / (n * m)) / constant
    choked = p_start * np.exp(-constant * x if m == 0.0 else -np.log1p(n * m * constant * x) / m)

    # p = p_ambient/(1 − w²); dx/dw = 2·w/((1 − w²)·n·(p/p_start)^m·ψ(1 − w²)) is smooth down to w = 0
    share = (GAMMA_AIR - 1.0) / GAMMA_AIR

    def dx_dw(w: Floats) -> Floats:
        gap = w**2
        ratio = 1.0 - gap
        psi_over_w = np.sqrt(2.0 / share * ratio ** (2.0 / GAMMA_AIR) * _part_lost(gap, share))
        return np.asarray(2.0 / (psi_over_w * ratio * n * (p_ambient / ratio / p_start) ** m))

    w = np.linspace(np.sqrt((p_unchoke - p_ambient) / p_unchoke), 0.0, _NODES)
    half, middle = (w[:-1] - w[1:]) / 2.0, (w[:-1] + w[1:]) / 2.0
    parts = sum(weight * (dx_dw(middle + half * node) + dx_dw(middle - half * node)) for node, weight in _GAUSS) * half
    at = x_unchoke + np.concatenate([[0.0], np.cumsum(parts)])
    slope = -1.0 / dx_dw(w)

    late = np.clip(x, at[0], at[-1])
    left = np.clip(np.searchsorted(at, late, side="right") - 1, 0, _NODES - 2)
    step = at[left + 1] - at[left]
    u = (late - at[left]) / step
    w_late = (
        (1.0 + 2.0 * u) * (1.0 - u) ** 2 * w[left]
        + u * (1.0 - u) ** 2 * step * slope[left]
        + u**2 * (3.0 - 2.0 * u) * w[left + 1]
        - u**2 * (1.0 - u) * step * slope[left + 1]
    )
    return np.asarray(np.where(x < x_unchoke, choked, p_ambient / (1.0 - w_late**2)))


def _part_lost(gap: Floats, exponent: float) -> Floats:
    """(1 − (1 − gap)^exponent)/gap, with its limit where gap is 0."""
    safe = np.where(gap > 0.0, gap, 1e-30)
    return np.asarray(-np.expm1(exponent * np.log1p(-safe)) / safe)


# ---------------------------------------------------------------- restrictors by conductance, and stated references


def mass_flow_iso6358_kg_s(
    conductance_m3_s_pa: npt.ArrayLike,
    critical_ratio: npt.ArrayLike,
    p_up_abs_pa: npt.ArrayLike,
    p_down_abs_pa: npt.ArrayLike,
    t_up_k: npt.ArrayLike,
) -> Floats:
    """Mass flow of air in kg/s through a restrictor given by its sonic conductance C and critical ratio b, as ISO 6358 states it.

    C·ρ0·p1·√(T0/T1), times √(1 − ((r − b)/(1 − b))²) above b; ρ0 = 1.185 kg/m³ and T0 = 293.15 K are those of ANR. C at least 0,
    b from 0 to under 1, pressures absolute with p_down at most p_up. Source: ISO 6358-1.

    >>> round(float(mass_flow_iso6358_kg_s(1e-8, 0.35, 700e3, 100e3, 293.15)), 6)
    0.008295
    """
    conductance = checked("conductance_m3_s_pa", conductance_m3_s_pa, least=0.0)
    b = checked("critical_ratio", critical_ratio, least=0.0)
    if np.any(b >= 1.0):
        raise ValueError("critical_ratio: must be under 1")
    p_up = checked("p_up_abs_pa", p_up_abs_pa, above=0.0)
    p_down = checked("p_down_abs_pa", p_down_abs_pa, least=0.0)
    t_up = checked("t_up_k", t_up_k, above=0.0)
    if np.any(p_down > p_up):
        raise ValueError("p_down_abs_pa: must not be above p_up_abs_pa")
    over = np.clip((p_down / p_up - b) / (1.0 - b), 0.0, 1.0)
    return np.asarray(conductance * ANR.density_kg_m3 * p_up * np.sqrt(ANR.t_k / t_up) * np.sqrt(1.0 - over**2))


@dataclass(frozen=True, slots=True)
class FlowReference:
    """A state of air that volume flows are stated at. "Standard litre" alone means little: references differ by up to 9 %.

    Source of the ANR: ISO 8778, which fixes the density; the others are dry air as an ideal gas.

    >>> round(float(ANR.volume_flow_m3_s(0.01185)) * 60_000, 3), ANR.label
    (600.0, 'ANR (20 °C, 100 kPa, 65 % RH)')
    """

    label: str
    t_k: float
    density_kg_m3: float

    def volume_flow_m3_s(self, mass_flow_kg_s: npt.ArrayLike) -> Floats:
        """The volume flow in m³/s at this reference of a mass flow in kg/s, a number or an array."""
        return np.asarray(checked("mass_flow_kg_s", mass_flow_kg_s) / self.density_kg_m3)

    def mass_flow_kg_s(self, volume_flow_m3_s: npt.ArrayLike) -> Floats:
        """The mass flow in kg/s of a volume flow in m³/s stated at this reference, a number or an array."""
        return np.asarray(checked("volume_flow_m3_s", volume_flow_m3_s) * self.density_kg_m3)


ANR = FlowReference("ANR (20 °C, 100 kPa, 65 % RH)", 293.15, 1.185)  # ISO 8778; the density is by definition
STANDARD_20C = FlowReference("20 °C, 101.325 kPa, dry", 293.15, 101_325.0 / (AIR_GAS_CONSTANT * 293.15))
NORMAL_0C = FlowReference("0 °C, 101.325 kPa, dry", 273.15, 101_325.0 / (AIR_GAS_CONSTANT * 273.15))
STANDARD_60F = FlowReference("60 °F, 14.696 psi, dry", 288.705_555_6, 101_325.0 / (AIR_GAS_CONSTANT * 288.705_555_6))
