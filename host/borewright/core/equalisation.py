"""Two coarse looks at a capture beside the fit: the restrictor's own area from the shut, the trapped volume from the fill alone.

The area comes from how fast the dead volume before the restrictor follows the cylinder once the supply is shut.

Everything else in a capture gives ratios only: leak area and trapped volume both scale with the restrictor that was entered. The
dead volume is known in cm³, so what flows out of it through the restrictor is an absolute flow, and a wrong restrictor shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.flow import AIR_GAS_CONSTANT, GAMMA_AIR, Floats, checked, mass_flow_kg_s
from borewright.core.restrictor import Restrictor

__all__ = ["Equalisation", "restrictor_from_equalisation", "volume_from_fill"]

_LEAST_SAMPLES = 12
_WINDOW_S = 0.4
_AFTERWARDS = 2.0  # what is watched, in units of the time until the difference has vanished in the noise
_FALLEN = 0.15  # of the difference: by then a solenoid valve, many times as wide as the restrictor, has closed
_ROUNDS = 12
_USABLE = 0.25  # relative standard uncertainty beyond which nothing is said
_SUBSTEPS = 4
_DEGREE = 7


@dataclass(frozen=True, slots=True)
class Equalisation:
    """The restrictor's area by the dead volume, in m², and its standard uncertainty (k = 1).

    The dead volume taken to keep the temperature of the supply, as a metal block makes it; if its air had no time to exchange heat
    the area is smaller by up to γ = 1.4. identifiable: whether the data hold it; reason says why not.
    """

    area_m2: float
    standard_m2: float
    identifiable: bool
    reason: str = ""


def restrictor_from_equalisation(
    t_s: npt.ArrayLike,
    p_regulated_gauge_pa: npt.ArrayLike,
    p_cylinder_gauge_pa: npt.ArrayLike,
    dead_volume_m3: float,
    u_dead_volume: float = 0.05,
    *,
    critical_ratio: float | None = None,
    noise_pa: float = 1_000.0,
    noise_ar1: float = 0.0,
    p_ambient_abs_pa: float = 101_325.0,
    t_supply_k: float = 293.15,
) -> Equalisation:
    """From raw samples that begin at the shut of the supply, or up to a tenth of a second before, and go on for some tenths.

    V_dead/(R·T)·dp_regulated/dt = −ṁ(restrictor), the measured cylinder pressure given; fitted are the area, the difference at the
    start and what the two transducers differ by. u_dead_volume: relative. critical_ratio: the curve of the restrictor as in
    `Restrictor`. noise_pa: standard deviation of one sample of one channel; noise_ar1: correlation with the next one, from 0 to
    under 1, for which the uncertainty is widened by √((1 + φ)/(1 − φ)). Where the residuals are larger, theirs count. For valves
    that close within milliseconds: behind a slowly closing hand valve the area comes out too small. Little leakage leaves no
    difference to watch: then it is not identifiable. Raises ValueError for arguments that cannot be.

    >>> from borewright.core.restrictor import Restrictor
    >>> jet, t = Restrictor(8.1e-7), np.arange(0.0, 0.3, 1e-3)
    >>> p, both = 550e3, []
    >>> for _ in range(3000):  # the dead volume, the cylinder holding 400 kPa
    ...     both.append(p)
    ...     p -= 1e-4 * 287.05287 * 293.15 / 20e-6 * float(jet.mass_flow_kg_s(p + 101_325.0, 501_325.0, 293.15))
    >>> found = restrictor_from_equalisation(t, both[::10], np.full(300, 400e3), 20e-6, 0.0, noise_pa=100.0)
    >>> found.identifiable, round(found.area_m2 * 1e6, 2)
    (True, 0.81)
    """
    t = np.asarray(checked("t_s", t_s), dtype=np.float64)
    regulated, cylinder = checked("p_regulated_gauge_pa", p_regulated_gauge_pa), checked("p_cylinder_gauge_pa", p_cylinder_gauge_pa)
    volume = float(checked("dead_volume_m3", dead_volume_m3, above=0.0))
    share = float(checked("u_dead_volume", u_dead_volume, least=0.0))
    noise = float(checked("noise_pa", noise_pa, above=0.0))
    ar1 = float(checked("noise_ar1", noise_ar1, least=0.0))
    if ar1 >= 1.0:
        raise ValueError("noise_ar1: must be under 1")
    ambient = float(checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0))
    t_supply = float(checked("t_supply_k", t_supply_k, above=0.0))
    if not t.ndim == 1 or t.shape != regulated.shape or t.shape != cylinder.shape:
        raise ValueError("t_s: must be one row, and the pressures of the same length")
    if len(t) < 2 * _LEAST_SAMPLES or np.any(np.diff(t) <= 0.0):
        return _not("There are too few samples after the shut.")
    difference = regulated - cylinder
    begin = _begin(difference, noise)
    if begin is None:
        return _not("The difference over the restrictor is too small to watch it vanish.")
    part = slice(begin, int(np.searchsorted(t, t[begin] + _window_s(t[begin:], difference[begin:], noise))))
    if part.stop - part.start < 2 * _LEAST_SAMPLES:
        return _not("There are too few samples after the shut.")
    shape = Restrictor(1.0, critical_ratio)
    follow = _Follower(t[part] - t[begin], cylinder[part] + ambient, shape, AIR_GAS_CONSTANT * t_supply / volume, t_supply)
    fitted = _fit(follow, difference[part], noise)
    if fitted is None:
        return _not("The regulated pressure does not follow the cylinder's as a dead volume would.")
    ln_area, u_ln = fitted[0], fitted[1] * float(np.sqrt((1.0 + ar1) / (1.0 - ar1)))
    u_relative = float(np.hypot(u_ln, share))
    if u_ln > _USABLE:
        return _not("The difference over the restrictor is too small to watch it vanish.")
    area = float(np.exp(ln_area))
    return Equalisation(area, area * u_relative, True)


def volume_from_fill(
    t_s: npt.ArrayLike,
    p_regulated_gauge_pa: npt.ArrayLike,
    p_cylinder_gauge_pa: npt.ArrayLike,
    restrictor: Restrictor,
    *,
    leak_area_m2: float = 0.0,
    p_ambient_abs_pa: float = 101_325.0,
    t_supply_k: float = 293.15,
) -> tuple[float, float] | None:
    """The trapped volume from the fill alone, in m³, and its standard uncertainty (k = 1): for captures that no fit can follow.

    Samples from the opening on, until the pressure has settled. V = n·R·T·∫(ṁ_in − ṁ_out)dt/Δp over the rise from 5 to 85 % of the
    last pressure; n from 1, as if the air kept its temperature, to γ, as if the walls took no heat: any value as likely as another,
    which is nearly all of the uncertainty. None where there are too few samples in the rise. Raises ValueError for arguments that
    cannot be.

    >>> t, p = np.arange(0.0, 1.0, 1e-3), np.full(1000, 550e3)
    >>> filling = np.minimum(t * 4e6, 540e3)
    >>> volume, standard = volume_from_fill(t, p, filling, Restrictor(8.1e-7))
    >>> round(volume * 1e6, 1), round(standard / volume, 2)
    (30.0, 0.1)
    """
    t = checked("t_s", t_s)
    regulated, cylinder = checked("p_regulated_gauge_pa", p_regulated_gauge_pa), checked("p_cylinder_gauge_pa", p_cylinder_gauge_pa)
    ambient = float(checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0))
    t_supply = float(checked("t_supply_k", t_supply_k, above=0.0))
    leak = float(checked("leak_area_m2", leak_area_m2, least=0.0))
    if t.ndim != 1 or t.shape != regulated.shape or t.shape != cylinder.shape:
        raise ValueError("t_s: must be one row, and the pressures of the same length")
    level = float(np.median(cylinder[-max(_LEAST_SAMPLES, len(t) // 10) :])) if len(t) else 0.0
    risen = np.flatnonzero(cylinder >= 0.85 * level)
    low = np.flatnonzero(cylinder[: risen[0] if risen.size else 0] < 0.05 * level)
    begin, end = (int(low[-1]) if low.size else 0), (int(risen[0]) if risen.size else 0)
    if level <= 0.0 or end - begin < _LEAST_SAMPLES:
        return None
    part = slice(begin, end + 1)
    up, down = np.maximum(regulated[part] + ambient, 0.5 * ambient), np.maximum(cylinder[part] + ambient, 0.5 * ambient)
    net = restrictor.mass_flow_kg_s(up, down, t_supply) - mass_flow_kg_s(leak, down, ambient, t_supply)
    mass = float(np.sum(0.5 * (net[1:] + net[:-1]) * np.diff(t[part])))
    per_n = AIR_GAS_CONSTANT * t_supply * mass / float(cylinder[end] - cylinder[begin])
    half_range = (GAMMA_AIR - 1.0) / 2.0
    volume = (1.0 + half_range) * per_n
    if volume <= 0.0:
        return None
    u_edges = 1.0 / (end - begin)  # one sample more or less
    return volume, volume * float(
        np.hypot(half_range / (1.0 + half_range) / np.sqrt(3.0), np.hypot(u_edges, restrictor.u_relative))
    )


def _not(reason: str) -> Equalisation:
    return Equalisation(float("nan"), float("inf"), False, reason)


def _begin(difference: Floats, noise_pa: float) -> int | None:
    """The first sample from which the valve has closed; None where the difference does not fall out of the noise."""
    smooth = np.convolve(difference, np.ones(3) / 3.0, mode="valid")
    level = float(np.median(smooth[:3]))
    end = float(np.median(smooth[-_LEAST_SAMPLES:]))
    if level - end < 6.0 * noise_pa:
        return None
    under = np.flatnonzero(smooth < level - max(_FALLEN * (level - end), 3.0 * noise_pa))
    return int(under[0]) + 1 if under.size else None


def _window_s(t_s: Floats, difference: Floats, noise_pa: float) -> float:
    """Long enough to see what the transducers differ by afterwards; longer would only bend the cylinder's pressure."""
    smooth = np.convolve(difference, np.ones(5) / 5.0, mode="valid")
    gone = np.flatnonzero(smooth < float(np.median(smooth[-_LEAST_SAMPLES:])) + 2.0 * noise_pa)
    took_s = float(t_s[gone[0] + 2] - t_s[0]) if gone.size else _WINDOW_S
    return min(max(_AFTERWARDS * took_s, float(t_s[2 * _LEAST_SAMPLES - 1] - t_s[0])), _WINDOW_S)


@dataclass(frozen=True, slots=True, eq=False)
class _Follower:
    """The difference over the restrictor sample by sample. factor: R·T/V of the dead volume. shape: a restrictor of 1 m²."""

    t_s: Floats
    p_cylinder_abs_pa: Floats
    shape: Restrictor
    factor: float
    t_supply_k: float

    def smooth_cylinder(self) -> Floats:
        """The cylinder's pressure without its noise: it bends where the inflow stops, so no low polynomial."""
        x = self.t_s / self.t_s[-1]
        return np.asarray(np.polynomial.Polynomial.fit(x, self.p_cylinder_abs_pa, min(_DEGREE, len(x) // 6))(x))

    def __call__(self, ln_area: Floats, start_pa: Floats) -> Floats:
        """Shape (samples, variants). Implicit in the root of the difference, so that no step runs through zero."""
        cylinder = self.smooth_cylinder()
        y = np.asarray(start_pa, dtype=np.float64)
        out = np.empty((len(self.t_s), len(y)))
        out[0] = y
        scale = np.exp(ln_area) * self.factor / np.sqrt(AIR_GAS_CONSTANT * self.t_supply_k)
        for i in range(1, len(self.t_s)):
            h = (self.t_s[i] - self.t_s[i - 1]) / _SUBSTEPS
            fall = (cylinder[i] - cylinder[i - 1]) / _SUBSTEPS
            for n in range(_SUBSTEPS):
                p = cylinder[i - 1] + n * fall
                size = np.maximum(np.abs(y), 1.0)
                target = y - fall
                d = h * scale * (p + size) * self.shape.flow_function(p / (p + size)) / np.sqrt(size)
                root = 0.5 * (np.sqrt(d * d + 4.0 * np.abs(target)) - d)
                y = np.sign(target) * root * root
            out[i] = y
        return out


def _fit(follow: _Follower, difference: Floats, noise_pa: float) -> tuple[float, float] | None:
    """ln area and its standard uncertainty from noise, by Gauss–Newton over ln area, first difference and offset."""
    offset = float(np.median(difference[-_LEAST_SAMPLES:]))
    drop = max(float(difference[0]) - offset, noise_pa)
    cylinder = follow.p_cylinder_abs_pa[0]
    slope = follow.factor * float(follow.shape.mass_flow_kg_s(cylinder + drop, cylinder, follow.t_supply_k))
    half = float(follow.t_s[int(np.argmax(difference - offset < 0.5 * drop))]) or float(follow.t_s[1])
    unknown = np.array([np.log(max(0.6 * drop / (slope * half), 1e-9)), drop, offset])
    steps = np.array([1e-4, max(1e-3 * drop, 1.0)])
    sigma = noise_pa * np.sqrt(2.0)
    prior = 1.0 / (3_000.0) ** 2  # two transducers that were zeroed and tied differ by less
    for _ in range(_ROUNDS):
        variants = follow(unknown[0] + np.array([0.0, steps[0], 0.0]), unknown[1] + np.array([0.0, 0.0, steps[1]]))
        base = variants[:, 0]
        by = np.stack([(variants[:, 1] - base) / steps[0], (variants[:, 2] - base) / steps[1], np.ones(len(base))], axis=1)
        rest = difference - base - unknown[2]
        normal = by.T @ by / sigma**2 + np.diag([0.0, 0.0, prior])
        covariance = np.linalg.pinv(normal, hermitian=True)
        step = covariance @ (by.T @ rest / sigma**2 - np.array([0.0, 0.0, prior * unknown[2]]))
        step[0] = np.clip(step[0], -0.7, 0.7)
        unknown = unknown + step
        unknown[1] = max(unknown[1], 1.0)
        if abs(step[0]) < 1e-4:
            break
    else:
        return None
    chi2 = float(rest @ rest) / sigma**2 / max(1, len(rest) - 3)
    return float(unknown[0]), float(np.sqrt(covariance[0, 0] * max(chi2, 1.0)))
