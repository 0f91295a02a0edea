"""Channel sense in a capture: swapped transducers, one of another range, a bit that stays, a zero that has walked away.

All of it is found in the pressures themselves: with air on nothing on the cylinder side comes first or stands higher, with the
supply shut the dead volume before the restrictor goes with the cylinder, and after the vent both sides are back where they began.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.channel_sense import CHANNEL_NAMES, ChannelTrouble
from borewright.core.flow import AIR_GAS_CONSTANT, GAMMA_AIR, Floats
from borewright.core.restrictor import Restrictor

__all__ = [
    "AfterShut",
    "after_shut",
    "range_trouble",
    "range_words",
    "stands_above",
    "stuck_bit",
    "swapped_rise",
    "zero_moved",
]

BIN_S = 0.005
RISEN_PA = 20_000.0  # more than a rig at vent shows (limits.seen_gauge_pa), whatever its zeros are
BEHIND = 0.5  # the side that is fed through the restrictor is behind by more than this while the first 20 kPa come
ABOVE_SHARE = 0.03
"""By how much the cylinder side may read above the regulated one: the tie of two transducers of 1 % and their zeros."""
RANGE_SHARE = 0.12
"""From which disagreement on a transducer is of another range: neighbouring ranges differ by a quarter and more, a tied pair by
less than 1 %, a regulator droops and creeps by some percent. In 100 sound random captures the two sides agreed to 1 % after the
shut (tests/bench/channel_sense.py draws them)."""
SHUT_S = 0.15  # after the shut, until valve and difference are gone
STEP_S = 0.04
LEAST_STEPS = 4
LEAST_HELD = 0.2  # of what was held: below it noise and zeros count too much
CHOKED_RATIO = 0.5283  # of an ideal nozzle; behind it the flow no longer shows the pressure
CELLS, FEW_CELLS, CELL_WORDS = 24, 6, 4
"""A bit counts as stuck when it is the same in 24 cells of twice its size that the words were in (chance 2^-23), or in 6 of which 4
words and more were seen each, as a slow rise or fall leaves them: vent, puff and steady reading alone are fewer."""
ZERO_MOVED_PA = 500.0
"""Half of what the zero may move between its check and a test (Limits.zero_moved_pa): in one test it moves by a tenth of that."""
ZERO_SIGMAS = 6.0
AFTER_VENT_S = 0.25


def _binned(t_s: Floats, values: Floats, width_s: float) -> tuple[Floats, Floats]:
    """Means of `values` over width_s, and the mean times."""
    number = ((t_s - t_s[0]) / width_s).astype(np.int64)
    count = np.bincount(number)
    filled = count > 0
    t = np.bincount(number, weights=t_s)[filled] / count[filled]
    return t, np.bincount(number, weights=values)[filled] / count[filled]


def swapped_rise(t_s: Floats, p_regulated_gauge_pa: Floats, p_cylinder_gauge_pa: Floats) -> bool:
    """Whether the cylinder side comes first when air is let in, which it cannot: the two transducers are swapped.

    From before the air to its first rise or longer. False where nothing rises.

    >>> t = np.arange(0.0, 0.3, 0.001)
    >>> fed, behind = np.where(t < 0.1, 0.0, 550e3), np.where(t < 0.1, 0.0, 2e6 * (t - 0.1))
    >>> swapped_rise(t, fed, behind), swapped_rise(t, behind, fed), swapped_rise(t, 0.0 * t, 0.0 * t)
    (False, True, False)
    """
    _, regulated = _binned(t_s, p_regulated_gauge_pa, BIN_S)
    _, cylinder = _binned(t_s, p_cylinder_gauge_pa, BIN_S)
    risen = np.flatnonzero(np.maximum(regulated, cylinder) > RISEN_PA)
    if risen.size == 0:
        return False
    first = int(risen[0])
    return bool(cylinder[first] > RISEN_PA and regulated[first] < BEHIND * cylinder[first])


def stands_above(p_regulated_gauge_pa: float, p_cylinder_gauge_pa: float) -> bool:
    """Whether the cylinder side reads so far above the regulated one in the steady part that no tie explains it.

    >>> stands_above(550e3, 552e3), stands_above(550e3, 700e3)
    (False, True)
    """
    return p_cylinder_gauge_pa - p_regulated_gauge_pa > ABOVE_SHARE * abs(p_regulated_gauge_pa) + 0.1 * RISEN_PA


@dataclass(frozen=True, slots=True)
class AfterShut:
    """After the shut: what the cylinder side reads, as a multiple of what the regulated side says that it must be.

    ratio: median over the steps; nearest to 1 of what the heat in the dead volume leaves open.
    """

    ratio: float
    steps: int


def after_shut(
    t_s: Floats,
    p_regulated_gauge_pa: Floats,
    p_cylinder_gauge_pa: Floats,
    restrictor: Restrictor,
    dead_volume_m3: float,
    p_ambient_abs_pa: float = 101_325.0,
    t_supply_k: float = 293.15,
) -> AfterShut | None:
    """What the decay says of the two channels; from the shut to the vent. None where it is too short or falls too fast.

    What leaves the dead volume goes through the restrictor, so its own fall says how far the cylinder is below it. Its air keeps
    its temperature or does not: the cylinder is between the two.

    >>> t = np.arange(0.0, 5.0, 0.001)
    >>> p = 500e3 * np.exp(-t / 5.0)
    >>> round(after_shut(t, p, 0.625 * p, Restrictor(8.1e-7), 20e-6).ratio, 2)
    0.63
    """
    if len(t_s) < LEAST_STEPS or t_s[-1] - t_s[0] < SHUT_S + 2 * STEP_S:
        return None
    start = int(np.searchsorted(t_s, t_s[0] + SHUT_S))
    t, regulated = _binned(t_s[start:], p_regulated_gauge_pa[start:], STEP_S)
    _, cylinder = _binned(t_s[start:], p_cylinder_gauge_pa[start:], STEP_S)
    if len(t) < LEAST_STEPS + 2:
        return None
    held_pa = float(np.max(regulated))
    fall_pa_s = np.maximum(-(regulated[2:] - regulated[:-2]) / (t[2:] - t[:-2]), 0.0)
    up, seen = np.maximum(regulated[1:-1] + p_ambient_abs_pa, 1.0), cylinder[1:-1]  # a broken channel reads under a vacuum
    flow = dead_volume_m3 * fall_pa_s / (AIR_GAS_CONSTANT * t_supply_k)
    low, high = (_below(up, flow * part, restrictor, t_supply_k) - p_ambient_abs_pa for part in (1.0, 1.0 / GAMMA_AIR))
    choked = flow >= 0.98 * restrictor.mass_flow_kg_s(up, CHOKED_RATIO * up, t_supply_k)
    good = (regulated[1:-1] > max(LEAST_HELD * held_pa, RISEN_PA)) & ~choked & (low > 0.25 * regulated[1:-1])
    if np.count_nonzero(good) < LEAST_STEPS:
        return None
    nearest = np.clip(seen, low, high)[good]
    return AfterShut(float(np.median(seen[good] / nearest)), int(np.count_nonzero(good)))


def _below(p_up_abs_pa: Floats, flow_kg_s: Floats, restrictor: Restrictor, t_up_k: float) -> Floats:
    """The pressure behind the restrictor at which so much flows, by halving; at least the choked one."""
    low, high = CHOKED_RATIO * p_up_abs_pa, p_up_abs_pa.copy()
    for _ in range(30):
        middle = 0.5 * (low + high)
        more = restrictor.mass_flow_kg_s(p_up_abs_pa, middle, t_up_k) > flow_kg_s
        low, high = np.where(more, middle, low), np.where(more, high, middle)
    return np.asarray(0.5 * (low + high))


def range_words(name: str, reads_as: float, range_pa: float) -> str:
    """What to say of a transducer that reads so many times what is there.

    >>> range_words("cylinder", 0.625, 1e6)
    'the cylinder transducer reads 0.62 times what is there, as one of 1600 kPa would where the rig file says 1000 kPa'
    """
    would_be = float(f"{range_pa / reads_as / 1000.0:.2g}")
    says = f"one of {would_be:.0f} kPa would where the rig file says {range_pa / 1000.0:.0f} kPa"
    return f"the {name} transducer reads {reads_as:.2f} times what is there, as {says}"


def range_trouble(
    ratio: float, p_regulated_gauge_pa: float, proven_gauge_pa: float | None, range_pa: float
) -> ChannelTrouble | None:
    """The transducer that is of another range than the rig file says, from what the cylinder side reads beside the regulated.

    ratio: cylinder over regulated where both should read the same. proven_gauge_pa: the set pressure that the sealed check showed,
    by which of the two is right; None: not known.

    >>> range_trouble(0.625, 550e3, 551e3, 1e6).channel, range_trouble(0.625, 880e3, 551e3, 1e6).channel
    ('cylinder', 'regulated')
    >>> range_trouble(0.97, 550e3, 551e3, 1e6) is None
    True
    """
    if abs(ratio - 1.0) <= RANGE_SHARE:
        return None
    remedy = "Look at both transducers and at the ranges in the rig file; then make the rig's checks again."
    if proven_gauge_pa is None or proven_gauge_pa <= 0.0:
        words = f"the cylinder transducer reads {ratio:.2f} times what the regulated one does where both are at one pressure"
        return ChannelTrouble("range", "both", f"{words}: one of them is of another range than the rig file says", remedy)
    if abs(p_regulated_gauge_pa / proven_gauge_pa - 1.0) <= RANGE_SHARE:
        return ChannelTrouble("range", "cylinder", range_words("cylinder", ratio, range_pa), remedy)
    return ChannelTrouble("range", "regulated", range_words("regulated", 1.0 / ratio, range_pa), remedy)


def stuck_bit(name: str, raw: npt.NDArray[np.uint16]) -> ChannelTrouble | None:
    """A bit of the converter that stays set or unset in a whole capture, though the words go over both of its sides.

    >>> fall = np.linspace(2200, 410, 5000).astype(np.uint16)
    >>> stuck_bit("cylinder", fall) is None, stuck_bit("cylinder", fall | np.uint16(8)).words
    (True, 'one bit of the cylinder channel stays set: its readings are wrong by up to 8 steps of the converter')
    """
    words = np.flatnonzero(np.bincount(raw))  # each word that was seen, once
    bit = 1
    while words.size and 2 * FEW_CELLS * bit <= int(words[-1] - words[0]):
        stays = "set" if np.all(words & bit) else "unset" if not np.any(words & bit) else None
        if stays is not None:
            _, each = np.unique(words // (2 * bit), return_counts=True)
            if each.size >= CELLS or np.count_nonzero(each >= CELL_WORDS) >= FEW_CELLS:
                wrong = f"its readings are wrong by up to {bit} step{'s' if bit > 1 else ''} of the converter"
                remedy = "The converter or its wiring is broken: have the device mended."
                return ChannelTrouble("stuck_bit", name, f"one bit of the {name} channel stays {stays}: {wrong}", remedy)
        bit <<= 1
    return None


def zero_moved(before: tuple[Floats, Floats], after: tuple[Floats, Floats], correlation: float = 0.8) -> tuple[ChannelTrouble, ...]:
    """The channels whose zero has walked away in one capture. before, after: gauge pressures at vent, regulated and cylinder.

    correlation: of one sample with the next one, at most, for which the means are trusted less.

    >>> quiet = np.zeros(250)
    >>> [one.words for one in zero_moved((quiet, quiet), (quiet, quiet + 900.0))]
    ["the cylinder transducer's zero moved by +0.9 kPa within the test"]
    """
    found = []
    widened = float(np.sqrt((1.0 + correlation) / (1.0 - correlation)))
    for name, old, new in zip(CHANNEL_NAMES, before, after, strict=True):
        if len(old) < 2 or len(new) < 2:
            continue
        moved_pa = float(np.mean(new) - np.mean(old))
        u_pa = widened * float(np.hypot(np.std(new) / np.sqrt(len(new)), np.std(old) / np.sqrt(len(old))))
        if abs(moved_pa) > max(ZERO_MOVED_PA, ZERO_SIGMAS * u_pa):
            words = f"the {name} transducer's zero moved by {moved_pa / 1000:+.1f} kPa within the test"
            found.append(
                ChannelTrouble("zero_moved", name, words, "Check its supply and its wires; take the zeros and test again.")
            )
    return tuple(found)
