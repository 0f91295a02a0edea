"""How much a cylinder leaks, for the search of its path: the leakage that counts, what is odd about it, and dry against wet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import mean
from typing import TYPE_CHECKING

from borewright.core.judgement import judge
from borewright.core.sanity import NEARLY_NOTHING_PERCENT
from borewright.core.wet import WetVerdict, wet_verdict
from borewright.service.counting_tests import counting, unused_words
from borewright.service.path_readings import area_of, comparable, usable
from borewright.service.repeated_tests import kept_budgets, repeated_tests

if TYPE_CHECKING:
    from borewright.service.judging import JudgedStage
    from borewright.store.records import CaptureRecord

__all__ = ["Leakage", "leakage_of", "wet_of"]

CONTRADICTION, TO_BE_ASKED = "contradiction: ", "to be asked: "


@dataclass(frozen=True, slots=True)
class Leakage:
    """The leakage of a cylinder at one stage: the mean of its repeats, else the latest test. None where there is none.

    seals: it lies in the lowest band for certain, or next to nothing leaks. judged: in words, and
    which declared reading is not used. questions, contradictions: of the
    latest test.
    """

    percent: float | None = None
    expanded_percent: float | None = None
    tests: tuple[int, ...] = ()
    seals: bool = False
    judged: str = ""
    questions: tuple[str, ...] = ()
    contradictions: tuple[str, ...] = ()


def leakage_of(captures: Sequence[CaptureRecord], judged: JudgedStage | None) -> Leakage:
    """From the captures of one cylinder, as they stand in the record. Raises StoreError for a budget that cannot be read."""
    plain = [capture for capture in counting(captures) if (capture.result or {}).get("leakage_percent") is not None]
    if not plain:
        return Leakage()
    latest = max(plain, key=lambda capture: capture.id)
    budget = kept_budgets(latest).get("leakage")
    percent = float((latest.result or {})["leakage_percent"]) if budget is None else budget.value
    expanded = budget.expanded() if budget is not None and budget.items else None
    tests: tuple[int, ...] = (latest.id,)
    for repeated in repeated_tests(plain):
        if repeated.leakage is not None:
            percent, expanded, tests = repeated.leakage.mean, repeated.leakage.expanded(), repeated.tests
    seals, words = percent + (expanded or 0.0) <= NEARLY_NOTHING_PERCENT, ""
    questions: tuple[str, ...] = ()
    if judged is not None:
        found = judge(percent, expanded, judged.limit_set)
        seals |= found.certain and found.band == judged.limit_set.bands[0].name
        words = "; ".join([f"{found.words} (by {judged.limit_set.name})", *unused_words(captures).values()])
        of_latest = judged.judgements.get(latest.id)
        questions = () if of_latest is None else of_latest.questions
    asked = tuple(mark.removeprefix(TO_BE_ASKED) for mark in latest.marks if mark.startswith(TO_BE_ASKED))
    against = tuple(mark.removeprefix(CONTRADICTION) for mark in latest.marks if mark.startswith(CONTRADICTION))
    return Leakage(percent, expanded, tests, seals, words, (*questions, *asked), against)


def wet_of(captures: Sequence[CaptureRecord]) -> WetVerdict | None:
    """The latest wet test against the dry ones that it goes with; None where either is missing.

    Raises StoreError for a budget that cannot be read.
    """
    wet = [capture for capture in captures if capture.purpose == "wet" and usable(capture)]
    if not wet:
        return None
    latest = max(wet, key=lambda capture: capture.id)
    dry = [capture for capture in captures if capture.purpose == "test" and usable(capture) and comparable(capture, latest)]
    # what was tested dry after the oil may still be wet
    before = [area_of(capture) for capture in dry if capture.id < min(one.id for one in wet)]
    if not before or not mean(area for area, _ in before) > 0.0:
        return None
    dry_area_m2 = mean(area for area, _ in before)
    return wet_verdict(dry_area_m2, mean(u for _, u in before), *area_of(latest))
