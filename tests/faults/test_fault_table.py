"""The fault table, row by row: what the person is told, what the record holds, one end to each test, no wrong number unmarked."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from boresim.faults import FAULTS, Fault, Level, Outcome

from .fault_run import FaultRun, Records, play

ROWS = [pytest.param(fault, id=fault.name) for fault in FAULTS]


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Records:
    """The records with the checks of the rigs that the rows are played at."""
    return Records(tmp_path_factory.mktemp("checked"))


@pytest.mark.parametrize("fault", ROWS)
def test_a_fault_is_told_and_gives_no_wrong_number(fault: Fault, records: Records, tmp_path: Path) -> None:
    run = play(fault.scenario, fault.seed, fault.cylinder, fault, records, tmp_path)
    assert run.began, f"{fault.name} never began"
    assert re.search(fault.sees, run.text), f"nobody was told {fault.sees!r}, but:\n{run.text}"
    _one_end_each(run)
    _no_wrong_number(run, fault.record)
    _nobody_stands_before_pressure(run)
    _reads_well(run, fault)
    match fault.outcome:
        case Outcome.NONE:
            assert (run.begun, run.openings) == (0, 0)
            assert any(re.search(fault.record, refusal) for refusal in run.refusals), run.refusals
        case Outcome.VOID:
            assert run.states[-1] == "void"
            assert re.search(fault.record, run.kept[-1].void_reason or ""), run.kept[-1].void_reason
        case Outcome.MARKED:
            assert run.states[-1] == "complete", run.kept
            assert any(re.search(fault.record, mark) for mark in run.kept[-1].marks), run.kept[-1].marks
        case Outcome.NUMBER:
            assert run.states[-1] == "complete", run.kept
            assert run.numbers
            assert all(number.right for number in run.numbers), run.numbers


def _one_end_each(run: FaultRun) -> None:
    """A test that was begun ends once, in the record's log as in what the bench reports; what was not begun was refused."""
    assert run.ended == run.begun == run.reported
    assert set(run.states) <= {"complete", "void"}
    assert run.begun + len(run.refusals) >= 1


def _no_wrong_number(run: FaultRun, named: str) -> None:
    """A number that is wrong carries a mark that names the trouble."""
    wrong = [number for number in run.numbers if not number.right]
    assert not wrong or (named and any(re.search(named, mark) for mark in run.kept[-1].marks)), wrong


FEEDS_THE_DECAY = ("supply-sticks", "supply-hangs", "supply-leaks-in-decay")
NAMED_BY_A_CHANNEL = ("cylinder-sensor-drifts", "sensor-supply-sags", "regulated-plug-crackles")
SIDES_APART = ("supply-", "transducers-", "regulated-", "cylinder-", "sensor-", "adc-", "stuck-")
JARGON = r"χ|likelihood|residual|sigma|chi-square"


def _reads_well(run: FaultRun, fault: Fault) -> None:
    """Plain words, nothing said twice, nothing guessed that the named cause explains, no decay time of a decay that was fed."""
    assert not re.search(JARGON, run.text)
    if not fault.name.startswith(SIDES_APART):
        assert "reads above the cylinder's" not in run.text, "a sound supply valve is suspected"
    for view in run.kept:
        assert len(set(view.marks)) == len(view.marks)
        if view.void_reason is not None:
            assert not any(mark.startswith(("not steady", "no decay seen", "samples are missing")) for mark in view.marks), (
                view.marks
            )
    if fault.name in NAMED_BY_A_CHANNEL:
        assert not any(mark.startswith("contradiction") for mark in run.kept[-1].marks), run.kept[-1].marks
    if fault.name in FEEDS_THE_DECAY:
        last = run.kept[-1]
        assert last.figures is not None
        assert (last.figures.t75_s, last.figures.t50_s, last.figures.t25_s) == (None, None, None)
        assert not any(mark.startswith("contradiction") or "something changed" in mark for mark in last.marks), last.marks


def _nobody_stands_before_pressure(run: FaultRun) -> None:
    """Air that is on is told while it is, and at the end it is gone or still told."""
    assert not run.unwarned
    assert not run.supplied_after
    assert run.left_pa < 5_000.0 or run.warned, f"{run.left_pa / 1000:.0f} kPa at the end, and nothing says so"


@pytest.mark.parametrize("place", sorted({(fault.scenario, fault.seed, fault.cylinder) for fault in FAULTS}))
def test_none_of_it_is_told_without_a_fault(place: tuple[str, int, int], records: Records, tmp_path: Path) -> None:
    run = play(*place, None, records, tmp_path)
    assert run.states == ("complete",)
    assert all(number.right for number in run.numbers)
    _one_end_each(run)
    _nobody_stands_before_pressure(run)
    for fault in FAULTS:
        if (fault.scenario, fault.seed, fault.cylinder) == place and fault.outcome is not Outcome.NUMBER:
            assert not re.search(fault.sees, run.text), f"{fault.name} is told of a sound rig: {fault.sees!r}"
            assert not any(re.search(fault.record, mark) for mark in run.kept[-1].marks), fault.name


ASKED = {
    Level.PHYSICAL: (
        *("leak-step", "hose-comes-off", "hose-in-wrong-hole", "check-valve-left-in", "supply-sticks", "supply-half-open"),
        *("supply-leaks", "vent-stuck", "regulator-creep", "regulator-droop", "crank-creep", "crank-runaway"),
        *("decompression-held-open", "room-", "adapter-leak"),
    ),
    Level.ELECTRICAL: (
        *("regulated-wire-off", "cylinder-wire-shorted", "cylinder-sensor-saturated", "cylinder-sensor-frozen", "stuck-bit"),
        *("cylinder-sensor-noisy", "cylinder-sensor-drifts", "sensor-supply-sags", "mains-hum", "edges-lost", "edges-doubled"),
        *("index-missing", "index-doubled", "transducers-swapped", "phases-swapped", "coupling-slips", "clock-fast", "clock-slow"),
    ),
    Level.LINE: (
        *("bits-flip", "octets-lost", "octets-added", "messages-twice", "late", "in-pieces", "stall", "dead-to-the-device"),
        *("dead-to-the-host", "cable-out-and-in", "garbage-at-start"),
    ),
    Level.PROTOCOL: (
        *("older-minor", "newer-minor", "other-major", "unknown-messages", "wrong-length", "reserved-bits", "sequence-gap"),
        *("blocks-wrap", "openings-wrap", "samples-wrap", "ticks-wrap", "restart-in-a-test", "answers-to-others", "hangs"),
    ),
}
"""What a rig beside ignition coils and compressors has to bear, by the beginning of a row's name."""


def test_the_table_is_whole() -> None:
    assert len(FAULTS) >= 40
    assert len({fault.name for fault in FAULTS}) == len(FAULTS)
    for fault in FAULTS:
        assert (fault.record == "") == (fault.outcome is Outcome.NUMBER), fault.name
        assert fault.sees or fault.outcome is Outcome.NUMBER, fault.name


@pytest.mark.parametrize("level", Level)
def test_every_trouble_that_is_asked_for_has_its_row(level: Level) -> None:
    names = [fault.name for fault in FAULTS if fault.level is level]
    assert [asked for asked in ASKED[level] if not any(name.startswith(asked) for name in names)] == []
