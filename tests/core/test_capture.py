"""Whole captures: the numbers beside the truth, marks, refusals, and the live view of the same samples."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from borewright.core.capture import CaptureResult, CaptureUnusable, analyse_capture
from borewright.core.live import LiveCapture
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns, SampleFlags
from hypothesis import given, settings
from hypothesis import strategies as st

ATM, T_AIR = 101_325.0, 293.15
RESTRICTOR_M2 = np.pi / 4.0 * (0.040 * 0.0254) ** 2
LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
LAWS = {"regulated": LAW, "cylinder": LAW}


def _analyse(columns: SampleColumns, **more: Any) -> CaptureResult:
    return analyse_capture(columns, LAWS, RESTRICTOR_M2, ATM, T_AIR, **more)


def _with_flags(columns: SampleColumns, flags: np.ndarray) -> SampleColumns:
    return replace(columns, flags=flags.astype(np.uint16))


LEAKS = [(0.05, 40.0), (0.15, 25.0), (0.3, 18.0), (0.5, 14.0), (0.9, 13.0), (1.4, 12.0), (4.0, 12.0)]


@pytest.mark.parametrize(("leak_mm2", "vent_s"), LEAKS)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_leakage_area_and_times_beside_the_truth(synthesise: Callable[..., Any], leak_mm2: float, vent_s: float, seed: int) -> None:
    capture = synthesise(leak_mm2=leak_mm2, main=(2.5, 10.0, vent_s), end_s=vent_s + 2.0, seed=seed)
    result = _analyse(capture.columns)
    assert result.leakage_percent == pytest.approx(capture.leakage_percent, abs=0.06)
    if capture.leakage_percent > 1.0:
        assert result.leak_area_m2 * 1e6 == pytest.approx(leak_mm2, rel=0.01)
    assert result.steady
    if capture.leakage_percent > 90.0:
        (mark,) = result.marks
        assert mark.startswith("nearly all air gets out")
    else:
        assert result.marks == ()
    assert result.zero_regulated_pa == pytest.approx(1500.0, abs=150.0)
    assert result.zero_cylinder_pa == pytest.approx(-900.0, abs=150.0)
    shut = round(10.0 * capture.run.rate_hz)
    held = float(capture.cylinder_gauge_pa[shut - 1])
    for share, found in ((0.75, result.t75_s), (0.5, result.t50_s), (0.25, result.t25_s)):
        truth = float(np.flatnonzero(capture.cylinder_gauge_pa[shut:] < share * held)[0]) / capture.run.rate_hz
        assert found == pytest.approx(truth, rel=0.02, abs=0.03)


@pytest.mark.parametrize("travel_s", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("leak_mm2", [0.25, 0.5, 1.0])
def test_hand_valves_read_the_same(synthesise: Callable[..., Any], travel_s: float, leak_mm2: float) -> None:
    capture = synthesise(
        leak_mm2=leak_mm2, puff=None, main=(2.5, 11.0, 20.0), end_s=23.0, supply_travel_s=travel_s, vent_travel_s=travel_s
    )
    result = _analyse(capture.columns)
    assert result.leakage_percent == pytest.approx(capture.leakage_percent, abs=0.08)
    assert result.leak_area_m2 * 1e6 == pytest.approx(leak_mm2, rel=0.01)
    assert result.t50_s is not None


@pytest.mark.parametrize(
    "changes",
    [
        {"wall_w_per_k": 0.1},
        {"wall_w_per_k": 2.0},
        {"cylinder_m3": 50e-6},
        {"cylinder_m3": 200e-6},
        {"leak_mm2": 1.4},
        {"leak_mm2": 0.15, "cylinder_m3": 150e-6},
        {"regulator_creep": 0.04, "regulator_creep_s": 1.5},
    ],
)
def test_shut_as_soon_as_the_live_view_says_settled(synthesise: Callable[..., Any], changes: dict[str, float]) -> None:
    watched = synthesise(**changes, main=(2.5, 18.0, 20.0), end_s=20.5)
    live = LiveCapture(LAWS)
    position = 0
    while not live.settled:
        live = live.add(watched.columns.between(position, position + 32))
        position += 32
    shut_s = round(position / 1000.0 + 0.06, 3)  # the command takes its time
    capture = synthesise(**changes, main=(2.5, shut_s, shut_s + 4.0), end_s=shut_s + 6.0)
    result = _analyse(capture.columns)
    assert result.steady
    assert result.leakage_percent == pytest.approx(capture.leakage_percent, abs=0.15)
    assert live.leakage_percent == pytest.approx(capture.leakage_percent, abs=0.3)


def test_pair_in_both_units(synthesise: Callable[..., Any]) -> None:
    result = _analyse(synthesise(leak_mm2=0.50697, regulator_creep=0.0).columns)
    assert [round(p) for p in result.pair_psi] == [80, 72]
    assert result.pair_kpa == pytest.approx((551.6, 496.4), abs=0.5)


def test_zero_of_the_law_makes_no_difference(synthesise: Callable[..., Any]) -> None:
    columns = synthesise().columns
    plain = _analyse(columns)
    zeroed = analyse_capture(
        columns, {"regulated": LAW.with_zero(1500.0), "cylinder": LAW.with_zero(-900.0)}, RESTRICTOR_M2, ATM, T_AIR
    )
    assert zeroed.leakage_percent == pytest.approx(plain.leakage_percent, abs=1e-6)
    assert zeroed.zero_cylinder_pa == pytest.approx(plain.zero_cylinder_pa, abs=1e-6)


def test_a_hot_cylinder_changes_the_area_alone(synthesise: Callable[..., Any]) -> None:
    columns = synthesise().columns
    cold, hot = _analyse(columns), _analyse(columns, t_cylinder_k=353.15)
    assert hot.leakage_percent == cold.leakage_percent
    assert hot.leak_area_m2 / cold.leak_area_m2 == pytest.approx(np.sqrt(353.15 / 293.15))


def test_a_sealed_cylinder_reads_nothing(synthesise: Callable[..., Any]) -> None:
    result = _analyse(synthesise(leak_mm2=0.0, main=(2.5, 10.0, 40.0), end_s=42.0).columns)
    assert result.leakage_percent == pytest.approx(0.0, abs=0.06)
    assert result.t75_s is None
    assert "no decay seen" in result.marks


def test_channels_may_be_swapped(synthesise: Callable[..., Any]) -> None:
    columns = synthesise().columns
    swapped = replace(columns, raw=columns.raw[::-1])
    assert _analyse(swapped, regulated_channel=1, cylinder_channel=0) == _analyse(columns)


# ---------------------------------------------------------------- marks


def _flags_of(capture: Any, shut_s: float) -> np.ndarray:
    t = capture.t_s
    run = capture.run
    supply = ((t >= run.main[0]) & (t < shut_s)) | ((t >= run.puff[0]) & (t < run.puff[1]))
    vent = ~(((t >= run.main[0]) & (t < run.main[2])) | ((t >= run.puff[0]) & (t < run.puff[2])))
    return np.asarray(supply * int(SampleFlags.SUPPLY_OPEN) + vent * int(SampleFlags.VENT_OPEN))


def test_flags_that_agree_leave_no_mark(synthesise: Callable[..., Any]) -> None:
    capture = synthesise()
    result = _analyse(_with_flags(capture.columns, _flags_of(capture, 10.0)))
    assert result.marks == ()
    assert result.phases == _analyse(capture.columns).phases


def test_flags_that_disagree_are_marked(synthesise: Callable[..., Any]) -> None:
    capture = synthesise()
    result = _analyse(_with_flags(capture.columns, _flags_of(capture, 8.0)))
    assert any("disagree" in mark for mark in result.marks)


def test_flags_tell_the_shut_of_a_sealed_cylinder(synthesise: Callable[..., Any]) -> None:
    capture = synthesise(leak_mm2=0.0, main=(2.5, 10.0, 40.0), end_s=42.0)
    result = _analyse(_with_flags(capture.columns, _flags_of(capture, 10.0)))
    assert result.phases.isolated is not None
    assert result.phases.isolated[0] == 10_000
    assert result.phases.steady[1] == 10_000
    assert any("hardly fell" in mark for mark in result.marks)


@pytest.mark.parametrize("flag", [SampleFlags.GAP_BEFORE, SampleFlags.DROPPED_BEFORE])
def test_missing_samples_are_marked(synthesise: Callable[..., Any], flag: SampleFlags) -> None:
    columns = synthesise().columns
    flags = np.zeros(len(columns), np.uint16)
    flags[6000] = int(flag)
    assert "samples are missing" in _analyse(_with_flags(columns, flags)).marks


def test_a_gap_in_the_ticks_is_marked(synthesise: Callable[..., Any]) -> None:
    columns = synthesise().columns
    holed = SampleColumns.join([columns.between(0, 6000), columns.between(6300, len(columns))])
    assert "samples are missing" in _analyse(holed).marks


def test_saturation_is_marked(synthesise: Callable[..., Any]) -> None:
    columns = synthesise().columns
    flags = np.zeros(len(columns), np.uint16)
    flags[7000:7008] = int(SampleFlags.SATURATED)
    assert "a pressure channel was saturated" in _analyse(_with_flags(columns, flags)).marks


def test_a_pressure_out_of_range_is_marked(synthesise: Callable[..., Any]) -> None:
    columns = synthesise(set_gauge_pa=400_000.0).columns
    assert "regulated pressure out of range" in _analyse(columns, regulated_range_gauge_pa=(496_422.5, 620_528.2)).marks
    assert "regulated pressure out of range" not in _analyse(columns).marks


def test_not_steady_is_marked(synthesise: Callable[..., Any]) -> None:
    result = _analyse(synthesise(cylinder_m3=600e-6, main=(2.5, 9.0, 12.0)).columns)
    assert not result.steady
    assert any(mark.startswith("not steady") for mark in result.marks)


def test_untied_transducers_are_marked(synthesise: Callable[..., Any]) -> None:
    columns = synthesise(leak_mm2=0.01, main=(2.5, 10.0, 40.0), end_s=42.0).columns
    long_span = {"regulated": LAW, "cylinder": replace(LAW, gain=1.01)}
    result = analyse_capture(columns, long_span, RESTRICTOR_M2, ATM, T_AIR)
    assert any("not tied" in mark for mark in result.marks)
    assert result.leak_area_m2 == 0.0
    assert result.leakage_percent < 0.0


def test_crank_movement_is_counted(synthesise: Callable[..., Any]) -> None:
    columns = synthesise().columns
    count = np.zeros(len(columns), np.int64)
    count[5000:] = 3
    count[15_500:] = 900  # after the vent it may turn
    assert _analyse(replace(columns, crank_count=count)).crank_moved_counts == 3


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"main": (2.5, 2.6, 2.6)}, "too briefly"),
        ({"main": (2.5, 3.2, 3.2), "cylinder_m3": 600e-6}, "settled"),
        ({"leak_mm2": 0.5, "set_gauge_pa": 10_000.0}, "No air came"),
    ],
)
def test_unusable_captures(synthesise: Callable[..., Any], changes: dict[str, Any], words: str) -> None:
    with pytest.raises(CaptureUnusable, match=words):
        _analyse(synthesise(**changes).columns)


def test_a_cylinder_wire_that_comes_loose_with_the_air(synthesise: Callable[..., Any]) -> None:
    columns = synthesise(leak_mm2=0.1).columns
    raw = columns.raw.copy()
    raw[1, 2400:] = 0  # reads far under ambient from then on
    with pytest.raises(CaptureUnusable, match="No pressure reached the cylinder side"):
        _analyse(replace(columns, raw=raw).between(0, 3010))


def test_no_samples_at_all() -> None:
    with pytest.raises(CaptureUnusable, match="too short"):
        _analyse(SampleColumns.empty(2, 1_000_000))


def test_a_channel_that_is_not_there(synthesise: Callable[..., Any]) -> None:
    with pytest.raises(CaptureUnusable, match="pressure channel"):
        _analyse(synthesise().columns, cylinder_channel=2)


def test_a_law_that_is_not_there(synthesise: Callable[..., Any]) -> None:
    with pytest.raises(ValueError, match="cylinder"):
        analyse_capture(synthesise().columns, {"regulated": LAW}, RESTRICTOR_M2, ATM, T_AIR)


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_any_samples_give_a_result_or_one_sentence(synthesise: Callable[..., Any], data: st.DataObject) -> None:
    columns = synthesise(leak_mm2=data.draw(st.sampled_from([0.1, 1.0, 4.0]))).columns
    start = data.draw(st.integers(0, len(columns)))
    stop = data.draw(st.integers(start, len(columns)))
    raw = columns.raw.copy()
    random = np.random.default_rng(data.draw(st.integers(0, 1000)))
    for _ in range(data.draw(st.integers(0, 3))):  # wires that come loose
        at, length = random.integers(0, len(columns)), random.integers(1, 4000)
        raw[random.integers(0, 2), at : at + length] = random.choice([0, 4095, 410])
    flags = random.integers(0, 512, len(columns)) if data.draw(st.booleans()) else columns.flags
    worn = replace(columns, raw=raw, flags=np.asarray(flags, np.uint16)).between(start, stop)
    assert _result_or_one_sentence(worn)


def _result_or_one_sentence(columns: SampleColumns) -> bool:
    try:
        result = _analyse(columns)
    except CaptureUnusable as unusable:
        return unusable.reason.endswith(".")
    return bool(np.isfinite(result.leakage_percent)) and result.leak_area_m2 >= 0.0


# ---------------------------------------------------------------- live


def test_live_goes_through_the_phases(synthesise: Callable[..., Any]) -> None:
    capture = synthesise(leak_mm2=0.5, main=(2.5, 12.0, 16.0), end_s=18.0)
    live = LiveCapture(LAWS)
    seen: dict[str, float] = {}
    for start in range(0, len(capture.columns), 16):
        live = live.add(capture.columns.between(start, start + 16))
        for name in ("air_on", "fill_done", "settled", "supply_shut", "decay_done"):
            if getattr(live, name) and start > 2400:
                seen.setdefault(name, start / 1000.0)
    assert list(seen) == ["air_on", "fill_done", "settled", "supply_shut", "decay_done"]
    assert seen["air_on"] == pytest.approx(2.5, abs=0.15)
    assert 3.0 < seen["settled"] - seen["fill_done"] < 5.0
    assert seen["supply_shut"] == pytest.approx(12.0, abs=0.15)
    # 20 % of what it held, by the plant itself
    low = float(capture.t_s[12_000:][capture.cylinder_gauge_pa[12_000:] < 0.2 * capture.cylinder_gauge_pa[11_900]][0])
    assert seen["decay_done"] == pytest.approx(low, abs=0.15)


def test_live_is_the_same_for_any_batches(synthesise: Callable[..., Any]) -> None:
    columns = synthesise().columns.between(0, 9000)
    whole = LiveCapture(LAWS).add(columns)
    live = LiveCapture(LAWS)
    for start in range(0, 9000, 7):
        live = live.add(columns.between(start, min(start + 7, 9000)))
    for name in ("settled", "steady_for_s", "leakage_percent", "p_regulated_gauge_pa", "p_cylinder_gauge_pa"):
        assert getattr(live, name) == pytest.approx(getattr(whole, name))


def test_live_believes_the_flags_of_a_sealed_cylinder(synthesise: Callable[..., Any]) -> None:
    capture = synthesise(leak_mm2=0.0, main=(2.5, 10.0, 42.0), end_s=44.0)
    columns = _with_flags(capture.columns, _flags_of(capture, 10.0))
    before, after = LiveCapture(LAWS).add(columns.between(0, 9990)), LiveCapture(LAWS).add(columns.between(0, 10_200))
    assert before.settled
    assert not before.supply_shut
    assert after.supply_shut
    assert not after.decay_done
    assert LiveCapture(LAWS).add(columns.between(0, 40_200)).decay_done  # 30 s are enough


def test_live_with_nothing_added() -> None:
    live = LiveCapture(LAWS)
    assert live.add(SampleColumns.empty(2, 1_000_000)) == live
    assert live.leakage_percent is None
