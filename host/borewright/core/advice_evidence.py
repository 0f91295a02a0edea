"""What the advice rests on: the evidence of each cylinder, and a line of the list that it leads to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from borewright.core.engine import Engine
from borewright.core.place_meaning import place_words
from borewright.core.wet import WetVerdict

if TYPE_CHECKING:
    from borewright.core.shares import Share, Shares

__all__ = ["CLEAR", "LOUDNESS", "NEVER_SOUND", "RINGS", "Advice", "Certainty", "CylinderEvidence", "StageEvidence"]
__all__ += ["heard_words", "share_words"]

Certainty = Literal["points to", "may be", "undecided"]

RINGS = frozenset({"breather", "crankcase", "exhaust_port"})
NEVER_SOUND = frozenset({"coolant", "neighbours", "other_chambers"})
"""Places where sound work lets no air out at all, however little it is (common practice)."""
CLEAR = ("steady", "strong")
LOUDNESS = {"none": 0, "faint": 1, "steady": 2, "strong": 3}


@dataclass(frozen=True, slots=True)
class Advice:
    """One line of the list. cylinder: 0 for the engine. evidence: what it rests on. An aid to judgement, never an order."""

    cylinder: int
    open: str
    measure: str
    look_first: str
    evidence: tuple[str, ...]
    certainty: Certainty


@dataclass(frozen=True, slots=True)
class CylinderEvidence:
    """What is known of one cylinder.

    leakage_percent, expanded_percent: None where not known. tests: their numbers. seals: it lies in the lowest band of the limits
    for certain. judged: the words of that. leak_area_m2: of the readings with nothing stopped. heard: strength by place, the last
    word of each; neighbours: strength by the other cylinder, where it was said at which one. questions, contradictions: to be
    cleared up before anything is opened. further_tests: what would decide, where nothing does yet.
    """

    cylinder: int
    leakage_percent: float | None = None
    expanded_percent: float | None = None
    tests: tuple[int, ...] = ()
    seals: bool = False
    judged: str = ""
    heard: Mapping[str, str] = field(default_factory=dict)
    shares: Shares | None = None
    wet: WetVerdict | None = None
    questions: tuple[str, ...] = ()
    contradictions: tuple[str, ...] = ()
    further_tests: tuple[str, ...] = ()
    neighbours: Mapping[int, str] = field(default_factory=dict)
    leak_area_m2: float | None = None

    def loudness(self, place: str) -> int:
        """0 where nothing was heard or nobody looked, 3 where it is strong."""
        return LOUDNESS.get(self.heard.get(place, "none"), 0)

    @property
    def heard_beside(self) -> tuple[int, ...]:
        """The other cylinders at which something was heard, as far as it was said at which."""
        return tuple(sorted(other for other, strength in self.neighbours.items() if LOUDNESS.get(strength, 0)))

    def share_at(self, place: str) -> Share | None:
        """The measured share of a place; None where nothing was measured there."""
        shares = () if self.shares is None else self.shares.shares
        return next((share for share in shares if share.place == place and share.looked_at), None)


@dataclass(frozen=True, slots=True)
class StageEvidence:
    """The evidence of all cylinders at one stage. spread: words on how far they lie apart."""

    engine: Engine
    by_cylinder: Mapping[int, CylinderEvidence]
    spread: str = ""

    def better_than(self, known: CylinderEvidence) -> tuple[CylinderEvidence, ...]:
        """The cylinders to compare one with: those that seal; where none does, those that leak at most half as much."""
        others = [one for one in self.by_cylinder.values() if one.cylinder != known.cylinder and one.leakage_percent is not None]
        if sealing := tuple(one for one in others if one.seals):
            return sealing
        most = (known.leakage_percent or 0.0) / 2.0
        return tuple(one for one in others if one.leakage_percent is not None and one.leakage_percent <= most)


def share_words(share: Share) -> str:
    """A share with its interval.

    >>> from borewright.core.shares import Share
    >>> share_words(Share("exhaust", 71.2, 64.0, 78.4, 0.5e-6))
    '71 % (64 to 78 %)'
    """
    if not share.looked_at:
        return "not told apart"
    return f"{share.percent:.0f} % ({share.low_percent:.0f} to {share.high_percent:.0f} %)"


def heard_words(heard: Mapping[str, str], places: Sequence[str], neighbours: Mapping[int, str] | None = None) -> str:
    """What was heard, the strongest first; empty where nobody looked. neighbours: at which other cylinders, where that is known.

    >>> heard_words({"exhaust": "strong", "intake": "none"}, ("intake", "exhaust", "breather"))
    'heard: exhaust strong; nothing at intake; not looked at: breather'
    >>> heard_words({"neighbours": "strong"}, ("neighbours",), {3: "strong"})
    'heard: neighbours strong at cylinder 3'
    """
    if not heard:
        return ""
    loudest = [place for strength in ("strong", "steady", "faint") for place in places if heard.get(place) == strength]
    told = [f"{place_words(place)} {heard[place]}{_at(place, neighbours or {})}" for place in loudest]
    quiet = [place_words(place) for place in places if heard.get(place) == "none"]
    missing = [place_words(place) for place in places if place not in heard]
    parts = (("heard: ", told), ("nothing at ", quiet), ("not looked at: ", missing))
    return "; ".join(title + ", ".join(which) for title, which in parts if which)


def _at(place: str, neighbours: Mapping[int, str]) -> str:
    numbers = [str(cylinder) for cylinder, strength in sorted(neighbours.items()) if strength != "none"]
    if place not in ("neighbours", "other_chambers") or not numbers:
        return ""
    return f" at cylinder {' and '.join(numbers)}"
