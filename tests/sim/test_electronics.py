"""Sensors, converter, encoder."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from boresim.electronics import Electronics, IndexPulse
from boresim.noise import PositionNoise
from boresim.plant import Plant
from boresim.scenario import Scenario, load_scenario
from boresim.stated import stated_restrictor
from boresim.trace import PlantTrace


def scenario_with(**changes: Any) -> Scenario:
    scenario = load_scenario("hillclimb-before")
    return replace(scenario, rig=replace(scenario.rig, transducers=replace(scenario.rig.transducers, **changes)))


PERFECT: dict[str, Any] = {
    "noise_pa": 0.0, "zero_limit_pa": 0.0, "zero_drift_pa": 0.0, "zero_drift_limit_pa_h": 0.0, "span_u": 0.0, "tie_u": 0.0,
    "bow_limit_pa": 0.0, "bow_mismatch_limit_pa": 0.0, "hum_limit_pa": 0.0, "converter_limit_lsb": 0.0,
}  # fmt: skip


def at_gauge(gauge_pa: list[float], position: int = 0) -> PlantTrace:
    p = 98_900.0 + np.array(gauge_pa)
    t = np.array([0.001 * (number + position + 1) for number in range(len(gauge_pa))])
    return PlantTrace(position, 0.001 * position, 0.0, t, p, p.copy(), np.zeros(len(gauge_pa)))


def turning(angles: list[float], before: float | None = None) -> PlantTrace:
    n = len(angles)
    p = np.full(n, 98_900.0)
    start = angles[0] if before is None else before
    return PlantTrace(0, 0.0, start, np.array([0.001 * (number + 1) for number in range(n)]), p, p.copy(), np.array(angles))


def test_a_perfect_ratiometric_sensor_gives_a_tenth_and_nine_tenths_of_its_supply() -> None:
    # ratiometric law of makers' data sheets: 0, 50 and 100 % of the range at 0.1, 0.5 and 0.9 of the supply
    electronics = Electronics(scenario_with(**PERFECT))
    words = electronics.raw(at_gauge([0.0, 500e3, 1000e3]))
    assert words.dtype == np.uint16
    assert words.shape == (2, 3)
    assert words[0].tolist() == words[1].tolist() == [410, 2048, 3686]  # of 4096
    assert electronics.volts_at_zero + words[0][1] * electronics.volts_per_raw == pytest.approx(2.5)


def test_out_of_range_saturates() -> None:
    electronics = Electronics(scenario_with(**PERFECT))
    assert electronics.raw(at_gauge([-900e3, 5000e3]))[0].tolist() == [electronics.raw_min, electronics.raw_max] == [0, 4095]


@pytest.mark.parametrize("bits", [8, 10, 16])
def test_the_converter_has_its_bits(bits: int) -> None:
    electronics = Electronics(scenario_with(**PERFECT, adc_bits=bits))
    assert electronics.raw_max == 2**bits - 1
    middle = electronics.raw(at_gauge([500e3]))[0][0]
    assert middle == 2 ** (bits - 1)


def test_noise_has_the_size_that_the_file_says_and_no_mean() -> None:
    electronics = Electronics(scenario_with(**{**PERFECT, "noise_pa": 2000.0}, adc_bits=16))
    words = electronics.raw(at_gauge([500e3] * 20_000)).astype(float)
    pa = (words - 2**15) / (0.8 * 2**16) * 1e6
    assert np.std(pa, axis=1) == pytest.approx([2000.0, 2000.0], rel=0.03)
    assert np.abs(np.mean(pa, axis=1)).max() < 60.0
    off = pa / 2000.0
    assert abs(np.mean(off[0] * off[1])) < 0.03
    assert abs(np.mean(off[0, 1:] * off[0, :-1])) < 0.03


def test_noise_is_normal_and_belongs_to_its_position() -> None:
    noise = PositionNoise(3, "test")
    values = noise.at(0, 40_000)
    for sigmas, share in ((1.0, 0.3173), (2.0, 0.0455), (3.0, 0.0027)):  # two-sided tails of the normal distribution
        assert np.mean(np.abs(values) > sigmas) == pytest.approx(share, rel=0.25, abs=0.0005)
    parts = [PositionNoise(3, "test").at(start, 1000) for start in range(3500, 9500, 1000)]
    assert np.concatenate(parts).tobytes() == values[3500:9500].tobytes()
    assert noise.at(5, 0).shape == (0,)
    assert PositionNoise(4, "test").at(0, 4).tolist() != values[:4].tolist()


def test_errors_stay_inside_their_class_for_every_seed() -> None:
    scenario = scenario_with(noise_pa=0.0, hum_limit_pa=0.0, zero_drift_pa=0.0, tie_u=0.0, bow_mismatch_limit_pa=400.0, adc_bits=16)
    parts = scenario.rig.transducers
    zeros, ratios = [], []
    for seed in range(60):
        electronics = Electronics(replace(scenario, seed=seed))
        words = electronics.raw(at_gauge([0.0, 550e3])).astype(float)
        pa = (words / 2**16 - 0.1) / 0.8 * 1e6
        zeros.append(pa[:, 0])
        ratios.append((pa[1, 1] - pa[1, 0]) / (pa[0, 1] - pa[0, 0]) - 1.0)
    step = 1e6 / 0.8 / 2**16
    assert np.abs(zeros).max() <= parts.zero_limit_pa + step
    assert np.abs(zeros).max() > 0.8 * parts.zero_limit_pa
    most = 2.0 * 4.0 * 0.45 * parts.bow_mismatch_limit_pa / 1e6 + 2.0 * step / 550e3  # the bow's own 4·x·(1 − x) at 550 kPa
    assert 0.1 * most < np.abs(ratios).max() <= most


def test_zero_drifts_and_mains_hums() -> None:
    scenario = scenario_with(**{**PERFECT, "hum_limit_pa": 5000.0}, adc_bits=16)
    words = Electronics(scenario).raw(at_gauge([500e3] * 1000))[0].astype(float)
    spectrum = np.abs(np.fft.rfft(words - words.mean()))
    assert int(np.argmax(spectrum)) == 50  # Hz, over one second
    scenario = scenario_with(**{**PERFECT, "zero_drift_limit_pa_h": 9e5}, adc_bits=16)
    words = Electronics(scenario).raw(at_gauge([500e3] * 60_000))[0].astype(float)
    assert abs(words[-1] - words[0]) > 20


def gauge_of_words(electronics: Electronics, trace: PlantTrace) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Gauge pressures by the law of makers' data sheets, 16 bits."""
    return (electronics.raw(trace).astype(float) / 2**16 - 0.1) / 0.8 * 1e6


def test_the_tie_and_the_span_of_both_have_the_deviations_of_the_file() -> None:
    scenario = scenario_with(**{**PERFECT, "tie_u": 0.0002, "span_u": 0.0015}, adc_bits=16)
    pairs = []
    for seed in range(400):
        pa = gauge_of_words(Electronics(replace(scenario, seed=seed)), at_gauge([0.0, 900e3]))
        pairs.append((pa[:, 1] - pa[:, 0]) / 900e3 - 1.0)
    spans = np.array(pairs)
    # a sample's standard deviation of 400 normal numbers is off by 3.5 % (1 sigma): σ/√(2n)
    assert np.std(spans[:, 1] - spans[:, 0]) == pytest.approx(0.0002, rel=0.12)
    assert np.std(spans.mean(axis=1)) == pytest.approx(0.0015, rel=0.12)
    assert abs(np.mean(spans)) < 4.0 * 0.0015 / 20.0


def test_a_zero_changes_by_its_deviation_in_the_ten_seconds_after_zeroing() -> None:
    scenario = scenario_with(**{**PERFECT, "zero_drift_pa": 3000.0}, adc_bits=16)
    changes = []
    for seed in range(300):
        pa = gauge_of_words(Electronics(replace(scenario, seed=seed)), moments([1.0, 11.0, 71.0]))
        changes.append((pa[:, 1] - pa[:, 0], pa[:, 2] - pa[:, 1]))
    after_ten, after_a_minute = np.moveaxis(np.array(changes), 1, 0)
    assert np.std(after_ten) == pytest.approx(3000.0, rel=0.1)
    assert abs(np.corrcoef(after_ten.T)[0, 1]) < 0.2  # each channel for itself
    assert np.std(after_a_minute) == pytest.approx(3000.0 * (4.0 / 3.0) ** 0.5, rel=0.1)  # it wanders about and does not run away


def moments(t_s: list[float]) -> PlantTrace:
    t = np.array(t_s)
    p = np.full(len(t), 98_900.0 + 500e3)
    return PlantTrace(0, 0.0, 0.0, t, p, p.copy(), np.zeros(len(t)))


@pytest.mark.parametrize("batch", [1, 7, 999])
def test_wander_noise_and_converter_do_not_depend_on_batches(batch: int) -> None:
    scenario = scenario_with(zero_drift_pa=3000.0, noise_ar1=0.9, converter_limit_lsb=2.0)
    t = 0.05 * np.arange(1, 1901)  # 95 s: over nine knots
    p = 98_900.0 + np.linspace(0.0, 900e3, len(t))

    def cut(electronics: Electronics, start: int, stop: int) -> bytes:
        part = slice(start, stop)
        trace = PlantTrace(3000 + start, float(t[start] - 0.05), 0.0, t[part], p[part], p[part].copy(), np.zeros(stop - start))
        return electronics.raw(trace).T.tobytes()

    whole = cut(Electronics(scenario), 0, len(t))
    electronics = Electronics(scenario)
    pieces = [cut(electronics, start, min(start + batch, len(t))) for start in range(0, len(t), batch)]
    assert b"".join(pieces) == whole
    assert cut(electronics, 40, 900) == whole[40 * 4 : 900 * 4]  # and back again, as after a trip


def test_noise_of_the_ar1_kind_has_its_correlation_and_unit_variance() -> None:
    # Box and Jenkins, Time Series Analysis: autocorrelation of an AR(1) at lag k is φ^k
    values = PositionNoise(11, "test", 0.8).at(0, 200_000)
    assert np.std(values) == pytest.approx(1.0, rel=0.02)
    assert abs(np.mean(values)) < 0.03
    for lag in (1, 3, 10):
        assert np.mean(values[lag:] * values[:-lag]) == pytest.approx(0.8**lag, abs=0.03)
    new = values[1:] - 0.8 * values[:-1]  # what comes anew is white, over the seams of blocks too
    assert np.std(new) == pytest.approx(0.6, rel=0.02)
    assert abs(np.mean(new[1:] * new[:-1])) < 0.01
    assert np.abs(new).max() < 0.6 * 6.0


def test_a_converter_is_off_smoothly_and_within_its_bound_each_channel_its_own_way() -> None:
    limit = 3.0
    scenario = scenario_with(**PERFECT, adc_bits=12)
    bent = scenario_with(**{**PERFECT, "converter_limit_lsb": limit}, adc_bits=12)
    ramp = at_gauge(np.linspace(0.0, 1000e3, 40_000).tolist())
    straight = Electronics(scenario).raw(ramp).astype(float)
    everything = []
    for seed in range(25):
        off = Electronics(replace(bent, seed=seed)).raw(ramp).astype(float) - straight
        assert np.abs(off).max() <= np.ceil(limit)
        assert np.abs(np.diff(off[:, ::40], axis=1)).max() <= 1.0  # a few words on it is off by nearly the same
        assert np.mean(np.abs(off[0] - off[1])) > 0.1
        everything.append(off)
    spread = np.concatenate(everything, axis=1)
    assert np.std(spread) == pytest.approx(limit / 3.0**0.5, rel=0.12)  # of an even distribution within ± limit
    assert np.mean(np.abs(spread) > limit / 2.0) == pytest.approx(0.5, abs=0.1)


def test_the_certificate_of_the_restrictor_is_off_by_what_the_file_says() -> None:
    scenario = load_scenario("hillclimb-before")
    air = scenario.rig.air
    stated = np.array([stated_restrictor(replace(scenario, seed=seed)) for seed in range(1000)])
    off = air.restrictor_conductance_m3_s_pa / stated[:, 0] - 1.0
    assert np.std(off) == pytest.approx(0.005, rel=0.08)
    assert abs(np.mean(off)) < 0.0006
    ratio = stated[:, 1] - air.restrictor_critical_ratio
    assert np.abs(ratio).max() <= 0.02
    assert np.std(ratio) == pytest.approx(0.02 / 3.0**0.5, rel=0.08)


def test_the_count_starts_at_zero_and_follows_the_crank() -> None:
    scenario = load_scenario("hillclimb-before")
    electronics = Electronics(scenario)
    start = scenario.crank.start_deg
    counts = electronics.counts(turning([start, start + 90.0, start - 360.0, start + 0.04]))
    assert counts[0] == 0
    assert counts[1] in {1023, 1024, 1025}
    assert counts[2] == -4096
    assert counts[3] in {0, 1}
    electronics.power_up(start + 720.0)
    assert electronics.count_at(start + 720.0) == 0


def test_an_encoder_can_be_fitted_the_other_way_round() -> None:
    scenario = load_scenario("hillclimb-before")
    scenario = replace(scenario, rig=replace(scenario.rig, encoder=replace(scenario.rig.encoder, sign=-1)))
    start = scenario.crank.start_deg
    assert Electronics(scenario).counts(turning([start, start + 360.0]))[1] == -4096


def pulses_of(angles: list[float], batch: int, seed: int = 1) -> list[IndexPulse]:
    electronics = Electronics(replace(load_scenario("hillclimb-before"), seed=seed))
    found: list[IndexPulse] = []
    for start in range(0, len(angles), batch):
        found += electronics.index_pulses(turning(angles[start : start + batch], angles[start - 1] if start else None))
    return found


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_index_pulses_come_once_a_turn_at_the_same_place_from_both_sides(seed: int) -> None:
    there = [float(angle) for angle in np.arange(0.0, 1500.0, 0.7)]
    counts = [pulse.count for pulse in pulses_of([*there, *reversed(there)], 10_000, seed)]
    assert len(counts) == 2 * (len(counts) // 2)
    assert 8 <= len(counts) <= 10
    half = len(counts) // 2
    assert counts[half:] == counts[:half][::-1]
    assert set(np.diff(counts[:half]).tolist()) == {4096}


def test_index_pulses_do_not_depend_on_batches_or_speed() -> None:
    slow = [float(angle) for angle in np.arange(0.0, 800.0, 0.02)]
    fast = [float(angle) for angle in np.arange(0.0, 800.0, 90.0)]
    counts = [pulse.count for pulse in pulses_of(slow, 100_000)]
    assert [pulse.count for pulse in pulses_of(slow, 33)] == counts
    assert [pulse.count for pulse in pulses_of(fast, 2)] == counts
    assert len(counts) in {2, 3}


def test_a_crank_that_trembles_inside_the_index_gives_one_pulse_for_each_entry() -> None:
    pulse = pulses_of([float(angle) for angle in np.arange(0.0, 400.0, 0.02)], 100_000)[0]
    electronics = Electronics(replace(load_scenario("hillclimb-before"), seed=1))
    step = 360.0 / electronics.counts_per_rev
    inside = next(a for a in np.arange(0.0, 400.0, step / 4) if electronics.count_at(a) == pulse.count) + step / 2
    trace = turning([inside - step, inside, inside + 0.1 * step, inside, inside + step, inside, inside - step, inside - 2 * step])
    assert [event.count for event in electronics.index_pulses(trace)] == [pulse.count, pulse.count]


def test_standing_still_gives_no_pulse_and_the_clock_has_its_error() -> None:
    electronics = Electronics(load_scenario("hillclimb-before"))
    assert electronics.index_pulses(turning([10.0] * 5)) == ()
    limit = electronics.scenario.rig.device.clock_limit_ppm
    assert 0.0 < abs(electronics.clock_error_ppm) <= limit
    assert electronics.true_period_s(0.001) == pytest.approx(0.001, rel=1e-6 * limit)


def test_the_plant_and_its_electronics_work_together() -> None:
    scenario = load_scenario("two-stroke-single")
    plant, electronics = Plant(scenario), Electronics(scenario)
    plant.turn_by(800.0, 30.0)
    pulses: list[IndexPulse] = []
    turned = 0
    while plant.turning:
        trace = plant.advance(32, 0.001)
        pulses += electronics.index_pulses(trace)
        turned = int(electronics.counts(trace)[-1])
    assert turned == pytest.approx(800 * 4096 / 360, abs=3)
    assert set(np.diff([pulse.count for pulse in pulses]).tolist()) == {4096}
    assert all(np.diff([pulse.t_s for pulse in pulses]) > 1.0)
