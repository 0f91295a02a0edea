"""How fast this computer is just now, so that a test of speed judges the code and not the computer or what else it does.

The yardstick is a piece of plain Python of the kind that the simulator is made of. A bound of speed is meant for a computer that
needs REFERENCE_S for it; a slower one, or a busy one, is given as much more time as the yardstick takes there.
"""

from __future__ import annotations

import time
from math import sqrt

REFERENCE_S = 0.0042
ROUNDS = 5


def slowness() -> float:
    """Time for the yardstick now, best of some rounds, over that of the reference; 1 on the computer the bounds were set for."""
    return min(_once() for _ in range(ROUNDS)) / REFERENCE_S


def _once() -> float:
    began = time.process_time()
    held, sums = [0.0] * 16, 0.0
    for step in range(60_000):
        x = step * 0.001
        held[step & 15] = sqrt(x * x + 1.0) - x if step & 1 else x / (1.0 + x)
        sums += held[(step + 7) & 15]
    assert sums > 0.0
    return time.process_time() - began
