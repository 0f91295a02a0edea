"""What the pressure in the closed hose would do under each explanation of where the hose is and when its valves are shut.

The hand-turned piston squeezes the air in hose and cylinder while valves or ports are shut; a leak of unknown area lets it out.
Every explanation is followed side by side over a grid of leak areas and of heat exchange (isothermal and nearly adiabatic): coarse
physics on purpose, because the judgement (core.squeeze) allows for its error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.crank import cylinder_volume_m3
from borewright.core.engine import Engine

__all__ = ["Explanation", "SqueezeModel", "squeeze_model"]

Floats = npt.NDArray[np.float64]

_R_AIR = 287.05287  # J/(kg·K)
_T_AIR_K = 293.15
_CRITICAL = 0.528
_CHOKED = 0.6847  # √γ·(2/(γ+1))^((γ+1)/(2(γ−1))) for γ = 1.4
_AREAS_M2 = np.geomspace(0.05e-6, 28e-6, 15)  # beyond 20 mm², so that "neither" means less than even that leak would show
_POLYTROPIC = np.array([1.0, 1.3])
_STEP_DEG = 3.0
_TABLE_PER_DEG = 4


@dataclass(frozen=True, slots=True)
class Explanation:
    """One explanation: the rise comes in step with these cylinders, which share their TDC.

    phase_deg: where the compression TDC lies after the TDC under test; on which turn is not known beforehand, so there is one
    explanation for each turn of the cycle. always: the valves stay shut all the time, so it rises at every TDC. No cylinders:
    nothing squeezes the hose.
    """

    cylinders: tuple[int, ...]
    phase_deg: float = 0.0
    always: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class SqueezeModel:
    """The explanations and what is needed to follow them. Pressures have the shape (explanations, areas, exchanges)."""

    explanations: tuple[Explanation, ...]
    cycle_deg: float
    p_ambient_abs_pa: float
    phase_deg: Floats  # [explanations]
    closed_before_deg: Floats  # [explanations]; negative: never closed
    closed_after_deg: Floats  # [explanations]
    volume_m3: Floats  # cylinder and hose over one turn from TDC, _TABLE_PER_DEG a degree, first repeated at the end

    def start(self) -> Floats:
        """Gauge pressures with the hose at ambient pressure."""
        return np.zeros((len(self.explanations), len(_AREAS_M2), len(_POLYTROPIC)))

    def follow(self, p_gauge_pa: Floats, from_deg: float, to_deg: float, dt_s: float) -> Floats:
        """The gauge pressures after the crank went evenly in dt_s from one angle to another, counted from the TDC under test."""
        steps = max(1, int(np.ceil(abs(to_deg - from_deg) / _STEP_DEG)))
        angles = np.linspace(from_deg, to_deg, steps + 1)
        volumes, closed = self._volumes(angles), self._closed(angles)
        for i in range(steps):
            p_gauge_pa = self._step(p_gauge_pa, volumes[:, i], volumes[:, i + 1], closed[:, i + 1], dt_s / steps)
        return p_gauge_pa

    def _volumes(self, angles_deg: Floats) -> Floats:
        place = (angles_deg[None, :] - self.phase_deg[:, None]) % 360.0 * _TABLE_PER_DEG
        below = place.astype(np.int64)
        low = self.volume_m3[below]
        return low + (place - below) * (self.volume_m3[below + 1] - low)

    def _closed(self, angles_deg: Floats) -> npt.NDArray[np.bool_]:
        half = self.cycle_deg / 2.0
        around = (angles_deg[None, :] - self.phase_deg[:, None] + half) % self.cycle_deg - half
        return (around > -self.closed_before_deg[:, None]) & (around < self.closed_after_deg[:, None])

    def _step(self, p_gauge_pa: Floats, v_from_m3: Floats, v_to_m3: Floats, closed: npt.NDArray[np.bool_], dt_s: float) -> Floats:
        """Squeeze first, then leak, implicitly: y + d·√y = y* stays right when the leak is far faster than the step."""
        pa = self.p_ambient_abs_pa
        squeezed = (v_from_m3 / v_to_m3)[:, None] ** _POLYTROPIC
        p_abs = (pa + p_gauge_pa) * squeezed[:, None, :]
        y = p_abs - pa
        size = np.abs(y)
        p_up = np.maximum(p_abs, pa)
        ratio = np.minimum(p_abs, pa) / p_up
        subcritical = np.maximum(ratio - _CRITICAL, 0.0) / (1.0 - _CRITICAL)
        # mass flow = A·0.6847/√(RT)·√(p_up·shape·size), exact at both ends of the ellipse that stands for the subcritical branch
        shape = np.minimum((1.0 + subcritical) / (1.0 - _CRITICAL), p_up / np.maximum(size, 1e-3))
        conductance = _CHOKED * np.sqrt(_R_AIR * _T_AIR_K) * _AREAS_M2[None, :, None] * _POLYTROPIC
        d = dt_s / v_to_m3[:, None, None] * conductance * np.sqrt(p_up * shape)
        root = 0.5 * (np.sqrt(d * d + 4.0 * size) - d)
        return np.where(closed[:, None, None], np.sign(y) * root * root, 0.0)


def squeeze_model(engine: Engine, cylinder: int, hose_volume_m3: float, p_ambient_abs_pa: float) -> SqueezeModel:
    """The explanations for a hose that should be in this cylinder.

    hose_volume_m3: hose, adapter and what else is joined to the cylinder. Raises ValueError when the engine has no such cylinder.

    >>> four = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
    >>> [(e.cylinders, e.phase_deg, e.always) for e in squeeze_model(four, 1, 30e-6, 101_325.0).explanations][:3]
    [((), 0.0, False), ((1, 4), 0.0, False), ((1, 4), 360.0, False)]
    """
    own = engine.firing_angle_deg(cylinder)
    groups: dict[float, list[int]] = {}
    for other in engine.cylinders:
        groups.setdefault(_phase((engine.firing_angle_deg(other) - own) % 360.0), []).append(other)
    explanations = [Explanation(())]
    for phase, members in groups.items():
        if engine.cycle == "two-stroke":
            explanations.append(Explanation(tuple(members), phase))
            continue
        if engine.valve_gear == "fitted":
            explanations += [Explanation(tuple(members), phase), Explanation(tuple(members), phase + 360.0)]
        explanations.append(Explanation(tuple(members), phase, always=True))
    before, after = engine.closed_part_deg()
    shut = [-1.0 if not e.cylinders else engine.cycle_deg if e.always else before for e in explanations]
    opens = [-1.0 if not e.cylinders else engine.cycle_deg if e.always else after for e in explanations]
    angles = np.arange(0, 360 * _TABLE_PER_DEG + 2) / _TABLE_PER_DEG
    volume = cylinder_volume_m3(angles, engine.bore_m, engine.stroke_m, engine.rod_m, engine.clearance_m3, engine.pin_offset_m)
    return SqueezeModel(
        tuple(explanations),
        engine.cycle_deg,
        p_ambient_abs_pa,
        np.array([e.phase_deg for e in explanations]),
        np.array(shut),
        np.array(opens),
        volume + hose_volume_m3,
    )


def _phase(phase_deg: float) -> float:
    """Cylinders within 10 degrees of this one's TDC count as in step with it: no squeeze tells them apart."""
    return 0.0 if min(phase_deg, 360.0 - phase_deg) < 10.0 else round(phase_deg, 3)
