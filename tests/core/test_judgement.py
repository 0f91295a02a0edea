"""Judging a reading: never a bare band across a limit, the spread of a stage, and questions about odd readings."""

from __future__ import annotations

from dataclasses import replace
from math import hypot, inf, nan

import pytest
from borewright.core.engine import Engine, ValveEvents
from borewright.core.judgement import judge, spread
from borewright.core.limit_sets import Band, Circumstances, HeardAt, LimitSet, Procedure
from borewright.core.sanity import before_opening, open_valves, questions_of
from hypothesis import given
from hypothesis import strategies as st

SHOP = LimitSet(
    "shop",
    "own",
    "our own engines",
    (Band("hand it over", "tight", 8.0), Band("run it in", "settles", 15.0), Band("strip it", "leaks")),
    (5.0, 10.0),
    Procedure("as we do it", "not as we do it", 500_000.0, 5_000.0, assumed=("the gauge was read by eye",)),
    "Ours only.",
)
NAMES = [band.name for band in SHOP.bands]
FOUR = Engine("larch", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.0815, 0.0766, 0.134, 40e-6)


@pytest.mark.parametrize(
    ("leakage", "expanded", "band"),
    [
        (5.0, 0.5, "hand it over"),
        (-0.1, 0.1, "hand it over"),
        (7.9, 0.1, "hand it over"),
        (7.9, 0.2, 'between "hand it over" and "run it in"'),
        (8.1, 0.1, 'between "hand it over" and "run it in"'),  # a limit belongs to the band under it, and 8.0 is reached
        (12.0, 5.0, 'between "hand it over" and "strip it"'),
        (100.0, 0.2, "strip it"),
    ],
)
def test_a_reading_is_in_one_band_or_between_those_that_it_reaches(leakage: float, expanded: float, band: str) -> None:
    judgement = judge(leakage, expanded, SHOP)
    assert judgement.band == band
    assert judgement.certain is (len(judgement.between) == 1)
    assert judgement.words.startswith(band)


def test_the_words_name_the_limits_that_are_reached() -> None:
    assert "over the limit of 8 % and 15 %; test again" in judge(12.0, 5.0, SHOP).words
    assert "over the limit of 8 %; test again" in judge(8.0, 0.3, SHOP).words
    assert judge(2.0, 0.3, SHOP).words == "hand it over: tight"


def test_without_a_known_uncertainty_no_band_is_certain() -> None:
    judgement = judge(2.0, None, SHOP)
    assert not judgement.certain
    assert judgement.between == ("hand it over",)
    assert judgement.band == '"hand it over", if the reading is right'
    assert "its uncertainty is not known" in judgement.words


@given(st.floats(-1.0, 101.0), st.floats(0.0, 60.0))
def test_certain_means_that_the_whole_interval_lies_in_the_named_band(leakage: float, expanded: float) -> None:
    judgement = judge(leakage, expanded, SHOP)
    reached = {SHOP.band_of(leakage + share * expanded).name for share in (-1.0, -0.5, 0.0, 0.5, 1.0)}
    assert reached <= set(judgement.between)
    assert judgement.certain is (len(judgement.between) == 1)
    if judgement.certain:
        assert reached == {judgement.band}
    else:
        assert judgement.band not in NAMES
    assert list(judgement.between) == [name for name in NAMES if name in judgement.between]


@given(st.floats(0.0, 100.0), st.floats(0.0, 5.0), st.floats(0.0, 5.0))
def test_a_wider_interval_never_becomes_certain(leakage: float, expanded: float, more: float) -> None:
    assert judge(leakage, expanded, SHOP).certain or not judge(leakage, expanded + more, SHOP).certain


def test_set_source_and_caution_go_with_every_judgement() -> None:
    judgement = judge(2.0, 0.1, SHOP)
    assert (judgement.limit_set, judgement.kind, judgement.source, judgement.caution) == (
        "shop",
        "own",
        "our own engines",
        "Ours only.",
    )


def test_a_test_is_called_by_the_procedure_only_where_it_was_made_so() -> None:
    assert judge(2.0, 0.1, SHOP, Circumstances(499_000.0)).called == "as we do it (assumed: the gauge was read by eye)"
    other = judge(2.0, 0.1, SHOP, Circumstances(400_000.0)).called
    assert other.startswith("not as we do it: the regulated pressure under flow was 400.0 kPa")
    assert judge(2.0, 0.1, replace(SHOP, procedure=None)).called == ""


@pytest.mark.parametrize("leakage", [nan, inf])
def test_a_leakage_that_is_no_number_is_refused(leakage: float) -> None:
    with pytest.raises(ValueError, match="leakage_percent"):
        judge(leakage, 0.1, SHOP)


@pytest.mark.parametrize("expanded", [-0.1, nan, inf])
def test_an_uncertainty_that_cannot_be_is_refused(expanded: float) -> None:
    with pytest.raises(ValueError, match="expanded_percent"):
        judge(5.0, expanded, SHOP)


# ---------------------------------------------------------------------- between cylinders (5 to 10 %: common practice)


@pytest.mark.parametrize(
    ("leakages", "begins", "certain"),
    [
        ({1: 6.0, 2: 8.0, 3: 7.0}, "even: 2.0 percentage points between cylinder 2 and cylinder 1", True),
        ({1: 6.0, 2: 13.0}, "as usual: 7.0 percentage points", True),
        ({1: 6.0, 2: 31.0}, "uneven: 25.0 percentage points between cylinder 2 and cylinder 1, more than 5 to 10", True),
        ({1: 6.0, 2: 11.2}, "5.2 percentage points between cylinder 2 and cylinder 1, too near to 5 to tell", False),
        ({1: 6.0, 2: 16.0}, "10.0 percentage points between cylinder 2 and cylinder 1, too near to 10 to tell", False),
    ],
)
def test_the_spread_of_a_stage(leakages: dict[int, float], begins: str, certain: bool) -> None:
    found = spread(leakages, SHOP, dict.fromkeys(leakages, 0.3))
    assert found is not None
    assert found.words.startswith(begins)
    assert found.certain is certain
    assert found.expanded_percent == pytest.approx(hypot(0.3, 0.3))
    assert found.source == SHOP.source


def test_a_spread_without_known_uncertainty_is_not_certain() -> None:
    found = spread({1: 6.0, 2: 31.0}, SHOP, {1: 0.3})
    assert found is not None
    assert (found.certain, found.expanded_percent, found.highest_cylinder, found.lowest_cylinder) == (False, None, 2, 1)


def test_where_there_is_no_spread() -> None:
    assert spread({1: 6.0}, SHOP) is None
    assert spread({}, SHOP) is None
    assert spread({1: 6.0, 2: 31.0}, replace(SHOP, spread_percent=None)) is None
    with pytest.raises(ValueError, match="leakages_percent"):
        spread({1: 6.0, 2: nan}, SHOP)


# ---------------------------------------------------------------------- odd readings, both ways (common practice)


def test_nearly_everything_gets_out() -> None:
    asked = " ".join(questions_of(97.0, 0.2, Circumstances()))
    for word in ("right TDC", "right hole", "decompression", "valve clearance", "adapter"):
        assert word in asked
    assert "automatic decompression device" in " ".join(questions_of(97.0, 0.2, Circumstances(decompression="automatic")))
    assert "device released" in " ".join(questions_of(97.0, 0.2, Circumstances(decompression="manual")))


@pytest.mark.parametrize(
    ("found", "asks"),
    [
        (Circumstances(trapped_volume_m3=35e-6, hose_volume_m3=34e-6, clearance_m3=45e-6), True),
        (Circumstances(trapped_volume_m3=35e-6, hose_volume_m3=34e-6), True),
        (Circumstances(trapped_volume_m3=79e-6, hose_volume_m3=34e-6, clearance_m3=45e-6), False),
        (Circumstances(trapped_volume_m3=50e-6, hose_volume_m3=34e-6, clearance_m3=45e-6), False),
        (Circumstances(trapped_volume_m3=50e-6, expanded_trapped_volume_m3=6e-6, hose_volume_m3=34e-6, clearance_m3=45e-6), True),
        (Circumstances(squeeze_held=True), True),
        (Circumstances(), False),
        (Circumstances(trapped_volume_m3=35e-6), False),
    ],
)
def test_nearly_nothing_gets_out_is_asked_about_where_the_cylinder_was_not_reached(found: Circumstances, asks: bool) -> None:
    asked = questions_of(0.1, 0.2, found)
    assert bool(asked) is asks
    if asks:
        assert "check valve" in asked[0]
        assert "capped" in asked[1]
        assert "plugged" in asked[1]


def test_nothing_is_asked_about_a_usual_reading_even_of_a_small_volume() -> None:
    assert questions_of(12.0, 0.2, Circumstances(trapped_volume_m3=35e-6, hose_volume_m3=34e-6, squeeze_held=True)) == ()


@pytest.mark.parametrize(
    ("open_now", "words"),
    [
        (("intake",), "its intake valve stands open now"),
        (("intake", "exhaust"), "its intake and exhaust valves stand open now"),
        ((), "its valves are shut now; does it come through the gasket"),
        (None, "does one of its valves stand open now"),
    ],
)
def test_air_at_a_neighbour_asks_for_its_valves_before_the_gasket(open_now: tuple[str, ...] | None, words: str) -> None:
    (question,) = judge(12.0, 0.2, SHOP, Circumstances(heard_at=(HeardAt(3, open_now),))).questions
    assert question.startswith("Air at cylinder 3: ")
    assert words in question


def test_which_valves_of_the_others_stand_open() -> None:
    """Inline-four, 1-3-4-2: at compression TDC of 1, 3 ends its intake stroke, 4 is at overlap, 2 ends its power stroke."""
    assert open_valves(FOUR, 1, 1) == ()
    assert open_valves(FOUR, 1, 3) == ("intake",)
    assert open_valves(FOUR, 1, 4) == ("intake", "exhaust")
    assert open_valves(FOUR, 1, 2) == ("exhaust",)
    no_overlap = replace(FOUR, valve_events=ValveEvents(-5.0, 40.0, 40.0, -5.0))
    assert open_valves(no_overlap, 1, 4) == ()
    assert open_valves(replace(FOUR, valve_gear="not_fitted"), 1, 3) == ()
    twin = Engine("twin", "two-stroke", (1, 2), (180.0, 180.0), 0.05, 0.05, 0.1, 8e-6)
    assert open_valves(twin, 1, 2) == ()
    with pytest.raises(ValueError, match="cylinder 7"):
        open_valves(FOUR, 1, 7)


def test_before_an_engine_is_opened_the_adapter_is_asked_for_and_the_reading_is_believed_all_the_same() -> None:
    assert before_opening(19.9) == ()
    (asked,) = before_opening(20.0)
    assert "adapter" in asked
    assert "soapy water" in asked
    assert questions_of(20.0, 0.2, Circumstances()) == ()
    assert before_opening(95.0) == ()
    assert any("adapter tight" in one for one in questions_of(95.0, 0.2, Circumstances()))

