"""The sealed check at one or several pressures: with the outlet capped it shows the rig's own leak and ties the transducers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt
from typing import Literal

import numpy as np

from borewright.core.capture import CaptureResult, CaptureUnusable
from borewright.core.flow import AIR_GAS_CONSTANT, Floats, mass_flow_kg_s
from borewright.core.rig import ChannelLaw, CheckRefused
from borewright.core.samples import SampleColumns

__all__ = ["DecaySlope", "Sealed", "SealedPoint", "judge_sealed", "read_sealed_point"]

SMALLEST_LEAK_M2 = 1e-7  # 0.1 mm²
OWN_LEAK_SHARE = 0.02  # project: of the smallest leak area that is to be reported
LARGEST_TIE_SHARE = 0.005
ONE_PRESSURE_TIE = 0.0005  # project: how far two transducers of 0.05 % may part between the one pressure seen and another
LEAST_SHUT_S = 0.5
BINS = 8
COOLS_S = (0.3, 6.0)  # time constants of the gas's cooling that are looked for
COOLS_BY = 0.01  # project: of the pressure, what the cooling of a steady reading still takes away, as a standard deviation
SHOWN = 3.0

Direction = Literal["out", "in", "both", "none seen"]


@dataclass(frozen=True, slots=True)
class DecaySlope:
    """One stretch after the shut: mean gauge pressure of both channels, its slope, and the slope's standard uncertainty.

    regulated_slope_pa_s, cylinder_slope_pa_s: of each channel alone. after_s: middle of the stretch, since the shut; 0: not known.
    """

    p_gauge_pa: float
    slope_pa_s: float
    u_slope_pa_s: float
    regulated_slope_pa_s: float
    cylinder_slope_pa_s: float
    after_s: float = 0.0


@dataclass(frozen=True, slots=True)
class SealedPoint:
    """One capped capture: the steady pair, zeros taken off, and how the pressure went on after the shut.

    u_difference_pa: standard uncertainty of the steady difference from its scatter alone.
    """

    p_regulated_gauge_pa: float
    p_cylinder_gauge_pa: float
    u_difference_pa: float
    decay: tuple[DecaySlope, ...]
    p_ambient_abs_pa: float
    t_gas_k: float


@dataclass(frozen=True, slots=True)
class Sealed:
    """What the sealed check says. u_*: standard uncertainties.

    own_leak_area_m2: ideal nozzle that lets the same net flow out, 0 where more comes in; net_leak_area_m2: the same with its sign,
    under 0 for air coming in. leak_in_kg_s: through the shut supply valve, where it is seen. direction: "out", the cylinder side
    loses air; "in", the supply valve lets air in; "both"; "none seen" above its uncertainty. inside_limit_shown: False where the
    leak is under the limit but its uncertainty is not. tie_gain, tie_offset_pa: p_cylinder = p_regulated·(1 + tie_gain) +
    tie_offset_pa before correction; tie_share: both together at the highest pressure, which is what is corrected. u_tie: share of
    the reading that is left between the two. pressures: how many.
    """

    own_leak_area_m2: float
    u_own_leak_area_m2: float
    net_leak_area_m2: float
    leak_in_kg_s: float
    direction: Direction
    limit_area_m2: float
    inside_limit_shown: bool
    tie_share: float
    u_tie: float
    tie_gain: float
    tie_offset_pa: float
    tie_residuals_pa: tuple[float, ...]
    p_regulated_gauge_pa: float
    pressures: int
    passed: bool
    remarks: tuple[str, ...]

    def tied(self, cylinder: ChannelLaw) -> ChannelLaw:
        """The cylinder channel's law corrected so that both channels read the same; its zero is scaled with it."""
        share = 1.0 / (1.0 + self.tie_share)
        return replace(cylinder, gain=cylinder.gain * share, zero_pa=cylinder.zero_pa * share, bow_pa=cylinder.bow_pa * share)


def read_sealed_point(
    columns: SampleColumns,
    laws: tuple[ChannelLaw, ChannelLaw],
    result: CaptureResult,
    shut_s: float | None,
    ended_s: float,
    p_ambient_abs_pa: float,
    t_gas_k: float,
    channels: tuple[int, int] = (0, 1),
) -> SealedPoint:
    """One capped capture. laws, channels: regulated, cylinder. shut_s, ended_s: device times of the shut and of the end.

    The first half second after the shut is left out: the dead volume still evens out. Raises CaptureUnusable when the supply was
    not shut long enough.
    """
    if shut_s is None:
        raise CaptureUnusable("The supply was not shut with the outlet capped; shut it, wait, and only then vent.")
    zeros = (result.zero_regulated_pa - laws[0].zero_pa, result.zero_cylinder_pa - laws[1].zero_pa)
    regulated, cylinder = (
        law.gauge_pa(columns.raw[channel]) - zero for law, channel, zero in zip(laws, channels, zeros, strict=True)
    )
    start, stop = (int(np.searchsorted(columns.t_s, at_s)) for at_s in (shut_s, ended_s))
    t = columns.t_s[start:stop]
    later = np.flatnonzero(t >= t[0] + LEAST_SHUT_S) if t.size else np.zeros(0, np.int64)
    if later.size < 100:
        raise CaptureUnusable("The supply was shut for less than half a second; wait longer before venting.")
    part = slice(start + int(later[0]), stop)
    pieces = np.array_split(np.arange(part.start, part.stop), BINS)
    decay = tuple(_slope(columns.t_s[piece], regulated[piece], cylinder[piece], float(t[0])) for piece in pieces)
    read = slice(*result.steady_read)
    return SealedPoint(
        result.p_regulated_gauge_pa,
        result.p_cylinder_gauge_pa,
        _u_mean(cylinder[read] - regulated[read]),
        decay,
        p_ambient_abs_pa,
        t_gas_k,
    )


def _blocks(values: Floats, count: int) -> Floats:
    size = max(1, values.shape[0] // count)
    return np.asarray(values[: values.shape[0] // size * size].reshape(-1, size).mean(axis=1))


def _u_mean(values: Floats) -> float:
    """Standard uncertainty of the mean from the scatter of block means, which noise of short memory has left."""
    means = _blocks(values, 20)
    return float(np.std(means, ddof=1)) / sqrt(means.shape[0]) if means.shape[0] > 2 else float(np.std(values))


def _slope(t: Floats, regulated: Floats, cylinder: Floats, shut_s: float) -> DecaySlope:
    tb, rb, cb = (_blocks(values, 20) for values in (t, regulated, cylinder))
    at = tb - tb.mean()
    square = float(at @ at)
    both = (rb + cb) / 2.0
    slope = float(at @ both) / square
    left = both - both.mean() - slope * at
    u = sqrt(float(left @ left) / (left.shape[0] - 2) / square)
    alone = float(at @ rb) / square, float(at @ cb) / square
    return DecaySlope(float(both.mean()), slope, u, *alone, float(tb.mean()) - shut_s)


def judge_sealed(
    points: Sequence[SealedPoint],
    volume_m3: float,
    u_volume: float = 0.05,
    smallest_leak_area_m2: float = SMALLEST_LEAK_M2,
    u_zero_pa: float = 100.0,
) -> Sealed:
    """Own leak and tie from capped captures at one or more pressures.

    volume_m3, u_volume: dead volume and hose together and its relative standard uncertainty. u_zero_pa: drift of each transducer
    since its zero at vent. The limit of the own leak is 2 % of smallest_leak_area_m2. Raises CheckRefused without points.

    >>> def point(p, slope):
    ...     stretch = DecaySlope(p, slope, 0.5, slope, slope)
    ...     return SealedPoint(p, p * 1.001, 10.0, (stretch,) * 4, 101_325.0, 293.15)
    >>> sealed = judge_sealed([point(200e3, -1600.0), point(400e3, -2700.0), point(550e3, -3500.0)], 54e-6)
    >>> round(sealed.own_leak_area_m2 * 1e6, 4), sealed.direction, sealed.passed, round(sealed.tie_share, 4)
    (0.0015, 'out', True, 0.001)
    """
    if not points:
        raise CheckRefused("The sealed check has no capture to read; make one with the outlet capped.")
    net, u_net, leak_in, direction = _leaks(points, volume_m3, u_volume)
    limit = OWN_LEAK_SHARE * smallest_leak_area_m2
    gain, offset, residuals, share, u_tie, pressures = _tie(points, u_zero_pa)
    inside = abs(net) <= limit
    shown = abs(net) + 2.0 * u_net <= limit
    remarks = []
    if inside and not shown:
        remarks.append("the uncertainty of the rig's own leak reaches over its limit: wait longer after the shut, or add pressures")
    if pressures == 1:
        remarks.append("tied at one pressure only: what the transducers differ at others is assumed")
    if abs(offset) > 2.0 * sqrt(2.0) * u_zero_pa:
        remarks.append(f"the transducers differ by {offset:+.0f} Pa at any pressure: take the zeros again")
    return Sealed(
        own_leak_area_m2=max(0.0, net),
        u_own_leak_area_m2=u_net,
        net_leak_area_m2=net,
        leak_in_kg_s=leak_in,
        direction=direction,
        limit_area_m2=limit,
        inside_limit_shown=shown,
        tie_share=share,
        u_tie=u_tie,
        tie_gain=gain,
        tie_offset_pa=offset,
        tie_residuals_pa=residuals,
        p_regulated_gauge_pa=max(point.p_regulated_gauge_pa for point in points),
        pressures=pressures,
        passed=inside and abs(share) <= LARGEST_TIE_SHARE,
        remarks=tuple(remarks),
    )


def _leaks(points: Sequence[SealedPoint], volume_m3: float, u_volume: float) -> tuple[float, float, float, Direction]:
    """(net area out, its standard uncertainty, flow in at the highest pressure, direction).

    Each stretch gives a net flow out, −V·(dp/dt)/(R·T). A leak out follows the nozzle from the pressure to ambient. What comes in
    through the supply valve is driven by the line before it, which stands at the regulated pressure of before the shut or above.
    Gas that was squeezed in by the fill goes on cooling: that looks like a leak that dies away, and is told from one by its time.
    """
    rows = np.array(
        [
            (number, s.p_gauge_pa, s.slope_pa_s, s.u_slope_pa_s, s.after_s, p.p_regulated_gauge_pa, p.p_ambient_abs_pa, p.t_gas_k)
            for number, p in enumerate(points)
            for s in p.decay
        ]
    )
    of_point, p_gauge, slope, u_slope, after_s, p_line, ambient, t_gas = rows.T
    per_slope = volume_m3 / (AIR_GAS_CONSTANT * t_gas)
    flow, u = -per_slope * slope, per_slope * np.maximum(u_slope, 1e-3)
    out = mass_flow_kg_s(1.0, np.maximum(p_gauge, 1.0) + ambient, ambient, t_gas)
    inward = np.maximum(mass_flow_kg_s(1.0, p_line + ambient, p_gauge + ambient, t_gas), 0.0)
    cooling = _Cooling(of_point, after_s, flow / u, u, COOLS_BY * per_slope * p_gauge)
    chi2_one, areas, errors = cooling.beside(out / u)
    net, u_net = float(areas[0]), float(errors[0])
    rises = net < -2.0 * u_net
    u_net = sqrt(u_net**2 + (net * u_volume) ** 2)
    if rises:
        return net, u_net, -net * float(np.max(out)), "in"
    if np.any(inward > 0.0):
        chi2_two, areas, errors = cooling.beside(out / u, -inward / u)
        area_out, area_in, u_in = float(areas[0]), float(areas[1]), float(errors[1])
        if area_in > SHOWN * u_in and chi2_one - chi2_two > SHOWN**2 and area_out > 0.0:
            return area_out, sqrt(u_net**2 + u_in**2), area_in * float(np.max(inward)), "both"
    return net, u_net, 0.0, "out" if net > 2.0 * u_net else "none seen"


@dataclass(frozen=True, slots=True)
class _Cooling:
    """The part of the flows that dies away exponentially, in each capture by itself and with one time constant for all.

    flow: in units of its standard uncertainty u. most_kg: what all of the cooling of a stretch's capture takes away is within, as a
    standard deviation.
    """

    of_point: Floats
    after_s: Floats
    flow: Floats
    u: Floats
    most_kg: Floats

    def beside(self, *leaks: Floats) -> tuple[float, Floats, Floats]:
        """Least squares of leaks (in units of u) beside cooling: chi-square, the leaks' areas, their standard uncertainties."""
        n = len(leaks)
        if len(np.unique(self.after_s)) < 4:  # too few moments to tell cooling from a leak
            return self._solve(np.stack(leaks, axis=1), n)
        # below the readings stand as many rows that say how large each capture's cooling may be
        numbers = np.unique(self.of_point)
        listed = np.stack([np.append(leak, np.zeros(len(numbers))) for leak in leaks], axis=1)
        tries = [self._solve(np.column_stack([listed, self._fading(tau_s, numbers)]), n) for tau_s in np.geomspace(*COOLS_S, 25)]
        best, areas, errors = min(tries, key=lambda one: one[0])
        # the time constant moves the areas as well: by as much as the neighbouring ones that fit nearly as well
        near = np.array([tried[1] for tried in tries if tried[0] < best + 1.0])
        return best, areas, np.hypot(errors, np.std(near, axis=0))

    def _fading(self, tau_s: float, numbers: Floats) -> Floats:
        """A column for each capture: its cooling at size 1 in units of u, and tau_s over what it may take away."""
        columns = []
        for place, number in enumerate(numbers):
            its = self.of_point == number
            may_be = np.zeros(len(numbers))
            may_be[place] = tau_s / float(np.max(self.most_kg[its]))
            columns.append(np.append(np.where(its, np.exp(-self.after_s / tau_s) / self.u, 0.0), may_be))
        return np.stack(columns, axis=1)

    def _solve(self, basis: Floats, wanted: int) -> tuple[float, Floats, Floats]:
        flow = np.append(self.flow, np.zeros(len(basis) - len(self.flow)))
        scale = np.sqrt(np.sum(basis**2, axis=0)) + 1e-300
        inverse = np.linalg.pinv(basis / scale) / scale[:, None]
        values = inverse @ flow
        return float(np.sum((flow - basis @ values) ** 2)), values[:wanted], np.sqrt(np.sum(inverse[:wanted] ** 2, axis=1))


def _one(basis: Floats, y: Floats, u: Floats) -> tuple[float, float]:
    square = float(np.sum((basis / u) ** 2))
    return float(np.sum(basis * y / u**2)) / square, 1.0 / sqrt(square)


def _tie(points: Sequence[SealedPoint], u_zero_pa: float) -> tuple[float, float, tuple[float, ...], float, float, int]:
    """(gain, offset, residuals, share at the highest pressure, what is left of it, how many pressures)."""
    p = np.array([point.p_regulated_gauge_pa for point in points])
    d = np.array([point.p_cylinder_gauge_pa for point in points]) - p
    u = np.sqrt(np.array([point.u_difference_pa for point in points]) ** 2 + 2.0 * u_zero_pa**2)
    u = np.maximum(u, 1.0)
    highest = float(np.max(p))
    if highest <= 0.0:
        raise CheckRefused("There was no pressure in the capped captures; see that the supply opens.")
    pressures = int(np.unique(np.round(p / highest, 1)).size)
    if pressures >= 3 and np.min(p) < 0.6 * highest:
        basis = np.stack([p, np.ones_like(p)], axis=1) / u[:, None]
        # the zeros at vent say that the offset is none but for their drift; that is a reading too
        basis = np.concatenate([basis, [[0.0, 1.0 / (sqrt(2.0) * u_zero_pa + 1.0)]]])
        inverse = np.linalg.pinv(basis / np.array([highest, 1.0])) / np.array([[highest], [1.0]])
        gain, offset = (float(value) for value in inverse @ np.append(d / u, 0.0))
        at_highest = np.array([1.0, 1.0 / highest]) @ inverse
        extra = 0.0
    else:
        gain, u_gain = _one(p, d, u)
        offset, at_highest = 0.0, np.array([u_gain])
        extra = ONE_PRESSURE_TIE if pressures == 1 else ONE_PRESSURE_TIE / 2.0
    residuals = d - gain * p - offset
    degrees = len(points) - (2 if extra == 0.0 else 1)
    chi2 = float(np.sum((residuals / u) ** 2))
    bent = float(np.max(np.abs(residuals))) / highest / sqrt(3.0) if degrees > 0 and chi2 > 3.0 * degrees + 4.0 else 0.0
    share = gain + offset / highest
    u_tie = sqrt(float(at_highest @ at_highest) + extra**2 + bent**2)
    return gain, offset, tuple(float(value) for value in residuals), share, u_tie, pressures
