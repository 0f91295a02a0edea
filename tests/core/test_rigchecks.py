"""The rig's own checks on synthetic captures: what is put in comes out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from borewright.core.capture import CaptureUnusable, analyse_capture
from borewright.core.rig import ChannelLaw
from borewright.core.rigchecks import read_restrictor, read_sealed
from borewright.core.samples import SampleColumns

RESTRICTOR_M2 = np.pi / 4.0 * (0.040 * 0.0254) ** 2
LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
LAWS = {"regulated": LAW, "cylinder": LAW}
P_AMBIENT, T_AIR = 101_325.0, 293.15
VOLUME_M3 = 50e-6
SHUT_S, VENT_S = 8.0, 18.0


def sealed_capture(leak_m2: float, tie_share: float = 0.0, seed: int = 1) -> SampleColumns:
    """Dead volume and hose, capped, at 550 kPa; after the shut a leak by the choked isothermal law p = p0·exp(−t/τ).

    τ = V / (A·√(RT)·0.684731456): White's constant for air (see shared check values, Nozzle flow of air).
    """
    rng = np.random.default_rng(seed)
    t = np.arange(20_000) / 1000.0
    p = np.where(t < 1.0, 0.0, 550e3)
    tau = VOLUME_M3 / (max(leak_m2, 1e-18) * np.sqrt(287.05287 * T_AIR) * 0.684731456)
    shut = t >= SHUT_S
    p = np.where(shut, (550e3 + P_AMBIENT) * np.exp(-(t - SHUT_S) / tau) - P_AMBIENT, p)
    p = np.where(t >= VENT_S, p * np.exp(-(t - VENT_S) / 0.05), p)
    raw = np.stack([p, p * (1.0 + tie_share)]) / 1e6 * 0.8 * 4096 + 0.1 * 4096
    raw = np.rint(raw + rng.normal(0.0, 2.0, raw.shape)).astype(np.uint16)
    tick = (t * 1e6).round().astype(np.int64)
    return SampleColumns(tick, np.arange(len(t)), np.zeros(len(t), np.int64), raw, np.zeros(len(t), np.uint16), 1_000_000)


def read(columns: SampleColumns, shut_s: float | None = SHUT_S, ended_s: float = VENT_S) -> Any:
    result = analyse_capture(columns, LAWS, RESTRICTOR_M2, P_AMBIENT, T_AIR)
    return read_sealed(columns, LAW, result, shut_s, ended_s, VOLUME_M3, P_AMBIENT, T_AIR)


@pytest.mark.parametrize("leak_mm2", [0.0005, 0.001, 0.004, 0.02])
def test_the_rigs_own_leak_comes_out(leak_mm2: float) -> None:
    sealed = read(sealed_capture(leak_mm2 * 1e-6))
    assert sealed.own_leak_area_m2 * 1e6 == pytest.approx(leak_mm2, rel=0.03, abs=5e-5)
    assert sealed.passed is (leak_mm2 <= 0.002)


def test_transducers_that_differ_are_found() -> None:
    sealed = read(sealed_capture(0.0, tie_share=0.02))
    assert sealed.tie_share == pytest.approx(0.02, abs=5e-4)
    assert not sealed.passed


def test_a_supply_that_was_never_shut_gives_no_reading() -> None:
    with pytest.raises(CaptureUnusable, match="not shut"):
        read(sealed_capture(0.0), shut_s=None)


def test_a_shut_just_before_the_vent_gives_no_reading() -> None:
    with pytest.raises(CaptureUnusable, match="wait longer"):
        read(sealed_capture(0.0), shut_s=VENT_S - 0.3)


@pytest.mark.parametrize("orifice_mm2", [0.3, 0.8, 2.0])
def test_the_restrictor_comes_out_by_a_certified_orifice(synthesise: Callable[..., Any], orifice_mm2: float) -> None:
    columns = synthesise(leak_mm2=orifice_mm2).columns
    result = analyse_capture(columns, LAWS, RESTRICTOR_M2, P_AMBIENT, T_AIR)
    reading = read_restrictor(result, orifice_mm2 * 1e-6, RESTRICTOR_M2, P_AMBIENT, T_AIR)
    assert reading.area_m2 == pytest.approx(RESTRICTOR_M2, rel=0.01)
    assert reading.passed
    other = read_restrictor(result, orifice_mm2 * 1e-6, RESTRICTOR_M2 * 2.25, P_AMBIENT, T_AIR)
    assert not other.passed
