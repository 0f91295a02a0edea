"""What hardware_notes says of the code is so: the budget's tables, the commands, the board's functions, counters and words."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest
from borewire.interlock import TABLE
from borewire.messages import Cause, FaultCode, RefusalReason
from borewright.core.calibration import DEFAULT_INTERVAL_S
from borewright.service.link_counters import DEVICE_COUNTERS
from borewright.service.rig_file import read_rig_file

from .hardware_budget import ROOT, TABLES, part_of
from .hardware_commands import blocks_of, command_lines, mistakes_of, named_in_prose

NOTES = ROOT / "hardware_notes"
PAGES = sorted(NOTES.glob("*.md"))
REFERENCE = ROOT / "firmware_protocol" / "reference_firmware"


def page(name: str) -> str:
    return (NOTES / f"{name}.md").read_text("utf-8")


def as_code(text: str) -> set[str]:
    """All that stands between backticks in one line."""
    return set(re.findall(r"`([^`\n]+)`", text))


# ---------------------------------------------------------------------- the budget


@pytest.mark.parametrize("name", TABLES)
def test_the_tables_of_the_budget_are_what_the_program_works_out(name: str) -> None:
    assert part_of(page("uncertainty"), name)[1].strip() == TABLES[name](), "renew it: python tests/check/hardware_budget.py"


def test_the_budget_says_what_the_page_draws_from_it() -> None:
    """The converter is the largest part of the leakage as built, the restrictor no part of it, and the span brings nothing."""
    leakage = [row.split("|")[1:-1] for row in TABLES["leakage"]().splitlines()[2:]]
    at_ten = {row[0].strip(" *"): float(row[2].strip(" *")) for row in leakage}
    parts = {name: value for name, value in at_ten.items() if not name.startswith(("combined", "expanded", "converter of"))}
    assert max(parts, key=parts.__getitem__) == "converter, 10 bits summed four times"
    assert at_ten["span of both"] == 0.0
    assert not any("restrictor" in name for name in at_ten)
    money = [row.split("|")[1:-1] for row in TABLES["money"]().splitlines()[2:]]
    before, after = next((one, two) for one, two in pairwise(money) if "rig span" in two[0])
    assert before[1:] == after[1:]


# ---------------------------------------------------------------------- commands


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_every_command_of_a_page_is_one(path: Path) -> None:
    text = path.read_text("utf-8")
    wrong = [mistakes_of(line, whole=True) for line in command_lines(text)]
    wrong += [mistakes_of(line, whole=False) for line in named_in_prose(text)]
    assert [said for said in wrong if said] == []


def test_the_pages_that_lead_through_commands_have_them() -> None:
    checks = {line.split()[2] for line in command_lines(page("calibration")) if line.startswith("borewright rig ")}
    assert checks == {"zero", "span", "sealed", "restrictor", "accept", "volume", "tdc", "show", "save", "load"}
    led = {line.split()[1] for line in command_lines(page("first-power-up"))}
    assert led >= {"ports", "doctor", "conform", "wire", "rig"}


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_every_goal_of_make_that_a_page_names_is_one(path: Path) -> None:
    files = (REFERENCE / "Makefile", ROOT / "firmware_protocol" / "c" / "Makefile")
    goals = {goal for file in files for goal in re.findall(r"^([a-z]+):", file.read_text("utf-8"), flags=re.MULTILINE)}
    text = path.read_text("utf-8")
    lines = [line for block in blocks_of(text, "sh") for line in block.splitlines() if line.startswith("make ")]
    lines += [span for span in as_code(text) if span.startswith("make ")]
    named = {word for line in lines for word in line.split()[1:] if "=" not in word}
    assert named - goals == set()


def test_a_wrong_command_would_be_found() -> None:
    assert "--presure" in mistakes_of("borewright rig sealed --port P --presure 3", whole=False)
    assert "required" in mistakes_of("borewright rig sealed", whole=True)
    assert "no command" in mistakes_of("borewright leak", whole=True)


# ---------------------------------------------------------------------- calibration


def test_the_intervals_are_those_of_the_program() -> None:
    rows = {row.split("|")[1].strip(): row for row in page("calibration").splitlines() if row.startswith("| ")}
    hours: dict[str, float] = {kind: value / 3600.0 for kind, value in DEFAULT_INTERVAL_S.items() if value is not None}
    assert f"{hours['zero']:.0f} hours" in rows["zero"]
    for kind in ("sealed", "restrictor"):
        assert f"{hours[kind] / 24.0:.0f} days" in rows[kind]
    for kind, name in (("span", "span"), ("volumes", "volume")):
        assert hours[kind] == 365.0 * 24.0
        assert "a year" in rows[name]
    assert hours["acceptance"] == 24.0
    assert DEFAULT_INTERVAL_S["tdc"] is None


@pytest.mark.parametrize("name", ["calibration", "uncertainty"])
def test_every_rig_file_of_a_page_can_be_read(name: str) -> None:
    blocks = blocks_of(page(name), "toml")
    assert blocks
    for block in blocks:
        assert read_rig_file(block, f"{name}.md").converter_nonlinearity_lsb == 2.0


# ---------------------------------------------------------------------- fault finding


def test_every_fault_counter_and_reason_is_in_fault_finding() -> None:
    named = as_code(page("fault-finding"))
    words = {member.name.lower() for enum in (FaultCode, Cause, RefusalReason) for member in enum}
    ordinary = {"power_up", "command_open", "command_shut", "command_vent", "command_close"}
    assert words - ordinary - named == set()
    assert set(DEVICE_COUNTERS) - named == set()


def test_what_fault_finding_quotes_the_program_does_say() -> None:
    """Everything in typographic quotes stands so in the source of host or codec."""
    folders = (ROOT / "host" / "borewright", ROOT / "firmware_protocol" / "borewire")
    source = "".join(path.read_text("utf-8") for folder in folders for path in sorted(folder.rglob("*.py")))
    quoted = re.findall(r"“([^”]+)”", page("fault-finding"))
    assert len(quoted) > 15
    assert [words for words in quoted if words not in source] == []


def test_the_times_of_the_interlock_are_those_of_the_table() -> None:
    for name in ("uncertainty", "porting"):
        assert f"{TABLE.host_silence_ms} ms" in page(name)
    assert f"{TABLE.sensor_fault_samples} samples" in page("fault-finding")


# ---------------------------------------------------------------------- porting


def test_porting_names_all_of_the_board_and_nothing_that_is_not_there() -> None:
    header = (REFERENCE / "hal.h").read_text("utf-8")
    functions = set(re.findall(r"^[\w ]+?\b((?:hal|app)_\w+)\(", header, flags=re.MULTILINE))
    constants = set(re.findall(r"\bHAL_[A-Z_]+\b", header)) - {"HAL_H", "HAL_CONFIG"}
    text = page("porting")
    assert len(functions) > 12
    assert set(re.findall(r"\b(?:hal|app)_[a-z_]+\b(?!\.)", text)) == functions
    assert set(re.findall(r"\bHAL_[A-Z_]+\b", text)) - {"HAL_CONFIG"} == constants
