"""What the strip says of each cylinder, from what the record holds."""

from __future__ import annotations

import pickle
from typing import Any

import pytest
from borewright.app.draw.strip_model import StripModel, band_fill, strip_of
from borewright.core.engine import Engine
from borewright.core.limit_sets import Band, LimitSet
from borewright.core.uncertainty import Budget, Item
from borewright.service.judging import judge_stage
from borewright.service.limit_files import find_limits
from borewright.store.records import CaptureRecord

FOUR = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
USUAL = find_limits(None)  # common practice: 10 and 20 %
SIX = LimitSet("six", "own", "our bench", (*(Band(f"b{i}", "-", 5.0 * i) for i in range(1, 6)), Band("b6", "-")))


def capture(number: int, cylinder: int, percent: float = 8.0, *, u: float = 0.1, **changes: Any) -> CaptureRecord:
    """A complete test that reads so much; u None: from before budgets were kept."""
    budget = Budget("leakage", "%", percent, (Item("noise of the readings", u, 40.0, "A"), Item("span", 0.02)))
    usual: dict[str, Any] = {
        "id": number, "job_id": 1, "purpose": "test", "cylinder": cylinder, "state": "complete", "started_at_unix_s": 1e9 + number,
        "ended_at_unix_s": 1e9 + number + 10.0, "void_reason": None, "marks": (), "declared": {},
        "result": {"leakage_percent": percent, "leak_area_mm2": percent / 20.0, "budgets": [budget.as_dict()]},
        "laws": {}, "versions": {}, "readiness": {}, "device_serial": "RIG", "uid": f"{number:032x}",
    }  # fmt: skip
    return CaptureRecord(**(usual | changes))


def strip(*captures: CaptureRecord, limit_set: LimitSet = USUAL, chosen: int | None = None) -> StripModel:
    return strip_of(FOUR, captures, judge_stage(captures, {}, limit_set), chosen)


def test_one_place_per_cylinder_in_firing_order() -> None:
    shown = strip(capture(1, 3), chosen=4)
    assert [place.cylinder for place in shown.places] == [1, 3, 4, 2]
    assert [place.cylinder for place in shown.places if place.chosen] == [4]
    assert [place.figure for place in shown.places] == ["–", "8.0 %", "–", "–"]


def test_a_test_has_its_leakage_its_interval_and_its_band() -> None:
    place = strip(capture(1, 3, 22.0, u=0.3, marks=("not steady",))).places[1]
    assert place.leakage_percent == 22.0
    assert place.expanded_percent == pytest.approx(Budget("l", "%", 22.0, (Item("n", 0.3, 40.0, "A"), Item("s", 0.02))).expanded())
    assert (place.band, place.bands, place.tests, place.marks) == ("open it up", (2,), 1, ("not steady",))
    assert place.remark == "1 mark"


def test_an_interval_over_a_limit_lies_in_both_bands() -> None:
    place = strip(capture(1, 1, 10.05, u=0.1)).places[0]
    assert place.bands == (0, 1)
    assert place.band.startswith("between")


def test_repeats_are_one_number_and_their_count() -> None:
    place = strip(capture(1, 1, 8.0), capture(2, 1, 8.4), capture(3, 3)).places[0]
    assert place.leakage_percent == pytest.approx(8.2)
    assert place.tests == 2
    assert place.expanded_percent is not None
    assert "mean of 2 tests" in place.sentence


def test_tests_that_are_no_repeats_are_not_averaged_and_it_is_said() -> None:
    place = strip(capture(1, 1, 8.0, device_serial="A"), capture(2, 1, 9.0, device_serial="B")).places[0]
    assert place.leakage_percent == 9.0
    assert place.tests == 1
    assert place.marks == ("the latest of 2 tests, which were taken with different rigs",)


def test_a_void_test_says_why_and_never_counts() -> None:
    void = {"state": "void", "void_reason": "it was stopped"}
    first, second, third, _ = strip(capture(1, 1, **void), capture(2, 3, 8.0), capture(3, 3, 50.0, **void), capture(4, 4)).places
    assert (first.figure, first.void, first.band) == ("–", "it was stopped", "")
    assert (second.leakage_percent, second.remark) == (8.0, "last test void: it was stopped")
    assert third.void == ""
    assert "the last test is void: it was stopped" in second.sentence


def test_a_void_test_before_a_good_one_is_over() -> None:
    place = strip(capture(1, 1, state="void", void_reason="it was stopped"), capture(2, 1)).places[0]
    assert place.void == ""


def test_a_test_that_was_broken_off_is_void_without_a_reason_of_its_own() -> None:
    assert strip(capture(1, 1, state="crashed", result=None)).places[0].void == "it was broken off"


def test_a_test_under_way_is_none_yet() -> None:
    assert strip(capture(1, 1, state="running", result=None)).places[0].sentence == "Cylinder 1: not tested."


def test_tests_at_places_and_deleted_ones_are_left_out() -> None:
    shown = strip(capture(1, 1, 40.0, purpose="stop_off"), capture(2, 1, 8.0), capture(3, 1, 60.0, deleted_at_unix_s=1.0))
    assert (shown.places[0].leakage_percent, shown.places[0].tests) == (8.0, 1)


def test_a_declared_reading_is_said_to_be_one_and_gives_way_to_a_test() -> None:
    declared = {"device_serial": "", "declared": {"reading": "by Ada"}}
    alone = strip(capture(1, 1, 12.0, **declared)).places[0]
    assert alone.declared
    assert alone.remark == "declared"
    assert "declared, not measured" in alone.sentence
    beside = strip(capture(1, 1, 12.0, **declared), capture(2, 1, 8.0)).places[0]
    assert (beside.leakage_percent, beside.declared) == (8.0, False)
    assert beside.marks == ("the declared reading (test 1) is not used: the cylinder was tested",)


def test_without_a_budget_the_interval_is_not_made_up() -> None:
    place = strip(capture(1, 1, result={"leakage_percent": 12.0})).places[0]
    assert (place.expanded_percent, place.interval) == (None, "± not known")
    assert place.band == '"use it, and test it again in time", if the reading is right'


def test_a_test_without_a_leakage_leaves_the_place_open() -> None:
    assert strip(capture(1, 1, result={"leakage_percent": None})).places[0].leakage_percent is None


@pytest.mark.parametrize(("percent", "scale"), [(8.0, 30.0), (31.0, 60.0), (60.5, 100.0), (99.0, 100.0)])
def test_all_places_share_a_scale_that_holds_the_highest(percent: float, scale: float) -> None:
    shown = strip(capture(1, 1, 5.0), capture(2, 3, percent))
    assert shown.scale_percent == scale
    assert shown.limits_percent == (10.0, 20.0)


def test_limits_beyond_the_scale_are_not_on_it() -> None:
    far = LimitSet("far", "own", "our bench", (Band("low", "-", 15.0), Band("mid", "-", 40.0), Band("high", "-")))
    shown = strip(capture(1, 1, 5.0), limit_set=far)
    assert (shown.limits_percent, shown.bands) == ((15.0,), 3)


def test_more_bands_than_fills_keep_their_order() -> None:
    fills = [band_fill(rank, len(SIX.bands)) for rank in range(len(SIX.bands))]
    assert fills == sorted(fills)
    assert (fills[0], fills[-1]) == (0, 3)


def test_the_whole_strip_is_said_and_goes_to_another_process() -> None:
    shown = strip(capture(1, 1, 8.0), capture(2, 3, 22.0))
    assert shown.sentence.startswith("Cylinders in firing order, judged by common practice. Cylinder 1: leakage 8.0 %")
    assert pickle.loads(pickle.dumps(shown)) == shown


def test_without_an_engine_there_is_no_place() -> None:
    assert strip_of(None, [], judge_stage([], {}, USUAL), None).places == ()
