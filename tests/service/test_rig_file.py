"""Rig files: taken with their units, refused with file, key and reason."""

from __future__ import annotations

from math import pi
from pathlib import Path

import pytest
from borewright.core.rig import RigSetup
from borewright.errors import UseError
from borewright.service.rig_file import load_rig_file, read_rig_file
from hypothesis import given
from hypothesis import strategies as st


def test_an_empty_file_is_the_reference_rig() -> None:
    assert read_rig_file("", "bench.toml") == RigSetup()


def test_every_key_is_understood(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(
        'name = "bench 2"\ntransducer_range = ["0 psi", "150 psi"]\nrestrictor_bore = "0.060 in"\nset_pressure = "80 psi"\n'
        'regulated_lowest = "75 psi"\nregulated_highest = "90 psi"\nrated_cylinder_side = "10 bar"\ndead_volume = "12 cm^3"\n'
        'hose_volume = "45 cm^3"\nencoder_counts_rise = false\nrestraint_slack_deg = 0.5\n'
    )
    setup = load_rig_file(path)
    assert setup.name == "bench 2"
    assert setup.transducer_high_gauge_pa == pytest.approx(150 * 6894.757293168)
    assert setup.restrictor_area_m2 == pytest.approx(pi / 4 * (0.060 * 0.0254) ** 2)
    assert setup.regulated_low_gauge_pa == pytest.approx(75 * 6894.757293168)
    assert setup.rated_cylinder_side_gauge_pa == pytest.approx(1e6)
    assert (setup.dead_volume_m3, setup.hose_volume_m3) == (pytest.approx(12e-6), pytest.approx(45e-6))
    assert (setup.running_sign, setup.restraint_slack_deg) == (-1, 0.5)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("colour = 3", "colour"),
        ('set_pressure = "80"', "set_pressure"),
        ('set_pressure = "80 psia"', "set_pressure"),
        ("set_pressure = 80", "set_pressure"),
        ('set_pressure = "8000 psi"', "set_pressure"),
        ('set_pressure = "95 psi"', "set_pressure"),
        ('transducer_range = ["0 kPa"]', "transducer_range"),
        ('transducer_range = ["700 kPa", "0 kPa"]', "transducer_range"),
        ('transducer_range = ["0 kPa", "600 kPa"]', "regulated_highest"),
        ('rated_cylinder_side = "500 kPa"', "regulated_highest"),
        ('restrictor_bore = "1 mm"\nrestrictor_area = "1 mm^2"', "restrictor_bore"),
        ('restrictor_bore = "1 km"', "restrictor_bore"),
        ('encoder_counts_rise = "yes"', "encoder_counts_rise"),
        ("restraint_slack_deg = 20", "restraint_slack_deg"),
        ("restraint_slack_deg = true", "restraint_slack_deg"),
        ('name = ""', "name"),
    ],
)
def test_what_cannot_be_is_refused_with_its_key(text: str, key: str) -> None:
    with pytest.raises(UseError) as refused:
        read_rig_file(text, "bench.toml")
    assert str(refused.value).startswith(f"bench.toml: {key}: ")
    assert "\n" not in str(refused.value)


def test_a_file_that_is_no_toml_or_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(UseError, match="this is not TOML"):
        read_rig_file("name = ", "bench.toml")
    for text in ("x = " + "[" * 100_000, "x." * 20_000 + "x = 1", "x = " + "9" * 5000):
        with pytest.raises(UseError, match=r"^bench\.toml: .*(too deeply|too many digits)"):
            read_rig_file(text, "bench.toml")
    with pytest.raises(UseError, match="cannot be read"):
        load_rig_file(tmp_path / "none.toml")


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        setup = read_rig_file(text, "bench.toml")
    except UseError:
        return
    assert isinstance(setup, RigSetup)
