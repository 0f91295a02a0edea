"""What the cycle ring shows of the bench's state: what is known, and no more."""

from __future__ import annotations

import pickle
from dataclasses import replace
from itertools import pairwise

import pytest
from borewright.app.draw.ring_model import FINE_DEG, RingModel, fine_share, opened, ring_of, spread_apart
from borewright.core.conditions import CONDITION_NAMES, Condition
from borewright.core.engine import Engine
from borewright.core.evidence import SqueezeWatch, StrokeEvidence
from borewright.core.motion import CrankTracker
from borewright.core.readiness import Readiness
from borewright.core.readiness_table import State
from borewright.core.rig import TrueTdc
from borewright.service import acts
from borewright.service.state import BenchState, Confirmed, Reading
from borewright.session.session import Session
from hypothesis import given
from hypothesis import strategies as st

FOUR = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
TWO_STROKE = Engine("saw", "two-stroke", (1, 2), (180.0, 180.0), 0.05, 0.04, 0.08, 8e-6, running_direction="anticlockwise")
COUNTS = 3600  # ten to a degree
CRANK = CrankTracker(counts_per_rev=COUNTS, last_count=0, last_tick=0, index_count=0, index_spacing_ok=True)


def state(crank_deg: float = 0.0, *unmet: str, **changes: object) -> BenchState:
    """A bench at cylinder 3, so far after compression TDC of cylinder 1, with that stroke shown."""
    boot_id = Session(0.0).boot_id
    usual = BenchState(
        Session(0.0),
        engine=FOUR,
        purpose=acts.Purpose("test", 3),
        crank=replace(CRANK, last_count=round(crank_deg * COUNTS / 360.0), index_count=round(crank_deg / 360.0) * COUNTS),
        tdc=TrueTdc(0.0, 1, 0.0, "piston_stop"),
        fitting_confirmed=True,
        hose=acts.PlaceHose("cylinder", 3),
        stroke=StrokeEvidence("squeeze", 3, COUNTS / 2, boot_id, 0.0),  # type: ignore[arg-type]
        holding_torque_nm=60.0,
        reading=Reading(100.0, 0.0, 0.0, 0.0),
        conditions=tuple(Condition(name, name not in unmet, f"because of {name}", "Mend it.") for name in CONDITION_NAMES),
    )
    return replace(usual, **changes)  # type: ignore[arg-type]


# ---------------------------------------------------------------------- where everything stands


def test_the_chosen_cylinder_stands_at_the_top_and_the_others_in_the_firing_order() -> None:
    ring = ring_of(state(90.0, "position"))
    assert [(mark.cylinder, ring.on_ring_deg(mark.at_deg), mark.chosen) for mark in ring.marks] == [
        (1, 270.0, False),
        (3, 0.0, True),
        (4, 90.0, False),
        (2, 180.0, False),
    ]
    assert ring.overlap_of == 3
    assert ring.clockwise


def test_an_engine_that_runs_the_other_way_goes_round_the_other_way() -> None:
    ring = ring_of(state(engine=replace(FOUR, running_direction="anticlockwise")))
    assert ring.on_ring_deg(ring.marks[2].at_deg) == 270.0  # the one after the chosen one


def test_a_two_stroke_has_one_turn_and_no_overlap() -> None:
    ring = ring_of(state(100.0, "position", engine=TWO_STROKE, purpose=acts.Purpose("test", 2), stroke=None))
    assert (ring.cycle_deg, ring.overlap_of) == (360.0, None)
    assert ring.pointers_deg == (pytest.approx(100.0),)
    assert ring.off_deg == pytest.approx(-80.0)


def test_uneven_firing_stands_where_it_fires() -> None:
    twin = replace(FOUR, firing_order=(1, 2), firing_intervals_deg=(270.0, 450.0))
    ring = ring_of(state(engine=twin, purpose=acts.Purpose("test", 1), stroke=None))
    assert [ring.on_ring_deg(mark.at_deg) for mark in ring.marks] == [0.0, 135.0]


# ---------------------------------------------------------------------- where the crank stands


def test_with_the_stroke_shown_there_is_one_place() -> None:
    ring = ring_of(state(90.0, "position"))
    assert ring.pointers_deg == (pytest.approx(90.0),)
    assert ring.off_deg == pytest.approx(-90.0)
    assert ring.saying.figure == "90°"


def test_without_the_stroke_there_are_both_places() -> None:
    ring = ring_of(state(90.0, "stroke_and_hose", stroke=None))
    assert ring.pointers_deg == (pytest.approx(90.0), pytest.approx(450.0))
    assert ring.off_deg is None
    assert ring.saying.above == "Stroke not shown yet"
    assert "90° or 450° after compression TDC of cylinder 1" in ring.sentence


def test_a_squeeze_that_rose_at_both_says_nothing_of_where_the_others_are() -> None:
    shown = state(90.0).stroke
    assert shown is not None
    assert len(ring_of(state(90.0, stroke=replace(shown, either_tdc=True))).pointers_deg) == 2
    bare = replace(FOUR, valve_gear="not_fitted", assembly="short_block")  # there either TDC is as good for all of them
    assert len(ring_of(state(90.0, stroke=replace(shown, either_tdc=True), engine=bare)).pointers_deg) == 1


@pytest.mark.parametrize(
    "crank",
    [
        None,
        replace(CRANK, index_count=None),
        replace(CRANK, index_spacing_ok=False),
        replace(CRANK, last_count=COUNTS * 2),  # an index pulse should have come
    ],
    ids=["none", "no index", "counts lost", "index missed"],
)
def test_what_nobody_knows_is_not_shown(crank: CrankTracker | None) -> None:
    ring = ring_of(state(0.0, "reference", crank=crank, stroke=None))
    assert ring.pointers_deg == ()
    assert ring.off_deg is None


def test_after_the_link_was_lost_nothing_old_is_shown_as_if_it_were_now() -> None:
    ring = ring_of(state(179.0, "link", lost="the rig has been silent"))
    assert (ring.pointers_deg, ring.off_deg, ring.opening) == ((), None, 0.0)
    assert ring.saying.above == "No link to the rig"


def test_without_an_engine_there_is_none() -> None:
    assert ring_of(state(engine=None)) == RingModel()


# ---------------------------------------------------------------------- the way there


def test_the_way_is_that_of_the_guide() -> None:
    ring = ring_of(state(90.0, "position"))
    assert ring.turn_deg == pytest.approx(90.0)
    assert (ring.saying.mood, ring.saying.above, ring.saying.figure) == ("turn", "Turn on", "90°")
    assert ring.saying.below == "clockwise, to compression TDC"
    assert "Turn on: 90° clockwise, to compression TDC." in ring.sentence


def test_past_it_the_way_is_back_first() -> None:
    ring = ring_of(state(184.0, "position"))
    assert ring.turn_deg == pytest.approx(-189.0)
    assert (ring.saying.above, ring.saying.below) == ("Turn back", "anticlockwise, then up again")
    assert ring.off_deg == pytest.approx(4.0)


def test_the_index_is_looked_for_by_a_way_without_a_place() -> None:
    ring = ring_of(state(0.0, "reference", crank=replace(CRANK, index_count=None), stroke=None))
    assert (ring.saying.above, ring.saying.below) == ("Turn on", "clockwise, to the index pulse")
    assert ring.turn_deg is not None


def test_the_stored_tdc_is_held_against_the_crank_with_tenths() -> None:
    ring = ring_of(state(-14.34, "reference", fitting_confirmed=False, stroke=None))
    assert (ring.fine_of, ring.off_deg, ring.window_deg) == (1, pytest.approx(-14.3), None)
    assert ring.top_deg == 0.0
    assert (ring.saying.figure, ring.saying.below) == ("14.3°", "clockwise, to the stored TDC")
    assert "compression TDC." not in ring.sentence  # on which stroke it is nobody knows
    at_it = ring_of(state(0.0, "reference", fitting_confirmed=False, stroke=None))
    assert (at_it.saying.above, at_it.saying.figure) == ("At the stored TDC", "0.0°")


def test_inside_the_window_it_says_so() -> None:
    ring = ring_of(state(179.6, "people"))
    assert ring.inside
    assert (ring.saying.mood, ring.saying.figure, ring.saying.below) == ("at_tdc", "0.4°", "before compression TDC")
    assert ring.window_deg == pytest.approx(1.5)  # design.md, section 6, condition 5: the smaller of ±1.5° and what torque allows
    assert not ring_of(state(181.6, "position")).inside


def test_the_window_is_as_narrow_as_the_torque_wants_it() -> None:
    ring = ring_of(state(179.0, "people", torque_window_deg=0.6))
    assert ring.window_deg == pytest.approx(0.6)
    assert not ring.inside


# ---------------------------------------------------------------------- air


@pytest.mark.parametrize(
    ("at", "below"),
    [
        (State.PUFFING, "a short puff"),
        (State.FILLING, "air is on"),
        (State.HOLDING, "air stays on: look and listen"),
        (State.ISOLATED, "supply shut, bleeding away"),
        (State.VENTING, "venting"),
    ],
)
def test_pressurised_stands_before_everything(at: State, below: str) -> None:
    ring = ring_of(state(180.2, readiness=Readiness(state=at)))
    assert (ring.saying.mood, ring.saying.above, ring.saying.below) == ("pressurised", "PRESSURISED", below)
    assert ring.saying.figure == "0.2°"
    assert ring.turn_deg is None
    assert "PRESSURISED" in ring.sentence


def test_pressurised_is_said_without_an_engine_and_without_a_link() -> None:
    air = Readiness(state=State.FILLING)
    assert ring_of(state(engine=None, readiness=air)).saying.above == "PRESSURISED"
    assert ring_of(state(180.0, "link", lost="silent", readiness=air)).saying == replace(
        ring_of(state(180.0, readiness=air)).saying, figure=""
    )


def test_squeeze_armed_and_ready_are_said() -> None:
    squeezing = state(20.0, "stroke_and_hose", stroke=None, readiness=Readiness(state=State.SQUEEZING))
    assert ring_of(squeezing).saying.below == "stop turning, open the vent"
    watch = SqueezeWatch.begin(FOUR, 3, 0.0, COUNTS)
    assert ring_of(replace(squeezing, squeeze=watch)).saying.below == "keep turning, steadily"
    confirmed = Confirmed(frozenset(), 99.0, 1800)
    ready = ring_of(state(180.0, readiness=Readiness(state=State.READY), confirmed=confirmed))
    assert (ready.saying.mood, ready.saying.above) == ("ready", "Ready for air")
    assert ring_of(state(180.0, readiness=Readiness(state=State.ARMED))).saying.above == "Air is coming"


# ---------------------------------------------------------------------- the arc and the labels


def test_the_arc_opens_steadily_and_only_nearby() -> None:
    steps = [opened(deg) for deg in (40.0, FINE_DEG, 17.0, 15.0, 13.0, 12.0, 0.0)]
    assert steps[:2] == [0.0, 0.0]
    assert steps[-2:] == [1.0, 1.0]
    assert all(before <= after for before, after in pairwise(steps))


def test_a_degree_and_a_half_can_be_seen() -> None:
    # 76 degrees of the picture to each side, at 29 hundredths of its width: more than a twelfth of the width for 1.5 degrees
    assert fine_share(1.5) * 76.0 / 57.3 * 0.29 > 1.0 / 12.0
    assert fine_share(-1.5) == -fine_share(1.5)


@given(
    st.lists(st.floats(0.0, 359.9), min_size=1, max_size=12, unique=True),
    st.floats(1.0, 29.9),
)
def test_labels_keep_apart_and_in_order(angles: list[float], least: float) -> None:
    placed = spread_apart(angles, least)
    around = sorted(angle % 360.0 for angle in placed)
    gaps = [after - before for before, after in pairwise([*around, around[0] + 360.0])]
    assert len(angles) == 1 or min(gaps) >= least - 1e-6
    order = [i for _, i in sorted((angle, i) for i, angle in enumerate(angles))]
    moved = [i for _, i in sorted((angle % 360.0, i) for i, angle in enumerate(placed))]
    at = moved.index(order[0])
    assert moved[at:] + moved[:at] == order


def test_labels_with_room_stay_where_they_are() -> None:
    assert spread_apart([350.0, 30.0, 170.0], 30.0) == [350.0, 30.0, 170.0]


def test_the_model_goes_to_another_process() -> None:
    ring = ring_of(state(90.0, "position"))
    assert pickle.loads(pickle.dumps(ring)) == ring
