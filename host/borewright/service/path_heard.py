"""What was heard at the places of one cylinder, from the findings of the record: the last word of each place counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from borewright.core.advice import heard_words
from borewright.core.advice_evidence import LOUDNESS
from borewright.core.heard import OTHER_CYLINDERS
from borewright.core.place_meaning import place_words

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.store.records import FindingRecord

__all__ = ["HeardAt", "heard_at"]


@dataclass(frozen=True, slots=True)
class HeardAt:
    """strengths: by place, the strongest of what counts there. neighbours: by the other cylinder, where it was said at which one.

    numbers: of the findings that count, by place.
    """

    strengths: Mapping[str, str] = field(default_factory=dict)
    neighbours: Mapping[int, str] = field(default_factory=dict)
    numbers: Mapping[str, tuple[int, ...]] = field(default_factory=dict)

    def words(self, places: tuple[str, ...]) -> str:
        """What was heard where, and the one place where it is strong; empty where nobody looked."""
        said = heard_words(self.strengths, places, self.neighbours)
        strong = [place for place in places if self.strengths.get(place) == "strong"]
        return f"{said}; by ear it is loudest at {place_words(strong[0])}" if len(strong) == 1 else said


def heard_at(engine: Engine, cylinder: int, findings: Iterable[FindingRecord]) -> HeardAt:
    """From the findings of one cylinder, oldest first. What names no strength, or no place of this engine, is passed over.

    At other cylinders each one that was named has its own last word; a word for all of them replaces those.
    """
    told: dict[str, dict[int | None, tuple[str, int]]] = {}
    for finding in findings:
        strength, place = str(finding.detail.get("strength")), finding.place
        if finding.kind != "heard" or place is None or place not in engine.places or strength not in LOUDNESS:
            continue
        neighbour = finding.detail.get("neighbour")
        named = place in OTHER_CYLINDERS and neighbour in engine.cylinders and neighbour != cylinder
        at = told.setdefault(place, {})
        if not named:
            at.clear()
        elif strength != "none":
            at.pop(None, None)
        at[int(neighbour) if named and neighbour is not None else None] = (strength, finding.id)
    return HeardAt(
        {place: max((strength for strength, _ in at.values()), key=LOUDNESS.__getitem__) for place, at in told.items()},
        {other: strength for at in told.values() for other, (strength, _) in at.items() if other is not None},
        {place: tuple(number for _, number in at.values()) for place, at in told.items()},
    )
