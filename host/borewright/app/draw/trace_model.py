"""What the trace shows: the two pressures over the last seconds, thinned to what the screen can show, without Qt.

Times are device seconds, on the picture seconds before the newest sample (negative); pressures are Pa gauge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil, floor, isfinite, log10

import numpy as np
import numpy.typing as npt

from borewright.service.trace import TraceView

__all__ = ["BIN_S", "LONGEST_S", "SPANS_S", "AirSpans", "Curves", "label_heights", "nice_step", "thinned", "top_pa"]

SPANS_S = (10, 30, 60, 300, 600)
LONGEST_S = 600.0
BIN_S = 0.05  # of the finer of the trace's two resolutions
ROOM_ABOVE = 1.08
LOOKED_AWAY_S = 1.0

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Curves:
    """Both curves as lines to and fro between the lowest and the highest of each column: x in seconds, y in Pa gauge.

    newest_regulated_pa, newest_cylinder_pa: where the lines end; None where there is nothing, or samples are missing just now.
    highest_pa: of all that is shown, 0 without any. whole: no samples are missing in it.
    """

    x_s: Floats
    regulated_pa: Floats
    cylinder_pa: Floats
    newest_regulated_pa: float | None
    newest_cylinder_pa: float | None
    highest_pa: float
    whole: bool


def thinned(trace: TraceView, span_s: float, columns: int) -> Curves:
    """The last span_s of a trace in at most about so many columns.

    Bins are put together by device time and not by their place in the picture, so that the picture moves without flickering. A
    column in which samples are missing is NaN, and the line is broken there.

    >>> zeros = np.zeros(4, dtype=np.float32)
    >>> trace = TraceView(np.array([0.025, 0.075, 0.125, 0.175]), zeros, zeros + 2, zeros, zeros + 1, 0.2)
    >>> curves = thinned(trace, 10.0, 100)
    >>> [round(x, 2) for x in curves.x_s.tolist()], curves.regulated_pa.tolist(), curves.highest_pa
    ([-0.15, -0.15, -0.05, -0.05], [0.0, 2.0, 0.0, 2.0], 2.0)
    """
    part = trace.span(span_s)
    t_s = part.t_s
    if len(t_s) == 0:
        nothing = np.zeros(0, dtype=np.float32)
        return Curves(nothing, nothing, nothing, None, None, 0.0, True)
    width_s = BIN_S * max(1, ceil(span_s / BIN_S / max(1, columns)))
    column = np.floor(t_s / width_s)
    starts = np.concatenate(([0], np.flatnonzero(np.diff(column)) + 1))
    x_s = ((column[starts] + 0.5) * width_s - trace.newest_s).astype(np.float32)
    regulated = _to_and_fro(part.regulated_low_pa, part.regulated_high_pa, starts)
    cylinder = _to_and_fro(part.cylinder_low_pa, part.cylinder_high_pa, starts)
    whole = not (np.isnan(regulated).any() or np.isnan(cylinder).any())
    highest = 0.0
    for line in (regulated, cylinder):
        highest = max(highest, float(line.max()) if whole else float(np.fmax.reduce(line, initial=0.0)))
    return Curves(
        np.repeat(np.minimum(x_s, np.float32(0.0)), 2),
        regulated,
        cylinder,
        _newest(part.regulated_low_pa, part.regulated_high_pa),
        _newest(part.cylinder_low_pa, part.cylinder_high_pa),
        highest,
        whole,
    )


def _to_and_fro(low: Floats, high: Floats, starts: npt.NDArray[np.int64]) -> Floats:
    line = np.empty(2 * len(starts), dtype=np.float32)
    line[0::2] = np.minimum.reduceat(low, starts)
    line[1::2] = np.maximum.reduceat(high, starts)
    return line


def _newest(low: Floats, high: Floats) -> float | None:
    middle = (float(low[-1]) + float(high[-1])) / 2.0
    return middle if isfinite(middle) else None


def top_pa(usual_high_pa: float, highest_pa: float, end_pa: float) -> float:
    """Where the scale ends: fixed a little above the highest regulated pressure, and only beyond that at the transducers' end.

    >>> round(top_pa(620_000.0, 551_000.0, 1e6)), round(top_pa(620_000.0, 700_000.0, 1e6))
    (669600, 1080000)
    """
    usual = usual_high_pa * ROOM_ABOVE
    return usual if highest_pa <= usual else max(end_pa, highest_pa) * ROOM_ABOVE


def nice_step(whole: float, most: int) -> float:
    """A step of 1, 2, 2.5 or 5 times a power of ten of which at most so many make up the whole.

    >>> nice_step(670.0, 8), nice_step(670.0, 3), nice_step(6.7, 7)
    (100.0, 250.0, 1.0)
    """
    least = whole / max(1, most)
    power = 10.0 ** floor(log10(least))
    return next(step * power for step in (1.0, 2.0, 2.5, 5.0, 10.0) if step * power >= least * (1.0 - 1e-9))


def label_heights(wanted: Sequence[float], least: float, low: float, high: float) -> list[float]:
    """Two heights kept apart by at least so much, inside of low and high. The order stays; of equals the first is above.

    >>> [label_heights(wanted, 3.0, 0.0, 10.0) for wanted in ((5.0, 4.0), (9.9, 9.0), (1.0, 8.0))]
    [[6.0, 3.0], [10.0, 7.0], [1.0, 8.0]]
    """
    first, second = wanted
    if abs(first - second) < least:
        middle = min(max((first + second) / 2.0, low + least / 2.0), high - least / 2.0)
        way = 1.0 if first >= second else -1.0
        first, second = middle + way * least / 2.0, middle - way * least / 2.0
    return [min(max(height, low), high) for height in (first, second)]


@dataclass(slots=True)
class AirSpans:
    """From when to when it was PRESSURISED, as far as somebody looked on: device time, oldest first, the last may still go on."""

    spans_s: list[tuple[float, float]] = field(default_factory=list)
    looked_s: float | None = None
    on: bool = False

    def see(self, now_s: float, pressurised: bool) -> None:
        """It is so now. A clock that went back is another run of the rig: what was seen before belongs to no picture any more.

        >>> air = AirSpans()
        >>> for now_s, on in ((1.0, False), (1.1, True), (1.6, True), (1.7, False), (9.0, True), (9.1, True)):
        ...     air.see(now_s, on)
        >>> air.spans_s
        [(1.1, 1.7), (9.0, 9.1)]
        """
        if self.looked_s is not None and now_s < self.looked_s:
            self.spans_s, self.on = [], False
        elif self.looked_s is not None and now_s - self.looked_s > LOOKED_AWAY_S:
            self.on = False
        if self.on:
            self.spans_s[-1] = (self.spans_s[-1][0], now_s)
        elif pressurised:
            self.spans_s.append((now_s, now_s))
        self.on, self.looked_s = pressurised, now_s
        while self.spans_s and self.spans_s[0][1] < now_s - LONGEST_S:
            del self.spans_s[0]
