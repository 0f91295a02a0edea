"""What the record knows of a test, set against a set of limits. Judged when it is shown, from the numbers that are kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from borewright.core.conditions import SQUEEZE_HELD
from borewright.core.judgement import Judgement, Spread, judge, spread
from borewright.core.limit_sets import Circumstances, LimitSet
from borewright.errors import UseError
from borewright.service.counting_tests import counting
from borewright.service.engines import engine_from_document
from borewright.service.repeated_tests import kept_budgets, repeated_tests

if TYPE_CHECKING:
    from borewright.core.engine import Engine
    from borewright.core.uncertainty import Budget
    from borewright.store.records import CaptureRecord

__all__ = ["JudgedStage", "circumstances_of", "judge_stage", "judge_test"]


@dataclass(frozen=True, slots=True)
class JudgedStage:
    """The tests of one stage by one set of limits: judgements by the number of the test, and how far the cylinders lie apart.

    Only complete tests of a cylinder are judged. For the spread the mean of a cylinder's repeats counts, with what is stated of it;
    where its tests are no repeats of each other, the latest. A declared reading of a cylinder that was tested is judged, but does
    not count for the spread.
    """

    limit_set: LimitSet
    judgements: dict[int, Judgement] = field(default_factory=dict)
    spread: Spread | None = None


def judge_stage(captures: Iterable[CaptureRecord], engine: Mapping[str, Any], limit_set: LimitSet) -> JudgedStage:
    """Judge the captures of one job at one stage; engine: its document. Raises StoreError for a budget that cannot be read."""
    listed, geometry = tuple(captures), _geometry(engine)
    counts = {capture.id for capture in counting(listed)}
    judgements: dict[int, Judgement] = {}
    latest: dict[int, float] = {}
    uncertain: dict[int, float] = {}
    for capture in listed:
        result = capture.result
        if capture.state != "complete" or capture.purpose != "test" or result is None or result.get("leakage_percent") is None:
            continue
        budgets = kept_budgets(capture)
        leakage_percent, expanded_percent = _leakage(result, budgets)
        found = _circumstances(result, capture.laws, capture.marks, geometry, budgets)
        judgements[capture.id] = judge(leakage_percent, expanded_percent, limit_set, found)
        if capture.id not in counts:
            continue
        latest[capture.cylinder] = leakage_percent
        uncertain.pop(capture.cylinder, None)
        if expanded_percent is not None:
            uncertain[capture.cylinder] = expanded_percent
    for repeated in repeated_tests(listed):
        if repeated.leakage is not None:
            latest[repeated.cylinder] = repeated.leakage.mean
            uncertain[repeated.cylinder] = repeated.leakage.expanded()
    return JudgedStage(limit_set, judgements, spread(latest, limit_set, uncertain))


def judge_test(
    result: Mapping[str, Any],
    laws: Mapping[str, Any],
    marks: Iterable[str],
    engine: Mapping[str, Any],
    limit_set: LimitSet,
    budgets: Mapping[str, Budget],
) -> Judgement:
    """Judge one test by its result, the laws that it was read by and its marks, as the record keeps them."""
    leakage_percent, expanded_percent = _leakage(result, budgets)
    return judge(leakage_percent, expanded_percent, limit_set, circumstances_of(result, laws, marks, engine, budgets))


def circumstances_of(
    result: Mapping[str, Any],
    laws: Mapping[str, Any],
    marks: Iterable[str],
    engine: Mapping[str, Any],
    budgets: Mapping[str, Budget],
) -> Circumstances:
    """What is known of a test beside its leakage. A temperature that was only assumed counts as not known."""
    return _circumstances(result, laws, marks, _geometry(engine), budgets)


def _circumstances(
    result: Mapping[str, Any],
    laws: Mapping[str, Any],
    marks: Iterable[str],
    geometry: Engine | None,
    budgets: Mapping[str, Budget],
) -> Circumstances:
    marks = tuple(marks)
    assumed = any(mark.startswith("assumed:") and "engine temperature" in mark for mark in marks)
    trapped = budgets.get("trapped volume")
    return Circumstances(
        p_regulated_gauge_pa=result.get("p_regulated_gauge_pa"),
        restrictor_area_m2=laws.get("restrictor_area_m2"),
        bore_m=None if geometry is None else geometry.bore_m,
        t_engine_k=None if assumed else laws.get("t_engine_k"),
        decompression="none" if geometry is None else geometry.decompression,
        trapped_volume_m3=None if trapped is None else trapped.value * 1e-6,  # the budget is in cm³
        expanded_trapped_volume_m3=0.0 if trapped is None else trapped.expanded() * 1e-6,
        hose_volume_m3=(laws.get("setup") or {}).get("hose_volume_m3"),
        clearance_m3=None if geometry is None else geometry.clearance_m3,
        squeeze_held=SQUEEZE_HELD in marks,
    )


def _geometry(engine: Mapping[str, Any]) -> Engine | None:
    try:
        return engine_from_document(engine, "the record")
    except UseError:  # an engine of an older file, which can be shown all the same
        return None


def _leakage(result: Mapping[str, Any], budgets: Mapping[str, Budget]) -> tuple[float, float | None]:
    budget = budgets.get("leakage")
    if budget is None:
        return float(result["leakage_percent"]), None
    return budget.value, budget.expanded() if budget.items else None
