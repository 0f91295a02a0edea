"""How fast supply and vent followed what they were told, seen in the pressures beside the device's word.

A solenoid valve of this size moves within some hundredths of a second (common practice, no source). In a sound rig with a dead
volume of 20 cm³ the pressures follow within 0.07 s at every leakage from 0.5 to 92 % (simulated): `SLOW_S` is three times that. A
larger dead volume takes in proportion longer to fill, and to empty through the restrictor. Where hardly anything leaks, nothing
shows whether the supply has shut.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from borewright.core.flow import Floats
from borewright.core.samples import SampleFlags

__all__ = ["SLOW_S", "ValveTimes", "longer", "shut_late", "slow_valves", "valve_times"]

SLOW_S = 0.2
SLOW_OPENING_S = 0.1  # it needs no more than a small part of its way to fill the dead volume
USUAL_DEAD_M3 = 20e-6  # which these times are for
_THERE = 0.8  # of the level that p_regulated has while fed
_COLLAPSED = 0.5  # of the difference over the restrictor
_LET_OFF = 0.3  # of what was in the cylinder when the vent was told to open
_LEVEL_S = 0.5
_SMOOTH_S = 0.01
_LEAST_DIFFERENCE_PA = 2_500.0
_LEAST_TO_VENT_PA = 15_000.0


@dataclass(frozen=True, slots=True)
class ValveTimes:
    """Seconds from the device's word until the pressures follow; None: nothing to see it by. never_*: until the end they did not.

    opened_s: p_regulated is up. shut_s: the difference over the restrictor has halved. vented_s: most of the pressure is gone.
    """

    opened_s: float | None = None
    shut_s: float | None = None
    vented_s: float | None = None
    never_shut: bool = False
    never_vented: bool = False


def valve_times(
    t_s: npt.ArrayLike,
    p_regulated_gauge_pa: npt.ArrayLike,
    p_cylinder_gauge_pa: npt.ArrayLike,
    flags: npt.NDArray[np.uint16],
    dead_volume_m3: float = USUAL_DEAD_M3,
) -> ValveTimes:
    """Of the last opening in a capture. Times, two zero-corrected pressures and flags of one length; nothing behind hand valves.

    dead_volume_m3: between supply valve and restrictor.

    >>> t = np.arange(0.0, 6.0, 0.001)
    >>> fed, vented = (t >= 1.0) & (t < 4.0), (t < 1.0) | (t >= 5.0)
    >>> regulated = np.where(vented, 0.0, np.where(t < 4.3, 550e3, 500e3 * np.exp(4.3 - t)))  # the supply shuts 0.3 s late
    >>> cylinder = np.where(vented, 0.0, np.where(t < 4.3, 500e3, 500e3 * np.exp(4.3 - t)))
    >>> flags = np.where(fed, 1, np.where(vented, 2, 0)).astype(np.uint16)
    >>> round(valve_times(t, regulated, cylinder, flags).shut_s, 2)
    0.3
    """
    t, regulated, cylinder = (np.asarray(values, dtype=np.float64) for values in (t_s, p_regulated_gauge_pa, p_cylinder_gauge_pa))
    fed = np.flatnonzero(flags & int(SampleFlags.SUPPLY_OPEN))
    if len(fed) == 0 or fed[-1] + 2 >= len(t):
        return ValveTimes()
    shut = int(fed[-1]) + 1
    breaks = np.flatnonzero(np.diff(fed) > 1)
    opened = int(fed[breaks[-1] + 1]) if len(breaks) else int(fed[0])
    vents = np.flatnonzero(flags[shut:] & int(SampleFlags.VENT_OPEN))
    vent = shut + int(vents[0]) if len(vents) else len(t)
    smooth = max(1, round(_SMOOTH_S / float(np.median(np.diff(t)))))
    level = slice(max(opened, int(np.searchsorted(t, t[shut] - _LEVEL_S))), shut)
    opened_s = _first(t, regulated, opened, shut, lambda p: p > _THERE * float(np.median(regulated[level])))
    difference = regulated - cylinder
    stood = float(np.mean(difference[level]))
    shut_s, never_shut = None, False
    if stood > _LEAST_DIFFERENCE_PA and vent - shut > smooth:
        shut_s = _first(t, _mean(difference, smooth), shut, vent, lambda p: p < _COLLAPSED * stood)
        never_shut = shut_s is None and float(t[vent - 1] - t[shut]) > SLOW_S * longer(dead_volume_m3)
    vented_s, never_vented = None, False
    held = float(np.mean(cylinder[max(shut, vent - 2 * smooth) : vent])) if vent - shut > smooth else 0.0
    if held > _LEAST_TO_VENT_PA and len(t) - vent > smooth:
        vented_s = _first(t, _mean(cylinder, smooth), vent, len(t), lambda p: p < _LET_OFF * held)
        never_vented = vented_s is None and float(t[-1] - t[vent]) > SLOW_S
    return ValveTimes(opened_s, shut_s, vented_s, never_shut, never_vented)


def slow_valves(seen: ValveTimes, dead_volume_m3: float = USUAL_DEAD_M3) -> tuple[str, ...]:
    """What a reader of the number must know of them, in words; nothing where they followed at once.

    dead_volume_m3: between supply valve and restrictor.

    >>> slow_valves(ValveTimes(0.014, 0.57, 0.01))
    ('the supply valve shut slowly, 0.57 s after it was told to, and fed the decay: no decay times are given; see to the valve',)
    """
    found = []
    times = longer(dead_volume_m3)
    if seen.opened_s is not None and seen.opened_s > SLOW_OPENING_S * times:
        found.append(f"the supply valve opened slowly: its pressure was there after {seen.opened_s:.2f} s; see to the valve")
    if seen.never_shut:
        found.append("the supply valve did not shut when it was told to: there is no decay to read; see to the valve")
    elif seen.shut_s is not None and shut_late(seen, dead_volume_m3):
        found.append(
            f"the supply valve shut slowly, {seen.shut_s:.2f} s after it was told to, and fed the decay: "
            "no decay times are given; see to the valve"
        )
    if seen.never_vented:
        found.append("the vent did not let the pressure off: see to it before the next test")
    elif seen.vented_s is not None and seen.vented_s > SLOW_S:
        found.append(f"the vent let the pressure off slowly, in {seen.vented_s:.1f} s: see that it opens before the next test")
    return tuple(found)


def shut_late(seen: ValveTimes, dead_volume_m3: float = USUAL_DEAD_M3) -> bool:
    """Whether the supply valve shut so late, or not at all, that what follows is no decay of trapped air."""
    return seen.never_shut or (seen.shut_s is not None and seen.shut_s > SLOW_S * longer(dead_volume_m3))


def longer(dead_volume_m3: float) -> float:
    """How many times as long as usual the dead volume takes to follow its valve; the valve's own way does not get shorter."""
    return max(1.0, dead_volume_m3 / USUAL_DEAD_M3)


def _mean(values: Floats, size: int) -> Floats:
    """Running mean over each sample and those behind it, as far as there are enough of them."""
    return np.convolve(values, np.full(size, 1.0 / size), "valid") if size > 1 else values


def _first(t: Floats, values: Floats, start: int, stop: int, reached: Callable[[Floats], npt.NDArray[np.bool_]]) -> float | None:
    """Seconds from one sample to the first from there on at which something is reached."""
    found = np.flatnonzero(reached(values[start:stop]))
    return float(t[start + found[0]] - t[start]) if len(found) else None
