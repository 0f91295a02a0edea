"""The guide: one step at a time, the one that is missing first."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from borewright.core.conditions import CONDITION_NAMES, Condition
from borewright.core.engine import Engine
from borewright.core.evidence import HoseEvidence, StrokeEvidence
from borewright.core.live import LiveCapture
from borewright.core.motion import CrankTracker
from borewright.core.readiness import Readiness
from borewright.core.readiness_table import State
from borewright.core.rig import ChannelLaw, TrueTdc
from borewright.core.samples import SampleColumns
from borewright.service import acts
from borewright.service.guide import next_step
from borewright.service.state import BenchState, Capturing, Reading
from borewright.session.session import Session

FOUR = Engine("demo", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
CRANK = CrankTracker(counts_per_rev=3600, last_count=0, last_tick=0, index_count=0, index_spacing_ok=True)

_ROWS = np.arange(41)
TURNED_BY_40 = SampleColumns(_ROWS * 10, _ROWS, _ROWS, np.zeros((2, 41), np.uint16), np.zeros(41, np.uint16), 1000)


def conditions(*unmet: str) -> tuple[Condition, ...]:
    return tuple(Condition(name, name not in unmet, f"because of {name}", f"Mend {name}.") for name in CONDITION_NAMES)


def state(*unmet: str, **changes: object) -> BenchState:
    """A bench at cylinder 1 with the crank at count 0, far from power-up, and these conditions not met."""
    ready = BenchState(
        Session(0.0),
        engine=FOUR,
        purpose=acts.Purpose("test", 1),
        crank=CRANK,
        tdc=TrueTdc(0.0, 1, 0.02, "piston_stop"),
        fitting_confirmed=True,
        hose=acts.PlaceHose("cylinder", 1),
        stroke=StrokeEvidence("squeeze", 1, 0.0, 1, 0.0),
        hose_evidence=HoseEvidence("squeeze", 1, 1, 0.0),
        holding_torque_nm=60.0,
        reading=Reading(100.0, 0.0, 0.0, 0.0),
        conditions=conditions(*unmet),
    )
    return replace(ready, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("unmet", "key"),
    [
        (("link", "people"), "wait"),
        (("rig", "reference"), "blocked"),
        (("rig", "still"), "keep_still"),  # a crank that is turned pumps air through the vent
        (("still", "people"), "keep_still"),
        (("people",), "confirm_people"),
        (("air",), "wait"),
        ((), "give_air"),
    ],
)
def test_the_first_thing_missing_comes_first(unmet: tuple[str, ...], key: str) -> None:
    assert next_step(state(*unmet)).key == key


def test_a_blocked_step_says_why_and_what_to_do() -> None:
    assert next_step(state("rig")).text == "because of rig. Mend rig."


def test_the_index_pulse_comes_before_the_crank_mark() -> None:
    unseen = state("reference", crank=replace(CRANK, index_count=None), fitting_confirmed=False)
    step = next_step(unseen)
    assert step.key == "find_index"
    assert step.turn_deg is not None
    assert step.turn_deg >= 360.0
    assert next_step(state("reference", fitting_confirmed=False)).act == acts.ConfirmFitting()


@pytest.mark.parametrize(
    ("count", "words"), [(123, "12.3° after"), (-340, "34.0° before"), (3600, "0.0° after"), (1799, "179.9° after")]
)
@pytest.mark.parametrize("cylinder", [1, 3])  # what is tested is another than the one in which TDC was found
def test_a_fitting_is_confirmed_against_where_the_stored_tdc_takes_the_crank_to_stand(
    count: int, words: str, cylinder: int
) -> None:
    purpose, crank = acts.Purpose("test", cylinder), replace(CRANK, last_count=count)
    stored = state("reference", fitting_confirmed=False, purpose=purpose, crank=crank)
    step = next_step(stored)
    assert f"By the stored true TDC the crank stands {words} cylinder 1's TDC" in step.text
    assert step.turn_deg is not None
    assert (count / 10.0 + step.turn_deg) % 360.0 == pytest.approx(0.0)
    turning = next_step(replace(stored, crank=crank.add(TURNED_BY_40)))
    assert (turning.key, turning.act) == ("wait", None)
    assert turning.turn_deg == pytest.approx(-4.0)


def test_the_hose_comes_before_the_squeeze_and_the_squeeze_before_the_reading_back() -> None:
    elsewhere = state("stroke_and_hose", hose=acts.PlaceHose("cylinder", 3))
    assert next_step(elsewhere).act == acts.PlaceHose("cylinder", 1)
    assert next_step(state("stroke_and_hose", hose_evidence=None)).act == acts.BeginSqueeze()
    shared = state("stroke_and_hose", hose_evidence=HoseEvidence("squeeze", 1, 1, 0.0, shared_with=(4,)))
    assert next_step(shared).key == "read_back_hose"


@pytest.mark.parametrize(
    ("count", "turn_deg"),
    [(-300, 30.0), (-1500, 150.0), (3600, 360.0), (1500, 570.0), (300, -215.0), (0, -185.0)],
)
def test_the_way_to_tdc_goes_forwards_or_back_by_more_than_half_a_turn(count: int, turn_deg: float) -> None:
    step = next_step(state("position", crank=replace(CRANK, last_count=count)))
    assert step.key == "turn_to_tdc"
    assert step.turn_deg == pytest.approx(turn_deg)


def test_the_restraint_is_asked_for_before_the_crank_is_brought_to_tdc() -> None:
    assert next_step(state("position", "people", holding_torque_nm=None)).key == "restrain"


@pytest.mark.parametrize("at", [State.PUFFING, State.WATCHING, State.FILLING, State.HOLDING, State.ISOLATED, State.VENTING])
@pytest.mark.parametrize("valves", [True, False])
def test_while_there_is_air_every_step_says_pressurised(at: State, valves: bool) -> None:
    step = next_step(state(readiness=Readiness(valves=valves, state=at)))
    assert step.text.startswith("PRESSURISED")
    assert step.turn_deg is None


def test_nobody_is_asked_for_the_next_test_while_the_last_moment_of_this_one_is_recorded() -> None:
    law = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1e6)
    live = LiveCapture({"regulated": law, "cylinder": law})
    closing = Capturing(acts.Purpose("test", 1), (), (), (), live, 90.0, ended_s=99.0)
    assert next_step(state()).key == "give_air"
    assert next_step(state(capture=closing)).key == "wait"


def test_a_hand_valve_squeeze_ends_with_the_vent_opened_by_hand() -> None:
    squeezing = state(readiness=Readiness(valves=False, state=State.SQUEEZING), squeeze=None)
    step = next_step(squeezing)
    assert (step.key, step.act) == ("open_vent", acts.EndSqueeze())


@pytest.mark.parametrize(("kind", "outlet"), [("sealed", "capped"), ("restrictor", "orifice")])
def test_the_rigs_checks_take_the_hose_off_the_engine(kind: str, outlet: str) -> None:
    checking = state("stroke_and_hose", purpose=acts.Purpose(kind, orifice_area_m2=1e-6))  # type: ignore[arg-type]
    step = next_step(checking)
    assert step.act == acts.PlaceHose(outlet)  # type: ignore[arg-type]
    assert "off the engine" in step.text
