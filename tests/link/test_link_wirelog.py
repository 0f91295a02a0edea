"""What went over a link can be written down and played back as the rig."""

from __future__ import annotations

import io
from collections import deque
from pathlib import Path

import pytest
from borewire.wirelog import WireRecord, read_wire_log
from borewright.errors import LinkError, UseError
from borewright.link import Endpoint, ReplayEndpoint, recording, replaying
from hypothesis import given
from hypothesis import strategies as st


class Scripted:
    """An endpoint whose reads are given beforehand; each moves its clock on by a quarter of a second."""

    def __init__(self, *reads: bytes) -> None:
        self.timeout: float | None = 0.25
        self.sent: list[bytes] = []
        self.closed = False
        self._reads = deque(reads)
        self._now_s = 100.0

    def read(self, _size: int, /) -> bytes:
        self._now_s += 0.25
        if not self._reads:
            raise OSError("unplugged")
        return self._reads.popleft()

    def write(self, data: bytes, /) -> int:
        self.sent.append(data)
        return len(data)

    def close(self) -> None:
        self.closed = True

    def monotonic(self) -> float:
        return self._now_s


def test_a_recording_holds_all_that_passed_with_its_time_and_changes_nothing() -> None:
    rig = Scripted(b"ab", b"", b"c")
    file = io.StringIO()
    endpoint = recording(rig, file)
    assert isinstance(endpoint, Endpoint)
    assert (endpoint.read(9), endpoint.write(b"?"), endpoint.read(9), endpoint.read(9)) == (b"ab", 1, b"", b"c")
    with pytest.raises(OSError, match="unplugged"):
        endpoint.read(9)
    endpoint.timeout = 1.0
    endpoint.close()
    assert (rig.timeout, rig.sent, rig.closed, endpoint.failure) == (1.0, [b"?"], True, None)
    file.seek(0)
    assert list(read_wire_log(file)) == [
        WireRecord("to_host", 0.25, b"ab"),
        WireRecord("to_device", 0.25, b"?"),
        WireRecord("to_host", 0.75, b"c"),
    ]


def test_a_log_that_cannot_be_written_never_takes_the_link_with_it() -> None:
    class Full(io.StringIO):
        full = False

        def write(self, text: str, /) -> int:
            if self.full:
                raise OSError(28, "No space left on device")
            return super().write(text)

    file = Full()
    rig = Scripted(b"a", b"b", b"c")
    endpoint = recording(rig, file)
    assert endpoint.read(1) == b"a"
    file.full = True
    assert (endpoint.read(1), endpoint.write(b"shut"), rig.sent) == (b"b", 4, [b"shut"])
    assert endpoint.failure == (
        "the wire log could not be written any further (No space left on device); free space on its disk and record again"
    )
    file.full = False
    assert endpoint.read(1) == b"c"  # no half log with a hole in it
    assert len(file.getvalue().splitlines()) == 2


def test_a_log_closed_too_early_never_takes_the_link_with_it() -> None:
    file = io.StringIO()
    endpoint = recording(Scripted(b"a"), file)
    file.close()
    assert endpoint.read(1) == b"a"
    assert endpoint.failure is not None
    endpoint.close()


def test_the_dev_full_device_is_a_full_disk() -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.fail("this test needs /dev/full; run the tests on Linux")
    file = full.open("w", encoding="utf-8")
    endpoint = recording(Scripted(b"a"), file)
    assert endpoint.read(1) == b"a"
    endpoint.close()
    assert endpoint.failure is not None
    assert "No space left on device" in endpoint.failure
    with pytest.raises(OSError, match="No space left"):
        file.close()


@given(
    st.lists(st.tuples(st.floats(0.0, 3.0), st.binary(min_size=1, max_size=20)), max_size=12),
    st.integers(1, 7),
    st.floats(0.01, 1.0),
)
def test_every_octet_comes_back_not_before_its_time(gaps: list[tuple[float, bytes]], size: int, timeout_s: float) -> None:
    at_s, records = 0.0, []
    for gap_s, data in gaps:
        at_s += gap_s
        records.append(WireRecord("to_host", at_s, data))
    endpoint = ReplayEndpoint(records)
    endpoint.timeout = timeout_s
    came: list[tuple[float, int]] = []

    def play() -> None:
        while True:
            before_s = endpoint.monotonic()
            data = endpoint.read(size)
            assert before_s <= endpoint.monotonic() <= before_s + timeout_s + 1e-9
            came.extend((endpoint.monotonic(), octet) for octet in data)

    with pytest.raises(LinkError, match="the wire log is at its end"):
        play()
    due = [(record.t_s, octet) for record in records for octet in record.data]
    assert [octet for _, octet in came] == [octet for _, octet in due]
    assert all(then >= when for (then, _), (when, _) in zip(came, due, strict=True))


def test_what_the_host_writes_to_a_log_is_kept_for_comparison() -> None:
    endpoint = ReplayEndpoint([WireRecord("to_device", 0.0, b"no read")])
    assert (endpoint.write(b"ab"), endpoint.write(b"c"), bytes(endpoint.written)) == (2, 1, b"abc")


def test_a_log_file_is_played_back_and_closed(tmp_path: Path) -> None:
    path = tmp_path / "log.txt"
    with path.open("w", encoding="utf-8", newline="") as file:
        recorded = recording(Scripted(b"ab", b"c"), file)
        recorded.read(9)
        recorded.read(9)
        recorded.close()
    endpoint = replaying(path)
    endpoint.timeout = None
    assert (endpoint.read(9), endpoint.monotonic(), endpoint.read(9), endpoint.monotonic()) == (b"ab", 0.25, b"c", 0.5)
    endpoint.close()


def test_a_log_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    with pytest.raises(UseError, match=r"cannot be read \(No such file or directory\); name a wire log"):
        replaying(tmp_path / "none")
    path = tmp_path / "letter.txt"
    path.write_text("Dear rig\n")
    endpoint = replaying(path)
    with pytest.raises(LinkError, match="this is not a wire log"):
        endpoint.read(1)
    endpoint.close()
