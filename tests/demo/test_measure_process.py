"""measure and rig as a person meets them: processes against the simulated rig in another process, followed prompt by prompt."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from boresim.scenario import load_scenario
from borewright.store import Store
from borewright.store.records import CaptureRecord

from .demo_run import refusal
from .rig_processes import Process, Served

SCENARIO = "hillclimb-before"
ENGINE = Path(__file__).resolve().parents[2] / "simulator" / "scenarios" / "larch_four_engine.toml"
AT_ONE_PRESSURE = ("--pressure", "551.58 kPa")
MOST_LEAKAGE_OFF_POINTS = 0.3  # issue 2, "How good"


@dataclass(frozen=True, slots=True)
class Shop:
    """A rig that has been checked over TCP, its record, and what the checks said."""

    rig: Served
    db: Path
    checks: dict[str, dict[str, Any]]

    def measure(self, job: str, *more: object, port: str | None = None) -> Process:
        """`borewright measure` of cylinder 1, begun."""
        self.rig.person.do("hold release", "restrain off")
        return Process("measure", *self.words(job, port), *more)

    def words(self, job: str, port: str | None = None) -> tuple[object, ...]:
        """The options of measure for cylinder 1."""
        where = ("--port", port or self.rig.port, "--db", self.db)
        return (*where, "--engine", ENGINE, "--cylinder", 1, "--job", job, "--stage", "before", "--ambient", "98.9 kPa")

    def tests(self, job: str) -> list[CaptureRecord]:
        """The tests of a job in the record."""
        with Store.open(self.db, create=False) as store:
            found = store.find_job(job, "before")
            return list(store.list_captures(found.id)) if found is not None else []

    def vented(self) -> None:
        """Two seconds later both gauges show nothing, although the hold switch is still pressed."""
        self.rig.person.do("wait 2")
        assert self.rig.person.gauges_kpa() == (0.0, 0.0)


def check(rig: Served, db: Path, name: str, *more: object) -> dict[str, Any]:
    """One check of the rig to its end: what it printed as JSON."""
    rig.person.do("hold release")
    process = Process("rig", name, "--port", rig.port, "--db", db, "--ambient", "98.9 kPa", "--json", *more)
    try:
        assert process.end(rig.person) == 0, process.text
    finally:
        process.clear_up()
    found: dict[str, Any] = json.loads(process.said[-1])
    return found


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    db = tmp_path_factory.mktemp("shop") / "shop.db"
    rig = Served("--tcp", "127.0.0.1:0", scenario=SCENARIO)
    try:
        tdc = ("--engine", ENGINE, "--cylinder", 1)
        options: dict[str, tuple[object, ...]] = {
            "zero": (),
            "sealed": AT_ONE_PRESSURE,
            "restrictor": ("--orifice-area", "0.8 mm^2"),
            "tdc": tdc,
        }
        yield Shop(rig, db, {name: check(rig, db, name, *more) for name, more in options.items()})
    finally:
        rig.close()


# ---------------------------------------------------------------------- the way through


def test_the_checks_passed_and_are_in_the_record(shop: Shop) -> None:
    assert all(found["check"] == name and found["passed"] for name, found in shop.checks.items())
    with Store.open(shop.db, create=False) as store:
        kept = store.latest_rig_checks(shop.checks["zero"]["rig"])
    assert set(kept) == {"zero", "sealed", "restrictor", "tdc"}
    rig = load_scenario(SCENARIO).rig
    area_m2 = shop.checks["restrictor"]["result"]["area_m2"]
    assert area_m2 == pytest.approx(kept["restrictor"].result["area_m2"])
    assert shop.checks["sealed"]["result"]["p_regulated_gauge_pa"] == pytest.approx(rig.air.set_gauge_pa, rel=0.01)


def test_one_cylinder_is_measured_and_kept(shop: Shop) -> None:
    process = shop.measure("the whole way", "--json")
    try:
        assert process.end(shop.rig.person) == 0, process.text
    finally:
        process.clear_up()
    shown = json.loads(process.said[-1])
    truth = load_scenario(SCENARIO).truth[1]
    assert abs(shown["leakage_percent"] - truth.leakage_percent) <= MOST_LEAKAGE_OFF_POINTS
    assert abs(shown["leak_area_mm2"] / (truth.leak_area_m2 * 1e6) - 1.0) <= 0.03
    assert shown["void_reason"] is None
    assert shown["readiness"]["stroke_evidence"] == "squeeze"
    (test,) = shop.tests("the whole way")
    assert (test.id, test.state) == (shown["test"], "complete")
    assert test.result is not None
    assert test.result["leakage_percent"] == shown["leakage_percent"]


def test_the_round_of_a_job_is_broken_off_and_gone_on_with_and_then_has_nothing_left_to_do(shop: Shop) -> None:
    def round_of(*more: object) -> Process:
        shop.rig.person.do("hold release", "restrain off")
        where = ("--port", shop.rig.port, "--db", shop.db, "--ambient", "98.9 kPa")
        return Process("job", "run", "round", *where, "--cylinders", "1", "--json", *more)

    broken_off = round_of("--engine", ENGINE, "--hours", "310 h", "--hot", "--engine-temp", "85 degC")
    try:
        broken_off.until("PRESSURISED: air is on", shop.rig.person)
        broken_off.interrupt()
        assert broken_off.end() == 130, broken_off.text
    finally:
        broken_off.clear_up()
    assert "the same command goes on from here" in broken_off.text
    shop.vented()
    went_on = round_of()  # the engine is the job's own
    try:
        went_on.until("its test was void: it was stopped", None)
        went_on.until("Enter tests it", None)
        went_on.type("")
        went_on.until("type it", shop.rig.person)
        went_on.type("24 degC")
        assert went_on.end(shop.rig.person) == 0, went_on.text
    finally:
        went_on.clear_up()
    shown = json.loads(went_on.said[-1])
    assert (shown["stage"], shown["missing"], shown["tests"]) == ("routine", [], {"1": 1})
    (made,) = shown["made_now"]
    assert made["void_reason"] is None
    assert "a hot test was wanted and the engine was cold, 24 °C" in made["marks"]
    nothing_left = round_of()
    try:
        assert nothing_left.end(shop.rig.person) == 0, nothing_left.text
    finally:
        nothing_left.clear_up()
    assert json.loads(nothing_left.said[-1])["made_now"] == []
    with Store.open(shop.db, create=False) as store:
        job = store.find_job("round", "routine")
        assert job is not None
        first, second = store.list_captures(job.id)
    assert (first.state, second.state) == ("void", "complete")
    assert job.details["hours"] == "310 h"


# ---------------------------------------------------------------------- breaking off with air on


def test_ctrl_c_with_air_on_shuts_vents_and_keeps_the_test_as_void(shop: Shop) -> None:
    process = shop.measure("ctrl-c")
    try:
        process.until("PRESSURISED: air is on", shop.rig.person)
        shop.rig.person.do("wait 1")
        assert min(shop.rig.person.gauges_kpa()) > 300.0
        process.interrupt()
        assert process.end() == 130, process.text
    finally:
        process.clear_up()
    shop.vented()
    assert process.said[-1].startswith("borewright measure: stopped")
    assert "Traceback" not in process.text
    (test,) = shop.tests("ctrl-c")
    assert test.state == "void"
    assert "stopped" in str(test.void_reason)


def test_unplugging_with_air_on_ends_in_words_and_keeps_the_capture_as_void(shop: Shop) -> None:
    shop.rig.person.do("hold release")
    process = Process("rig", "sealed", "--port", shop.rig.port, "--db", shop.db, *AT_ONE_PRESSURE)
    try:
        process.until("PRESSURISED: air is on", shop.rig.person)
        shop.rig.person.do("unplug")
        assert process.end() == 3, process.text
    finally:
        process.clear_up()
    shop.vented()  # by the device alone
    shop.rig.person.do("plug")
    last = process.said[-1]
    assert last.startswith("borewright rig: ")
    assert "check cable and rig" in last
    assert "Traceback" not in process.text
    with Store.open(shop.db, create=False) as store:
        kept = [capture for capture in store.list_captures() if capture.purpose == "sealed"][-1]
        assert kept.state == "void"
        assert "link" in str(kept.void_reason)
        assert len(store.load_columns(kept.id)) > 1000
        assert store.latest_rig_checks(shop.checks["sealed"]["rig"])["sealed"].passed  # the check made before still stands


def test_a_program_that_is_ended_on_a_hand_rig_stays_until_the_person_has_vented(tmp_path: Path) -> None:
    db = tmp_path / "hand.db"
    rig = Served("--tcp", "127.0.0.1:0", scenario=f"{SCENARIO}-hand")
    process = Process("rig", "sealed", "--port", rig.port, "--db", db, *AT_ONE_PRESSURE)
    try:
        process.until("PRESSURISED: air is on", rig.person)
        process.ask_to_end()
        process.until("SHUT THE SUPPLY AND OPEN THE VENT BY HAND")
        assert process.child.poll() is None
        rig.person.do("supply shut", "vent open")
        assert process.end() == 130, process.text
        assert rig.person.gauges_kpa() == (0.0, 0.0)
    finally:
        process.clear_up()
        rig.close()
    assert "supply shut, vent open" not in process.text
    assert "kept, as void" in process.text
    with Store.open(db, create=False) as store:
        (capture,) = store.list_captures()
        assert capture.state == "void"


@pytest.mark.parametrize("name", ["", "   ", "two\nlines", "\x1b[31mred", "x" * 81])
def test_a_job_name_that_no_list_could_show_is_refused(tmp_path: Path, name: str) -> None:
    process = Process(
        "measure", "--port", tmp_path / "none", "--db", tmp_path / "n.db", "--engine", ENGINE, "--cylinder", 1, "--job", name
    )
    try:
        assert process.end() == 2, process.text
    finally:
        process.clear_up()
    assert not (tmp_path / "n.db").exists()


def test_the_end_of_input_lets_nothing_in(shop: Shop) -> None:
    process = shop.measure("nobody there")
    try:
        process.type_no_more()
        assert process.end(None) == 5, process.text
    finally:
        process.clear_up()
    assert process.said[-1].startswith("borewright measure: the input ended before all was answered; ")
    assert shop.tests("nobody there") == []
    assert shop.rig.person.gauges_kpa() == (0.0, 0.0)


# ---------------------------------------------------------------------- what is refused


def test_zero_over_a_pseudo_terminal(tmp_path: Path) -> None:
    rig = Served("--pty")
    try:
        assert check(rig, tmp_path / "pty.db", "zero")["passed"]
    finally:
        rig.close()


def test_a_rig_without_checks_is_not_ready_and_the_commands_are_named(shop: Shop, tmp_path: Path) -> None:
    new = replace(shop, db=tmp_path / "new.db")
    process = new.measure("unchecked")
    try:
        assert process.end(shop.rig.person) == 5, process.text
    finally:
        process.clear_up()
    last = process.said[-1]
    assert last.startswith("borewright measure: not ready for air: ")
    assert "borewright rig sealed" in last
    with Store.open(tmp_path / "new.db", create=False) as store:
        assert store.list_captures() == ()


def test_a_job_of_another_engine(shop: Shop) -> None:
    with Store.open(shop.db) as store:
        store.create_job("not ours", "before", store.save_engine("quite another", {"bore_mm": 86.0}))
    process = shop.measure("not ours")
    try:
        assert process.end() == 2, process.text
    finally:
        process.clear_up()
    assert "job 'not ours' at stage 'before' is of another engine, 'quite another'" in process.said[-1]
    assert shop.tests("not ours") == []


def test_a_cylinder_that_the_engine_does_not_have(tmp_path: Path) -> None:
    words = ("--port", "socket://127.0.0.1:1", "--db", tmp_path / "x.db", "--engine", ENGINE, "--job", "x")
    said = refusal("measure", 2, *words, "--cylinder", 5)
    assert said == "this engine has no cylinder 5; it has 1, 2, 3, 4"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("old", "new", "reason"),
    [
        ("firing_order = [1, 3, 4, 2]", "firing_order = [1, 3, 4, 4]", "firing_order"),
        ("rod_mm = 134.0", "rod_mm = 38.0", "rod"),
        ("bore_mm = ", "boar_mm = ", "boar_mm"),
    ],
)
def test_an_impossible_engine_file(tmp_path: Path, old: str, new: str, reason: str) -> None:
    text = ENGINE.read_text(encoding="utf-8")
    assert old in text
    bad = tmp_path / "bad.toml"
    bad.write_text(text.replace(old, new), encoding="utf-8")
    words = ("--port", "socket://127.0.0.1:1", "--db", tmp_path / "x.db", "--engine", bad, "--job", "x", "--cylinder", 1)
    said = refusal("measure", 2, *words)
    assert str(bad) in said
    assert reason in said
    assert not (tmp_path / "x.db").exists()


def test_a_record_that_is_not_ours_is_left_alone(tmp_path: Path) -> None:
    notes = tmp_path / "notes.txt"
    notes.write_text("the customer's own notes\n" * 400)
    words = ("--port", "socket://127.0.0.1:1", "--db", notes, "--engine", ENGINE, "--job", "x", "--cylinder", 1)
    assert "is not a Borewright record file" in refusal("measure", 4, *words)
    assert notes.read_text() == "the customer's own notes\n" * 400


def test_no_rig_at_the_port(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    db = tmp_path / "x.db"
    words = ("--db", db, "--engine", ENGINE, "--job", "x", "--cylinder", 1)
    assert str(port) in refusal("measure", 3, "--port", f"socket://127.0.0.1:{port}", *words)
    assert "no-such-port" in refusal("measure", 3, "--port", "/dev/no-such-port", *words)
    with Store.open(db, create=False) as store:
        assert store.list_jobs() == ()
