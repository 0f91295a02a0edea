"""Sensors, converter and encoder: from the plant's true values to the raw words and counts of the device.

Every error belongs to the scenario's seed and to the position of the sample, so batches do not change a bit.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import floor, pi, sin

import numpy as np
import numpy.typing as npt

from boresim.noise import PositionNoise, seeded_unit
from boresim.plant import PlantTrace
from boresim.scenario import Scenario

__all__ = ["Electronics", "IndexPulse"]

_CYCLE = np.array([sin(2.0 * pi * step / 1024) for step in range(1024)])


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
        self.raw_min = 0
        self.raw_max = (1 << parts.adc_bits) - 1
        self.volts_at_zero = 0.0
        self.volts_per_raw = parts.adc_reference_v / (1 << parts.adc_bits)
        self.sensor_supply_v = parts.sensor_supply_v
        self.counts_per_rev = scenario.rig.encoder.counts_per_rev
        self._errors = tuple(self._draw(channel) for channel in range(2))
        self._noise = tuple(PositionNoise(scenario.seed, f"noise {channel}") for channel in range(2))
        clock = scenario.rig.device.clock_limit_ppm
        self.clock_error_ppm = clock * (2.0 * seeded_unit(scenario.seed, "clock") - 1.0)
        self._index_count = floor(self.counts_per_rev * seeded_unit(scenario.seed, "index"))
        self._edge = seeded_unit(scenario.seed, "edge")  # where in a count the crank's zero lies
        self._zero_count = 0
        self.power_up(scenario.crank.start_deg)

    def _draw(self, channel: int) -> SensorErrors:
        parts, seed = self.scenario.rig.transducers, self.scenario.seed

        def within(limit: float, what: str) -> float:
            return limit * (2.0 * seeded_unit(seed, f"{what} {channel}") - 1.0)

        return SensorErrors(
            within(parts.zero_limit_pa, "zero"),
            within(parts.zero_drift_limit_pa_h, "drift") / 3600.0,
            within(parts.span_mismatch_limit, "span") + parts.span_limit * (2.0 * seeded_unit(seed, "span of both") - 1.0),
            within(parts.bow_mismatch_limit_pa, "bow") + parts.bow_limit_pa * (2.0 * seeded_unit(seed, "bow of both") - 1.0),
            within(parts.hum_limit_pa, "hum"),
            seeded_unit(seed, f"phase {channel}"),
        )

    def true_period_s(self, device_period_s: float) -> float:
        """How long a period of the device's clock really is."""
        return device_period_s * (1.0 + 1e-6 * self.clock_error_ppm)

    def raw(self, trace: PlantTrace) -> npt.NDArray[np.uint16]:
        """Raw words, uint16[2, n]."""
        result = np.empty((2, len(trace)), dtype=np.uint16)
        result[0] = self._words(0, trace, trace.p_regulated_abs_pa)
        result[1] = self._words(1, trace, trace.p_cylinder_abs_pa)
        return result

    def _words(self, channel: int, trace: PlantTrace, p_abs_pa: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        parts, errors = self.scenario.rig.transducers, self._errors[channel]
        full = parts.high_gauge_pa - parts.low_gauge_pa
        gauge = p_abs_pa - (self.scenario.ambient.pressure_abs_pa + parts.low_gauge_pa)
        part = gauge * (1.0 / full)
        shown = gauge * (1.0 + errors.span) + (4.0 * errors.bow_pa) * part * (1.0 - part) + errors.zero_pa
        shown += errors.drift_pa_s * trace.t_s
        if errors.hum_pa:
            cycles = trace.t_s * parts.hum_hz + errors.hum_phase
            shown += errors.hum_pa * _CYCLE[((cycles - np.floor(cycles)) * 1024.0).astype(np.intp)]
        shown += parts.noise_pa * self._noise[channel].at(trace.position, len(trace))
        steps = parts.sensor_supply_v / self.volts_per_raw
        words = np.floor(shown * (0.8 * steps / full) + (0.1 * steps + 0.5))
        clipped: npt.NDArray[np.float64] = np.minimum(np.maximum(words, self.raw_min), self.raw_max)
        return clipped

    # ---- encoder

    def power_up(self, crank_deg: float) -> None:
        """The counter starts at 0 where the crank stands."""
        self._zero_count = int(self._absolute(np.array([crank_deg]))[0])

    def counts(self, trace: PlantTrace) -> npt.NDArray[np.int64]:
        """Encoder counts since power-up, int64[n]."""
        return self._absolute(trace.crank_deg) - self._zero_count

    def count_at(self, crank_deg: float) -> int:
        """The count at one crank angle."""
        return int(self._absolute(np.array([crank_deg]))[0]) - self._zero_count

    def index_pulses(self, trace: PlantTrace) -> tuple[IndexPulse, ...]:
        """The index pulses between the sample before the trace and its last one, in order of time.

        The pulse is one count wide, at the same count from either side; a crank that stands in it gives no further one.
        """
        if trace.crank_before_deg == trace.crank_deg[-1] and trace.crank_deg.min() == trace.crank_deg.max():
            return ()
        angles = np.concatenate(([trace.crank_before_deg], trace.crank_deg))
        times = np.concatenate(([trace.t_before_s], trace.t_s))
        absolute = self._absolute(angles)
        turns_below = (absolute - self._index_count) // self.counts_per_rev  # pulses at or below each count
        inside = (absolute - self._index_count) % self.counts_per_rev == 0
        found = []
        for at in np.flatnonzero(np.diff(absolute)):
            first, last = int(absolute[at]), int(absolute[at + 1])
            if last > first:
                pulses = list(range(int(turns_below[at]) + 1, int(turns_below[at + 1]) + 1))
            else:
                lowest = int(turns_below[at + 1]) + (0 if inside[at + 1] else 1)
                pulses = list(range(int(turns_below[at]) - (1 if inside[at] else 0), lowest - 1, -1))
            for pulse in pulses:
                count = self._index_count + pulse * self.counts_per_rev
                part = (count - first) / (last - first)
                found.append(IndexPulse(float(times[at] + part * (times[at + 1] - times[at])), count - self._zero_count))
        return tuple(found)

    def _absolute(self, crank_deg: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
        encoder = self.scenario.rig.encoder
        return np.floor(crank_deg * (encoder.sign * encoder.counts_per_rev / 360.0) + self._edge).astype(np.int64)
