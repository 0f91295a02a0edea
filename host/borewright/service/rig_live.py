"""What comes from the rig just now: each channel's raw counts, volts, pressure and noise; the crank's counts; who it is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from borewire.messages import Fitted, Quantity

from borewright.core.rig import ChannelLaw
from borewright.core.samples import SampleColumns, SampleFlags
from borewright.service.spare import spare_law

if TYPE_CHECKING:
    from borewright.service.bench import LinkCounters
    from borewright.service.state import BenchState

__all__ = ["ChannelLive", "CrankLive", "RigLive", "counter_lines", "identity_lines", "rig_live"]

OVER_S = 1.0
NAMES = {
    Quantity.PRESSURE_REGULATED: "regulated pressure",
    Quantity.PRESSURE_CYLINDER: "cylinder pressure",
    Quantity.PRESSURE_SPARE: "spare gauge",
}


@dataclass(frozen=True, slots=True)
class ChannelLive:
    """One streamed channel over the last second. raw: its newest word; noise: standard deviation, in words and in Pa.

    gauge_pa, noise_pa: None for a channel without a law. saturated: share of the samples at either end of the converter.
    """

    name: str
    raw: int
    raw_min: int
    raw_max: int
    mean_raw: float
    noise_raw: float
    volts: float
    gauge_pa: float | None
    noise_pa: float | None
    saturated: float


@dataclass(frozen=True, slots=True)
class CrankLive:
    """The encoder. index_words: whether the index pulse was seen and how its spacing agrees with the counts in a turn."""

    count: int | None
    counts_per_rev: int
    moving: bool
    index_words: str
    index_good: bool


@dataclass(frozen=True, slots=True)
class RigLive:
    """All of it. vented: noise is that of the rig at vent. hold_words: the hold-to-run switch, "" where none is fitted.

    slow: channels that come now and then and not in every sample; their gauge pressure where it is known.
    """

    channels: tuple[ChannelLive, ...]
    slow: tuple[tuple[str, float | None], ...]
    crank: CrankLive | None
    vented: bool
    saturated_said: bool
    rate_hz: int
    hold_words: str


def rig_live(state: BenchState) -> RigLive:
    """What has come in the last second. Cheap enough for a few times a second."""
    columns = _last_second(state)
    flags = 0 if columns is None or not len(columns) else int(np.bitwise_or.reduce(columns.flags))
    hold_words = ""
    if state.has_hold_switch:
        pressed = columns is not None and len(columns) and int(columns.flags[-1]) & int(SampleFlags.HOLD_PRESSED)
        hold_words = "pressed" if pressed else "not pressed"
    return RigLive(
        channels=() if columns is None else tuple(_channels(state, columns)),
        slow=tuple(_slow(state)),
        crank=_crank(state),
        vented=not state.pressurised and state.readiness.state.name in ("VENTED", "READY"),
        saturated_said=bool(flags & int(SampleFlags.SATURATED)),
        rate_hz=state.session.rate_hz,
        hold_words=hold_words,
    )


def _last_second(state: BenchState) -> SampleColumns | None:
    """The samples of the last second, None before the first."""
    if not state.recent:
        return None
    newest_s = float(state.recent[-1].t_s[-1])
    first = len(state.recent) - 1
    while first > 0 and float(state.recent[first - 1].t_s[-1]) > newest_s - OVER_S:
        first -= 1
    columns = SampleColumns.join(state.recent[first:])
    return columns.between(int(np.searchsorted(columns.t_s, newest_s - OVER_S)), len(columns))


def _channels(state: BenchState, columns: SampleColumns) -> list[ChannelLive]:
    laws: dict[int, ChannelLaw] = {}
    if state.transducers is not None:
        known = state.transducers
        laws = {known.regulated_channel: known.regulated, known.cylinder_channel: known.cylinder}
    spare = spare_law(state)
    if spare is not None:
        laws[spare[0]] = replace(spare[1], zero_pa=state.spare_zero_pa)
    found = []
    for channel in state.session.channels:
        if channel.channel >= columns.raw.shape[0] or not len(columns):
            continue
        raw = columns.raw[channel.channel].astype(np.float64)
        mean, noise = float(np.mean(raw)), float(np.std(raw, ddof=1)) if len(raw) > 1 else 0.0
        law = laws.get(channel.channel)
        found.append(
            ChannelLive(
                name=_name(channel.quantity),
                raw=int(raw[-1]),
                raw_min=channel.raw_min,
                raw_max=channel.raw_max,
                mean_raw=mean,
                noise_raw=noise,
                volts=channel.volts_at_zero + channel.volts_per_raw * mean,
                gauge_pa=None if law is None else float(law.gauge_pa(mean)),
                noise_pa=None if law is None else noise * abs(law.pa_per_raw),
                saturated=float(np.mean((raw <= channel.raw_min) | (raw >= channel.raw_max))),
            )
        )
    return found


def _slow(state: BenchState) -> Iterator[tuple[str, float | None]]:
    identity = state.session.identity
    for channel in state.session.channels:
        if identity is not None and channel.channel >= identity.streamed_channels:
            spare = channel.quantity is Quantity.PRESSURE_SPARE
            yield _name(channel.quantity), state.spare_gauge_pa if spare else None


def _name(quantity: Quantity) -> str:
    return NAMES.get(quantity, quantity.name.lower().replace("_", " "))


def _crank(state: BenchState) -> CrankLive | None:
    crank = state.crank
    if crank is None:
        return None
    moving = crank.moved_count > state.limits.still_count
    if crank.index_count is None:
        words, good = "not seen since power-up; turn the crank by hand a whole turn", False
    elif crank.index_missed:
        words, good = "missed in the last turn; look at its wire, and turn the crank again", False
    elif crank.index_spacing_ok is None:
        words, good = "seen once; one more whole turn shows whether the counts agree", False
    elif not crank.index_spacing_ok:
        words, good = "its spacing does not agree with the counts in a turn; look at the encoder's wires", False
    else:
        words, good = f"seen {crank.index_pulses} times, spacing right", True
    return CrankLive(crank.last_count, crank.counts_per_rev, moving, words, good)


# ---------------------------------------------------------------------- who it is, and how good the link is


_FITTED = {
    Fitted.SUPPLY_VALVE: "supply valve",
    Fitted.VENT_VALVE: "vent valve",
    Fitted.HOLD_SWITCH: "hold-to-run switch",
    Fitted.CAM_SIGNAL: "cam signal",
    Fitted.AMBIENT_PRESSURE: "ambient pressure",
    Fitted.AMBIENT_TEMPERATURE: "ambient temperature",
    Fitted.SPARE_CHANNEL: "spare channel",
}


def identity_lines(state: BenchState) -> tuple[tuple[str, str], ...]:
    """Who the device says that it is: name and value; none before it has said so."""
    identity = state.session.identity
    if identity is None:
        return ()
    fitted = [words for part, words in _FITTED.items() if part in identity.fitted]
    return (
        ("Serial number", identity.serial_number),
        ("Firmware", identity.firmware_version),
        ("Wire protocol", f"{identity.protocol_major}.{identity.protocol_minor}"),
        ("Encoder", f"{identity.counts_per_rev} counts in a turn"),
        ("Samples", f"{state.session.rate_hz} a second, {identity.max_rate_hz} at most"),
        ("Fitted", ", ".join(fitted) if fitted else "sensors only; the valves are worked by hand"),
    )


_COUNTED = {
    "frames_received": "frames that the rig received",
    "frames_bad": "bad frames at the rig",
    "frames_unknown": "frames that the rig does not know",
    "commands_refused": "commands that the rig refused",
    "samples_dropped": "samples that the rig dropped",
}
_TROUBLES = frozenset({"frames_bad", "samples_dropped"})


def counter_lines(counters: LinkCounters | None) -> tuple[tuple[str, str, bool], ...]:
    """How good the link has been since it was opened: name, figure, whether it tells of trouble.

    >>> from borewright.service.bench import LinkCounters
    >>> counter_lines(LinkCounters(9000, 2))[1]
    ('bad frames here', '2', True)
    """
    if counters is None:
        return ()
    here = (
        ("octets received", f"{counters.octets}", False),
        ("bad frames here", f"{counters.bad_frames}", counters.bad_frames > 0),
        ("blocks of samples lost", f"{counters.lost_blocks}", counters.lost_blocks > 0),
    )
    there = tuple(
        (_COUNTED.get(name, name.replace("_", " ")), f"{count}", name in _TROUBLES and count > 0) for name, count in counters.device
    )
    return here + there
