"""Wire logs from the command line: recorded from a rig, played back through the host, read in words."""

from __future__ import annotations

import json
import signal
import struct
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import encode
from borewire.messages import (
    Ack,
    AirEvent,
    AirState,
    BlockFlags,
    Cause,
    ChannelDescription,
    Fitted,
    IdentifyRequest,
    Identity,
    IndexEvent,
    Message,
    Quantity,
    RefusalReason,
    Refused,
    SampleBlock,
    StreamStart,
)
from borewire.wirelog import WireLogWriter
from borewright.cli import exits

IDENTITY = Identity(1, 1, 0, 0, "test", "RIG-7", 9, 1_000_000, 4096, 2000, 8, Fitted.SUPPLY_VALVE | Fitted.VENT_VALVE, 2, 2)
CHANNELS = [
    ChannelDescription(1, number, quantity, 0, 4095, 0.0, 5.0 / 4096, 5.0)
    for number, quantity in enumerate((Quantity.PRESSURE_REGULATED, Quantity.PRESSURE_CYLINDER))
]


def block(number: int) -> SampleBlock:
    samples = b"".join(struct.pack("<iHH", 100 + sample, 400, 410 + sample) for sample in range(4))
    return SampleBlock(number, 5000 + 4000 * number, 4 * number, BlockFlags.VENT_OPEN, 4, 2, samples)


def write_log(path: Path, parts: Sequence[tuple[str, float, bytes | Message]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        log = WireLogWriter(file)
        for direction, t_s, data in parts:
            log.write("to_host" if direction == "<" else "to_device", t_s, data if isinstance(data, bytes) else encode(data))
    return path


def talk() -> list[tuple[str, float, bytes | Message]]:
    """A rig that streams five blocks of which one is lost and one damaged, an index pulse, and a trip of its interlock."""
    damaged = bytearray(encode(block(3)))
    damaged[9] ^= 0x40
    return [
        (">", 0.01, IdentifyRequest(1, 1, 0)),
        ("<", 0.02, IDENTITY),
        ("<", 0.02, encode(CHANNELS[0]) + encode(CHANNELS[1])),
        (">", 0.03, StreamStart(2, 1000, 4)),
        ("<", 0.04, Ack(2, StreamStart.TYPE, 4000)),
        ("<", 0.05, encode(block(0)) + encode(block(1))),
        ("<", 0.06, bytes(damaged)),
        ("<", 0.07, IndexEvent(9100, 102, 1)),
        ("<", 0.08, AirEvent(9200, AirState.VENTED, Cause.HOST_SILENT, 3, 102)),
        ("<", 0.09, block(4)),
    ]


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return write_log(tmp_path / "talk.wire", talk())


# ---------------------------------------------------------------------- record


def test_a_recording_over_a_network_port_plays_back_and_reads(
    simulated: Callable[..., Any], command: Callable[..., Any], tmp_path: Path
) -> None:
    sim = simulated("--scenario", "hillclimb-before", "--tcp", "127.0.0.1:0")
    sim.said("control")
    out = tmp_path / "rig.wire"
    recorded = command("wire", "record", "--port", sim.said("port"), "--out", out, "--seconds", "0.7", "--json")
    assert (recorded.code, recorded.err) == (exits.OK, "")
    assert sim.end(signal.SIGTERM).code == exits.OK
    said = json.loads(recorded.out)
    assert said["rig"]["serial_number"] == "BW-REF-0001"
    assert said["seconds"] >= 0.7
    assert said["link"]["samples"] > 0
    played = json.loads(command("wire", "replay", out, "--json").out)
    assert played["rig"] == said["rig"]
    assert played["link"] == said["link"]
    frames = [json.loads(line) for line in command("wire", "dump", out, "--json").out.splitlines()]
    blocks = [frame["fields"] for frame in frames if frame.get("message") == "SampleBlock"]
    assert sum(len(fields["samples"]) for fields in blocks) == said["link"]["samples"]
    sent = [frame["message"] for frame in frames if frame["direction"] == "to_device"]
    assert set(sent) <= {"IdentifyRequest", "StreamStart", "HostAlive", "StreamStop"}
    assert sent[-1] == "StreamStop"


def test_ctrl_c_ends_a_recording_well(command: Callable[..., Any], plugged_in: Callable[..., None], tmp_path: Path) -> None:
    class Interrupted(SimEndpoint):
        def read(self, size: int = 1) -> bytes:
            if self.monotonic() > 3.0:
                raise KeyboardInterrupt
            return super().read(size)

    plugged_in(Interrupted(SimRig(load_scenario("hillclimb-before"))))
    ended = command("wire", "record", "--port", "any", "--out", tmp_path / "a.wire")
    assert (ended.code, ended.err) == (exits.OK, "")
    assert ended.out.startswith("recorded 3.0 s into ")
    assert "StreamStop" in command("wire", "dump", tmp_path / "a.wire").out.splitlines()[-1]


def test_a_file_that_is_there_is_left_alone(command: Callable[..., Any], plugged_in: Callable[..., None], log: Path) -> None:
    before = log.read_bytes()
    plugged_in(SimEndpoint(SimRig(load_scenario("hillclimb-before"))))
    assert "is there already" in command("wire", "record", "--port", "any", "--out", log, "--seconds", 1).refusal(exits.USE)
    assert log.read_bytes() == before
    nowhere = log.parent / "no" / "folder.wire"
    assert "cannot be written" in command("wire", "record", "--port", "any", "--out", nowhere, "--seconds", 1).refusal(exits.USE)


def test_a_wrong_port_makes_no_file(command: Callable[..., Any], tmp_path: Path) -> None:
    out = tmp_path / "a.wire"
    assert "there is no port" in command("wire", "record", "--port", "/dev/no-such", "--out", out).refusal(exits.RIG)
    assert not out.exists()


def test_what_a_strange_device_said_is_kept(
    command: Callable[..., Any], plugged_in: Callable[..., None], answering: Any, tmp_path: Path
) -> None:
    refused = encode(Refused(1, IdentifyRequest.TYPE, RefusalReason.VERSION_UNSUPPORTED, 5))
    for name, answer, words in (
        ("silent", lambda _sent: b"", "nothing answers"),
        ("strange", lambda _sent: b"\x00hello\x00", "not in the language"),
        ("other-major", lambda sent: refused if sent else b"", "update whichever is older"),
    ):
        plugged_in(answering(answer))
        out = tmp_path / f"{name}.wire"
        assert words in command("wire", "record", "--port", "any", "--out", out).refusal(exits.RIG)
        assert "> IdentifyRequest request_id=1 protocol_major=1 protocol_minor=0\n" in command("wire", "dump", out).out
    assert "reason=version_unsupported" in command("wire", "dump", tmp_path / "other-major.wire").out


def test_unplugging_ends_a_recording_and_keeps_it(
    command: Callable[..., Any], plugged_in: Callable[..., None], tmp_path: Path
) -> None:
    class Pulled(SimEndpoint):
        def read(self, size: int = 1) -> bytes:
            if self.monotonic() > 1.0:
                self.rig.unplug()
            return super().read(size)

    out = tmp_path / "a.wire"
    plugged_in(Pulled(SimRig(load_scenario("hillclimb-before"))))
    assert "was lost" in command("wire", "record", "--port", "any", "--out", out).refusal(exits.RIG)
    played = json.loads(command("wire", "replay", out, "--json").out)
    assert played["link"]["samples"] > 800


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on the size of a file")
@pytest.mark.parametrize("octets", [10, 5000], ids=["at once", "after a while"])
def test_a_full_disk_ends_a_recording_in_one_sentence(
    octets: int, command: Callable[..., Any], plugged_in: Callable[..., None], tmp_path: Path
) -> None:
    import resource  # noqa: PLC0415  # not there on Windows

    out = tmp_path / "a.wire"
    line = SimEndpoint(SimRig(load_scenario("hillclimb-before")))
    plugged_in(line)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (octets, hard))
    try:
        ended = command("wire", "record", "--port", "any", "--out", out)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert "a.wire cannot be written" in ended.refusal(exits.USE)
    assert out.stat().st_size == octets
    assert not line.is_open


def test_a_recording_that_ends_before_the_answer_says_so(
    command: Callable[..., Any], plugged_in: Callable[..., None], answering: Any, tmp_path: Path
) -> None:
    plugged_in(answering(lambda _sent: b""))
    ended = command("wire", "record", "--port", "any", "--out", tmp_path / "a.wire", "--seconds", "1")
    assert "record for longer" in ended.refusal(exits.RIG)
    assert "it did not say who it is" in ended.out


# ---------------------------------------------------------------------- replay


def test_a_replay_counts_what_came(log: Path, command: Callable[..., Any]) -> None:
    ended = command("wire", "replay", log, "--json")
    assert (ended.code, ended.err) == (exits.OK, "")
    said = json.loads(ended.out)
    assert said["rig"]["serial_number"] == "RIG-7"
    assert [channel["quantity"] for channel in said["rig"]["channels"]] == ["pressure_regulated", "pressure_cylinder"]
    link = said["link"]
    assert (link["samples"], link["gaps"], link["missing_blocks"]) == (12, 1, 2)
    assert (link["frames_good"], link["frames_bad"], link["frames_unknown"]) == (9, 1, 0)
    assert said["events"] == {"index_pulses": 1, "air_changes": 1}
    (happening,) = said["happenings"]
    assert happening["words"] == "air vented, because of host silent, opening 3, crank at 102 counts"
    plain = command("wire", "replay", log)
    assert (plain.code, plain.err) == (exits.OK, "")
    assert "rig: RIG-7, firmware test" in plain.out
    assert "samples 12, gaps 1, missing blocks 2" in plain.out
    assert happening["words"] in plain.out


def test_a_log_that_was_cut_off_plays_as_far_as_it_goes(log: Path, command: Callable[..., Any]) -> None:
    whole = log.read_bytes()
    log.write_bytes(whole[:-20])
    said = json.loads(command("wire", "replay", log, "--json").out)
    assert said["link"]["samples"] == 8


def test_a_log_of_a_strange_device_says_why_it_cannot_be_used(tmp_path: Path, command: Callable[..., Any]) -> None:
    other = Identity(1, 2, 0, 0, "test", "RIG-8", 9, 1_000_000, 4096, 2000, 8, Fitted(0), 0, 0)
    said = command("wire", "replay", write_log(tmp_path / "other.wire", [("<", 0.1, other)])).refusal(exits.RIG)
    assert "version 2.0" in said
    refused = Refused(1, IdentifyRequest.TYPE, RefusalReason.VERSION_UNSUPPORTED, 5)
    said = command("wire", "replay", write_log(tmp_path / "refused.wire", [("<", 0.1, refused)])).refusal(exits.RIG)
    assert "update whichever is older" in said
    begun_late = write_log(tmp_path / "late.wire", [("<", 0.1 * number, block(number)) for number in range(100)])
    ended = command("wire", "replay", begun_late)
    assert "does not hold a rig's answer to who it is" in ended.refusal(exits.RIG)


# ---------------------------------------------------------------------- dump


def test_a_dump_says_each_frame(log: Path, command: Callable[..., Any]) -> None:
    ended = command("wire", "dump", log)
    assert (ended.code, ended.err) == (exits.OK, "")
    lines = ended.out.splitlines()
    assert lines[0] == "    0.010000 > IdentifyRequest request_id=1 protocol_major=1 protocol_minor=0"
    assert lines[1].startswith("    0.020000 < Identity request_id=1 ")
    assert "fitted=supply_valve+vent_valve" in lines[1]
    assert lines[6].endswith("channel_count=2 samples=100:400,410 101:400,411 102:400,412 103:400,413")
    assert "bad frame" in lines[8]
    assert len(lines) == 12
    frames = [json.loads(line) for line in command("wire", "dump", log, "--json").out.splitlines()]
    assert len(frames) == len(lines)
    assert frames[0] == {
        "t_s": 0.01,
        "direction": "to_device",
        "message": "IdentifyRequest",
        "fields": {"request_id": 1, "protocol_major": 1, "protocol_minor": 0},
    }
    assert frames[1]["fields"]["fitted"] == ["supply_valve", "vent_valve"]
    assert frames[6]["fields"]["samples"][3] == [103, 400, 413]
    assert set(frames[8]) == {"t_s", "direction", "bad", "octets"}


def test_a_frame_of_a_newer_minor_version_is_shown(tmp_path: Path, command: Callable[..., Any]) -> None:
    from borewire.framing import frame_of  # noqa: PLC0415

    log = write_log(tmp_path / "new.wire", [("<", 0.5, frame_of(0xBF, b"\x01\x02"))])
    assert "unknown message 0xbf of 2 octets" in command("wire", "dump", log).out
    assert json.loads(command("wire", "dump", log, "--json").out) == {
        "t_s": 0.5,
        "direction": "to_host",
        "unknown": 0xBF,
        "octets": "0102",
    }


@pytest.mark.parametrize("subcommand", ["dump", "replay"])
def test_files_that_are_no_good_logs_are_refused(subcommand: str, log: Path, command: Callable[..., Any]) -> None:
    assert "cannot be read" in command("wire", subcommand, log.parent / "missing").refusal(exits.USE)
    assert "cannot be read" in command("wire", subcommand, log.parent).refusal(exits.USE)
    lines = log.read_text(encoding="utf-8").splitlines(keepends=True)
    for content, words in (
        (b"\xff\xfe\x00", "is not a wire log"),
        (b"", "is not a wire log"),
        (b"hello\n", "is not a wire log"),
        ("".join([*lines[:3], "< 0.5 zz\n", *lines[3:]]).encode(), "line 4 of the log is damaged"),
        (log.read_bytes().replace(b"borewire-log 1", b"borewire-log 2", 1), "version 2"),
    ):
        bad = log.parent / "bad.wire"
        bad.write_bytes(content)
        said = command("wire", subcommand, bad).refusal(exits.USE)
        assert words in said
        assert str(bad) in said


@pytest.mark.parametrize("seconds", ["0", "-1", "nan", "inf", "soon"])
def test_times_that_cannot_be_are_refused(seconds: str, command: Callable[..., Any], tmp_path: Path) -> None:
    ended = command("wire", "record", "--port", "any", "--out", tmp_path / "a", "--seconds", seconds)
    assert ended.code == exits.USE
    assert "is no time" in ended.err
