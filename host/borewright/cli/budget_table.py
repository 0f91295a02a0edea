"""Uncertainty as job show prints it: values with ±, budgets item by item, repeats of a cylinder."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from borewright.cli.output import date_words, table_lines
from borewright.core.stated import decimals_of, plus_minus

if TYPE_CHECKING:  # numpy and the record stay unloaded where only help is shown
    from collections.abc import Mapping, Sequence

    from borewright.core.repeats import Repeats
    from borewright.core.uncertainty import Budget
    from borewright.service.repeated_tests import RepeatedTests
    from borewright.store.records import CaptureRecord, JobRecord

__all__ = ["budget_as_dict", "budget_lines", "plus_minus", "repeats_as_dict", "repeats_lines"]

NO_BUDGET = "no uncertainty budget was kept with this test; take the test again to have one"
_REPEATS_HEADINGS = (
    "stage",
    "cylinder",
    "tests",
    "leakage %",
    "scatter",
    "larger",
    "leak area mm²",
    "scatter",
    "larger",
    "remarks",
)


def budget_as_dict(budget: Budget) -> dict[str, Any]:
    """A budget for JSON, with what follows from it; its items largest first."""
    from borewright.core.uncertainty import LEVEL

    shares = [share for _, share in budget.ranked()]
    largest_first = type(budget)(budget.quantity, budget.unit, budget.value, tuple(item for item, _ in budget.ranked())).as_dict()
    items = [item | {"share": share} for item, share in zip(largest_first["items"], shares, strict=True)]
    return largest_first | {
        "standard": budget.standard,
        "dof": None if math.isinf(budget.dof) else budget.dof,
        "level": LEVEL,
        "coverage_factor": budget.coverage_factor(),
        "expanded": budget.expanded(),
        "items": items,
    }


def budget_lines(job: JobRecord, capture: CaptureRecord, budgets: Mapping[str, Budget]) -> list[str]:
    """The budgets of one test, each quantity with its items, largest first."""
    title = f"test {capture.id}, {job.stage}, cylinder {capture.cylinder}, {date_words(capture.started_at_unix_s)}"
    if not budgets:
        return ["", f"{title}: {NO_BUDGET}"]
    lines = ["", title]
    for budget in budgets.values():
        lines += ["  " + line for line in _table_of(budget)]
    return lines


def _table_of(budget: Budget) -> list[str]:
    from borewright.core.uncertainty import LEVEL

    head = (
        f"{budget.quantity} {plus_minus(budget.value, budget.expanded())} {budget.unit}: "
        f"k = {budget.coverage_factor():.2f} for {100.0 * LEVEL:.2f} %, {_dof_words(budget.dof)} effective degrees of freedom"
    )
    decimals = decimals_of(budget.expanded()) + 1
    rows = [
        [item.name, f"{item.contribution:.{decimals}f}", f"{100.0 * share:.1f}", _dof_words(item.dof), item.kind]
        for item, share in budget.ranked()
    ]
    headings = ("item", f"contribution {budget.unit}", "% of variance", "degrees of freedom", "type")
    return [head, *("  " + line for line in table_lines(headings, rows))]


def _dof_words(dof: float) -> str:
    return "∞" if dof >= 1e6 else f"{dof:.1f}" if dof < 100.0 else f"{dof:.0f}"


def repeats_lines(of_each: Sequence[tuple[JobRecord, Sequence[RepeatedTests]]]) -> list[str]:
    """A line for each cylinder with several complete tests at one stage; nothing where there is none."""
    rows = [_repeats_row(job, repeated) for job, several in of_each for repeated in several]
    return ["", "repeats, mean ± stated:", *table_lines(_REPEATS_HEADINGS, rows)] if rows else []


def _repeats_row(job: JobRecord, repeated: RepeatedTests) -> list[str]:
    remarks = [f"not averaged: {repeated.mixed}"] if repeated.mixed is not None else []
    if repeated.leakage is not None:
        if not repeated.leakage.by_budget.items:
            remarks.append("scatter alone: no budget was kept with all of them")
        remarks += [words for words in (repeated.leakage.words(),) if words]
    numbers = ", ".join(str(number) for number in repeated.tests)
    return [
        job.stage,
        str(repeated.cylinder),
        numbers,
        *_repeats_cells(repeated.leakage),
        *_repeats_cells(repeated.leak_area),
        "; ".join(remarks),
    ]


def _repeats_cells(repeats: Repeats | None) -> tuple[str, str, str]:
    if repeats is None or repeats.scatter is None:
        return "-", "-", "-"
    return plus_minus(repeats.mean, repeats.expanded()), f"{repeats.scatter:#.2g}", repeats.governed()


def repeats_as_dict(repeated: RepeatedTests) -> dict[str, Any]:
    """The repeats of one cylinder for JSON."""
    return {
        "cylinder": repeated.cylinder,
        "tests": list(repeated.tests),
        "mixed": repeated.mixed,
        "leakage": None if repeated.leakage is None else repeated.leakage.as_dict(),
        "leak_area": None if repeated.leak_area is None else repeated.leak_area.as_dict(),
    }
