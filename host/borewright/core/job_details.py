"""What a job knows of the engine on the day beside its name: hours, distance, temperatures, earlier readings.

All of it is entered by a person. It is context for the reader of a result; but for the temperatures, nothing is computed from it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

__all__ = ["JobDetails"]

LONGEST_WORDS = 40  # of hours and distance
LONGEST_TEXT = 2000
TEMPERATURES_K = (223.15, 473.15)  # -50 °C to 200 °C: outside it a unit has been mistaken
COMPRESSION_PA = (0.0, 20e6)
_HIGHEST_CYLINDER = 24  # of an engine file


@dataclass(frozen=True, slots=True)
class JobDetails:
    """The details of a job; whatever is None or empty was not said.

    hours, distance: as the person wrote them, with their unit. engine_temperature_k, oil_temperature_k: at the beginning of the
    job. hot: a test of the hot engine is wanted. compression_gauge_pa: earlier compression readings by cylinder. text: free words.

    >>> JobDetails(hours="1240 h", hot=True, compression_gauge_pa={1: 1.2e6}).as_dict()
    {'hours': '1240 h', 'hot': True, 'compression_gauge_pa': {'1': 1200000.0}}
    """

    hours: str = ""
    distance: str = ""
    engine_temperature_k: float | None = None
    oil_temperature_k: float | None = None
    hot: bool = False
    compression_gauge_pa: Mapping[int, float] = field(default_factory=dict)
    text: str = ""

    @classmethod
    def from_dict(cls, kept: Mapping[str, Any]) -> JobDetails:
        """The details as the record keeps them. Raises ValueError that names the key.

        >>> JobDetails.from_dict({"oil_temperature_k": 90})
        Traceback (most recent call last):
        ValueError: oil_temperature_k: must be from 223.15 to 473.15, not 90
        """
        unknown = sorted(str(key) for key in kept if key not in _KEYS)
        if unknown:
            raise ValueError(f"{_plain(unknown[0])}: is no detail of a job; there are {', '.join(_KEYS)}")
        if not isinstance(hot := kept.get("hot", False), bool):
            raise ValueError("hot: must be true or false")
        return cls(
            hours=_words(kept, "hours", LONGEST_WORDS),
            distance=_words(kept, "distance", LONGEST_WORDS),
            engine_temperature_k=_temperature_k(kept, "engine_temperature_k"),
            oil_temperature_k=_temperature_k(kept, "oil_temperature_k"),
            hot=hot,
            compression_gauge_pa=_compression_gauge_pa(kept),
            text=_words(kept, "text", LONGEST_TEXT, also="\n"),
        )

    def as_dict(self) -> dict[str, Any]:
        """As the record keeps them: only what was said, cylinders as texts."""
        said = {
            "hours": self.hours,
            "distance": self.distance,
            "engine_temperature_k": self.engine_temperature_k,
            "oil_temperature_k": self.oil_temperature_k,
            "hot": self.hot,
            "compression_gauge_pa": {str(cylinder): value for cylinder, value in sorted(self.compression_gauge_pa.items())},
            "text": self.text,
        }
        return {key: value for key, value in said.items() if value not in ("", None, False, {})}


_KEYS = ("hours", "distance", "engine_temperature_k", "oil_temperature_k", "hot", "compression_gauge_pa", "text")


def _words(kept: Mapping[str, Any], key: str, longest: int, also: str = "") -> str:
    text = kept.get(key, "")
    if not isinstance(text, str) or len(text) > longest or not all(letter.isprintable() or letter in also for letter in text):
        raise ValueError(f"{key}: must be a text of at most {longest} characters that can be printed")
    return text.strip()


def _temperature_k(kept: Mapping[str, Any], key: str) -> float | None:
    value = kept.get(key)
    return None if value is None else _number(value, key, *TEMPERATURES_K)


def _compression_gauge_pa(kept: Mapping[str, Any]) -> dict[int, float]:
    readings = kept.get("compression_gauge_pa", {})
    if not isinstance(readings, Mapping):
        raise ValueError("compression_gauge_pa: must be a table of cylinders and pressures")
    known = {str(cylinder): cylinder for cylinder in range(1, _HIGHEST_CYLINDER + 1)}
    for cylinder in readings:
        if str(cylinder) not in known:
            raise ValueError(f"compression_gauge_pa.{_plain(str(cylinder))}: is no cylinder; they are counted from 1")
    return {
        known[str(cylinder)]: _number(value, f"compression_gauge_pa.{cylinder}", *COMPRESSION_PA)
        for cylinder, value in readings.items()
    }


def _number(value: Any, key: str, low: float, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{key}: must be a number")
    if not low <= value <= high:
        raise ValueError(f"{key}: must be from {low:g} to {high:g}, not {value:g}")
    return float(value)


def _plain(text: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in text)[:60]
