"""Channel sense at the bench, pure: what the two pressure channels show of themselves before air and in a whole capture.

What is done about it while air is on is in service.channels_live.
"""

from __future__ import annotations

import numpy as np

from borewright.core.capture import CaptureResult
from borewright.core.channel_capture import (
    AFTER_VENT_S,
    RANGE_SHARE,
    after_shut,
    range_trouble,
    range_words,
    stands_above,
    stuck_bit,
    zero_moved,
)
from borewright.core.channel_sense import (
    CHANNEL_NAMES,
    ChannelTrouble,
    noise_limit_pa,
    trouble_at_vent,
)
from borewright.core.samples import SampleColumns, SampleFlags
from borewright.service.acts import Purpose
from borewright.service.effects import Analyse
from borewright.service.laws import Laws
from borewright.service.state import BenchState

__all__ = [
    "kept_noise_pa",
    "marks_of_channels",
    "proven_hint",
    "trouble_before_air",
    "void_by_channels",
    "void_by_samples",
]


def kept_noise_pa(state: BenchState) -> tuple[float, float] | None:
    """The noise of both channels that the last zero check kept, None where there is none."""
    check = state.checks.get("zero")
    if check is None or not check.passed:
        return None
    regulated, cylinder = (check.result.get(f"noise_{name}_pa") for name in CHANNEL_NAMES)
    return None if regulated is None or cylinder is None else (float(regulated), float(cylinder))


def trouble_before_air(state: BenchState) -> ChannelTrouble | None:
    """What is wrong with the channels of the vented rig."""
    transducers, watch = state.transducers, state.channels
    if transducers is None or watch is None or state.channels_while != "vented":
        return None
    return trouble_at_vent(watch, (transducers.regulated, transducers.cylinder), kept_noise_pa(state))


def proven_hint(state: BenchState, p_regulated_gauge_pa: float) -> str:
    """What to add where the regulated pressure is far from what the sealed check has proven; empty where it is near."""
    proven, setup = state.proven_gauge_pa, state.setup
    if proven is None or proven <= 0.0 or state.purpose.asked_gauge_pa is not None:
        return ""
    share = p_regulated_gauge_pa / proven
    if abs(share - 1.0) <= RANGE_SHARE or share <= 0.0:
        return ""
    words = range_words("regulated", share, setup.transducer_high_gauge_pa - setup.transducer_low_gauge_pa)
    return f"; the sealed check showed {proven / 1000:.0f} kPa: either the regulator was turned, or {words}"


# ---------------------------------------------------------------------- a whole capture


def void_by_channels(state: BenchState, done: Analyse, laws: Laws, result: CaptureResult) -> str | None:
    """Why no number of this capture can be believed, from what its channels show; None where nothing is wrong with them."""
    by_word = (done.shut_s, done.ended_s) if state.has_valves and done.shut_s is not None else None
    if done.purpose.kind == "sealed":  # both sides are at one pressure, and the set pressure is what is being proven
        return void_by_samples(done.columns, done.purpose, laws, result, state.setup.set_pressure_gauge_pa)
    return void_by_samples(done.columns, done.purpose, laws, result, state.proven_gauge_pa, by_word)


def void_by_samples(
    columns: SampleColumns,
    purpose: Purpose,
    laws: Laws,
    result: CaptureResult,
    proven_gauge_pa: float | None = None,
    isolated_s: tuple[float, float] | None = None,
) -> str | None:
    """The same from the samples and their laws alone.

    proven_gauge_pa: by which of two transducers is right, None: not known. isolated_s: device times between shut and vent where
    the rig has told them, for the pressures may be wrong; None: as the pressures say.
    """
    for name, channel in zip(CHANNEL_NAMES, (laws.regulated_channel, laws.cylinder_channel), strict=True):
        if (stuck := stuck_bit(name, columns.raw[channel])) is not None:
            return f"{stuck.words}. {stuck.remedy}"
    range_pa = laws.regulated.range_high_gauge_pa - laws.regulated.range_low_gauge_pa
    ratio: float | None = None
    if purpose.kind == "sealed":
        ratio = result.p_cylinder_gauge_pa / result.p_regulated_gauge_pa if result.p_regulated_gauge_pa > 0.0 else 1.0
    elif purpose.asked_gauge_pa is None:
        ratio = _ratio_after_shut(columns, laws, result, isolated_s)
    trouble = None if ratio is None else range_trouble(ratio, result.p_regulated_gauge_pa, proven_gauge_pa, range_pa)
    if trouble is not None:
        return f"{trouble.words}. {trouble.remedy}"
    if stands_above(result.p_regulated_gauge_pa, result.p_cylinder_gauge_pa):
        share = result.p_cylinder_gauge_pa / result.p_regulated_gauge_pa if result.p_regulated_gauge_pa > 0.0 else 0.0
        return (
            f"the cylinder side reads {share:.2f} times the regulated one with air on, which no leak does: the transducers are "
            "swapped, or one of them is of another range than the rig file says"
        )
    return None


def _ratio_after_shut(
    columns: SampleColumns, laws: Laws, result: CaptureResult, isolated_s: tuple[float, float] | None
) -> float | None:
    """Between shut and vent."""
    if isolated_s is not None:
        start, stop = (int(np.searchsorted(columns.t_s, at_s)) for at_s in isolated_s)
    elif result.phases.isolated is not None:
        start, stop = result.phases.isolated
    else:
        return None
    part = columns.between(start, stop)
    regulated, cylinder = (
        law.with_zero(zero_pa).gauge_pa(part.raw[channel])
        for law, zero_pa, channel in (
            (laws.regulated, result.zero_regulated_pa, laws.regulated_channel),
            (laws.cylinder, result.zero_cylinder_pa, laws.cylinder_channel),
        )
    )
    dead_m3 = laws.instrument.dead_volume_m3
    seen = after_shut(part.t_s, regulated, cylinder, laws.restrictor, dead_m3, laws.p_ambient_abs_pa, laws.t_supply_k)
    return None if seen is None else seen.ratio


def marks_of_channels(
    columns: SampleColumns, laws: Laws, result: CaptureResult, kept: tuple[float, float] | None = None
) -> tuple[str, ...]:
    """What a reader of the number must know of its channels: a zero that moved within the test, noise.

    kept: the noise that the last zero check kept, None: not judged.
    """
    regulated = laws.regulated.gauge_pa(columns.raw[laws.regulated_channel])
    cylinder = laws.cylinder.gauge_pa(columns.raw[laws.cylinder_channel])
    before, read = slice(*result.phases.baseline), slice(*result.steady_read)
    after = slice(_vented_again(columns, result), len(columns))
    moved = zero_moved((regulated[before], cylinder[before]), (regulated[after], cylinder[after]))
    marks = [one.words for one in moved]
    if len(moved) == len(CHANNEL_NAMES):
        marks.append("both zeros moved within the test: does the supply of the transducers sag?")
    if kept is not None and read.stop - read.start > 1:
        for name, law, p_pa, kept_pa in zip(
            CHANNEL_NAMES, (laws.regulated, laws.cylinder), (regulated, cylinder), kept, strict=True
        ):
            noise_pa = float(np.std(p_pa[read]))
            if noise_pa > noise_limit_pa(kept_pa, law):
                marks.append(f"the {name} transducer was noisier ({noise_pa / 1000:.1f} kPa) than when its zero was taken")
    return tuple(marks)


def _vented_again(columns: SampleColumns, result: CaptureResult) -> int:
    """From which sample on the capture's last part is that of a vented rig; its end where that was not recorded."""
    start = int(np.searchsorted(columns.t_s, columns.t_s[-1] - AFTER_VENT_S))
    vent_s = float(columns.t_s[min(result.phases.vent[0], len(columns) - 1)])
    long_enough = result.phases.vent[1] > result.phases.vent[0] and columns.t_s[-1] - vent_s > 2.0 * AFTER_VENT_S
    flags = columns.flags[start:]
    open_all_along = not np.any(flags & int(SampleFlags.SUPPLY_OPEN))
    return start if long_enough and open_all_along else len(columns)
