"""What is said of leak shares: readings with places stopped, flows at places, and the shares that come of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from borewright.core.flow import checked

__all__ = ["HOLDS_NOT", "ORDINARY_STOP", "PlaceFlow", "Share", "Shares", "StopPrior", "StopReading"]

HOLDS_NOT = 0.9
"""A stop that lets so much of its place's flow pass stops nothing, and its reading counts as one with the place open."""
NOTHING: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class StopReading:
    """The cylinder's effective leak area, m², read with some places stopped; none stopped is a plain test.

    u_area_m2: standard uncertainty (k = 1) of this reading alone, without what all readings have in common. passing: for a
    stopped place with a gauge, the part of its free flow that still passes (`core.stop_passing.share_passing`); a place that is
    not in it has an ordinary stop of unknown leak. Raises ValueError naming the argument.
    """

    stopped: frozenset[str]
    leak_area_m2: float
    u_area_m2: float
    passing: Mapping[str, float] = field(default_factory=lambda: NOTHING)

    def __post_init__(self) -> None:
        checked("leak_area_m2", self.leak_area_m2)
        checked("u_area_m2", self.u_area_m2, least=0.0)
        for place, part in self.passing.items():
            if place not in self.stopped:
                raise ValueError(f"passing: {place} is not stopped in this reading")
            if not 0.0 <= part <= 1.0:
                raise ValueError(f"passing: must be from 0 to 1, {place} has {part}")

    @property
    def held(self) -> frozenset[str]:
        """The places whose stops do hold something back."""
        return frozenset(place for place in self.stopped if self.passing.get(place, 0.0) < HOLDS_NOT)


@dataclass(frozen=True, slots=True)
class PlaceFlow:
    """A place's leak as effective area at the cylinder's pressure, m², from its flow through a known orifice (k = 1)."""

    place: str
    leak_area_m2: float
    u_area_m2: float

    def __post_init__(self) -> None:
        checked("leak_area_m2", self.leak_area_m2)
        checked("u_area_m2", self.u_area_m2, least=0.0)


@dataclass(frozen=True, slots=True)
class StopPrior:
    """What is taken for granted of a stop without a gauge.

    leak_m2: median of its own leak, an ideal nozzle's area; spread: standard deviation of that leak's logarithm; fails: how often
    it hardly stops at all (a pipe that ends in another cylinder's open valve); refit: relative change of its leak from one
    fitting to the next. Common practice, no source.
    """

    leak_m2: float = 0.03e-6
    spread: float = 0.5
    fails: float = 0.08
    refit: float = 0.2


ORDINARY_STOP = StopPrior()


@dataclass(frozen=True, slots=True)
class Share:
    """A place's part of the cylinder's leak area, percent, its 95 % interval, and its area in m².

    looked_at is False for a place that no reading tells apart: its leak, if any, is in the unattributed rest.
    """

    place: str
    percent: float
    low_percent: float
    high_percent: float
    area_m2: float
    looked_at: bool = True


@dataclass(frozen=True, slots=True)
class Shares:
    """The shares of every place asked about, the rest that is nobody's, and whether they decide.

    main: the place with the largest share, None when the rest is larger or nothing leaks; it is sure only when decided. words: why
    it decides or does not, and what would.
    """

    shares: tuple[Share, ...]
    unattributed: Share
    decided: bool
    main: str | None
    words: str
