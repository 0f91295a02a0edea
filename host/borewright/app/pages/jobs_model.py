"""The list of jobs and the glance at one of them in words, as the screen shows them. Without Qt."""

from __future__ import annotations

from typing import TYPE_CHECKING

from borewright.app.draw.chart_model import Interval, interval_words
from borewright.service.job_acts import away_words
from borewright.service.report_numbers import Shown

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import tzinfo

    from borewright.service.view_jobs import CylinderGlance, JobGlance, JobRow, JobsFound
    from borewright.store.records import JobRecord

__all__ = ["HEADINGS", "cells_of", "fact_lines", "job_words", "lines_of_tests", "list_words"]

HEADINGS = ("job", "stage", "engine", "begun", "tests", "away")


def job_words(job: JobRecord) -> str:
    """A job in a few words."""
    return f"{job.name}, {job.stage}"


def cells_of(row: JobRow, zone: tzinfo | None = None) -> tuple[str, ...]:
    """One line of the list. zone: for the day, None for that of this computer."""
    job = row.job
    begun = Shown(zone=zone).date(job.created_at_unix_s)
    return job.name, job.stage, job.engine_name, begun, str(row.tests), away_words(job)


def list_words(found: JobsFound, search: str) -> str:
    """What is said where the list is empty, or how many jobs it shows."""
    if found.rows:
        count = len(found.rows)
        return f"{count} job{'s' if count > 1 else ''}, the newest first"
    if search.strip():
        return f"No job has “{search.strip()}” in its name, customer, technician or engine."
    if found.any_at_all:
        return "Every job is archived or deleted; show them with the boxes above."
    return "There is no job yet. Begin one with “New job”, or import a job file."


def fact_lines(glance: JobGlance, zone: tzinfo | None = None) -> list[str]:
    """What the job was told beside its tests, a line for each; numbers are left to the form, which knows the units."""
    job, details = glance.job, glance.details
    lines = [glance.engine_words, f"begun {Shown(zone=zone).moment(job.created_at_unix_s)}"]
    lines += [f"customer: {job.customer_reference}"] if job.customer_reference else []
    lines += [f"technician: {job.technician}"] if job.technician else []
    lines += [", ".join(text for text in (details.hours, details.distance) if text)] if details.hours or details.distance else []
    lines += ["a test of the hot engine"] if details.hot else []
    lines += [details.text] if details.text else []
    lines += [away_words(job)] if away_words(job) else []
    return lines


def lines_of_tests(glance: JobGlance) -> list[str]:
    """How far the tests have come: a line for each cylinder, what is still to come, what was found."""
    lines = [_cylinder(one) for one in glance.cylinders]
    if glance.coming is not None:
        again = " again" if glance.coming.tests else ""
        why = f" ({glance.coming.reason})" if glance.coming.reason else ""
        what = "suggested next" if glance.coming.kind == "suggested" else "next"
        lines.append(f"{what}: cylinder {glance.coming.cylinder}{again}{why}")
    elif glance.cylinders and any(one.tests for one in glance.cylinders):
        lines.append("every cylinder is tested")
    if glance.findings:
        lines.append(f"{glance.findings} finding{'s' if glance.findings > 1 else ''} noted")
    return lines


def _cylinder(one: CylinderGlance) -> str:
    if one.leakage_percent is None:
        return f"cylinder {one.cylinder}: " + (f"void, {one.void_reason}" if one.void_reason else "not tested")
    shown = interval_words(Interval(one.leakage_percent, one.expanded_percent or 0.0), "%")
    more = f", {one.tests} tests" if one.tests > 1 else ""
    return f"cylinder {one.cylinder}: {shown} %{more}" + (", declared" if one.declared else "")


def stages_of_name(glance: JobGlance) -> Sequence[JobRecord]:
    """All stages of this job's name, oldest first; a deleted job stands alone."""
    return [job for job in glance.same_engine if job.name == glance.job.name] or [glance.job]
