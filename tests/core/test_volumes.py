"""The rig's volumes from made captures: hose from a capped fill, dead volume from what leaves it, and a known volume beside."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from borewright.core.capture import analyse_capture
from borewright.core.restrictor import Restrictor
from borewright.core.rig import ChannelLaw, CheckRefused
from borewright.core.volumes import (
    Transfer,
    dead_volume_of_equalising,
    hose_volume_by_reference,
    hose_volume_of_fill,
    ratio_of_equalising,
    transfer,
    volumes_of_capture,
)
from scipy.integrate import solve_ivp

LAW = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
AREA_M2 = np.pi / 4.0 * (0.040 * 0.0254) ** 2
JET = Restrictor(AREA_M2)
P_AMBIENT, T_AIR, GAS = 101_325.0, 293.15, 287.05287


def volumes(columns: Any, outlet: Any) -> Any:
    result = analyse_capture(columns, {"regulated": LAW, "cylinder": LAW}, AREA_M2, P_AMBIENT, T_AIR)
    start = float(columns.t_s[0])
    return volumes_of_capture(columns, (LAW, LAW), result, start + 10.0, start + 14.0, JET, P_AMBIENT, T_AIR, outlet)


@pytest.mark.parametrize(("hose_cm3", "wall"), [(34.0, 0.5), (34.0, 0.05), (60.0, 0.3)])
def test_a_capped_fill_tells_the_hose(synthesise: Callable[..., Any], hose_cm3: float, wall: float) -> None:
    """Gas that warms as it is squeezed in, walls that cool it quickly or slowly, a regulator that creeps, noise of 0.1 %."""
    found = volumes(synthesise(leak_mm2=0.0, cylinder_m3=hose_cm3 * 1e-6, wall_w_per_k=wall).columns, "capped")
    hose = found.hose_volume
    assert abs(hose.value * 1e6 - hose_cm3) <= 2.0 * hose.standard * 1e6
    assert hose.standard < 0.15 * hose.value
    assert not found.dead_volume.identifiable
    assert "both sides are equal" in found.dead_volume.reason


@pytest.mark.parametrize("leak_mm2", [0.3, 0.8, 1.5])
@pytest.mark.parametrize("dead_cm3", [20.0, 60.0])
def test_with_an_orifice_on_the_hose_the_dead_volume_shows(
    synthesise: Callable[..., Any], leak_mm2: float, dead_cm3: float
) -> None:
    found = volumes(synthesise(leak_mm2=leak_mm2, cylinder_m3=34e-6, dead_m3=dead_cm3 * 1e-6).columns, "orifice")
    dead = found.dead_volume
    assert abs(dead.value * 1e6 - dead_cm3) <= 2.0 * dead.standard * 1e6
    assert dead.standard < 0.15 * dead.value
    assert not found.hose_volume.identifiable


def two_sides(dead_m3: float, hose_m3: float, seconds: float = 4.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Isothermal: 550 kPa before the restrictor, 200 kPa after it, both closed; until they are equal."""

    def change(_: float, p: np.ndarray) -> list[float]:
        r = max(p[1] / p[0], 0.5282817877)
        bent = min(r, 0.999)
        psi = np.sqrt(7.0 * (bent ** (2.0 / 1.4) - bent ** (2.4 / 1.4))) * min(1.0, (1.0 - r) / 0.001)
        flow = AREA_M2 * p[0] * np.sqrt(GAS * T_AIR) * psi
        return [-flow / dead_m3, flow / hose_m3]

    t = np.arange(0.0, seconds, 0.001)
    solved = solve_ivp(change, (0.0, seconds), [550e3 + P_AMBIENT, 200e3 + P_AMBIENT], t_eval=t, method="LSODA", rtol=1e-8)
    return t, solved.y[0] - P_AMBIENT, solved.y[1] - P_AMBIENT


def test_a_shut_in_mid_fill_gives_the_ratio_without_restrictor_or_temperature() -> None:
    t, regulated, cylinder = two_sides(20e-6, 34e-6)
    for wrong in (0.5, 2.0):
        moved = transfer(t, regulated, cylinder, Restrictor(AREA_M2 * wrong), P_AMBIENT, T_AIR * wrong)
        assert ratio_of_equalising(moved).value == pytest.approx(20.0 / 34.0, rel=0.03)  # the first means of ten samples start late
    early = slice(0, 400)  # later only the tie of the transducers would be integrated
    found = dead_volume_of_equalising(transfer(t[early], regulated[early], cylinder[early], JET, P_AMBIENT, T_AIR))
    assert found.value is not None
    assert abs(found.value - 20e-6) <= 2.0 * found.standard
    assert "only" in dead_volume_of_equalising(transfer(t, regulated, cylinder, JET, P_AMBIENT, T_AIR)).reason


def test_a_reference_volume_needs_no_restrictor() -> None:
    def fill(volume_m3: float, n: float = 1.0) -> Transfer:
        return Transfer(n * volume_m3 * 550e3, 0.006, 100.0, 550e3, 50.0, 4.0, (1.1e5, P_AMBIENT))

    for wrong in (0.8, 1.25):  # a restrictor that is another than stated
        found = hose_volume_by_reference(fill(34e-6, wrong), fill(134e-6, wrong), 100e-6, 0.2e-6)
        assert found.value == pytest.approx(34e-6, rel=1e-9)
        assert found.standard < 0.01 * 34e-6
    assert not hose_volume_by_reference(fill(34e-6), fill(34.5e-6), 0.5e-6, 0.01e-6).identifiable
    assert "no more air" in hose_volume_by_reference(fill(34e-6), fill(34e-6), 1e-6, 0.0).reason


def test_what_does_not_move_says_nothing_of_a_volume() -> None:
    t = np.arange(0.0, 2.0, 0.001)
    still = transfer(t, np.full(t.size, 550e3), np.full(t.size, 550e3), JET, P_AMBIENT, T_AIR)
    for found in (hose_volume_of_fill(still), dead_volume_of_equalising(still), ratio_of_equalising(still)):
        assert not found.identifiable
        assert "hardly moved" in found.reason


def test_too_few_samples_are_refused() -> None:
    t = np.arange(0.0, 0.02, 0.001)
    with pytest.raises(CheckRefused, match="too short"):
        transfer(t, t, t, JET, P_AMBIENT, T_AIR)
