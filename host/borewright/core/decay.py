"""The trapped air bleeding away: the law of it, and the times it took in a capture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.flow import (
    AIR_GAS_CONSTANT,
    GAMMA_AIR,
    Floats,
    checked,
    choked_flow_constant,
    critical_pressure_ratio,
    flow_function,
)

__all__ = ["DecayTimes", "decay_pressure_abs_pa", "decay_times"]

_NODES = 801
_GAUSS = ((-0.8611363115940526, 0.3478548451374538), (-0.3399810435848563, 0.6521451548625461))


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
    p_start.

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
    x_unchoke = float(np.log(fall) if m == 0.0 else np.expm1(m * np.log(fall)) / (n * m)) / constant
    choked = p_start * (np.exp(-constant * x) if m == 0.0 else (1.0 + n * m * constant * x) ** (-1.0 / m))

    # p = p_ambient/(1 − w²); dx/dw = 2·w/((1 − w²)·n·(p/p_start)^m·ψ(1 − w²)) is smooth down to w = 0
    def dx_dw(w: Floats) -> Floats:
        ratio = 1.0 - w**2
        over = np.where(w > 0.0, w, 1.0) / np.where(w > 0.0, flow_function(ratio), np.sqrt(2.0))
        return np.asarray(2.0 * over / (ratio * n * (p_ambient / ratio / p_start) ** m))

    w = np.linspace(np.sqrt(1.0 - p_ambient / p_unchoke), 0.0, _NODES)
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


@dataclass(frozen=True, slots=True)
class DecayTimes:
    """When the cylinder's gauge pressure had fallen to 75, 50 and 25 % of what it was at the isolation; None where it did not
    get there."""

    t75_s: float | None
    t50_s: float | None
    t25_s: float | None
    p_start_gauge_pa: float


def decay_times(t_s: npt.ArrayLike, p_cylinder_gauge_pa: npt.ArrayLike, p_start_gauge_pa: float | None = None) -> DecayTimes:
    """Times from the first sample to 75, 50 and 25 % of the starting gauge pressure, in seconds.

    t_s, p_cylinder_gauge_pa: shape (n,), n at least 2, times rising, from the moment of isolation to the vent. p_start_gauge_pa,
    above 0: the pressure just before; None takes the first sample. Around each crossing a straight line is fitted to the
    logarithm of the pressure between 7 % over and under the level, so that noise does not decide; where that holds fewer than 4
    samples the neighbours are interpolated. The times carry the volumes of the rig and are not compared across rigs.

    >>> t = np.linspace(0.0, 4.0, 4001)
    >>> times = decay_times(t, 500e3 * np.exp(-t / 2.0))
    >>> round(times.t75_s, 3), round(times.t50_s, 3), round(times.t25_s, 3)
    (0.575, 1.386, 2.773)
    """
    t = checked("t_s", t_s)
    p = checked("p_cylinder_gauge_pa", p_cylinder_gauge_pa)
    if t.ndim != 1 or t.shape != p.shape or t.shape[0] < 2:
        raise ValueError("t_s: needs at least two samples, as many as p_cylinder_gauge_pa")
    if np.any(np.diff(t) <= 0.0):
        raise ValueError("t_s: must rise")
    start = float(p[0]) if p_start_gauge_pa is None else float(p_start_gauge_pa)
    if start <= 0.0:
        raise ValueError("p_start_gauge_pa: must be above 0")
    times = [_crossing_s(t, p, share * start) for share in (0.75, 0.50, 0.25)]
    return DecayTimes(times[0], times[1], times[2], start)


def _crossing_s(t: Floats, p: Floats, level: float) -> float | None:
    """When p falls through the level, from t[0]; None when it does not."""
    # the first sample under it that the median of its neighbourhood confirms
    span = max(1, min(25, t.shape[0] // 50))
    under = np.flatnonzero(p <= level)
    confirmed = next((int(i) for i in under if np.median(p[max(0, i - span) : i + span + 1]) <= level * 1.02), None)
    if confirmed is None:
        return None
    over = np.flatnonzero(p[:confirmed] >= 1.07 * level)
    first = int(over[-1]) + 1 if over.size else 0
    low = np.flatnonzero(p[confirmed:] <= level / 1.07)
    last = confirmed + (int(low[0]) if low.size else t.shape[0] - confirmed)
    near = slice(first, last)
    if last - first >= 4 and np.all(p[near] > 0.0):
        offset = np.log(p[near] / level)
        slope, height = np.polyfit(t[near] - t[confirmed], offset, 1)
        if slope < 0.0:
            at = float(t[confirmed] - height / slope)
            return min(max(at, float(t[first])), float(t[last - 1])) - float(t[0])
    if confirmed == 0:
        return 0.0
    here, before = float(p[confirmed]), float(p[confirmed - 1])
    share = 1.0 if here == before else (before - level) / (before - here)
    return float(t[confirmed - 1] + share * (t[confirmed] - t[confirmed - 1]) - t[0])
