"""The window's settings: kept, and never in the way of a start."""

from pathlib import Path

import pytest
from borewright.app.settings import Settings, load_settings, save_settings
from borewright.errors import UseError
from hypothesis import given
from hypothesis import strategies as st


def test_what_is_kept_comes_back(tmp_path: Path) -> None:
    settings = Settings(theme="dark", scale_percent=150, sounds=False, who='Ada "B" \\ C', air_by="countdown")
    save_settings(tmp_path / "folder" / "window.toml", settings)
    assert load_settings(tmp_path / "folder" / "window.toml") == (settings, None)


def test_without_a_file_all_is_as_usual(tmp_path: Path) -> None:
    assert load_settings(tmp_path / "window.toml") == (Settings(), None)


@pytest.mark.parametrize(
    ("octets", "reason"),
    [
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"theme = ", "not TOML"),
        (b'theme = "pink"', "theme is one of system, light, dark"),
        (b"scale_percent = 9000", "scale_percent is from 80 to 250"),
        (b"sounds = 1", "sounds is not what it has to be"),
        (b'colour = "x"', "colour is not known"),
        (b'who = "a\\u0007b"', "who holds what is no text"),
        (b"#" * 200_000, "too long"),
        (b"theme = {a = [1]}", "theme is one of"),
    ],
)
def test_a_corrupt_file_is_a_notice_and_the_usual_settings(tmp_path: Path, octets: bytes, reason: str) -> None:
    path = tmp_path / "window.toml"
    path.write_bytes(octets)
    settings, notice = load_settings(path)
    assert settings == Settings()
    assert notice is not None
    assert reason in notice
    save_settings(path, Settings(theme="dark"))
    assert load_settings(path) == (Settings(theme="dark"), None)
    assert path.with_suffix(".unusable").read_bytes() == octets  # somebody may want it back


def test_what_can_be_used_of_a_half_good_file_is(tmp_path: Path) -> None:
    path = tmp_path / "window.toml"
    path.write_text('theme = "dark"\nspan_s = "long"\n', encoding="utf-8")
    settings, notice = load_settings(path)
    assert settings == Settings(theme="dark")
    assert notice is not None


@given(st.binary(max_size=300))
def test_no_octets_stop_the_start(tmp_path_factory: pytest.TempPathFactory, octets: bytes) -> None:
    path = tmp_path_factory.mktemp("settings") / "window.toml"
    path.write_bytes(octets)
    settings, _ = load_settings(path)
    assert 80 <= settings.scale_percent <= 250


def test_a_folder_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(UseError, match="settings cannot be kept"):
        save_settings(tmp_path / "file" / "window.toml", Settings())
