"""Stroke and hose by squeeze: does the pressure in the closed hose rise and fall in step with this cylinder, and at which TDC?

The samples are gathered into sectors of crank travel, and each sector's mean pressure is held against what every explanation of
core.squeeze_model says. What counts is the noise seen at vent and a share of the pressure itself for what the model does not know
(hose stretch, valve timing, heat), so that no single sector can decide. A verdict is given only when its best explanation beats
the best one of every other kind, and only after the crank has passed both TDCs of the cycle: one pass can show compression,
never overlap.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import exp, pi
from typing import Literal

import numpy as np
import numpy.typing as npt

from borewright.core.engine import Engine
from borewright.core.samples import SampleColumns, SampleFlags
from borewright.core.squeeze_held import HeldKind, HeldWatch
from borewright.core.squeeze_model import Explanation, Floats, SqueezeModel, squeeze_model
from borewright.core.squeeze_peak import PeakWatch

__all__ = ["SqueezeVerdict", "SqueezeWatch", "vent_noise_pa"]

VerdictKind = Literal["not_enough", "compression_here", "overlap_here", "rises_at_both", "out_of_step", "neither"] | HeldKind

_SECTOR_DEG = 12.0
_SECTOR_S = 2.0  # a pause adds nothing after this
_SEGMENT_S = 0.1
_SEGMENT_DEG = 3.0
_MODEL_SHARE = 0.3  # of the pressure: what the model may be wrong by in a sector
_ZERO_PA = 300.0  # zero drift since the zeros were taken: 0.03 % of a 1000 kPa range
_DECISIVE = 12.0  # natural logarithm of the likelihood ratio
_WORST_FIT = 3.0  # mean square of the winner's deviations, in units of what is allowed for
_PASS_DEG = 60.0
_HELD: dict[HeldKind, str] = {
    "held_up": "a check valve is in the adapter: what is squeezed into the hose stays there while the piston goes down",
    "held_down": (
        "a check valve is in the adapter: suction stays in the hose and nothing is squeezed into it, "
        "so air goes into the cylinder and does not come back"
    ),
}
_BROKEN = int(SampleFlags.GAP_BEFORE | SampleFlags.DROPPED_BEFORE)


@dataclass(frozen=True, slots=True)
class SqueezeVerdict:
    """What the squeeze shows.

    kind: not_enough; compression_here (the rise is at tdc_count); overlap_here (it is one turn away from the TDC asked for, at
    tdc_count); rises_at_both (the valves do not open); out_of_step (it goes with other cylinders); neither (nothing squeezes the
    hose); held_up, held_down (a check valve is in the adapter, see core.squeeze_held). cylinders: those that the rise is in step
    with; a squeeze cannot tell them apart. tdc_count: count at the compression TDC of this cylinder, taken that the hose is in it.
    log_ratio: how far it beats the best explanation of another kind. pairs: pairs of TDC passes one turn apart.
    """

    kind: VerdictKind
    words: str
    cylinders: tuple[int, ...] = ()
    tdc_count: float | None = None
    log_ratio: float = 0.0
    pairs: int = 0

    @property
    def compression(self) -> bool:
        """True when it is known at which TDC this cylinder's compression is."""
        return self.kind in ("compression_here", "overlap_here")

    @property
    def check_valve(self) -> bool:
        """True when no cylinder does what the hose does, and a check valve in the adapter does."""
        return self.kind in ("held_up", "held_down")


@dataclass(frozen=True, slots=True, eq=False)
class _Sector:
    """A stretch of crank travel that is being gathered: sums over its samples."""

    low_deg: float
    high_deg: float
    n: int
    sum_pa: float
    sums_model_pa: Floats


@dataclass(frozen=True, slots=True, eq=False)
class SqueezeWatch:
    """Watches a squeeze. Immutable: `add` gives the next one. Make one with `SqueezeWatch.begin` when the vent has been closed."""

    engine: Engine
    cylinder: int
    tdc_count: float
    counts_per_rev: int
    running_sign: Literal[1, -1]
    noise_pa: float
    resolution_pa: float
    vent_pa: float
    model: SqueezeModel
    p_model_gauge_pa: Floats
    sum_w: Floats
    sum_wr: Floats
    sum_wrr: Floats
    sectors: int = 0
    sector: _Sector | None = None
    last_deg: float | None = None
    last_s: float = 0.0
    entered: tuple[int, int] | None = None  # TDC number and side from which its neighbourhood was entered
    passes: tuple[int, int] = (0, 0)  # of TDCs an even and an odd number of turns from tdc_count
    peak: PeakWatch = field(default_factory=PeakWatch)
    held: HeldWatch = field(default_factory=HeldWatch)

    @staticmethod
    def begin(
        engine: Engine,
        cylinder: int,
        tdc_count: float,
        counts_per_rev: int,
        running_sign: Literal[1, -1] = 1,
        noise_pa: float = 1_000.0,
        *,
        resolution_pa: float = 0.0,
        vent_pa: float = 0.0,
        hose_volume_m3: float = 30e-6,
        p_ambient_abs_pa: float = 101_325.0,
    ) -> SqueezeWatch:
        """A fresh watch.

        tdc_count: a TDC of the cylinder, whichever (the one that is to be tested). noise_pa: standard deviation of one sample, as
        vent_noise_pa gives it. resolution_pa: one raw step. vent_pa: mean reading at vent just before. hose_volume_m3: all that is
        joined to the cylinder.
        Raises ValueError when the engine has no such cylinder, or for noise_pa or counts_per_rev that is not positive.
        """
        if not noise_pa > 0.0:
            raise ValueError("noise_pa: must be above 0")
        if counts_per_rev < 4:
            raise ValueError(f"counts_per_rev: {counts_per_rev} is too few; an encoder gives at least 4 counts a turn")
        model = squeeze_model(engine, cylinder, hose_volume_m3, p_ambient_abs_pa)
        zero = model.start()
        known = (engine, cylinder, tdc_count, counts_per_rev, running_sign, noise_pa, resolution_pa, vent_pa, model)
        return SqueezeWatch(*known, zero, zero, zero, zero)

    # ------------------------------------------------------------------ what comes in

    def add(self, columns: SampleColumns, p_cylinder_gauge_pa: npt.NDArray[np.float64]) -> SqueezeWatch:
        """The watch after these samples (any number). p_cylinder_gauge_pa: zero-corrected, one for each sample."""
        n = len(columns)
        if n == 0:
            return self
        deg_per_count = self.running_sign * 360.0 / self.counts_per_rev
        angle = np.asarray((columns.crank_count - self.tdc_count) * deg_per_count, dtype=np.float64)
        t_s = columns.t_s
        flags = columns.flags
        broken = bool(np.bitwise_or.reduce(flags) & (_BROKEN | SampleFlags.VENT_OPEN | SampleFlags.SATURATED))
        watch = self
        start = 0
        while start < n:
            # a segment ends where the crank has moved or time has passed enough, or where the samples' flags change
            far = (np.abs(angle[start:] - angle[start]) >= _SEGMENT_DEG) | (t_s[start:] - t_s[start] >= _SEGMENT_S)
            if broken:
                far |= flags[start:] != flags[start]
            stop = start + (int(np.argmax(far)) if far.any() else n - start)
            part = slice(start, max(stop, start + 1))
            watch = watch._segment(angle[part], t_s[part], p_cylinder_gauge_pa[part], int(flags[start]))
            start = part.stop
        return watch

    def _segment(self, angle_deg: Floats, t_s: Floats, p_gauge_pa: Floats, flags: int) -> SqueezeWatch:
        to_deg, to_s = float(angle_deg[-1]), float(t_s[-1])
        if self.last_deg is None or flags & SampleFlags.VENT_OPEN:
            vented = replace(self, p_model_gauge_pa=self.model.start(), sector=None, last_deg=to_deg, last_s=to_s)
            return replace(vented._passing(to_deg, vent_open=True), held=self.held.broken_off())
        p_model = self.model.follow(self.p_model_gauge_pa, self.last_deg, to_deg, to_s - self.last_s)
        watch = replace(self, p_model_gauge_pa=p_model, last_deg=to_deg, last_s=to_s)
        if flags & (_BROKEN | SampleFlags.SATURATED):
            return replace(watch, sector=None, held=self.held.broken_off())
        watch = replace(watch._passing(to_deg), peak=self.peak.add(angle_deg, p_gauge_pa))
        return watch._gather(angle_deg, p_gauge_pa, 0.5 * (self.p_model_gauge_pa + p_model), to_s - self.last_s)

    def _gather(self, angle_deg: Floats, p_gauge_pa: Floats, p_model: Floats, dt_s: float) -> SqueezeWatch:
        n = len(p_gauge_pa)
        low, high = float(angle_deg.min()), float(angle_deg.max())
        sector = self.sector
        if sector is None:
            return replace(self, sector=_Sector(low, high, n, float(p_gauge_pa.sum()), n * p_model))
        low, high = min(low, sector.low_deg), max(high, sector.high_deg)
        if sector.n * dt_s / n > _SECTOR_S and high - low < _SECTOR_DEG:
            return replace(self, sector=replace(sector, low_deg=low, high_deg=high))
        grown = _Sector(low, high, sector.n + n, sector.sum_pa + float(p_gauge_pa.sum()), sector.sums_model_pa + n * p_model)
        return replace(self, sector=grown) if high - low < _SECTOR_DEG else self._weigh(grown)

    def _weigh(self, sector: _Sector) -> SqueezeWatch:
        """Hold a full sector against every explanation."""
        mean_pa = sector.sum_pa / sector.n
        model_pa = sector.sums_model_pa / sector.n
        noise_pa2 = self.noise_pa**2 / sector.n + self._quantisation_pa() ** 2
        allowed = noise_pa2 + (_MODEL_SHARE * np.maximum(np.abs(model_pa), abs(mean_pa))) ** 2
        rest = mean_pa - model_pa
        weight = 1.0 / allowed
        return replace(
            self,
            sum_w=self.sum_w + weight,
            sum_wr=self.sum_wr + weight * rest,
            sum_wrr=self.sum_wrr + weight * rest * rest,
            sectors=self.sectors + 1,
            sector=None,
            held=self.held.add(sector.low_deg, sector.high_deg, mean_pa - self.vent_pa, float(noise_pa2) ** 0.5),
        )

    def _quantisation_pa(self) -> float:
        """What rounding leaves in a mean: nothing where the noise dithers the steps, up to a third of a step where it does not."""
        if self.resolution_pa <= 0.0:
            return 0.0
        return self.resolution_pa / pi * exp(-2.0 * (pi * self.noise_pa / self.resolution_pa) ** 2)

    def _passing(self, to_deg: float, vent_open: bool = False) -> SqueezeWatch:
        """Count the passes of TDC: in on one side with the vent closed, out on the other.

        Between them the pressure may have opened the vent, as it does where little leaks.
        """
        number = round(to_deg / 360.0)
        off = to_deg - 360.0 * number
        if abs(off) < _PASS_DEG:
            if self.entered is not None and self.entered[0] == number:
                return self
            return replace(self, entered=None if vent_open else (number, -1 if off < 0 else 1))
        if self.entered is None:
            return self
        number, side = self.entered
        out = 1 if to_deg > 360.0 * number else -1
        if out == side:
            return replace(self, entered=None)
        even, odd = self.passes
        return replace(self, entered=None, passes=(even + 1, odd) if number % 2 == 0 else (even, odd + 1))

    # ------------------------------------------------------------------ what is known

    @property
    def pairs(self) -> int:
        """Pairs of passes one turn apart so far; of a two-stroke, whose every TDC is a compression one, single passes."""
        return min(self.passes) if self.engine.cycle == "four-stroke" else sum(self.passes)

    @property
    def pending(self) -> bool:
        """True while a pressure that has risen has to be seen to fall: until then a check valve may be what holds it."""
        return self.held.pending

    @property
    def log_likelihoods(self) -> dict[Explanation, float]:
        """Of each explanation, with the leak area, exchange and zero that suit it best."""
        squares = self.sum_wrr - self.sum_wr**2 / (self.sum_w + 1.0 / _ZERO_PA**2)
        best = squares.reshape(len(self.model.explanations), -1).min(axis=1)
        return {explanation: -0.5 * float(value) for explanation, value in zip(self.model.explanations, best, strict=True)}

    @property
    def verdict(self) -> SqueezeVerdict:
        """What can be said now."""
        if self.held.kind is not None:
            return SqueezeVerdict(self.held.kind, _HELD[self.held.kind], pairs=self.pairs)
        if self.sectors == 0 or self.pairs == 0:
            turns = "a little over two turns" if self.engine.cycle == "four-stroke" else "one whole turn"
            return SqueezeVerdict("not_enough", f"not enough yet: turn on, {turns} with the vent closed", pairs=self.pairs)
        likelihoods = self.log_likelihoods
        winner = max(likelihoods, key=lambda explanation: likelihoods[explanation])
        kind = self._kind(winner)
        others = [value for explanation, value in likelihoods.items() if self._kind(explanation) != kind]
        ratio = likelihoods[winner] - max(others, default=float("-inf"))
        if -2.0 * likelihoods[winner] / self.sectors > _WORST_FIT:
            words = (
                "the pressure follows no cylinder of this engine; look for a check valve in the adapter, check hose, vent and "
                "engine file, then squeeze again"
            )
            return SqueezeVerdict("not_enough", words, log_ratio=ratio, pairs=self.pairs)
        if ratio < _DECISIVE:
            nothing = "; so far nothing rises, see that the hose is in and the vent closed" if kind == "neither" else ""
            words = f"not enough yet: turn on, more briskly if you can{nothing}"
            return SqueezeVerdict("not_enough", words, log_ratio=ratio, pairs=self.pairs)
        if self.pending:
            words = "not enough yet: turn on, the pressure has risen and has to be seen to fall again"
            return SqueezeVerdict("not_enough", words, log_ratio=ratio, pairs=self.pairs)
        return self._say(kind, winner, ratio)

    def _kind(self, explanation: Explanation) -> VerdictKind:
        if not explanation.cylinders:
            return "neither"
        if explanation.phase_deg not in (0.0, 360.0):
            return "out_of_step"
        if explanation.always:
            return "rises_at_both"
        return "compression_here" if explanation.phase_deg == 0.0 else "overlap_here"

    def _say(self, kind: VerdictKind, winner: Explanation, ratio: float) -> SqueezeVerdict:
        weak = " (its decompression device weakens the squeeze)" if self.engine.decompression == "automatic" else ""
        n = self.cylinder
        if kind == "neither":
            words = (
                f"nothing squeezes the hose: is it in cylinder {n}, is the vent closed, is a check valve in the adapter, "
                f"does the cylinder hold nothing?{weak}"
            )
            return SqueezeVerdict(kind, words, (), None, ratio, self.pairs)
        if kind == "out_of_step":
            names = " or ".join(map(str, winner.cylinders))
            words = f"the pressure rises in step with cylinder {names}, not {n}: the hose is in the wrong hole or true TDC is wrong"
            return SqueezeVerdict(kind, words, winner.cylinders, None, ratio, self.pairs)
        if kind == "rises_at_both":
            why = "as it does without valve gear" if self.engine.valve_gear == "not_fitted" else "its valves do not open"
            words = f"the pressure rises at every TDC of cylinder {n}: {why}"
            return SqueezeVerdict(kind, words, winner.cylinders, self.tdc_count, ratio, self.pairs)
        if kind == "compression_here":
            return SqueezeVerdict(kind, f"compression here{weak}", winner.cylinders, self.tdc_count, ratio, self.pairs)
        other = self.tdc_count + self.running_sign * self.counts_per_rev
        return SqueezeVerdict(kind, f"overlap here, compression one turn on{weak}", winner.cylinders, other, ratio, self.pairs)

    @property
    def peak_after_tdc_deg(self) -> float | None:
        """Where the squeeze peaks after the stored TDC, in degrees; it does not show where TDC is.

        None when it cannot be told, or when the verdict does not show that this is the cylinder that squeezes.
        """
        in_step = self.verdict.kind in ("compression_here", "overlap_here", "rises_at_both")
        return self.peak.after_tdc_deg if in_step else None

    @property
    def peak_late(self) -> bool:
        """True when the squeeze peaks so late that the stored TDC must be wrong: leak and cooling can only make it early."""
        return self.peak_after_tdc_deg is not None and self.peak.late


def vent_noise_pa(p_gauge_pa: npt.ArrayLike, block: int = 50) -> float:
    """Standard deviation of one sample at vent, as if the noise were white, in Pa.

    The larger of the plain one and that of means over `block` samples times √block, so that slow noise is not averaged away on
    paper. Raises ValueError for fewer than four blocks.

    >>> vent_noise_pa([0.0, 2.0] * 200)
    1.0
    """
    values = np.asarray(p_gauge_pa, dtype=np.float64).ravel()
    blocks = len(values) // block
    if blocks < 4:
        raise ValueError(f"p_gauge_pa: {len(values)} samples are too few; take at least {4 * block}")
    means = values[: blocks * block].reshape(blocks, block).mean(axis=1)
    return max(float(values.std()), float(means.std(ddof=1) * np.sqrt(block)))
