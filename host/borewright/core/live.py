"""A capture while it is being recorded: which phase it is in, the running leakage, whether it has settled, whether the decay is
over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns, SampleFlags
from borewright.core.steady import STEADY_SLOPE_PERCENT_PER_S, STEADY_WINDOW_S

__all__ = ["LiveCapture"]

BIN_S = 0.05
DECAY_OVER_SHARE = 0.20
DECAY_LIMIT_S = 30.0
_KEPT_BINS = 80
_STRICTER = 0.85  # than the rule, so that what is called settled here passes the analysis of the whole as well
_LOST_SHARE = 0.25  # what is left when a hose has come off; no stop that comes off lets a cylinder that had filled fall so far
_STILL_SHARE = 0.5  # of the difference over the restrictor: a shut supply lets it fall to a small part
_STANDS_S = 0.3
_LEAST_SHARE = 0.02  # of the regulated pressure: less may be what two transducers differ by
_ON_PA = 15_000.0
_OFF_PA = 5_000.0

Bin = tuple[float, float, float]  # middle time in s, mean regulated and cylinder gauge pressure in Pa


@dataclass(frozen=True, slots=True)
class LiveCapture:
    """The running view of a capture. Immutable: `add` gives the next one. Works on means of 50 ms, with the zeros of the first
    vented ones.

    p_regulated_gauge_pa, p_cylinder_gauge_pa: the latest means. air_on: the regulated pressure is up and the supply feeds it.
    fill_done: the cylinder pressure no longer climbs. steady_for_s: for how long the rule of core.steady has held by now, its
    own 3 s included. settled: it holds. supply_shut: the air was on and no longer is, seen in the data or said by the device's
    flags. decay_done: after that the cylinder is under 20 % of what it held, or 30 s have passed. A puff sets air_on and
    supply_shut, and is forgotten once both pressures are down again.

    >>> law = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
    >>> live = LiveCapture({"regulated": law, "cylinder": law})
    >>> n = np.arange(8000)
    >>> raw = np.stack([np.where(n < 1000, 410, 2210), np.where(n < 1000, 410, 2030)]).astype(np.uint16)
    >>> live = live.add(SampleColumns(n * 1000, n, n * 0, raw, np.zeros(8000, np.uint16), 1_000_000))
    >>> live.air_on, live.fill_done, live.settled, round(live.leakage_percent, 1)
    (True, True, True, 10.0)
    """

    laws: Mapping[str, ChannelLaw]
    regulated_channel: int = 0
    cylinder_channel: int = 1
    p_regulated_gauge_pa: float = 0.0
    p_cylinder_gauge_pa: float = 0.0
    air_on: bool = False
    fill_done: bool = False
    settled: bool = False
    steady_for_s: float = 0.0
    supply_shut: bool = False
    decay_done: bool = False
    slope_percent_per_s: float | None = None
    _zero: tuple[float, float, int] = (0.0, 0.0, 0)
    _bins: tuple[Bin, ...] = ()
    _waiting: SampleColumns | None = field(default=None, repr=False)
    _since_s: float | None = None  # of the fill, then of the shut
    _filled_s: float | None = None
    _steady_since_s: float | None = None
    _held_pa: float = 0.0  # what the cylinder held when the supply was shut
    _said_open: bool = False  # by the device's flags
    _said_shut: bool = False
    _level_pa: tuple[float, float] = (0.0, 0.0)  # regulated pressure and the difference over the restrictor while fed

    @property
    def leakage_percent(self) -> float | None:
        """Running leakage over the last second of air, in percent; None when there is none to read."""
        last = self._last_second
        regulated, cylinder = sum(b[1] for b in last), sum(b[2] for b in last)
        return float(100.0 * (regulated - cylinder) / regulated) if regulated > 0.0 else None

    @property
    def lost_at_once(self) -> bool:
        """With air on, and the cylinder filled before, it has lost most of its pressure within the last second."""
        if not self.air_on or not self.fill_done:
            return False
        t, regulated, cylinder = self._bins[-1]
        held = max(b[2] for b in self._bins if b[0] > t - 1.0)
        return held > _ON_PA and cylinder < _LOST_SHARE * held and regulated > 0.5 * self._level_pa[0]

    def still_fed(self, for_s: float) -> bool:
        """The supply is taken to be shut for for_s, and over the restrictor stands what stood there while it fed.

        Where hardly anything leaks nothing shows it: then False.
        """
        level_pa, stood_pa = self._level_pa
        if not self.supply_shut or self._since_s is None or stood_pa < _LEAST_SHARE * level_pa:
            return False
        t = self._bins[-1][0]
        last = [regulated - cylinder for at, regulated, cylinder in self._bins if at > t - _STANDS_S]
        return t - self._since_s >= for_s and sum(last) / len(last) > _STILL_SHARE * stood_pa

    @property
    def leakage_noise_percent(self) -> float | None:
        """Standard deviation of `leakage_percent`, from the scatter of its means of 50 ms; None where they are too few."""
        last = self._last_second
        if len(last) < 5:
            return None
        _, regulated, cylinder = np.asarray(last).T
        return float(np.std(100.0 * cylinder / np.maximum(regulated, 1.0), ddof=1) / np.sqrt(len(last)))

    @property
    def _last_second(self) -> list[Bin]:
        """The means of the last second of air, none where the cylinder still fills."""
        if not self.air_on or not self.fill_done:
            return []
        return [b for b in self._bins if b[0] > self._bins[-1][0] - 1.0 and (self._filled_s is None or b[0] >= self._filled_s)]

    def add(self, columns: SampleColumns) -> LiveCapture:
        """The view after these samples, which follow those added before; any number of them, also none."""
        waiting = columns if self._waiting is None else SampleColumns.join([self._waiting, columns])
        if len(waiting) < 2:
            return replace(self, _waiting=waiting) if len(waiting) else self
        t = waiting.t_s
        regulated = self.laws["regulated"].gauge_pa(waiting.raw[self.regulated_channel])
        cylinder = self.laws["cylinder"].gauge_pa(waiting.raw[self.cylinder_channel])
        view, start = self, 0
        while t[-1] - t[start] >= BIN_S:
            stop = max(start + 1, int(np.searchsorted(t, t[start] + BIN_S)))
            part = slice(start, stop)
            said_open = bool(np.all(waiting.flags[part] & int(SampleFlags.SUPPLY_OPEN)))
            said_shut = view._said_open and not bool(np.any(waiting.flags[part] & int(SampleFlags.SUPPLY_OPEN)))
            view = replace(view, _said_open=said_open or (view._said_open and not said_shut), _said_shut=said_shut)
            view = view._with_bin(float(t[part].mean()), float(regulated[part].mean()), float(cylinder[part].mean()))
            start = stop
        return replace(view, _waiting=waiting.between(start, len(waiting)))

    # ------------------------------------------------------------ one bin further

    def _with_bin(self, t: float, regulated_raw_pa: float, cylinder_raw_pa: float) -> LiveCapture:
        zero_regulated, zero_cylinder, count = self._zero
        regulated, cylinder = regulated_raw_pa - zero_regulated, cylinder_raw_pa - zero_cylinder
        vented = self._since_s is None and abs(regulated) < _OFF_PA and abs(cylinder) < _OFF_PA
        zero = self._zero
        if count == 0 or (vented and count < 100):
            zero = (
                (zero_regulated * count + regulated_raw_pa) / (count + 1),
                (zero_cylinder * count + cylinder_raw_pa) / (count + 1),
                count + 1,
            )
            regulated, cylinder = regulated_raw_pa - zero[0], cylinder_raw_pa - zero[1]
        view = replace(
            self,
            p_regulated_gauge_pa=regulated,
            p_cylinder_gauge_pa=cylinder,
            _zero=zero,
            _bins=(*self._bins[-_KEPT_BINS + 1 :], (t, regulated, cylinder)),
        )
        if view.supply_shut:
            return view._after_shut(t, regulated, cylinder)
        if view.air_on:
            return view._while_fed(t, regulated, cylinder)
        if regulated > _ON_PA:
            return replace(view, air_on=True, _since_s=t, _level_pa=(regulated, 0.0))
        return view

    def _while_fed(self, t: float, regulated: float, cylinder: float) -> LiveCapture:
        level, difference = self._level_pa
        fallen = regulated < 0.97 * level
        collapsed = difference > 0.015 * level and regulated - cylinder < 0.4 * difference and regulated < level - 0.3 * difference
        if (self.fill_done and (fallen or collapsed)) or regulated < 0.6 * level or self._said_shut:
            held = max(b[2] for b in self._bins[-10:])
            return replace(
                self,
                air_on=False,
                settled=False,
                steady_for_s=0.0,
                supply_shut=True,
                _since_s=t,
                _steady_since_s=None,
                _held_pa=held,
            )
        view = self
        if not view.fill_done:
            view = replace(view, _level_pa=(max(level, regulated), 0.0))
            earlier = [b for b in view._bins if t - 0.35 < b[0] and b[0] >= (view._since_s or t)]
            if len(earlier) >= 5 and cylinder - earlier[0][2] < 0.01 * regulated:
                view = replace(view, fill_done=True, _filled_s=earlier[0][0])
            return view
        share = 0.05  # follows the regulator's creep within a second, not a valve that shuts
        view = replace(
            view, _level_pa=(level + share * (regulated - level), difference + share * (regulated - cylinder - difference))
        )
        return view._watch_steady(t)

    def _watch_steady(self, t: float) -> LiveCapture:
        last = [b for b in self._bins if b[0] >= max(self._filled_s or 0.0, t - STEADY_WINDOW_S - BIN_S / 2)]
        if last[-1][0] - last[0][0] < STEADY_WINDOW_S - 2 * BIN_S:
            return self
        at, regulated, cylinder = np.asarray(last).T
        at = at - at.mean()
        ratio = cylinder / np.maximum(regulated, 1.0)
        slope = 100.0 * float(at @ (ratio - ratio.mean()) / (at @ at))
        if abs(slope) >= _STRICTER * STEADY_SLOPE_PERCENT_PER_S:
            return replace(self, settled=False, steady_for_s=0.0, slope_percent_per_s=slope, _steady_since_s=None)
        since = self._steady_since_s if self._steady_since_s is not None else t - STEADY_WINDOW_S
        return replace(self, settled=True, steady_for_s=t - since, slope_percent_per_s=slope, _steady_since_s=since)

    def _after_shut(self, t: float, regulated: float, cylinder: float) -> LiveCapture:
        since = self._since_s if self._since_s is not None else t
        done = self.decay_done or cylinder < max(DECAY_OVER_SHARE * self._held_pa, _OFF_PA) or t - since >= DECAY_LIMIT_S
        if regulated > max(self._level_pa[0] * 0.5, _ON_PA) and regulated > cylinder + 0.05 * self._level_pa[0] and done:
            return replace(self._forgotten(), air_on=True, _since_s=t, _level_pa=(regulated, 0.0))
        if regulated < _OFF_PA and cylinder < _OFF_PA and not self.fill_done:
            return self._forgotten()  # that was the puff
        return replace(self, decay_done=done)

    def _forgotten(self) -> LiveCapture:
        """As before the air came; only zeros and the latest means are kept."""
        return replace(
            self,
            air_on=False,
            fill_done=False,
            settled=False,
            steady_for_s=0.0,
            supply_shut=False,
            decay_done=False,
            slope_percent_per_s=None,
            _since_s=None,
            _filled_s=None,
            _steady_since_s=None,
            _held_pa=0.0,
            _level_pa=(0.0, 0.0),
        )
