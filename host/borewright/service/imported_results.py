"""What an imported test says of itself, held against its own uncertainty and against what its samples give."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from borewright.core.capture import CaptureUnusable
from borewright.core.uncertainty import Budget
from borewright.errors import UseError
from borewright.service.analysis import computed_anew
from borewright.service.laws import laws_from_record

if TYPE_CHECKING:
    from borewright.core.capture import CaptureResult
    from borewright.store import Store
    from borewright.store.records import CaptureRecord

__all__ = ["check_results"]

LEAKAGE_PERCENT = (-1.0, 100.0)  # noise about a leak of nothing can fall below it
SAME = 1e-6  # relative: the same number that went another way through the formulas
PRESSURE = 0.01  # relative to the regulated one: what another version of the program may take as the steady part
NUMBERS = {"leakage": "leakage_percent", "leak area": "leak_area_mm2"}


def check_results(store: Store, job_id: int) -> None:
    """Raises UseError for a test of the job that states what it cannot have measured.

    A test without samples, or of a program so old that what it was read by was not kept, is held to its own uncertainty alone.
    """
    counts = store.sample_counts(job_id)
    for capture in store.list_captures(job_id, deleted=True):
        result = capture.result
        if result is None or "leakage_percent" not in result:
            continue
        stated = {key: _number(capture, result, key) for key in NUMBERS.values() if result.get(key) is not None}
        if not LEAKAGE_PERCENT[0] <= stated.get("leakage_percent", math.nan) <= LEAKAGE_PERCENT[1]:
            raise _wrong(capture, f"a leakage of {result['leakage_percent']!r} %, which cannot be")
        _against_its_budgets(capture, result, stated)
        if capture.state == "complete" and counts.get(capture.id):
            _against_its_samples(store, capture, result, stated)


def _number(capture: CaptureRecord, result: Mapping[str, Any], key: str) -> float:
    value = result[key]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _wrong(capture, f"{value!r} as its {key}, which is no number")
    return float(value)


def _against_its_budgets(capture: CaptureRecord, result: Mapping[str, Any], stated: Mapping[str, float]) -> None:
    """The number and the one that its uncertainty stands beside are one: lists show the one, reports the other."""
    for budget in map(Budget.from_dict, result.get("budgets") or ()):
        key = NUMBERS.get(budget.quantity)
        if key is None or key not in stated:
            continue
        value = max(budget.value, 0.0) if key == "leak_area_mm2" else budget.value
        if not math.isclose(stated[key], value, rel_tol=SAME, abs_tol=SAME):
            raise _wrong(capture, f"a {budget.quantity} of {stated[key]:.5g} {budget.unit} beside one of {value:.5g} {budget.unit}")


def _against_its_samples(store: Store, capture: CaptureRecord, result: Mapping[str, Any], stated: Mapping[str, float]) -> None:
    try:
        laws = laws_from_record(capture.laws)
        anew = computed_anew(store.load_columns(capture.id), laws)
    except (UseError, CaptureUnusable):
        return
    if anew.result is None:
        return
    by_quantity = {budget.quantity: budget for budget in anew.budgets}
    found = {"leakage": anew.result.leakage_percent, "leak area": anew.result.leak_area_m2 * 1e6}
    for quantity, key in NUMBERS.items():
        budget = by_quantity.get(quantity)
        if budget is not None and key in stated and abs(stated[key] - found[quantity]) > budget.expanded():
            words = f"a {quantity} of {stated[key]:.5g} {budget.unit}, and its samples give {found[quantity]:.5g} {budget.unit}"
            raise _wrong(capture, words)
    _pressures(capture, result, anew.result)


def _pressures(capture: CaptureRecord, result: Mapping[str, Any], anew: CaptureResult) -> None:
    for key in ("p_regulated_gauge_pa", "p_cylinder_gauge_pa"):
        if result.get(key) is not None:
            said, found = _number(capture, result, key), getattr(anew, key)
            if abs(said - found) > PRESSURE * anew.p_regulated_gauge_pa:
                raise _wrong(capture, f"{said / 1000:.5g} kPa as its {key}, and its samples give {found / 1000:.5g} kPa")


def _wrong(capture: CaptureRecord, what: str) -> UseError:
    return UseError(
        f"the {capture.purpose} of cylinder {capture.cylinder} states {what}: the file was changed; export the job again"
    )
