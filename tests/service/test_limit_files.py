"""Limit files: what a shop writes becomes a set, what cannot be is refused in one sentence with file, key and reason."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from math import inf
from pathlib import Path

import pytest
from borewright.errors import UseError
from borewright.service.limit_files import find_limits, known_limits, maker_limits, read_limits
from hypothesis import given
from hypothesis import strategies as st

ROOT = Path(__file__).resolve().parents[2]
SHOP = """
schema_version = 1
name = "Larch shop"
kind = "own"
source = "what our engines read on the day they left"
spread_percent = [4, 8.5]
caution = "Ours only."

[[bands]]
name = "hand it over"
words = "as tight as any"
up_to_percent = 9

[[bands]]
name = "strip it"
words = "none read more"

[procedure]
name = "as we do it"
otherwise = "not as we do it"
pressure_under_flow = "5.5 bar"
pressure_tolerance = "0.1 bar"
engine_at_least = "140 degF"
restrictor_area_share = [0.7, 1.0]
assumed = ["the oil was warm"]

[[procedure.restrictors]]
cylinder_bore_under = "100 mm"
restrictor_bore = "1 mm"

[[procedure.restrictors]]
restrictor_bore = "1.5 mm"
"""

ODD_VALUES = [
    *("1", "-1", "0.0", "nan", "-inf", "true", "[]", "[1, 2]", "[[1], 2]", "{}", "{ a = 1 }", "1979-05-27", f"1{'0' * 400}"),
    *('""', '"80 psi"', '"-1 mm"', '"\\u0000"', f'"{"x" * 400}"'),
]


def test_everything_that_a_file_can_say(tmp_path: Path) -> None:
    path = tmp_path / "shop.toml"
    path.write_text(SHOP, encoding="utf-8")
    limits = find_limits(str(path))
    assert (limits.name, limits.kind, limits.caution, limits.spread_percent) == ("Larch shop", "own", "Ours only.", (4.0, 8.5))
    assert [(band.name, band.up_to_percent) for band in limits.bands] == [("hand it over", 9.0), ("strip it", inf)]
    made = limits.procedure
    assert made is not None
    assert made.p_regulated_gauge_pa == pytest.approx(550_000.0)
    assert made.p_tolerance_pa == pytest.approx(10_000.0)
    assert made.t_engine_least_k == pytest.approx(333.15)
    assert [(one.bore_under_m, one.restrictor_bore_m) for one in made.restrictors] == [
        (pytest.approx(0.1), pytest.approx(0.001)),
        (inf, pytest.approx(0.0015)),
    ]
    assert (made.area_share, made.assumed) == ((0.7, 1.0), ("the oil was warm",))


def test_the_sets_of_the_program_are_in_its_wheel() -> None:
    data = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]["package-data"]
    assert data["borewright.service"] == ["limit_sets/*.toml"]
    assert len(known_limits()) == len(list((ROOT / "host/borewright/service/limit_sets").glob("*.toml")))
    assert set(known_limits()) == {"common practice", "AC 43.13-1B"}


def test_the_limit_of_the_engine_file() -> None:
    engine = {"name": "Larch", "maker_limits": {"leakage_percent": 15.0, "spread_percent": 6.0, "source": "works manual"}}
    limits = find_limits("maker", engine)
    assert [band.up_to_percent for band in limits.bands] == [15.0, inf]
    assert (limits.kind, limits.spread_percent, limits.source) == ("published", (6.0, 6.0), "engine file of Larch: works manual")
    with pytest.raises(UseError, match="Larch has no limit of its maker"):
        maker_limits({"name": "Larch"})
    with pytest.raises(UseError, match="under 100"):
        maker_limits({"name": "Larch", "maker_limits": {"leakage_percent": 100}})


def changed(old: str, new: str) -> Callable[[], str]:
    def text() -> str:
        assert SHOP.count(old) >= 1
        return SHOP.replace(old, new, 1)

    return text


@pytest.mark.parametrize(
    ("text", "key", "why"),
    [
        (changed("schema_version = 1", "schema_version = 2"), "schema_version", "must be 1"),
        (changed("schema_version = 1", "schema_version = true"), "schema_version", "must be 1"),
        (changed("schema_version = 1", ""), "schema_version", "must be 1"),
        (changed('name = "Larch shop"', 'name = ""'), "name", "must be a line"),
        (changed('name = "Larch shop"', 'name = "a\\nb"'), "name", "must be a line"),
        (changed('name = "Larch shop"', 'name = "\\u001b[31mred"'), "name", "must be a line"),
        (changed('name = "Larch shop"', "name = 3"), "name", "must be a line"),
        (changed('name = "Larch shop"', f'name = "{"x" * 81}"'), "name", "must be a line"),
        (changed('kind = "own"', 'kind = "law"'), "kind", "must be one of common practice, published, own"),
        (changed("source =", "sauce ="), "sauce", "is no key here"),
        (changed("spread_percent = [4, 8.5]", "spread_percent = [8.5, 4]"), "spread_percent", "rising"),
        (changed("spread_percent = [4, 8.5]", "spread_percent = [4]"), "spread_percent", "two numbers"),
        (changed("spread_percent = [4, 8.5]", "spread_percent = [4, nan]"), "spread_percent", "must be a number"),
        (changed("spread_percent = [4, 8.5]", "spread_percent = [4, 800]"), "spread_percent", "up to 100"),
        (changed("up_to_percent = 9", "up_to_percent = true"), "bands[1].up_to_percent", "must be a number"),
        (changed("up_to_percent = 9", "up_to_percent = inf"), "bands[1].up_to_percent", "must be a number"),
        (changed("up_to_percent = 9", f"up_to_percent = 1{'0' * 400}"), "bands[1].up_to_percent", "must be a number"),
        (changed("up_to_percent = 9", "up_to_percent = -9"), "bands", "between 0 and 100"),
        (changed("up_to_percent = 9", ""), "bands", "between 0 and 100"),
        (changed('words = "none read more"', 'words = "-"\nup_to_percent = 20'), "bands", "no upper end"),
        (changed('name = "strip it"', 'name = "hand it over"'), "bands", "name of its own"),
        (changed('words = "as tight as any"', 'colour = "green"'), "bands[1].colour", "is no key here"),
        (changed('"5.5 bar"', '"5.5 bara"'), "procedure.pressure_under_flow", "is an absolute pressure"),
        (changed('"5.5 bar"', "5.5"), "procedure.pressure_under_flow", "a number and its unit"),
        (changed('"5.5 bar"', '"5.5 kbar"'), "procedure.pressure_under_flow", "look at the unit"),
        (changed('"140 degF"', '"140 psi"'), "procedure.engine_at_least", "is no temperature"),
        (changed('"100 mm"', '"100 m"'), "procedure.restrictors[1].cylinder_bore_under", "look at the unit"),
        (changed('restrictor_bore = "1 mm"', ""), "procedure.restrictors[1].restrictor_bore", "a number and its unit"),
        (changed('cylinder_bore_under = "100 mm"', ""), "procedure.restrictors", "by rising cylinder_bore_under"),
        (changed('["the oil was warm"]', '"warm"'), "procedure.assumed", "list of lines"),
        (changed('otherwise = "not as we do it"', ""), "procedure.otherwise", "must be a line"),
    ],
)
def test_what_cannot_be_is_refused_with_file_key_and_reason(text: Callable[[], str], key: str, why: str) -> None:
    with pytest.raises(UseError) as refused:
        read_limits(text(), "shop.toml")
    said = str(refused.value)
    assert said.startswith(f"shop.toml: {key}: ")
    assert why in said
    assert "\n" not in said


@pytest.mark.parametrize(
    "text",
    [
        "",
        "schema_version = 1",
        "bands = 3",
        "[[bands]]\nname = 1",
        "[procedure]",
        "x = " + "[" * 2000,
        "x." * 20_000 + "x = 1",
        "= 3",
        f"a = {'9' * 5000}",
    ],
)
def test_odd_texts_are_refused_in_our_words(text: str) -> None:
    with pytest.raises(UseError, match=r"^odd\.toml: "):
        read_limits(text, "odd.toml")


@given(st.text(max_size=200))
def test_any_text_is_a_set_or_refused(text: str) -> None:
    with pytest.raises(UseError):
        read_limits(text, "any.toml")


@given(
    st.sampled_from([number for number, line in enumerate(SHOP.splitlines()) if "=" in line]),
    st.sampled_from(ODD_VALUES),
)
def test_any_value_in_any_place_is_a_set_or_refused_with_the_file(number: int, value: str) -> None:
    lines = SHOP.splitlines()
    lines[number] = f"{lines[number].partition('=')[0]}= {value}"
    try:
        said = read_limits("\n".join(lines), "shop.toml").name
    except UseError as refused:
        said = str(refused).partition(": ")[0]
    assert said in ("Larch shop", "shop.toml", "80 psi", "-1 mm")  # the last two where they are the name itself


def test_bands_that_are_no_tables() -> None:
    for bands in ("bands = []", "bands = [1]", "bands = { a = 1 }"):
        head = SHOP.partition("[[bands]]")[0]
        with pytest.raises(UseError, match=r"shop\.toml: bands"):
            read_limits(head + bands, "shop.toml")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    huge = tmp_path / "huge.toml"
    huge.write_text("#" * 200_000, encoding="utf-8")
    for wanted, why in (
        (str(tmp_path / "none.toml"), "No such file"),
        (str(tmp_path), "cannot be read"),
        (str(binary), "not UTF-8"),
        (str(huge), "too large, over 0.1 MB"),
        ("no\0name", "cannot be read"),
    ):
        with pytest.raises(UseError, match=why) as refused:
            find_limits(wanted)
        assert "\n" not in str(refused.value)
    with pytest.raises(UseError, match=r'"AC 43\.13-1B", "common practice", "maker"'):
        find_limits(str(tmp_path / "none.toml"))
