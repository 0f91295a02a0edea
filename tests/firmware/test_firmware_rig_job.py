"""The real host at the microcontroller's own program, in the emulator and in closed loop with the plant: a gated test of two
cylinders from the rig's checks to the result, and what can go wrong with the air on. All on one rig, one after the other.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from avr_rig.child import Child
from borewire.messages import AirEvent, AirState, Cause, FaultCode
from borewright.core.readiness_table import State
from borewright.errors import LinkError
from borewright.service import acts
from borewright.service.analysis import analysed_as_dict, computed_anew
from borewright.service.laws import laws_from_record
from borewright.simrig.whole_job import check_rig

from .workshop import Workshop

CYLINDERS = (1, 3)
TOO_FAST_COUNTS_PER_S = 100_000.0  # 1465 rev/min, more than the interrupts can take
MOST_OFF_PERCENT = 0.3  # points of leakage, by issue 6: a converter of ten bits with oversampling


@pytest.fixture(scope="module")
def shop(bench: Path, avr_programs: dict[int, Path], tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A workshop that has made its checks: zeros, sealed, restrictor, true TDC."""
    with Child(bench, avr_programs[500_000]) as child:
        made = Workshop(child, tmp_path_factory.mktemp("shop"))
        check_rig(made.person, lambda _step: None, CYLINDERS[0])
        yield made
        made.close()


def test_at_overlap_no_open_frame_goes_out(shop: Workshop) -> None:
    shop.person.tell(acts.SetPurpose(acts.Purpose("test", CYLINDERS[0])))
    shop.person.follow_until("turn_to_tdc")
    verdict = shop.bench.state.stroke
    assert verdict is not None  # shown by the squeeze
    shop.person.turn_to_tdc(off_deg=360.0)
    shop.person.promise_all()
    openings = len(shop.cable.openings)
    shop.person.ask_for_air()
    assert "this is the wrong TDC: overlap" in "; ".join(shop.refusals[-1].reasons)
    shop.person.wait(0.5)
    assert len(shop.cable.openings) == openings
    assert not shop.rig.plant.supply_open


@pytest.mark.parametrize("cylinder", CYLINDERS)
def test_leakage_by_the_microcontroller_against_the_plants_truth(shop: Workshop, cylinder: int) -> None:
    done = shop.test(cylinder)
    assert done.analysed.void_reason is None
    result = done.analysed.result
    assert result is not None
    assert abs(result.leakage_percent - shop.truth[cylinder].leakage_percent) < MOST_OFF_PERCENT
    assert result.leak_area_m2 == pytest.approx(shop.truth[cylinder].leak_area_m2, rel=0.03)
    assert None not in (result.t75_s, result.t50_s, result.t25_s)

    # the puff ended by the device's own time limit; then full pressure, the decay, and vented as the host asked
    assert [(event.air, event.cause) for event in air_events(shop)[-5:]] == [
        (AirState.OPEN, Cause.COMMAND_OPEN),
        (AirState.VENTED, Cause.TIME_LIMIT),
        (AirState.OPEN, Cause.COMMAND_OPEN),
        (AirState.ISOLATED, Cause.COMMAND_SHUT),
        (AirState.VENTED, Cause.COMMAND_VENT),
    ]
    kept = shop.last_capture()
    assert kept.meta.state == "complete"
    assert kept.meta.versions["firmware"].startswith("reference")
    assert kept.columns.raw.shape[0] == 3
    assert set(np.diff(kept.columns.index).tolist()) == {1}
    assert set(np.diff(kept.columns.tick).tolist()) == {2000}
    again = analysed_as_dict(computed_anew(kept.columns, laws_from_record(kept.meta.laws)))
    assert json.loads(json.dumps(again)) == kept.meta.result  # three channels do not confuse the record
    assert shop.lost_blocks() == 0
    shop.until_vented()


def air_events(shop: Workshop) -> list[AirEvent]:
    return [message for message in shop.cable.messages if isinstance(message, AirEvent)]


def test_a_cut_frame_to_the_device_is_counted_and_air_stays_on(shop: Workshop) -> None:
    shop.fill(CYLINDERS[1])
    bad = shop.latest_status().frames_bad
    shop.cable.cuts_told = 1  # a renewal of the opening
    shop.until(lambda: shop.latest_status().frames_bad == bad + 1, 3.0)
    assert shop.cable.cuts_told == 0
    assert shop.state is State.FILLING
    assert shop.rig.plant.supply_open
    shop.until_vented()


def test_a_cut_frame_from_the_device_shuts_and_vents(shop: Workshop) -> None:
    shop.fill(CYLINDERS[1])
    shop.cable.cuts_said = 1
    shop.until(State.VENTING, 1.0)
    shop.until_vented()
    kept = shop.last_capture()
    assert (kept.meta.state, kept.meta.void_reason) == ("void", "samples are missing while air was on")
    assert len(kept.columns) > 1000


def test_a_reset_with_air_on_vents_and_voids_and_nothing_opens_again(shop: Workshop) -> None:
    shop.fill(CYLINDERS[1])
    boot_id = shop.latest_status().boot_id
    openings = len(shop.cable.openings)
    shop.rig.reset()
    assert not shop.rig.plant.supply_open
    assert shop.rig.plant.vent_open
    shop.until(lambda: shop.latest_status().boot_id != boot_id, 2.0)
    shop.until(lambda: shop.latest_status().streaming == 1, 3.0)
    assert shop.rig.hold_pressed
    shop.person.wait(2.0)
    assert "the rig was restarted while air was on" in str(shop.last_capture().meta.void_reason)
    state = shop.bench.state
    assert (state.stroke, state.hose_evidence, state.confirmed) == (None, None, None)
    assert shop.latest_status().crank_count == 0
    shop.until_vented()
    assert len(shop.cable.openings) == openings


def test_the_cable_is_pulled_with_air_on_and_put_back(shop: Workshop) -> None:
    shop.fill(CYLINDERS[1])
    boot_id = shop.latest_status().boot_id
    shop.rig.unplug()
    with pytest.raises(LinkError, match="check the cable"):
        shop.person.wait(1.0)
    assert shop.rig.plant.supply_open  # the device alone is left to do it, as soon as nobody has spoken for half a second
    shop.rig.advance(0.6)
    assert not shop.rig.plant.supply_open
    assert shop.rig.plant.vent_open
    assert shop.last_capture().meta.void_reason == "the link to the rig was lost while air was on"
    shop.plug_in_again()
    shop.person.wait(2.5)
    assert (shop.latest_status().boot_id, shop.latest_status().streaming) == (boot_id, 1)
    assert shop.bench.state.device_air is AirState.VENTED
    assert shop.rig.hold_pressed
    assert shop.cable.openings == []
    assert shop.rig.resets == 2  # when the rig was made, and the one above


def test_an_encoder_too_fast_for_the_device_loses_no_count_untold(shop: Workshop) -> None:
    """The last of the tests: after it true TDC would have to be found again."""
    shop.person.tell(acts.SetPurpose(acts.Purpose("test", CYLINDERS[0])))
    shop.rig.press_hold(False)
    shop.person.wait(2.0)
    told, before = len(shop.faults()), shop.latest_status().crank_count
    shop.wires.spin(shop.rig, 20, TOO_FAST_COUNTS_PER_S)
    shop.person.wait(2.5)
    assert shop.latest_status().crank_count - before != 20 * shop.rig.electronics.counts_per_rev
    faults = {fault.fault for fault in shop.faults()[told:]}
    assert {FaultCode.ENCODER_ILLEGAL_STEP, FaultCode.INDEX_SPACING} <= faults
    assert shop.lost_blocks() == 0 or FaultCode.SAMPLES_DROPPED in faults
    openings = len(shop.cable.openings)
    shop.person.tell(acts.AskAir())
    assert "counts were lost between two index pulses" in shop.refusals[-1].reasons
    shop.person.wait(0.5)
    assert len(shop.cable.openings) == openings
