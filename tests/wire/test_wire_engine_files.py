"""Engine files: the vectors that host and simulator both run, the defaults, and the sentence that a person reads."""

from __future__ import annotations

import math
import tomllib
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from borewire.engine_file import EngineFileError, check_engine, parse_engine
from hypothesis import given
from hypothesis import strategies as st

from .vector_files import ROOT

ACCEPT = sorted((ROOT / "vectors" / "engine_accept").glob("*.toml"))
REJECT = sorted((ROOT / "vectors" / "engine_reject").glob("*.toml"))
FOUR = (ROOT / "vectors" / "engine_accept" / "inline_four.toml").read_text("utf-8")


@pytest.mark.parametrize("path", ACCEPT, ids=lambda path: path.stem)
def test_accepted(path: Path) -> None:
    text = path.read_text("utf-8")
    engine = parse_engine(text, path.name)
    assert tomllib.loads(text).items() <= engine.items()
    assert len(engine["firing_intervals_deg"]) == len(engine["firing_order"])
    assert engine["clearance_cm3"] > 0
    # what was filled in is itself a whole engine, but for the ratio that the clearance came from
    again = {key: value for key, value in engine.items() if key != "compression_ratio"}
    assert check_engine(again, path.name) == again


@pytest.mark.parametrize("path", REJECT, ids=lambda path: path.stem)
def test_refused_with_file_key_and_reason(path: Path) -> None:
    text = path.read_text("utf-8")
    key = text.splitlines()[0].removeprefix("# refused at:").strip()
    with pytest.raises(EngineFileError) as caught:
        parse_engine(text, path.name)
    assert (caught.value.source, caught.value.key) == (path.name, key)
    sentence = str(caught.value)
    assert sentence.startswith(f"{path.name}: {key}")
    assert caught.value.reason
    assert "\n" not in sentence


def test_there_are_vectors_of_both_kinds() -> None:
    assert len(ACCEPT) >= 6
    assert len(REJECT) >= 30


def test_what_is_left_out_is_filled_in() -> None:
    engine = parse_engine(FOUR, "four.toml")
    assert engine["firing_intervals_deg"] == [180.0] * 4
    assert engine["running_direction"] == "clockwise"
    assert (engine["cooling"], engine["decompression"], engine["valve_gear"]) == ("liquid", "none", "fitted")
    assert engine["pin_offset_mm"] == 0
    # ratio = (swept + clearance) / clearance
    swept_cm3 = math.pi / 4 * 8.6**2 * 8.6
    assert (swept_cm3 + engine["clearance_cm3"]) / engine["clearance_cm3"] == pytest.approx(11.0, rel=1e-12)


def test_the_document_given_is_not_changed() -> None:
    text = (ROOT / "vectors" / "engine_accept" / "everything_given.toml").read_text("utf-8")
    document = tomllib.loads(text)
    engine = check_engine(document, "four.toml")
    engine["valve_events"]["intake_closes_after_bdc_deg"] = 0.0
    engine["firing_intervals_deg"].append(180.0)
    assert document == tomllib.loads(text)


def test_a_cylinder_number_with_a_point_becomes_a_whole_number() -> None:
    engine = parse_engine(FOUR.replace("[1, 3, 4, 2]", "[1.0, 3, 4, 2]"), "four.toml")
    assert [type(cylinder) for cylinder in engine["firing_order"]] == [int] * 4


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=5), inner, max_size=4),
    max_leaves=6,
)
KEYS = st.sampled_from(["cycle", "firing_order", "firing_intervals_deg", "bore_mm", "pin_offset_mm", "valve_events", "unknown"])


@given(st.dictionaries(KEYS, JSON, max_size=3), st.text(max_size=60))
def test_any_document_is_accepted_or_refused_with_the_one_error(changes: dict[str, Any], text: str) -> None:
    checked = partial(check_engine, {**tomllib.loads(FOUR), **changes}, "f")
    for attempt in (checked, partial(parse_engine, text, "f")):
        with suppress(EngineFileError):
            assert attempt()["clearance_cm3"] > 0
