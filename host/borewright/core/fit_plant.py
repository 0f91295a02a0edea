"""The equations that a whole capture is fitted with, and their derivatives.

Two bodies of air. The cylinder side (clearance, adapter, hose) has one temperature, takes air in through the restrictor, loses it
through the leak and exchanges heat with its walls:

    dp/dt = (γ−1)/(V + γ·p·V') · (c_p·(ṁ_in·T_in − ṁ_out·T) + G·(T_wall − T))
    dT/dt = T·(1/p + V'/V) · dp/dt − R·T²/(p·V) · (ṁ_in − ṁ_out)
    V     = V_scale + V'·(p_gauge − p_scale), V' being the hose's stretch
    ṁ_out = A·exp(n·x + c·x²/2) · p/√(R·T) · ψ(p_ambient/p),  x = ln(p_gauge/p_scale)
    G     = G0·(1 + stir·ṁ_in/ṁ_choked)·(p/p_scale)^m

While the supply is open, p_regulated is what was measured. Once it is shut the dead volume is a closed body at the temperature of
its metal: dp_regulated/dt = −R·T_supply/V_dead · ṁ_in.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from borewright.core.flow import AIR_GAS_CONSTANT, GAMMA_AIR, Floats, flow_function
from borewright.core.restrictor import CHOKED, STRAIGHT_ABOVE_RATIO, Restrictor, restrictor_curve, straight_near_one

__all__ = ["Plant", "Q", "derivatives"]

HEAT_CAPACITY = GAMMA_AIR / (GAMMA_AIR - 1.0) * AIR_GAS_CONSTANT
LEAST_RELATIVE = 0.01  # a leak's change with pressure is followed down to this part of its scale
NEAR_ONE_RATIO = 0.001  # so near to 1 a restrictor's curve is not known: neither standard nor nozzle hold there
_STEP = 1e-6


class Q(IntEnum):
    """The unknowns of the fit, by their place in the vector: of the cylinder, of the rig, of the sensors, of the start.

    LEAK in m² at the scale pressure; EXPONENT and CURVE its n and c; LN_VOLUME and LN_WALL the logarithms of m³ and W/K; STIR and
    WALL_EXPONENT as in the equations; LN_RESTRICTOR and LN_DEAD relative to what the instrument states; CRITICAL_RATIO and
    P_AMBIENT as such; NEAR_ONE the logarithm of what the restrictor passes more than its curve at equal pressures; STRETCH in
    m³/Pa; TIE and GAIN shares of the reading; BOW in Pa; P_START, T_START and P_SHUT the state that the capture begins with, and
    the regulated pressure where the dead volume is closed. The zeros are no unknowns: their drift is in the covariance.
    """

    LEAK = 0
    EXPONENT = 1
    LN_VOLUME = 2
    LN_WALL = 3
    STIR = 4
    WALL_EXPONENT = 5
    T_WALL = 6
    T_SUPPLY = 7
    LN_RESTRICTOR = 8
    CRITICAL_RATIO = 9
    P_AMBIENT = 10
    LN_DEAD = 11
    STRETCH = 12
    CURVE = 13
    NEAR_ONE = 14
    TIE = 15
    GAIN = 16
    BOW = 17
    P_START = 18
    T_START = 19
    P_SHUT = 20


PHYSICAL = tuple(q for q in Q if q < Q.TIE)  # those that the equations contain
_STEPS = {
    Q.LEAK: 1e-12,
    Q.EXPONENT: 1e-6,
    Q.LN_VOLUME: 1e-6,
    Q.LN_WALL: 1e-6,
    Q.STIR: 1e-6,
    Q.WALL_EXPONENT: 1e-6,
    Q.T_WALL: 1e-4,
    Q.T_SUPPLY: 1e-4,
    Q.LN_RESTRICTOR: 1e-6,
    Q.CRITICAL_RATIO: 1e-6,
    Q.P_AMBIENT: 0.1,
    Q.LN_DEAD: 1e-6,
    Q.STRETCH: 1e-16,
    Q.CURVE: 1e-6,
    Q.NEAR_ONE: 1e-6,
}


@dataclass(frozen=True, slots=True)
class Plant:
    """The equations with what the fit does not change: the restrictor as stated, the dead volume, the scale pressure (gauge)."""

    restrictor: Restrictor
    dead_volume_m3: float
    p_scale_gauge_pa: float

    def rates(self, p: Floats, t: Floats, p_regulated: Floats, unknowns: Floats) -> tuple[Floats, Floats, Floats]:
        """dp/dt, dT/dt and, of a closed dead volume, dp_regulated/dt. Pressures absolute, any shapes that go together.

        unknowns: shape (len(Q), ...), each of a shape that goes with the others.
        """
        u = unknowns
        p_ambient, t_supply = u[Q.P_AMBIENT], u[Q.T_SUPPLY]
        forward = p_regulated >= p
        high = np.where(forward, p_regulated, p)
        t_in = np.where(forward, t_supply, t)
        full = self.restrictor.area_m2 * np.exp(u[Q.LN_RESTRICTOR]) * high / np.sqrt(AIR_GAS_CONSTANT * t_in)
        over = np.where(forward, p, p_regulated) / high
        curve = None if self.restrictor.critical_ratio is None else u[Q.CRITICAL_RATIO]
        close = np.exp(u[Q.NEAR_ONE] * np.exp((over - 1.0) / NEAR_ONE_RATIO))
        flow_in = np.where(forward, full, -full) * close * restrictor_curve(over, curve)
        x = np.log(np.maximum((p - p_ambient) / self.p_scale_gauge_pa, LEAST_RELATIVE))
        area = u[Q.LEAK] * np.exp((u[Q.EXPONENT] + 0.5 * u[Q.CURVE] * x) * x)
        ratio = np.minimum(p_ambient / p, 1.0)
        leak_shape = straight_near_one(ratio, flow_function(np.minimum(ratio, STRAIGHT_ABOVE_RATIO)))
        flow_out = area * p / np.sqrt(AIR_GAS_CONSTANT * t) * leak_shape
        stretch = u[Q.STRETCH]
        volume = np.exp(u[Q.LN_VOLUME]) + stretch * (p - p_ambient - self.p_scale_gauge_pa)
        stirred = 1.0 + u[Q.STIR] * np.maximum(flow_in, 0.0) / (CHOKED * full)
        dense = (p / (self.p_scale_gauge_pa + p_ambient)) ** u[Q.WALL_EXPONENT]
        heat = np.exp(u[Q.LN_WALL]) * stirred * dense * (u[Q.T_WALL] - t)
        gained = HEAT_CAPACITY * (flow_in * t_in - flow_out * t) + heat
        dp = (GAMMA_AIR - 1.0) / (volume + GAMMA_AIR * p * stretch) * gained
        dt = t * (1.0 / p + stretch / volume) * dp - AIR_GAS_CONSTANT * t**2 / (p * volume) * (flow_in - flow_out)
        d_regulated = -AIR_GAS_CONSTANT * t_supply / (self.dead_volume_m3 * np.exp(u[Q.LN_DEAD])) * flow_in
        return dp, dt, d_regulated


def derivatives(plant: Plant, state: Floats, unknowns: Floats) -> tuple[Floats, Floats, Floats]:
    """Rates, their derivatives by the state and by the unknowns of the equations.

    state: shape (3, n), p, T, p_regulated. Gives rates (3, n), by_state (3, 3, n): rate, state, point; by_unknown
    (3, len(PHYSICAL), n). By small differences, all in one evaluation: good to about 1e-8 of themselves, and the fit needs no more.
    """
    n = state.shape[1]
    moved = np.broadcast_to(state[:, None, :], (3, 4 + len(PHYSICAL), n)).copy()
    steps = _STEP * state
    for number in range(3):
        moved[number, 1 + number] += steps[number]
    varied = np.broadcast_to(unknowns[:, None, None], (len(Q), 4 + len(PHYSICAL), 1)).copy()
    for number, q in enumerate(PHYSICAL):
        varied[q, 4 + number] += _STEPS[q]
    every = np.stack(plant.rates(moved[0], moved[1], moved[2], varied))
    rates = every[:, 0]
    change = every[:, 1:] - rates[:, None]
    by_state = change[:, :3] / steps[None]
    by_unknown = change[:, 3:] / np.array([_STEPS[q] for q in PHYSICAL])[None, :, None]
    return rates, by_state, by_unknown
