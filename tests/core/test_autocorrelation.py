"""The mean of correlated noise: exact variances, and drawn records whose true mean must lie where it is said to lie."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from borewright.core.autocorrelation import Noise, ar1_of, block_mean_variance, noise_of, type_a
from borewright.core.uncertainty import coverage_factor
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

RECORDS = 2500


def drawn(phi: float, samples: int, records: int, seed: int, step: float = 0.0) -> npt.NDArray[np.float64]:
    """Records of AR(1) noise around 0, of unit standard deviation from the first sample on; rounded to steps like a converter's."""
    new = np.random.default_rng(seed).normal(size=(records, samples)) * np.sqrt(1.0 - phi**2)
    new[:, 0] /= np.sqrt(1.0 - phi**2)
    noise = np.asarray(lfilter([1.0], [1.0, -phi], new))
    return noise if step == 0.0 else np.round(noise / step) * step


@given(sigma=st.floats(0.1, 1e4), phi=st.floats(-0.99, 0.99), n=st.integers(1, 80))
def test_variance_of_a_block_is_the_double_sum(sigma: float, phi: float, n: int) -> None:
    # definition: the mean of all covariances sigma²·φ^|i−j| in the block
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    assert float(block_mean_variance(sigma, phi, n)) == pytest.approx(sigma**2 * float(np.mean(phi**apart)), rel=1e-9, abs=1e-12)


def test_variances_of_several_blocks_at_once() -> None:
    counts = np.array([1, 2, 50, 3000])
    at_once = block_mean_variance(2.0, 0.97, counts)
    assert at_once.tolist() == [float(block_mean_variance(2.0, 0.97, n)) for n in counts]
    assert at_once[0] == pytest.approx(4.0)
    assert Noise(2.0, 0.97, 1.0).mean_variance(counts) == pytest.approx(at_once + 1.0 / counts)


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.9, 0.97])
@pytest.mark.parametrize("step", [0.0, 0.3], ids=["smooth", "in steps"])
def test_the_true_mean_is_in_the_interval_as_often_as_said(phi: float, step: float) -> None:
    # 3 s at 1 kHz; 0.9545 is said; a third of the noise is what a step of the reference rig's converter is
    found = np.array([type_a(record) for record in drawn(phi, 3000, RECORDS, 5, step)])
    covered = np.abs(found[:, 0]) <= np.array([coverage_factor(dof) for dof in found[:, 2]]) * found[:, 1]
    assert 0.93 <= np.mean(covered) <= 0.97
    assert 0.93 <= np.mean(np.abs(found[:, 0]) <= 2.0 * found[:, 1]) <= 0.97


@pytest.mark.parametrize(("phi", "samples"), [(0.97, 500), (0.98, 500), (0.98, 3000), (0.0, 500)])
def test_short_records_are_paid_for_in_degrees_of_freedom(phi: float, samples: int) -> None:
    found = np.array([type_a(record) for record in drawn(phi, samples, RECORDS, 6)])
    covered = np.abs(found[:, 0]) <= np.array([coverage_factor(dof) for dof in found[:, 2]]) * found[:, 1]
    assert 0.93 <= np.mean(covered) <= 0.97


@pytest.mark.parametrize(("phi", "samples"), [(0.0, 3000), (0.5, 3000), (0.9, 3000), (0.97, 3000), (0.97, 500), (0.98, 10_000)])
def test_sigma_and_phi_are_found_without_bias(phi: float, samples: int) -> None:
    found = np.array([ar1_of(record) for record in drawn(phi, samples, 600, 7)])
    of_phi = np.sqrt((1.0 - phi**2) / samples)  # standard deviation of one estimate, as any text on time series has it
    assert np.mean(found[:, 1]) == pytest.approx(phi, abs=0.25 * of_phi)
    assert np.std(found[:, 1]) <= 1.5 * of_phi  # the asymptotic one is the least there can be
    assert np.mean(found[:, 0] ** 2) == pytest.approx(1.0, abs=0.02 if samples > 500 else 0.12)


def test_white_noise_on_top_is_told_from_the_correlated() -> None:
    random = np.random.default_rng(8)
    found = [noise_of(record + random.normal(0.0, 0.5, record.size)) for record in drawn(0.97, 5000, 200, 9)]
    assert np.mean([noise.phi for noise in found]) == pytest.approx(0.97, abs=0.002)
    assert np.mean([noise.white for noise in found]) == pytest.approx(0.5, abs=0.02)
    assert np.mean([noise.sigma for noise in found]) == pytest.approx(1.0, abs=0.03)


def test_a_pressure_has_a_large_level_under_its_noise() -> None:
    level = 551_580.0
    noise = 1000.0 * drawn(0.9, 3000, 1, 10)[0]
    mean, standard, dof = type_a(level + noise)
    assert mean - level == pytest.approx(float(np.mean(noise)), abs=1e-6)
    assert (standard, dof) == pytest.approx(type_a(noise)[1:], rel=1e-6)


def test_neighbours_that_alternate_make_the_mean_better_known() -> None:
    sigma, phi = ar1_of(drawn(-0.6, 5000, 1, 11)[0])
    assert phi == pytest.approx(-0.6, abs=0.05)
    assert float(block_mean_variance(sigma, phi, 5000)) < 0.4 * sigma**2 / 5000


def test_samples_all_the_same_have_no_noise() -> None:
    assert noise_of(np.full(500, 551_580.1)) == Noise(0.0, 0.0)
    assert type_a(np.full(500, 3.0))[:2] == (3.0, 0.0)


@pytest.mark.parametrize("samples", [[1.0] * 7, [[1.0] * 20] * 2, [1.0] * 20 + [np.nan], [np.inf] * 20])
def test_what_is_no_record_is_refused(samples: npt.ArrayLike) -> None:
    with pytest.raises(ValueError, match=r"^samples: "):
        type_a(samples)


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("sigma", (-1.0, 0.5, 3)),
        ("phi", (1.0, 1.0, 3)),
        ("phi", (1.0, -1.0, 3)),
        ("n", (1.0, 0.5, 0)),
        ("n", (1.0, 0.5, np.nan)),
    ],
)
def test_a_variance_that_cannot_be_is_refused(name: str, arguments: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match=f"^{name}: "):
        block_mean_variance(*arguments)
