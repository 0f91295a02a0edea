"""What air at a place means: for every engine and place there is something to say, and open valves are those of the engine."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest
from borewright.core.engine import Engine, ValveEvents
from borewright.core.place_meaning import meaning
from borewright.core.place_open import open_now, open_ports
from borewright.core.teardown import LIMITS, teardown
from hypothesis import given
from hypothesis import strategies as st

FOUR = Engine("invented four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
TWIN = Engine("invented twin", "two-stroke", (1, 2), (180.0, 180.0), 0.054, 0.0545, 0.110, 12e-6)

CYCLES: list[Literal["four-stroke", "two-stroke"]] = ["four-stroke", "two-stroke"]
ASSEMBLIES: list[Literal["complete", "short_block", "bare_head"]] = ["complete", "short_block", "bare_head"]


@st.composite
def engines(draw: st.DrawFn) -> Engine:
    count = draw(st.integers(1, 8))
    cycle = draw(st.sampled_from(CYCLES))
    assembly = draw(st.sampled_from(ASSEMBLIES)) if cycle == "four-stroke" else "complete"
    spacing = (720.0 if cycle == "four-stroke" else 360.0) / count
    return Engine(
        "any",
        cycle,
        tuple(draw(st.permutations(range(1, count + 1)))),
        (spacing,) * count,
        0.08,
        0.08,
        0.14,
        50e-6,
        cooling=draw(st.sampled_from(["liquid", "air", "oil"])),
        decompression=draw(st.sampled_from(["none", "manual", "automatic"])),
        valve_gear="fitted" if assembly == "complete" else "not_fitted",
        assembly=assembly,
    )


@given(engines())
def test_every_place_of_every_engine_is_told_what_it_means(engine: Engine) -> None:
    for cylinder in engine.cylinders:
        for place in engine.places:
            means, work = meaning(engine, cylinder, place), teardown(engine, place)
            texts = (*means.implies, *means.imitated_by, means.next_step, means.look, work.open, work.measure, work.look_first)
            assert all(text.isprintable() and text.strip() == text != "" for text in texts)
            assert len(set(means.imitated_by)) == len(means.imitated_by) >= 2
            assert any("another cylinder's hole" in text for text in means.imitated_by) == (len(engine.cylinders) > 1)
            assert LIMITS in work.measure
            if engine.assembly != "complete":
                assert "gasket burnt" not in " ".join(means.implies), "there is no head gasket in a part of an engine"
                assert "compression stroke" not in " ".join(texts), "no valve moves, so there is no stroke to prove"


def test_the_neighbours_whose_valves_are_open_are_named() -> None:
    # by hand: 1-3-4-2, cylinder 1 at compression TDC. 4 is at overlap; 3 comes next, at BDC before compression, its intake valve
    # open for 55° more; 2 fired before and is at BDC after its power stroke, its exhaust valve open for 55° already
    first = meaning(FOUR, 1, "neighbours").imitated_by[0]
    assert "cylinder 2's exhaust valve, cylinder 3's intake valve, cylinder 4's intake and exhaust valves" in first
    assert "before the gasket" in first
    tight = replace(FOUR, valve_events=ValveEvents(-5.0, -5.0, -5.0, -5.0))
    none_open = meaning(tight, 1, "neighbours")
    assert "no other valve stands open" in none_open.imitated_by[0]
    assert "the valves of cylinder 2 and 3 and 4 are all shut now" in none_open.look
    assert "cylinder 2's exhaust valve, cylinder 4's exhaust valve, open now" in " ".join(meaning(FOUR, 1, "exhaust").imitated_by)


def test_ports_of_the_other_cylinder_stand_open_at_its_bottom_only() -> None:
    assert open_ports(TWIN, 1, 2) == ("exhaust", "transfer")
    together = replace(TWIN, firing_intervals_deg=(0.0, 360.0))
    assert open_ports(together, 1, 2) == ()
    assert open_now(together, 1) == ""
    assert open_ports(FOUR, 1, 2) == ()
    assert "cylinder 2's exhaust and transfer ports" in meaning(TWIN, 1, "other_chambers").imitated_by[0]


@pytest.mark.parametrize(
    ("device", "word"), [("automatic", "automatic decompression device"), ("manual", "decompression device held open")]
)
def test_a_decompression_device_is_asked_for_first(device: str, word: str) -> None:
    engine = replace(FOUR, decompression=device)  # type: ignore[arg-type]
    assert word in meaning(engine, 1, "exhaust").imitated_by[0]
    assert "decompression" not in " ".join(meaning(FOUR, 1, "exhaust").imitated_by)


def test_the_cautions_stand_where_the_act_is() -> None:
    assert "No fingers and no gloved hand in the intake" in meaning(FOUR, 1, "intake").look
    assert "Never open the cap of a hot engine" in meaning(FOUR, 1, "coolant").look
    assert "Do not close the breather" in meaning(FOUR, 1, "breather").look
    assert "never a finger" in meaning(TWIN, 1, "exhaust_port").look


def test_a_place_that_the_engine_does_not_have() -> None:
    with pytest.raises(ValueError, match=r"^place: must be one of intake, exhaust"):
        meaning(FOUR, 1, "crankcase")
    with pytest.raises(ValueError, match="cylinder 5 is not in this engine"):
        meaning(FOUR, 5, "intake")
