"""The rig's own volumes from its captures: hose and adapter from a capped fill, dead volume from what leaves it after the shut."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt
from typing import Literal

import numpy as np
import numpy.typing as npt

from borewright.core.capture import CaptureResult
from borewright.core.fit_result import Estimate
from borewright.core.flow import AIR_GAS_CONSTANT, Floats, checked
from borewright.core.restrictor import Restrictor
from borewright.core.rig import ChannelLaw, CheckRefused
from borewright.core.samples import SampleColumns

__all__ = [
    "Transfer",
    "Volumes",
    "dead_volume_of_equalising",
    "hose_volume_by_reference",
    "hose_volume_of_fill",
    "ratio_of_equalising",
    "transfer",
    "volumes_of_capture",
]

LEAST_CHANGE = 0.05  # of the absolute pressure: a smaller one says nothing of a volume
LARGEST_U = 0.3
NEARLY_EQUAL = 0.995  # ratio of the pressures
CLOSE_TO_EQUAL = 0.2  # project: the law of a restrictor close to equal pressures is known no better than this
VALVE_CLOSED_S = 0.03  # a solenoid valve has ended its travel
STEP_PA = 20.0
U_TIED_PA = 110.0  # a tie of 0.02 % at test pressure
U_STEADY_PA = 30.0  # of the difference in the steady part of the same capture
SETTLED_S = 3.0  # gas in a hose of 6 mm bore or in a dead volume has nearly the temperature of its walls again after this
QUICK_EXPONENTS = (1.0, 1.4)  # isothermal to adiabatic
SETTLED_EXPONENTS = (1.0, 1.05)


@dataclass(frozen=True, slots=True)
class Transfer:
    """Air that went through the restrictor over a stretch of a capture.

    amount_j: ∫ṁ·R·T dt, so that a volume at constant temperature is this over its change of pressure. u_relative: its standard
    uncertainty. change_*_pa: end minus start, each side. u_change_pa: standard uncertainty of these. length_s: of the stretch.
    """

    amount_j: float
    u_relative: float
    change_regulated_pa: float
    change_cylinder_pa: float
    u_change_pa: float
    length_s: float
    p_start_abs_pa: tuple[float, float]


def transfer(
    t_s: npt.ArrayLike,
    p_regulated_gauge_pa: npt.ArrayLike,
    p_cylinder_gauge_pa: npt.ArrayLike,
    restrictor: Restrictor,
    p_ambient_abs_pa: float,
    t_gas_k: float,
    difference_pa: float = 0.0,
    u_difference_pa: float = U_TIED_PA,
    u_t_gas_k: float = 2.0,
) -> Transfer:
    """What went through the restrictor from the first sample to the last; shapes (n,), n at least 40, times rising.

    difference_pa: p_cylinder − p_regulated where both are known to be equal, taken off the cylinder's, and its standard uncertainty
    (110 Pa: a tie of 0.02 % at test pressure). Means of ten neighbours are integrated; what goes at nearly equal pressures, where
    the restrictor's law is poorly known, widens the uncertainty.
    """
    t, regulated, cylinder = (
        checked(name, value)
        for name, value in (
            ("t_s", t_s),
            ("p_regulated_gauge_pa", p_regulated_gauge_pa),
            ("p_cylinder_gauge_pa", p_cylinder_gauge_pa),
        )
    )
    if t.ndim != 1 or not t.shape == regulated.shape == cylinder.shape or t.shape[0] < 40 or np.any(np.diff(t) <= 0.0):
        raise CheckRefused("The stretch of the capture is too short to tell a volume; use one with more samples.")
    ambient = float(checked("p_ambient_abs_pa", p_ambient_abs_pa, above=0.0))
    t_gas = float(checked("t_gas_k", t_gas_k, above=0.0))
    size = 10 if t.shape[0] >= 400 else 2
    blocks = t.shape[0] // size
    tb, rb, cb = (v[: blocks * size].reshape(blocks, size).mean(axis=1) for v in (t, regulated, cylinder - difference_pa))
    up, down = np.maximum(rb + ambient, 1.0), np.maximum(cb + ambient, 1.0)
    energy = AIR_GAS_CONSTANT * t_gas

    def flow(cylinder_side: Floats) -> Floats:
        return restrictor.mass_flow_kg_s(up, cylinder_side, t_gas) * energy

    amount = float(np.trapezoid(flow(down), tb)) * float(t[-1] - t[0]) / float(tb[-1] - tb[0])
    near = np.minimum(up, down) / np.maximum(up, down) > NEARLY_EQUAL
    of_near = float(np.trapezoid(np.where(near, flow(down), 0.0), tb))
    per_pa_s = (flow(down + STEP_PA) - flow(np.maximum(down - STEP_PA, 1.0))) / (2.0 * STEP_PA)
    dt = float(np.mean(np.diff(tb)))
    noise = float(np.hypot(_noise(regulated), _noise(cylinder))) / sqrt(size)
    u_amount = sqrt(
        (noise * dt) ** 2 * float(np.sum(per_pa_s**2))
        + (u_difference_pa * dt * float(np.sum(per_pa_s))) ** 2
        + (CLOSE_TO_EQUAL * of_near) ** 2
    )
    u = sqrt(
        restrictor.u_relative**2
        + (0.5 * u_t_gas_k / t_gas) ** 2
        + (u_amount / max(abs(amount), 1e-12)) ** 2
        + 0.002**2  # of integrating
    )
    return Transfer(
        amount,
        u,
        float(rb[-1] - rb[0]),
        float(cb[-1] - cb[0]),
        sqrt(2.0) * noise,
        float(t[-1] - t[0]),
        (float(up[0]), float(down[0])),
    )


def _noise(values: Floats) -> float:
    return float(np.std(np.diff(values))) / sqrt(2.0)


def hose_volume_of_fill(fill: Transfer) -> Estimate:
    """Volume of hose and adapter from a capped fill, from before the air to the settled end: all that went in stayed there.

    V = n·∫ṁ·R·T dt / Δp; n lies between 1 and 1.05 once the gas has had three seconds to take the walls' temperature again, and
    between 1 and 1.4 before, each rectangular.

    >>> round(hose_volume_of_fill(Transfer(18.7, 0.006, 5e5, 5.5e5, 200.0, 3.0, (1.2e5, 1.01e5))).value * 1e6, 2)
    34.85
    """
    return _volume(fill.amount_j, fill.u_relative, fill.change_cylinder_pa, fill.u_change_pa, fill.p_start_abs_pa[1], fill.length_s)


def dead_volume_of_equalising(after_shut: Transfer) -> Estimate:
    """Dead volume from what leaves it through the restrictor once the supply is shut, from the valve's end of travel on.

    It needs the two sides apart at the shut: shut in mid-fill, or with an orifice on the hose. With the outlet capped and the
    pressures equal nothing moves, and the reason says so.
    """
    moved = after_shut.change_regulated_pa
    return _volume(
        after_shut.amount_j,
        after_shut.u_relative,
        -moved,
        after_shut.u_change_pa,
        after_shut.p_start_abs_pa[0],
        after_shut.length_s,
    )


def _volume(
    amount_j: float, u_relative: float, change_pa: float, u_change_pa: float, p_start_abs_pa: float, length_s: float
) -> Estimate:
    if change_pa < LEAST_CHANGE * p_start_abs_pa or amount_j <= 0.0:
        return Estimate(None, 0.0, "the pressures of the two sides hardly moved against each other")
    low, high = SETTLED_EXPONENTS if length_s >= SETTLED_S else QUICK_EXPONENTS
    exponent = (low + high) / 2.0
    value = exponent * amount_j / change_pa
    u = value * sqrt(u_relative**2 + (u_change_pa / change_pa) ** 2 + ((high - low) / 2.0 / sqrt(3.0) / exponent) ** 2)
    if u > LARGEST_U * value:
        return Estimate(None, u, f"the capture holds it to {100.0 * u / value:.0f} % only")
    return Estimate(value, u)


def ratio_of_equalising(after_shut: Transfer) -> Estimate:
    """Dead volume over hose volume, from the pressures alone: outlet capped, shut in mid-fill, until both sides are equal.

    What one side loses the other gains: V_dead·Δp_dead = V_hose·Δp_hose. No restrictor and no temperature enter, but a leak does.

    >>> ratio_of_equalising(Transfer(4.0, 0.006, -1.7e5, 1e5, 200.0, 3.0, (6e5, 3e5))).value
    0.5882352941176471
    """
    lost, gained = -after_shut.change_regulated_pa, after_shut.change_cylinder_pa
    if min(lost, gained) < LEAST_CHANGE * after_shut.p_start_abs_pa[1]:
        return Estimate(None, 0.0, "the pressures of the two sides hardly moved against each other")
    value = gained / lost
    return Estimate(value, value * sqrt((after_shut.u_change_pa / lost) ** 2 + (after_shut.u_change_pa / gained) ** 2))


def hose_volume_by_reference(alone: Transfer, together: Transfer, reference_volume_m3: float, u_reference_m3: float) -> Estimate:
    """Volume of hose and adapter from two capped fills, one of it alone and one with a known volume on its end.

    V_hose = V_reference·a/(b − a), a and b being ∫ṁ·R·T dt/Δp of the two: the restrictor's area and the temperature fall out.
    reference_volume_m3 above 0, with its standard uncertainty.

    >>> one = Transfer(18.7, 0.006, 5e5, 5.5e5, 100.0, 3.0, (1.2e5, 1.01e5))
    >>> both = Transfer(73.7, 0.006, 5e5, 5.5e5, 100.0, 3.0, (1.2e5, 1.01e5))
    >>> round(hose_volume_by_reference(one, both, 100e-6, 0.2e-6).value * 1e6, 3)
    34.0
    """
    reference = float(checked("reference_volume_m3", reference_volume_m3, above=0.0))
    u_reference = float(checked("u_reference_m3", u_reference_m3, least=0.0))
    if min(alone.change_cylinder_pa, together.change_cylinder_pa) < LEAST_CHANGE * alone.p_start_abs_pa[1]:
        return Estimate(None, 0.0, "the pressures of the two sides hardly moved against each other")
    a, b = alone.amount_j / alone.change_cylinder_pa, together.amount_j / together.change_cylinder_pa
    if not 0.0 < 1.05 * a < b:
        return Estimate(None, 0.0, "the fill with the reference volume took no more air than the fill without it")
    value = reference * a / (b - a)
    # what both fills share falls out; pressure and the part near equal pressures do not
    u_fill = sqrt(2.0) * sqrt(0.003**2 + (alone.u_change_pa / alone.change_cylinder_pa) ** 2)
    u = value * sqrt((u_reference / reference) ** 2 + (u_fill * b / (b - a)) ** 2)
    return Estimate(value, u) if u <= LARGEST_U * value else Estimate(None, u, "the reference volume is too small for this hose")


@dataclass(frozen=True, slots=True)
class Volumes:
    """What one capture says of the rig's volumes, in m³ with standard uncertainties; value None, with the reason, where nothing."""

    dead_volume: Estimate
    hose_volume: Estimate


def volumes_of_capture(
    columns: SampleColumns,
    laws: tuple[ChannelLaw, ChannelLaw],
    result: CaptureResult,
    shut_s: float | None,
    ended_s: float,
    restrictor: Restrictor,
    p_ambient_abs_pa: float,
    t_gas_k: float,
    outlet: Literal["capped", "orifice"],
    channels: tuple[int, int] = (0, 1),
    u_steady_pa: float = U_STEADY_PA,
) -> Volumes:
    """The hose volume from a capture with the outlet capped, the dead volume from one with an orifice on the hose.

    laws, channels: regulated, cylinder, tied. shut_s, ended_s: device times of the shut and of the end. u_steady_pa: standard
    uncertainty, over the fill, of the difference that the steady part shows; zeros that wander make it larger. A larger orifice
    holds the dead volume better: it keeps the two sides apart. Raises CheckRefused where the capture is too short.
    """
    zeros = (result.zero_regulated_pa - laws[0].zero_pa, result.zero_cylinder_pa - laws[1].zero_pa)
    t = columns.t_s
    regulated, cylinder = (
        law.gauge_pa(columns.raw[channel]) - zero for law, channel, zero in zip(laws, channels, zeros, strict=True)
    )

    def over(start: int, stop: int, difference_pa: float, u_difference_pa: float) -> Transfer:
        part = slice(start, stop)
        sides = (regulated[part], cylinder[part])
        return transfer(t[part], *sides, restrictor, p_ambient_abs_pa, t_gas_k, difference_pa, u_difference_pa)

    if outlet == "capped":
        difference_pa = result.p_cylinder_gauge_pa - result.p_regulated_gauge_pa
        start = max(result.phases.fill[0] - 1, 0)
        stop = min(int(np.searchsorted(t, t[result.phases.fill[1]] + SETTLED_S + 1.0)), result.phases.steady[1])
        filled = over(start, stop, difference_pa, u_steady_pa)
        return Volumes(Estimate(None, 0.0, "with the outlet capped both sides are equal at the shut"), hose_volume_of_fill(filled))
    hose = Estimate(None, 0.0, "an orifice lets out what the hose would have to keep")
    if shut_s is None:
        return Volumes(Estimate(None, 0.0, "the supply was not shut"), hose)
    start, stop = (int(np.searchsorted(t, at_s)) for at_s in (shut_s + VALVE_CLOSED_S, ended_s))
    # both ways are right; which is better depends on orifice and noise, so the one with the smaller uncertainty is taken
    ends = [int(np.searchsorted(t, shut_s + VALVE_CLOSED_S + wait_s)) for wait_s in (0.1, 0.2, 0.4, 1.0, SETTLED_S)]
    found = [dead_volume_of_equalising(over(start, end, 0.0, U_TIED_PA)) for end in (*ends, stop) if start + 40 <= end <= stop]
    if not found:
        raise CheckRefused("The supply was shut too shortly to tell the dead volume; wait a second before venting.")
    return Volumes(min(found, key=lambda one: one.standard / one.value if one.value is not None else inf), hose)
