"""What the record holds of uncertainty: the budgets of a test, and the repeats of one cylinder at one stage."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from borewright.core.repeats import Repeats, repeats_of
from borewright.core.uncertainty import Budget
from borewright.errors import StoreError
from borewright.service.counting_tests import counting
from borewright.store.records import CaptureRecord

__all__ = ["NEW_IN_EACH_TEST", "RepeatedTests", "kept_budgets", "repeated_tests"]

# of the items that the fit of a capture makes, those that the next test draws anew: each takes its own zeros at vent. What rig and
# air do, and where a reading lies on the transducers' curves, is the same in each
NEW_IN_EACH_TEST = frozenset({"noise of the readings", "drift of the zeros since venting", "state at the opening and at the shut"})
_QUANTITIES = {"leakage": ("leakage_percent", "%"), "leak area": ("leak_area_mm2", "mm²")}


@dataclass(frozen=True, slots=True)
class RepeatedTests:
    """Two or more complete tests of one cylinder at one stage.

    tests: their numbers. leakage, leak_area: what they say together; None where a test lacks the value, and both where the tests
    are no repeats of each other, which mixed then says.
    """

    cylinder: int
    tests: tuple[int, ...]
    leakage: Repeats | None
    leak_area: Repeats | None
    mixed: str | None


def kept_budgets(capture: CaptureRecord) -> dict[str, Budget]:
    """The budgets recorded with a test, by quantity; empty for a record from before they were kept. Raises StoreError."""
    try:
        budgets = [Budget.from_dict(document) for document in (capture.result or {}).get("budgets") or ()]
    except ValueError as error:
        raise StoreError(f"the uncertainty budget of test {capture.id} cannot be read ({error}); the record was changed") from error
    return {budget.quantity: budget for budget in budgets}


def repeated_tests(captures: Iterable[CaptureRecord]) -> list[RepeatedTests]:
    """The repeats among the captures of one job at one stage, by cylinder: of the tests that count (`counting`)."""
    by_cylinder: dict[int, list[CaptureRecord]] = {}
    for capture in counting(captures):
        by_cylinder.setdefault(capture.cylinder, []).append(capture)
    return [_together(cylinder, tests) for cylinder, tests in sorted(by_cylinder.items()) if len(tests) > 1]


def _together(cylinder: int, tests: Sequence[CaptureRecord]) -> RepeatedTests:
    numbers = tuple(test.id for test in tests)
    if mixed := _mixed(tests):
        return RepeatedTests(cylinder, numbers, None, None, mixed)
    return RepeatedTests(cylinder, numbers, _repeats(tests, "leakage"), _repeats(tests, "leak area"), None)


def _repeats(tests: Sequence[CaptureRecord], quantity: str) -> Repeats | None:
    """The repeats of one quantity; without budgets where one of the tests has none."""
    budgets = [kept_budgets(test).get(quantity) or _bare(test, quantity) for test in tests]
    found = [budget for budget in budgets if budget is not None]
    if len(found) < len(tests):
        return None
    if not all(budget.items for budget in found):
        found = [replace(budget, items=()) for budget in found]
    return repeats_of(found, NEW_IN_EACH_TEST)


def _bare(test: CaptureRecord, quantity: str) -> Budget | None:
    key, unit = _QUANTITIES[quantity]
    value = (test.result or {}).get(key)
    return None if value is None else Budget(quantity, unit, float(value), ())


def _mixed(tests: Sequence[CaptureRecord]) -> str | None:
    """Why these tests are no repeats of each other; what the record does not say of all of them is not held against them."""
    if len({test.device_serial for test in tests}) > 1:
        return "taken with different rigs"
    differs: tuple[tuple[str, Callable[[CaptureRecord], Any], Callable[[float, float], bool]], ...] = (
        ("restrictors", lambda test: test.laws.get("restrictor_area_m2"), lambda low, high: high > 1.02 * low),
        ("pressures", lambda test: (test.result or {}).get("p_regulated_gauge_pa"), lambda low, high: high > 1.05 * low),
        ("engine temperatures", lambda test: test.laws.get("t_engine_k"), lambda low, high: high > low + 15.0),
    )
    for what, of, apart in differs:
        values = [float(value) for value in map(of, tests) if value is not None]
        if len(values) == len(tests) and apart(min(values), max(values)):
            return f"taken at different {what}" if what != "restrictors" else "taken with different restrictors"
    return None
