"""Scenario files: the named ones, their truth, and what is refused."""

from __future__ import annotations

import tomllib
from contextlib import suppress
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from boresim.reader import merged
from boresim.scenario import ScenarioError, load_scenario, read_scenario, scenario_names
from boresim.truth import place_shares, places_heard, plant_truth
from hypothesis import given, settings
from hypothesis import strategies as st


def document(name: str = "two-stroke-single") -> dict[str, Any]:
    return tomllib.loads((files("boresim.scenarios") / f"{name}.toml").read_text(encoding="utf-8"))


def test_the_named_scenarios_are_there() -> None:
    expected = {
        "hillclimb-before", "hillclimb-after", "hillclimb-before-hand", "hillclimb-after-hand", "two-stroke-single",
        "burnt-exhaust-valve", "worn-rings-one-bore", "gasket-between-neighbours", "decompression-held-open",
        "decompression-released", "cracked-head-coolant", "hose-in-wrong-hole", "check-valve-left-in", "check-valve-holds-in",
        "two-stroke-healthy", "v-twin-uneven", "short-block", "lime-eight",
    }  # fmt: skip
    assert expected <= set(scenario_names())


@pytest.mark.parametrize("name", scenario_names())
def test_the_truth_of_a_file_is_that_of_its_plant(name: str) -> None:
    scenario = load_scenario(name)
    computed = plant_truth(scenario)
    assert set(scenario.truth) == set(computed) == set(scenario.engine.firing_order)
    for cylinder, truth in scenario.truth.items():
        assert truth.leakage_percent == pytest.approx(computed[cylinder].leakage_percent, abs=6e-5)
        assert truth.leak_area_m2 == pytest.approx(computed[cylinder].leak_area_m2, abs=6e-12)


def test_the_story_of_the_hill_climb_engine_is_in_its_numbers() -> None:
    before, after = (load_scenario(f"hillclimb-{stage}").truth for stage in ("before", "after"))
    assert 25.0 < before[3].leakage_percent < 40.0
    assert 13.0 < before[2].leakage_percent < 17.0
    assert all(6.0 < before[number].leakage_percent < 10.0 for number in (1, 4))
    assert all(3.0 < after[number].leakage_percent < 8.0 for number in (1, 2, 3, 4))


@pytest.mark.parametrize(
    ("name", "cylinder", "place", "least_share", "leakage_percent"),
    [
        ("burnt-exhaust-valve", 3, "exhaust", 0.7, (45.0, 65.0)),
        ("worn-rings-one-bore", 2, "breather", 0.9, (35.0, 50.0)),
        ("gasket-between-neighbours", 2, "neighbours", 0.55, (30.0, 45.0)),
        ("gasket-between-neighbours", 3, "neighbours", 0.55, (30.0, 45.0)),
        ("decompression-held-open", 1, "exhaust", 0.95, (95.0, 100.0)),
        ("cracked-head-coolant", 1, "coolant", 0.55, (20.0, 30.0)),
        ("two-stroke-healthy", 1, "crankcase", 0.55, (2.0, 8.0)),
        ("v-twin-uneven", 2, "intake", 0.5, (15.0, 25.0)),
        ("short-block", 3, "breather", 0.99, (22.0, 32.0)),
        ("lime-eight", 2, "exhaust", 0.6, (28.0, 38.0)),
        ("lime-eight", 4, "breather", 0.9, (25.0, 35.0)),
    ],
)
def test_each_story_is_in_its_numbers(
    name: str, cylinder: int, place: str, least_share: float, leakage_percent: tuple[float, float]
) -> None:
    scenario = load_scenario(name)
    shares = place_shares(scenario, cylinder)
    assert sum(shares.values()) == pytest.approx(1.0, rel=1e-12)
    assert set(shares) == set(scenario.engine.places)
    assert max(shares, key=lambda at: shares[at]) == place
    assert shares[place] > least_share
    low, high = leakage_percent
    assert low < scenario.truth[cylinder].leakage_percent < high
    assert places_heard(scenario, cylinder)[place] in {"steady", "strong"}


def test_the_cylinders_that_no_story_is_about_are_sound() -> None:
    told = {
        "burnt-exhaust-valve": {3}, "worn-rings-one-bore": {2}, "gasket-between-neighbours": {2, 3}, "cracked-head-coolant": {1},
        "v-twin-uneven": {2}, "hose-in-wrong-hole": set(), "lime-eight": {2, 4, 6, 7, 8},
    }  # fmt: skip
    for name, bad in told.items():
        truth = load_scenario(name).truth
        assert all(2.0 < one.leakage_percent < 11.0 for cylinder, one in truth.items() if cylinder not in bad)
        assert all(truth[cylinder].leakage_percent > 15.0 for cylinder in bad)


def test_the_engines_are_what_their_stories_say() -> None:
    assert dict(load_scenario("v-twin-uneven").engine.firing_angles_deg) == {1: 0.0, 2: 270.0}
    block = load_scenario("short-block").engine
    assert (block.valves_move, block.places) == (False, ("breather", "coolant", "neighbours", "outside"))
    assert len(load_scenario("lime-eight").engine.firing_order) == 8
    assert dict(load_scenario("hose-in-wrong-hole").operator.wrong_holes) == {1: 3}
    ways = {name: load_scenario(name).rig.air.check_valve for name in ("check-valve-left-in", "check-valve-holds-in")}
    assert [valve and valve.way for valve in ways.values()] == ["out_of_cylinder", "into_cylinder"]


@pytest.mark.parametrize("stage", ["before", "after"])
def test_a_hand_valve_rig_is_the_same_rig_but_for_its_valves(stage: str) -> None:
    solenoid, hand = load_scenario(f"hillclimb-{stage}"), load_scenario(f"hillclimb-{stage}-hand")
    assert (solenoid.rig.valves, hand.rig.valves) == ("solenoid", "hand")
    assert not hand.rig.hold_switch
    assert (solenoid.leaks, solenoid.truth, solenoid.stage) == (hand.leaks, hand.truth, hand.stage)
    assert hand.rig.air.supply_travel_s > 10 * solenoid.rig.air.supply_travel_s


def test_a_seed_replaces_that_of_the_file() -> None:
    assert load_scenario("hillclimb-before").seed == 1907
    assert load_scenario("hillclimb-before", 3).seed == 3
    with pytest.raises(ScenarioError, match="seed: must be from 0"):
        load_scenario("hillclimb-before", -1)


def test_a_scenario_of_ones_own_builds_on_a_named_one_and_on_files_beside_it(tmp_path: Path) -> None:
    (tmp_path / "twin_engine.toml").write_text(
        'schema_version = 1\nname = "twin"\ncycle = "four-stroke"\nfiring_order = [1, 2]\nfiring_intervals_deg = [270.0, 450.0]\n'
        "bore_mm = 80\nstroke_mm = 70\nrod_mm = 130\ncompression_ratio = 9.5\n"
    )
    mine = tmp_path / "mine.toml"
    mine.write_text(
        'schema_version = 1\nlike = "hillclimb-after"\nname = "mine"\nengine = "twin_engine.toml"\ntruth = {}\n'
        "cylinders = [{ number = 1, leaks = [] }, { number = 2, leaks = [{ place = 'intake', area_mm2 = 1.0 }] }]\n"
    )
    with pytest.raises(ScenarioError, match=r"truth\.3: is not a key here"):
        load_scenario(str(mine))
    base = (files("boresim.scenarios") / "hillclimb-before.toml").read_text(encoding="utf-8").split("[truth]")[0]
    (tmp_path / "base.toml").write_text(base)
    mine.write_text(mine.read_text().replace("hillclimb-after", "base"))
    scenario = load_scenario(str(mine))
    assert dict(scenario.engine.firing_angles_deg) == {1: 0.0, 2: 270.0}
    assert plant_truth(scenario)[1].leakage_percent == pytest.approx(0.0, abs=1e-3)
    assert plant_truth(scenario)[2].leakage_percent > 20.0


WHILE_4 = {"cylinder": 4, "valve": "intake", "open": True}


def changed(path: str, value: object) -> dict[str, Any]:
    """The two-stroke's document with one key changed; a path like rig.air.relieving."""
    *tables, key = path.split(".")
    change: dict[str, Any] = {key: value}
    for table in reversed(tables):
        change = {table: change}
    return merged(document(), change)


@pytest.mark.parametrize(
    ("path", "value", "key", "reason"),
    [
        ("schema_version", 2, "schema_version", "from 1 to 1"),
        ("colour", "red", "colour", "not a key"),
        ("rig.air.colour", "red", "rig.air.colour", "not a key"),
        ("rig.valves", "electric", "rig.valves", "one of solenoid, hand"),
        ("rig.like", "no_rig.toml", "", "there is no no_rig.toml"),
        ("rig.hold_switch", 1, "rig.hold_switch", "true or false"),
        ("rig.air.dead_volume_cm3", 0, "rig.air.dead_volume_cm3", "from 1 to 1000"),
        ("rig.air.dead_volume_cm3", float("nan"), "rig.air.dead_volume_cm3", "must be a number"),
        ("rig.air.dead_volume_cm3", True, "rig.air.dead_volume_cm3", "must be a number"),
        ("rig.air.relieving", "yes", "rig.air.relieving", "true or false"),
        ("rig.encoder.sign", 0, "rig.encoder.sign", "1 or -1"),
        ("rig.encoder.counts_per_rev", 12.5, "rig.encoder.counts_per_rev", "whole number"),
        ("rig.transducers.adc_bits", 24, "rig.transducers.adc_bits", "from 8 to 16"),
        ("rig.air", 3, "rig.air", "must be a table"),
        ("engine", 3, "engine", "name of an engine file"),
        ("engine.bore_mm", -1, "engine.bore_mm", "more than"),
        ("engine.rod_mm", 20, "engine.rod_mm", "longer than half the stroke"),
        ("engine.firing_order", [2], "engine.firing_order", "each cylinder from 1"),
        ("cylinders", [], "cylinders", "cylinder 1 is missing"),
        ("cylinders", "none", "cylinders", "list of tables"),
        ("cylinders", [{"number": 2}], "cylinders[0].number", "no cylinder 2"),
        ("cylinders", [{"number": 1}, {"number": 1}], "cylinders[1].number", "there twice"),
        ("cylinders", [{"number": 1, "leaks": [{"place": "intake", "area_mm2": 1}]}], "cylinders[0].leaks[0].place", "one of"),
        ("cylinders", [{"number": 1, "leaks": [{"place": "outside"}]}], "cylinders[0].leaks[0].area_mm2", "must be given"),
        (
            "cylinders",
            [{"number": 1, "leaks": [{"place": "outside", "area_mm2": 1, "only_while": WHILE_4}]}],
            "cylinders[0].leaks[0].only_while.cylinder",
            "no cylinder 4",
        ),
        ("openings.shared_pipes", ["attic"], "openings.shared_pipes", "list of words among"),
        ("openings.shared_pipes", "exhaust_port", "openings.shared_pipes", "list of words among"),
        ("openings.intake_mm2", 1, "openings.intake_mm2", "from 10"),
        ("openings.plug_hole_mm2", 1, "openings.plug_hole_mm2", "from 10"),
        (
            "cylinders",
            [{"number": 1, "leaks": [{"place": "crankcase", "area_mm2": 1, "to": 1}]}],
            "cylinders[0].leaks[0].to",
            "the other cylinder",
        ),
        (
            "cylinders",
            [{"number": 1, "leaks": [{"place": "outside", "area_mm2": 1, "to": 4}]}],
            "cylinders[0].leaks[0].to",
            "no cylinder 4",
        ),
        ("rig.air.check_valve", "somewhere", "rig.air.check_valve", "one of none, into_cylinder"),
        ("rig.air.check_valve_opens_kpa", 0, "rig.air.check_valve_opens_kpa", "from 0.1"),
        ("operator.mistakes", {"hose": {"1": 3}}, "operator.mistakes.hose.1", "no cylinder 3"),
        ("operator.mistakes", {"hose": {"5": 1}}, "operator.mistakes.hose.5", "not a key"),
        ("operator.mistakes", {"vent": {}}, "operator.mistakes.vent", "not a key"),
        ("crank.inertia_kg_m2", 10**400, "crank.inertia_kg_m2", "must be a number"),
        ("crank.inertia_kg_m2", 0, "crank.inertia_kg_m2", "from 0.0001"),
        ("ambient.pressure_kpa", 1013, "ambient.pressure_kpa", "from 50 to 110"),
        ("operator.turn_rpm", 0, "operator.turn_rpm", "from 0.5"),
        ("truth.1.leakage_percent", 101, "truth.1.leakage_percent", "from 0 to 100"),
        ("truth.7", {"leakage_percent": 1, "leak_area_mm2": 1}, "truth.7", "not a key"),
        ("stage", "between", "stage", "one of before, after, routine"),
        ("name", 5, "name", "must be a text"),
        ("like", 5, "like", "name of another scenario"),
    ],
)
def test_what_cannot_be_is_refused_with_file_key_and_reason(path: str, value: object, key: str, reason: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        read_scenario(changed(path, value), "mine.toml")
    assert caught.value.key == key
    assert reason in caught.value.reason
    assert "\n" not in str(caught.value)


def test_files_that_cannot_be_read_are_refused_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match=r"is no scenario; give a \.toml file or one of .*hillclimb-before"):
        load_scenario("hillclimb")
    with pytest.raises(ScenarioError, match=r"cannot be read \(No such file"):
        load_scenario(str(tmp_path / "none.toml"))
    bad = tmp_path / "bad.toml"
    bad.write_text("name = ")
    with pytest.raises(ScenarioError, match="this is not TOML"):
        load_scenario(str(bad))
    for text in ("x = " + "[" * 100_000, "x." * 20_000 + "x = 1"):
        bad.write_text(text)
        with pytest.raises(ScenarioError, match=r"^bad\.toml: .*too deeply"):
            load_scenario(str(bad))
    bad.write_text("x = " + "9" * 5000)
    with pytest.raises(ScenarioError, match="too many digits"):
        load_scenario(str(bad))
    bad.write_bytes(b'name = "\xff"')
    with pytest.raises(ScenarioError, match="not UTF-8"):
        load_scenario(str(bad))
    bad.write_text('like = "bad"\n')
    with pytest.raises(ScenarioError, match="not come back to itself"):
        load_scenario(str(bad))


ODD: st.SearchStrategy[object] = st.sampled_from([[], {}, [{}], [5], None])
VALUES = st.one_of(st.booleans(), st.integers(), st.floats(), st.text(max_size=4), ODD)
PATHS = [
    *(f"{table}.{key}" for table, inner in document().items() if isinstance(inner, dict) and table != "rig" for key in inner),
    *document(), "rig.name", "rig.like", "rig.air", "rig.device", "openings.decompression_deg",
    "openings.stop_leak_mm2", "openings.shared_pipes", "openings.plug_hole_mm2", "operator.mistakes", "operator.mistakes.hose",
    "operator.mistakes.hose.1", "rig.air.check_valve", "rig.air.check_valve_area_mm2",
]  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(PATHS), VALUES)
def test_any_value_anywhere_is_read_or_refused_in_one_way(path: str, value: object) -> None:
    with suppress(ScenarioError):
        assert read_scenario(changed(path, value), "mine.toml").engine.cycle in {"two-stroke", "four-stroke"}
