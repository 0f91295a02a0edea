"""The phases of a capture, found in the two pressures alone.

Hand valves tell nobody when they move and move slowly, so the phases are read from the data on every rig. A capture is: vented
baseline, perhaps a puff, fill, steady, isolated (the decay), vent. Works on means of 10 ms; one rule for each border:

* puff and fill begin where a pressure leaves the baseline; the fill ends where p_cylinder no longer climbs;
* the supply is shut where the difference over the restrictor collapses while p_regulated falls; where there is hardly any
difference
  (a tight cylinder), where both begin to follow the law of a leaking volume;
* the vent opens where the pressure falls much faster than this leak can explain. How fast that is, the fill has shown.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.curves import Range, find_corner, prefix_misfit, running_mean, runs
from borewright.core.flow import Floats, flow_function

__all__ = ["NO_PRESSURE", "CaptureUnusable", "Phases", "Range", "find_phases", "noise_pa"]

BLOCK_S = 0.010
LEAST_BASELINE_S = 0.1
LEAST_AIR_S = 0.5
LEAST_TOP_PA = 20_000.0
MOST_ZERO_PA = 30_000.0
_AIR_AT_START = "The recording begins with air on; start it while the rig is vented, so that the zeros can be read."
NO_PRESSURE = "No pressure reached the cylinder side; check the hose, the adapter and that the piston is at compression TDC."
LEAST_ISOLATED_S = 0.05
THROTTLING_S = 0.06
QUICK_VALVE_S = 0.15  # a supply valve that closes within this is taken to close at once


class CaptureUnusable(ValueError):  # noqa: N818 -- named after what the capture is, like the trade's "void"
    """The samples hold no capture that a number could be taken from. `reason`: one sentence saying what is wrong and what to do."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True, slots=True)
class Phases:
    """Sample ranges (start, stop) of the phases, in order and without overlap; stop is one past the last sample.

    puff is None when there was none; isolated is None when the air was vented without a decay that could be seen; vent is empty
    when the data end before it. Between a puff and the fill, and close to the borders, samples may belong to no phase.
    """

    baseline: Range
    puff: Range | None
    fill: Range
    steady: Range
    isolated: Range | None
    vent: Range


def noise_pa(p_pa: npt.ArrayLike) -> float:
    """Standard deviation of the sample-to-sample noise, from the median step, so that valves and leaks do not count.

    >>> round(noise_pa(np.linspace(0.0, 5e5, 5001) + np.random.default_rng(1).normal(0.0, 1000.0, 5001)) / 1000.0, 1)
    1.0
    """
    steps = np.diff(np.asarray(p_pa, dtype=np.float64))
    if steps.size == 0:
        return 0.0
    return float(1.4826 * np.median(np.abs(steps - np.median(steps))) / np.sqrt(2.0))


def find_phases(
    t_s: npt.ArrayLike, p_regulated_gauge_pa: npt.ArrayLike, p_cylinder_gauge_pa: npt.ArrayLike, p_ambient_abs_pa: float = 101_325.0
) -> Phases:
    """The phases of one capture, for solenoid and hand valves, with or without a puff.

    t_s: device time of each sample, rising, shape (n,). p_regulated_gauge_pa, p_cylinder_gauge_pa: shape (n,); their zeros need
    not be right. Holds for sampling of 100 Hz and more, noise up to 0.1 % of 1000 kPa, valves that travel for up to 2 s and
    leakage from none to 95 %. Raises CaptureUnusable, and nothing else, when there is no such run in the data.

    >>> t = np.arange(0.0, 8.0, 0.001)
    >>> fed = 550e3 * np.clip((t - 1.0) / 0.1, 0.0, 1.0)
    >>> regulated = np.where(t < 5.0, fed, 495e3 * np.exp(-(t - 5.0)))
    >>> cylinder = np.where(t < 5.0, 0.9 * fed, 495e3 * np.exp(-(t - 5.0)))
    >>> phases = find_phases(t, regulated, cylinder)
    >>> phases.puff, [round(float(t[border]), 1) for border in (phases.fill[0], phases.steady[1])]
    (None, [1.0, 5.0])
    """
    t, regulated, cylinder = _checked(t_s, p_regulated_gauge_pa, p_cylinder_gauge_pa)
    work = _Blocks.of(t, regulated, cylinder, float(p_ambient_abs_pa))
    return work.phases(t.shape[0])


def _checked(t_s: npt.ArrayLike, regulated_pa: npt.ArrayLike, cylinder_pa: npt.ArrayLike) -> tuple[Floats, Floats, Floats]:
    try:
        t, regulated, cylinder = (np.asarray(values, dtype=np.float64) for values in (t_s, regulated_pa, cylinder_pa))
    except (TypeError, ValueError):
        raise CaptureUnusable("The samples are not numbers; record the capture again.") from None
    if t.ndim != 1 or t.shape != regulated.shape or t.shape != cylinder.shape:
        raise CaptureUnusable("The time and pressure columns do not have the same length; record the capture again.")
    if not (np.all(np.isfinite(t)) and np.all(np.isfinite(regulated)) and np.all(np.isfinite(cylinder))):
        raise CaptureUnusable(
            "The samples hold values that are not finite; check the transducer laws and record the capture again."
        )
    if max(np.max(np.abs(regulated), initial=0.0), np.max(np.abs(cylinder), initial=0.0)) > 1e9:
        raise CaptureUnusable("The pressures are beyond any transducer; check the transducer laws and record the capture again.")
    if t.shape[0] < 50 or t[-1] - t[0] < LEAST_BASELINE_S + LEAST_AIR_S:
        raise CaptureUnusable(
            "The recording is too short to hold a test; start it before the air is let in and stop it after venting."
        )
    if np.any(np.diff(t) <= 0.0):
        raise CaptureUnusable("The sample times do not rise; record the capture again.")
    return t, regulated, cylinder


@dataclass(frozen=True, slots=True)
class _Blocks:
    """Block means of the two pressures with the zeros roughly taken off, and what the search needs to know of them."""

    size: int  # samples in a block
    dt: float  # seconds in a block
    t: Floats
    regulated: Floats
    cylinder: Floats
    p_ambient: float
    noise: float  # of a block mean
    top: float  # highest p_regulated that lasted

    @staticmethod
    def of(t: Floats, regulated: Floats, cylinder: Floats, p_ambient: float) -> _Blocks:
        period = float(np.median(np.diff(t)))
        size = max(1, round(BLOCK_S / period))
        count = t.shape[0] // size
        means = [np.asarray(v[: count * size].reshape(count, size).mean(axis=1)) for v in (t, regulated, cylinder)]
        early = max(1, round(LEAST_BASELINE_S / (size * period)))
        zeros = [float(np.median(v[:early])) for v in means[1:]]
        if max(abs(zeros[0]), abs(zeros[1])) > MOST_ZERO_PA:
            raise CaptureUnusable(_AIR_AT_START)
        noise = max(noise_pa(regulated), noise_pa(cylinder)) / np.sqrt(size)
        top = float(np.max(running_mean(means[1] - zeros[0], 5)))
        if top < max(LEAST_TOP_PA, 20.0 * noise):
            raise CaptureUnusable(
                "No air came: the regulated pressure did not rise; check the supply and record the capture again."
            )
        return _Blocks(size, size * period, means[0], means[1] - zeros[0], means[2] - zeros[1], p_ambient, float(noise), top)

    def blocks(self, seconds: float) -> int:
        return max(1, round(seconds / self.dt))

    # ------------------------------------------------------------ the borders, one after the other

    def phases(self, n: int) -> Phases:
        count = self.t.shape[0]
        quiet = max(0.03 * self.top, 6.0 * self.noise, 1500.0)
        on = (self.regulated > quiet) | (self.cylinder > quiet)
        high = runs(self.regulated > 0.5 * self.top, self.blocks(0.05))
        main = max(high, key=lambda run: run[1] - run[0])
        if (main[1] - main[0]) * self.dt < LEAST_AIR_S:
            raise CaptureUnusable("The air was on too briefly to read anything; keep it on until the reading is steady.")
        off_before = np.flatnonzero(~on[: main[0]])
        if off_before.size == 0:
            raise CaptureUnusable(_AIR_AT_START)
        begin = int(off_before[-1]) + 1
        off_after = np.flatnonzero(~on[main[1] :])
        end = main[1] + int(off_after[0]) if off_after.size else count

        earlier = [run for run in runs(on[:begin], self.blocks(0.05)) if (run[1] - run[0]) * self.dt >= 0.02]
        puff = (earlier[0][0], earlier[-1][1]) if earlier else None
        guard = self.blocks(0.03)  # the pressure leaves the noise later than the baseline
        calm = max(0, (puff[0] if puff else begin) - guard)
        if calm * self.dt < LEAST_BASELINE_S * 0.99:
            raise CaptureUnusable("There is no vented baseline before the air; start the recording at least a second before it.")

        knee = self._knee(begin, end)
        shut, seen = self._shut(begin, knee, end)
        closing, closed = self._valve_travel(knee, shut, end) if seen else (shut, shut)
        vent = self._vent_onset(begin, knee, closing, end) if seen else shut
        isolated = (
            seen and (vent - closed) * self.dt >= LEAST_ISOLATED_S and self._falls_like_leak(begin, knee, closing, closed, vent)
        )
        shut = min(closing, vent)
        vent = vent if isolated else shut
        filled = self._fill_end(begin, knee, shut)
        at = self.size

        def samples(run: Range) -> Range:
            return run[0] * at, min(run[1] * at, n)

        return Phases(
            baseline=samples((0, calm)),
            puff=samples(puff) if puff else None,
            fill=samples((begin, filled)),
            steady=samples((filled, shut)),
            isolated=samples((closed, vent)) if isolated else None,
            vent=(min(vent * at, n), n) if vent < count else (n, n),
        )

    def _knee(self, begin: int, end: int) -> int:
        """Where p_cylinder has about reached its level. Raises CaptureUnusable when it has none above ambient."""
        smooth = running_mean(self.cylinder, self.blocks(0.1))[begin:end]
        level = float(np.max(smooth))
        if level <= 0.0:
            raise CaptureUnusable(NO_PRESSURE)
        return begin + int(np.flatnonzero(smooth >= 0.97 * level)[0])

    def _fill_end(self, begin: int, knee: int, shut: int) -> int:
        """Where p_cylinder no longer climbs by 1 % of p_regulated in 0.3 s; not before it has 80 % of its level."""
        ahead = self.blocks(0.3)
        smooth = running_mean(self.cylinder, self.blocks(0.05))
        span = np.arange(begin, max(shut, begin + 1))
        later = smooth[np.minimum(span + ahead, max(shut - 1, begin))]
        slow = later - smooth[span] < 0.01 * self.regulated[span]
        near = np.flatnonzero(slow & (smooth[span] >= 0.8 * smooth[min(knee, shut - 1)]))
        return begin + (int(near[0]) if near.size else max(shut - begin - 1, 0))

    def _shut(self, begin: int, knee: int, end: int) -> tuple[int, bool]:
        """Where the supply was shut, and whether anything of a decay follows (else it is the vent)."""
        flowing = np.flatnonzero(self.regulated[knee:end] >= 0.9 * self.top) + knee
        difference = self.regulated - self.cylinder
        usual = float(np.median(difference[flowing])) if flowing.size else 0.0
        if usual > max(0.01 * self.top, 12.0 * self.noise):
            return self._shut_by_difference(difference, usual, knee, end)
        return self._shut_by_law(begin, knee, end)

    def _shut_by_difference(self, difference: Floats, usual: float, knee: int, end: int) -> tuple[int, bool]:
        count = self.t.shape[0]
        smooth = running_mean(difference, 3)
        sums = np.concatenate([[0.0], np.cumsum(self.regulated)])
        at = np.arange(count)
        late, early = np.maximum(at - self.blocks(0.6), knee + 1), np.maximum(at - self.blocks(2.0), knee)
        before = np.where(late > early, (sums[np.minimum(late, count)] - sums[early]) / np.maximum(late - early, 1), self.top)
        gone = (smooth < 0.5 * usual) & (self.regulated < before - 0.3 * usual) | (self.regulated < 0.5 * self.top)
        gone[: knee + 1] = False
        hits = np.flatnonzero(gone[:end])
        lasting = next((int(i) for i in hits if np.all(gone[i : min(i + 3, end)])), None)
        if lasting is None:
            return end, False
        start = max(knee, lasting - self.blocks(1.0))
        return find_corner(self.regulated[start : lasting + 1], start), True

    def _valve_travel(self, knee: int, corner: int, end: int) -> tuple[int, int]:
        """Where a slow supply valve began to throttle and where it had closed; the corner itself, twice, for a quick one."""
        difference = running_mean(self.regulated - self.cylinder, 3)
        first = max(knee, corner - self.blocks(2.5))
        level, usual = (float(np.median(v[first : corner + 1])) for v in (self.regulated, difference))
        left = np.flatnonzero(difference[corner:end] < max(0.25 * usual, 3.0 * self.noise))
        closed = corner + (int(left[0]) if left.size else 0)
        # the air behind a valve that shut at once needs this long to follow: the longer, the more of the pressure it has to lose
        if (closed - corner) * self.dt < QUICK_VALVE_S * (1.0 + usual / level):
            closed = corner
        width = self.blocks(0.05)
        smooth = running_mean(self.regulated, width)[first : corner + 1]
        whole = np.flatnonzero(smooth >= level - max(0.005 * level, 4.0 * self.noise / np.sqrt(width)))
        closing = first + int(whole[-1]) if whole.size else corner
        return (closing if (corner - closing) * self.dt >= THROTTLING_S else corner), closed

    def _rate(self, begin: int, knee: int, shut: int) -> float:
        """How fast this leak can empty this cylinder, as d/dt of the leak coordinate: from the fill and the steady flows."""
        up, down = self.regulated + self.p_ambient, self.cylinder + self.p_ambient
        level = float(np.median(self.cylinder[knee:shut])) if shut > knee else float(self.cylinder[knee])
        full = np.flatnonzero(self.cylinder[begin : knee + 1] >= 0.8 * level)
        stop = begin + (int(full[0]) if full.size else knee - begin) + 1
        inflow = up * flow_function(np.clip(down / np.maximum(up, 1.0), 0.0, 1.0))
        outflow = down * flow_function(np.clip(self.p_ambient / np.maximum(down, 1.0), 0.0, 1.0))
        steady = slice(knee, max(shut, knee + 1))
        share = float(np.mean(inflow[steady])) / max(float(np.mean(outflow[steady])), 1.0)
        drive = float(np.sum(inflow[begin:stop] - share * outflow[begin:stop])) * self.dt
        rise = float(self.cylinder[stop - 1] - self.cylinder[max(begin - 1, 0)])
        return share * max(rise, 0.0) / max(drive, 1.0)

    def _leak_coordinate(self, pressure: Floats) -> Floats:
        """A function of the gauge pressure that falls along a straight line while air leaks out: ∫ dp/(p·ψ(p_ambient/p))."""
        grid = np.linspace(0.0, 1.0, 400) ** 2 * max(float(np.max(pressure)), 1.0)
        p = grid + self.p_ambient
        flow = np.maximum(p * flow_function(self.p_ambient / p), 1.0)
        parts = np.diff(grid) / ((flow[1:] + flow[:-1]) / 2.0)
        return np.asarray(np.interp(pressure, grid, np.concatenate([[0.0], np.cumsum(parts)])))

    def _vent_onset(self, begin: int, knee: int, shut: int, end: int) -> int:
        """Where, after `shut`, the pressure begins to fall much faster than by the leak; `end` where it never does."""
        leak = self._rate(begin, knee, shut)
        start_level = float(np.mean(self.cylinder[max(knee, shut - self.blocks(0.2)) : shut + 1]))
        low = np.flatnonzero(self.cylinder[shut:end] < max(0.06 * start_level, 8.0 * self.noise))
        stop = shut + (int(low[0]) if low.size else end - shut)
        if stop - shut < 3:
            return stop
        s = self._leak_coordinate(np.maximum(self.cylinder[shut:stop], 0.0))
        width = max(2, min(self.blocks(0.08), (stop - shut) // 2))
        fall = (s[:-width] - s[width:]) / (width * self.dt)
        p = self.cylinder[shut : stop - width] + self.p_ambient
        doubt = 4.0 * self.noise * np.sqrt(2.0) / (width * self.dt) / np.maximum(p * flow_function(self.p_ambient / p), 1.0)
        fast = fall > np.maximum(2.5 * leak, 0.02) + doubt
        run = runs(fast, 2)
        if not run or run[-1][1] < fast.shape[0] - width:
            return stop
        first = run[-1][0]
        return shut + int(min(find_corner(s[max(0, first - width) : first + width + 1], max(0, first - width)), stop - shut))

    def _falls_like_leak(self, begin: int, knee: int, closing: int, closed: int, vent: int) -> bool:
        """Whether the whole fall from `closed` to `vent` is one that this leak can explain; otherwise the vent was open as well."""
        low, high = closed + 1, max(vent - 1, closed + 2)
        ends = np.maximum(np.array([self.cylinder[low : low + 3].mean(), self.cylinder[max(low, high - 3) : high].mean()]), 0.0)
        s = self._leak_coordinate(ends)
        return float(s[0] - s[1]) <= 1.7 * self._rate(begin, knee, closing) * (high - low) * self.dt + 0.1

    def _shut_by_law(self, begin: int, knee: int, end: int) -> tuple[int, bool]:
        """For a tight cylinder: the best border between settling and leaking, by least squares over every border."""
        both = (self.regulated + self.cylinder) / 2.0
        vent = self._vent_onset(begin, knee, knee, end)
        x, y = self.t[knee:vent] - self.t[knee], both[knee:vent]
        n = x.shape[0]
        least = self.blocks(0.2)
        if n < 2 * least + 2:
            return vent, False
        settling = np.stack([np.ones(n), np.exp(-x / 0.5), np.exp(-x / 2.0), x])
        before = prefix_misfit(settling, y, np.ones(n))
        p = np.maximum(y, 0.0) + self.p_ambient
        weight = np.maximum(p * flow_function(self.p_ambient / p), 1.0)
        s = self._leak_coordinate(np.maximum(y, 0.0))
        after = prefix_misfit(np.stack([np.ones(n), x[-1] - x])[:, ::-1], s[::-1], (weight**2)[::-1])[::-1]
        total = before[least : n - least] + after[least : n - least]
        border = least + int(np.argmin(total))
        coefficients = np.linalg.lstsq(settling[:, :border].T, y[:border], rcond=None)[0]
        drop = float((coefficients @ settling)[-least:].mean() - y[-least:].mean())
        better = float(before[-1] - total[border - least])
        if better < 50.0 * max(self.noise, 1.0) ** 2 / 2.0 or drop < max(5.0 * self.noise, 0.003 * self.top):
            return vent, False
        # the border again as a corner: what falls off after it begins where it was
        low = np.flatnonzero(y[border:] < y[border] - 0.1 * self.top)
        stop = border + (int(low[0]) if low.size else n - border)
        first, stop = max(0, border - self.blocks(1.0)), min(stop, border + self.blocks(2.0))
        return find_corner(y[first:stop], knee + first, tilted=True), True
