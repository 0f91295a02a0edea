"""The envelope of the two pressures: no sample is missing from it, and it stays as small after hours."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from borewright.service.trace import FINE_BINS, JOINED, OLD_BINS, Trace, TraceView


def times(seconds: float, rate_hz: int) -> npt.NDArray[np.float64]:
    return np.asarray((np.arange(round(seconds * rate_hz)) + 0.5) / rate_hz, np.float64)


def fed(trace: Trace, t_s: npt.NDArray[np.float64], *, parts: int = 1) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Noise with a spike now and then, handed over in so many parts."""
    random = np.random.default_rng(5)
    regulated = random.normal(550e3, 300.0, len(t_s))
    cylinder = random.normal(500e3, 300.0, len(t_s))
    regulated[::977] += 20e3
    for part in np.array_split(np.arange(len(t_s)), parts):
        trace.add(t_s[part], regulated[part], cylinder[part])
    return regulated, cylinder


@pytest.mark.parametrize("rate_hz", [200, 1000, 10_000])
@pytest.mark.parametrize("parts", [1, 7, 997])
def test_each_bin_holds_the_lowest_and_highest_of_its_samples_however_they_come(rate_hz: int, parts: int) -> None:
    trace = Trace()
    t_s = times(20.0, rate_hz)
    regulated, cylinder = fed(trace, t_s, parts=parts)
    view = trace.view()
    assert len(view.t_s) == 400
    assert view.t_s == pytest.approx((np.arange(400) + 0.5) * 0.05)
    for low, high, samples in (
        (view.regulated_low_pa, view.regulated_high_pa, regulated),
        (view.cylinder_low_pa, view.cylinder_high_pa, cylinder),
    ):
        in_bins = samples.reshape(400, -1).astype(np.float32)
        np.testing.assert_array_equal(low, in_bins.min(axis=1))
        np.testing.assert_array_equal(high, in_bins.max(axis=1))
    assert view.newest_s == t_s[-1]


def test_what_is_older_than_a_minute_is_in_bins_of_half_a_second_and_loses_no_extreme() -> None:
    trace = Trace()
    t_s = times(200.0, 200)
    regulated, _ = fed(trace, t_s, parts=900)
    view = trace.view()
    steps = np.diff(view.t_s)
    assert (np.round(steps[view.t_s[1:] > 141.0], 6) == 0.05).all()
    assert (np.round(steps[view.t_s[1:] < 139.0], 6) == 0.5).all()
    assert np.all(steps > 0.0)
    old = view.t_s < 139.0
    in_bins = regulated[: int(old.sum()) * 100].reshape(-1, 100).astype(np.float32)
    np.testing.assert_array_equal(view.regulated_high_pa[old], in_bins.max(axis=1))
    np.testing.assert_array_equal(view.regulated_low_pa[old], in_bins.min(axis=1))


def test_after_an_hour_it_holds_ten_minutes_and_is_no_larger() -> None:
    trace = Trace()
    for second in range(3600):
        trace.add(second + times(1.0, 200), np.full(200, 1.0), np.full(200, 2.0))
    view = trace.view()
    assert FINE_BINS + OLD_BINS - JOINED <= len(view.t_s) <= FINE_BINS + OLD_BINS
    assert view.newest_s - view.t_s[0] == pytest.approx(600.0, abs=1.0)
    assert np.isfinite(view.regulated_low_pa).all()
    assert {len(getattr(view, name)) for name in ("regulated_low_pa", "cylinder_high_pa", "t_s")} == {len(view.t_s)}


def test_a_view_does_not_change_and_cannot_be_changed() -> None:
    trace = Trace()
    trace.add(np.arange(100) / 1000.0, np.zeros(100), np.zeros(100))
    before = trace.view()
    assert trace.view() is before
    trace.add(0.1 + np.arange(100) / 1000.0, np.full(100, -9.0), np.full(100, 9.0))
    assert before.cylinder_high_pa.max() == 0.0
    assert trace.view() is not before
    with pytest.raises(ValueError, match="read-only"):
        before.cylinder_high_pa[0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        before.t_s[0] = 1.0


def test_missing_samples_leave_a_hole_that_is_not_drawn_over() -> None:
    trace = Trace()
    t_s = np.arange(1000) / 1000.0
    trace.add(t_s, np.ones(1000), np.ones(1000))
    trace.add(t_s + 3.0, np.ones(1000), np.ones(1000))
    view = trace.view()
    hole = np.flatnonzero(np.isnan(view.regulated_low_pa))
    assert view.t_s[hole] == pytest.approx([1.025])
    assert view.t_s[hole + 1] == pytest.approx([3.025])
    assert np.isnan(view.cylinder_high_pa[hole]).all()


def test_where_the_devices_clock_begins_anew_so_does_the_trace() -> None:
    trace = Trace()
    trace.add(500.0 + np.arange(1000) / 1000.0, np.ones(1000), np.ones(1000))
    trace.add(np.arange(1000) / 1000.0, np.ones(1000), np.ones(1000))
    assert trace.view().t_s[0] == pytest.approx(0.025)
    assert len(trace.view().t_s) == 20


def test_a_span_is_the_end_of_it_without_a_copy() -> None:
    trace = Trace()
    t_s = np.arange(30_000) / 1000.0
    fed(trace, t_s)
    view = trace.view()
    last: TraceView = view.span(10.0)
    assert 10.0 - 0.1 <= last.t_s[-1] - last.t_s[0] <= 10.0
    assert last.newest_s == view.newest_s
    assert np.shares_memory(last.cylinder_low_pa, view.cylinder_low_pa)
    assert len(view.span(1e6).t_s) == len(view.t_s)
    assert len(Trace().view().span(60.0).t_s) == 0
