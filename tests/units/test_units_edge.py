"""Units that a person can choose: what is shown reads back, gauge and absolute stay apart, a flow says its reference."""

from __future__ import annotations

from itertools import product
from math import floor, log10

import pytest
from borewright.units import UNITS, Dimension, UnitsError, in_unit, known_unit, parse, printed_unit, show
from hypothesis import given
from hypothesis import strategies as st

INCH_M = 0.0254  # exact: international yard and pound agreement, 1959
POUND_FORCE_N = 0.45359237 * 9.80665  # exact: the pound of 1959 under standard gravity of 1901
PSI_PA = POUND_FORCE_N / INCH_M**2
FOOT_M = 0.3048  # exact: 1959
ALL_UNITS = [(dimension, unit) for dimension, units in UNITS.items() for unit in units]
GAS_CONSTANT = 8.31446261815324 / 28.9647e-3  # exact SI constant; molar mass of dry air from memory, unverified
SPREAD: dict[Dimension, tuple[float, float]] = {
    "pressure_gauge": (-100e3, 2e6),
    "pressure_absolute": (1.0, 2e6),
    "length": (1e-5, 2.0),
    "area": (1e-10, 1e-3),
    "volume": (1e-8, 1e-2),
    "temperature": (200.0, 600.0),
    "torque": (0.01, 1000.0),
    "air_flow": (1e-8, 1.0),
}


@given(st.sampled_from(ALL_UNITS), st.floats(0.0, 1.0), st.integers(3, 12))
def test_what_is_shown_reads_back_within_its_digits(which: tuple[Dimension, str], share: float, significant: int) -> None:
    dimension, unit = which
    low, high = SPREAD[dimension]
    si = low + share * (high - low)
    back = parse(show(si, dimension, unit, significant), dimension)
    number = in_unit(si, dimension, unit)
    half_a_digit = 0.5 * 10.0 ** (floor(log10(abs(number))) + 1 - significant) if number else 0.0
    assert abs(in_unit(back, dimension, unit) - number) <= half_a_digit * 1.001 + 1e-12 * abs(number)


@pytest.mark.parametrize(("dimension", "unit"), ALL_UNITS)
def test_each_unit_knows_itself_as_it_is_printed_and_named(dimension: Dimension, unit: str) -> None:
    assert known_unit(unit, dimension) == unit
    assert parse(f"1.5 {printed_unit(unit, dimension)}", dimension) == pytest.approx(parse(f"1.5 {unit}", dimension), rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("14.7 psia", "pressure_absolute", 14.7 * PSI_PA),
        ("14.7 psi", "pressure_absolute", 14.7 * PSI_PA),
        ("14.7 PSIA", "pressure_absolute", 14.7 * PSI_PA),
        ("98.9 kPa", "pressure_absolute", 98_900.0),
        ("98.9 kPa abs", "pressure_absolute", 98_900.0),
        ("989 hPa (abs)", "pressure_absolute", 98_900.0),
        ("0.989 bar absolute", "pressure_absolute", 98_900.0),
        (
            "29.92 inHg",
            "pressure_absolute",
            29.92 * INCH_M * 13_595.1 * 9.80665,
        ),  # conventional mercury, NIST SP 811 (from memory, unverified)
        ("0 kPa", "pressure_absolute", 0.0),
        ("80 PSIG", "pressure_gauge", 80 * PSI_PA),
        ("80 psi gauge", "pressure_gauge", 80 * PSI_PA),
        ("1 in³", "volume", INCH_M**3),
        ("1 lb·in", "torque", POUND_FORCE_N * INCH_M),
        ("1 lb·ft", "torque", POUND_FORCE_N * 12 * INCH_M),
        ("212 °F", "temperature", 373.15),
        ("600 L/min ANR", "air_flow", 0.01 * 1.185),  # ISO 8778: 1.185 kg/m³ by definition
        ("600 L/min ANR (20 °C, 100 kPa, 65 % RH)", "air_flow", 0.01 * 1.185),
        ("600 l/min anr", "air_flow", 0.01 * 1.185),
    ],
)
def test_what_people_write(text: str, dimension: Dimension, si: float) -> None:
    assert parse(text, dimension) == pytest.approx(si, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "p_pa", "t_k", "m3_s"),
    [
        ("1 L/min 20 °C", 101_325.0, 293.15, 1e-3 / 60.0),
        ("1 L/min 0C", 101_325.0, 273.15, 1e-3 / 60.0),
        ("1 SCFM 60 °F", 101_325.0, (60.0 + 459.67) / 1.8, FOOT_M**3 / 60.0),
        ("1 SCFM (60 °F, 14.696 psi, dry)", 101_325.0, (60.0 + 459.67) / 1.8, FOOT_M**3 / 60.0),
        ("1 L/min 60F", 101_325.0, (60.0 + 459.67) / 1.8, 1e-3 / 60.0),
    ],
)
def test_a_flow_is_the_mass_of_its_volume_at_its_reference(text: str, p_pa: float, t_k: float, m3_s: float) -> None:
    """Ideal gas: p·V = m·R·T, dry air."""
    assert parse(text, "air_flow") == pytest.approx(p_pa * m3_s / (GAS_CONSTANT * t_k), rel=2e-4)


def test_the_same_litre_differs_by_its_reference_by_up_to_nine_per_cent() -> None:
    """Check table: "standard litre" and SCFM differ by up to 9 % with the reference."""
    flows = [parse(f"1 L/min {state}", "air_flow") for state in ("ANR", "20C", "0C", "60F")]
    assert max(flows) / min(flows) == pytest.approx(1.09, abs=0.005)
    pairs = [abs(one / other - 1.0) for one, other in product(flows, flows) if one is not other]
    assert min(pairs) > 0.01


@pytest.mark.parametrize("text", ["3 SCFM", "12 L/min", "12 L/min 25C", "12 L/min normal", "12 SLPM", "12 NL/min", "12 kPa", "1 L"])
def test_a_flow_without_a_stated_reference_is_refused(text: str) -> None:
    with pytest.raises(UnitsError) as refused:
        parse(text, "air_flow")
    said = str(refused.value)
    assert "at which state of the air" in said or "is no flow of air" in said
    assert said.endswith("write the flow of air like '12 L/min ANR'")


@given(
    st.floats(-1000.0, 1000.0),
    st.sampled_from(["psi", "kPa", "bar", "hPa", "Pa", "MPa", "mbar", "inHg", "mmHg"]),
    st.sampled_from(["", " ", "_", " ("]),
    st.sampled_from([("g", "gauge"), ("a", "abs", "absolute")]),
    st.booleans(),
)
def test_gauge_and_absolute_are_never_mixed(number: float, unit: str, between: str, words: tuple[str, ...], capital: bool) -> None:
    gauge = words[0] == "g"
    wrong: Dimension = "pressure_absolute" if gauge else "pressure_gauge"
    for word in words:
        said = word.upper() if capital else word
        text = f"{number:.3f} {unit}{between}{said}{')' if '(' in between else ''}"
        with pytest.raises(UnitsError, match=f"is {'a gauge' if gauge else 'an absolute'} pressure; write the"):
            parse(text, wrong)
        with pytest.raises(UnitsError):
            show(1e5, wrong, text.partition(" ")[2])


def test_an_absolute_pressure_is_not_less_than_a_vacuum() -> None:
    with pytest.raises(UnitsError, match="is less than a vacuum"):
        parse("-1 kPa", "pressure_absolute")


@pytest.mark.parametrize(
    ("si", "dimension", "unit", "shown"),
    [
        (80 * PSI_PA, "pressure_absolute", "psi", "80.00 psia"),
        (98_900.0, "pressure_absolute", "hPa", "989.0 hPa abs"),
        (98_900.0, "pressure_absolute", "kPa abs", "98.90 kPa abs"),
        (1.185e-2, "air_flow", "L/min 20 °C", "590.5 L/min (20 °C, 101.325 kPa, dry)"),
        (1.185e-2, "air_flow", "L/min ANR", "600.0 L/min ANR (20 °C, 100 kPa, 65 % RH)"),
        (1.185e-2, "air_flow", "SCFM 60 °F", "20.54 SCFM (60 °F, 14.696 psi, dry)"),
        (1e-6, "area", "in²", "0.001550 in²"),
        (1e-4, "volume", "L", "0.1000 L"),
        (13.558179483314, "torque", "lb·ft", "10.00 lb·ft"),
    ],
)
def test_absolute_and_flow_are_labelled(si: float, dimension: Dimension, unit: str, shown: str) -> None:
    assert show(si, dimension, unit) == shown


@given(st.text(max_size=30), st.sampled_from(list(UNITS)))
def test_any_text_gives_a_number_or_one_sentence(text: str, dimension: Dimension) -> None:
    for words in (text, f"3 {text}"):
        said = ""
        try:
            parse(words, dimension)
        except UnitsError as refused:
            said = str(refused)
        assert "\n" not in said.replace(repr(words.strip()), "")


@given(st.text(max_size=20), st.sampled_from(list(UNITS)))
def test_a_unit_to_show_in_is_one_of_those_there_are_or_refused(text: str, dimension: Dimension) -> None:
    try:
        found = known_unit(text, dimension)
    except UnitsError as refused:
        found = str(refused).rpartition("there are ")[2].partition(", ")[0]
    assert found in UNITS[dimension]
