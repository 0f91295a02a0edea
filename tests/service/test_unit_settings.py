"""The choice of units: where it is kept, that it comes back, and that no file stops a command."""

from __future__ import annotations

from pathlib import Path

import pytest
from borewright.errors import UseError
from borewright.service.unit_settings import KINDS, SYSTEMS, chosen_by, load_units, save_units, settings_path, unit_of
from borewright.units import UNITS, Dimension
from hypothesis import given
from hypothesis import strategies as st

HOME = Path("/home/ada")


@pytest.mark.parametrize(
    ("environment", "windows", "path"),
    [
        ({}, False, HOME / ".config/borewright/units.toml"),
        ({"XDG_CONFIG_HOME": "/etc/ada"}, False, Path("/etc/ada/borewright/units.toml")),
        ({"XDG_CONFIG_HOME": ""}, False, HOME / ".config/borewright/units.toml"),  # XDG Base Directory: empty counts as not set
        ({"XDG_CONFIG_HOME": "here"}, False, HOME / ".config/borewright/units.toml"),  # and so does a relative one
        ({"APPDATA": "/roam"}, False, HOME / ".config/borewright/units.toml"),
        ({"APPDATA": "/roam", "XDG_CONFIG_HOME": "/etc"}, True, Path("/roam/borewright/units.toml")),
        ({}, True, HOME / "AppData/Roaming/borewright/units.toml"),
    ],
)
def test_where_the_choice_is_kept(environment: dict[str, str], windows: bool, path: Path) -> None:
    assert settings_path(environment, HOME, windows=windows) == path


def test_every_kind_and_every_unit_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "new" / "units.toml"
    for number in range(max(len(units) for units in UNITS.values())):
        chosen: dict[Dimension, str] = {dimension: units[number % len(units)] for dimension, units in UNITS.items()}
        save_units(path, chosen)
        assert load_units(path) == (chosen, None)
    assert [one.name for one in path.parent.iterdir()] == ["units.toml"]
    save_units(path, {})
    assert not path.exists()
    save_units(path, {})
    assert load_units(path) == ({}, None)


def test_every_system_and_kind_is_whole() -> None:
    assert set(KINDS.values()) == set(UNITS)
    for system in SYSTEMS.values():
        assert {dimension: unit in UNITS[dimension] for dimension, unit in system.items()} == dict.fromkeys(UNITS, True)


@pytest.mark.parametrize(
    ("octets", "kept", "why"),
    [
        (b"\xff\xfe", {}, "not UTF-8"),
        (b"pressure = ", {}, "Invalid value"),
        (b"pressure = 'bar'\npressure = 'psi'", {}, "Cannot overwrite"),
        (b"#" * 30_000, {}, "too long"),
        (b"x = " + b"[" * 5000, {}, "too deeply"),
        (b"x." * 5000 + b"x = 1", {}, "too deeply"),
        (b"x = " + b"9" * 5000, {}, "too many digits"),
        (b"pressure = 3\narea = 'in2'", {"area": "in²"}, "pressure is no text"),
        (b"pressure = 'psia'\narea = 'in2'", {"area": "in²"}, "'psia' is no unit that the gauge pressure is shown in"),
        (b"colour = 'red'\narea = 'in2'", {"area": "in²"}, "'colour' is no kind of quantity"),
    ],
)
def test_a_file_that_cannot_be_used_gives_a_notice_and_the_usual_units(
    octets: bytes, kept: dict[Dimension, str], why: str, tmp_path: Path
) -> None:
    path = tmp_path / "units.toml"
    path.write_bytes(octets)
    chosen, notice = load_units(path)
    assert chosen == kept
    assert notice is not None
    assert notice.startswith(f"{path}: ")
    assert why in notice
    assert "\n" not in notice
    save_units(path, chosen | {"volume": "L"})
    assert load_units(path) == (kept | {"volume": "L"}, None)


@given(st.binary(max_size=60))
def test_no_file_stops_a_command(tmp_path_factory: pytest.TempPathFactory, octets: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any-units.toml"
    path.write_bytes(octets)
    chosen, _ = load_units(path)
    assert all(unit in UNITS[dimension] for dimension, unit in chosen.items())


def test_a_folder_in_its_place(tmp_path: Path) -> None:
    path = tmp_path / "units.toml"
    path.mkdir()
    chosen, notice = load_units(path)
    assert (chosen, notice is not None) == ({}, True)
    with pytest.raises(UseError, match="cannot be kept there"):
        save_units(path, {"area": "in²"})
    assert [one.name for one in tmp_path.iterdir()] == ["units.toml"]
    file = tmp_path / "file"
    file.touch()
    assert load_units(file / "units.toml") == ({}, None)
    with pytest.raises(UseError, match="cannot be kept there"):
        save_units(file / "units.toml", {"area": "in²"})


def test_a_choice_for_one_run() -> None:
    assert chosen_by("inch,pressure=bar") == SYSTEMS["inch"] | {"pressure_gauge": "bar"}
    assert chosen_by("pressure=bar, INCH") == SYSTEMS["inch"]
    assert chosen_by(" flow = L/min ANR ") == {"air_flow": "L/min ANR"}
    for words, why in (
        ("", "chooses no units"),
        ("imperial", "'imperial' chooses no units; write metric or inch"),
        ("pressure", "chooses no units"),
        ("pressure=", "is no unit"),
        ("weight=kg", "'weight' is no kind"),
        ("pressure=psia", "'psia' is no unit that the gauge pressure is shown in; there are psi, kPa, bar"),
    ):
        with pytest.raises(UseError, match=why):
            chosen_by(words)


def test_units_are_known_however_they_are_spelt() -> None:
    for kind, spelt, unit in (
        ("area", "mm^2", "mm²"),
        ("area", "sq", None),
        ("Pressure", "PSIG", "psi"),
        ("ambient", "psi", "psia"),
        ("ambient", "kPa", "kPa abs"),
        ("ambient", "kPa (abs)", "kPa abs"),
        ("ambient", "psig", None),
        ("temperature", "degC", "°C"),
        ("temperature", "f", "°F"),
        ("torque", "ft-lb", "lb·ft"),
        ("torque", "Nm", "N·m"),
        ("volume", "cm3", "cm³"),
        ("flow", "scfm 60F", "SCFM 60 °F"),
        ("flow", "scfm", None),
    ):
        if unit is None:
            with pytest.raises(UseError, match="is no unit"):
                unit_of(kind, spelt)
        else:
            assert unit_of(kind, spelt)[1] == unit
