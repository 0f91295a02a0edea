"""Channel sense: what the two pressure channels say of themselves while the rig is vented: no signal, frozen, noisy.

What a capture shows of them (swapped, of another range, a bit that stays, a zero that has walked away) is in core.channel_capture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from borewright.core.channel_watch import ChannelLook, ChannelWatch
from borewright.core.rig import ChannelLaw

__all__ = [
    "CHANNEL_NAMES",
    "ChannelTrouble",
    "Kind",
    "frozen_trouble",
    "no_signal_words",
    "noise_limit_pa",
    "trouble_at_vent",
]

Kind = Literal["no_signal", "frozen", "noisy", "stuck_bit", "swapped", "range", "zero_moved"]

CHANNEL_NAMES = ("regulated", "cylinder")

LEAST_SHARE, MOST_SHARE = 0.03, 0.97
"""Of its supply, outside of which a ratiometric transducer gives no signal: makers let it go from 10 to 90 %, and say that it stays
well between 5 and 95 % beyond its range (common practice); a broken or shorted wire gives 0 or 100 %."""
FROZEN_S = 0.5
"""Noise of half a step and more leaves no word standing for that long: with a correlation of 0.8 from sample to sample half a
second at 1 kHz holds 50 independent words, each the same as the one before in two cases of three at most, so 1 in 10^8."""
FROZEN_SAMPLES = 100  # at slower streams as well
LIVELY_STEPS = 0.5  # noise in converter steps, from which a channel that does not move is frozen
NOISY_TIMES = 3.0
"""Of the noise that the zero check kept: over a second the noise of one channel changes by some percent, over a day by less than
half; mains hum that has come along makes more."""
NOISY_SHARE = 0.002  # of the range: what the zero may be off by, too; less noise than that never matters
UNLIKE_TIMES = 5.0  # of the other channel's noise, where nothing is kept: two transducers of one rig are of one make


@dataclass(frozen=True, slots=True)
class ChannelTrouble:
    """What is wrong with the channels: kind; channel: "regulated", "cylinder" or "both"; words: one clause that names it;
    remedy: one sentence that says what to do."""

    kind: Kind
    channel: str
    words: str
    remedy: str


def trouble_at_vent(
    watch: ChannelWatch, laws: tuple[ChannelLaw, ChannelLaw], kept_noise_pa: tuple[float, float] | None = None
) -> ChannelTrouble | None:
    """What is wrong with the channels of a vented rig, regulated first; None where nothing is, or too little was seen.

    kept_noise_pa: the standard deviation of single samples at the zero check, None: there was none. Noise is not judged while the
    crank turns, for then it pumps air through the hose.

    >>> import numpy as np
    >>> from borewright.core.samples import SampleColumns
    >>> n = np.arange(1200)
    >>> raw = np.stack([410 + n % 5, np.full(1200, 410)]).astype(np.uint16)
    >>> watch = ChannelWatch((0, 1)).add(SampleColumns(n * 1000, n, n * 0, raw, np.zeros(1200, np.uint16), 1_000_000))
    >>> law = ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0)
    >>> trouble_at_vent(watch, (law, law)).words
    'the cylinder transducer is frozen: not one of its last 1200 readings differs from the others'
    """
    if watch.span_s < FROZEN_S or watch.looks[0].samples < FROZEN_SAMPLES:
        return None
    looks = watch.looks
    for name, look, law in zip(CHANNEL_NAMES, looks, laws, strict=True):
        if (words := no_signal_words(name, look.mean, law)) is not None:
            return ChannelTrouble("no_signal", name, words, "Check its plug and its wires, then take the zeros.")
    if (frozen := frozen_trouble(watch, laws, kept_noise_pa)) is not None:
        return frozen
    return None if watch.crank_moved_count > 1 else _noisy(looks, laws, kept_noise_pa)


def no_signal_words(name: str, raw: float, law: ChannelLaw) -> str | None:
    """What to say of a channel whose raw words have that mean, when no transducer in order gives it; None otherwise."""
    share = (law.volts_at_zero + raw * law.volts_per_raw) / law.sensor_supply_volts
    if LEAST_SHARE <= share <= MOST_SHARE:
        return None
    where = "nothing" if share < LEAST_SHARE else "all of its supply"
    return f"the {name} transducer gives no signal (it gives {where}): a wire is broken or shorted, or it has no supply"


def frozen_trouble(
    watch: ChannelWatch, laws: tuple[ChannelLaw, ChannelLaw], kept_noise_pa: tuple[float, float] | None = None
) -> ChannelTrouble | None:
    """A channel that has not moved by one word, though it had noise at its zero check; where none was kept, though the other has.

    What moves the other one has to be noise: pressure, or a crank that turns, moves one side of a sound rig alone.
    """
    if watch.span_s < FROZEN_S or watch.looks[0].samples < FROZEN_SAMPLES:
        return None
    looks = watch.looks
    for which, (name, look) in enumerate(zip(CHANNEL_NAMES, looks, strict=True)):
        if look.lowest != look.highest:
            continue
        if kept_noise_pa is not None:
            noise_steps = kept_noise_pa[which] / abs(laws[which].pa_per_raw)
        else:
            noise_steps = looks[1 - which].deviation if watch.crank_moved_count <= 1 else 0.0
        if noise_steps >= LIVELY_STEPS:
            return ChannelTrouble(
                "frozen",
                name,
                f"the {name} transducer is frozen: not one of its last {look.samples} readings differs from the others",
                "Check the transducer and its wires, then take the zeros.",
            )
    return None


def noise_limit_pa(kept_pa: float, law: ChannelLaw) -> float:
    """From which noise on a channel is called noisy, when the zero check kept kept_pa.

    >>> noise_limit_pa(1000.0, ChannelLaw(0.0, 5.0 / 4096, 5.0, 0.0, 1_000_000.0))
    3000.0
    """
    return max(NOISY_TIMES * kept_pa, NOISY_SHARE * (law.range_high_gauge_pa - law.range_low_gauge_pa))


def _noisy(
    looks: tuple[ChannelLook, ChannelLook], laws: tuple[ChannelLaw, ChannelLaw], kept_noise_pa: tuple[float, float] | None
) -> ChannelTrouble | None:
    noise = tuple(look.deviation * abs(law.pa_per_raw) for look, law in zip(looks, laws, strict=True))
    for which, name in enumerate(CHANNEL_NAMES):
        if kept_noise_pa is not None:
            limit_pa, than = noise_limit_pa(kept_noise_pa[which], laws[which]), "when its zero was taken"
            usual_pa = kept_noise_pa[which]
        else:
            usual_pa, than = noise[1 - which], "the other one"
            limit_pa = max(noise_limit_pa(usual_pa, laws[which]), UNLIKE_TIMES * usual_pa)
        if noise[which] > limit_pa:
            times = f"{noise[which] / usual_pa:.0f} times as noisy as {than}" if usual_pa > 0.0 else f"noisier than {than}"
            return ChannelTrouble(
                "noisy",
                name,
                f"the {name} transducer is {times} ({noise[which] / 1000:.1f} kPa)",
                "Look for a loose plug or a coil or charger near its cable; if it is to stay so, take the zeros again.",
            )
    return None
