"""Transducer calibration against a reference gauge: against a published example, other code, and drawn truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from borewright.core.rig import ChannelLaw, CheckRefused
from borewright.core.span import ReferenceGauge, Span, SpanPoint, fit_span
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import curve_fit

GAUGE = ReferenceGauge("G-7", "2024-118", None, 0.0)
PRESSURES = np.array([0.0, 100.0, 200.0, 300.0, 400.0, 500.0, 600.0]) * 1e3
LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)


def bent(indicated: np.ndarray, gain: float, zero_pa: float, bow_pa: float) -> np.ndarray:
    x = indicated / 1e6
    return gain * indicated - zero_pa + 4.0 * x * (1.0 - x) * bow_pa


def points_of(reference: np.ndarray, indicated: np.ndarray, u_pa: float = 150.0, scatter_pa: float = 1000.0) -> list[SpanPoint]:
    return [SpanPoint(float(p), u_pa, float(i), scatter_pa, 400) for p, i in zip(reference, indicated, strict=True)]


def fitted(points: list[SpanPoint], **changes: float) -> Span:
    return fit_span(points, 0.0, 1e6, 600e3, GAUGE, **changes)


def test_the_calibration_line_of_the_gum() -> None:
    """JCGM 100 (GUM) H.3: correction −0.1712 + 0.002 18·(t − 20), s 0.0029 and 0.000 67, r −0.930, residual s 0.0035.

    The eleven readings are from memory, unverified; that they give the printed results speaks for them. One degree is 100 kPa here,
    and the reference is the reading plus its correction.
    """
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]) - 20.0
    b = np.array([-171, -169, -166, -159, -164, -165, -156, -157, -159, -161, -160]) / 1e3
    points = [SpanPoint(float((x + y) * 1e5), 350.0, float(x * 1e5), 0.0, 1) for x, y in zip(t, b, strict=True)]
    span = fit_span(points, 0.0, 1e6, 651e3, GAUGE, bow_within_pa=1e-3)
    assert not span.bow_shown
    assert span.gain - 1.0 == pytest.approx(0.00218, abs=5e-6)
    assert span.zero_pa / 1e5 == pytest.approx(0.1712, abs=5e-5)
    assert span.u_gain == pytest.approx(0.00067, abs=6e-6)
    assert span.u_zero_pa / 1e5 == pytest.approx(0.0029, abs=5e-5)
    correlation = -span.covariance[0][1] / (span.u_gain * span.u_zero_pa)  # zero_pa has the other sign of y1
    assert correlation == pytest.approx(-0.930, abs=1e-3)
    assert span.chi2_reduced == pytest.approx(1.0, abs=0.03)  # 0.0035 is the residuals' own


def test_a_shown_bow_as_scipy_fits_it() -> None:
    rng = np.random.default_rng(3)
    indicated = PRESSURES * 1.002 + 900.0
    reference = bent(indicated, 0.998, 898.0, 2500.0) + rng.normal(0.0, 150.0, 7)
    span = fitted(points_of(reference, indicated))
    u = np.full(7, np.hypot(150.0, 1000.0 / 20.0))
    values, covariance = curve_fit(
        lambda i, g, z, b: bent(i, 1.0 + g, z, b), indicated, reference, p0=[0.0, 0.0, 0.0], sigma=u, absolute_sigma=True
    )
    assert span.bow_shown
    assert [span.gain - 1.0, span.zero_pa, span.bow_pa] == pytest.approx(list(values), rel=1e-4)
    assert [span.u_gain, span.u_zero_pa, span.u_bow_pa] == pytest.approx(list(np.sqrt(np.diag(covariance))), rel=1e-3)
    assert span.largest_residual_pa == pytest.approx(
        float(np.max(np.abs(reference - bent(indicated, 1 + values[0], *values[1:])))), rel=1e-3
    )


@pytest.mark.parametrize(("bow_pa", "seed"), [("by the data sheet", 1), ("far beyond it", 2)])
def test_two_standard_uncertainties_hold_the_truth(bow_pa: str, seed: int) -> None:
    """Gain, and the error in use at any pressure, by the two figures that an Instrument keeps of the calibration."""
    rng = np.random.default_rng(seed)
    held_gain, held_use = [], []
    for _ in range(1500):
        gain, zero = rng.normal(1.0, 0.003), rng.uniform(-4000.0, 4000.0)
        bow = rng.uniform(-500.0, 500.0) if bow_pa == "by the data sheet" else 2500.0 * rng.choice([-1.0, 1.0])
        indicated = (PRESSURES + zero) / gain
        reference = bent(indicated, gain, zero, bow)
        span = fitted(points_of(reference + rng.normal(0.0, 150.0, 7), indicated + rng.normal(0.0, 50.0, 7)))
        held_gain.append(abs(span.gain - gain) <= 2.0 * span.u_gain)
        at = np.array([indicated[0], indicated[0] + rng.uniform(50e3, 600e3)])
        said, true = np.diff(bent(at, span.gain, 0.0, span.bow_pa))[0], np.diff(bent(at, gain, 0.0, bow))[0]
        x = true / 1e6
        u = np.hypot(span.u_gain_left * true, span.bow_left_pa / np.sqrt(3.0) * 4.0 * x * (1.0 - x))
        held_use.append(abs(said - true) <= 2.0 * u)
    assert 0.93 <= np.mean(held_gain) <= 0.97
    assert 0.93 <= np.mean(held_use) <= 0.97


def test_an_unseen_bow_is_not_taken_out_but_counted() -> None:
    indicated = PRESSURES.copy()
    straight = fitted(points_of(bent(indicated, 1.0, 0.0, 200.0), indicated))
    none = fitted(points_of(bent(indicated, 1.0, 0.0, 200.0), indicated), bow_within_pa=1.0)
    assert straight.bow_pa == 0.0
    assert straight.u_gain > 1.2 * none.u_gain
    assert straight.bow_left_pa > none.bow_left_pa


def test_what_the_gauge_brings_along_is_never_averaged_away() -> None:
    many = [point for _ in range(20) for point in points_of(PRESSURES, PRESSURES)]
    span = fit_span(many, 0.0, 1e6, 600e3, replace(GAUGE, u_relative=0.001))
    assert span.u_gain < 0.0005
    assert span.u_gain_left >= 0.001


def test_points_that_scatter_more_than_they_may_widen_the_result() -> None:
    wild = PRESSURES + np.array([0, 1, -1, 1, -1, 1, -1]) * 2000.0
    span, tame = fitted(points_of(wild, PRESSURES)), fitted(points_of(PRESSURES, PRESSURES))
    assert span.widened > 5.0
    assert span.u_zero_pa > 5.0 * tame.u_zero_pa
    assert tame.widened == 1.0


def test_hysteresis_is_told_and_counted() -> None:
    up = [SpanPoint(float(p), 50.0, float(p), 100.0, 100) for p in PRESSURES]
    down = [SpanPoint(float(p), 50.0, float(p + 1200.0), 100.0, 100, "falling") for p in PRESSURES[1:-1]]
    span = fitted([*up, *down])
    assert span.hysteresis_pa == pytest.approx(1200.0, rel=0.01)
    assert span.u_gain_left > 1200.0 / 2.0 / np.sqrt(3.0) / 600e3
    assert fitted(up).hysteresis_pa is None


def test_a_transducer_of_another_range_is_refused() -> None:
    with pytest.raises(CheckRefused, match=r"gain of 0\.70"):
        fit_span(points_of(PRESSURES / 3.0, PRESSURES / 3.0 / 0.7), 0.0, 1e6, 200e3, GAUGE)


def test_a_step_counts_where_no_noise_averages_it() -> None:
    still = [SpanPoint(float(p), 1.0, float(p), 0.0, 400) for p in PRESSURES]
    assert fitted(still, resolution_pa=305.0).u_gain > 5.0 * fitted(still).u_gain


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda p: p[:2], "at least 3 pressures"),
        (lambda p: [p[0], p[0], p[0], p[6]], "at least 3 pressures"),
        (lambda p: p[:4], "spread over 300 kPa"),
        (lambda p: [*p[:-1], replace(p[-1], indicated_pa=87_000.0)], "Point 7 reads 87.0 kPa where the gauge says 600.0"),
        (lambda p: [*p[:-1], replace(p[-1], u_reference_pa=float("nan"))], "Point 7 holds a figure"),
        (lambda p: [replace(x, u_reference_pa=0.0, scatter_pa=0.0) for x in p], "without any uncertainty"),
    ],
)
def test_what_cannot_carry_a_calibration_is_refused(change: object, words: str) -> None:
    points = points_of(PRESSURES, PRESSURES)
    with pytest.raises(CheckRefused, match=words) as refused:
        fitted(change(points))  # type: ignore[operator]
    assert str(refused.value).count(". ") == 0  # one sentence


@given(gain=st.floats(0.98, 1.02), zero=st.floats(-9e3, 9e3), bow=st.floats(-4e3, 4e3), raw=st.integers(300, 3900))
def test_a_law_with_gain_and_bow_turns_back_into_raw(gain: float, zero: float, bow: float, raw: int) -> None:
    law = replace(LAW, gain=gain, zero_pa=zero, bow_pa=bow)
    assert law.raw_at(float(law.gauge_pa(raw))) == raw


def test_the_applied_law_reads_what_the_gauge_said() -> None:
    raw = np.array([420.0, 1000.0, 1600.0, 2200.0, 2800.0])
    indicated = LAW.gauge_pa(raw)
    reference = bent(indicated, 1.003, 700.0, 3000.0)
    span = fit_span(points_of(reference, indicated), 0.0, 1e6, 700e3, GAUGE)
    assert span.bow_shown
    assert span.applied_to(LAW).gauge_pa(raw) == pytest.approx(reference, abs=1.0)


def test_a_law_of_an_older_record_reads_as_it_did() -> None:
    kept = {
        "volts_at_zero": 0.0,
        "volts_per_raw": 5.0 / 4096,
        "sensor_supply_volts": 5.0,
        "range_low_gauge_pa": 0.0,
        "range_high_gauge_pa": 1e6,
        "zero_pa": 1200.0,
        "gain": 1.001,
    }
    # (V/Vs − 0.1)/0.8 of the range: ratiometric transducer
    assert float(ChannelLaw(**kept).gauge_pa(2048)) == pytest.approx(1.001 * 500e3 - 1200.0)
