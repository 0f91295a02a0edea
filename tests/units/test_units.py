"""Units at the edge. Outside values: the definitions of the units."""

from __future__ import annotations

import subprocess
import sys

import pytest
from borewright.errors import UseError
from borewright.units import Dimension, UnitsError, parse, show
from hypothesis import given
from hypothesis import strategies as st

INCH_M = 0.0254  # exact: international yard and pound agreement, 1959
POUND_FORCE_N = 0.45359237 * 9.80665  # exact: the pound of 1959 under standard gravity of 1901


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("80 psi", "pressure_gauge", 80 * POUND_FORCE_N / INCH_M**2),
        ("80psi", "pressure_gauge", 80 * POUND_FORCE_N / INCH_M**2),
        ("80 psig", "pressure_gauge", 80 * POUND_FORCE_N / INCH_M**2),
        ("5.5 bar", "pressure_gauge", 550_000.0),
        ("5.5 barg", "pressure_gauge", 550_000.0),
        ("551.6 kPa", "pressure_gauge", 551_600.0),
        ("551.6 kPa (g)", "pressure_gauge", 551_600.0),
        ("-20 kPa", "pressure_gauge", -20_000.0),
        ("1e5 Pa", "pressure_gauge", 100_000.0),
        (" .5 MPa ", "pressure_gauge", 500_000.0),
        ("0.040 in", "length", 0.040 * INCH_M),
        ("86 mm", "length", 0.086),
        ("-0.8 mm", "length", -0.0008),
        ("1.2 mm^2", "area", 1.2e-6),
        ("1.2 mm2", "area", 1.2e-6),
        ("1.2 mm²", "area", 1.2e-6),
        ("1.2 mm**2", "area", 1.2e-6),
        ("0.001257 in^2", "area", 0.001257 * INCH_M**2),
        ("500 cm3", "volume", 500e-6),
        ("500 cc", "volume", 500e-6),
        ("0.5 L", "volume", 500e-6),
        ("20 degC", "temperature", 293.15),
        ("20 °C", "temperature", 293.15),
        ("20 C", "temperature", 293.15),
        ("-40 °F", "temperature", 233.15),
        ("68 F", "temperature", 293.15),
        ("300 K", "temperature", 300.0),
        ("60 N m", "torque", 60.0),
        ("60 Nm", "torque", 60.0),
        ("60 N·m", "torque", 60.0),
        ("44 lb ft", "torque", 44 * POUND_FORCE_N * 12 * INCH_M),
        ("44 ft-lb", "torque", 44 * POUND_FORCE_N * 12 * INCH_M),
        ("44 lbf ft", "torque", 44 * POUND_FORCE_N * 12 * INCH_M),
    ],
)
def test_what_people_write_becomes_si(text: str, dimension: Dimension, si: float) -> None:
    assert parse(text, dimension) == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "dimension", "why"),
    [
        ("", "pressure_gauge", "is not a number with a unit"),
        ("80", "pressure_gauge", "is not a number with a unit"),
        ("psi", "pressure_gauge", "is not a number with a unit"),
        ("5,5 bar", "pressure_gauge", "is not a number with a unit"),
        ("80 psi 3", "pressure_gauge", "is no gauge pressure"),
        ("nan psi", "pressure_gauge", "is not a number with a unit"),
        ("1e999 psi", "pressure_gauge", "is too large to be meant"),
        ("80 psia", "pressure_gauge", "is an absolute pressure"),
        ("2 bara", "pressure_gauge", "is an absolute pressure"),
        ("200 kPa abs", "pressure_gauge", "is an absolute pressure"),
        ("80 mm", "pressure_gauge", "is no gauge pressure"),
        ("80 furlongs_and_more", "length", "is no length"),
        ("80 __import__('os')", "length", "is no length"),
        ("1.2 mm", "area", "is no area"),
        ("-300 degC", "temperature", "is at or below absolute zero"),
        ("0 K", "temperature", "is at or below absolute zero"),
        ("20 m", "temperature", "is no temperature"),
        ("3 kg", "torque", "is no torque"),
    ],
)
def test_what_is_no_such_quantity_is_refused_in_one_sentence(text: str, dimension: Dimension, why: str) -> None:
    with pytest.raises(UnitsError) as refused:
        parse(text, dimension)
    words = str(refused.value)
    assert why in words
    assert "; write the " in words
    assert "\n" not in words
    assert isinstance(refused.value, UseError)


@given(st.text(max_size=30), st.sampled_from(["pressure_gauge", "length", "area", "volume", "temperature", "torque"]))
def test_any_text_gives_a_number_or_our_error(text: str, dimension: Dimension) -> None:
    try:
        value = parse(text, dimension)
    except UnitsError:
        return
    assert isinstance(value, float)


@pytest.mark.parametrize(
    ("si", "dimension", "unit", "shown"),
    [
        (551_580.583, "pressure_gauge", "psi", "80.00 psi"),
        (551_580.583, "pressure_gauge", "kPa", "551.6 kPa"),
        (0.0, "pressure_gauge", "bar", "0.000 bar"),
        (-123_456.0, "pressure_gauge", "Pa", "-123500 Pa"),
        (99_999.9, "pressure_gauge", "kPa", "100.0 kPa"),
        (8.107319665559963e-07, "area", "mm^2", "0.8107 mm²"),
        (8.107319665559963e-07, "area", "in2", "0.001257 in²"),
        (450e-6, "volume", "cm^3", "450.0 cm³"),
        (293.15, "temperature", "degC", "20.00 °C"),
        (293.15, "temperature", "F", "68.00 °F"),
        (60.0, "torque", "Nm", "60.00 N·m"),
        (float("nan"), "length", "mm", "nan mm"),
    ],
)
def test_si_is_shown_in_a_unit_without_exponent(si: float, dimension: Dimension, unit: str, shown: str) -> None:
    assert show(si, dimension, unit) == shown


@given(st.floats(1.0, 2e6), st.sampled_from(["psi", "bar", "kPa", "Pa", "MPa"]))
def test_what_is_shown_reads_back(pa: float, unit: str) -> None:
    assert parse(show(pa, "pressure_gauge", unit, significant=12), "pressure_gauge") == pytest.approx(pa, rel=1e-10)


def test_an_unknown_unit_to_show_in_is_refused() -> None:
    with pytest.raises(UnitsError, match="is no length"):
        show(1.0, "length", "psi")


def test_pint_is_loaded_at_the_first_use_only() -> None:
    script = (
        "import sys, borewright.units as u; before = 'pint' in sys.modules; u.parse('1 m', 'length'); "
        "print(before, 'pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]
