"""The C codec is what a small processor can take: no library, no memory of its own, small; its tables are those of the page."""

from __future__ import annotations

import re
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from borewire.codec import Decoder, encode
from borewire.framing import frame_of
from borewire.generate import generated_files
from borewire.interlock import TABLE
from borewire.messages import (
    AirState,
    EchoReply,
    EchoRequest,
    HoldState,
    HostAlive,
    Identity,
    Status,
    StatusRequest,
    SupplyState,
    VentState,
)

from .c_codec import BUILD, FOLDER, ask, build
from .frame_mill import Mill
from .vector_files import load

MOST_OCTETS = {"bw_frame.o": 600, "bw_messages.o": 5000}
"""Flash of the whole codec with every message in both directions, of the 32 768 octets of an ATmega328P; a firmware links less."""


@pytest.fixture(scope="module")
def avr_sizes() -> dict[str, tuple[int, int, int]]:
    """Octets of code, data and bss of each object for the ATmega328P, as the Makefile prints them."""
    rows = re.findall(r"^\s*(\d+)\s+(\d+)\s+(\d+)\s+\d+\s+[0-9a-f]+\s+(\S+)$", build("avr"), re.MULTILINE)
    return {Path(path).name: (int(text), int(data), int(bss)) for text, data, bss, path in rows}


def test_it_is_small_on_an_avr_and_has_no_memory_of_its_own(avr_sizes: dict[str, tuple[int, int, int]]) -> None:
    assert set(avr_sizes) == set(MOST_OCTETS)
    for name, (text, data, bss) in avr_sizes.items():
        assert 0 < text <= MOST_OCTETS[name], name
        assert (data, bss) == (0, 0), name


def _undefined(nm: str, objects: list[Path]) -> set[str]:
    run = subprocess.run([nm, "-u", *map(str, objects)], capture_output=True, text=True, check=True)
    return set(re.findall(r"^\s+U (\S+)$", run.stdout, re.MULTILINE))


@pytest.mark.usefixtures("c_codec", "avr_sizes")
def test_it_calls_nothing_but_memcpy() -> None:
    assert _undefined("nm", [BUILD / "native" / name for name in MOST_OCTETS]) <= {"memcpy"}
    others = _undefined("avr-nm", [BUILD / "avr" / name for name in MOST_OCTETS]) - {"memcpy"}
    # from the compiler itself: multiplying, and saving registers; nothing that takes memory, nothing of input or output
    compilers = re.compile(r"__u?mul\w+|__prologue_saves__|__epilogue_restores__")
    assert {name for name in others if not compilers.fullmatch(name)} == set()


def test_the_makers_give_the_files_in_c() -> None:
    names = {path.relative_to(FOLDER).as_posix() for path in generated_files() if path.is_relative_to(FOLDER)}
    assert names == {"bw_messages.h", "bw_messages.c", "bw_interlock.h", "test/bw_fields.h"}


def test_the_interlock_in_c_is_the_table() -> None:
    expected = [
        f"number {name} {getattr(TABLE, name)}"
        for name in (
            "host_silence_ms",
            "reaction_ms",
            "time_limit_max_ms",
            "isolate_max_ms",
            "close_limit_max_ms",
            "sensor_fault_samples",
        )
    ]
    expected.append(f"power_up {TABLE.power_up_state}")
    for row in TABLE.commands:
        expected.append(f"command {row.command} in {_set_of(row.allowed_from)} cause {row.cause}")
        expected += [f"refusal {refusal.reason.name.lower()} {refusal.reason}" for refusal in row.refuse]
    expected += [f"watch {row.cause.name.lower()} {row.cause} in {_set_of(row.in_states)}" for row in TABLE.watches]
    build("native")
    assert ask(["interlock"]).splitlines() == expected


def _set_of(states: tuple[AirState, ...]) -> int:
    return sum(1 << state for state in states)


@pytest.mark.usefixtures("sanitized_c_codec")
def test_the_fuzz_target_holds_on_vectors_and_changed_frames(tmp_path: Path) -> None:
    program = BUILD / "sanitized" / "fuzz_files"
    inputs = []
    for side, number in (("device", b"\1"), ("host", b"\0")):
        for path in (f"accept/to_{side}.json", f"reject/to_{side}.json"):
            inputs += [number + bytes.fromhex(case["frame"]) for case in load(path)["cases"]]
    mill = Mill(seed=4)
    inputs += [bytes((side == "device",)) + octets for side, octets in (mill.case() for _ in range(20_000))]
    # bit 1: the rest is content, of which the target makes a frame
    inputs += [bytes((2 + (side == "device"),)) + octets for side, octets in (mill.content() for _ in range(20_000))]
    # texts that end within a character, and behind them what would complete it and then plain text: a reader that goes on finds no
    # fault before it has left the content, where the sanitizer waits
    behind = b"\x80" + b"A" * 15 + b"\x00AA"
    inputs += [
        b"\2" + bytes((Identity.TYPE,)) + bytes(9) + bytes((len(cut),)) + cut + behind
        for cut in (b"\xc3", b"\xe2\x82", b"\xf0\x9f\x8f")
    ]
    stdin = b"".join(len(one).to_bytes(2, "little") + one for one in inputs)
    run = subprocess.run([str(program)], input=stdin, capture_output=True, check=False)
    assert (run.returncode, run.stdout, run.stderr) == (0, f"{len(inputs)} inputs\n".encode(), b"")
    (tmp_path / "one").write_bytes(inputs[0])
    (tmp_path / "none").write_bytes(b"")
    run = subprocess.run([str(program), str(tmp_path / "one"), str(tmp_path / "none")], capture_output=True, check=False)
    assert (run.returncode, run.stdout) == (0, b"2 inputs\n")


def test_the_example_of_the_readme_answers(avr_sizes: dict[str, tuple[int, int, int]]) -> None:
    assert avr_sizes
    assert re.search(r"^\s*\d+\s+\d+\s+\d+\s+\d+\s+[0-9a-f]+\s+build/avr/example\.o$", build("example"), re.MULTILINE)
    bad = frame_of(EchoRequest.TYPE, b"")
    said = (
        encode(StatusRequest(1))[3:]
        + encode(EchoRequest(2, b"\xf5\x00"))
        + bad
        + b"\1\2\0"
        + encode(HostAlive())
        + frame_of(0x7E, b"new")
        + encode(StatusRequest(3))
    )
    run = subprocess.run([str(BUILD / "native" / "example")], input=said, capture_output=True, check=True)
    first, echo, last = Decoder("host").feed(run.stdout)
    assert echo == EchoReply(2, b"\xf5\x00")
    assert isinstance(first, Status)
    assert first == Status(
        0, 1, 4711, AirState.NO_VALVES, SupplyState.NOT_FITTED, VentState.NOT_FITTED, HoldState.NOT_FITTED, 0, 0, *[0] * 6
    )
    assert last == replace(first, request_id=3, device_tick=2, frames_received=3, frames_bad=2, frames_unknown=1)
