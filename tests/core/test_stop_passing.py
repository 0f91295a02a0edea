"""What the gauge on a stop tells, and the leak at a place by an orifice, against the simulator's gas."""

from __future__ import annotations

import pytest
from boresim.gas import nozzle_flow_kg_s, series_flow_kg_s
from borewright.core.stop_passing import passing_of_gauge, place_flow, share_passing
from hypothesis import assume, given, settings
from hypothesis import strategies as st

P_AMBIENT, T_AIR = 101_325.0, 293.15
NEARLY = 0.999  # from this ratio of pressures on the simulator's nozzle is linear, the host's is not


@settings(max_examples=50, deadline=None)
@given(leak_mm2=st.floats(0.05, 2.0), stop_mm2=st.floats(0.01, 100.0), gauge_pa=st.floats(3e3, 600e3))
def test_what_passes_a_stop_is_what_two_nozzles_in_series_pass(leak_mm2: float, stop_mm2: float, gauge_pa: float):
    through, p_place = series_flow_kg_s(leak_mm2 * 1e-6, stop_mm2 * 1e-6, P_AMBIENT + gauge_pa, P_AMBIENT, T_AIR)
    free = nozzle_flow_kg_s(leak_mm2 * 1e-6, P_AMBIENT + gauge_pa, P_AMBIENT, T_AIR)
    assume(p_place < NEARLY * (P_AMBIENT + gauge_pa))
    assert share_passing(P_AMBIENT + gauge_pa, p_place, P_AMBIENT) == pytest.approx(through / free, abs=0.01)


def test_a_choked_leak_does_not_feel_its_stop():
    assert share_passing(P_AMBIENT + 500e3, P_AMBIENT + 20e3, P_AMBIENT) == 1.0
    assert share_passing(P_AMBIENT + 500e3, P_AMBIENT + 500e3, P_AMBIENT) == 0.0


def test_a_gauge_at_zero_tells_nothing():
    assert passing_of_gauge(20e3, 0.0) is None
    assert passing_of_gauge(20e3, -50.0) is None


@settings(max_examples=50, deadline=None)
@given(leak_mm2=st.floats(0.05, 2.0), orifice_mm2=st.floats(2.0, 16.0), gauge_pa=st.floats(20e3, 600e3))
def test_an_orifice_at_the_place_finds_the_leak(leak_mm2: float, orifice_mm2: float, gauge_pa: float):
    _, p_place = series_flow_kg_s(leak_mm2 * 1e-6, orifice_mm2 * 1e-6, P_AMBIENT + gauge_pa, P_AMBIENT, T_AIR)
    assume(NEARLY * p_place > P_AMBIENT)
    detail = {
        "orifice_area_m2": orifice_mm2 * 1e-6,
        "u_orifice_relative": 0.01,
        "p_place_gauge_pa": p_place - P_AMBIENT,
        "u_p_place_pa": 0.0,
        "p_cylinder_gauge_pa": gauge_pa,
    }
    found = place_flow("exhaust", detail, p_ambient_abs_pa=P_AMBIENT, u_t_k=0.0)
    assert found.leak_area_m2 == pytest.approx(leak_mm2 * 1e-6, rel=1e-3)
    assert found.u_area_m2 == pytest.approx(0.01 * found.leak_area_m2, rel=1e-6)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"orifice_area_m2": None}, "orifice_area_m2: is missing"),
        ({"orifice_area_m2": 0.0}, "orifice_area_m2: must be above 0"),
        ({"p_place_gauge_pa": 500e3}, "must be under p_cylinder_gauge_pa"),
        ({"p_cylinder_gauge_pa": -1.0}, "p_cylinder_gauge_pa"),
    ],
)
def test_what_cannot_be_is_named(change: dict[str, float | None], said: str):
    told = {"orifice_area_m2": 5e-6, "u_orifice_relative": 0.01, "p_place_gauge_pa": 2e3, "u_p_place_pa": 20.0}
    detail = {name: value for name, value in ({**told, "p_cylinder_gauge_pa": 4e5} | change).items() if value is not None}
    with pytest.raises(ValueError, match=said):
        place_flow("exhaust", detail)


def test_no_flow_has_an_uncertainty_still():
    detail = {"orifice_area_m2": 1e-6, "u_orifice_relative": 0.01, "p_place_gauge_pa": 0.0, "u_p_place_pa": 5.0}
    found = place_flow("coolant", {**detail, "p_cylinder_gauge_pa": 4e5})
    assert found.leak_area_m2 == 0.0
    assert found.u_area_m2 > 0.0
