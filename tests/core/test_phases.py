"""Phases found in synthetic captures of solenoid and of hand valves, and in rubbish."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from borewright.core.phases import CaptureUnusable, Phases, find_phases
from hypothesis import given, settings
from hypothesis import strategies as st


def _times(capture: Any, phases: Phases, name: str) -> tuple[float, float]:
    found = getattr(phases, name)
    assert found is not None, name
    return (float(capture.t_s[found[0]]), float(capture.t_s[min(found[1], capture.t_s.size - 1)]))


def _found(capture: Any) -> Phases:
    return find_phases(capture.t_s, capture.measured_regulated_pa, capture.measured_cylinder_pa)


def _in_order(phases: Phases, n: int) -> bool:
    ranges = [r for r in (phases.baseline, phases.puff, phases.fill, phases.steady, phases.isolated, phases.vent) if r is not None]
    borders = [border for one in ranges for border in one]
    return borders == sorted(borders) and borders[0] >= 0 and borders[-1] <= n


def _phases_or_one_sentence(t: np.ndarray, regulated: np.ndarray, cylinder: np.ndarray) -> bool:
    try:
        phases = find_phases(t, regulated, cylinder)
    except CaptureUnusable as unusable:
        return unusable.reason.endswith(".") and "\n" not in unusable.reason
    return _in_order(phases, t.size)


# the longest that a decay takes to 5 %, roughly, for each leak, so that the vent comes in it or after it
@pytest.mark.parametrize(
    ("leak_mm2", "vent_s"), [(0.02, 40.0), (0.05, 40.0), (0.1, 14.0), (0.25, 12.0), (0.5, 11.0), (1.0, 10.4), (1.4, 10.3)]
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_solenoid_valves(synthesise: Callable[..., Any], leak_mm2: float, vent_s: float, seed: int) -> None:
    capture = synthesise(leak_mm2=leak_mm2, main=(2.5, 10.0, vent_s), end_s=vent_s + 2.0, seed=seed)
    phases = _found(capture)
    assert _in_order(phases, capture.t_s.size)
    assert phases.baseline[0] == 0
    assert _times(capture, phases, "baseline")[1] == pytest.approx(1.0, abs=0.06)
    assert _times(capture, phases, "puff")[0] == pytest.approx(1.0, abs=0.03)
    assert 1.2 < _times(capture, phases, "puff")[1] < 1.45
    assert _times(capture, phases, "fill")[0] == pytest.approx(2.5, abs=0.03)
    assert _times(capture, phases, "steady")[1] == pytest.approx(10.0, abs=0.08)
    assert _times(capture, phases, "isolated")[0] == pytest.approx(10.0, abs=0.08)
    reached_low = capture.t_s[np.flatnonzero(capture.cylinder_gauge_pa > 0.06 * capture.cylinder_gauge_pa.max())[-1]]
    assert _times(capture, phases, "vent")[0] == pytest.approx(min(vent_s, reached_low), abs=0.08)


@pytest.mark.parametrize("travel_s", [0.5, 1.0, 2.0])
@pytest.mark.parametrize(("leak_mm2", "vent_s"), [(0.05, 40.0), (0.25, 18.0), (0.5, 16.0), (1.0, 14.0)])
@pytest.mark.parametrize("puff", [None, (1.0, 1.2, 1.2)])
def test_hand_valves(
    synthesise: Callable[..., Any], travel_s: float, leak_mm2: float, vent_s: float, puff: tuple[float, float, float] | None
) -> None:
    opens = 2.5 if puff is None else puff[2] + travel_s + 1.5
    shuts, vents = opens + travel_s + 7.0, opens + vent_s - 2.5 + travel_s
    capture = synthesise(
        leak_mm2=leak_mm2,
        puff=puff,
        main=(opens, shuts, vents),
        end_s=vents + travel_s + 1.0,
        supply_travel_s=travel_s,
        vent_travel_s=travel_s,
    )
    phases = _found(capture)
    assert _in_order(phases, capture.t_s.size)
    assert opens - 0.02 <= _times(capture, phases, "fill")[0] <= opens + 0.15
    assert shuts - 0.3 <= _times(capture, phases, "steady")[1] <= shuts + travel_s
    assert shuts + 0.5 * travel_s <= _times(capture, phases, "isolated")[0] <= shuts + travel_s + 0.05
    if puff is None:
        assert phases.puff is None
    # the steady part holds only air that was let in and not throttled
    steady = slice(*phases.steady)
    assert np.ptp(capture.regulated_gauge_pa[steady][-1000:]) < 0.02 * capture.run.set_gauge_pa


@pytest.mark.parametrize("leak_mm2", [0.0, 0.1, 0.5, 1.4])
@pytest.mark.parametrize("travel_s", [0.015, 1.0])
def test_vented_without_a_decay(synthesise: Callable[..., Any], leak_mm2: float, travel_s: float) -> None:
    capture = synthesise(
        leak_mm2=leak_mm2, puff=None, main=(2.5, 10.0, 10.0), end_s=13.0, supply_travel_s=travel_s, vent_travel_s=travel_s
    )
    phases = _found(capture)
    assert phases.isolated is None
    assert _times(capture, phases, "steady")[1] == pytest.approx(10.0, abs=0.12)
    assert _times(capture, phases, "vent")[0] == pytest.approx(10.0, abs=0.12)


def test_a_tight_cylinder_shows_no_shut(synthesise: Callable[..., Any]) -> None:
    phases = _found(synthesise(leak_mm2=0.0, main=(2.5, 10.0, 40.0), end_s=42.0))
    assert phases.isolated is None


@pytest.mark.parametrize("creep", [(0.06, 3.0), (-0.05, 1.0), (-0.08, 2.0)])
def test_a_regulator_that_settles_slowly_is_no_shut(synthesise: Callable[..., Any], creep: tuple[float, float]) -> None:
    capture = synthesise(regulator_creep=creep[0], regulator_creep_s=creep[1], main=(2.5, 14.0, 18.0), end_s=20.0)
    assert _times(capture, _found(capture), "steady")[1] == pytest.approx(14.0, abs=0.05)


@pytest.mark.parametrize("rate_hz", [100, 250, 4000])
def test_other_rates(synthesise: Callable[..., Any], rate_hz: int) -> None:
    capture = synthesise(rate_hz=rate_hz)
    phases = _found(capture)
    assert _times(capture, phases, "fill")[0] == pytest.approx(2.5, abs=0.03)
    assert _times(capture, phases, "steady")[1] == pytest.approx(10.0, abs=0.05)


def test_data_that_end_before_the_vent(synthesise: Callable[..., Any]) -> None:
    capture = synthesise(main=(2.5, 10.0, 30.0), end_s=10.6)
    phases = _found(capture)
    assert phases.vent == (capture.t_s.size, capture.t_s.size)
    assert phases.isolated is not None
    assert phases.isolated[1] == capture.t_s.size


def test_data_that_end_with_air_on(synthesise: Callable[..., Any]) -> None:
    capture = synthesise(main=(2.5, 10.0, 30.0), end_s=9.0)
    phases = _found(capture)
    assert phases.isolated is None
    assert phases.steady[1] == pytest.approx(capture.t_s.size, abs=10)


@pytest.mark.parametrize(
    ("cut", "words"),
    [
        (slice(0, 400), "too short"),
        (slice(0, 900), "No air came"),
        (slice(4000, None), "begins with air on"),
        (slice(2440, None), "no vented baseline"),
        (slice(0, 2000), "too briefly"),
    ],
)
def test_no_capture_in_the_data(synthesise: Callable[..., Any], cut: slice, words: str) -> None:
    capture = synthesise()
    with pytest.raises(CaptureUnusable, match=words) as refused:
        find_phases(capture.t_s[cut], capture.measured_regulated_pa[cut], capture.measured_cylinder_pa[cut])
    assert refused.value.reason.endswith(".")


@pytest.mark.parametrize("bad", ["length", "nan", "time", "text", "huge"])
def test_columns_that_are_no_samples(synthesise: Callable[..., Any], bad: str) -> None:
    capture = synthesise()
    t, regulated, cylinder = capture.t_s.copy(), capture.measured_regulated_pa.copy(), capture.measured_cylinder_pa
    columns: tuple[Any, Any, Any] = (t, regulated, cylinder)
    if bad == "length":
        columns = (t[:-1], regulated, cylinder)
    elif bad == "nan":
        regulated[7] = np.nan
    elif bad == "time":
        t[100] = t[99]
    elif bad == "huge":
        regulated[7] = 1e300
    else:
        columns = (t, ["air"] * t.size, cylinder)
    with pytest.raises(CaptureUnusable):
        find_phases(*columns)


@settings(max_examples=150, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    n=st.integers(0, 3000),
    pieces=st.integers(1, 12),
    height=st.sampled_from([0.0, 1e3, 1e5, 6e5, 1e8]),
    noise=st.sampled_from([0.0, 1.0, 1e3, 1e5]),
    begin_low=st.booleans(),
    tied=st.booleans(),
)
def test_any_data_give_phases_or_one_sentence(
    seed: int, n: int, pieces: int, height: float, noise: float, begin_low: bool, tied: bool
) -> None:
    random = np.random.default_rng(seed)
    t = np.cumsum(random.uniform(0.0005, 0.004, n))

    def wandering() -> np.ndarray:
        knots = random.uniform(-0.2, 1.0, pieces + 1) * height
        if begin_low:
            knots[: max(1, pieces // 4)] = 0.0
        steps = random.random() < 0.5
        at = np.linspace(0.0, pieces, n)
        shape = knots[np.floor(at).astype(int)] if steps else np.interp(at, np.arange(pieces + 1), knots)
        return shape + random.normal(0.0, noise, n)

    regulated = wandering()
    cylinder = regulated * random.uniform(0.0, 1.1) if tied else wandering()
    assert _phases_or_one_sentence(t, regulated, cylinder)


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_cut_of_a_capture_gives_phases_or_one_sentence(synthesise: Callable[..., Any], data: st.DataObject) -> None:
    travel = data.draw(st.sampled_from([0.015, 1.0]))
    capture = synthesise(supply_travel_s=travel, vent_travel_s=travel, puff=None, leak_mm2=data.draw(st.sampled_from([0.1, 1.0])))
    start = data.draw(st.integers(0, capture.t_s.size))
    stop = data.draw(st.integers(start, capture.t_s.size))
    cut = slice(start, stop)
    assert _phases_or_one_sentence(capture.t_s[cut], capture.measured_regulated_pa[cut], capture.measured_cylinder_pa[cut])
