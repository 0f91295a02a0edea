"""True TDC by piston stop: contacts on both sides, 20 to 120 degrees apart, two pairs that agree, stop removed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from borewright.core.crank import piston_travel_m, stop_middle_late_deg, true_tdc_count
from borewright.core.engine import Engine
from borewright.core.pistonstop import PistonStop
from hypothesis import given
from hypothesis import strategies as st

CPR = 1440


def touched(tdc: float, half_deg: float, sign: int = 1, errors: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)) -> PistonStop:
    """The procedure as a person goes through it: the contact after TDC is reached by turning all the way back."""
    half = half_deg * 4
    stop = PistonStop(1, CPR, sign)
    places = [("before", tdc - sign * half), ("after", tdc + sign * half - sign * CPR)] * 2
    for (side, count), error in zip(places, errors, strict=True):
        stop = stop.take(count + error, side)
    return stop


@given(st.floats(-1e6, 1e6), st.floats(10.5, 59.5), st.sampled_from([1, -1]), st.integers(-50_000, 50_000))
def test_finds_tdc_wherever_the_count_stands(tdc: float, half_deg: float, sign: int, index_count: int):
    stop = touched(tdc, half_deg, sign).stop_out()
    found = stop.result(index_count)
    assert not isinstance(found, str)
    off = (index_count + found.counts_after_index - tdc + CPR / 2) % CPR - CPR / 2
    assert abs(off) < 1e-3
    assert found.spread_deg == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("offset_m", [0.008, -0.008, 0.0])
@pytest.mark.parametrize("sign", [1, -1])
def test_an_offset_pin_does_not_move_true_tdc(offset_m: float, sign: int):
    # contacts where the piston is 6 mm and, the stop having been set anew, 9 mm under its top on both sides; TDC at count 300
    engine = Engine("one", "four-stroke", (1,), (720.0,), 0.086, 0.086, 0.143, 55e-6, pin_offset_m=offset_m)
    angles = np.linspace(0.0, 90.0, 900_001)
    contacts: list[tuple[float, str]] = []
    for depth_m in (0.006, 0.009):
        for side, way in (("before", -1.0), ("after", 1.0)):
            travel = piston_travel_m(way * angles, 0.086, 0.143, offset_m)
            contacts.append((300.0 + sign * way * float(np.interp(depth_m, travel, angles)) * CPR / 360.0, side))
    found = {}
    for known in (engine, None):
        stop = PistonStop(1, CPR, sign, engine=known)
        for count, side in contacts:
            stop = stop.take(count, side)
        assert stop.enough
        result = stop.stop_out().result(0)
        assert not isinstance(result, str)
        found[known] = (result, (result.counts_after_index - 300.0) * sign / CPR * 360.0)
    corrected, off_deg = found[engine]
    assert off_deg == pytest.approx(0.0, abs=1e-4)
    assert corrected.spread_deg == pytest.approx(0.0, abs=1e-4)
    plain, late_deg = found[None]
    apart_deg = [abs(contacts[i + 1][0] - contacts[i][0]) / CPR * 360.0 for i in (0, 2)]
    late = stop_middle_late_deg(apart_deg, 0.086, 0.143, offset_m)
    assert late_deg == pytest.approx(float(np.mean(late)), abs=1e-4)
    # a tenth of the correction is added to the uncertainty (common practice)
    scatter_apart = plain.u_deg**2 if offset_m == 0.0 else (1.0 / math.sqrt(24.0) / 4.0) ** 2
    assert corrected.u_deg**2 == pytest.approx(scatter_apart + (0.1 * late_deg) ** 2, rel=1e-3)


def test_a_middle_across_the_count_wrap_is_not_averaged_to_bdc():
    tdc, _ = true_tdc_count([(1380, 58), (1382, 60)], CPR)
    assert min(tdc, CPR - tdc) < 3


def test_the_pairs_must_agree():
    stop = touched(0.0, 30.0, errors=(0.0, 0.0, 5.0, 0.0))  # mid-points 2.5 counts apart: 0.625 degrees
    assert not stop.enough
    assert stop.step == "contacts"
    assert "0.62" in stop.prompt
    assert isinstance(stop.stop_out().result(0), str)
    good = touched(0.0, 30.0, errors=(0.0, 0.0, 1.0, 1.0))
    assert good.enough
    assert good.spread_deg == pytest.approx(0.25)


def test_one_pair_is_not_enough():
    stop = PistonStop(1, CPR).take(-100, "before").take(100 - CPR, "after")
    assert len(stop.pairs) == 1
    assert not stop.enough


def test_the_stop_has_to_be_out():
    stop = touched(0.0, 30.0)
    assert stop.step == "remove_stop"
    answer = stop.result(0)
    assert isinstance(answer, str)
    assert "removed" in answer
    assert stop.stop_out().step == "done"
    assert stop.stop_out().take(-100.0, "before").step == "remove_stop", "a new contact means that the stop is in again"


@pytest.mark.parametrize(
    ("after_deg", "words"),
    [(15.0, "only 15.0"), (130.0, "130"), (200.0, "200"), (300.0, "mixed up"), (350.0, "mixed up")],
)
def test_contacts_that_cannot_be_right_are_refused(after_deg: float, words: str):
    stop = PistonStop(1, CPR).take(0, "before")
    refused = stop.take(after_deg * 4, "after")
    assert refused.contacts == stop.contacts
    assert refused.refused is not None
    assert words in refused.refused


@pytest.mark.parametrize("after_deg", [20.0, 60.0, 120.0])
def test_the_bounds_themselves_are_allowed(after_deg: float):
    stop = PistonStop(1, CPR).take(0, "before").take(after_deg * 4, "after")
    assert stop.refused is None
    assert len(stop.pairs) == 1


def test_the_same_side_twice_is_refused():
    stop = PistonStop(1, CPR).take(0, "before").take(1, "before")
    assert len(stop.contacts) == 1
    assert stop.refused is not None
    assert stop.take(160, "after").refused is None


def test_beginning_again_keeps_the_set_up():
    stop = PistonStop(3, CPR, -1, 0.4).take(0, "before")
    assert stop.again() == PistonStop(3, CPR, -1, 0.4)


def test_uncertainty_joins_scatter_resolution_and_backlash():
    exact = touched(0.0, 30.0).stop_out().result(0)
    assert not isinstance(exact, str)
    # GUM: one count on each of two sides, rectangular: √2/2/√12 counts [C]
    assert exact.u_deg == pytest.approx(math.sqrt(2) / 2 / math.sqrt(12) / 4)
    slack = PistonStop(1, CPR, 1, backlash_deg=1.2)
    for count, side in ((-120, "before"), (120 - CPR, "after")) * 2:
        slack = slack.take(count, side)  # type: ignore[arg-type]
    played = slack.stop_out().result(0)
    assert not isinstance(played, str)
    assert played.u_deg == pytest.approx(math.hypot(exact.u_deg, 0.6 / math.sqrt(3)))
    assert played.backlash_deg == 1.2


@pytest.mark.parametrize(("contacts", "cpr", "name"), [([], CPR, "stop_contacts"), ([(0, 100)], 3, "counts_per_rev")])
def test_bad_arguments_are_named(contacts: list[tuple[float, float]], cpr: int, name: str):
    with pytest.raises(ValueError, match=name):
        true_tdc_count(contacts, cpr)
