"""A comparison and a trend as tables of text, as JSON and as CSV."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from borewright.cli.budget_table import plus_minus
from borewright.cli.output import date_words, table_lines

if TYPE_CHECKING:  # numpy and the record stay unloaded where only help is shown
    from collections.abc import Sequence

    from borewright.core.compare import Difference
    from borewright.service.comparing import CylinderComparison, JobComparison
    from borewright.service.shown_units import ShownUnits
    from borewright.service.trending import EngineTrend, TrendPoint
    from borewright.store.export import Table

__all__ = ["comparison_as_dict", "comparison_lines", "comparison_table", "trend_as_dict", "trend_lines", "trend_table"]

_NOTHING = "-"


def comparison_lines(found: JobComparison, units: ShownUnits) -> list[str]:
    """Which jobs, the table, what has to be known of it, and what came out."""
    area_unit, scale = _area_unit(units)
    headings = (
        "cylinder",
        f"leak area {area_unit} before",
        "after",
        "change",
        "leakage % before",
        "after",
        "change",
        "verdict",
    )
    rows = [
        [str(one.cylinder), *_cells(one.area, scale), *_cells(one.leakage, 1.0), one.verdict or "not compared"]
        for one in found.cylinders
    ]
    before, after = found.before, found.after
    lines = [
        f"{before.engine_name}",
        f"before: job {before.name}, {before.stage}, begun {date_words(before.created_at_unix_s)}",
        f"after:  job {after.name}, {after.stage}, begun {date_words(after.created_at_unix_s)}",
        "",
        *table_lines(headings, rows),
        "",
    ]
    said: dict[str, list[int]] = {}  # what is so of several cylinders is said once
    for one in found.cylinders:
        for words in _remarks(one):
            said.setdefault(words.removeprefix(f"cylinder {one.cylinder} "), []).append(one.cylinder)
    for words, cylinders in said.items():
        lines.append(f"  cylinder{'s' if len(cylinders) > 1 else ''} {', '.join(map(str, cylinders))}: {words}")
    return [*lines, found.words]


def _remarks(one: CylinderComparison) -> list[str]:
    said = [] if one.refused is None else [one.refused]
    if one.area is not None and one.leakage is not None and one.area.verdict != one.leakage.verdict:
        said.append(f"its leakage alone shows: {one.leakage.verdict}")
    return [*said, *one.converted, *one.marks]


def _cells(one: Difference | None, scale: float) -> tuple[str, str, str]:
    """Before, after and change, each with its uncertainty."""
    if one is None:
        return _NOTHING, _NOTHING, _NOTHING
    change = plus_minus(one.change * scale, one.expanded * scale)
    return (
        plus_minus(one.before * scale, one.expanded_before * scale),
        plus_minus(one.after * scale, one.expanded_after * scale),
        change if change.startswith("-") else f"+{change}",
    )


def _area_unit(units: ShownUnits) -> tuple[str, float]:
    """The unit to show leak areas in, and how many of it a mm² is."""
    from borewright.units import in_unit

    unit = units.unit("area", "mm²")
    return unit, in_unit(1e-6, "area", unit)


def difference_as_dict(one: Difference | None) -> dict[str, Any] | None:
    """A difference for JSON; infinite degrees of freedom are None."""
    return None if one is None else asdict(one) | {"dof": None if math.isinf(one.dof) else one.dof}


def comparison_as_dict(found: JobComparison) -> dict[str, Any]:
    """A comparison for JSON: leak areas in mm², leakage in percent."""
    from borewright.core.uncertainty import LEVEL
    from borewright.store.export import job_as_dict

    cylinders = [
        {
            "cylinder": one.cylinder,
            "verdict": one.verdict,
            "area": difference_as_dict(one.area),
            "leakage": difference_as_dict(one.leakage),
            "refused": one.refused,
            "converted": list(one.converted),
            "marks": list(one.marks),
            "tests_before": list(one.tests_before),
            "tests_after": list(one.tests_after),
        }
        for one in found.cylinders
    ]
    jobs = {"before": job_as_dict(found.before), "after": job_as_dict(found.after)}
    return jobs | {"level": LEVEL, "cylinders": cylinders, "words": found.words}


def comparison_table(found: JobComparison) -> Table:
    """One line for each cylinder."""
    headings = [
        "before",
        "after",
        "cylinder",
        "verdict",
        *_HEADINGS_OF_AREA,
        *_HEADINGS_OF_LEAKAGE,
        "refused",
        "converted",
        "marks",
    ]
    return headings, [
        [
            f"{found.before.name}, {found.before.stage}",
            f"{found.after.name}, {found.after.stage}",
            one.cylinder,
            one.verdict,
            *_numbers(one.area),
            *_numbers(one.leakage),
            one.refused,
            "; ".join(one.converted),
            "; ".join(one.marks),
        ]
        for one in found.cylinders
    ]


_NUMBERS = ("before", "after", "expanded_before", "expanded_after", "change", "expanded")
_HEADINGS_OF_AREA = [f"leak_area_{name}_mm2" for name in _NUMBERS]
_HEADINGS_OF_LEAKAGE = [f"leakage_{name}_percent" for name in _NUMBERS]


def _numbers(one: Difference | None) -> list[float | None]:
    return [None if one is None else float(getattr(one, name)) for name in _NUMBERS]


def trend_lines(found: EngineTrend, units: ShownUnits) -> list[str]:
    """A line for each cylinder and job, the cylinders one after the other."""
    area_unit, scale = _area_unit(units)
    headings = (
        "cylinder",
        "job",
        "stage",
        "begun",
        f"leak area {area_unit}",
        "leakage %",
        "since the first",
        "since the one before",
    )
    rows = [
        [
            str(point.cylinder),
            point.job.name,
            point.job.stage,
            date_words(point.job.created_at_unix_s),
            _NOTHING if point.area_mm2 is None else plus_minus(*(value * scale for value in point.area_mm2)),
            _NOTHING if point.leakage_percent is None else plus_minus(*point.leakage_percent),
            _change(point.since_first, scale),
            _change(point.since_before, scale),
        ]
        for point in found.points
    ]
    lines = [f"{found.engine_name}: {len(found.jobs)} jobs, oldest first", *table_lines(headings, rows), ""]
    for point in found.points:
        about = f"  cylinder {point.cylinder}, {point.job.name}, {point.job.stage}"
        lines += [f"{about}: {words}" for words in (*point.notes, *point.marks)]
    changed = "A change is of the leak area (of the leakage where there is no area) at the later job's pressure"
    return [
        *lines,
        f"{changed}; better and worse are larger than chance would make any of the {found.comparisons} show, at 95.45 %.",
    ]


def _change(one: Difference | None, scale: float) -> str:
    if one is None:
        return _NOTHING
    *_, change = _cells(one, scale if one.quantity == "leak area" else 1.0)
    return f"{change} {'%, ' if one.quantity == 'leakage' else ''}{one.verdict}"


def trend_as_dict(found: EngineTrend) -> dict[str, Any]:
    """A trend for JSON."""
    from borewright.core.uncertainty import LEVEL
    from borewright.store.export import job_as_dict

    return {
        "engine_name": found.engine_name,
        "level": LEVEL,
        "comparisons": found.comparisons,
        "jobs": [job_as_dict(job) for job in found.jobs],
        "points": [_point_as_dict(point) for point in found.points],
    }


def _point_as_dict(point: TrendPoint) -> dict[str, Any]:
    def level(of: Sequence[float] | None) -> dict[str, float] | None:
        return None if of is None else {"mean": of[0], "expanded": of[1]}

    return {
        "job_id": point.job.id,
        "cylinder": point.cylinder,
        "tests": list(point.tests),
        "leak_area_mm2": level(point.area_mm2),
        "leakage_percent": level(point.leakage_percent),
        "since_first": difference_as_dict(point.since_first),
        "since_before": difference_as_dict(point.since_before),
        "notes": list(point.notes),
        "marks": list(point.marks),
    }


def trend_table(found: EngineTrend) -> Table:
    """One line for each cylinder and job."""
    about = ("quantity", "change", "expanded", "verdict")
    of_change = [f"{since}_{name}" for since in ("since_first", "since_before") for name in about]
    of_level = ["leak_area_mm2", "leak_area_expanded_mm2", "leakage_percent", "leakage_expanded_percent"]

    def change(one: Difference | None) -> list[str | float | None]:
        return [None] * 4 if one is None else [one.quantity, one.change, one.expanded, one.verdict]

    return ["job", "stage", "begun_unix_s", "cylinder", *of_level, *of_change, "notes", "marks"], [
        [
            point.job.name,
            point.job.stage,
            point.job.created_at_unix_s,
            point.cylinder,
            *(point.area_mm2 or (None, None)),
            *(point.leakage_percent or (None, None)),
            *change(point.since_first),
            *change(point.since_before),
            "; ".join(point.notes),
            "; ".join(point.marks),
        ]
        for point in found.points
    ]
