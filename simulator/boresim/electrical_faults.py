"""What can be wrong with sensors, converter and encoder: each fault bends what the sound electronics give.

Everything is a function of the sample's time or position, of the count, and of what was there when the fault began; so batches do
not change a bit.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import pi, sin
from typing import Protocol

import numpy as np
import numpy.typing as npt

from boresim.noise import PositionNoise
from boresim.trace import PlantTrace

__all__ = [
    "AddedNoise",
    "Drift",
    "EdgesOff",
    "ElectricalFaults",
    "EncoderFault",
    "FixedWord",
    "Frozen",
    "Hum",
    "IndexDoubled",
    "IndexMissing",
    "PhasesSwapped",
    "Scaled",
    "SensorFault",
    "Slip",
    "StuckBit",
    "Swapped",
]

Words = npt.NDArray[np.float64]
Counts = npt.NDArray[np.int64]

GOLDEN_SECTION = 0.6180339887498949  # its multiples fill the unit evenly
_CYCLE = np.array([sin(2.0 * pi * step / 1024) for step in range(1024)])


class SensorFault(Protocol):
    """Bends the words of both channels, float64[2, n], in place; the converter's ends are seen to afterwards."""

    def bend(self, words: Words, trace: PlantTrace, /) -> None:
        """words: as the sound electronics give them, one column for each sample of the trace."""


@dataclass(frozen=True, slots=True)
class FixedWord:
    """A channel gives one word whatever the pressure is: its wire is off, shorted, or the sensor's output is against its end."""

    channel: int
    word: int

    def bend(self, words: Words, _trace: PlantTrace) -> None:
        """See SensorFault."""
        words[self.channel] = self.word


@dataclass(slots=True)
class Frozen:
    """A channel goes on giving the first word after the fault began."""

    channel: int
    word: float | None = None

    def bend(self, words: Words, _trace: PlantTrace) -> None:
        """See SensorFault."""
        if self.word is None and words.shape[1]:
            self.word = float(words[self.channel, 0])
        words[self.channel] = self.word


@dataclass(frozen=True, slots=True)
class AddedNoise:
    """Noise of its own on a channel. size: its standard deviation in words."""

    channel: int
    noise: PositionNoise
    size: float

    def bend(self, words: Words, trace: PlantTrace) -> None:
        """See SensorFault."""
        words[self.channel] += self.size * self.noise.at(trace.position, words.shape[1])


@dataclass(frozen=True, slots=True)
class Drift:
    """A channel's zero walks away at words_s words a second from from_s on."""

    channel: int
    words_s: float
    from_s: float

    def bend(self, words: Words, trace: PlantTrace) -> None:
        """See SensorFault."""
        words[self.channel] += self.words_s * (trace.t_s - self.from_s)


@dataclass(frozen=True, slots=True)
class Scaled:
    """Some channels' words are so many times as far from a pivot.

    Pivot 0: the supply of the sensors or the converter's reference is not what it should be. Pivot at a tenth of the sensor's
    supply: the transducer is of another range.
    """

    channels: tuple[int, ...]
    factor: float
    pivot_word: float

    def bend(self, words: Words, _trace: PlantTrace) -> None:
        """See SensorFault."""
        for channel in self.channels:
            words[channel] = self.pivot_word + self.factor * (words[channel] - self.pivot_word)


@dataclass(frozen=True, slots=True)
class Hum:
    """The mains on some channels. size: its amplitude in words."""

    channels: tuple[int, ...]
    size: float
    hz: float

    def bend(self, words: Words, trace: PlantTrace) -> None:
        """See SensorFault."""
        cycles = trace.t_s * self.hz
        wave = self.size * _CYCLE[((cycles - np.floor(cycles)) * 1024.0).astype(np.intp)]
        for channel in self.channels:
            words[channel] += wave


@dataclass(frozen=True, slots=True)
class StuckBit:
    """One bit of a channel's words stays as it is."""

    channel: int
    bit: int
    high: bool

    def bend(self, words: Words, _trace: PlantTrace) -> None:
        """See SensorFault."""
        whole, mask = np.floor(words[self.channel]).astype(np.int64), 1 << self.bit
        words[self.channel] = whole | mask if self.high else whole & ~mask


@dataclass(frozen=True, slots=True)
class Swapped:
    """Each transducer stands where the other belongs, and keeps its own zero and noise."""

    words_per_pa: float

    def bend(self, words: Words, trace: PlantTrace) -> None:
        """See SensorFault."""
        across = self.words_per_pa * (trace.p_regulated_abs_pa - trace.p_cylinder_abs_pa)
        words[0] -= across
        words[1] += across


class EncoderFault:
    """What is wrong with the encoder; this one changes nothing."""

    def shift_deg(self, t_s: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """By how much the encoder's shaft is ahead of the crank at some times."""
        return np.zeros_like(t_s)

    def counted(self, count: int) -> int:
        """What the counter says for a count since the encoder was made."""
        return count

    def index_at(self, places: tuple[int, ...]) -> tuple[int, ...]:
        """At which counts of a turn the index pulse comes, given where it came without this fault."""
        return places


@dataclass(frozen=True, slots=True)
class EdgesOff(EncoderFault):
    """Of every so many counts from a count on, `more` come too many (negative: get lost)."""

    from_count: int
    every: int
    more: int

    def counted(self, count: int) -> int:
        """See EncoderFault."""
        return self.from_count + (count - self.from_count) * (self.every + self.more) // self.every


@dataclass(frozen=True, slots=True)
class PhasesSwapped(EncoderFault):
    """The two phases have changed places: the counter runs the other way from a count on."""

    from_count: int

    def counted(self, count: int) -> int:
        """See EncoderFault."""
        return 2 * self.from_count - count


@dataclass(frozen=True, slots=True)
class Slip(EncoderFault):
    """The coupling slips: from from_s on, within over_s, the encoder's shaft goes by_deg on without the crank."""

    from_s: float
    over_s: float
    by_deg: float

    def shift_deg(self, t_s: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """See EncoderFault."""
        return self.by_deg * np.minimum(np.maximum((t_s - self.from_s) / self.over_s, 0.0), 1.0)


@dataclass(frozen=True, slots=True)
class IndexMissing(EncoderFault):
    """The index pulse does not come any more."""

    def index_at(self, places: tuple[int, ...]) -> tuple[int, ...]:
        """See EncoderFault."""
        return places[:0]


@dataclass(frozen=True, slots=True)
class IndexDoubled(EncoderFault):
    """A second index pulse comes so many counts after the first."""

    counts_after: int

    def index_at(self, places: tuple[int, ...]) -> tuple[int, ...]:
        """See EncoderFault."""
        return (*places, *(place + self.counts_after for place in places))


@dataclass(slots=True)
class ElectricalFaults:
    """All faults of the electronics that there are now, by name; they act in the order in which they began."""

    raw_min: int
    raw_max: int
    sensors: dict[str, SensorFault] = field(default_factory=dict)
    encoder: dict[str, EncoderFault] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.sensors or self.encoder)

    def raw(self, sound: npt.NDArray[np.uint16], trace: PlantTrace) -> npt.NDArray[np.uint16]:
        """Raw words uint16[2, n] from those of sound electronics."""
        if not self.sensors:
            return sound
        # where in its converter step each value lay is not known any more: anywhere, by the sample's position
        inside = (trace.position + np.arange(sound.shape[1])) * GOLDEN_SECTION
        words = sound + (inside - np.floor(inside))
        for fault in self.sensors.values():
            fault.bend(words, trace)
        return np.asarray(np.clip(np.floor(words), self.raw_min, self.raw_max).astype(np.uint16))

    def seen_by_encoder(self, trace: PlantTrace) -> PlantTrace:
        """The trace with the angles of the encoder's shaft in place of the crank's."""
        shift, before = np.zeros_like(trace.t_s), np.zeros(1)
        for fault in self.encoder.values():
            shift = shift + fault.shift_deg(trace.t_s)
            before = before + fault.shift_deg(np.array([trace.t_before_s]))
        seen_before_deg = trace.crank_before_deg + float(before[0])
        return replace(trace, crank_deg=trace.crank_deg + shift, crank_before_deg=seen_before_deg, crank_stands=False)

    def shaft_deg(self, crank_deg: float, t_s: float) -> float:
        """Where the encoder's shaft is when the crank is there."""
        at = np.array([t_s])
        return crank_deg + sum(float(fault.shift_deg(at)[0]) for fault in self.encoder.values())

    def counted(self, counts: Counts) -> Counts:
        """What the counter says for counts since the encoder was made."""
        return np.array([self.counted_one(int(count)) for count in counts], dtype=np.int64)

    def counted_one(self, count: int) -> int:
        """The same for one count."""
        for fault in self.encoder.values():
            count = fault.counted(count)
        return count

    def index_at(self, count: int) -> tuple[int, ...]:
        """At which counts of a turn the index pulse comes; count: where it should."""
        places: tuple[int, ...] = (count,)
        for fault in self.encoder.values():
            places = fault.index_at(places)
        return places
