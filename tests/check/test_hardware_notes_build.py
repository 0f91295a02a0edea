"""What hardware_notes says of the rig's parts is what the code works out, and the pins are those of the firmware."""

from __future__ import annotations

import re
from functools import cache

import pytest

from .hardware_pages import DRAWINGS, NOTES, PAGES, ROOT, Marked, disagreeing, marked_in
from .hardware_values import all_values

PINS_H = ROOT / "firmware_protocol" / "reference_firmware" / "pins.h"
CONFIG_H = PINS_H.with_name("config.h")
# ATmega328P in the 28-pin DIP, from memory of its data sheet: the first pin number of each run of port pins
DIP28 = {("PB", 0): 14, ("PC", 0): 23, ("PD", 0): 2, ("PD", 5): 11}


@cache
def numbers() -> tuple[Marked, ...]:
    return tuple(number for page in PAGES for number in marked_in(page.read_text("utf-8"), page.name))


def test_every_marked_number_is_what_the_code_works_out() -> None:
    assert disagreeing(list(numbers()), all_values()) == []
    assert len(numbers()) > 120


def test_every_value_is_stated_on_a_page() -> None:
    assert set(all_values()) - {number.name for number in numbers()} == set()


def test_a_wrong_or_unknown_number_would_be_found() -> None:
    text = "1.60<!-- =filter_corner_khz --> kHz and 3<!-- =no_such_value -->, but 1.6<!-- =filter_corner_khz --> is right"
    assert disagreeing(marked_in(text, "page.md"), all_values()) == [
        "page.md says filter_corner_khz = 1.6, the code says 1.5915",
        "page.md: nothing computes no_such_value",
    ]
    with pytest.raises(ValueError, match="no number right in front of it"):
        marked_in("a corner <!-- =filter_corner_khz -->", "page.md")


# ---------------------------------------------------------------------- what part holds what


def test_the_reliefs_on_the_page_pass_what_they_must() -> None:
    """7 is asked for with the area that the limiting orifice needs, 14 with more than a hand-turned car engine does."""
    values = all_values()
    parts = (NOTES / "parts.md").read_text("utf-8")
    asked = {number: float(area) for number, area in re.findall(r"\| (\d+) \| relief valve \|.*?area ([\d.]+) mm²", parts)}
    assert asked["7"] >= values["relief_regulated_area_mm2"]
    assert asked["14"] >= values["relief_cylinder_area_mm2"]
    assert asked["14"] >= max(values["squeeze_a_60_mm2"], values["squeeze_b_60_mm2"])
    assert asked["14"] < values["squeeze_a_250_mm2"], "the page says that no such relief holds an engine on its starter"


def test_the_reliefs_open_above_what_the_program_lets_be_and_below_the_rating() -> None:
    values = all_values()
    plumbing = (NOTES / "plumbing.md").read_text("utf-8")
    opens = [float(kpa) for kpa in re.findall(r"relief valve, opens at (\d+) kPa", plumbing)]
    assert opens == [700.0, 900.0]
    assert values["regulated_high_kpa"] < opens[0]
    rated_kpa = 1000.0  # the default of `rated_cylinder_side`, and of the weakest part on the page
    assert values["squeeze_vent_percent"] / 100.0 * rated_kpa < opens[1]
    assert 1.1 * opens[1] <= rated_kpa


# ---------------------------------------------------------------------- pins


def pins_of_the_firmware() -> dict[str, str]:
    """Names of pins.h with their port pins; of the converter's inputs those of port C."""
    text = PINS_H.read_text("utf-8")
    pins = dict(re.findall(r"^#define (PIN_\w+) (P[A-D]\d)\b", text, flags=re.MULTILINE))
    analog = dict(re.findall(r"^#define (MUX_\w+) (\d+)u?\b", text, flags=re.MULTILINE))
    return pins | {name: f"PC{number}" for name, number in analog.items() if int(number) < 8}


def pins_of_the_page() -> dict[str, tuple[str, int]]:
    """Rows of the pin table: name, port pin and number of the DIP."""
    page = (NOTES / "wiring.md").read_text("utf-8")
    rows = re.findall(r"^\| [^|]+ \| (P[A-D]\d) \| (\d+) \| `?(\w+)`? \|", page, flags=re.MULTILINE)
    return {name: (pin, int(number)) for pin, number, name in rows}


def dip_number(pin: str) -> int:
    port, bit = pin[:2], int(pin[2])
    first = max(start for start_port, start in DIP28 if start_port == port and start <= bit)
    return DIP28[port, first] + bit - first


def test_the_pins_of_the_wiring_are_those_of_the_firmware() -> None:
    page = pins_of_the_page()
    firmware = pins_of_the_firmware()
    assert len(firmware) == 9
    assert {name: page[name][0] for name in firmware} == firmware
    assert {name: page[name][0] for name in set(page) - set(firmware)} == {"RXD": "PD0", "TXD": "PD1"}
    assert {name: number for name, (_, number) in page.items()} == {name: dip_number(pin) for name, (pin, _) in page.items()}


def test_the_drawing_of_the_wiring_has_the_same_pins() -> None:
    drawing = (DRAWINGS / "wiring-overall.svg").read_text("utf-8")
    drawn = dict(re.findall(r">(P[A-D]\d)(?: [A-Z]+)? \((\d+)\)<", drawing))
    assert drawn == {pin: str(number) for pin, number in pins_of_the_page().values()}


def test_the_board_is_the_one_of_the_pages() -> None:
    config = dict(re.findall(r"^#define (HAL_\w+) ([\w().]+)", CONFIG_H.read_text("utf-8"), flags=re.MULTILINE))
    assert int(config["HAL_COUNTS_PER_REV"].rstrip("u")) == all_values()["counts_1024"]
    assert int(config["HAL_CONVERSIONS"].rstrip("u")) == 4
    assert config["HAL_SENSOR_SUPPLY_VOLTS"] == "5.0f"
