"""From the raw samples of one capture to its numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from borewright.core.decay import decay_times
from borewright.core.decay_fed import LEAST_SHARE, fed_share
from borewright.core.flow import Floats, leak_area_m2, leakage_percent
from borewright.core.leak_grew import grew_in_decay, grew_while_fed
from borewright.core.phases import NO_PRESSURE, CaptureUnusable, Phases, find_phases, noise_pa
from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns, SampleFlags
from borewright.core.steady import steady_part
from borewright.core.valve_times import USUAL_DEAD_M3, shut_late, slow_valves, valve_times

__all__ = ["NEARLY_ALL", "CaptureResult", "CaptureUnusable", "analyse_capture", "marks_of_void"]

PA_PER_PSI = 6894.757293168
_LEAST_STEADY_S = 0.3
_NEARLY_ALL_PERCENT = 90.0
NEARLY_ALL = "nearly all air gets out: right hole, right TDC? decompression device or a valve held open? adapter?"
_GREW_WITH_AIR_ON = "the leak grew with air on"
_GREW_IN_DECAY = "the leak grew in the decay"
_HARDLY_FELL = "the pressure hardly fell after the supply was shut; the moment is the device's word"
_WORDS_DISAGREE = "the device's word and the pressures disagree on when the supply was shut"
_LEAST_DECAY_SAMPLES = 8
_STANDS_SHARE = 0.02  # a regulator's creep and droop stay within it
_FLAGS_AGREE_S = 0.5  # blocks, valve travel and noise together stay well under this


@dataclass(frozen=True, slots=True)
class CaptureResult:
    """What one capture yields. Pressures are gauge and have the zeros of this capture's own vented baseline taken off.

    leakage_percent: from the steady part; may lie just under 0 within the noise. leak_area_m2: effective leak area, 0 when
    nothing leaks that could be seen. t75_s, t50_s, t25_s: decay times from the isolation, None where not reached. zero_*_pa:
    what each channel reads at vent, as ChannelLaw.zero_pa. steady: the rule of core.steady held. slope_percent_per_s: of the
    ratio over the part that was read, which is the sample range steady_read. marks: what a reader of the number must know, in
    words. crank_moved_counts: from the fill to the vent. leak_grew: with air on, so that the fill was that of a smaller leak.
    decay_disturbed: a mark names what made the decay another one than that of trapped air leaking through one leak; no decay times
    are given then.
    """

    leakage_percent: float
    p_regulated_gauge_pa: float
    p_cylinder_gauge_pa: float
    leak_area_m2: float
    t75_s: float | None
    t50_s: float | None
    t25_s: float | None
    phases: Phases
    zero_regulated_pa: float
    zero_cylinder_pa: float
    steady: bool
    slope_percent_per_s: float
    steady_read: tuple[int, int]
    marks: tuple[str, ...]
    crank_moved_counts: int
    leak_grew: bool = False
    decay_disturbed: bool = False

    @property
    def pair_kpa(self) -> tuple[float, float]:
        """Regulated and cylinder pressure in kPa gauge."""
        return self.p_regulated_gauge_pa / 1e3, self.p_cylinder_gauge_pa / 1e3

    @property
    def pair_psi(self) -> tuple[float, float]:
        """Regulated and cylinder pressure in psi gauge, the trade's "80/72"."""
        return self.p_regulated_gauge_pa / PA_PER_PSI, self.p_cylinder_gauge_pa / PA_PER_PSI


def analyse_capture(
    columns: SampleColumns,
    laws: Mapping[str, ChannelLaw],
    restrictor_area_m2: float,
    p_ambient_abs_pa: float,
    t_supply_k: float,
    t_cylinder_k: float | None = None,
    regulated_channel: int = 0,
    cylinder_channel: int = 1,
    regulated_range_gauge_pa: tuple[float, float] | None = None,
    dead_volume_m3: float = USUAL_DEAD_M3,
) -> CaptureResult:
    """Finds the phases in the data and takes leakage, leak area and decay times from them.

    columns: from before the air to after the vent. laws: "regulated" and "cylinder". restrictor_area_m2: of the equivalent ideal
    nozzle. t_cylinder_k None: the same as the supply. regulated_range_gauge_pa: (low, high) for p_regulated in the steady part,
    None: not checked. dead_volume_m3: between supply valve and restrictor. Raises CaptureUnusable with one sentence when the data
    hold no number, ValueError for arguments that no data could make good.

    >>> t = np.arange(0, 12_000)
    >>> fed = np.clip((t - 1000) / 200.0, 0.0, 1.0)
    >>> shape = np.where(t < 9000, fed, np.exp(-(t - 9000) / 500.0))
    >>> raw = np.stack([410 + np.where(t < 9000, 1800, 1620) * shape, 410 + 1620 * shape]).round().astype(np.uint16)
    >>> columns = SampleColumns(t * 1000, t, t * 0, raw, np.zeros(12_000, np.uint16), 1_000_000)
    >>> law = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
    >>> result = analyse_capture(columns, {"regulated": law, "cylinder": law}, 8.107e-7, 101_325.0, 293.15)
    >>> round(result.leakage_percent, 2), [round(p) for p in result.pair_kpa], round(result.t50_s, 1), result.steady
    (10.0, [549, 494], 0.4, True)
    """
    for name in ("regulated", "cylinder"):
        if name not in laws:
            raise ValueError(f'laws: the law of "{name}" is missing')
    channels = columns.raw.shape[0]
    if not (0 <= regulated_channel < channels and 0 <= cylinder_channel < channels):
        raise CaptureUnusable(f"The capture has {channels} channels and lacks a pressure channel; check what the rig streams.")
    law_regulated, law_cylinder = laws["regulated"], laws["cylinder"]
    regulated = law_regulated.gauge_pa(columns.raw[regulated_channel])
    cylinder = law_cylinder.gauge_pa(columns.raw[cylinder_channel])
    t = columns.t_s
    phases = find_phases(t, regulated, cylinder, p_ambient_abs_pa)

    phases, flag_marks = _beside_flags(columns.flags, t, phases, regulated)

    vented = slice(*phases.baseline)
    offset_regulated, offset_cylinder = float(np.mean(regulated[vented])), float(np.mean(cylinder[vented]))
    regulated, cylinder = regulated - offset_regulated, cylinder - offset_cylinder

    first, last = phases.steady
    if last - first < 8 or t[last - 1] - t[first] < _LEAST_STEADY_S:
        raise CaptureUnusable("The air was shut off before the pressure had settled; keep it on until the reading is steady.")
    # a border found a little late must not bend the slope, and what the fill left over is refused by the rule itself
    on = slice(max(phases.fill[0], first - _samples(t, 0.5)), max(last - _samples(t, 0.03), first + 4))
    part = steady_part(t[on], regulated[on], cylinder[on])
    read = (on.start + part.start, on.start + part.stop)
    if min(part.p_cylinder_gauge_pa, part.p_regulated_gauge_pa) <= 0.0:
        raise CaptureUnusable(NO_PRESSURE)

    low = min(part.p_cylinder_gauge_pa, part.p_regulated_gauge_pa)
    area = float(leak_area_m2(restrictor_area_m2, part.p_regulated_gauge_pa, low, p_ambient_abs_pa, t_supply_k, t_cylinder_k))
    marks = _Marks(columns, t, regulated, cylinder, phases, read)
    grew_marks = _grown_leak(t, regulated, cylinder, phases, p_ambient_abs_pa)
    valves = valve_times(t, regulated, cylinder, columns.flags, dead_volume_m3)
    late = shut_late(valves, dead_volume_m3)
    fed_marks: tuple[str, ...] = ()
    if phases.isolated is not None and not late:
        decay = slice(*phases.isolated)
        share = fed_share(
            t[decay], regulated[decay], cylinder[decay], restrictor_area_m2, area, dead_volume_m3, p_ambient_abs_pa, t_supply_k
        )
        fed_marks = _fed(share)
    if late:  # which says it better
        flag_marks = tuple(mark for mark in flag_marks if mark != _HARDLY_FELL)
    disturbed = late or bool(fed_marks) or any(mark.startswith(_GREW_IN_DECAY) for mark in grew_marks)
    times = (None, None, None) if disturbed else _decay(t, cylinder, phases, read)
    crank = columns.crank_count[phases.fill[0] : max(phases.vent[0], phases.fill[0] + 1)]
    return CaptureResult(
        leakage_percent=float(leakage_percent(part.p_regulated_gauge_pa, part.p_cylinder_gauge_pa)),
        p_regulated_gauge_pa=part.p_regulated_gauge_pa,
        p_cylinder_gauge_pa=part.p_cylinder_gauge_pa,
        leak_area_m2=area,
        t75_s=times[0],
        t50_s=times[1],
        t25_s=times[2],
        phases=phases,
        zero_regulated_pa=law_regulated.zero_pa + offset_regulated,
        zero_cylinder_pa=law_cylinder.zero_pa + offset_cylinder,
        steady=part.steady,
        slope_percent_per_s=part.slope_percent_per_s,
        steady_read=read,
        marks=(
            *flag_marks,
            *marks.all(part.steady, part.moved_again, regulated_range_gauge_pa, (law_regulated, law_cylinder)),
            *grew_marks,
            *slow_valves(valves, dead_volume_m3),
            *fed_marks,
        ),
        crank_moved_counts=int(np.ptp(crank)),
        leak_grew=any(mark.startswith(_GREW_WITH_AIR_ON) for mark in grew_marks),
        decay_disturbed=disturbed,
    )


_OF_A_NUMBER = (
    *("not steady", "the reading moved again", "samples are missing", "regulated pressure out of range", "short vented baseline"),
    *(
        "cylinder pressure above regulated",
        "no decay seen",
        NEARLY_ALL,
        _GREW_WITH_AIR_ON,
        _GREW_IN_DECAY,
        _HARDLY_FELL,
        _WORDS_DISAGREE,
    ),
)


def marks_of_void(marks: tuple[str, ...]) -> tuple[str, ...]:
    """Which marks still say something of a test that is void: what they say of a number goes with it, what the rig shows stays.

    >>> marks_of_void(("not steady: 0.4 s were read", "a pressure channel was saturated"))
    ('a pressure channel was saturated',)
    """
    return tuple(mark for mark in marks if not mark.startswith(_OF_A_NUMBER))


def _beside_flags(flags: npt.NDArray[np.uint16], t: Floats, phases: Phases, regulated: Floats) -> tuple[Phases, tuple[str, ...]]:
    """Beside what the device says of its valves: a shut without a trace is taken from it, a contradiction is marked.

    In a tight volume settling looks like leaking, and the shut may be seen where the fill ends: while p_regulated stands as it
    stood, the device's word that the supply is open is the better one.
    """
    supply = (flags & int(SampleFlags.SUPPLY_OPEN)) != 0
    after_fill = np.flatnonzero(supply[phases.fill[0] :])
    if after_fill.size == 0:
        return phases, ()
    shut = phases.fill[0] + int(after_fill[-1]) + 1
    vented = np.flatnonzero((flags[shut:] & int(SampleFlags.VENT_OPEN)) != 0)
    opened = min(shut + (int(vented[0]) if vented.size else len(flags) - shut), phases.vent[0])
    if phases.isolated is None and phases.fill[1] < shut < phases.steady[1] and t[opened - 1] - t[shut] > 0.1:
        stood = replace(phases, steady=(phases.steady[0], shut), isolated=(shut, opened))
        return stood, (_HARDLY_FELL,)
    seen = phases.steady[1]
    if t[min(shut, len(t) - 1)] - t[min(seen, len(t) - 1)] > _FLAGS_AGREE_S and phases.fill[1] < shut < opened:
        still = float(np.median(regulated[shut - max(1, (shut - seen) // 4) : shut]))
        if abs(still / max(float(np.median(regulated[phases.fill[1] : seen + 1])), 1.0) - 1.0) < _STANDS_SHARE:
            return replace(phases, steady=(phases.fill[1], shut), isolated=(shut, opened)), ()
    if abs(float(t[min(shut, len(t) - 1)] - t[min(phases.steady[1], len(t) - 1)])) > _FLAGS_AGREE_S:
        return phases, (_WORDS_DISAGREE,)
    return phases, ()


def _grown_leak(t: Floats, regulated: Floats, cylinder: Floats, phases: Phases, p_ambient_abs_pa: float) -> tuple[str, ...]:
    """Where the leak grew while it was being measured, as marks."""
    fed = slice(phases.fill[1], max(phases.steady[1] - _samples(t, 0.03), phases.fill[1]))
    marks = []
    grown = grew_while_fed(t[fed], regulated[fed], cylinder[fed])
    if grown is not None:
        after_s = grown.at_s - float(t[phases.fill[0]])
        marks.append(
            f"{_GREW_WITH_AIR_ON}, {after_s:.1f} s after it came: from {grown.before:.1f} % to {grown.after:.0f} %; "
            "has the hose or the adapter slipped, a stop come off, a valve lifted?"
        )
    if phases.isolated is not None:
        decay = slice(*phases.isolated)
        grown = grew_in_decay(t[decay], cylinder[decay], p_ambient_abs_pa)
        if grown is not None:
            marks.append(
                f"{_GREW_IN_DECAY}, {grown.at_s - float(t[decay.start]):.1f} s after the shut: the pressure fell "
                f"{grown.after / grown.before:.1f} times as fast as before; the leakage is that of before; "
                "no decay times are given"
            )
    return tuple(marks)


def _fed(share: float | None) -> tuple[str, ...]:
    """What a reader must know of air that came in during the decay, as marks. share: of what leaked, None: not known."""
    if share is None or share < LEAST_SHARE:
        return ()
    return (
        f"the decay was fed: the supply valve leaks, and at least {min(share, 1.0):.0%} of what leaked out came in over it "
        "after the shut; no decay times are given; see to the valve",
    )


def _samples(t: Floats, seconds: float) -> int:
    return round(seconds / float(np.median(np.diff(t))))


def _decay(t: Floats, cylinder: Floats, phases: Phases, read: tuple[int, int]) -> tuple[float | None, float | None, float | None]:
    if phases.isolated is None or phases.isolated[1] - phases.isolated[0] < _LEAST_DECAY_SAMPLES:
        return None, None, None
    start, stop = phases.isolated
    if start == phases.steady[1]:  # the valve closed at once: the level it held is the level it starts from
        just_before = slice(max(read[0], start - max(4, (read[1] - read[0]) // 10)), start)
        level = float(np.mean(cylinder[just_before]))
    else:
        level = float(np.mean(cylinder[start : start + max(2, min(20, (stop - start) // 10))]))
    if level <= 0.0:
        return None, None, None
    times = decay_times(t[start:stop], cylinder[start:stop], level)
    return times.t75_s, times.t50_s, times.t25_s


@dataclass(frozen=True, slots=True)
class _Marks:
    """Looks for what a reader of the number must know."""

    columns: SampleColumns
    t: Floats
    regulated: Floats
    cylinder: Floats
    phases: Phases
    read: tuple[int, int]

    def all(
        self, steady: bool, moved_again: bool, regulated_range: tuple[float, float] | None, laws: tuple[ChannelLaw, ChannelLaw]
    ) -> tuple[str, ...]:
        marks: list[str] = []
        length = float(self.t[self.read[1] - 1] - self.t[self.read[0]])
        if not steady:
            marks.append(f"not steady: {length:.1f} s were read" if length < 2.9 else "not steady")
        if moved_again:
            marks.append("the reading moved again after it was steady")
        if self._saturated(laws):
            marks.append("a pressure channel was saturated")
        if self._gaps():
            marks.append("samples are missing")
        window = slice(*self.read)
        mean_regulated, mean_cylinder = float(np.mean(self.regulated[window])), float(np.mean(self.cylinder[window]))
        if regulated_range is not None and not regulated_range[0] <= mean_regulated <= regulated_range[1]:
            marks.append("regulated pressure out of range")
        doubt = 4.0 * noise_pa(self.regulated[window] - self.cylinder[window]) / np.sqrt(max(self.read[1] - self.read[0], 1))
        if mean_cylinder - mean_regulated > doubt + 0.001 * mean_regulated:
            marks.append("cylinder pressure above regulated pressure: the transducers are not tied to each other")
        if self.phases.baseline[1] - self.phases.baseline[0] < 0.4 / max(float(np.median(np.diff(self.t))), 1e-9):
            marks.append("short vented baseline")
        if self.phases.isolated is None:
            marks.append("no decay seen")
        if mean_regulated - mean_cylinder > _NEARLY_ALL_PERCENT / 100.0 * mean_regulated:
            marks.append(NEARLY_ALL)
        return tuple(marks)

    def _saturated(self, laws: tuple[ChannelLaw, ChannelLaw]) -> bool:
        air = slice(self.phases.fill[0], self.phases.vent[0])
        if np.any(self.columns.flags[air] & int(SampleFlags.SATURATED)):
            return True
        return any(
            bool(np.any(p[air] > law.range_high_gauge_pa)) for p, law in zip((self.regulated, self.cylinder), laws, strict=True)
        )

    def _gaps(self) -> bool:
        if np.any(self.columns.flags[1:] & int(SampleFlags.GAP_BEFORE | SampleFlags.DROPPED_BEFORE)):
            return True
        steps = np.diff(self.t)
        return bool(np.any(steps > 1.5 * np.median(steps)))
