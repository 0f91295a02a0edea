"""The C and the Python codec on a million drawn and changed frames: what they were told, and how often they did not say the same.

Wanted: never. Another count and seed can be given: `python tests/bench/codec_agreement.py 20000 7`. Ends with 1 when they disagree.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from parts.rows import at_most, tell
from wire.c_agreement import compare
from wire.c_codec import build

FRAMES = 1_000_000
SEED = 20


def main() -> int:
    """Print the table."""
    frames, seed = (int(text) for text in (*sys.argv[1:], *map(str, (FRAMES, SEED)[len(sys.argv) - 1 :])))
    build("native")
    began_s = time.perf_counter()
    tally = compare(frames, seed)
    took_s = time.perf_counter() - began_s
    for kind, count in sorted(tally.told.items()):
        print(f"{kind:22}{count:>10}")
    print(f"\n{'frames':>10}{'seed':>6}{'disagreements':>16}{'seconds':>10}")
    print(f"{tally.frames:>10}{seed:>6}{tally.disagreements:>16}{took_s:>10.1f}")
    print("\n".join(tally.first))
    tell([at_most(f"C and Python codec, {tally.frames} frames", "disagreements", tally.disagreements, 0.0)])
    return 1 if tally.disagreements else 0


if __name__ == "__main__":
    sys.exit(main())
