"""How many times the line rate of USB full speed (12 Mbit/s, 1.5 million octets/s) the decoder keeps up with, to columns.

Processor time, the best of some runs that take turns. "C cobs" is the same decoder with the compiled decoder of the package cobs
where it looks into a piece. Garbage is of the kinds that cost most for an octet: many short pieces, many COBS runs, good frames
of the smallest messages.
"""

from __future__ import annotations

import random
import sys
import time
from binascii import crc_hqx
from collections.abc import Callable, Iterable
from pathlib import Path
from statistics import median

from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.bad import BadReason
from borewire.codec import Decoder, Received, encode
from borewire.framing import MAX_STUFFED, MIN_STUFFED, frame_of, stuff
from borewire.messages import HoldEvent, HoldState, HostAlive, SampleBlock, StreamStart
from borewire.runs import BlockRun
from borewire.samples import run_columns
from cobs import cobs  # type: ignore[import-untyped]

sys.path.insert(0, str(Path(__file__).resolve().parent))

from parts.rows import Row, at_least, tell

LINE_RATE = 12e6 / 8  # octets/s
READS = (64, 1024, 4096, 16384, 65536)
LEAST_OCTETS = 1_500_000
TURNS = 7
XOR = bytes(octet ^ 0xF5 for octet in range(256))


class WithCobs(Decoder):
    """The decoder with the package's compiled COBS in place of ours: every piece goes through it, and the XOR comes after it."""

    def feed_runs(self, data: bytes) -> list[Received | BlockRun]:
        events: list[Received | BlockRun] = []
        pieces = (self._tail + data).split(b"\x00")
        self._tail = pieces.pop()
        self._started = True
        self._take(filter(None, pieces), events)
        return events

    def _take(self, pieces: Iterable[bytes], events: list[Received | BlockRun]) -> None:
        length, shape = -1, b""
        run: list[bytes] = []
        for piece in pieces:
            found = with_cobs(piece)
            if isinstance(found, BadReason):
                if run:
                    self._close(run, events)
                self._bad(found, piece, events)
                continue
            if len(found) == length and found[0] == SampleBlock.TYPE and found[11:15] == shape:
                run.append(b"\x00" + found)
                continue
            if run:
                self._close(run, events)
            event = self._message(found)
            if isinstance(event, SampleBlock):
                run, length, shape = [b"\x00" + found], len(found), found[11:15]
            elif isinstance(event, BadReason):
                self._bad(event, piece, events)
            else:
                events.append(event)
                self.counters.frames_good += 1
        if run:
            self._close(run, events)


def with_cobs(piece: bytes) -> bytes | BadReason:
    """As checked_payload, by the package, of a piece as it came."""
    if not MIN_STUFFED <= len(piece) <= MAX_STUFFED:
        return BadReason.TOO_LONG
    try:
        payload: bytes = cobs.decode(piece).translate(XOR)
    except cobs.DecodeError:
        return BadReason.STUFFING
    return BadReason.CHECKSUM if crc_hqx(payload[:-2], 0xFFFF) != payload[-2] | payload[-1] << 8 else payload


def stream(block_size: int) -> bytes:
    """What a rig says in 20 s."""
    port = SimEndpoint(SimRig(load_scenario("hillclimb-before")), timeout=0.1)
    port.write(encode(StreamStart(1, 1000, block_size)))
    said = bytearray()
    while port.monotonic() < 20.0:
        said += port.read(65536)
        port.write(encode(HostAlive()))
    if len(said) < 20_000:
        raise SystemExit("the rig did not stream; there is nothing to decode")
    return bytes(said)


def flipped(data: bytes, share: float) -> bytes:
    """The same with a bit of this share of its octets flipped."""
    draw = random.Random(3)
    changed = bytearray(data)
    for at in range(len(changed)):
        if draw.random() < share:
            changed[at] ^= 1 << draw.randrange(8)
    return bytes(changed)


def garbage() -> dict[str, bytes]:
    """What costs most to look at, by what it is."""
    draw = random.Random(1)
    zero_runs = stuff(bytes(draw.choice((0, 0, draw.randrange(1, 256))) for _ in range(253)))
    short = b"".join(bytes(draw.randrange(1, 256) for _ in range(k % 7)) + b"\x00" for k in range(100_000))
    return {
        "noise": draw.randbytes(LEAST_OCTETS),
        "noise of few octets": bytes(draw.choices((0, 1, 2, 3, 4, 0xF5), k=LEAST_OCTETS)),
        "zeros": bytes(LEAST_OCTETS),
        "no zero at all": b"\x55" * LEAST_OCTETS,
        "pieces of one octet": b"\x01\x00" * 500_000,
        "pieces of 0 to 6 octets": short,
        "smallest pieces with COBS": b"\x04abc\x00" * 250_000,
        "COBS runs of one octet, bad": (b"\x01" * 254 + b"\x00") * 5000,
        "COBS runs of two octets, bad": (b"\x02\x05" * 127 + b"\x00") * 5000,
        "COBS runs of one and two": (zero_runs + b"\x00") * 5000,
        "blocks of one sample, no two alike": b"".join(
            encode(
                SampleBlock(
                    k % 65536, k, k, SampleBlock.decode_body(bytes(10) + bytes([k % 2, 0, 1, 1]) + bytes(6)).flags, 1, 1, bytes(6)
                )
            )
            for k in range(20_000)
        ),
        "smallest messages": encode(HoldEvent(7, HoldState.PRESSED)) * 60_000,
        "smallest unknown messages": frame_of(0xEE, b"")[1:] * 250_000,
    }


def columns_of(decoder: Decoder, data: bytes) -> None:
    """Decode a read, and make columns of its runs of blocks."""
    for event in decoder.feed_runs(data):
        if isinstance(event, BlockRun):
            event.places()
            run_columns(event)


def rate(data: bytes, read: int, make: Callable[[], Decoder]) -> float:
    """Octets a second of processor time in reads of this size, once through all of it."""
    decoder = make()
    began_s = time.process_time()
    for start in range(0, len(data), read):
        columns_of(decoder, data[start : start + read])
    return len(data) / (time.process_time() - began_s)


def enough(data: bytes) -> bytes:
    return data * (LEAST_OCTETS // len(data) + 1)


def main() -> None:
    """Print the table."""
    host: Callable[[], Decoder] = lambda: Decoder("host")  # noqa: E731
    by_cobs: Callable[[], Decoder] = lambda: WithCobs("host")  # noqa: E731
    eights = enough(stream(8))
    kinds = {
        "blocks of 8": (eights, host),
        "blocks of 8, C cobs": (eights, by_cobs),
        "blocks of 24": (enough(stream(24)), host),
        "blocks of 2": (enough(stream(2)), host),
        "blocks of 8, 1 % flipped": (flipped(eights, 0.01), host),
        **{name: (data, host) for name, data in garbage().items()},
    }
    found: dict[tuple[str, int], float] = {}
    print("decoder, × line rate" + " " * 16 + "".join(f"{f'reads of {read}':>16}" for read in READS))
    turns = [
        {(name, read): rate(data, read, make) / LINE_RATE for name, (data, make) in kinds.items() for read in READS}
        for _ in range(TURNS)
    ]
    found = {key: max(turn[key] for turn in turns) for key in turns[0]}
    for name in kinds:
        print(f"{name:36}" + "".join(f"{found[name, read]:16.2f}" for read in READS))
    worst = min((found[name, 4096], name) for name in garbage())
    against = {
        read: median(turn["blocks of 8", read] / turn["blocks of 8, C cobs", read] for turn in turns) for read in (4096, 16384)
    }
    line = "× USB full-speed line rate"
    rows: list[Row] = [
        at_least("decode, blocks of 8, reads of 4 KiB", line, found["blocks of 8", 4096], 40.0),
        at_least("decode, blocks of 8, reads of 16 KiB", line, found["blocks of 8", 16384], 55.0),
        at_least("decode, reads of 4 KiB, against compiled COBS", "× the same with C cobs", against[4096], 0.7),
        at_least("decode, reads of 16 KiB, against compiled COBS", "× the same with C cobs", against[16384], 0.7),
        at_least("decode, 1 % of octets flipped, reads of 4 KiB", line, found["blocks of 8, 1 % flipped", 4096], 8.0),
        at_least(f"decode, worst garbage ({worst[1]}), reads of 4 KiB", line, worst[0], 3.0),
    ]
    tell(rows)


if __name__ == "__main__":
    main()
