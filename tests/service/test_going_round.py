"""Going round the engine: the order, what is made again and why, where it goes on, and the marks of a hot test."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from borewright.core.engine import Engine
from borewright.core.evidence import StrokeEvidence
from borewright.core.motion import CrankTracker
from borewright.core.uncertainty import Budget, Item
from borewright.service.going_round import Visit, crank_angle_deg, hot_marks, next_visit, progress, visit_words
from borewright.service.limit_files import find_limits
from borewright.service.state import BenchState
from borewright.session.session import Session
from borewright.store.records import CaptureRecord
from hypothesis import given, settings
from hypothesis import strategies as st

DOCUMENT: dict[str, Any] = {
    "schema_version": 1,
    "name": "demo four",
    "cycle": "four-stroke",
    "firing_order": [1, 3, 4, 2],
    "running_direction": "clockwise",
    "bore_mm": 86.0,
    "stroke_mm": 86.0,
    "rod_mm": 143.0,
    "compression_ratio": 10.0,
    "cooling": "liquid",
}
FOUR = Engine("demo four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
UNEVEN = Engine("demo twin", "four-stroke", (1, 2), (270.0, 450.0), 0.086, 0.086, 0.143, 55e-6)
USUAL = find_limits(None, DOCUMENT)  # freshly built up to 10 %, serviceable up to 20 %; spread 5 to 10 points


def capture(number: int, cylinder: int, percent: float = 8.0, *, u: float = 0.1, **changes: Any) -> CaptureRecord:
    """A complete test that reads so much."""
    budget = Budget("leakage", "%", percent, (Item("noise of the readings", u, 40.0, "A"), Item("span", 0.02)))
    result = {"leakage_percent": percent, "leak_area_mm2": percent / 20.0, "budgets": [budget.as_dict()]}
    usual: dict[str, Any] = {
        "id": number, "job_id": 1, "purpose": "test", "cylinder": cylinder, "state": "complete", "started_at_unix_s": 1e9 + number,
        "ended_at_unix_s": 1e9 + number + 10.0, "void_reason": None, "marks": (), "declared": {}, "result": result, "laws": {},
        "versions": {}, "readiness": {}, "device_serial": "RIG", "uid": f"{number:032x}",
    }  # fmt: skip
    return CaptureRecord(**(usual | changes))


def void(number: int, cylinder: int, reason: str = "it was stopped") -> CaptureRecord:
    return capture(number, cylinder, state="void", void_reason=reason)


def following(captures: list[CaptureRecord], **options: Any) -> Visit | None:
    return next_visit(FOUR, DOCUMENT, captures, USUAL, **options)


def everyone(*percents: float, **changes: Any) -> list[CaptureRecord]:
    """One test of each cylinder, in firing order."""
    return [capture(number + 1, FOUR.firing_order[number], percent, **changes) for number, percent in enumerate(percents)]


# ---------------------------------------------------------------------- the order


@pytest.mark.parametrize(("angle_deg", "cylinder", "ahead_deg"), [(20.0, 3, 160.0), (359.0, 2, 181.0), (600.0, 1, 120.0)])
def test_the_nearest_ahead_in_the_running_direction_comes_first(angle_deg: float, cylinder: int, ahead_deg: float) -> None:
    visit = following([], angle_deg=angle_deg)
    assert visit is not None
    assert (visit.cylinder, visit.turn_deg) == (cylinder, pytest.approx(ahead_deg))


def test_uneven_firing_turns_by_its_own_intervals() -> None:
    turns = [next_visit(UNEVEN, DOCUMENT, [capture(1, done)], USUAL, angle_deg=at) for done, at in ((1, 0.5), (2, 270.5))]
    assert [(visit.cylinder, visit.turn_deg) for visit in turns if visit is not None] == [(2, 269.5), (1, 449.5)]


def test_while_nobody_knows_where_the_crank_stands_the_firing_order_begins() -> None:
    visit = following([])
    assert visit == Visit(1, "first")


@given(done=st.permutations([1, 3, 4, 2]), start_deg=st.floats(0.0, 719.0))
@settings(max_examples=60, deadline=None)
def test_one_round_visits_each_once_within_two_turns(done: list[int], start_deg: float) -> None:
    captures, angle_deg, turned_deg, seen = [capture(1, done[0])], start_deg, 0.0, []
    while (visit := following(captures, angle_deg=angle_deg)) is not None and visit.kind == "first":
        assert visit.turn_deg is not None
        turned_deg += visit.turn_deg
        angle_deg = FOUR.firing_angle_deg(visit.cylinder)
        seen.append(visit.cylinder)
        captures.append(capture(len(captures) + 1, visit.cylinder))
    assert sorted([*seen, done[0]]) == [1, 2, 3, 4]
    assert turned_deg <= 730.0 + 1e-6  # one where the crank stands already comes last


def test_it_goes_on_where_it_was_broken_off_and_a_void_test_comes_again_with_its_reason() -> None:
    captures = [capture(1, 1), void(2, 3, "the crank left its window while air was on"), capture(3, 4)]
    assert progress(FOUR, captures).words() == (
        "tested 2 of 4: cylinder 1, 4; still to come: 3 (void: the crank left its window while air was on), 2"
    )
    visit = following(captures)
    assert visit is not None
    assert (visit.cylinder, visit.kind) == (3, "void")
    assert "crank left its window" in visit.reason
    assert following([*captures, capture(4, 3)]) == Visit(2, "first")


def test_what_was_declared_a_stop_off_test_and_a_check_of_the_rig_are_no_test_of_a_cylinder() -> None:
    others = [
        capture(1, 1, device_serial="", declared={"by": "Ada"}),
        capture(2, 1, purpose="stop_off"),
        capture(3, 0, purpose="sealed"),
    ]
    assert progress(FOUR, others).missing == FOUR.firing_order


def test_only_the_cylinders_that_were_asked_for_and_as_often() -> None:
    captures = [capture(1, 2), capture(2, 4)]
    visit = following(captures, cylinders=(2, 4), repeats=2)
    assert visit is not None
    assert (visit.cylinder, visit.kind, visit.reason) == (4, "planned", "test 2 of the 2 that were asked for")
    assert following([*captures, capture(3, 2), capture(4, 4)], cylinders=(2, 4), repeats=2) is None


def test_a_cylinder_that_was_left_out_comes_no_more() -> None:
    visit = following([], left={(1, 0)})
    assert visit is not None
    assert visit.cylinder == 3
    assert following([], left={(cylinder, 0) for cylinder in FOUR.firing_order}) is None


# ---------------------------------------------------------------------- what is suggested


def test_nothing_is_suggested_where_nothing_is_odd() -> None:
    assert following(everyone(7.0, 7.5, 8.0, 7.2)) is None


@pytest.mark.parametrize(
    ("captures", "cylinders", "words"),
    [
        ([*everyone(7.0, 7.5, 8.0), capture(4, 2, 7.2, marks=("not steady: 2.1 s were read",))], {2}, "not steady"),
        ([*everyone(7.0, 7.5, 8.0), capture(4, 2, marks=("contradiction: a capped hose",))], {2}, "a capped hose"),
        (everyone(7.0, 7.5, 8.0, 9.95), {2}, "reaches over the limit of 10 %"),
        (everyone(7.0, 30.0, 8.0, 7.2), {1, 3}, "uneven"),
        ([*everyone(7.0, 7.5, 8.0, 7.2), capture(5, 2, 9.5)], {2}, "scatter more"),
    ],
)
def test_a_repeat_is_suggested_with_its_reason(captures: list[CaptureRecord], cylinders: set[int], words: str) -> None:
    suggested: dict[int, str] = {}
    left: set[tuple[int, int]] = set()
    while (visit := following(captures, left=left)) is not None:
        assert visit.kind == "suggested"
        suggested[visit.cylinder] = visit.reason
        left.add(visit.left_as)
    assert set(suggested) == cylinders
    assert all(words in reason for reason in suggested.values())


def test_a_later_comparison_asks_for_two_repeats_and_no_more() -> None:
    captures = everyone(7.0, 7.5, 8.0, 7.2)
    made = 0
    while (visit := following(captures, compares=True)) is not None:
        assert "comparison of before and after" in visit.reason
        made += 1
        reads = next(one.result["leakage_percent"] for one in captures if one.cylinder == visit.cylinder and one.result is not None)
        captures.append(capture(len(captures) + 1, visit.cylinder, reads + 0.05))
    assert made == 2


@given(percents=st.lists(st.floats(1.0, 60.0), min_size=12, max_size=12))
@settings(max_examples=40, deadline=None)
def test_suggestions_come_to_an_end(percents: list[float]) -> None:
    captures: list[CaptureRecord] = []
    for _ in range(25):
        visit = following(captures, compares=True)
        if visit is None:
            break
        captures.append(capture(len(captures) + 1, visit.cylinder, percents[len(captures) % 12]))
    assert following(captures, compares=True) is None
    assert max(progress(FOUR, captures).tests.values()) <= 4


def test_a_repeat_where_the_crank_stands_asks_for_it_to_be_turned_over() -> None:
    visit = following([*everyone(7.0, 7.5, 8.0), capture(4, 2, marks=("not steady",))], angle_deg=540.3)
    assert visit is not None
    assert (visit.cylinder, visit.here, visit.turn_over) == (2, True, True)
    assert "turned over once" in visit_words(visit, FOUR)


# ---------------------------------------------------------------------- where the crank stands


@pytest.mark.parametrize("sign", [1, -1])
def test_the_angle_of_the_crank_comes_from_the_stroke_that_was_shown(sign: int) -> None:
    state = BenchState(Session(0.0), engine=FOUR, crank=CrankTracker(counts_per_rev=3600, last_count=sign * 900, last_tick=0))
    assert crank_angle_deg(state) is None
    shown = replace(state, stroke=StrokeEvidence("squeeze", 3, 0.0, state.session.boot_id, 0.0))  # type: ignore[arg-type]
    shown = replace(shown, setup=replace(shown.setup, running_sign=sign))  # type: ignore[arg-type]
    assert crank_angle_deg(shown) == pytest.approx(270.0)
    assert crank_angle_deg(replace(shown, stroke=StrokeEvidence("squeeze", 3, 0.0, 77, 0.0))) is None


# ---------------------------------------------------------------------- a hot test


def test_a_hot_test_is_marked_rather_than_refused() -> None:
    assert hot_marks(None, 0.0) == ("a hot test was wanted and the engine's temperature was not given",)
    assert hot_marks(355.0, 899.0) == ()
    assert hot_marks(355.0, 1500.0) == ("the engine's temperature was read 25 minutes before the test",)
    assert len(hot_marks(300.0, 1500.0)) == 2
