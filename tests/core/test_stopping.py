"""Which places may be stopped: a stop is one only where the place can come up to the cylinder's pressure."""

from __future__ import annotations

from dataclasses import replace
from math import inf, sqrt

import pytest
from borewright.core.engine import Engine
from borewright.core.stop_passing import place_flow, share_passing
from borewright.core.stopping import highest_supply_gauge_pa, measurable_places, orifice_for, stop_rules, stoppable_places, wet_dose
from hypothesis import given
from hypothesis import strategies as st

AMBIENT_PA = 101_325.0
FOUR = Engine("invented four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6, coolant_cap_pa=110_000.0)
TWO_STROKE = Engine("invented single", "two-stroke", (1,), (360.0,), 0.054, 0.0545, 0.110, 19e-6, cooling="air")


def test_a_relief_far_under_the_cylinders_pressure_stops_nothing() -> None:
    # small-orifice tutorial: with 80 psig at the inlet the flow is choked below 35.30 psig (243 kPa) at the outlet
    rules = stop_rules(FOUR)
    assert share_passing(551_581.0 + AMBIENT_PA, rules["exhaust"].limit_gauge_pa + AMBIENT_PA, AMBIENT_PA) == 1.0
    assert not rules["exhaust"].may_stop
    assert rules["exhaust"].way == "orifice"
    assert "a stop is one only with the supply under that" in rules["exhaust"].why


@given(
    st.floats(1e3, 200e3),
    st.sampled_from([FOUR, TWO_STROKE, replace(FOUR, coolant_cap_pa=None), replace(FOUR, coolant_cap_pa=40e3)]),
)
def test_what_may_be_stopped_never_sees_more_than_its_limit(least_pa: float, engine: Engine) -> None:
    rules = stop_rules(engine, least_pa)
    assert tuple(rules) == engine.places
    for place, rule in rules.items():
        assert rule.cautions
        assert (rule.way == "stop") == rule.may_stop
        if rule.may_stop:
            highest = highest_supply_gauge_pa(engine, [place])
            assert least_pa <= highest < rule.limit_gauge_pa
            # stopped tight, the place comes up to the supply at most: the relief stays shut and nothing passes
            assert share_passing(highest + AMBIENT_PA, highest + AMBIENT_PA, AMBIENT_PA) == 0.0
    assert stoppable_places(engine, least_pa) <= stoppable_places(engine, least_pa / 2.0)
    assert {"outside", "neighbours"}.isdisjoint(stoppable_places(engine, least_pa))


def test_by_default_only_a_rated_cooling_system_is_stopped() -> None:
    assert stoppable_places(FOUR) == {"coolant"}
    assert stoppable_places(replace(FOUR, coolant_cap_pa=None)) == frozenset()
    assert "coolant_cap_kpa" in stop_rules(replace(FOUR, coolant_cap_pa=None))["coolant"].why
    assert stoppable_places(replace(FOUR, coolant_cap_pa=40e3)) == frozenset()
    assert stoppable_places(FOUR, 15e3) == {"coolant", "intake", "exhaust"}
    assert stoppable_places(TWO_STROKE, 4e3) == {"exhaust_port", "crankcase"}
    assert measurable_places(FOUR) == {"intake", "exhaust", "breather", "neighbours"}


def test_the_weakest_of_the_stopped_places_sets_the_supply() -> None:
    assert highest_supply_gauge_pa(FOUR, []) == inf
    assert highest_supply_gauge_pa(FOUR, ["coolant"]) == pytest.approx(99e3)
    assert highest_supply_gauge_pa(FOUR, ["coolant", "intake", "breather"]) == pytest.approx(4.5e3)
    with pytest.raises(ValueError, match="a neighbouring cylinder is never stopped"):
        highest_supply_gauge_pa(FOUR, ["neighbours"])
    with pytest.raises(ValueError, match=r"this engine has no \?crankcase"):
        highest_supply_gauge_pa(FOUR, ["\x1bcrankcase"])


@given(st.floats(0.05, 5.0), st.floats(50e3, 700e3), st.sampled_from(["intake", "exhaust", "breather", "neighbours"]))
def test_behind_its_orifice_a_place_stays_under_its_back_pressure(leak_mm2: float, p_cylinder_pa: float, place: str) -> None:
    rule = stop_rules(FOUR)[place]
    found = orifice_for(rule, leak_mm2 * 1e-6, p_cylinder_pa)
    assert found.most_back_pressure_pa <= 2e3
    assert rule.limit_gauge_pa == 0.0 or found.most_back_pressure_pa <= rule.limit_gauge_pa / 5.0
    detail = {
        "orifice_area_m2": found.least_area_m2,
        "u_orifice_relative": 0.01,
        "p_place_gauge_pa": found.most_back_pressure_pa,
        "u_p_place_pa": 5.0,
        "p_cylinder_gauge_pa": p_cylinder_pa,
    }
    # back pressure feeds back on a leak that is not choked: 2 kPa of 50 kPa
    assert place_flow(place, detail).leak_area_m2 == pytest.approx(leak_mm2 * 1e-6, rel=0.03)


def test_an_orifice_against_bernoulli() -> None:
    # m = A·√(2·ρ·Δp), incompressible, any text on fluid flow; at 1 kPa of back-pressure air differs from that by 1 %
    found = orifice_for(stop_rules(FOUR)["breather"], 0.8e-6, 470e3)
    density = AMBIENT_PA / (287.05 * 293.15)
    flow = 0.0404147 * 0.8e-6 * (470e3 + AMBIENT_PA) / sqrt(293.15)  # choked air, White's constant
    assert found.least_area_m2 == pytest.approx(flow / sqrt(2.0 * density * 1e3), rel=0.01)
    with pytest.raises(ValueError, match="cooling system"):
        orifice_for(stop_rules(FOUR)["coolant"], 0.8e-6, 470e3)


def test_the_dose_of_oil_is_far_from_a_hydraulic_lock() -> None:
    assert wet_dose(FOUR).most_m3 == 5e-6
    small = wet_dose(TWO_STROKE)
    assert small.most_m3 == pytest.approx(1.9e-6)
    assert "1.9 cm³" in small.cautions[0]
    assert "hydraulic lock" in small.cautions[0]
    assert any("turn the engine over twice by hand" in caution for caution in small.cautions)
    assert any("inverted" in when for when in small.misleading_when)
