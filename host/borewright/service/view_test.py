"""What the page of the tests asks of the record: what was tested, how it is judged, and which cylinder comes next."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

from borewright.core.engine import Engine
from borewright.core.judgement import Judgement
from borewright.core.limit_sets import LimitSet
from borewright.service.figures_of_test import FiguresOfTest, stated_of
from borewright.service.going_round import Progress, Visit, crank_moved, next_visit, progress
from borewright.service.judging import JudgedStage, judge_stage
from borewright.service.other_cylinders import odd_volumes
from borewright.service.repeated_tests import kept_budgets
from borewright.store.records import CaptureRecord
from borewright.store.store import Store

__all__ = ["ResultView", "RoundView", "result_view", "round_view"]


@dataclass(frozen=True, slots=True)
class RoundView:
    """The tests of one job at one stage. captures: all of the job; judged: the same, judged. visit: the test that comes next, None
    where all is done. odd: what does not go together between the cylinders, in words."""

    job_id: int
    captures: tuple[CaptureRecord, ...]
    judged: JudgedStage
    progress: Progress
    visit: Visit | None
    odd: tuple[str, ...] = ()

    @property
    def over(self) -> tuple[str, ...]:
        """What is said at the end of the round: how far the cylinders lie apart, and what does not go together."""
        spread = self.judged.spread
        apart = () if spread is None else (f"Between cylinders: {spread.words}",)
        return apart + tuple(f"Contradiction: {words}" for words in self.odd)


def round_view(
    store: Store,
    job_id: int,
    engine: Engine,
    document: Mapping[str, Any],
    limit_set: LimitSet,
    angle_deg: float | None,
    compares: bool,
    left: Collection[tuple[int, int]] = (),
) -> RoundView:
    """The tests of a job, and what comes next from where the crank stands; the arguments as going_round.next_visit has them.

    Raises StoreError for a job that is not there, or a budget that cannot be read.
    """
    captures = tuple(store.list_captures(job_id))
    return RoundView(
        job_id,
        captures,
        judge_stage(captures, document, limit_set),
        progress(engine, captures),
        next_visit(engine, document, captures, limit_set, angle_deg=angle_deg, compares=compares, left=left),
        tuple(odd_volumes(captures)),
    )


@dataclass(frozen=True, slots=True)
class ResultView:
    """One test as the record keeps it. figures: None where it could not be worked out; judgement: None for a void one."""

    test: int
    cylinder: int
    void_reason: str | None
    marks: tuple[str, ...]
    figures: FiguresOfTest | None
    judgement: Judgement | None
    ranks: tuple[int, ...] = ()

    @property
    def moved(self) -> bool:
        """Whether the crank moved under its air."""
        return crank_moved(self.void_reason)


def result_view(store: Store, capture_id: int, document: Mapping[str, Any], limit_set: LimitSet) -> ResultView:
    """One test by its number. ranks: of its bands in the set, from the tightest. Raises StoreError where it cannot be read."""
    kept = store.get_capture(capture_id)
    judgement = judge_stage([kept], document, limit_set).judgements.get(kept.id)
    figures = None
    if kept.result is not None and kept.result.get("leakage_percent") is not None:
        figures = FiguresOfTest.of_record(kept.result, kept.laws, stated_of(kept_budgets(kept).values()))
    ranks = () if judgement is None else tuple(i for i, band in enumerate(limit_set.bands) if band.name in judgement.between)
    return ResultView(kept.id, kept.cylinder, kept.void_reason, kept.marks, figures, judgement, ranks)
