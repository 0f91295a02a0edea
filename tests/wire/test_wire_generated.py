"""What is made from the tables is current, the page's hex is true, and the table keeps its promises to older devices."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from borewire.framing import checksum, frame_of, payload_of, stuff
from borewire.generate import ROOT as GENERATED_ROOT
from borewire.generate import canonical_text, generated_files, main
from borewire.generate_page import FRAMES_SHOWN
from borewire.interlock import TABLE
from borewire.messages import (
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    SCHEMA_FINGERPRINT,
    TYPES_TO_DEVICE,
    TYPES_TO_HOST,
    AirState,
    Cause,
    RefusalReason,
)
from borewire.table import TableError, parse_table

from .vector_files import ROOT, load

PAGE = (ROOT / "PROTOCOL.md").read_text("utf-8")
EXAMPLES = re.findall(r"```hex (.+)\n((?:.+\n)+?)```", PAGE)


@pytest.mark.parametrize(("path", "text"), generated_files().items(), ids=lambda value: getattr(value, "name", "text"))
def test_generated_file_is_current(path: Any, text: str) -> None:
    assert path.read_text("utf-8") == text, f"{path.name} is not current; run python -m borewire.generate"


def test_the_check_command_says_so() -> None:
    assert GENERATED_ROOT == ROOT
    run = subprocess.run([sys.executable, "-m", "borewire.generate", "--check"], capture_output=True, text=True, check=False)
    assert (run.returncode, run.stdout, run.stderr) == (0, "", "")


def test_a_misused_generator_changes_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--chek"]) == 2
    assert "usage" in capsys.readouterr().err


def test_every_generated_table_is_on_the_page() -> None:
    for kind in [*TYPES_TO_DEVICE.values(), *TYPES_TO_HOST.values()]:
        assert f"#### 0x{kind.TYPE:02X} {kind.__name__}\n" in PAGE
    for row in TABLE.commands:
        assert f"#### {row.command}\n" in PAGE
    for watch in TABLE.watches:
        assert watch.when in PAGE
    assert f"`0x{SCHEMA_FINGERPRINT:08X}`" in PAGE
    cases = [*load("accept/to_host.json")["cases"], *load("accept/to_device.json")["cases"]]
    for name in FRAMES_SHOWN:
        (case,) = (case for case in cases if case["name"] == name)
        assert f"frame   {bytes.fromhex(case['frame']).hex(' ')}\n" in PAGE


@pytest.mark.parametrize(("head", "lines"), EXAMPLES, ids=lambda value: value.split()[0])
def test_the_worked_examples_of_the_page(head: str, lines: str) -> None:
    name, *assignments = head.split()
    kind = next(kind for kind in TYPES_TO_DEVICE.values() if kind.__name__ == name)
    numbers: dict[str, Any] = {key: int(value) for key, value in (pair.split("=") for pair in assignments)}
    message = kind(**numbers)
    steps = {step: bytes.fromhex(octets) for step, octets in (line.split(maxsplit=1) for line in lines.splitlines())}
    assert list(steps) == ["content", "payload", "xored", "stuffed", "frame"]
    assert steps["content"] == bytes((kind.TYPE,)) + message.encode_body()
    assert steps["payload"] == steps["content"] + checksum(steps["content"]).to_bytes(2, "little")
    assert steps["xored"] == bytes(octet ^ 0xF5 for octet in steps["payload"])
    assert steps["stuffed"] == stuff(steps["xored"])
    assert steps["frame"] == frame_of(kind.TYPE, message.encode_body()) == b"\x00" + steps["stuffed"] + b"\x00"
    assert payload_of(steps["stuffed"]) == steps["content"]


def test_the_page_has_its_examples_and_its_checksum() -> None:
    assert [head.split()[0] for head, _ in EXAMPLES] == ["SupplyOpen", "StatusRequest", "HostAlive"]
    assert f"The checksum is 0x{checksum(bytes.fromhex(EXAMPLES[0][1].splitlines()[0].split(maxsplit=1)[1])):04X}." in PAGE
    assert f"0x{checksum(b'123456789'):04X}" in PAGE


def test_the_table_is_the_recorded_one_and_keeps_what_older_minors_said() -> None:
    current = canonical_text()
    own = ROOT / "versions" / f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR}.txt"
    assert own.read_text("utf-8") == current, "the table changed: raise its version and record it as VERSIONS.md says"
    for path in (ROOT / "versions").glob(f"{PROTOCOL_MAJOR}.*.txt"):
        older = path.read_text("utf-8").splitlines()[1:]
        assert set(older) <= set(current.splitlines()), f"the table no longer says all that {path.stem} said"
        assert f"| {path.stem} |" in (ROOT / "VERSIONS.md").read_text("utf-8")


def test_every_message_fits_into_a_frame_at_its_longest() -> None:
    for case in [*load("accept/to_host.json")["cases"], *load("accept/to_device.json")["cases"]]:
        assert len(bytes.fromhex(case["frame"])) <= 256


def _table(**changes: Any) -> dict[str, Any]:
    field = {"name": "n", "type": "u8", "doc": "d"}
    message = {"name": "M", "type": 1, "to": "device", "doc": "d", "fields": [field | changes.pop("field", {})]} | changes
    return {"protocol": {"major": 1, "minor": 0}, "enums": {}, "flags": {}, "messages": [message]}


@pytest.mark.parametrize(
    ("document", "reason"),
    [
        (_table(to="host"), "from 0x80 go to the host"),
        (_table(type=0), "must be 1 to 255"),
        (_table(field={"type": "u24"}), "there is no type u24"),
        (_table(field={"type": "text"}), "text needs a max_length"),
        (_table(field={"type": "rest"}), "must be the last field and have a length rule"),
        (_table(field={"type": "rest", "length": "2 * count"}), "may name earlier fields only"),
        (_table() | {"messages": _table()["messages"] * 2}, "the same name"),
        (_table() | {"enums": {"E": {"doc": "d", "base": "u8", "values": {"a": 0, "b": 0}}}}, "the same value"),
    ],
)
def test_a_table_that_contradicts_itself_is_refused(document: dict[str, Any], reason: str) -> None:
    with pytest.raises(TableError, match=reason):
        parse_table(document)


def test_every_refusal_reason_is_used() -> None:
    by_interlock = {refusal.reason for row in TABLE.commands for refusal in row.refuse}
    said_on_the_page = {reason for reason in RefusalReason if f"`{reason.name.lower()}`" in PAGE.split("### Commands")[0]}
    assert by_interlock | said_on_the_page == set(RefusalReason)


def test_every_cause_is_a_command_a_watch_or_power_up() -> None:
    causes = [row.cause for row in TABLE.commands] + [row.cause for row in TABLE.watches] + [Cause.POWER_UP]
    assert sorted(causes) == sorted(Cause)


def test_the_interlock_names_real_messages_and_watches_every_state_with_the_vent_closed() -> None:
    names = {kind.__name__ for kind in TYPES_TO_DEVICE.values()}
    assert {row.command for row in TABLE.commands} <= names
    assert TABLE.power_up_state is AirState.VENTED
    for state in (AirState.OPEN, AirState.ISOLATED, AirState.CLOSED):
        on = {row.cause for row in TABLE.watches_in(state)}
        assert {Cause.HOST_SILENT, Cause.TIME_LIMIT, Cause.OVER_PRESSURE_CYLINDER, Cause.SENSOR_FAULT, Cause.STREAM_STOPPED} <= on
    assert {Cause.CRANK_LEFT_WINDOW, Cause.HOLD_RELEASED} <= {row.cause for row in TABLE.watches_in(AirState.ISOLATED)}
    assert Cause.OVER_PRESSURE_REGULATED in {row.cause for row in TABLE.watches_in(AirState.OPEN)}
    assert TABLE.watches_in(AirState.VENTED) == ()
    with pytest.raises(KeyError):
        TABLE.command("SupplyBlow")


def test_the_engine_schema_module_is_the_schema() -> None:
    from borewire.engine_schema import ENGINE_SCHEMA  # noqa: PLC0415

    assert json.loads((ROOT / "engine.schema.json").read_text("utf-8")) == ENGINE_SCHEMA


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the tables and of all that is made from them, as the place where the generator works."""
    root = tmp_path / "firmware_protocol"
    shutil.copytree(ROOT, root, ignore=shutil.ignore_patterns("build", "reference_firmware", "__pycache__"))
    monkeypatch.setattr("borewire.generate.generated_files", partial(generated_files, root))
    return root


@pytest.mark.parametrize(
    ("name", "was", "is_", "said"),
    [
        ("interlock.toml", 'cause = "hold_released"', 'cause = "hold_relesed"', "'hold_relesed' is none of"),
        ("interlock.toml", 'in_states = ["open"]', 'in_states = ["opened"]', "'opened' is none of"),
        ("interlock.toml", '"limits_invalid"', '"limit_invalid"', "'limit_invalid' is none of"),
        ("interlock.toml", "host_silence_ms = 500", "host_silence_ms = -500", "must be a whole number from 1"),
        ("interlock.toml", "host_silence_ms = 500", "host_silence_ms = nan", "must be a whole number from 1"),
        ("interlock.toml", "host_silence_ms = 500", "", "host_silence_ms is missing"),
        ("interlock.toml", "host_silence_ms = 500", "host_silence_ms = 500\nhost_silence = 500", "host_silence is no key"),
        ("interlock.toml", "version = 1", "version = ", "Invalid value"),
        ("messages.toml", "[protocol]", "[protocols]", "lacks the key 'protocol'"),
        ("messages.toml", 'name = "rate_hz"', 'name = "int"', "StreamStart.int: no field can have this name"),
        ("messages.toml", 'name = "rate_hz"', 'name = "rate hz"', "no field can have this name"),
    ],
)
def test_of_a_wrong_table_nothing_is_made_and_a_sentence_says_where(
    checkout: Path, capsys: pytest.CaptureFixture[str], name: str, was: str, is_: str, said: str
) -> None:
    table = checkout / name
    text = table.read_text("utf-8")
    assert was in text
    table.write_text(text.replace(was, is_, 1), "utf-8")
    before = {path: path.read_bytes() for path in checkout.rglob("*") if path.is_file()}
    assert main([]) == 1
    printed = capsys.readouterr()
    assert said in printed.err
    assert printed.err.count("\n") == 1
    assert printed.out == ""
    assert before == {path: path.read_bytes() for path in checkout.rglob("*") if path.is_file()}
