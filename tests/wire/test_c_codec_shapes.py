"""The maker of the C codec on a table with shapes that the real one has not: small signed numbers, enums with gaps, wide flags."""

from __future__ import annotations

import shutil
import subprocess
import tomllib
from pathlib import Path
from typing import Any

import pytest
from borewire.framing import frame_of
from borewire.generate_c import messages_header
from borewire.generate_c_code import messages_code
from borewire.generate_c_fields import fields_header
from borewire.table import parse_table

from .c_codec import FOLDER, ask, events_of

TYPE = 0x70
FIELDS: list[dict[str, Any]] = [
    {"name": "tiny", "type": "i8", "min": -100, "max": 100},
    {"name": "small", "type": "i16", "min": -30_000},
    {"name": "large", "type": "i32", "min": -2_000_000_000, "max": 2_000_000_000},
    {"name": "most", "type": "u32", "min": 7, "max": 4_000_000_000},
    {"name": "sparse", "type": "Sparse"},
    {"name": "wide", "type": "Wide"},
    {"name": "label", "type": "text", "max_length": 3},
    {"name": "after", "type": "i16"},
    {"name": "blob", "type": "octets", "max_length": 2},
]
GOOD = {"tiny": -100, "small": -2, "large": -2_000_000_000, "most": 4_000_000_000, "sparse": 900, "wide": 1 << 31 | 1, "after": -1}
BODY = bytes.fromhex("9c" "feff" "006cca88" "00286bee" "8403" "01000080" "02c3a9" "ffff" "0209f5")  # fmt: skip


def _document() -> dict[str, Any]:
    document = tomllib.loads((FOLDER.parent / "messages.toml").read_text("utf-8"))
    document["enums"]["Sparse"] = {"doc": "d", "base": "u16", "values": {"one": 1, "far": 900}}
    document["flags"]["Wide"] = {"doc": "d", "base": "u32", "bits": {"first": 0, "last": 31}}
    fields = [field | {"doc": "d"} for field in FIELDS]
    document["messages"].append({"name": "Shapes", "type": TYPE, "to": "device", "doc": "d", "fields": fields})
    return document


@pytest.fixture(scope="module")
def runner(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A vector runner whose codec was made from the table with one message more."""
    folder = tmp_path_factory.mktemp("shapes") / "c"
    shutil.copytree(FOLDER, folder, ignore=shutil.ignore_patterns("build"))
    table = parse_table(_document())
    (folder / "bw_messages.h").write_text(messages_header(table), "utf-8")
    (folder / "bw_messages.c").write_text(messages_code(table), "utf-8")
    (folder / "test" / "bw_fields.h").write_text(fields_header(table), "utf-8")
    made = subprocess.run(["make", "-C", str(folder), "native", "avr"], capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stdout + made.stderr
    return folder / "build" / "native" / "wire_runner"


def _line(values: dict[str, int], label: str = "c3a9", blob: str = "09f5") -> str:
    numbers = " ".join(f"{name}={value}" for name, value in values.items() if name != "after")
    return f"Shapes {numbers} label={label} after={values['after']} blob={blob}"


def test_it_reads_and_writes_them(runner: Path) -> None:
    frame = frame_of(TYPE, BODY)
    assert ask([f"say {_line(GOOD)}"], runner).strip() == frame.hex()
    assert events_of("device", [frame], runner) == [[_line(GOOD)]]


@pytest.mark.parametrize(
    ("changed", "at", "octets", "reason"),
    [
        ({"tiny": -101}, 0, "9b", "value"),
        ({"tiny": 101}, 0, "65", "value"),
        ({"small": -30_001}, 1, "cf8a", "value"),
        ({"large": -2_000_000_001}, 3, "ff6bca88", "value"),
        ({"large": 2_000_000_001}, 3, "01943577", "value"),
        ({"most": 6}, 7, "06000000", "value"),
        ({"most": 4_000_000_001}, 7, "01286bee", "value"),
        ({"sparse": 2}, 11, "0200", "value"),
        ({"wide": 2}, 13, "02000000", "reserved"),
    ],
)
def test_it_refuses_what_is_outside(runner: Path, changed: dict[str, int], at: int, octets: str, reason: str) -> None:
    assert ask([f"say {_line(GOOD | changed)}"], runner).strip() == "refused"
    wrong = bytes.fromhex(octets)
    frame = frame_of(TYPE, BODY[:at] + wrong + BODY[at + len(wrong) :])
    assert events_of("device", [b"\0", frame], runner) == [[], [f"bad {reason}"]]


def test_it_refuses_what_is_too_long_or_no_text(runner: Path) -> None:
    lines = [_line(GOOD, label="61626364"), _line(GOOD, label="c3"), _line(GOOD, blob="010203")]
    assert ask([f"say {line}" for line in lines], runner).split() == ["refused"] * 3
    cut = [b"\0", *(frame_of(TYPE, BODY[:length]) for length in range(len(BODY)))]
    assert events_of("device", cut, runner) == [[], *[["bad length"]] * len(BODY)]


def test_a_shape_that_it_has_no_code_for_is_an_error() -> None:
    document = _document()
    fields = [{"name": "label", "type": "text", "max_length": 3, "doc": "d"}, {"name": "count", "type": "u8", "doc": "d"}]
    fields.append({"name": "all", "type": "rest", "length": "count", "doc": "d"})
    document["messages"][-1] |= {"fields": fields}
    with pytest.raises(ValueError, match="Shapes: the C codec has no reader for rest behind text or octets"):
        messages_code(parse_table(document))
