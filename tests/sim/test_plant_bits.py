"""The same bits however time is cut, after a restore, and for a seed; and quickly."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from boresim.electronics import Electronics
from boresim.plant import Plant, PlantTrace
from boresim.scenario import load_scenario
from hypothesis import given, settings
from hypothesis import strategies as st

from .effort import calls_of

# calls a sample, by whether the vent is open and the crank turned: what they were when the speed was measured (1.29, 4.28, 5.75 and
# 10.14), and a little for other numpys
MOST_CALLS = {(True, False): 1.35, (False, False): 4.4, (True, True): 5.95, (False, True): 10.4}

Act = Callable[[Plant], None]
PERIOD_S = 0.001

# at which sample a person does what: a squeeze, a fill off TDC that the crank does not stand, a vent
ACTS: dict[int, Act] = {
    0: lambda plant: plant.attach_hose(1),
    150: lambda plant: plant.turn_by(-190.0, 25.0),
    700: lambda plant: plant.set_vent(False),
    1633: lambda plant: plant.turn_by(3.0, 10.0),
    1777: lambda plant: plant.set_supply(True),
    2900: lambda plant: plant.set_supply(False),
    3001: lambda plant: plant.set_vent(True),
}
SAMPLES = 3600


def run(cuts: list[int], seed: int | None = None) -> tuple[bytes, bytes]:
    """The whole run with advance() cut at some samples: the bits of the true values and those of the device."""
    scenario = load_scenario("hillclimb-before", seed)
    plant, electronics = Plant(scenario), Electronics(scenario)
    truth: list[bytes] = []
    device: list[list[bytes]] = [[], [], []]
    done = 0
    for end in sorted({*cuts, *ACTS, SAMPLES}):
        if end > done:
            trace = plant.advance(end - done, PERIOD_S)
            truth.append(np.array([trace.t_s, trace.p_regulated_abs_pa, trace.p_cylinder_abs_pa, trace.crank_deg]).T.tobytes())
            device[0].append(electronics.raw(trace).T.tobytes())
            device[1].append(electronics.counts(trace).tobytes())
            device[2] += [repr((pulse.t_s, pulse.count)).encode() for pulse in electronics.index_pulses(trace)]
        done = end
        if end in ACTS:
            ACTS[end](plant)
    return b"".join(truth), b"".join(device[0]) + b"".join(device[1]) + b"".join(device[2])


WHOLE = run([])


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, SAMPLES - 1), max_size=60))
def test_cutting_a_run_changes_no_bit(cuts: list[int]) -> None:
    assert run(cuts) == WHOLE


@pytest.mark.parametrize("batch", [1, 7, 32, 1000])
def test_even_batches_change_no_bit(batch: int) -> None:
    assert run(list(range(batch, SAMPLES, batch))) == WHOLE


def test_the_run_was_worth_comparing() -> None:
    values = np.frombuffer(WHOLE[0]).reshape(-1, 4)
    assert values[:, 2].max() > 150e3
    assert np.ptp(values[:, 3]) > 150.0


def test_a_seed_gives_its_bits_again_and_another_one_others() -> None:
    assert run([], 5) == run([], 5)
    assert run([], 5)[1] != WHOLE[1]


def test_a_restored_plant_goes_the_same_way_again() -> None:
    plant = Plant(load_scenario("hillclimb-before"))
    plant.attach_hose(2)
    plant.wet(2, 1.0)
    plant.set_vent(False)
    plant.turn_by(100.0, 15.0)
    plant.advance(503, PERIOD_S)
    plant.set_supply(True)
    plant.advance(11, PERIOD_S)
    moment = plant.snapshot()

    def on(acts: bool) -> PlantTrace:
        if acts:
            plant.set_vent(True)
            plant.attach_hose("off")
            plant.stop_place(2, "breather", True)
            plant.set_regulator(1e5)
            plant.set_restraint(10.0)
        return plant.advance(700, PERIOD_S)

    first = on(False)
    plant.restore(moment)
    other = on(True)
    plant.restore(moment)
    again = on(False)
    for name in ("t_s", "p_regulated_abs_pa", "p_cylinder_abs_pa", "crank_deg"):
        assert getattr(first, name).tobytes() == getattr(again, name).tobytes()
    assert other.p_cylinder_abs_pa.tobytes() != again.p_cylinder_abs_pa.tobytes()
    assert (again.position, again.t_before_s, again.crank_before_deg) == (first.position, first.t_before_s, first.crank_before_deg)


def test_a_control_acts_at_once_even_within_a_long_step() -> None:
    plant = Plant(load_scenario("hillclimb-before"))
    plant.attach_hose("capped")
    plant.set_vent(False)
    plant.set_supply(True)
    plant.advance(5003, PERIOD_S)
    plant.set_supply(False)
    plant.set_vent(True)
    trace = plant.advance(30, PERIOD_S)
    travel_s = plant.scenario.rig.air.vent_travel_s
    fallen = trace.t_s[int(np.argmax(trace.p_cylinder_abs_pa < 640e3))] - trace.t_before_s
    assert fallen < travel_s + 0.002


def test_no_samples_are_no_samples() -> None:
    plant = Plant(load_scenario("hillclimb-before"))
    trace = plant.advance(0, PERIOD_S)
    assert (len(trace), plant.now_s) == (0, 0.0)


@pytest.mark.parametrize(("vented", "turning"), MOST_CALLS)
def test_plant_and_electronics_do_not_more_work_a_sample_than_when_their_speed_was_measured(vented: bool, turning: bool) -> None:
    """Calls a sample, of the code that was measured at over 500 times real time; tests/bench says the speed here."""
    scenario = load_scenario("hillclimb-before")
    plant, electronics = Plant(scenario), Electronics(scenario)
    plant.attach_hose(1)
    plant.set_vent(vented)
    plant.set_supply(not turning and not vented)
    if turning:
        plant.turn_by(720.0, 10.0)
    else:
        plant.set_restraint(500.0)
    samples = 10_000

    def run() -> None:
        for _ in range(0, samples, 32):
            trace = plant.advance(32, PERIOD_S)
            electronics.raw(trace)
            electronics.counts(trace)
            electronics.index_pulses(trace)

    assert calls_of(run) / samples <= MOST_CALLS[vented, turning]
