"""What each fault of the electronics does to words, counts, index and clock, and that it is gone when it is over."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from boresim.electronics import Electronics
from boresim.faults import Level, Moment, fault_named
from boresim.faults.electrical import ELECTRICAL
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from boresim.trace import PlantTrace

AMBIENT_PA = 98_900.0
PER_REV = 4096


def rig_with(name: str | None) -> SimRig:
    rig = SimRig(load_scenario("hillclimb-before"))
    rig.advance(0.1)
    if name is not None:
        rig.faults.begin(name)
    return rig


def at_pressures(rig: SimRig, regulated_kpa: float, cylinder_kpa: float, count: int = 2000) -> npt.NDArray[np.float64]:
    """Words of steady pressures, from where the rig is on."""
    t = rig.plant.now_s + 0.001 * np.arange(1, count + 1)
    still = np.full(count, rig.plant.crank_deg)
    pressures = [np.full(count, AMBIENT_PA + 1e3 * kpa) for kpa in (regulated_kpa, cylinder_kpa)]
    trace = PlantTrace(round(t[0] * 1000), float(t[0]) - 0.001, rig.plant.crank_deg, t, *pressures, still)
    return rig.electronics.raw(trace).astype(np.float64)


def kpa_of(words: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return (words / 4096.0 - 0.1) / 0.8 * 1000.0


def mean_kpa(rig: SimRig, regulated_kpa: float = 550.0, cylinder_kpa: float = 470.0) -> tuple[float, float]:
    one, two = kpa_of(at_pressures(rig, regulated_kpa, cylinder_kpa)).mean(axis=1)
    return float(one), float(two)


def turned(rig: SimRig, angles_deg: npt.NDArray[np.float64]) -> PlantTrace:
    n = len(angles_deg)
    t = rig.plant.now_s + 0.001 * np.arange(1, n + 1)
    p = np.full(n, AMBIENT_PA)
    return PlantTrace(0, float(t[0]) - 0.001, float(angles_deg[0]), t, p, p.copy(), angles_deg)


def test_there_are_enough_rows_and_each_is_of_its_level() -> None:
    assert len(ELECTRICAL) >= 16
    assert {fault.level for fault in ELECTRICAL} == {Level.ELECTRICAL}


@pytest.mark.parametrize("fault", ELECTRICAL, ids=lambda fault: fault.name)
def test_a_fault_that_is_over_leaves_nothing(fault: object) -> None:
    name = getattr(fault, "name", "")
    rig, sound = rig_with(name), rig_with(None)
    rig.faults.end(name)
    assert rig.electronics.faults is None
    assert rig.electronics.clock_error_ppm == pytest.approx(sound.electronics.clock_error_ppm)
    assert np.array_equal(at_pressures(rig, 550.0, 470.0, 50), at_pressures(sound, 550.0, 470.0, 50))
    assert rig.electronics.count_at(rig.plant.crank_deg, rig.plant.now_s) == sound.electronics.count_at(sound.plant.crank_deg)


@pytest.mark.parametrize(
    ("name", "regulated", "cylinder"),
    [
        ("regulated-wire-off", 1124.7, 470.0),
        ("cylinder-wire-shorted", 550.0, -125.0),
        ("cylinder-sensor-saturated", 550.0, 1075.0),
        ("transducers-swapped", 470.0, 550.0),
        ("regulated-of-1600", 343.75, 470.0),
        ("cylinder-of-1600", 550.0, 293.75),
        ("cylinder-of-700", 550.0, 671.4),
        ("sensor-supply-sags", 529.75, 452.15),
    ],
)
def test_what_a_channel_reads(name: str, regulated: float, cylinder: float) -> None:
    sound_regulated, sound_cylinder = mean_kpa(rig_with(None))
    found = mean_kpa(rig_with(name))
    off = (sound_regulated - 550.0, sound_cylinder - 470.0)  # zeros and spans of this seed
    assert found[0] == pytest.approx(regulated, abs=1.0 + abs(off[0]) + abs(off[1]))
    assert found[1] == pytest.approx(cylinder, abs=1.0 + abs(off[0]) + 1.5 * abs(off[1]))


def test_a_frozen_channel_keeps_the_word_that_came_first() -> None:
    rig = rig_with("cylinder-sensor-frozen")
    first = at_pressures(rig, 550.0, 470.0, 1)[1, 0]
    assert set(at_pressures(rig, 100.0, 90.0, 300)[1]) == {first}
    assert np.std(at_pressures(rig, 100.0, 90.0, 300)[0]) > 1.0


def test_noise_hum_and_drift_are_as_large_as_they_say() -> None:
    assert np.std(kpa_of(at_pressures(rig_with("cylinder-sensor-noisy"), 0.0, 100.0))[1]) == pytest.approx(15.0, rel=0.1)
    assert np.std(kpa_of(at_pressures(rig_with("regulated-plug-crackles"), 100.0, 0.0))[0]) == pytest.approx(6.1, rel=0.1)
    hum = kpa_of(at_pressures(rig_with("mains-hum"), 100.0, 100.0)) - kpa_of(at_pressures(rig_with(None), 100.0, 100.0))
    assert np.std(hum, axis=1) == pytest.approx([2.0 / 2.0**0.5] * 2, rel=0.05)
    drift = kpa_of(at_pressures(rig_with("cylinder-sensor-drifts"), 100.0, 100.0)) - kpa_of(
        at_pressures(rig_with(None), 100.0, 100.0)
    )
    assert float(drift[1][-100:].mean() - drift[1][:100].mean()) == pytest.approx(0.25 * 1.9, rel=0.1)
    assert not drift[0].any()


def test_a_stuck_bit_is_in_every_word() -> None:
    words = at_pressures(rig_with("stuck-bit"), 300.0, 300.0).astype(np.int64)
    assert np.all(words[1] & 8)
    assert not np.all(words[0] & 8)


@pytest.mark.parametrize(
    ("name", "counts_a_turn"), [("edges-lost", PER_REV - PER_REV // 64), ("edges-doubled", PER_REV + PER_REV // 64)]
)
def test_edges_that_are_lost_or_doubled_change_the_counts_of_a_turn(name: str, counts_a_turn: int) -> None:
    rig = rig_with(name)
    start = rig.plant.crank_deg
    trace = turned(rig, start + np.arange(0.0, 1080.5, 0.5))
    counts = rig.electronics.counts(trace)
    assert counts[-1] - counts[-1 - 720] == counts_a_turn
    assert np.all(np.diff(counts) >= 0)
    first, second = (pulse.count for pulse in rig.electronics.index_pulses(trace)[:2])
    assert second - first == counts_a_turn
    back = rig.electronics.counts(turned(rig, start + np.arange(1080.0, -0.5, -0.5)))
    assert back[-1] == counts[0] == rig.electronics.count_at(start, rig.plant.now_s)


def pulses_of(electronics: Electronics, trace: PlantTrace) -> int:
    return len(electronics.index_pulses(trace))


def test_the_index_can_be_missing_or_come_twice() -> None:
    for name, pulses in ((None, 3), ("index-missing", 0), ("index-doubled", 6)):
        rig = rig_with(name)
        trace = turned(rig, rig.plant.crank_deg + np.arange(0.0, 1080.1, 0.5))
        assert pulses_of(rig.electronics, trace) == pulses
        times = [pulse.t_s for pulse in rig.electronics.index_pulses(trace)]
        assert times == sorted(times)


def test_swapped_phases_count_the_other_way_from_where_they_stood() -> None:
    rig, sound = rig_with("phases-swapped"), rig_with(None)
    angles = rig.plant.crank_deg + np.arange(0.0, 90.0, 0.5)
    assert np.array_equal(rig.electronics.counts(turned(rig, angles)), -sound.electronics.counts(turned(sound, angles)))
    rig.faults.end("phases-swapped")
    assert rig.electronics.counts(turned(rig, angles))[0] == 0


def test_a_slipping_coupling_moves_counts_and_index_but_not_the_crank() -> None:
    rig, sound = rig_with("coupling-slips"), rig_with(None)
    still = np.full(500, rig.plant.crank_deg)
    counts = rig.electronics.counts(turned(rig, still))
    assert counts[-1] - sound.electronics.counts(turned(sound, still))[-1] == pytest.approx(20.0 / 360.0 * PER_REV, abs=1.0)
    assert np.all(np.diff(counts) >= 0)
    later = rig.plant.crank_deg + np.concatenate([np.zeros(400), np.arange(0.0, 720.0, 0.5)])
    slipped, true = (of.electronics.index_pulses(turned(of, later)) for of in (rig, sound))
    assert true[-1].t_s - slipped[-1].t_s == pytest.approx(0.001 * 20.0 / 0.5, abs=0.002)


@pytest.mark.parametrize(("name", "ticks"), [("clock-fast", 1_010_000), ("clock-slow", 990_000)])
def test_the_clock_goes_on_from_where_it_was_and_is_off_by_a_hundredth(name: str, ticks: int) -> None:
    rig, sound = rig_with(None), rig_with(None)
    before = rig.device.next_tick
    assert before == sound.device.next_tick
    rig.faults.begin(name)
    rig.advance(1.0)
    assert rig.device.next_tick - before == pytest.approx(ticks, abs=1_200)
    rig.faults.end(name)
    rig.advance(1.0)
    sound.advance(2.0)
    assert rig.device.next_tick - sound.device.next_tick == pytest.approx(ticks - 1_000_000, abs=2_200)


def test_no_row_needs_what_only_one_rig_has() -> None:
    begin: Callable[[SimRig], None]
    for fault in ELECTRICAL:
        rig = SimRig(load_scenario("hillclimb-before-hand"))
        begin = fault_named(fault.name).begin
        begin(rig)
        rig.advance(0.2)
        assert fault.moment in Moment
