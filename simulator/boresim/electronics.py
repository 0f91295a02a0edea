"""Sensors, converter and encoder: from the plant's true values to the raw words and counts of the device.

Every error belongs to the scenario's seed and to the position of the sample, so batches do not change a bit.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erf, floor, pi, sin, sqrt

import numpy as np
import numpy.typing as npt

from boresim.electrical_faults import ElectricalFaults, EncoderFault, SensorFault
from boresim.noise import KNOT_S, PositionNoise, ZeroWander, seeded_normal, seeded_unit
from boresim.plant import PlantTrace
from boresim.scenario import Scenario
from boresim.trace import Clock

__all__ = ["Electronics", "IndexPulse"]

_CYCLE = np.array([sin(2.0 * pi * step / 1024) for step in range(1024)])
_CONVERTER_WAVES = 8
AHEAD = 1024  # samples whose disturbances are worked out at once; it divides the blocks of the noise


@dataclass(frozen=True, slots=True)
class IndexPulse:
    """The index passed at virtual time t_s with the counter at count."""

    t_s: float
    count: int


@dataclass(frozen=True, slots=True)
class SensorErrors:
    """One transducer's own errors: zero and its drift, span, bow (greatest at mid-range), hum and its phase in cycles."""

    zero_pa: float
    drift_pa_s: float
    span: float
    bow_pa: float
    hum_pa: float
    hum_phase: float


class Electronics:
    """The electronics of a scenario's rig. Channel 0 is the regulated pressure, channel 1 the cylinder's.

    volts_at_zero and volts_per_raw say what the device tells the host: volts = volts_at_zero + raw · volts_per_raw. raw_min and
    raw_max are where the converter saturates. A ratiometric transducer gives 10 % of its supply at the bottom of its range, 90 % at
    the top.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        parts = scenario.rig.transducers
        self.raw_min: int = 0
        self.raw_max: int = (1 << parts.adc_bits) - 1
        self.volts_at_zero = 0.0
        self.volts_per_raw = parts.adc_reference_v / (1 << parts.adc_bits)
        self.sensor_supply_v = parts.sensor_supply_v
        self.counts_per_rev: int = scenario.rig.encoder.counts_per_rev
        self._counts_per_deg = scenario.rig.encoder.sign * self.counts_per_rev / 360.0
        self._wander = tuple(ZeroWander(scenario.seed, f"zero wander {channel}") for channel in range(2))
        self._wander_from_s = -KNOT_S * seeded_unit(scenario.seed, "zero wander")
        self._stretch: int | None = None
        self._ahead_of: tuple[Clock, int] | None = None
        self._ahead = np.zeros((2, 0))
        self._join_laws((self._draw(0), self._draw(1)))
        self._noise = tuple(PositionNoise(scenario.seed, f"noise {channel}", parts.noise_ar1) for channel in range(2))
        self._converter = self._converter_curves() if parts.converter_limit_lsb else None
        clock = scenario.rig.device.clock_limit_ppm
        self.clock_error_ppm = clock * (2.0 * seeded_unit(scenario.seed, "clock") - 1.0)
        self._index_count = floor(self.counts_per_rev * seeded_unit(scenario.seed, "index"))
        self._edge = seeded_unit(scenario.seed, "edge")  # where in a count the crank's zero lies
        self._zero_count = 0
        self.faults: ElectricalFaults | None = None  # None while nothing is wrong
        self.power_up(scenario.crank.start_deg)

    def _draw(self, channel: int) -> SensorErrors:
        parts, seed = self.scenario.rig.transducers, self.scenario.seed

        def within(limit: float, what: str) -> float:
            return limit * (2.0 * seeded_unit(seed, f"{what} {channel}") - 1.0)

        return SensorErrors(
            within(parts.zero_limit_pa, "zero"),
            within(parts.zero_drift_limit_pa_h, "drift") / 3600.0,
            parts.span_u * seeded_normal(seed, "span of both") + (channel - 0.5) * parts.tie_u * seeded_normal(seed, "tie"),
            within(parts.bow_mismatch_limit_pa, "bow") + parts.bow_limit_pa * (2.0 * seeded_unit(seed, "bow of both") - 1.0),
            within(parts.hum_limit_pa, "hum"),
            seeded_unit(seed, f"phase {channel}"),
        )

    def true_period_s(self, device_period_s: float) -> float:
        """How long a period of the device's clock really is."""
        return device_period_s * (1.0 + 1e-6 * self.clock_error_ppm)

    def raw(self, trace: PlantTrace) -> npt.NDArray[np.uint16]:
        """Raw words, uint16[2, n]."""
        gauge = np.array((trace.p_regulated_abs_pa, trace.p_cylinder_abs_pa))
        gauge -= self._zero_at_abs_pa
        words = self._by_square * gauge
        words += self._by_pa
        words *= gauge
        words += self._beside_pressure(trace)
        if self._converter is not None:
            codes = np.clip(np.floor(words), self.raw_min, self.raw_max).astype(np.intp)
            words += np.take_along_axis(self._converter, codes, axis=1)
        np.maximum(words, self.raw_min, out=words)
        np.minimum(words, self.raw_max, out=words)
        sound = words.astype(np.uint16)  # which cuts off what is behind the point
        return sound if self.faults is None else self.faults.raw(sound, trace)

    def _beside_pressure(self, trace: PlantTrace) -> npt.NDArray[np.float64]:
        """What is in the words besides the pressures, float64[2, n]: zeros, hum, noise.

        It does not depend on the plant but for the times, so that it is worked out for many batches at once.
        """
        clock, first, count = trace.clock, trace.position, len(trace)
        if clock is None:
            return self._disturbances(first, trace.t_s)
        offset = first % AHEAD
        if offset + count > AHEAD:
            return self._disturbances(first, trace.t_s)
        if (clock, first - offset) != self._ahead_of:
            self._ahead_of = clock, first - offset
            self._ahead = self._disturbances(first - offset, clock.times_s(first - offset, AHEAD))
        return self._ahead[:, offset : offset + count]

    def _disturbances(self, position: int, t_s: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        by_s, at_zero = self._zeros(t_s)
        words = by_s * t_s + at_zero
        if self.scenario.rig.transducers.hum_limit_pa:
            cycles = t_s * self.scenario.rig.transducers.hum_hz + self._hum_phase
            words += self._hum * _CYCLE[((cycles - np.floor(cycles)) * 1024.0).astype(np.intp)]
        for channel, noise in enumerate(self._noise):
            words[channel] += self._noise_words * noise.at(position, len(t_s))
        return words

    def _zeros(self, t_s: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """What the zeros do at some times: words a second and words at time 0, float64[2, 1] or, over a knot, float64[2, n]."""
        if not len(t_s):
            return self._by_s, self._at_zero
        first, last = (floor((float(t) - self._wander_from_s) / KNOT_S) for t in (t_s[0], t_s[-1]))
        if first == last:
            if first != self._stretch:
                self._stretch, (self._by_s_now, self._at_zero_now) = first, self._zeros_on(first)
            return self._by_s_now, self._at_zero_now
        stretches = [self._zeros_on(stretch) for stretch in range(first, last + 1)]
        which = np.floor((t_s - self._wander_from_s) / KNOT_S).astype(np.intp) - first
        by_s, at_zero = (np.concatenate([stretch[part] for stretch in stretches], axis=1)[:, which] for part in (0, 1))
        return by_s, at_zero

    def _zeros_on(self, stretch: int) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """The same between two knots of the wander."""
        began_s = stretch * KNOT_S + self._wander_from_s
        lines = np.array([wander.line(stretch) for wander in self._wander])
        by_s = self._wander_words * lines[:, 1:] / KNOT_S
        return self._by_s + by_s, self._at_zero + (self._wander_words * lines[:, :1] - by_s * began_s)

    def _converter_curves(self) -> npt.NDArray[np.float64]:
        """What each channel's converter is off by at each word, float64[2, words]: smooth, and anywhere within the bound as likely.

        A sum of waves over the range is nearly normal; the normal distribution's own integral makes it even.
        """
        count, limit, seed = self.raw_max + 1, self.scenario.rig.transducers.converter_limit_lsb, self.scenario.seed
        curves = []
        for channel in range(2):
            phases = [2.0 * pi * seeded_unit(seed, f"converter {channel} {wave}") for wave in range(_CONVERTER_WAVES)]
            steps = [2.0 * pi * (wave + 1.0) / count for wave in range(_CONVERTER_WAVES)]
            size = 1.0 / sqrt(_CONVERTER_WAVES)  # of unit variance, over √2 for erf
            curves.append(
                [limit * erf(size * sum(sin(a * word + b) for a, b in zip(steps, phases, strict=True))) for word in range(count)]
            )
        return np.array(curves)

    def _join_laws(self, errors: tuple[SensorErrors, SensorErrors]) -> None:
        """Law, errors and converter of both channels as the coefficients of raw words, float64[2, 1] each."""
        parts = self.scenario.rig.transducers
        full = parts.high_gauge_pa - parts.low_gauge_pa
        words_of_supply = parts.sensor_supply_v / self.volts_per_raw
        words_per_pa = 0.8 * words_of_supply / full

        def column(first: float, second: float) -> npt.NDArray[np.float64]:
            return np.array([[words_per_pa * first], [words_per_pa * second]])

        one, two = errors
        self._zero_at_abs_pa = self.scenario.ambient.pressure_abs_pa + parts.low_gauge_pa
        self._by_square = column(-4.0 * one.bow_pa / full**2, -4.0 * two.bow_pa / full**2)
        self._by_pa = column(1.0 + one.span + 4.0 * one.bow_pa / full, 1.0 + two.span + 4.0 * two.bow_pa / full)
        self._at_zero = column(one.zero_pa, two.zero_pa) + (0.1 * words_of_supply + 0.5)  # the half rounds
        self._by_s = column(one.drift_pa_s, two.drift_pa_s)
        self._hum = column(one.hum_pa, two.hum_pa)
        self._hum_phase = np.array([[one.hum_phase], [two.hum_phase]])
        self._noise_words = words_per_pa * parts.noise_pa
        self._wander_words = words_per_pa * parts.zero_drift_pa

    def stand_in(self, p_ambient_abs_pa: float) -> None:
        """The room's pressure, from which gauge transducers measure, is another one from the next sample on."""
        self._zero_at_abs_pa = p_ambient_abs_pa + self.scenario.rig.transducers.low_gauge_pa

    # ---- encoder

    def power_up(self, crank_deg: float, now_s: float = 0.0) -> None:
        """The counter starts at 0 where the crank stands at virtual time now_s."""
        self._zero_count = 0
        self._zero_count = self.count_at(crank_deg, now_s)

    def counts(self, trace: PlantTrace) -> npt.NDArray[np.int64]:
        """Encoder counts since power-up, int64[n]."""
        if self.faults is not None:
            return self.faults.counted(self._absolute(self.faults.seen_by_encoder(trace).crank_deg)) - self._zero_count
        if trace.crank_stands:
            return np.full(len(trace), self.count_at(trace.crank_before_deg), np.int64)
        return self._absolute(trace.crank_deg) - self._zero_count

    def count_at(self, crank_deg: float, now_s: float = 0.0) -> int:
        """The count at one crank angle, at virtual time now_s."""
        if self.faults is not None:
            return self.faults.counted_one(self._one(self.faults.shaft_deg(crank_deg, now_s))) - self._zero_count
        return self._one(crank_deg) - self._zero_count

    # ---- what is wrong

    def break_sensor(self, name: str, fault: SensorFault) -> None:
        """From the next sample on a transducer or the converter is wrong in this way, until `mend`."""
        self._faults_now().sensors[name] = fault

    def break_encoder(self, name: str, fault: EncoderFault) -> None:
        """From the next sample on the encoder is wrong in this way, until `mend`."""
        self._faults_now().encoder[name] = fault

    def mend(self, name: str, crank_deg: float, now_s: float) -> None:
        """That is no longer wrong. The counter goes on from where it stands, but for a coupling that is turned back."""
        faults = self._faults_now()
        faults.sensors.pop(name, None)
        shaft = self._one(faults.shaft_deg(crank_deg, now_s))
        before = faults.counted_one(shaft)
        faults.encoder.pop(name, None)
        self._zero_count += faults.counted_one(shaft) - before
        if not faults:
            self.faults = None

    def shaft_count(self, crank_deg: float, now_s: float) -> int:
        """The count since the encoder was made, before anything is wrong with the counting."""
        return self._one(crank_deg if self.faults is None else self.faults.shaft_deg(crank_deg, now_s))

    def _faults_now(self) -> ElectricalFaults:
        if self.faults is None:
            self.faults = ElectricalFaults(self.raw_min, self.raw_max)
        return self.faults

    # ---- index

    def index_pulses(self, trace: PlantTrace) -> tuple[IndexPulse, ...]:
        """The index pulses between the sample before the trace and its last one, in order of time.

        The pulse is one count wide, at the same count from either side; a crank that stands in it gives no further one.
        """
        if self.faults is not None:
            return self._faulty_pulses(trace, self.faults)
        return () if trace.crank_stands else self._pulses(trace, self._index_count)

    def _faulty_pulses(self, trace: PlantTrace, faults: ElectricalFaults) -> tuple[IndexPulse, ...]:
        seen, zero = faults.seen_by_encoder(trace), self._zero_count
        pulses = [pulse for at in faults.index_at(self._index_count) for pulse in self._pulses(seen, at)]
        told = (IndexPulse(pulse.t_s, faults.counted_one(pulse.count + zero) - zero) for pulse in pulses)
        return tuple(sorted(told, key=lambda pulse: pulse.t_s))

    def _pulses(self, trace: PlantTrace, index_count: int) -> tuple[IndexPulse, ...]:
        low, high = float(np.minimum.reduce(trace.crank_deg)), float(np.maximum.reduce(trace.crank_deg))
        ends = self._one(min(low, trace.crank_before_deg)), self._one(max(high, trace.crank_before_deg))
        if (min(ends) - 1 - index_count) // self.counts_per_rev == (max(ends) - index_count) // self.counts_per_rev:
            return ()  # no pulse lies in between: nearly every batch
        angles = np.concatenate(([trace.crank_before_deg], trace.crank_deg))
        times = np.concatenate(([trace.t_before_s], trace.t_s))
        absolute = self._absolute(angles)
        turns_below = (absolute - index_count) // self.counts_per_rev  # pulses at or below each count
        inside = (absolute - index_count) % self.counts_per_rev == 0
        found = []
        for at in np.flatnonzero(np.diff(absolute)):
            first, last = int(absolute[at]), int(absolute[at + 1])
            if last > first:
                pulses = list(range(int(turns_below[at]) + 1, int(turns_below[at + 1]) + 1))
            else:
                lowest = int(turns_below[at + 1]) + (0 if inside[at + 1] else 1)
                pulses = list(range(int(turns_below[at]) - (1 if inside[at] else 0), lowest - 1, -1))
            for pulse in pulses:
                count = index_count + pulse * self.counts_per_rev
                part = (count - first) / (last - first)
                found.append(IndexPulse(float(times[at] + part * (times[at + 1] - times[at])), count - self._zero_count))
        return tuple(found)

    def _one(self, crank_deg: float) -> int:
        return floor(crank_deg * self._counts_per_deg + self._edge)

    def _absolute(self, crank_deg: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
        return np.floor(crank_deg * self._counts_per_deg + self._edge).astype(np.int64)
