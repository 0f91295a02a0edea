"""Judgements by a set of limits, as measure and job show print them. Words alone carry the meaning, never a colour."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Sequence

    from borewright.core.judgement import Judgement
    from borewright.core.limit_sets import LimitSet
    from borewright.service.judging import JudgedStage
    from borewright.store.records import JobRecord

__all__ = ["add_limits_argument", "band_of", "judgement_as_dict", "judgement_lines", "stage_as_dict", "stages_lines"]


def add_limits_argument(parser: argparse.ArgumentParser) -> None:
    """The option --limits NAME or FILE."""
    parser.add_argument(
        "--limits",
        metavar="NAME|FILE",
        help='what to judge by: "common practice" (default), "AC 43.13-1B", maker (of the engine file), or a TOML file of your own',
    )


def judgement_as_dict(judgement: Judgement) -> dict[str, Any]:
    """A judgement for JSON."""
    from dataclasses import asdict

    lists = {name: list(getattr(judgement, name)) for name in ("between", "questions", "before_opening")}
    return asdict(judgement) | lists


def judgement_lines(judgement: Judgement) -> list[str]:
    """A judgement under the figures of one test."""
    lines = [f"  judged     {judgement.words}", f"             by {judgement.limit_set}: {judgement.source}"]
    lines += [f"             {said}" for said in (judgement.called, judgement.caution) if said]
    return lines + [f"  ask        {question}" for question in (*judgement.questions, *judgement.before_opening)]


def band_of(stage: JudgedStage, test: int) -> str:
    """The cell of a test in a table: band, or the bands that it lies between, or a dash for a test that is not judged."""
    judgement = stage.judgements.get(test)
    return "-" if judgement is None else judgement.band


def stages_lines(stages: Sequence[tuple[JobRecord, JudgedStage]]) -> list[str]:
    """What stands under the table: by what was judged, what the tests may be called, what to ask, the spread of each stage."""
    judged = [(job, stage) for job, stage in stages if stage.judgements]
    lines: list[str] = []
    for limit_set in _sets(judged):
        lines += ["", f"judged by {limit_set.name}: {limit_set.source}"]
        lines += [f"  {limit_set.caution}"] if limit_set.caution else []
        of_set = [(job, stage) for job, stage in judged if stage.limit_set == limit_set]
        tests = {test: judgement for _, stage in of_set for test, judgement in stage.judgements.items()}
        for called in dict.fromkeys(judgement.called for judgement in tests.values() if judgement.called):
            numbers = ", ".join(str(test) for test, judgement in tests.items() if judgement.called == called)
            lines.append(f"  test {numbers}: {called}")
        lines += [f"  between cylinders, {job.stage}: {stage.spread.words}" for job, stage in of_set if stage.spread is not None]
        lines += [f"  test {test}: {question}" for test, judgement in tests.items() for question in judgement.questions]
    return lines


def stage_as_dict(stage: JudgedStage) -> dict[str, Any]:
    """By what a stage was judged, and its spread, for JSON."""
    from dataclasses import asdict

    limits = {"name": stage.limit_set.name, "kind": stage.limit_set.kind, "source": stage.limit_set.source}
    return {"limits": limits, "spread": None if stage.spread is None else asdict(stage.spread)}


def _sets(judged: Sequence[tuple[JobRecord, JudgedStage]]) -> list[LimitSet]:
    sets: list[LimitSet] = []
    for _, stage in judged:
        if stage.limit_set not in sets:
            sets.append(stage.limit_set)
    return sets
