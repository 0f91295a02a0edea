"""How many times the line rate of USB full speed (12 Mbit/s, 1.5 million octets/s) the decoder keeps up with."""

from __future__ import annotations

import random
import time

from boresim.endpoint import SimEndpoint
from boresim.rig import SimRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder, encode
from borewire.messages import HostAlive, StreamStart

LINE_RATE = 12e6 / 8  # octets/s
CHUNKS = (64, 512, 4096, 65536)
LEAST_OCTETS = 3_000_000
REPEATS = 3


def stream(block_size: int) -> bytes:
    """What a rig says in 20 s at 1 kHz."""
    port = SimEndpoint(SimRig(load_scenario("hillclimb-before")), timeout=0.1)
    port.write(encode(StreamStart(1, 1000, block_size)))
    said = bytearray()
    while port.monotonic() < 20.0:
        said += port.read(65536)
        port.write(encode(HostAlive()))
    if len(said) < 20_000:
        raise SystemExit("the rig did not stream; there is nothing to decode")
    return bytes(said)


def rate(data: bytes, chunk: int) -> float:
    """Octets/s in chunks of this size; the best of some runs."""
    whole = data * (LEAST_OCTETS // len(data) + 1)
    best = 0.0
    for _ in range(REPEATS):
        decoder = Decoder("host")
        began_s = time.perf_counter()
        for start in range(0, len(whole), chunk):
            decoder.feed(whole[start : start + chunk])
        best = max(best, len(whole) / (time.perf_counter() - began_s))
    return best


def main() -> None:
    """Print the table."""
    kinds = {"blocks of 8": stream(8), "blocks of 2": stream(2), "noise": random.Random(1).randbytes(LEAST_OCTETS)}
    print("decoder, × line rate" + "".join(f"{f'chunks of {chunk}':>18}" for chunk in CHUNKS))
    for name, data in kinds.items():
        print(f"{name:20}" + "".join(f"{rate(data, chunk) / LINE_RATE:18.2f}" for chunk in CHUNKS))


if __name__ == "__main__":
    main()
