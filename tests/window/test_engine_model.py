"""An engine in the form, without a window: what is written is read once, and judged by the check of engine files alone."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from borewire.engine_file import EngineFileError, check_engine, engine_faults
from borewire.engine_schema import ENGINE_SCHEMA
from borewright.app.pages.engine_fields import FIELDS, SECTIONS
from borewright.app.pages.engine_model import EngineEdit, new_document
from borewright.service.shown_units import ShownUnits
from borewright.service.toml_text import toml_text
from borewright.service.unit_settings import SYSTEMS
from hypothesis import given, settings
from hypothesis import strategies as st

VECTORS = Path(__file__).resolve().parents[2] / "firmware_protocol" / "vectors"
ACCEPT = sorted((VECTORS / "engine_accept").glob("*.toml"))
REJECT = [path for path in sorted((VECTORS / "engine_reject").glob("*.toml")) if path.stem != "not_toml"]
USUAL, METRIC, INCH = ShownUnits(), ShownUnits(SYSTEMS["metric"]), ShownUnits(SYSTEMS["inch"])
HOSTILE = (
    *("\x00\x1b[31m\x07", "\u202egnirob", "{}", "٣"),
    *("1e999", "-1e999", "1e-999", "nan", "inf", "86,5"),
    *("a" * 10_000, "9" * 10_000),
)


def document_of(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text("utf-8"))


def four() -> dict[str, Any]:
    return document_of(VECTORS / "engine_accept" / "inline_four.toml")


def test_every_key_of_an_engine_file_has_a_field_and_the_other_way_round() -> None:
    keys = set()
    for key, rule in ENGINE_SCHEMA["properties"].items():
        keys |= {f"{key}.{inner}" for inner in rule["properties"]} if rule.get("type") == "object" else {key}
    assert keys - {"schema_version"} == set(FIELDS)
    for field in FIELDS.values():
        rule = ENGINE_SCHEMA["properties"][field.path[0]]
        rule = rule["properties"][field.path[1]] if len(field.path) > 1 else rule
        if field.kind == "choice":
            assert [value for value, _ in field.choices] == rule["enum"], field.key
            default = rule.get("default")
            assert dict(field.choices).get(default, "") == field.unstated, field.key
        if field.kind == "places":
            assert [value for value, _ in field.choices] == rule["items"]["enum"]
    assert sum(len(section.fields) for section in SECTIONS) == len(FIELDS)


@pytest.mark.parametrize("path", ACCEPT, ids=lambda path: path.stem)
@pytest.mark.parametrize("units", [USUAL, METRIC, INCH], ids=["usual", "metric", "inch"])
def test_an_engine_comes_out_as_it_went_in_though_each_field_is_written_again(path: Path, units: ShownUnits) -> None:
    document = document_of(path)
    edit = EngineEdit(document)
    assert edit.faults.count == 0
    for field in FIELDS.values():
        if field.kind not in ("choice", "places"):
            edit.put(field, edit.text(field, units), units)
    assert edit.document == document
    assert not edit.changed
    assert edit.engine is not None


@pytest.mark.parametrize("path", REJECT, ids=lambda path: path.stem)
def test_what_is_shown_to_be_wrong_is_what_the_check_of_files_says(path: Path) -> None:
    document = document_of(path)
    with pytest.raises(EngineFileError) as refused:
        check_engine(document, "it")
    faults = engine_faults(document, "it")
    assert (faults[0].key, faults[0].reason) == (refused.value.key, refused.value.reason)
    assert len({fault.key for fault in faults}) == len(faults)
    shown = EngineEdit(document).faults
    sentences = [*shown.at_field.values(), *shown.at_table.values(), *shown.elsewhere.values()]
    quantity = any(field.dimension and isinstance(document.get(key), str) for key, field in FIELDS.items())
    assert quantity or f"{refused.value.key}: {refused.value.reason}" in sentences
    assert EngineEdit(document).engine is None


def test_each_faulty_field_says_so_at_once_and_not_one_after_the_other() -> None:
    edit = EngineEdit(four())
    for key, text in (("bore_mm", "2"), ("stroke_mm", ""), ("firing_order", "1 3 x 2"), ("notes", "a\x07")):
        edit.put(FIELDS[key], text, USUAL)
    assert edit.faults.at_field == {
        "firing_order": "firing_order[2]: must be a whole number, not 'x'",
        "bore_mm": "bore_mm: must be more than 5, not 2",
        "stroke_mm": "stroke_mm: must be given",
        "notes": "notes: must be a text of characters that can be printed",
    }


def test_what_values_mean_together_is_said_at_its_field_too() -> None:
    edit = EngineEdit(four())
    edit.put(FIELDS["rod_mm"], "20", USUAL)
    edit.put(FIELDS["firing_order"], "1 3 4 4", USUAL)
    assert edit.faults.at_field["rod_mm"].startswith("rod_mm: must be longer than half the stroke")
    assert edit.faults.at_field["firing_order"] == "firing_order: must name each cylinder from 1 to 4 once, not [1, 3, 4, 4]"
    edit.put_value(FIELDS["cycle"], "two-stroke")
    edit.put(FIELDS["valve_events.intake_opens_before_tdc_deg"], "10", USUAL)
    assert "must be given" in edit.faults.at_field["valve_events.intake_closes_after_bdc_deg"]


def test_a_table_of_the_other_cycle_is_a_fault_of_its_section_and_can_be_left_out() -> None:
    edit = EngineEdit(document_of(VECTORS / "engine_reject" / "valves_on_two_stroke.toml"))
    assert edit.faults.at_table == {"valve_events": "valve_events: belongs to a four-stroke; a two-stroke has port_events"}
    edit.leave_out_table("valve_events")
    assert edit.faults.count == 0


def test_what_is_not_known_is_told_and_can_be_left_out() -> None:
    edit = EngineEdit(four() | {"bore": 80, "valve_events": {"intake_lift": 3}, "maker_limits": {"sauce": "manual"}})
    assert set(edit.faults.elsewhere) == {"bore", "valve_events.intake_lift", "maker_limits.sauce"}
    edit.leave_out_unknown()
    assert edit.faults.elsewhere == {}
    edit.leave_out_table("valve_events")
    assert edit.faults.count == 0


def test_quantities_are_read_in_the_unit_that_is_shown_or_in_the_one_that_is_written() -> None:
    edit = EngineEdit(four())
    bore, cap, volume = FIELDS["bore_mm"], FIELDS["coolant_cap_kpa"], FIELDS["clearance_cm3"]
    # 1 in = 25.4 mm exactly (international yard and pound agreement of 1959)
    for text, units, wanted in (("3.4", INCH, 86.36), ("86 mm", INCH, 86), ("3.4 in", USUAL, 86.36), ("8.6 cm", USUAL, 86)):
        edit.put(bore, text, units)
        assert edit.document["bore_mm"] == wanted, text
    # 1 psi = 6894.757293168 Pa (NIST SP 811, 2008, B.8); 1 in³ = 16.387064 cm³ exactly
    edit.put(cap, "15", INCH)
    assert edit.document["coolant_cap_kpa"] == pytest.approx(15 * 6.894757293168, rel=1e-11)
    edit.put(volume, "3", INCH)
    assert edit.document["clearance_cm3"] == pytest.approx(3 * 16.387064, rel=1e-11)
    edit.put(cap, "90 kPa abs", USUAL)
    assert "is an absolute pressure" in edit.faults.at_field["coolant_cap_kpa"]


@given(st.floats(6.0, 1000.0), st.integers(1, 6))
@settings(max_examples=40, deadline=None)
def test_units_switched_to_and_fro_leave_the_value_to_the_last_bit(bore: float, times: int) -> None:
    edit = EngineEdit(four() | {"bore_mm": bore})
    field = FIELDS["bore_mm"]
    for _ in range(times):
        for units in (INCH, METRIC, USUAL):
            edit.put(field, edit.text(field, units), units)
    assert edit.document["bore_mm"] == bore
    # also where it was written over and then back, as it was shown
    edit.put(field, "77", INCH)
    edit.put(field, EngineEdit(four() | {"bore_mm": bore}).text(field, INCH), INCH)
    assert edit.document["bore_mm"] == bore
    assert not edit.changed


@pytest.mark.parametrize("key", [key for key, field in FIELDS.items() if field.kind not in ("choice", "places")])
@pytest.mark.parametrize("units", [USUAL, INCH], ids=["usual", "inch"])
def test_nothing_that_is_written_into_a_field_breaks_it(key: str, units: ShownUnits) -> None:
    for text in HOSTILE:
        edit = EngineEdit(four())
        edit.put(FIELDS[key], text, units)
        faults = edit.faults
        sentences = [*faults.at_field.values(), *faults.at_table.values(), *faults.elsewhere.values()]
        assert all(sentence.isprintable() and len(sentence) <= 200 for sentence in sentences)
        assert edit.text(FIELDS[key], units)
        assert edit.name.isprintable()
        assert (edit.engine is None) == bool(faults.count)
        if not faults.count:  # a text that a note or a name may well be
            assert tomllib.loads(toml_text(edit.document)) == edit.document


@given(st.sampled_from(sorted(FIELDS)), st.text(max_size=40), st.sampled_from([USUAL, INCH]))
@settings(max_examples=150, deadline=None)
def test_any_text_at_all_is_taken_or_told_to_be_wrong(key: str, text: str, units: ShownUnits) -> None:
    edit = EngineEdit(four())
    edit.put(FIELDS[key], text, units)
    edit.put(FIELDS[key], edit.text(FIELDS[key], units), units)
    assert (edit.engine is None) == bool(edit.faults.count)


WILD = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**400), 10**400) | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=4,
)


@given(st.dictionaries(st.sampled_from([field.path[0] for field in FIELDS.values()]), WILD.filter(lambda value: value is not None)))
@settings(max_examples=150, deadline=None)
def test_any_file_can_be_shown_in_the_form(document: dict[str, Any]) -> None:
    edit = EngineEdit({"schema_version": 1} | document)
    for field in FIELDS.values():
        for units in (USUAL, INCH):
            edit.text(field, units)
    assert edit.faults.count > 0 or edit.engine is not None


def test_a_new_engine_has_not_changed_and_lacks_what_every_engine_needs() -> None:
    edit = EngineEdit(new_document(), unsaved=True)
    assert not edit.changed
    assert set(edit.faults.at_field) == {*ENGINE_SCHEMA["required"], "compression_ratio"} - {"schema_version"}
