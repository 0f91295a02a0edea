"""The sealed check at several pressures on made captures: own leak and its direction, and the tie of the two transducers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from borewright.core.capture import CaptureUnusable, analyse_capture
from borewright.core.rig import ChannelLaw, CheckRefused
from borewright.core.samples import SampleColumns
from borewright.core.sealed import DecaySlope, SealedPoint, judge_sealed, read_sealed_point
from scipy.integrate import solve_ivp

LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
P_AMBIENT, T_AIR, GAS = 101_325.0, 293.15, 287.05287
VOLUME_M3 = 54e-6
SHUT_S, VENT_S = 8.0, 18.0


def nozzle_kg_s(area_m2: float, p_up: float, p_down: float) -> float:
    """Isentropic flow of air, written here a second time."""
    r = max(p_down / p_up, 0.5282817877)
    return float(area_m2 * p_up / np.sqrt(GAS * T_AIR) * np.sqrt(max(7.0 * (r ** (2.0 / 1.4) - r ** (2.4 / 1.4)), 0.0)))


def capped(
    set_pa: float = 550e3, leak_mm2: float = 0.0, seat_mm2: float = 0.0, line_pa: float = 0.0, share: float = 0.0, seed: int = 1
) -> SealedPoint:
    """A capped capture, isothermal after the shut: a leak to ambient, and a seat that lets air in from the line before the valve.

    line_pa: how far the line stands above the set pressure. share: how much more the cylinder's transducer reads.
    """
    rng = np.random.default_rng(seed)
    t = np.arange(20_000) / 1000.0
    line = set_pa + line_pa + P_AMBIENT

    def change(_: float, p: np.ndarray) -> list[float]:
        within = min(p[0], line)
        net = nozzle_kg_s(seat_mm2 * 1e-6, line, within) - nozzle_kg_s(leak_mm2 * 1e-6, p[0], P_AMBIENT)
        return [GAS * T_AIR / VOLUME_M3 * net]

    solved = solve_ivp(change, (SHUT_S, 20.0), [set_pa + P_AMBIENT], dense_output=True, rtol=1e-8, max_step=0.2)
    assert solved.sol is not None
    p = np.where(t < 1.0, 0.0, set_pa)
    p = np.where(t >= SHUT_S, solved.sol(np.maximum(t, SHUT_S))[0] - P_AMBIENT, p)
    p = np.where(t >= VENT_S, p * np.exp(-(t - VENT_S) / 0.05), p)
    raw = np.stack([p, p * (1.0 + share)]) / 1e6 * 0.8 * 4096 + 0.1 * 4096
    raw = np.rint(raw + rng.normal(0.0, 3.3, raw.shape)).astype(np.uint16)  # 0.1 % of the range
    tick = (t * 1e6).round().astype(np.int64)
    columns = SampleColumns(tick, np.arange(t.size), np.zeros(t.size, np.int64), raw, np.zeros(t.size, np.uint16), 1_000_000)
    return read(columns)


def read(columns: SampleColumns, shut_s: float | None = SHUT_S, ended_s: float = VENT_S) -> SealedPoint:
    result = analyse_capture(columns, {"regulated": LAW, "cylinder": LAW}, 8.1e-7, P_AMBIENT, T_AIR)
    return read_sealed_point(columns, (LAW, LAW), result, shut_s, ended_s, P_AMBIENT, T_AIR)


@pytest.mark.parametrize("leak_mm2", [0.0005, 0.002, 0.01])
def test_a_leak_out_comes_out_with_its_size(leak_mm2: float) -> None:
    sealed = judge_sealed([capped(p, leak_mm2, seed=n) for n, p in enumerate((200e3, 400e3, 550e3))], VOLUME_M3, 0.0)
    assert sealed.direction == "out"
    assert sealed.own_leak_area_m2 * 1e6 == pytest.approx(leak_mm2, abs=2.5 * sealed.u_own_leak_area_m2 * 1e6, rel=0.002)
    assert sealed.u_own_leak_area_m2 < 0.02 * 2e-9
    assert sealed.passed is (leak_mm2 <= 0.002)


def test_a_supply_valve_that_lets_air_in_is_told_from_a_leak_out() -> None:
    sealed = judge_sealed([capped(550e3, 0.0, seat_mm2=0.003, line_pa=250e3)], VOLUME_M3)
    assert sealed.direction == "in"
    assert sealed.net_leak_area_m2 < 0.0
    assert sealed.own_leak_area_m2 == 0.0
    assert not sealed.passed
    flows_kg_s = nozzle_kg_s(0.003e-6, 800e3 + P_AMBIENT, 580e3 + P_AMBIENT)
    assert sealed.leak_in_kg_s == pytest.approx(flows_kg_s, rel=0.15)  # the rise lowers it over the ten seconds


def test_both_at_once_are_told_apart_where_the_fall_slows_down() -> None:
    """The line stands at the set pressure: air comes in only as the pressure falls, so the fall becomes slower than a leak's."""
    sealed = judge_sealed([capped(p, 0.03, seat_mm2=0.02, seed=n) for n, p in enumerate((350e3, 550e3))], VOLUME_M3)
    assert sealed.direction == "both"
    assert sealed.own_leak_area_m2 * 1e6 == pytest.approx(0.03, rel=0.10)
    alone = judge_sealed([capped(p, 0.03, seed=n) for n, p in enumerate((350e3, 550e3))], VOLUME_M3)
    assert alone.direction == "out"
    assert alone.leak_in_kg_s == 0.0


def test_a_tight_rig_shows_no_leak() -> None:
    sealed = judge_sealed([capped()], VOLUME_M3)
    assert sealed.direction in ("none seen", "out")  # noise may pass two standard uncertainties
    assert abs(sealed.net_leak_area_m2) < 3.5 * sealed.u_own_leak_area_m2
    assert sealed.inside_limit_shown
    assert sealed.passed


def stretch(p_pa: float, slope_pa_s: float, u_pa_s: float = 5.0) -> DecaySlope:
    return DecaySlope(p_pa, slope_pa_s, u_pa_s, slope_pa_s, slope_pa_s)


def pair(p_pa: float, difference_pa: float, u_pa: float = 15.0, slope_pa_s: float = -10.0) -> SealedPoint:
    return SealedPoint(p_pa, p_pa + difference_pa, u_pa, (stretch(p_pa, slope_pa_s),) * 4, P_AMBIENT, T_AIR)


def test_the_limit_is_two_percent_of_the_smallest_leak_to_be_reported() -> None:
    points = [pair(550e3, 0.0, slope_pa_s=-3000.0)]
    assert judge_sealed(points, VOLUME_M3).limit_area_m2 == pytest.approx(2e-9)
    assert judge_sealed(points, VOLUME_M3).passed
    strict = judge_sealed(points, VOLUME_M3, smallest_leak_area_m2=5e-8)
    assert strict.limit_area_m2 == pytest.approx(1e-9)
    assert not strict.passed


def test_a_leak_under_the_limit_that_is_not_known_well_enough_is_said() -> None:
    loose = [SealedPoint(550e3, 550e3, 15.0, (stretch(550e3, -4000.0, 1500.0),) * 4, P_AMBIENT, T_AIR)]
    sealed = judge_sealed(loose, VOLUME_M3)
    assert sealed.passed
    assert not sealed.inside_limit_shown
    assert any("wait longer" in remark for remark in sealed.remarks)


def test_two_standard_uncertainties_hold_leak_and_tie() -> None:
    """Drawn: zeros drift by 100 Pa each, once for all captures and once more in each; 15 Pa of noise in the difference, 5 Pa/s
    in each slope."""
    rng = np.random.default_rng(4)
    held_tie, held_leak, at = [], [], (150e3, 250e3, 350e3, 450e3, 551e3)
    per_area = {p: nozzle_kg_s(1.0, p + P_AMBIENT, P_AMBIENT) * GAS * T_AIR / VOLUME_M3 for p in at}
    for _ in range(1500):
        gain, offset, leak_m2 = rng.normal(0.0, 0.001), rng.normal(0.0, 100.0 * np.sqrt(2.0)), rng.uniform(0.0, 2e-9)
        points = [
            replace(
                pair(p, gain * p + offset + rng.normal(0.0, np.hypot(100.0, 100.0)) + rng.normal(0.0, 15.0)),
                decay=tuple(stretch(p, -leak_m2 * per_area[p] + rng.normal(0.0, 5.0)) for _ in range(4)),
            )
            for p in at
        ]
        sealed = judge_sealed(points, VOLUME_M3, 0.0)
        held_tie.append(abs(sealed.tie_share - gain - offset / 551e3) <= 2.0 * sealed.u_tie)
        held_leak.append(abs(sealed.net_leak_area_m2 - leak_m2) <= 2.0 * sealed.u_own_leak_area_m2)
    assert 0.93 <= np.mean(held_tie) <= 0.97
    assert 0.93 <= np.mean(held_leak) <= 0.97


def test_the_tie_makes_both_channels_read_the_same() -> None:
    rng = np.random.default_rng(6)
    points = [pair(p, 0.0012 * p + rng.normal(0.0, 20.0)) for p in (150e3, 300e3, 450e3, 551e3)]
    sealed = judge_sealed(points, VOLUME_M3)
    law = replace(LAW, zero_pa=800.0, bow_pa=400.0)
    raw = np.array([900.0, 1500.0, 2200.0])
    assert sealed.tied(law).gauge_pa(raw) * 1.0012 == pytest.approx(law.gauge_pa(raw), rel=2.0 * sealed.u_tie)


def test_one_pressure_ties_too_but_less_well() -> None:
    one, several = (
        judge_sealed([pair(551e3, 300.0)], VOLUME_M3),
        judge_sealed([pair(p, 300.0 / 551e3 * p) for p in (150e3, 250e3, 350e3, 450e3, 551e3)], VOLUME_M3),
    )
    assert one.tie_share == pytest.approx(several.tie_share, rel=1e-3)
    assert one.u_tie > 2.0 * several.u_tie
    assert one.pressures == 1
    assert any("one pressure only" in remark for remark in one.remarks)
    assert not any("one pressure" in remark for remark in several.remarks)


def test_an_offset_at_every_pressure_asks_for_the_zeros() -> None:
    sealed = judge_sealed([pair(p, 900.0) for p in (150e3, 250e3, 350e3, 450e3, 551e3)], VOLUME_M3)
    assert any("take the zeros again" in remark for remark in sealed.remarks)


def test_transducers_that_differ_too_much_do_not_pass() -> None:
    assert not judge_sealed([pair(551e3, 0.02 * 551e3)], VOLUME_M3).passed


def test_nothing_to_read_is_refused() -> None:
    with pytest.raises(CheckRefused, match="no capture"):
        judge_sealed([], VOLUME_M3)
    t = np.arange(20_000)
    p = np.where(t < 1000, 0.0, np.where(t < 18_000, 550e3, 0.0)) / 1e6 * 0.8 * 4096 + 0.1 * 4096
    columns = SampleColumns(t * 1000, t, t * 0, np.stack([p, p]).round().astype(np.uint16), np.zeros(t.size, np.uint16), 1_000_000)
    with pytest.raises(CaptureUnusable, match="not shut"):
        read(columns, shut_s=None)
    with pytest.raises(CaptureUnusable, match="wait longer"):
        read(columns, shut_s=VENT_S - 0.3)
