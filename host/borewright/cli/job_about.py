"""What a job is, beside its tests: whose, how far run, how warm, earlier compression readings, notes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from borewright.cli.output import date_words
from borewright.service.shown_units import ShownUnits

if TYPE_CHECKING:
    from borewright.store.records import EventRecord, FindingRecord, JobRecord

__all__ = ["about_lines", "change_lines", "note_lines"]


def about_lines(job: JobRecord, units: ShownUnits) -> list[str]:
    """One line with what the job was told, and one with its compression readings; none where it was told nothing."""
    from borewright.core.job_details import JobDetails

    details = JobDetails.from_dict(job.details)
    words = [f"customer {job.customer_reference}"] if job.customer_reference else []
    words += [f"by {job.technician}"] if job.technician else []
    words += [text for text in (details.hours, details.distance) if text]
    for what, t_k in (("engine", details.engine_temperature_k), ("oil", details.oil_temperature_k)):
        words += [f"{what} {units.text(t_k, 'temperature', '°C')}"] if t_k is not None else []
    words += ["a hot test"] if details.hot else []
    words += [details.text] if details.text else []
    lines = [f"  {job.stage}: {', '.join(words)}"] if words else []
    if details.compression_gauge_pa:
        readings = sorted((int(cylinder), pa) for cylinder, pa in details.compression_gauge_pa.items())
        said = ", ".join(f"{cylinder}: {units.text(pa, 'pressure_gauge', 'bar')}" for cylinder, pa in readings)
        lines.append(f"  {job.stage}: compression read earlier, as context: {said}")
    return lines


def note_lines(job: JobRecord, findings: Iterable[FindingRecord]) -> list[str]:
    """The notes of a job, one on each line."""
    return [
        f"  note, {job.stage}, {f'cylinder {one.cylinder}' if one.cylinder else 'engine'}: {one.detail['text']}"
        for one in findings
        if one.kind == "note"
    ]


def change_lines(job: JobRecord, changes: Iterable[EventRecord]) -> list[str]:
    """What was changed of the job itself, oldest first, a line for each: when, and what stood there before."""
    return [
        f"  changed {date_words(one.detail['at_unix_s'])}, {job.stage}: {_was(one.detail['was'])} -> {_was(one.detail['now'])}"
        for one in changes
    ]


def _was(values: Mapping[str, Any]) -> str:
    return ", ".join(f"{key} {value!r}" for key, value in values.items())
